package casework

import (
	"context"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/preflight"
	"meshclerk/reply/quote"
)

// check runs preflight, estimate and price on a job, and looks up the agreement.
func (o *Office) Check(ctx context.Context, s *ledger.Step) error {
	id := job.ID(s.Subject)
	j, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return err
	}
	if !job.MayGo(j.Stage, job.Checked) {
		return o.Ledger.Done(ctx, s) // withdrawn or printed meanwhile
	}
	report, scale, err := o.Examine(ctx, j)
	if err != nil {
		return err
	}
	verdict, err := o.judge(ctx, j)
	if err != nil {
		return err
	}
	o.at("checked")
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		was := j
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if !job.SameAsked(was, j) || !job.MayGo(j.Stage, job.Checked) {
			return o.checkAgain(ctx, tx, s, j)
		}
		j.Report, j.Agreement, j.Settings.Scale = report, &verdict, scale
		if e := j.Report; e != nil && e.Estimate != nil && e.Estimate.ChangeMM > 0 {
			j.Settings.Reoriented = false // as it was planned
		}
		if Undivided(j.Settings, j.Report) {
			j.Settings.Second, j.Settings.Colour = nil, "" // which one, or at which height, is asked
		}
		if j, err = findOnto(ctx, tx, j); err != nil {
			return err
		}
		if err := o.recordCheck(ctx, tx, j); err != nil {
			return err
		}
		if err := tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{}); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
}

// checkAgain drops what was found out about a job that was changed meanwhile: the
// step is done again for the job as it is now.
func (o *Office) checkAgain(ctx context.Context, tx *ledger.Tx, s *ledger.Step, j job.Job) error {
	o.Log.Info("job changed while it was checked", "job", j.ID)
	if err := tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{}); err != nil {
		return err
	}
	return tx.Done(ctx, s)
}

// recordCheck saves a checked job and moves it on.
func (o *Office) recordCheck(ctx context.Context, tx *ledger.Tx, j job.Job) error {
	if err := tx.SaveJob(ctx, j, ledger.Robot, job.Say("history.checked", nil)); err != nil {
		return err
	}
	if err := tellUnfinished(ctx, tx, j); err != nil {
		return err
	}
	to, why := job.Checked, job.Say("history.checked", nil)
	if o.Rules.Agreement.Required && j.Agreement.State != job.AgreementGood && j.Report.Printable() {
		to, why = job.NeedsAgreement, j.Agreement.Why
	}
	if o.Rules.Agreement.Required && j.Agreement.State == job.AgreementGood {
		if err := formAnswered(ctx, tx, j.ID); err != nil {
			return err
		}
	}
	if j.Stage == to {
		return o.standing(ctx, tx, j)
	}
	if to == job.NeedsAgreement {
		if err := formWithRequest(ctx, tx, j.ID); err != nil {
			return err
		}
	}
	if j.Stage != job.Taken && j.Stage != job.NeedsAgreement { // checked again while its reply waits
		if err := tx.Move(ctx, j.ID, job.Checked, ledger.Robot, job.Say("history.checked-again", nil)); err != nil || to == job.Checked {
			return err
		}
	}
	if err := tx.Move(ctx, j.ID, to, ledger.Robot, why); err != nil {
		return err
	}
	o.Log.Info("job checked", "job", j.ID, "stage", to)
	j.Stage = to
	return o.standing(ctx, tx, j)
}

// tellUnfinished tells staff of a check that was not finished: a person has to look.
func tellUnfinished(ctx context.Context, tx *ledger.Tx, j job.Job) error {
	if j.Report == nil || !j.Report.CutShort() {
		return nil
	}
	why, ok := j.Report.Error.Args["why"].(job.Message)
	if !ok {
		why = j.Report.Error
	}
	return tx.AddNotice(ctx, ledger.NoticeUnfinished, string(j.ID), job.Say("notices.unfinished", job.Args{"job": string(j.ID), "why": why}))
}

// formWithRequest tells staff when the agreement that is missing may have come
// with the request itself.
func formWithRequest(ctx context.Context, tx *ledger.Tx, id job.ID) error {
	letters, err := tx.LettersOf(ctx, id)
	if err != nil || len(letters) == 0 || letters[0].Parsed == nil || !mayBeForm(letters[0].Parsed, false) {
		return err
	}
	return formCame(ctx, tx, letters[0].ID, id)
}

