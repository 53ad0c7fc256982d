package casework

import (
	"context"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// What a yes that is kept may wait for, beside the keys of questions.
const (
	AheadCheck     = "check"     // the job is being checked anew
	AheadLetter    = "letter"    // a letter that staff have not dealt with
	AheadAgreement = "agreement" // a signed agreement
)

// Ahead is one thing that stands in the way of a yes.
type Ahead struct {
	What   string // AheadCheck, AheadLetter, AheadAgreement or the key of a question
	Letter string // which, for AheadLetter
}

// Ahead gives what still stands in the way of a job's yes. It reports false where no
// yes is kept.
func (o *Office) Ahead(ctx context.Context, j job.Job) (out []Ahead, kept bool, err error) {
	y, ok, err := o.Ledger.OpenYes(ctx, j.ID)
	if err != nil || !ok || y.State != ledger.YesKept {
		return nil, false, err
	}
	letters, err := o.lettersOpen(ctx, j)
	if err != nil {
		return nil, true, err
	}
	if j.Stage == job.Taken || j.Stage == job.Checked {
		out = append(out, Ahead{What: AheadCheck})
	}
	for _, l := range letters {
		out = append(out, Ahead{What: AheadLetter, Letter: l})
	}
	for _, key := range o.left(j) {
		out = append(out, Ahead{What: key})
	}
	return out, true, nil
}

// lettersOpen are the letters of a job's conversation that were left to staff and
// hold back its yes.
func (o *Office) lettersOpen(ctx context.Context, j job.Job) ([]string, error) {
	open, err := o.Ledger.LetterOpen(ctx, j.Thread, unclear)
	if err != nil || !open {
		return nil, err
	}
	notices, err := o.Ledger.Notices(ctx, false)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, n := range notices {
		if !slices.Contains(unclear, n.Kind) {
			continue
		}
		for _, l := range n.Letters {
			jobs, err := o.Ledger.JobsOf(ctx, l)
			if err != nil {
				return nil, err
			}
			if slices.ContainsFunc(jobs, func(other job.Job) bool { return other.Thread == j.Thread }) {
				out = append(out, l)
			}
		}
	}
	return out, nil
}

// aheadNames are the words for keys of what is missing.
func aheadNames(keys []string) []job.Message {
	out := make([]job.Message, 0, len(keys))
	for _, key := range keys {
		out = append(out, job.Message{Key: "codes.ahead." + key})
	}
	return out
}

// Missing names what the house wants settled before a part is printed and is not: keys
// of questions, and AheadAgreement. A job of an earlier version may be on the print
// list without.
func (o *Office) Missing(j job.Job) []string { return o.left(j) }
