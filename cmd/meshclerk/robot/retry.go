package robot

import (
	"context"
	"errors"
	"os"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/wire"
)

// houseError is a failure that says nothing about the letter in hand.
type houseError struct {
	trouble ledger.Trouble
	error
}

func (e houseError) Unwrap() error { return e.error }

// troubleOf tells whose a step's failure is: the house's trouble by its name,
// or none where it is the step's own.
func troubleOf(err error) ledger.Trouble {
	if h, ok := errors.AsType[houseError](err); ok {
		return h.trouble
	}
	if errors.Is(err, context.Canceled) {
		return ledger.Stopping
	}
	if t := ledger.TroubleOf(err); t != ledger.NoTrouble {
		return t
	}
	server, ok := errors.AsType[*wire.Error](err)
	switch {
	case mailbox.Temporary(err), errors.Is(err, os.ErrDeadlineExceeded):
		return ledger.MailboxAway
	case ok && server.Server != "":
		return ledger.MailboxRefuses
	}
	return ledger.NoTrouble
}

// applyRetryPolicy records how a failed step goes on. The house's trouble is waited out
// and not counted; other trouble counts, and is given up at the cap.
func (r *Robot) applyRetryPolicy(ctx context.Context, s *ledger.Step, cause error) error {
	if cause == nil || errors.Is(cause, ledger.ErrLeaseLost) {
		return nil
	}
	trouble := troubleOf(cause)
	r.Log.Warn("step failed", "step", s.Kind, "of", s.Subject, "attempt", s.Attempts, "house", trouble, "why", cause)
	err := r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		switch {
		case trouble == ledger.Stopping:
			return tx.Release(ctx, s)
		case trouble != ledger.NoTrouble:
			return r.waitOut(ctx, tx, s, trouble, cause)
		case s.Attempts >= r.Rules.Caps.Attempts:
			r.Log.Error("letter set aside", "step", s.Kind, "of", s.Subject, "why", cause)
			return tx.GiveUp(ctx, s, cause, ledger.Robot)
		}
		return tx.Retry(ctx, s, cause, backoff(s.Attempts))
	})
	if errors.Is(err, ledger.ErrLeaseLost) {
		return nil // somebody else has it by now
	}
	return err
}

// patience is how many waits a mail server may be away before staff are told.
const patience = 3

// waitOut has a step wait for the house, longer each time, and tells staff once.
func (r *Robot) waitOut(ctx context.Context, tx *ledger.Tx, s *ledger.Step, t ledger.Trouble, cause error) error {
	r.ailing.Store(true)
	passing := t == ledger.MailboxAway || t == ledger.SendingAway
	if t != ledger.Held && (!passing || s.Waits >= patience) {
		if err := tx.AddNotice(ctx, ledger.NoticeTrouble, string(t), job.Say("notices.trouble."+string(t), job.Args{"why": job.Why(cause)})); err != nil {
			return err
		}
	}
	return tx.Wait(ctx, s, t, cause, backoff(s.Waits+1))
}

// recovered closes the notices of troubles that are over. It is called after a
// step that went well.
func (r *Robot) recovered(ctx context.Context) {
	if !r.ailing.Load() {
		return
	}
	left := true
	err := r.Ledger.Tx(ctx, func(tx *ledger.Tx) (err error) {
		left, err = tx.EndTrouble(ctx, ledger.Robot)
		return err
	})
	if err == nil && !left {
		r.ailing.Store(false)
	}
}

// backoff is the wait before the next try: 10 s, 1 min, 6 min, and then half an hour.
func backoff(attempts int) time.Duration {
	d := 10 * time.Second
	for range min(attempts-1, 4) {
		d *= 6
	}
	return min(d, 30*time.Minute)
}

// persist writes to the ledger what has happened already, until it is written:
// a disk that is full or a ledger that is held stops nothing that was done
// outside from having been done. Only the end of ctx ends it early.
func (r *Robot) persist(ctx context.Context, write func(context.Context) error) error {
	for try := 0; ; try++ {
		err := write(context.WithoutCancel(ctx))
		if err == nil || ledger.TroubleOf(err) == ledger.NoTrouble {
			r.vitals.cannotWrite(nil)
			return err
		}
		r.vitals.cannotWrite(err)
		if try == 0 {
			r.Log.Error("not written down yet", "why", err)
		}
		pause(ctx, min(250*time.Millisecond<<min(try, 6), 10*time.Second))
		if ctx.Err() != nil {
			return err
		}
	}
}

// lingering ends d after ctx does, so that what is in hand can be finished.
func lingering(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	out, cancel := context.WithCancel(context.WithoutCancel(ctx))
	stop := context.AfterFunc(ctx, func() {
		pause(out, d)
		cancel()
	})
	return out, func() { stop(); cancel() }
}
