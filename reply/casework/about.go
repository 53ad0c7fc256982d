package casework

import (
	"bytes"
	"context"
	"encoding/json"
	"meshclerk/templates"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
)

// situations are the stages in which a job itself says what its letter is for.
var situations = map[job.Stage]string{
	job.Agreed: templates.TextAccepted, job.Failed: templates.TextFailed, job.Ready: templates.TextReady,
	job.Declined: templates.TextDeclined, job.Withdrawn: templates.TextWithdrawn, job.Lapsed: templates.TextLapsed,
}

// quotable tells whether a letter about a job in that stage is an answer to the
// request: a price, or what stands in its way.
func quotable(s job.Stage) bool {
	return s == job.Checked || s == job.NeedsAgreement || s == job.Drafted
}

// together tells whether one letter can be about both.
func together(a, b job.Job) bool {
	return a.Stage == b.Stage || quotable(a.Stage) && quotable(b.Stage)
}

// toWriteAbout are the jobs of a conversation that its next letter is about,
// and whether others need a letter of another kind. No request is answered
// while one of the conversation is still being checked, since one letter
// answers them all.
func (o *Office) toWriteAbout(ctx context.Context, all []job.Job) (about []job.Job, more bool, err error) {
	t, err := o.talk(ctx, all)
	if err != nil {
		return nil, false, err
	}
	checking := slices.ContainsFunc(all, func(j job.Job) bool { return j.Stage == job.Taken })
	var wanting []job.Job
	for _, j := range all {
		if t.wants(j) && !(checking && (quotable(j.Stage) || j.Stage == job.Withdrawn)) && !(t.form && j.Stage == job.NeedsAgreement) {
			wanting = append(wanting, j)
		}
	}
	if len(wanting) == 0 {
		return nil, false, nil
	}
	kept, _ := apart(wanting)
	first := kept[0]
	same := func(j job.Job) bool { return together(first, j) || toldBeside(first, j) }
	for _, j := range all {
		wants := slices.ContainsFunc(wanting, func(w job.Job) bool { return w.ID == j.ID })
		if wants && same(j) || together(first, j) && t.unread(j) {
			about = append(about, j)
		}
		more = more || wants && !same(j)
	}
	return about, more, nil
}

// toldBeside reports whether the letter about one job tells of another that is given up.
func toldBeside(first, j job.Job) bool {
	return j.Stage == job.Withdrawn && (first.Stage == job.Agreed || quotable(first.Stage))
}

// apart divides the jobs of a letter into those that it is about and those that it only
// says are given up.
func apart(jobs []job.Job) (about, gone []job.Job) {
	for _, j := range jobs {
		if j.Stage == job.Withdrawn {
			gone = append(gone, j)
		} else {
			about = append(about, j)
		}
	}
	if len(about) == 0 {
		return gone, nil
	}
	return about, gone
}

// withStanding adds to the jobs of a new offer those of the conversation whose own offer
// still stands and waits for a yes, so that one yes is to one letter.
func (o *Office) withStanding(ctx context.Context, all, about []job.Job) ([]job.Job, error) {
	if kept, _ := apart(about); len(all) == len(about) || len(kept) == 0 || !quotable(kept[0].Stage) {
		return about, nil
	}
	var out []job.Job
	for _, j := range all {
		if slices.ContainsFunc(about, func(a job.Job) bool { return a.ID == j.ID }) {
			out = append(out, j)
			continue
		}
		stands, err := o.offerStill(ctx, j)
		if err != nil {
			return nil, err
		}
		if stands {
			out = append(out, j)
		}
	}
	return out, nil
}

// offerStill reports whether the last offer of a job may be made again as it is.
func (o *Office) offerStill(ctx context.Context, j job.Job) (bool, error) {
	if _, can := j.Terms(); !can || j.Stage != job.Quoted || o.ranOut(j) {
		return false, nil
	}
	offer, ok, err := o.Ledger.LastOffer(ctx, j.ID)
	if err != nil || !ok || offer.RulesHash != o.Rules.Hash || !offer.Meets(j) {
		return false, err
	}
	_, yes, err := o.Ledger.OpenYes(ctx, j.ID)
	return !yes, err
}

// notSaid are the reasons for which a letter was set aside because it was not so any more
// of one of its jobs: it told the others nothing either.
var notSaid = []string{wrongly, "history.taken-up", "history.overtaken"}

// talk is what was written in a conversation so far.
type talk struct {
	since map[job.ID]time.Time    // in its stage
	last  map[job.ID]ledger.Draft // the newest that was not superseded
	back  map[job.ID]bool         // a mistake was corrected: it had been in its stage before
	form  bool                    // what may be the agreement that is missing has come, and nobody has looked yet
}

