package robot

import (
	"context"
	"fmt"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// Approve records that a person approves the bytes with that hash, and has them sent.
func Approve(ctx context.Context, l *ledger.Ledger, id, sha, by, via string) error {
	return l.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.Approve(ctx, id, sha, by, via); err != nil {
			return err
		}
		if err := tx.SettleNotices(ctx, noticeSentBefore, id, by); err != nil {
			return err
		}
		return tx.Enqueue(ctx, stepSend, id, time.Time{})
	})
}

// SetAside records that a draft is not to be sent: its request is declined.
func SetAside(ctx context.Context, l *ledger.Ledger, id, by, why string) error {
	return l.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.SetAside(ctx, id, by, why); err != nil {
			return err
		}
		if err := decline(ctx, tx, id, by); err != nil {
			return err
		}
		if err := tx.SettleNotices(ctx, noticeSentBefore, id, by); err != nil {
			return err
		}
		return tx.Enqueue(ctx, stepFile, id, time.Time{})
	})
}

// decline moves the jobs of a draft that will not be sent.
func decline(ctx context.Context, tx *ledger.Tx, id, by string) error {
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	for _, jid := range d.Jobs {
		j, err := tx.Job(ctx, jid)
		if err != nil {
			return err
		}
		if j.Stage != job.Drafted && j.Stage != job.NeedsAgreement {
			continue
		}
		if err := tx.Move(ctx, jid, job.Declined, by, "the reply "+id+" was set aside"); err != nil {
			return err
		}
	}
	return nil
}

// Edit puts a person's version in the place of a waiting draft; its copy in the
// mailbox follows. base is the hash of what the person had before them.
func Edit(ctx context.Context, l *ledger.Ledger, id, base string, raw []byte, by string) (ledger.Draft, error) {
	d, err := l.Draft(ctx, id)
	if err != nil {
		return d, err
	}
	e, err := edited(d, raw)
	if err != nil {
		return d, err
	}
	now, err := l.DraftBytes(ctx, id)
	if err != nil {
		return d, err
	}
	if e.AddressedBefore, err = readdressed(d, now, e.Raw); err != nil {
		return d, err
	}
	err = l.Tx(ctx, func(tx *ledger.Tx) (err error) {
		if d, err = tx.Replace(ctx, id, base, e, by, "edited"); err != nil {
			return err
		}
		return tx.Enqueue(ctx, stepPost, id, time.Time{})
	})
	return d, err
}

// Settle records what a person found out about an uncertain draft, or that one
// which waits was sent all the same.
func Settle(ctx context.Context, l *ledger.Ledger, id string, sent bool, by string) error {
	return l.Tx(ctx, func(tx *ledger.Tx) error {
		d, err := tx.Draft(ctx, id)
		if err != nil {
			return err
		}
		if sent && d.State != ledger.DraftUncertain {
			err = tx.WasSent(ctx, id, by, "looked up")
		} else {
			err = tx.Settle(ctx, id, sent, by, "looked up")
		}
		if err == nil {
			err = tx.SettleNotices(ctx, noticeSentBefore, id, by)
		}
		if err != nil {
			return err
		}
		if !sent {
			return tx.Enqueue(ctx, stepPost, id, time.Time{})
		}
		if err := afterSent(ctx, tx, id); err != nil {
			return err
		}
		return tx.Enqueue(ctx, stepFile, id, time.Time{})
	})
}

// afterSent moves the jobs of a reply that left: what was drafted is quoted.
func afterSent(ctx context.Context, tx *ledger.Tx, id string) error {
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	for _, jid := range d.Jobs {
		j, err := tx.Job(ctx, jid)
		if err != nil {
			return err
		}
		if j.Stage != job.Drafted {
			continue
		}
		if err := tx.Move(ctx, jid, job.Quoted, ledger.Robot, "reply "+id+" was sent"); err != nil {
			return err
		}
	}
	return nil
}

// Confirm records that a person made sure the job's sender is who the letter
// says, where the mail server could not. The job is then checked anew.
func Confirm(ctx context.Context, l *ledger.Ledger, id job.ID, by string) error {
	return l.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if !job.MayGo(j.Stage, job.Checked) {
			return fmt.Errorf("job %s is %s already; its sender no longer matters", id, j.Stage)
		}
		j.Auth = job.Pass
		if err := tx.SaveJob(ctx, j, by, "made sure of the sender"); err != nil {
			return err
		}
		return tx.Enqueue(ctx, stepCheck, string(id), time.Time{})
	})
}
