package robot

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
	"meshclerk/reply/outbox"
)

// Robot is the office with its connections and its clock. Everything but Reach
// and Elapsed is required.
type Robot struct {
	*casework.Office

	Dial func(ctx context.Context) (Mail, error)                    // opens the mailbox
	Send func(ctx context.Context, m outbox.Message) outbox.Outcome // hands a message to the sending server
	// Reach tries whether the sending server answers. It is asked after a send
	// that had no answer; nil is not asked.
	Reach func(ctx context.Context) error
	// Elapsed is how long the program has run, whatever the clock is set to; nil
	// is the machine's own count.
	Elapsed func() time.Duration

	vitals     vitals
	breaker    breaker
	reconciled reconciled
	clock      clockGuard
	ailing     atomic.Bool // a step waits for the house, or may have since before the start
	tidied     time.Time   // when the calendar was last looked at
	moves      sync.Mutex  // held while approved folders are looked at
	cramped    atomic.Bool // the work found the door of the mailbox closed
}

// LastGoodPoll tells when the mailbox was last looked at without an error, and
// what went wrong since, if anything.
func (r *Robot) LastGoodPoll() (time.Time, error) { return r.vitals.lastLook() }

// Well tells whether the last good poll is recent enough: within five polls.
func (r *Robot) Well() bool {
	when, _ := r.LastGoodPoll()
	return !when.IsZero() && r.Now().Sub(when) < 5*r.Rules.Mailbox.Poll+r.Rules.Mailbox.Command
}

// lane is a loop of its own over some kinds of steps.
type lane struct {
	name  string
	kinds []ledger.StepKind // none is all
}

// The lanes of the running robot. A sending server that does not answer holds
// up nothing but other sends.
var lanes = []lane{
	{"work", []ledger.StepKind{ledger.StepRead, ledger.StepCheck, ledger.StepDraft, ledger.StepReminder, ledger.StepPickupReminder, ledger.StepQuestion, ledger.StepReceipt, ledger.StepStillNeeded, ledger.StepPost, ledger.StepFile}},
	{"send", []ledger.StepKind{ledger.StepSend}},
}

// Run watches and works until the context ends. The step in hand is finished first.
func (r *Robot) Run(ctx context.Context) error {
	if err := r.Recover(ctx); err != nil {
		return err
	}
	var wg sync.WaitGroup
	news := make([]chan struct{}, len(lanes))
	for i, l := range lanes {
		news[i] = make(chan struct{}, 1)
		wg.Go(func() { r.work(ctx, l, news[i]) })
	}
	wg.Go(func() { r.watchMoves(ctx) })
	r.watch(ctx, news)
	wg.Wait()
	return nil
}

// Once polls and works until nothing is left to do, for the demo and for tests.
func (r *Robot) Once(ctx context.Context) error {
	if err := r.Recover(ctx); err != nil {
		return err
	}
	if err := r.Poll(ctx); err != nil {
		return err
	}
	return r.Work(ctx)
}

// watch polls the mailbox, and between polls waits for the server's news.
func (r *Robot) watch(ctx context.Context, news []chan struct{}) {
	for ctx.Err() == nil {
		err := r.round(ctx, news)
		r.vitals.looked(r.Now(), err)
		if err != nil && ctx.Err() == nil {
			r.Log.Warn("poll failed", "why", err)
			pause(ctx, min(r.Rules.Mailbox.Poll, time.Minute))
		}
	}
}

// round keeps one connection for as long as it lasts.
func (r *Robot) round(ctx context.Context, news []chan struct{}) error {
	m, err := r.Dial(ctx)
	if err != nil {
		return err
	}
	defer m.Close()
	for ctx.Err() == nil {
		if err := r.look(ctx, m); err != nil {
			return err
		}
		r.vitals.looked(r.Now(), nil)
		for _, lane := range news {
			wake(lane)
		}
		if err := r.idle(ctx, m); err != nil {
			return err
		}
	}
	return nil
}

// Poll looks at the mailbox once, on a connection of its own.
func (r *Robot) Poll(ctx context.Context) error {
	m, err := r.Dial(ctx)
	if err != nil {
		r.vitals.looked(r.Now(), err)
		return err
	}
	defer m.Close()
	err = r.look(ctx, m)
	r.vitals.looked(r.Now(), err)
	return err
}

// work carries out the steps of a lane until the context ends. Approvals may
// come from another process, so it also looks every second.
func (r *Robot) work(ctx context.Context, l lane, news <-chan struct{}) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	said := ""
	for {
		err := r.walk(ctx, l)
		if err != nil && ctx.Err() == nil {
			if said != err.Error() {
				r.Log.Error("work failed", "lane", l.name, "why", err)
			}
			said = err.Error()
			pause(ctx, 5*time.Second)
		} else {
			said = ""
		}
		select {
		case <-ctx.Done():
			r.Log.Info("stopping", "lane", l.name)
			return
		case <-news:
		case <-tick.C:
		}
	}
}

func wake(news chan<- struct{}) {
	select {
	case news <- struct{}{}:
	default:
	}
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// mark tells of a durable point.
func (r *Robot) mark(point string) {
	if r.At != nil {
		r.At(point)
	}
}