// Examine runs the preflight and prices the part under the job's settings. It
// gives nil for a job without a mesh, and the scale that was used.
func (o *Office) Examine(ctx context.Context, j job.Job) (*job.Report, float64, error) {
	if j.Blob == "" {
		return nil, 0, nil
	}
	if o.examine != nil {
		return o.examine(ctx, j)
	}
	path := o.Ledger.BlobPath(j.Blob)
	set := j.Settings
	if set.Scale == 0 {
		scale, err := o.scale(ctx, path, j.Wishes)
		if err != nil {
			return nil, 0, err
		}
		set.Scale = scale
	}
	report := preflight.Check(ctx, path, o.Rules, set, preflight.Options{Name: j.File, Seen: o.seen(ctx, j), Calibration: o.learned(ctx), WhatIf: true})
	if err := ctx.Err(); err != nil {
		return nil, 0, err
	}
	settleUnits(&report, j.Wishes)
	if report.Estimate == nil {
		return &report, set.Scale, nil
	}
	q, err := quote.Price(*report.Estimate, o.Rules.Prices, o.Now())
	if err != nil {
		return nil, 0, &job.Fault{Message: job.Say("faults.not-priced", job.Args{"job": string(j.ID), "why": job.Why(err)}), Err: err}
	}
	report.Quote = &q
	report.Estimate.WhatIf, err = quote.PriceChoices(report.Estimate.WhatIf, *report.Estimate, o.Rules.Prices)
	return &report, set.Scale, err
}

// scale reads the part's size to turn a wished length into a factor.
func (o *Office) scale(ctx context.Context, path string, w job.Wishes) (float64, error) {
	if w.Size == nil {
		return wishedScale(w, [3]float64{}), nil
	}
	f, err := preflight.Open(ctx, path, o.Rules.Caps)
	if err != nil {
		return 0, ctx.Err() // the preflight says what is wrong with the file
	}
	return wishedScale(w, f.Mesh.Bounds().Size()), nil
}

// settleUnits takes back the question about units when the patron gave a size:
// it leaves no doubt any more.
func settleUnits(report *job.Report, w job.Wishes) {
	if w.Size == nil {
		return
	}
	for i := range report.Findings {
		if f := &report.Findings[i]; f.Code == job.CodeUnitsDoubtful {
			f.Level, f.Question = job.Note, job.Message{}
		}
	}
}

// seen tells what became of an earlier job of this patron with the same file.
// What other patrons print is none of their business, and whoever is not proven
// to be the patron is told nothing of the patron's past.
func (o *Office) seen(ctx context.Context, j job.Job) func(sha string) (job.Message, bool) {
	if j.Auth != job.Pass {
		return nil
	}
	return func(string) (job.Message, bool) {
		rows, err := o.Ledger.Jobs(ctx, ledger.Filter{Patron: j.Patron.Address})
		if err != nil {
			return job.Message{}, false
		}
		for _, row := range rows {
			if row.Made.Before(j.Made) && row.Blob == j.Blob {
				return job.Say("findings.became."+string(row.Stage), nil), true
			}
		}
		return job.Message{}, false
	}
}

// judge looks up whether a signed agreement covers the job's patron.
func (o *Office) judge(ctx context.Context, j job.Job) (job.Agreement, error) {
	found, err := o.Ledger.FindAgreements(ctx, j.Patron.Address, j.Wishes.Card)
	if err != nil {
		return job.Agreement{}, err
	}
	return agreement.Judge(j.Patron, j.Auth, j.Wishes.Card, o.Now(), found, o.Rules.Agreement), nil
}

// resume sends jobs that waited for an agreement back to their check once it is on file.
func (o *Office) Resume(ctx context.Context) error {
	rows, err := o.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.NeedsAgreement}})
	if err != nil {
		return err
	}
	for _, row := range rows {
		j, err := o.Ledger.Job(ctx, row.ID)
		if err != nil {
			return err
		}
		verdict, err := o.judge(ctx, j)
		if err != nil {
			return err
		}
		if verdict.State != job.AgreementGood {
			continue
		}
		if err := o.Ledger.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{}); err != nil {
			return err
		}
	}
	return nil
}
