package robot

import (
	"context"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// between is how often the robot looks what the calendar asks for. All that it
// does is counted in days.
const between = 10 * time.Minute

// tidy does what time alone asks for, once per look at the mailbox: reminders,
// requests that nobody answered, parts that nobody collected, and what has been
// kept long enough. It may be done any number of times.
func (r *Robot) tidy(ctx context.Context) error {
	if err := r.tellMoved(ctx); err != nil {
		return err
	}
	if r.clockDoubt() != "" {
		return nil
	}
	if now := r.Now(); r.tidied.IsZero() || now.Sub(r.tidied) >= between || now.Before(r.tidied) {
		for _, do := range []func(context.Context) error{r.seeQuotes, r.seePickups, r.forgetOld} {
			if err := do(ctx); err != nil {
				return err
			}
		}
		r.tidied = now
	}
	return nil
}

// recently is how long after a job was moved by hand its letter is still seen to.
const recently = 24 * time.Hour

// tellMoved sees to the letter of every job that was moved by hand, at the
// printer or on the staff page, into a stage that its patron is told of.
func (r *Robot) tellMoved(ctx context.Context) error {
	rows, err := r.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Failed, job.Ready, job.Declined, job.Withdrawn, job.Lapsed}})
	if err != nil {
		return err
	}
	var seen []string
	for _, row := range rows {
		if r.Now().Sub(row.Since) > recently || slices.Contains(seen, row.Thread) {
			continue
		}
		seen = append(seen, row.Thread)
		all, err := r.Ledger.JobsIn(ctx, row.Thread)
		if err != nil {
			return err
		}
		jobs, _, err := r.toWriteAbout(ctx, all)
		if err != nil {
			return err
		}
		if len(jobs) > 0 {
			if err := r.Ledger.Enqueue(ctx, stepDraft, row.Thread, time.Time{}); err != nil {
				return err
			}
		}
	}
	return nil
}

// seeQuotes reminds once of a letter that was not answered, and then closes the request.
func (r *Robot) seeQuotes(ctx context.Context) error {
	l := r.Rules.Limits
	return r.each(ctx, []job.Stage{job.Quoted, job.NeedsAgreement}, l.ReminderDays, func(row ledger.Row, s silence) error {
		switch {
		case s.since(r.Now(), l.LapseDays):
			return r.lapse(ctx, row, "no-answer", "nobody answered our letter")
		case s.since(r.Now(), l.ReminderDays) && !s.reminded && row.Total != "":
			return r.Ledger.Enqueue(ctx, stepReminder, row.Thread, time.Time{})
		}
		return nil
	})
}

// seePickups reminds once of a part that waits, and then closes its job.
func (r *Robot) seePickups(ctx context.Context) error {
	l := r.Rules.Limits
	return r.each(ctx, []job.Stage{job.Ready}, l.PickupReminderDays, func(row ledger.Row, s silence) error {
		switch {
		case s.since(r.Now(), l.PickupDays+1): // the last day is the patron's, whole
			return r.lapse(ctx, row, "not-collected", "nobody collected it")
		case s.since(r.Now(), l.PickupReminderDays) && !s.reminded:
			return r.Ledger.Enqueue(ctx, stepPickupReminder, row.Thread, time.Time{})
		}
		return nil
	})
}

// each calls act for the jobs that have stood in one of the stages for some days.
func (r *Robot) each(ctx context.Context, stages []job.Stage, days int, act func(ledger.Row, silence) error) error {
	rows, err := r.Ledger.Jobs(ctx, ledger.Filter{Stages: stages})
	if err != nil {
		return err
	}
	for _, row := range rows {
		if r.Now().Before(row.Since.AddDate(0, 0, days)) {
			continue
		}
		s, err := r.silence(ctx, row.ID)
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
func (r *Robot) lapse(ctx context.Context, row ledger.Row, reason, why string) error {
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, row.ID)
		if err != nil || j.Stage != row.Stage {
			return err
		}
		if err := tx.MoveFor(ctx, row.ID, job.Lapsed, reason, ledger.Robot, why); err != nil {
			return err
		}
		r.Log.Info("job lapsed", "job", row.ID, "why", why)
		return tx.Enqueue(ctx, stepDraft, row.Thread, time.Time{})
	})
}

// forgetOld removes letters, files and names of jobs that ended long enough ago.
func (r *Robot) forgetOld(ctx context.Context) error {
	days := r.Rules.Limits.KeepDays
	if days <= 0 {
		return nil
	}
	before := r.Now().AddDate(0, 0, -days)
	if err := r.dropUnsent(ctx, before); err != nil {
		return err
	}
	done, err := r.Ledger.Expire(ctx, before, ledger.Robot)
	if done != (ledger.Forgotten{}) {
		r.Log.Info("kept long enough", "letters", done.Letters, "jobs", done.Jobs, "drafts", done.Drafts)
	}
	return err
}

// dropUnsent sets aside letters about ended jobs that nobody approved in all
// that time: their words are about to be removed.
func (r *Robot) dropUnsent(ctx context.Context, before time.Time) error {
	waiting, err := r.Ledger.Drafts(ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting}})
	if err != nil {
		return err
	}
	for _, d := range waiting {
		if !d.Made.Before(before) {
			continue
		}
		over, err := r.allOver(ctx, d.Jobs)
		if err != nil {
			return err
		}
		if !over {
			continue
		}
		err = r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
			if err := tx.SetAside(ctx, d.ID, ledger.Robot, "nobody sent it before its job was to be forgotten"); err != nil {
				return err
			}
			return tx.Enqueue(ctx, stepFile, d.ID, time.Time{})
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *Robot) allOver(ctx context.Context, ids []job.ID) (bool, error) {
	for _, id := range ids {
		j, err := r.Ledger.Job(ctx, id)
		if err != nil || !j.Stage.Over() {
			return false, err
		}
	}
	return len(ids) > 0, nil
}
