package casework

import (
	"context"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
	"meshclerk/templates"
)

// remind writes a reminder about the jobs of a conversation that are due for
// one, all in one letter. It looks again whether it is still wanted.
func (o *Office) Remind(ctx context.Context, s *ledger.Step) error {
	days, stages := o.Rules.Limits.ReminderDays, []job.Stage{job.Quoted, job.NeedsAgreement}
	if s.Kind == ledger.StepPickupReminder {
		days, stages = o.Rules.Limits.PickupReminderDays, []job.Stage{job.Ready}
	}
	all, err := o.Ledger.JobsIn(ctx, s.Subject)
	if err != nil {
		return err
	}
	var due []job.Job
	var last silence
	for _, j := range all {
		if !slices.Contains(stages, j.Stage) || !j.Report.Printable() {
			continue
		}
		rest, err := o.silence(ctx, j.ID)
		if err != nil {
			return err
		}
		if rest.since(o.Now(), days) && !rest.reminded {
			due, last = append(due, j), rest
		}
	}
	if len(due) == 0 {
		return o.Ledger.Done(ctx, s)
	}
	in, answers, err := o.input(ctx, due)
	if err != nil {
		return err
	}
	in.Template, in.Picture = string(s.Kind), nil
	o.remindOf(in, last)
	return o.write(ctx, s, in, answers, due, false)
}

// remindOf says by when something should happen, counted from the letter that
// the patron has not answered.
func (o *Office) remindOf(in *draft.Input, s silence) {
	l, told := o.Rules.Limits, s.ours.Changed
	if in.Template == templates.TextPickupReminder {
		in.PickupUntil = told.AddDate(0, 0, l.PickupDays)
	} else {
		in.QuotedOn, in.ClosesOn = told, told.AddDate(0, 0, l.LapseDays)
	}
}

// Frame drafts an answer to a question: what the record and the rules say to it, and
// else the frame into which staff put their own words. Nothing is drafted while another letter about the jobs waits.
func (o *Office) Frame(ctx context.Context, s *ledger.Step) error {
	all, err := o.Ledger.JobsIn(ctx, s.Subject)
	if err != nil {
		return err
	}
	var about []job.Job
	for _, j := range all {
		waiting, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Job: j.ID, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftApproved, ledger.DraftSending}})
		if err != nil {
			return err
		}
		if len(waiting) > 0 || j.Stage == job.Taken || j.Stage == job.Checked {
			return o.Ledger.Done(ctx, s)
		}
		if !j.Stage.Over() {
			about = append(about, j)
		}
	}
	if len(about) == 0 {
		about = all
	}
	in, answers, err := o.input(ctx, about)
	if err != nil {
		return err
	}
	in.Template, in.Picture = templates.TextQuestion, nil
	in.SaidYes = slices.ContainsFunc(about, func(j job.Job) bool { return !offered[j.Stage] })
	if in.Letter != nil && in.Letter.Disposition != job.Request {
		if err := o.answer(ctx, in, about); err != nil {
			return err
		}
	}
	return o.write(ctx, s, in, answers, about, false)
}
