package robot

import (
	"context"
	"log/slog"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

// previewID stands where a draft's own number would; nothing is recorded.
const previewID = "preview"

// Preview fills in a text for a job as it stands, as if its situation were the
// job's own. It changes nothing. A language of "" is the patron's.
func Preview(ctx context.Context, l *ledger.Ledger, rs *rules.Rules, set *templates.Set, id job.ID, name, language string) (draft.Message, error) {
	j, err := l.Job(ctx, id)
	if err != nil {
		return draft.Message{}, err
	}
	r := &Robot{Ledger: l, Rules: rs, Templates: set, Domain: "preview.invalid", Log: slog.New(slog.DiscardHandler), Now: time.Now}
	in, _, err := r.gather(ctx, previewID, []job.Job{j})
	if err != nil {
		return draft.Message{}, err
	}
	days := func(n int) time.Time { return r.Now().AddDate(0, 0, n) }
	in.Template, in.QuotedOn = name, r.Now()
	in.ClosesOn, in.PickupUntil = days(rs.Limits.LapseDays), days(rs.Limits.PickupDays)
	if in.Reason, _, err = r.whyIn(ctx, j); err != nil {
		return draft.Message{}, err
	}
	if in.Wait, err = r.wait(ctx, []job.Job{j}); err != nil {
		return draft.Message{}, err
	}
	if language != "" && in.Letter != nil {
		letter := *in.Letter
		letter.Language = language
		in.Letter = &letter
	}
	if paid, err := l.Payments(ctx, id); err == nil && len(paid) > 0 {
		in.Paid = paid[len(paid)-1].Amount
	}
	if !slices.Contains([]string{"failed", "declined"}, name) {
		in.Reason = ""
	}
	return draft.Compose(*in)
}
