package casework

import (
	"context"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// recently is how long after a job was moved by hand its letter is still seen to.
const recently = 24 * time.Hour

// tellMoved sees to the letter of every job that was moved by hand, at the
// printer or on the staff page, into a stage that its patron is told of.
func (o *Office) TellMoved(ctx context.Context) error {
	rows, err := o.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Failed, job.Ready, job.Declined, job.Withdrawn, job.Lapsed}})
	if err != nil {
		return err
	}
	var seen []string
	for _, row := range rows {
		if o.Now().Sub(row.Since) > recently || slices.Contains(seen, row.Thread) {
			continue
		}
		seen = append(seen, row.Thread)
		all, err := o.Ledger.JobsIn(ctx, row.Thread)
		if err != nil {
			return err
		}
		jobs, _, err := o.toWriteAbout(ctx, all)
		if err != nil {
			return err
		}
		if len(jobs) > 0 {
			if err := o.Ledger.Enqueue(ctx, ledger.StepDraft, row.Thread, time.Time{}); err != nil {
				return err
			}
		}
	}
	return nil
}

// seeQuotes reminds once of a letter that was not answered, and then closes the request.
func (o *Office) SeeQuotes(ctx context.Context) error {
	l := o.Rules.Limits
	return o.each(ctx, []job.Stage{job.Quoted, job.NeedsAgreement}, l.ReminderDays, func(row ledger.Row, s silence) error {
		switch {
		case s.since(o.Now(), l.LapseDays):
			return o.lapse(ctx, row, "no-answer")
		case s.since(o.Now(), l.ReminderDays) && !s.reminded && row.Total != "":
			return o.Ledger.Enqueue(ctx, ledger.StepReminder, row.Thread, time.Time{})
		}
		return nil
	})
}

// seePickups reminds once of a part that waits, and then closes its job.
func (o *Office) SeePickups(ctx context.Context) error {
	l := o.Rules.Limits
	return o.each(ctx, []job.Stage{job.Ready}, l.PickupReminderDays, func(row ledger.Row, s silence) error {
		switch {
		case s.since(o.Now(), l.PickupDays+1): // the last day is the patron's, whole
			return o.lapse(ctx, row, "not-collected")
		case s.since(o.Now(), l.PickupReminderDays) && !s.reminded:
			return o.Ledger.Enqueue(ctx, ledger.StepPickupReminder, row.Thread, time.Time{})
		}
		return nil
	})
}

// each calls act for the jobs that have stood in one of the stages for some days.
func (o *Office) each(ctx context.Context, stages []job.Stage, days int, act func(ledger.Row, silence) error) error {
	rows, err := o.Ledger.Jobs(ctx, ledger.Filter{Stages: stages})
	if err != nil {
		return err
	}
	for _, row := range rows {
		if o.Now().Before(row.Since.AddDate(0, 0, days)) {
			continue
		}
		s, err := o.silence(ctx, row.ID)
		if err != nil {
			return err
		}
		if err := act(row, s); err != nil {
			return err
		}
	}
	return nil
}

// lapse closes a job, unless it has gone on in this very moment, and has its
// patron told.
func (o *Office) lapse(ctx context.Context, row ledger.Row, reason string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, row.ID)
		if err != nil || j.Stage != row.Stage {
			return err
		}
		if err := tx.MoveFor(ctx, row.ID, job.Lapsed, reason, ledger.Robot, job.Say("history."+reason, nil)); err != nil {
			return err
		}
		o.Log.Info("job lapsed", "job", row.ID, "why", reason)
		return tx.Enqueue(ctx, ledger.StepDraft, row.Thread, time.Time{})
	})
}

// forgetOld removes letters, files and names of jobs that ended long enough ago.
func (o *Office) ForgetOld(ctx context.Context) error {
	days := o.Rules.Limits.KeepDays
	if days <= 0 {
		return nil
	}
	before := o.Now().AddDate(0, 0, -days)
	if err := o.dropUnsent(ctx, before); err != nil {
		return err
	}
	done, err := o.Ledger.Expire(ctx, before, ledger.Robot)
	if done != (ledger.Forgotten{}) {
		o.Log.Info("kept long enough", "letters", done.Letters, "jobs", done.Jobs, "drafts", done.Drafts)
	}
	return err
}

// dropUnsent sets aside letters about ended jobs that nobody approved in all
// that time: their words are about to be removed.
func (o *Office) dropUnsent(ctx context.Context, before time.Time) error {
	waiting, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting}})
	if err != nil {
		return err
	}
	for _, d := range waiting {
		if !d.Made.Before(before) {
			continue
		}
		over, err := o.allOver(ctx, d.Jobs)
		if err != nil {
			return err
		}
		if !over {
			continue
		}
		err = o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
			if err := tx.SetAside(ctx, d.ID, ledger.Robot, job.Say("history.never-sent", nil)); err != nil {
				return err
			}
			return tx.Enqueue(ctx, ledger.StepFile, d.ID, time.Time{})
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (o *Office) allOver(ctx context.Context, ids []job.ID) (bool, error) {
	for _, id := range ids {
		j, err := o.Ledger.Job(ctx, id)
		if err != nil || !j.Stage.Over() {
			return false, err
		}
	}
	return len(ids) > 0, nil
}
