package robot

import (
	"context"
	"sync"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// What the calendar asks for (reminders, requests that lapse, letters that are
// removed) is done only while the machine's clock is believed. It is held
// against the time that has gone by since it was last believed: while the
// program runs, as the machine counts it whatever the clock is set to; across a
// stop, against what is kept in the ledger.
const (
	mostAhead   = 3 * 24 * time.Hour  // a machine that slept over a weekend
	mostStopped = 14 * 24 * time.Hour // the service was off; longer than that, a person says so
	mostBehind  = 10 * time.Minute
)

// clockGuard is what is known of the clock.
type clockGuard struct {
	mu    sync.Mutex
	seen  time.Time     // the clock when it was last believed
	ran   time.Duration // what Elapsed said then; 0 where seen is from the ledger
	alive bool          // seen is of this run
	doubt job.Message   // why it is not believed, if it is not
}

// judge holds the clock against what it should be, and keeps it where it is plausible.
func (g *clockGuard) judge(now time.Time, ran time.Duration) {
	expected, ahead := g.seen, mostStopped
	if g.alive {
		expected, ahead = g.seen.Add(ran-g.ran), mostAhead
	}
	off := now.Sub(expected)
	if g.seen.IsZero() || off <= ahead && off >= -mostBehind {
		g.seen, g.ran, g.alive, g.doubt = now, ran, true, job.Message{}
		return
	}
	way := "notices.clock-ahead"
	if off < 0 {
		way, off = "notices.clock-behind", -off
	}
	g.doubt = job.Say(way, job.Args{"now": now.Format("2006-01-02 15:04 MST"), "off": roughly(off)})
}

func roughly(d time.Duration) job.Message {
	if days := int(d.Round(24*time.Hour).Hours() / 24); days > 1 {
		return job.Say("notices.days", job.Args{"n": days})
	}
	if hours := int(d.Round(time.Hour).Hours()); hours > 1 {
		return job.Say("notices.hours", job.Args{"n": hours})
	}
	return job.Say("notices.minutes", job.Args{"n": max(1, int(d.Round(time.Minute).Minutes()))})
}

// elapsed is how long the program has run, as no setting of the clock changes it.
func (r *Robot) elapsed() time.Duration {
	if r.Elapsed != nil {
		return r.Elapsed()
	}
	return time.Since(started)
}

var started = time.Now() // its monotonic reading is what counts

// seeClock looks whether the clock is to be believed, and tells staff once where
// it is not. Steps never wait for a time that only a wrong clock knew.
func (r *Robot) seeClock(ctx context.Context) error {
	g := &r.clock
	g.mu.Lock()
	defer g.mu.Unlock()
	before := g.doubt
	if !g.alive && g.seen.IsZero() {
		last, err := r.Ledger.ClockBelieved(ctx)
		if err != nil {
			return err
		}
		g.seen = last
	}
	first := !g.alive && before.IsZero()
	g.judge(r.Now(), r.elapsed())
	if !g.doubt.IsZero() {
		right, err := r.Ledger.ClockSaidRight(ctx)
		if err != nil {
			return err
		}
		if off := r.Now().Sub(right); off >= 0 && off < time.Hour {
			g.seen, g.ran, g.alive, g.doubt = r.Now(), r.elapsed(), true, job.Message{}
		}
	}
	if !first && g.doubt.String() == before.String() {
		return nil
	}
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return r.recordClock(ctx, tx, before, g.doubt) })
}

// recordClock bounds what waits, and tells staff of a new doubt or ends an old one.
func (r *Robot) recordClock(ctx context.Context, tx *ledger.Tx, before, doubt job.Message) error {
	if _, err := tx.Bound(ctx, r.Now().Add(backoff(patience+1))); err != nil {
		return err
	}
	switch {
	case doubt.IsZero():
		return tx.SettleNotices(ctx, ledger.NoticeClock, "clock", ledger.Robot)
	case before.IsZero():
		r.Log.Error("clock not believed", "why", doubt)
		return tx.AddNotice(ctx, ledger.NoticeClock, "clock", doubt)
	}
	return nil
}

// clockDoubt says why the clock is not believed, where it is not.
func (r *Robot) clockDoubt() job.Message {
	r.clock.mu.Lock()
	defer r.clock.mu.Unlock()
	return r.clock.doubt
}
