package robot

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// The kinds of steps, in the order a letter meets them.
const (
	stepRead  = ledger.StepRead
	stepCheck = "check"
	stepDraft = "draft"
	stepPost  = "post"
	stepSend  = "send"
	stepFile  = "file"
)

const (
	owner = "robot"
	lease = 15 * time.Minute // longer than any step: its own deadlines end it before
)

// hand is what the steps may use: the mailbox is dialled when first needed and
// kept for the steps after it. Ahead is a letter that is read while another's
// step is in hand.
type hand struct {
	r     *Robot
	m     Mail
	ahead *ahead
}

func (h *hand) mail(ctx context.Context) (Mail, error) {
	if h.m != nil && h.m.Alive() {
		return h.m, nil
	}
	h.close()
	m, err := h.r.Dial(ctx)
	if err != nil {
		return nil, err
	}
	h.m = m
	return m, nil
}

func (h *hand) close() {
	if h.m != nil {
		h.m.Close()
		h.m = nil
	}
}

// Work carries out every step that is due. A step that fails never stops the
// others. When the context ends, the step in hand is finished first.
func (r *Robot) Work(ctx context.Context) error {
	h := &hand{r: r}
	defer h.close()
	defer func() { h.ahead.drop(context.WithoutCancel(ctx), r) }()
	for ctx.Err() == nil || h.ahead != nil {
		bounded, cancel := context.WithTimeout(context.WithoutCancel(ctx), lease)
		more, err := r.oneStep(bounded, h)
		cancel()
		if err != nil || !more {
			return err
		}
	}
	return nil
}

// oneStep carries out the step that is due, and tells whether there was one.
func (r *Robot) oneStep(ctx context.Context, h *hand) (more bool, err error) {
	s, early, err := h.next(ctx)
	if err != nil || s == nil {
		return false, err
	}
	r.at("leased " + s.Kind)
	cause := guarded(func() error { return r.step(ctx, h, s, early) })
	if err := r.settle(ctx, s, cause); err != nil {
		return false, err
	}
	r.at("done " + s.Kind)
	return true, nil
}

// guarded turns a crash in a room into an error of this one letter. It is the
// one place that recovers: what comes by mail is hostile, and one letter must
// not stop the others.
func guarded(work func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the program met a fault of its own (%v); please report it to its developers", p)
		}
	}()
	return work()
}

// step does the work of one step. A letter that was read early comes with it.
func (r *Robot) step(ctx context.Context, h *hand, s *ledger.Step, early *ahead) error {
	if s.Attempts > r.Rules.Caps.Attempts {
		return errors.New("the program stopped each time it worked on this")
	}
	switch s.Kind {
	case stepRead:
		return r.read(ctx, s, early)
	case stepCheck:
		return r.check(ctx, s)
	case stepDraft:
		return r.draft(ctx, s)
	case stepReminder, stepPickupReminder:
		return r.remind(ctx, s)
	case stepQuestion:
		return r.answer(ctx, s)
	case stepReceipt:
		return r.thank(ctx, s)
	case stepPost:
		return r.post(ctx, h, s)
	case stepSend:
		return r.send(ctx, s)
	case stepFile:
		return r.file(ctx, h, s)
	}
	return fmt.Errorf("there is no step %q; was the ledger written by a newer program?", s.Kind)
}

// settle records how a failed step goes on: trouble that is not the step's own
// waits without being counted, other trouble counts and is given up at the cap.
func (r *Robot) settle(ctx context.Context, s *ledger.Step, cause error) error {
	if cause == nil || errors.Is(cause, ledger.ErrLeaseLost) {
		return nil
	}
	r.Log.Warn("step failed", "step", s.Kind, "of", s.Subject, "attempt", s.Attempts, "why", cause)
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		switch {
		case mailbox.Temporary(cause), errors.Is(cause, os.ErrDeadlineExceeded):
			return tx.Postpone(ctx, s, cause, backoff(s.Attempts))
		case s.Attempts >= r.Rules.Caps.Attempts:
			r.Log.Error("letter set aside", "step", s.Kind, "of", s.Subject, "why", cause)
			return tx.GiveUp(ctx, s, cause, ledger.Robot)
		}
		return tx.Retry(ctx, s, cause, backoff(s.Attempts))
	})
}

// backoff is the wait before the next try: 10 s, 1 min, 6 min, at most half an hour.
func backoff(attempts int) time.Duration {
	d := 10 * time.Second
	for range min(attempts-1, 4) {
		d *= 6
	}
	return min(d, 30*time.Minute)
}
