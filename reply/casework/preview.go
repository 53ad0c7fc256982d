package casework

import (
	"context"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/reply/draft"
	"meshclerk/templates"
)

// previewID stands where a draft's own number would; nothing is recorded.
const previewID = "preview"

// Preview fills in a text for a job as it stands, as if its situation were the
// job's own. It changes nothing. A language of "" is the patron's.
func (o *Office) Preview(ctx context.Context, set *templates.Set, id job.ID, name, language string) (draft.Message, error) {
	in, err := o.previewed(ctx, set, id, name, language)
	if err != nil {
		return draft.Message{}, err
	}
	return draft.Compose(*in)
}

// PreviewData gives what that text may show.
func (o *Office) PreviewData(ctx context.Context, set *templates.Set, id job.ID, name, language string) (*templates.Data, error) {
	in, err := o.previewed(ctx, set, id, name, language)
	if err != nil {
		return nil, err
	}
	return draft.Data(*in)
}

func (o *Office) previewed(ctx context.Context, set *templates.Set, id job.ID, name, language string) (*draft.Input, error) {
	j, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return nil, err
	}
	in, _, err := o.gather(ctx, previewID, []job.Job{j})
	if err != nil {
		return nil, err
	}
	in.Templates, in.Domain = set, "preview.invalid"
	days := func(n int) time.Time { return o.Now().AddDate(0, 0, n) }
	in.Template, in.QuotedOn = name, o.Now()
	in.ClosesOn, in.PickupUntil = days(o.Rules.Limits.LapseDays), days(o.Rules.Limits.PickupDays)
	if in.Reason, err = o.reason(ctx, j); err != nil {
		return nil, err
	}
	if in.Wait, err = o.wait(ctx, []job.Job{j}); err != nil {
		return nil, err
	}
	if language != "" && in.Letter != nil {
		letter := *in.Letter
		letter.Language = language
		in.Letter = &letter
		in.Picture = o.picture(ctx, in.Jobs, in.Language())
	}
	if paid, err := o.Ledger.Payments(ctx, id); err == nil && len(paid) > 0 {
		in.Paid = paid[len(paid)-1].Amount
	}
	if !slices.Contains([]string{templates.TextFailed, templates.TextDeclined}, name) {
		in.Reason = ""
	}
	return in, nil
}
