package robot

import (
	"context"
	"fmt"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

const (
	owner = "robot"
	lease = 15 * time.Minute // longer than any step: its own deadlines end it before

	// stopGrace is how long the step in hand may go on when we are told to stop.
	stopGrace = 20 * time.Second
)

// worker is what the steps of a lane may use: the mailbox is dialled when first
// needed and kept for the steps after it. Prefetched is a letter that is read while
// another's step is in hand. stop ends at once when we are told to stop.
type worker struct {
	r          *Robot
	lane       lane
	stop       context.Context
	m          Mail
	prefetched *prefetch
}

func (h *worker) mail(ctx context.Context) (Mail, error) {
	if h.m != nil && h.m.Alive() {
		return h.m, nil
	}
	h.close()
	m, err := h.r.Dial(ctx)
	if err != nil {
		h.r.cramped.Store(true)
		return nil, away(err)
	}
	h.m = m
	return m, nil
}

func (h *worker) close() {
	if h.m != nil {
		h.m.Close()
		h.m = nil
	}
}

// away says of an error at the mailbox's door that it is the house's.
func away(err error) error {
	trouble := troubleOf(err)
	if trouble == ledger.NoTrouble {
		trouble = ledger.MailboxRefuses
	}
	return houseError{trouble, err}
}

// Work carries out every step that is due, of all kinds. A step that fails never
// stops the others. When the context ends, the step in hand is finished first,
// within stopGrace.
func (r *Robot) Work(ctx context.Context) error { return r.walk(ctx, lane{name: "all"}) }

func (r *Robot) walk(ctx context.Context, l lane) error {
	h := &worker{r: r, lane: l, stop: ctx}
	defer h.close()
	working, cancel := lingering(ctx, stopGrace)
	defer cancel()
	defer func() { h.prefetched.drop(working, r) }()
	for ctx.Err() == nil {
		more, err := r.oneStep(working, h)
		if err != nil || !more {
			return err
		}
	}
	return nil
}

// oneStep carries out the step that is due, and tells whether there was one.
func (r *Robot) oneStep(ctx context.Context, h *worker) (more bool, err error) {
	s, early, err := h.next(ctx)
	r.vitals.beats(h.lane.name, r.Now(), s)
	if err != nil || s == nil {
		return false, err
	}
	r.mark("leased " + string(s.Kind))
	bounded, cancel := context.WithTimeout(ctx, lease)
	defer cancel()
	cause := guarded(func() error { return r.step(bounded, h, s, early) })
	if err := r.persist(ctx, func(ctx context.Context) error { return r.applyRetryPolicy(ctx, s, cause) }); err != nil {
		return false, err
	}
	if cause == nil {
		r.recovered(ctx)
	}
	r.mark("done " + string(s.Kind))
	return true, nil
}

// guarded turns a crash in a room into an error of this one letter. It is the
// one place that recovers: what comes by mail is hostile, and one letter must
// not stop the others.
func guarded(work func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = job.Refuse(job.Say("faults.own-fault", job.Args{"cause": fmt.Sprint(p)}))
		}
	}()
	return work()
}

// step does the work of one step. A letter that was read early comes with it.
func (r *Robot) step(ctx context.Context, h *worker, s *ledger.Step, early *prefetch) error {
	if s.Attempts > r.Rules.Caps.Attempts {
		return job.Refuse(job.Say("faults.stopped-each-time", nil))
	}
	switch s.Kind {
	case ledger.StepRead:
		l, err := early.letter(ctx, r.Office, s)
		if err != nil {
			return err
		}
		return r.Receive(ctx, s, l)
	case ledger.StepCheck:
		return r.Check(ctx, s)
	case ledger.StepDraft:
		return r.Draft(ctx, s)
	case ledger.StepReminder, ledger.StepPickupReminder:
		return r.Remind(ctx, s)
	case ledger.StepQuestion:
		return r.Frame(ctx, s)
	case ledger.StepStillNeeded:
		return r.AskWhatIsLeft(ctx, s)
	case ledger.StepReceipt:
		return r.Thank(ctx, s)
	case ledger.StepPost:
		return r.post(ctx, h, s)
	case ledger.StepSend:
		return r.send(ctx, h, s)
	case ledger.StepFile:
		return r.file(ctx, h, s)
	}
	return job.Refuse(job.Say("faults.no-such-step", job.Args{"step": string(s.Kind)}))
}
