package casework

import (
	"context"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// forms are the notices of what may be a signed agreement. While one is open, its patron
// is not asked to sign.
var forms = []ledger.NoticeKind{ledger.NoticeForm}

// formLookedAt has the letter written that waited for a person to look at a form: it
// asks for an agreement where none is on file now.
func formLookedAt(ctx context.Context, tx *ledger.Tx, letter string) error {
	jobs, err := tx.JobsOf(ctx, letter)
	for _, j := range jobs {
		if j.Stage == job.NeedsAgreement {
			return tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
		}
	}
	return err
}

// formAnswered closes what is open about forms in a job's letters, once an agreement is
// on file.
func formAnswered(ctx context.Context, tx *ledger.Tx, id job.ID) error {
	letters, err := tx.LettersOf(ctx, id)
	for _, l := range letters {
		if err := tx.SettleLetter(ctx, ledger.NoticeForm, l.ID, ledger.Robot); err != nil {
			return err
		}
	}
	return err
}

// form tells staff that a document came while an agreement is missing.
func (in *incoming) form(ctx context.Context, jobs []job.Job) (came bool, err error) {
	if in.l.Authenticated != job.Pass {
		return false, nil
	}
	for _, j := range jobs {
		if j.Stage == job.NeedsAgreement && mayBeForm(in.l, true) {
			return true, formCame(ctx, in.tx, in.id, j.ID)
		}
	}
	return false, nil
}

// strayForm is form for a letter that begins a conversation of its own and is
// surely from a patron whose agreement is missing.
func (in *incoming) strayForm(ctx context.Context, threads []ledger.Thread) (came bool, err error) {
	if in.l.Disposition != job.Enquiry || in.l.Authenticated != job.Pass || !mayBeForm(in.l, true) {
		return false, nil
	}
	for _, t := range threads {
		jobs, err := in.tx.JobsIn(ctx, t.Token)
		if err != nil {
			return false, err
		}
		for _, j := range jobs {
			if j.Stage != job.NeedsAgreement || j.Patron.Address != in.l.From.Address {
				continue
			}
			if err := in.tx.Link(ctx, j.ID, in.id, ledger.RoleAnswer); err != nil {
				return false, err
			}
			return true, formCame(ctx, in.tx, in.id, j.ID)
		}
	}
	return false, nil
}

// mayBeForm tells whether a letter brings what may be a signed agreement. In a
// letter that was asked for one, that may be a photograph too.
func mayBeForm(l *job.Letter, asked bool) bool {
	return slices.ContainsFunc(l.Attachments, func(a job.Attachment) bool {
		return a.SHA256 != "" && (a.Kind == job.KindDocument || asked && a.Kind == job.KindPicture)
	})
}

func formCame(ctx context.Context, tx *ledger.Tx, letter string, id job.ID) error {
	return tx.AddNotice(ctx, ledger.NoticeForm, letter, job.Say("notices.form", job.Args{"letter": letter, "job": string(id)}))
}
