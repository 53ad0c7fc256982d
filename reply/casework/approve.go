package casework

import (
	"cmp"
	"context"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// Approve records that a person approves the bytes with that hash, and has them sent.
func (o *Office) Approve(ctx context.Context, id, sha, by, via string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		d, err := tx.Draft(ctx, id)
		if err != nil {
			return err
		}
		if d.State == ledger.DraftWaiting || d.State == ledger.DraftFailed {
			if about, err := overtaken(ctx, tx.Reader, d); err != nil || about != "" {
				return cmp.Or(err, job.Refuse(job.Say("faults.overtaken", job.Args{"draft": id, "job": string(about)})))
			}
		}
		if err := tx.Approve(ctx, id, sha, by, via); err != nil {
			return err
		}
		if err := tx.SettleNotices(ctx, ledger.NoticeSentBefore, id, by); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepSend, id, time.Time{})
	})
}

// SetAside lays a draft aside: it waits for another time, and so do its jobs.
// Reopen takes it up again.
func (o *Office) SetAside(ctx context.Context, id, by, why string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.SetAside(ctx, id, by, job.Plain(why)); err != nil {
			return err
		}
		if err := tx.SettleNotices(ctx, ledger.NoticeSentBefore, id, by); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepFile, id, time.Time{})
	})
}

// Edit puts a person's version in the place of a waiting draft; its copy in the
// mailbox follows. base is the hash of what the person had before them.
func (o *Office) Edit(ctx context.Context, id, base string, raw []byte, by string) (ledger.Draft, error) {
	d, err := o.Ledger.Draft(ctx, id)
	if err != nil {
		return d, err
	}
	e, err := Edited(d, raw)
	if err != nil {
		return d, err
	}
	now, err := o.Ledger.DraftBytes(ctx, id)
	if err != nil {
		return d, err
	}
	if e.AddressedBefore, err = Readdressed(d, now, e.Raw); err != nil {
		return d, err
	}
	err = o.Ledger.Tx(ctx, func(tx *ledger.Tx) (err error) {
		if d, err = tx.Replace(ctx, id, base, e, by, job.Say("history.edited", nil)); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepPost, id, time.Time{})
	})
	return d, err
}

// Settle records what a person found out about an uncertain draft, or that one
// which waits was sent all the same.
func (o *Office) Settle(ctx context.Context, id string, sent bool, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		d, err := tx.Draft(ctx, id)
		if err != nil {
			return err
		}
		if sent && d.State != ledger.DraftUncertain {
			err = tx.WasSent(ctx, id, by, job.Say("history.looked-up", nil))
		} else {
			err = tx.Settle(ctx, id, sent, by, job.Say("history.looked-up", nil))
		}
		if err == nil {
			err = tx.SettleNotices(ctx, ledger.NoticeSentBefore, id, by)
		}
		if err != nil {
			return err
		}
		if !sent {
			return tx.Enqueue(ctx, ledger.StepPost, id, time.Time{})
		}
		if err := o.AfterSent(ctx, tx, id); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepFile, id, time.Time{})
	})
}

// Confirm records that a person made sure the job's sender is who the letter
// says, where the mail server could not. The job is then checked anew.
func (o *Office) Confirm(ctx context.Context, id job.ID, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if !job.MayGo(j.Stage, job.Checked) {
			return job.Refuse(job.Say("faults.sender-no-matter", job.Args{"job": string(id), "stage": j.Stage.Word()}))
		}
		j.Auth = job.Pass
		if err := tx.SaveJob(ctx, j, by, job.Say("history.sender-made-sure", nil)); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepCheck, string(id), time.Time{})
	})
}

// ApproveMoved approves what a person moved into an approved folder, and has it sent.
func (o *Office) ApproveMoved(ctx context.Context, tx *ledger.Tx, m ledger.Moved) error {
	outcome, err := tx.ApproveMoved(ctx, m)
	switch {
	case err != nil:
		return err
	case outcome == ledger.MoveReaddressed:
		return tx.Enqueue(ctx, ledger.StepPost, m.Draft, time.Time{})
	case outcome == ledger.MoveApproved:
		o.Log.Info("draft approved", "draft", m.Draft, "by", m.By, "via", "folder")
		return tx.Enqueue(ctx, ledger.StepSend, m.Draft, time.Time{})
	}
	return nil
}

// SetAsideMoved lays aside what a person moved into the set-aside folder.
func (o *Office) SetAsideMoved(ctx context.Context, tx *ledger.Tx, m ledger.Moved) error {
	_, err := tx.SetAsideMoved(ctx, m)
	return err
}

// GoOn lets a held ledger go on, on a person's word: what was found in Sent
// counts as sent.
func (o *Office) GoOn(ctx context.Context, by string) (sent []string, err error) {
	err = o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if sent, err = tx.GoOn(ctx, by); err != nil {
			return err
		}
		for _, id := range sent {
			if err := o.AfterSent(ctx, tx, id); err != nil {
				return err
			}
			if err := tx.Enqueue(ctx, ledger.StepFile, id, time.Time{}); err != nil {
				return err
			}
		}
		return nil
	})
	return sent, err
}
