package casework

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
)

// Recheck works out time, plastic and price of a job under other settings. It
// changes nothing.
func (o *Office) Recheck(ctx context.Context, id job.ID, s job.Settings) (job.Report, error) {
	j, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return job.Report{}, err
	}
	j.Settings = s
	report, _, err := o.Examine(ctx, j)
	if err == nil && report == nil {
		err = job.Refuse(job.Say("faults.no-mesh", job.Args{"job": string(id)}))
	}
	if err != nil {
		return job.Report{}, err
	}
	return *report, nil
}

// Revision says whose new version of a draft it is, and of what.
type Revision struct {
	Base   string    // SHA-256 of the bytes the person had before them
	Edited bool      // the text is a person's own
	Jobs   []job.Job // as the new version tells of them; nil as before
	By     string
	Why    job.Message
}

// Revise puts a new version in the place of a waiting draft; its copy in the
// mailbox follows.
func (o *Office) Revise(ctx context.Context, id string, m draft.Message, v Revision) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return revise(ctx, tx, id, m, v) })
}

func revise(ctx context.Context, tx *ledger.Tx, id string, m draft.Message, v Revision) error {
	old, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	w := WrittenOf(old)
	w.Markdown, w.Questions, w.Notes, w.Edited = m.Markdown, m.Questions, m.Notes, v.Edited
	if v.Jobs != nil {
		w.Jobs = v.Jobs
	}
	doc, err := json.Marshal(w)
	if err != nil {
		return err
	}
	e := ledger.Edit{Raw: m.Raw, Subject: m.Subject, MessageID: m.MessageID, To: m.To, Doc: doc}
	if _, err = tx.Replace(ctx, id, v.Base, e, v.By, v.Why); err != nil {
		return err
	}
	return tx.Enqueue(ctx, ledger.StepPost, id, time.Time{})
}

// ChangedError refuses a change to a job that is not as the person saw it.
type ChangedError struct{ Job job.ID }

func (e *ChangedError) Error() string { return e.Unwrap().Error() }
func (e *ChangedError) Unwrap() error {
	return job.Refuse(job.Say("faults.job-changed", job.Args{"job": string(e.Job)}))
}

// NewSettings are settings that a person takes over for a job, with the report
// that was worked out for them.
type NewSettings struct {
	Seen     job.Job // the job as the person saw it
	Settings job.Settings
	Report   job.Report
	Draft    string // the reply that tells of it, or ""
	Base     string // SHA-256 of that reply as the person saw it
	By       string
}

// TakeOver saves settings and report, and writes the reply anew that tells of
// them, in one transaction: both or neither.
func (o *Office) TakeOver(ctx context.Context, n NewSettings) error {
	m, jobs, err := o.redraftWith(ctx, n)
	if err != nil {
		return err
	}
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if m.Raw != nil {
			if err := revise(ctx, tx, n.Draft, m, Revision{Base: n.Base, Jobs: jobs, By: n.By, Why: job.Say("history.written-anew", nil)}); err != nil {
				return err
			}
		}
		now, err := tx.Job(ctx, n.Seen.ID)
		if err != nil {
			return err
		}
		if !job.SameAsked(n.Seen, now) {
			return &ChangedError{now.ID}
		}
		return o.takeSettings(ctx, tx, now, n)
	})
}

// takeSettings saves other settings. A job whose terms change by it leaves the print
// list, and a new offer is drafted: nobody has said yes to this one. So is one for a part
// that could not be offered before, whose patron was told so.
func (o *Office) takeSettings(ctx context.Context, tx *ledger.Tx, now job.Job, n NewSettings) error {
	switch now.Stage {
	case job.Printing, job.Ready, job.Collected:
		return job.Refuse(job.Say("faults.printed-as-agreed", job.Args{"job": string(now.ID), "stage": now.Stage.Word()}))
	}
	why := job.Say("history.settings-on-page", nil)
	was, offeredBefore := now.Terms()
	now.Settings, now.Report = n.Settings, &n.Report
	terms, offerable := now.Terms()
	anew := offerable != offeredBefore || offerable && len(terms.Differ(was)) > 0
	anew = anew && (offerStands[now.Stage] || now.Stage == job.Drafted && n.Draft == "")
	if anew && now.Stage != job.NeedsAgreement {
		if err := tx.Move(ctx, now.ID, job.Checked, n.By, why); err != nil {
			return err
		}
	}
	if err := tx.SaveJob(ctx, now, n.By, why); err != nil || !anew {
		return err
	}
	return tx.Enqueue(ctx, ledger.StepDraft, now.Thread, time.Time{})
}

// offerStands are the stages in which a patron has an offer before them, or agreed to one.
var offerStands = map[job.Stage]bool{job.Quoted: true, job.NeedsAgreement: true, job.Agreed: true, job.Failed: true}

// redraftWith composes the reply as it would be with the new settings.
func (o *Office) redraftWith(ctx context.Context, n NewSettings) (m draft.Message, jobs []job.Job, err error) {
	if n.Draft == "" {
		return m, nil, nil
	}
	d, err := o.Ledger.Draft(ctx, n.Draft)
	if err != nil {
		return m, nil, err
	}
	if !slices.Contains(d.Jobs, n.Seen.ID) {
		return m, nil, job.Refuse(job.Say("faults.not-about", job.Args{"draft": n.Draft, "job": string(n.Seen.ID)}))
	}
	if jobs, err = o.jobsOf(ctx, d); err != nil {
		return m, nil, err
	}
	for i := range jobs {
		if jobs[i].ID == n.Seen.ID {
			jobs[i].Settings, jobs[i].Report = n.Settings, &n.Report
		}
	}
	m, err = o.Redraft(ctx, d.ID, Rewrite{Jobs: jobs})
	return m, jobs, err
}
