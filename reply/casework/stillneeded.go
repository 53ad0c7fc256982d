package casework

import (
	"context"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// AskWhatIsLeft writes to a patron whose answer settled some of what was asked and
// not all: what is still needed before the print. Nothing is written while another
// letter about the jobs is on its way, since that one asks too.
func (o *Office) AskWhatIsLeft(ctx context.Context, s *ledger.Step) error {
	all, err := o.Ledger.JobsIn(ctx, s.Subject)
	if err != nil {
		return err
	}
	var about []job.Job
	saidYes := false
	for _, j := range all {
		if j.Stage == job.Taken || j.Stage == job.Checked {
			return o.Ledger.Done(ctx, s) // the letter after its check asks
		}
		if j.Stage != job.Quoted && j.Stage != job.NeedsAgreement {
			continue
		}
		y, ok, err := o.Ledger.OpenYes(ctx, j.ID)
		if err != nil {
			return err
		}
		saidYes = saidYes || ok && y.State == ledger.YesKept
		about = append(about, j)
	}
	underway, err := o.underway(ctx, s.Subject)
	if err != nil || underway || len(about) == 0 {
		return o.doneOr(ctx, s, err)
	}
	in, answers, err := o.input(ctx, about)
	if err != nil {
		return err
	}
	in.Template, in.Picture, in.SaidYes = templates.TextStillNeeded, nil, saidYes
	return o.write(ctx, s, in, answers, about, false)
}

// underway reports whether a reply of a conversation is approved and not yet gone.
func (o *Office) underway(ctx context.Context, thread string) (bool, error) {
	list, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Thread: thread, States: []ledger.DraftState{ledger.DraftApproved, ledger.DraftSending}})
	return len(list) > 0, err
}

func (o *Office) doneOr(ctx context.Context, s *ledger.Step, err error) error {
	if err != nil {
		return err
	}
	return o.Ledger.Done(ctx, s)
}
