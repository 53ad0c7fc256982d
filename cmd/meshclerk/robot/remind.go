package robot

import (
	"context"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
)

// remind writes a reminder about the jobs of a conversation that are due for
// one, all in one letter. It looks again whether it is still wanted.
func (r *Robot) remind(ctx context.Context, s *ledger.Step) error {
	days, stages := r.Rules.Limits.ReminderDays, []job.Stage{job.Quoted, job.NeedsAgreement}
	if s.Kind == stepPickupReminder {
		days, stages = r.Rules.Limits.PickupReminderDays, []job.Stage{job.Ready}
	}
	all, err := r.Ledger.JobsIn(ctx, s.Subject)
	if err != nil {
		return err
	}
	var due []job.Job
	var last silence
	for _, j := range all {
		if !slices.Contains(stages, j.Stage) || !Printable(j.Report) {
			continue
		}
		rest, err := r.silence(ctx, j.ID)
		if err != nil {
			return err
		}
		if rest.since(r.Now(), days) && !rest.reminded {
			due, last = append(due, j), rest
		}
	}
	if len(due) == 0 {
		return r.Ledger.Done(ctx, s)
	}
	in, answers, err := r.input(ctx, due)
	if err != nil {
		return err
	}
	in.Template, in.Picture = s.Kind, nil
	r.remindOf(in, last)
	return r.write(ctx, s, in, answers, due, false)
}

// remindOf says by when something should happen, counted from the letter that
// the patron has not answered.
func (r *Robot) remindOf(in *draft.Input, s silence) {
	l, told := r.Rules.Limits, s.ours.Changed
	if in.Template == stepPickupReminder {
		in.PickupUntil = told.AddDate(0, 0, l.PickupDays)
	} else {
		in.QuotedOn, in.ClosesOn = told, told.AddDate(0, 0, l.LapseDays)
	}
}

// answer drafts the frame of an answer to a question; staff put their own words
// into it. Nothing is drafted while another letter about the jobs waits.
func (r *Robot) answer(ctx context.Context, s *ledger.Step) error {
	all, err := r.Ledger.JobsIn(ctx, s.Subject)
	if err != nil {
		return err
	}
	var about []job.Job
	for _, j := range all {
		waiting, err := r.Ledger.Drafts(ctx, ledger.DraftFilter{Job: j.ID, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftApproved, ledger.DraftSending}})
		if err != nil {
			return err
		}
		if len(waiting) > 0 || j.Stage == job.Taken || j.Stage == job.Checked {
			return r.Ledger.Done(ctx, s)
		}
		if !j.Stage.Over() {
			about = append(about, j)
		}
	}
	if len(about) == 0 {
		about = all
	}
	in, answers, err := r.input(ctx, about)
	if err != nil {
		return err
	}
	in.Template, in.Picture = stepQuestion, nil
	return r.write(ctx, s, in, answers, about, false)
}