func (o *Office) talk(ctx context.Context, all []job.Job) (talk, error) {
	t := talk{since: map[job.ID]time.Time{}, last: map[job.ID]ledger.Draft{}, back: map[job.ID]bool{}}
	if len(all) == 0 {
		return t, nil
	}
	var err error
	if t.form, err = o.Ledger.LetterOpen(ctx, all[0].Thread, forms); err != nil {
		return t, err
	}
	rows, err := o.Ledger.Jobs(ctx, ledger.Filter{Thread: all[0].Thread})
	if err != nil {
		return t, err
	}
	for _, row := range rows {
		t.since[row.ID] = row.Since
		if row.Stage != job.Ready {
			continue
		}
		_, from, err := o.whyIn(ctx, job.Job{ID: row.ID, Stage: row.Stage})
		if err != nil {
			return t, err
		}
		t.back[row.ID] = from == job.Collected
	}
	drafts, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Thread: all[0].Thread})
	for _, d := range drafts {
		if d.State == ledger.DraftSuperseded || d.State != ledger.DraftWaiting && byTheWay[d.Kind] {
			continue // what was said by the way answers no stage of the job
		}
		if d.State == ledger.DraftSetAside && slices.Contains(notSaid, d.Why.Key) {
			continue // what was right in it is still to be said
		}
		for _, id := range d.Jobs {
			t.last[id] = d
		}
	}
	return t, err
}

// wants tells whether a job needs a letter that it has not got. A request is
// answered anew when it changed; every other stage is told of once each time it
// is reached.
func (t talk) wants(j job.Job) bool {
	last, written := t.last[j.ID]
	switch j.Stage {
	case job.Checked, job.NeedsAgreement:
		return !written || !sameAsWritten(last, j)
	case job.Drafted:
		return !written // its letter gave way to one about another job
	case job.Agreed: // reached again when a print failed or was put off: no second thanks for the yes
		return written && last.Kind != templates.TextAccepted && last.Kind != templates.TextFailed || !written
	case job.Ready:
		return !written || last.Made.Before(t.since[j.ID]) && !t.back[j.ID]
	case job.Lapsed:
		if j.Blob == "" {
			return false // there was nothing to close but an empty request
		}
	}
	return situations[j.Stage] != "" && (!written || last.Made.Before(t.since[j.ID]))
}

// unread tells whether the letter about a job still waits, untouched, for a
// person, so that it may as well be written together with another.
func (t talk) unread(j job.Job) bool {
	last, written := t.last[j.ID]
	return written && last.State == ledger.DraftWaiting && last.Revision == 1 && !last.Made.Before(t.since[j.ID])
}

// sameAsWritten tells whether a draft was made for a job as it stands now.
func sameAsWritten(d ledger.Draft, j job.Job) bool {
	for _, old := range WrittenOf(d).Jobs {
		if old.ID == j.ID {
			return old.Stage == j.Stage && same(old, j)
		}
	}
	return false
}

func same(a, b job.Job) bool {
	p, errA := json.Marshal(a)
	q, errB := json.Marshal(b)
	return errA == nil && errB == nil && bytes.Equal(p, q)
}

// situate says what the letter is for, and gathers what such a letter tells.
func (o *Office) situate(ctx context.Context, in *draft.Input, jobs []job.Job) (err error) {
	jobs, _ = apart(jobs)
	first := jobs[0]
	in.Template = situations[first.Stage]
	switch first.Stage {
	case job.Ready:
		in.PickupUntil = o.Now().AddDate(0, 0, o.Rules.Limits.PickupDays)
		return nil
	case job.Declined:
		in.Reason, err = o.reason(ctx, first)
		return err
	case job.Failed:
		if in.Reason, err = o.reason(ctx, first); err != nil {
			return err
		}
	case job.Lapsed:
		return o.situateLapsed(ctx, in, first)
	case job.Withdrawn:
		return nil
	}
	if in.Wait, err = o.wait(ctx, jobs); err != nil || in.Template != "" {
		return err
	}
	if len(in.Jobs) == 0 {
		return nil // the letter itself shows what is missing
	}
	in.Template = draft.Choose(nil, in.Jobs, o.Rules)
	return o.compare(ctx, in, jobs)
}

// reason is what the patron is told of why a job came into its stage: what a person
// typed for them, and nothing that only says how it came about. What names a number of
// ours was not typed for them: an earlier version wrote such reasons by itself.
func (o *Office) reason(ctx context.Context, j job.Job) (string, error) {
	why, _, err := o.whyIn(ctx, j)
	if forPatron(why.Text) != nil {
		return "", err
	}
	return why.Text, err
}

