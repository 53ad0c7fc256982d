package desk

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
	"meshclerk/reply/quote"
	"meshclerk/templates"
)

// waitingRow is one reply in the list.
type waitingRow struct {
	Draft   ledger.Draft
	Jobs    []ledger.Row
	Files   string
	Reasons []reason
	Note    *ledger.Notice // a colleague's
	Others  []string
	PrintS  float64
	Total   string
}

// reason is why a reply deserves a closer look.
type reason struct {
	Kind string // "stop", "ask" or "note"
	Text string
}

// onList are the states of the replies that the list shows.
var onList = []ledger.DraftState{ledger.DraftWaiting, ledger.DraftUncertain, ledger.DraftFailed, ledger.DraftApproved, ledger.DraftSending}

type waitingView struct {
	Mark    string
	Held    *heldView
	Urgent  []waitingRow // uncertain and failed
	Waiting []waitingRow
	OnWay   []waitingRow // approved or being sent
	Notices []noticeRow
	Aside   []waitingRow // put aside for another time
}

// noticeRow is a notice; one about a letter has the acts beside its latest.
type noticeRow struct {
	ledger.Notice
	Left *leftView
}

// unpriced are the situations in which the patron is told no price.
var unpriced = []string{templates.TextTooLong, templates.TextTooBig, templates.TextCannotPrint, templates.TextUnreadable, templates.TextUnfinished}

func (d *Desk) waiting(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.waitingView(r.Context(), who, d.localizer(r))
	if err != nil {
		return err
	}
	d.show(w, r, http.StatusOK, "waiting", "page.title.waiting", who, v)
	return nil
}

func (d *Desk) waitingView(ctx context.Context, who personal, s *localizer) (waitingView, error) {
	var v waitingView
	drafts, err := d.office.Ledger.Drafts(ctx, ledger.DraftFilter{States: onList})
	if err != nil {
		return v, err
	}
	jobs, err := d.openRows(ctx)
	if err != nil {
		return v, err
	}
	notices, err := d.office.Ledger.Notices(ctx, false)
	if err != nil {
		return v, err
	}
	if v.Held, err = d.heldView(ctx); err != nil {
		return v, err
	}
	notes := map[string]*ledger.Notice{}
	for _, n := range notices {
		if n.Kind == ledger.NoticeColleague {
			notes[n.Subject] = &n
			continue
		}
		if n.Kind == ledger.NoticeRestored {
			continue // told at length by Held
		}
		row := noticeRow{Notice: n}
		if row.Left, err = d.leftOf(ctx, s, []ledger.Notice{n}, n.Subject); err != nil {
			return v, err
		}
		if row.Left != nil {
			row.Left.Back = "list"
		}
		v.Notices = append(v.Notices, row)
	}
	if v.Mark, err = d.waitingMark(ctx); err != nil {
		return v, err
	}
	aside, err := d.office.Aside(ctx)
	if err != nil {
		return v, err
	}
	for _, dr := range aside {
		v.Aside = append(v.Aside, d.waitingRow(dr, jobs, who, s))
	}
	for _, dr := range drafts {
		row := d.waitingRow(dr, jobs, who, s)
		row.Note = notes[dr.ID]
		switch dr.State {
		case ledger.DraftUncertain, ledger.DraftFailed:
			v.Urgent = append(v.Urgent, row)
		case ledger.DraftWaiting:
			v.Waiting = append(v.Waiting, row)
		default:
			v.OnWay = append(v.OnWay, row)
		}
	}
	return v, nil
}

// openRows are the rows of all jobs that are not at their end, by id.
func (d *Desk) openRows(ctx context.Context) (map[job.ID]ledger.Row, error) {
	rows, err := d.office.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Taken, job.Checked, job.Drafted, job.NeedsAgreement,
		job.Quoted, job.Agreed, job.Printing, job.Failed, job.Ready}})
	byID := make(map[job.ID]ledger.Row, len(rows))
	for _, row := range rows {
		byID[row.ID] = row
	}
	return byID, err
}

func (d *Desk) waitingRow(dr ledger.Draft, jobs map[job.ID]ledger.Row, who personal, s *localizer) waitingRow {
	row := waitingRow{Draft: dr, Others: d.here.others(dr.ID, who.Name, d.office.Now())}
	var names, totals []string
	for _, id := range dr.Jobs {
		j, ok := jobs[id]
		if !ok {
			continue
		}
		row.Jobs = append(row.Jobs, j)
		row.PrintS += j.PrintTimeS
		names = append(names, oneLine(j.File, 50))
		if j.Total != "" && !slices.Contains(unpriced, dr.Kind) {
			totals = append(totals, j.Total)
		}
	}
	row.Files = strings.Join(names, ", ")
	row.Total = quote.Sum(totals, d.office.Rules.Prices.Currency)
	row.Reasons = listReasons(dr, row.Jobs, s)
	return row
}

// listReasons are those that a list can tell without reading reports.
func listReasons(dr ledger.Draft, jobs []ledger.Row, s *localizer) []reason {
	var out []reason
	add := func(kind, text string) {
		if !slices.ContainsFunc(out, func(r reason) bool { return r.Text == text }) {
			out = append(out, reason{kind, text})
		}
	}
	switch dr.State {
	case ledger.DraftUncertain:
		add("stop", s.Word("page.waiting.uncertain"))
	case ledger.DraftFailed:
		add("stop", s.Word("page.waiting.refused"))
	}
	for _, j := range jobs {
		switch j.Auth {
		case job.Pass:
		default:
			add("ask", s.Word("page.waiting.unproven"))
		}
		if j.Agreement != "" && j.Agreement != job.AgreementGood {
			add("ask", s.Say(job.Say("page.waiting.agreement", job.Args{"state": s.code("agreement", j.Agreement)})))
		}
		if j.NeededBy != "" {
			add("note", s.Say(job.Say("page.waiting.needed-by", job.Args{"day": j.NeededBy})))
		}
	}
	doc := casework.WrittenOf(dr)
	if len(out) == 0 { // else they mostly say the same at length
		for _, n := range doc.Notes {
			add("note", s.Say(n))
		}
	}
	if n := len(doc.Questions); n > 0 {
		add("note", s.Say(job.Say("page.waiting.questions", job.Args{"n": n})))
	}
	return out
}

func (d *Desk) noticeDone(w http.ResponseWriter, r *http.Request, who personal) error {
	seen, err := strconv.Atoi(r.PostFormValue("times"))
	if err != nil {
		return job.Refuse(job.Say("page.wrong.out-of-date", nil))
	}
	err = d.office.CloseNotice(r.Context(), r.PathValue("id"), seen, who.Name)
	if err != nil {
		return err
	}
	d.say(r, job.Say("page.done.notice", nil))
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

// others tells who but one person has a reply open.
func (p *presence) others(reply, but string, now time.Time) []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []string
	for n, at := range p.open[reply] {
		if n != but && now.Sub(at) <= presentFor {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}
