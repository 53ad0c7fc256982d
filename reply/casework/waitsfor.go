package casework

import (
	"context"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// Who a job waits for.
const (
	ForPatron = "patron"
	ForStaff  = "staff"
	ForRobot  = "robot"
)

// WaitsFor says who a job waits for: "patron", "staff" or "robot", or "" when it is over.
func (o *Office) WaitsFor(ctx context.Context, j job.Job) (string, error) {
	switch j.Stage {
	case job.Taken, job.Checked:
		return ForRobot, nil
	case job.Agreed, job.Printing, job.Failed:
		return ForStaff, nil
	case job.Collected, job.Declined, job.Withdrawn, job.Lapsed:
		return "", nil
	}
	drafts, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Job: j.ID, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftFailed, ledger.DraftUncertain, ledger.DraftApproved, ledger.DraftSending}})
	if err != nil {
		return "", err
	}
	if slices.ContainsFunc(drafts, func(d ledger.Draft) bool { return d.State == ledger.DraftApproved || d.State == ledger.DraftSending }) {
		return ForRobot, nil
	}
	kinds := unclear
	if j.Stage == job.NeedsAgreement {
		kinds = append(slices.Clone(unclear), forms...)
	}
	open, err := o.Ledger.LetterOpen(ctx, j.Thread, kinds)
	if err != nil {
		return "", err
	}
	if len(drafts) > 0 || open || j.Stage == job.Drafted { // a drafted one without a waiting reply lies aside
		return ForStaff, nil
	}
	return ForPatron, nil
}

// Prices gives what was last offered for a job and what was agreed, decimal money; ""
// for none.
func (o *Office) Prices(ctx context.Context, id job.ID) (offered, agreed string, err error) {
	offer, ok, err := o.Ledger.LastOffer(ctx, id)
	if err != nil || !ok {
		return "", "", err
	}
	y, said, err := o.Ledger.OpenYes(ctx, id)
	if err != nil {
		return "", "", err
	}
	counts := said && y.State == ledger.YesCounts
	if offer.Terms != nil {
		offered = offer.Terms.Total
	} else if offered, err = o.total(ctx, id); err != nil { // an earlier version offered it
		return "", "", err
	}
	if counts && y.Terms != nil {
		agreed = y.Terms.Total
	} else if counts {
		agreed = offered
	}
	return offered, agreed, nil
}

func (o *Office) total(ctx context.Context, id job.ID) (string, error) {
	j, err := o.Ledger.Job(ctx, id)
	if err != nil || j.Report == nil || j.Report.Quote == nil {
		return "", err
	}
	return j.Report.Quote.Total, nil
}
