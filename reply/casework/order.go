package casework

import (
	"context"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
	"meshclerk/templates"
)

// offering are the letters that offer what can be printed in them.
var offering = map[string]bool{
	templates.TextQuote: true, templates.TextChangedQuote: true, templates.TextSeveral: true,
	templates.TextNeedsAgreement: true, templates.TextAgreementExpired: true, templates.TextAgreementArrived: true,
}

// recordOffers keeps what a letter that left offers.
func recordOffers(ctx context.Context, tx *ledger.Tx, d ledger.Draft) error {
	if !offering[d.Kind] {
		return nil
	}
	w := WrittenOf(d)
	for _, j := range w.Jobs {
		t, ok := j.Terms()
		if !ok || j.Stage == job.Withdrawn { // told of as given up
			continue
		}
		o := ledger.Offer{Draft: d.ID, Job: j.ID, SHA256: d.SHA256, Terms: &t, RulesHash: d.RulesHash}
		for _, q := range w.Questions {
			if q.Job == "" || q.Job == j.ID {
				o.Asked = append(o.Asked, q.Key)
			}
		}
		if err := tx.AddOffer(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

// AfterSent records what a reply that left offers, and moves its jobs: what was
// drafted is quoted. A job that is no longer as the letter says gets a new one.
func (o *Office) AfterSent(ctx context.Context, tx *ledger.Tx, id string) error {
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	if err := recordOffers(ctx, tx, d); err != nil {
		return err
	}
	for _, jid := range d.Jobs {
		j, err := tx.Job(ctx, jid)
		if err != nil {
			return err
		}
		if j, err = o.sentBeside(ctx, tx, d, j); err != nil {
			return err
		}
		if j.Stage == job.Drafted {
			if err := tx.Move(ctx, jid, job.Quoted, ledger.Robot, job.Say("history.reply-sent", job.Args{"draft": id})); err != nil {
				return err
			}
		}
	}
	if w := WrittenOf(d); d.Kind != templates.TextQuestion || d.Letter == "" || w.Promises && !w.Edited {
		return nil // a letter that promises another leaves its question open
	}
	return o.letterDealtWith(ctx, tx, d.Letter, ledger.Robot)
}

// sentBeside takes a job off the print list when another offer than the one that was
// agreed to leaves all the same, such as one that was in the mail server's hands.
func (o *Office) sentBeside(ctx context.Context, tx *ledger.Tx, d ledger.Draft, j job.Job) (job.Job, error) {
	if j.Stage != job.Agreed && j.Stage != job.Failed {
		return j, nil
	}
	offer, ok, err := tx.LastOffer(ctx, j.ID)
	if err != nil || !ok || offer.Draft != d.ID || offer.Meets(j) {
		return j, err
	}
	if err := tx.Move(ctx, j.ID, job.Checked, ledger.Robot, job.Say("history.offered-anew", nil)); err != nil {
		return j, err
	}
	j.Stage = job.Checked
	return j, tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
}

// overtaken names a job that is not as a letter offers it any more: it was changed,
// agreed or ended since the letter was written.
func overtaken(ctx context.Context, r ledger.Reader, d ledger.Draft) (job.ID, error) {
	if !offering[d.Kind] {
		return "", nil
	}
	for _, then := range WrittenOf(d).Jobs {
		now, err := r.Job(ctx, then.ID)
		if err != nil {
			return "", err
		}
		if then.Stage == job.Withdrawn {
			if now.Stage != then.Stage {
				return now.ID, nil
			}
			continue
		}
		offered, ok := then.Terms()
		if !ok {
			continue
		}
		terms, _ := now.Terms()
		if now.Stage != job.Drafted && now.Stage != job.NeedsAgreement && now.Stage != job.Quoted || len(terms.Differ(offered)) > 0 {
			return now.ID, nil
		}
	}
	return "", nil
}

// DropOvertaken sets an approved letter aside that offers what is not so any more,
// and tells who approved it. It reports whether it did; the step of its sending is
// done then.
func (o *Office) DropOvertaken(ctx context.Context, s *ledger.Step, d ledger.Draft) (dropped bool, err error) {
	err = o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		id, err := overtaken(ctx, tx.Reader, d)
		if err != nil || id == "" {
			return err
		}
		dropped = true
		why := job.Say("history.overtaken", job.Args{"job": string(id)})
		if err := tx.SetAside(ctx, d.ID, ledger.Robot, why); err != nil {
			return err
		}
		if err := tx.AddNotice(ctx, ledger.NoticeOvertaken, d.ID, job.Say("notices.overtaken", job.Args{"draft": d.ID, "job": string(id)})); err != nil {
			return err
		}
		if err := tx.Enqueue(ctx, ledger.StepFile, d.ID, time.Time{}); err != nil {
			return err
		}
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if err := tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{}); err != nil {
			return err // for the others that it told of
		}
		return tx.Done(ctx, s)
	})
	return dropped, err
}

// unclear are the notices of letters that may change what is agreed: while one is
// open, no yes of the conversation counts.
var unclear = []ledger.NoticeKind{ledger.NoticeQuestion, ledger.NoticeYesToWhat, ledger.NoticeTooLate}

// letterDealtWith closes what is open about a letter, and looks again whether a yes
// counts that waited for it.
func (o *Office) letterDealtWith(ctx context.Context, tx *ledger.Tx, letter, by string) error {
	if err := settleLetter(ctx, tx, letter, by); err != nil {
		return err
	}
	return o.standingAfter(ctx, tx, letter)
}

