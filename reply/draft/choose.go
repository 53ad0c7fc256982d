package draft

import (
	"math/big"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// The outcomes of a check, as a patron is told of them.
const (
	canPrint    = templates.TextQuote
	tooLong     = templates.TextTooLong
	tooBig      = templates.TextTooBig
	cannotPrint = templates.TextCannotPrint
	unreadable  = templates.TextUnreadable
	unfinished  = templates.TextUnfinished // nobody knows yet
)

// outcome sorts a job by what has to be said of its file. Only a report that says so
// in full makes it one that can be printed.
func outcome(j *job.Job) string {
	r := j.Report
	switch {
	case r == nil && beforeOffer(j.Stage):
		return unfinished
	case r == nil:
		return canPrint // not checked anew, e.g. when the letter is about its pickup
	case r.CutShort():
		return unfinished
	case !r.Readable:
		return unreadable
	}
	worst := stopped(r)
	if worst == canPrint && beforeOffer(j.Stage) && !r.Printable() {
		return unfinished
	}
	return worst
}

// beforeOffer reports whether a letter about a job in that stage says what its check found.
func beforeOffer(s job.Stage) bool {
	switch s {
	case job.Taken, job.Checked, job.NeedsAgreement, job.Drafted:
		return true
	}
	return false
}

// stopped sorts a file by what stops it.
func stopped(r *job.Report) string {
	worst := canPrint
	for _, f := range r.Findings {
		switch {
		case f.Level != job.Stop:
		case f.Code == templates.TextUnreadable || f.Code == job.CodeNotSTL:
			return unreadable
		case f.Code == tooBig && worst != cannotPrint:
			worst = tooBig
		case f.Code == tooLong && worst == canPrint:
			worst = tooLong
		case f.Code != tooBig && f.Code != tooLong:
			worst = cannotPrint
		}
	}
	return worst
}

// byStage are the stages in which a job's own state says what the letter is for.
var byStage = map[job.Stage]string{
	job.Agreed: templates.TextAccepted, job.Failed: templates.TextFailed, job.Ready: templates.TextReady, job.Collected: templates.TextCollected,
	job.Declined: templates.TextDeclined, job.Withdrawn: templates.TextWithdrawn, job.Lapsed: templates.TextLapsed,
}

// Choose gives the situation a reply is for, from the stage of the jobs, what
// was found, and the agreement. Reminders, an arrived agreement, a changed
// quote and questions are events that no state shows; name them in Input.Template.
func Choose(letter *job.Letter, jobs []*job.Job, r *rules.Rules) string {
	switch {
	case len(jobs) == 0:
		return withoutMesh(letter)
	case sameStage(jobs) && byStage[jobs[0].Stage] != "":
		return byStage[jobs[0].Stage]
	case letter != nil && letter.Disposition == job.Answer && letter.Wishes.Answer == job.Question:
		return templates.TextQuestion
	case len(jobs) > 1:
		return templates.TextSeveral
	}
	if what := outcome(jobs[0]); what != canPrint {
		return what
	}
	switch needed, state := agreementState(jobs, r); {
	case !needed:
		return templates.TextQuote
	case state == job.AgreementExpired || state == job.AgreementOld || state == job.AgreementGuardian:
		return templates.TextAgreementExpired
	}
	return templates.TextNeedsAgreement
}

func sameStage(jobs []*job.Job) bool {
	return !slices.ContainsFunc(jobs, func(j *job.Job) bool { return j.Stage != jobs[0].Stage })
}

// withoutMesh is about a letter that asks for a print without a file we can print.
func withoutMesh(l *job.Letter) string {
	if l == nil {
		return templates.TextForgottenAttachment
	}
	closed, model := false, false
	for _, a := range l.Attachments {
		closed = closed || whyClosed(a) != ""
		model = model || a.Kind == job.KindModel
	}
	switch {
	case model:
		return templates.TextWrongFileType
	case closed:
		return templates.TextCannotOpen
	case len(l.Links) > 0:
		return templates.TextLink
	}
	return templates.TextForgottenAttachment
}

// agreementState says whether a signature is still needed before printing, and
// the least good state among the jobs.
func agreementState(jobs []*job.Job, r *rules.Rules) (needed bool, state job.AgreementState) {
	if !r.Agreement.Required {
		return false, ""
	}
	for _, j := range jobs {
		switch j.Stage {
		case job.Taken, job.Checked, job.NeedsAgreement, job.Drafted, job.Quoted, "":
		default:
			continue
		}
		switch {
		case j.Agreement == nil:
			return true, job.AgreementNone
		case j.Agreement.State != job.AgreementGood:
			needed, state = true, j.Agreement.State
		}
	}
	return needed, state
}

// mostOptions is how many other ways to print a part a letter names.
const mostOptions = 3

// worthwhile are the other ways to print a part that a letter names: all within the time
// limit, and beside an offer each cheaper, sooner or bigger than it. None costs the same,
// and none is dearer for a coarser, smaller or weaker print.
func worthwhile(j *job.Job, outcome string) []job.Choice {
	var out []job.Choice
	if c, ok := dissolving(j); ok && outcome == canPrint {
		out = append(out, c) // dearer, and spares the part
	}
	for _, c := range j.Report.Estimate.WhatIf {
		if !c.Within || c.Label.Key == dissolvingLabel || outcome == canPrint && !better(c, j.Report) {
			continue
		}
		same := func(o job.Choice) bool { return o.Total == c.Total && o.PrintTimeS == c.PrintTimeS }
		if len(out) < mostOptions && !slices.ContainsFunc(out, same) {
			out = append(out, c)
		}
	}
	return out
}

// dissolvingLabel is that of the choice of supports that dissolve, which the check adds
// where others would be hard to break off and a printer can lay them.
const dissolvingLabel = "choices.dissolving"

func dissolving(j *job.Job) (job.Choice, bool) {
	if j.Report == nil || j.Report.Estimate == nil {
		return job.Choice{}, false
	}
	all := j.Report.Estimate.WhatIf
	i := slices.IndexFunc(all, func(c job.Choice) bool { return c.Within && c.Label.Key == dissolvingLabel })
	if i < 0 {
		return job.Choice{}, false
	}
	return all[i], true
}

// better reports whether a choice is worth naming beside what is offered.
func better(c job.Choice, r *job.Report) bool {
	e, s := r.Estimate, c.Settings
	bigger := s.Scale > firstOf(e.Scale, 1)
	if r.Quote == nil || c.Total == "" {
		return bigger || sooner(c, e)
	}
	switch compare(c.Total, r.Quote.Total) {
	case -1:
		return bigger || cheaper(c, r.Quote) || sooner(c, e)
	case 0:
		return false
	}
	less := s.LayerMM > e.LayerMM || s.Scale > 0 && s.Scale < firstOf(e.Scale, 1) || s.Copies > 0 && s.Copies < e.Copies ||
		s.InfillSet && s.Infill < e.Infill || s.Shells > 0 && s.Shells < e.Shells
	return bigger || !less && sooner(c, e)
}

// cheaper reports whether a choice costs clearly less than what is offered: a twentieth.
// Nobody takes a weaker part for the sake of a few cents.
func cheaper(c job.Choice, q *job.Quote) bool {
	costs, ok := new(big.Rat).SetString(c.Total)
	offered, is := new(big.Rat).SetString(q.Total)
	return ok && is && costs.Cmp(offered.Mul(offered, big.NewRat(19, 20))) <= 0
}

// sooner reports whether a choice takes clearly less time than what is offered: a tenth.
func sooner(c job.Choice, e *job.Estimate) bool { return c.PrintTimeS < 0.9*e.PrintTimeS }

// compare orders two plain decimal amounts of the same currency; what is no amount equals all.
func compare(a, b string) int {
	x, okX := new(big.Rat).SetString(a)
	y, okY := new(big.Rat).SetString(b)
	if !okX || !okY {
		return 0
	}
	return x.Cmp(y)
}
