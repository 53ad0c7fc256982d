package robot

import (
	"context"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

// prefetch is the next letter, whose bytes are parsed on another core while the
// step before it is in hand. What it asks for is only acted on in its own turn.
type prefetch struct {
	step *ledger.Step
	l    *job.Letter
	err  error
	done chan struct{}
}

// next gives the step that is due: the letter that was begun early, else a newly
// leased step. Behind a letter that is tried for the first time the next letter
// is begun. One that was tried before may be what ended the program: it is
// worked on alone, so that no other letter's attempts are counted with it.
func (h *worker) next(ctx context.Context) (s *ledger.Step, early *prefetch, err error) {
	if early, h.prefetched = h.prefetched, nil; early != nil {
		s = early.step
	} else if s, err = h.r.Ledger.Lease(ctx, owner, lease, h.lane.kinds...); err != nil || s == nil {
		return nil, nil, err
	}
	if s.Kind == ledger.StepRead && s.Attempts == 1 && h.r.Rules.Caps.Attempts > 1 {
		h.prefetched = h.begin(ctx)
	}
	return s, early, nil
}

// begin parses the next letter early, if a letter is next.
func (h *worker) begin(ctx context.Context) *prefetch {
	r := h.r
	s, err := r.Ledger.LeaseFresh(ctx, owner, lease, ledger.StepRead, h.lane.kinds...)
	if err != nil || s == nil {
		return nil // a ledger in trouble shows it at the step in hand
	}
	a := &prefetch{step: s, done: make(chan struct{})}
	ctx, cancel := context.WithTimeout(ctx, lease)
	go func() {
		defer close(a.done)
		defer cancel()
		a.err = guarded(func() (err error) {
			a.l, err = r.Parse(ctx, s.Subject)
			return err
		})
	}()
	return a
}

// letter gives the parsed letter of a step, waiting for it where it was begun early.
func (a *prefetch) letter(ctx context.Context, o *casework.Office, s *ledger.Step) (*job.Letter, error) {
	if a == nil {
		return o.Parse(ctx, s.Subject)
	}
	select {
	case <-a.done:
		return a.l, a.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// drop lays back a letter that was begun and whose turn will not come.
func (a *prefetch) drop(ctx context.Context, r *Robot) {
	if a == nil {
		return
	}
	<-a.done
	ctx = context.WithoutCancel(ctx)
	err := r.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return tx.Release(ctx, a.step) })
	if err != nil {
		r.Log.Warn("letter waits until its lease ends", "letter", a.step.Subject, "why", err)
	}
}
