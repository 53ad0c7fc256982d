package casework

import (
	"context"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
	"meshclerk/templates"
)

// Rewrite says what is different in a draft that is composed anew.
type Rewrite struct {
	Subject, Markdown string    // a person's own version; "" leaves the template's
	Note              string    // staff's own words to the patron, for the template
	Jobs              []job.Job // the jobs as they would be; nil as they are
}

// Redraft composes a waiting draft anew, under its own number and Message-ID. It
// changes nothing.
func (o *Office) Redraft(ctx context.Context, id string, w Rewrite) (draft.Message, error) {
	d, err := o.Ledger.Draft(ctx, id)
	if err != nil {
		return draft.Message{}, err
	}
	jobs := w.Jobs
	if jobs == nil {
		if jobs, err = o.jobsOf(ctx, d); err != nil {
			return draft.Message{}, err
		}
	}
	number, _, _ := strings.Cut(strings.Trim(d.MessageID, "<>"), "@")
	in, _, err := o.gather(ctx, number, jobs)
	if err != nil {
		return draft.Message{}, err
	}
	if err := o.situate(ctx, in, jobs); err != nil {
		return draft.Message{}, err
	}
	if d.Kind != templates.TextSeveral || len(in.Jobs) > 1 { // else the others were given up since
		in.Template = d.Kind
	}
	in.Subject, in.Markdown, in.Note = w.Subject, w.Markdown, w.Note
	if d.Kind == templates.TextReminder || d.Kind == templates.TextPickupReminder {
		rest, err := o.silence(ctx, jobs[0].ID)
		if err != nil {
			return draft.Message{}, err
		}
		o.remindOf(in, rest)
	}
	m, err := draft.Compose(*in)
	if err != nil {
		return draft.Message{}, err
	}
	return m, Canonical(&m)
}

func (o *Office) jobsOf(ctx context.Context, d ledger.Draft) ([]job.Job, error) {
	var jobs []job.Job
	for _, id := range d.Jobs {
		j, err := o.Ledger.Job(ctx, id)
		if err != nil {
			return nil, err
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

// Replaced has the copy in the mailbox follow a draft that was changed, in the
// transaction that changes it.
func Replaced(ctx context.Context, tx *ledger.Tx, id string) error {
	return tx.Enqueue(ctx, ledger.StepPost, id, time.Time{})
}