// whyIn gives why a job came into its stage, and from which.
func (o *Office) whyIn(ctx context.Context, j job.Job) (why job.Message, from job.Stage, err error) {
	events, err := o.Ledger.Events(ctx, string(j.ID))
	for _, e := range slices.Backward(events) {
		if e.What == "moved" && e.To == string(j.Stage) {
			return e.Why, job.Stage(e.From), err
		}
	}
	return why, "", err
}

// situateLapsed tells a part that nobody collected from a request that nobody answered.
func (o *Office) situateLapsed(ctx context.Context, in *draft.Input, j job.Job) error {
	_, from, err := o.whyIn(ctx, j)
	if err != nil || from != job.Ready {
		return err
	}
	in.Template = templates.TextNotCollected
	s, err := o.silence(ctx, j.ID)
	if err == nil && s.ours.ID != "" {
		in.PickupUntil = s.ours.Changed.AddDate(0, 0, o.Rules.Limits.PickupDays)
	}
	return err
}

// lastLetter is the newest letter about the jobs, which the reply answers. Of
// what came after the first, only a letter that is surely the patron's counts:
// a reply must never go to whoever wrote into the conversation.
func (o *Office) lastLetter(ctx context.Context, jobs []job.Job) (ledger.Letter, error) {
	var last ledger.Letter
	guardians, err := o.Ledger.Guardians(ctx, jobs[0].Thread)
	if err != nil {
		return last, err
	}
	for _, j := range jobs {
		letters, err := o.Ledger.LettersOf(ctx, j.ID)
		if err != nil {
			return last, err
		}
		for _, l := range letters {
			if l.Parsed != nil && (last.Parsed == nil || surely(l, j, guardians) && !l.TakenAt.Before(last.TakenAt)) {
				last = l
			}
		}
	}
	if last.Parsed == nil {
		return last, job.Refuse(job.Say("faults.no-letter", job.Args{"job": names(jobs)}))
	}
	return last, nil
}

// surely tells whether a letter is proven to come from a job's patron, or from who
// speaks for them.
func surely(l ledger.Letter, j job.Job, guardians []string) bool {
	return (l.Parsed.From.Address == j.Patron.Address || slices.Contains(guardians, l.Parsed.From.Address)) && l.Parsed.Authenticated == job.Pass
}

// compare looks for the last answer to the request that was sent about the jobs:
// what it quoted is what a new quote is compared with, and an agreement that it
// asked for has come when none is missing now.
func (o *Office) compare(ctx context.Context, in *draft.Input, jobs []job.Job) error {
	for _, j := range jobs {
		if j.Stage != job.Checked && j.Stage != job.Drafted && (len(jobs) < 2 || j.Stage != job.Quoted) || !j.Report.Printable() && len(jobs) < 2 {
			return nil
		}
		last, before, err := o.lastQuoted(ctx, j.ID)
		if err != nil {
			return err
		}
		switch {
		case len(jobs) == 1 && (last.Kind == templates.TextNeedsAgreement || last.Kind == templates.TextAgreementExpired):
			in.Template = templates.TextAgreementArrived
		case before == nil:
		default:
			if len(jobs) == 1 {
				in.Template = templates.TextChangedQuote
			}
			in.Before = append(in.Before, before)
			in.Arrived = in.Arrived || len(jobs) > 1 && before.Stage == job.NeedsAgreement && j.Agreement != nil && j.Agreement.State == job.AgreementGood
			if last.Changed.After(in.QuotedOn) {
				in.QuotedOn = last.Changed
			}
		}
	}
	return nil
}

// lastQuoted gives the last answer to the request that left about a job, and the job as
// that letter offered it; nil where it could not be printed then.
func (o *Office) lastQuoted(ctx context.Context, id job.ID) (last ledger.Draft, before *job.Job, err error) {
	sent, err := o.Ledger.Drafts(ctx, ledger.DraftFilter{Job: id, States: []ledger.DraftState{ledger.DraftSent}})
	if err != nil {
		return last, nil, err
	}
	for _, d := range slices.Backward(sent) {
		jobs := WrittenOf(d).Jobs
		i := slices.IndexFunc(jobs, func(j job.Job) bool { return j.ID == id })
		switch {
		case byTheWay[d.Kind], i >= 0 && jobs[i].Stage == job.Withdrawn: // it only said that the part is given up
			continue
		case i >= 0 && jobs[i].Report.Printable():
			before = &jobs[i]
		}
		return d, before, nil
	}
	return last, nil, nil
}