// CloseNotice records that a person dealt with a notice, which had come up so many
// times when they read it; 0 does not look. Where it stood in the way of a yes, the
// yes is looked at again.
func (o *Office) CloseNotice(ctx context.Context, id string, seen int, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		n, err := tx.Notice(ctx, id)
		if err != nil {
			return err
		}
		if seen > 0 {
			err = tx.CloseNoticeSeen(ctx, id, seen, by)
		} else {
			err = tx.CloseNotice(ctx, id, by)
		}
		if err != nil || !slices.Contains(unclear, n.Kind) && n.Kind != ledger.NoticeForm {
			return err
		}
		for _, letter := range n.Letters {
			if n.Kind == ledger.NoticeForm {
				if err := formLookedAt(ctx, tx, letter); err != nil {
					return err
				}
				continue
			}
			if err := o.standingAfter(ctx, tx, letter); err != nil {
				return err
			}
		}
		return nil
	})
}

// standingAfter looks again at the jobs that a letter is tied to.
func (o *Office) standingAfter(ctx context.Context, tx *ledger.Tx, letter string) error {
	jobs, err := tx.JobsOf(ctx, letter)
	if err != nil {
		return err
	}
	for _, j := range jobs {
		if err := o.standing(ctx, tx, j); err != nil {
			return err
		}
	}
	return nil
}

// sayYes records the yes of a patron, or of who took it for them, to the last offer
// of a job. It reports false where nothing was offered that the job may still be
// printed by. The job is checked anew first where the house rules changed since, or
// the offer has run out.
func (o *Office) sayYes(ctx context.Context, tx *ledger.Tx, j job.Job, letter, who string) (said bool, err error) {
	if !offered[j.Stage] {
		return false, nil
	}
	offer, ok, err := tx.LastOffer(ctx, j.ID)
	if err != nil || !ok {
		return false, err
	}
	if err := tx.KeepYes(ctx, offer, letter, who); err != nil {
		return false, err
	}
	if j.Stage == job.Taken {
		return true, nil // its check looks at the yes
	}
	if offer.RulesHash != o.Rules.Hash || o.ranOut(j) {
		return true, o.checkFirst(ctx, tx, j, who)
	}
	return true, o.standing(ctx, tx, j)
}

// offered are the stages in which a yes means the last offer.
var offered = map[job.Stage]bool{job.Quoted: true, job.NeedsAgreement: true, job.Taken: true, job.Checked: true, job.Drafted: true}

// ranOut reports whether the price of a job does not hold any more.
func (o *Office) ranOut(j job.Job) bool {
	if j.Report == nil || j.Report.Quote == nil || j.Report.Quote.ValidUntil == "" {
		return false
	}
	return o.today() > j.Report.Quote.ValidUntil
}

// today is the day at the library, YYYY-MM-DD.
func (o *Office) today() string {
	now := o.Now()
	if zone, err := time.LoadLocation(o.Rules.Library.Timezone); err == nil {
		now = now.In(zone)
	}
	return now.Format(time.DateOnly)
}

// checkFirst puts a job back to its check; a yes that is kept waits for it.
func (o *Office) checkFirst(ctx context.Context, tx *ledger.Tx, j job.Job, who string) error {
	if j.Stage != job.Taken {
		if err := tx.Move(ctx, j.ID, job.Taken, who, job.Say("history.checked-before-yes", nil)); err != nil {
			return err
		}
	}
	return tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{})
}

// standing looks whether the yes of a job counts now. If so, the job goes onto the
// print list and its patron is told. If it never can, it is void, and the letter that
// follows says what changed. Else it goes on waiting, and what the patron can do
// about that is asked once.
func (o *Office) standing(ctx context.Context, tx *ledger.Tx, j job.Job) error {
	y, ok, err := tx.OpenYes(ctx, j.ID)
	if err != nil || !ok || y.State != ledger.YesKept || j.Stage == job.Taken {
		return err
	}
	offer, ok, err := tx.LastOffer(ctx, j.ID)
	if err != nil {
		return err
	}
	if _, can := j.Terms(); !ok || offer.ID != y.Offer || !can || !offer.Meets(j) {
		if err := tx.VoidYes(ctx, j.ID, job.Say("history.yes-to-other-terms", nil)); err != nil {
			return err
		}
		return o.offerAnew(ctx, tx, j)
	}
	open, err := tx.LetterOpen(ctx, j.Thread, unclear)
	if err != nil || open {
		return err
	}
	if left := o.left(j); len(left) > 0 {
		return tx.Enqueue(ctx, ledger.StepStillNeeded, j.Thread, time.Time{})
	}
	if err := tx.CountYes(ctx, j.ID); err != nil {
		return err
	}
	if err := tx.Move(ctx, j.ID, job.Agreed, y.Who, job.Say("history.patron-yes", nil)); err != nil {
		return err
	}
	return tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
}

// offerAnew has a new offer written for a job whose patron said yes to another one.
func (o *Office) offerAnew(ctx context.Context, tx *ledger.Tx, j job.Job) error {
	if j.Stage == job.Quoted {
		if err := tx.Move(ctx, j.ID, job.Checked, ledger.Robot, job.Say("history.offered-anew", nil)); err != nil {
			return err
		}
	}
	return tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
}

// left names what only the patron can settle before a job may be printed: keys of
// questions, and "agreement".
func (o *Office) left(j job.Job) []string {
	var out []string
	for _, q := range draft.Questions([]*job.Job{&j}, o.Rules) {
		if needed[q.Key] {
			out = append(out, q.Key)
		}
	}
	if o.Rules.Agreement.Required && (j.Agreement == nil || j.Agreement.State != job.AgreementGood) {
		out = append(out, "agreement")
	}
	return out
}

// needed are the questions without whose answer nothing is printed: the others are
// about what the yes itself settles, such as supports as they were priced.
var needed = map[string]bool{"size": true, "colour": true, "material": true, "copies": true, "pickup": true, "together": true}
