package desk

import (
	"errors"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
	"meshclerk/reply/sheet"
)

// actionView is the form for what is done with one job at the printer and at the
// counter, on the job's page and on the print list.
type actionView struct {
	ID       job.ID
	Stage    job.Stage
	Hours    float64 // as estimated
	Grams    float64
	Total    string   // what was quoted
	Printer  string   // whose list it is on
	Others   []string // the other printers
	Closings []job.Stage
	Back     string // "prints", or "" for the job's page
	Tried    *triedAction
	Missing  []string // what the house wants settled before it is printed and is not
	Wrongly  bool     // what was recorded last may be taken back
}

// triedAction is what a person filled in that could not be taken.
type triedAction struct {
	Hours, Grams, Why, Paid, Wrong string
	Busy                           []job.ID // what runs on the printer
}

// closings are the ways a job may end unprinted, beside being declined.
var closings = []job.Stage{job.Withdrawn, job.Lapsed}

func (d *Desk) actionOf(row ledger.Row, back string) actionView {
	v := actionView{ID: row.ID, Stage: row.Stage, Hours: row.PrintTimeS / 3600, Grams: row.MassG, Total: row.Total, Printer: row.Printer, Back: back}
	if row.Stage == job.Agreed || row.Stage == job.Failed {
		for _, p := range d.office.Rules.Printers {
			if p.Name != row.Printer {
				v.Others = append(v.Others, p.Name)
			}
		}
	}
	switch row.Stage {
	case job.Printing, job.Ready, job.Collected:
		v.Wrongly = true
	}
	for _, to := range closings {
		if back == "" && job.MayGo(row.Stage, to) {
			v.Closings = append(v.Closings, to)
		}
	}
	return v
}

// rowOf is a job as a list would show it.
func rowOf(j job.Job) ledger.Row {
	row := ledger.Row{ID: j.ID, Stage: j.Stage, Printer: j.Settings.Printer}
	if r := j.Report; r != nil && r.Estimate != nil {
		row.PrintTimeS, row.MassG = r.Estimate.PrintTimeS, r.Estimate.MassG
		if row.Printer == "" {
			row.Printer = r.Estimate.Printer
		}
	}
	if r := j.Report; r != nil && r.Quote != nil {
		row.Total = r.Quote.Total
	}
	return row
}

var money = regexp.MustCompile(`^[0-9]{1,6}(\.[0-9]{1,2})?$`)

// actionFrom reads the form. What is missing for the stage is said before
// anything is done.
func actionFrom(r *http.Request, by string) (casework.ShopFloorAction, error) {
	f := fields{r: r}
	p := casework.ShopFloorAction{To: job.Stage(r.PostFormValue("to")), Paid: strings.Replace(strings.TrimSpace(r.PostFormValue("paid")), ",", ".", 1),
		Why: oneLine(r.PostFormValue("why"), 500), By: by}
	p.Hours, p.Grams = f.number("hours", "page.field.hours", 0, 0, 1000), f.number("grams", "page.field.grams", 0, 0, 100000)
	switch {
	case f.err != nil:
		return p, f.err
	case !slices.Contains(job.Stages(), p.To):
		return p, job.Refuse(job.Say("page.wrong.no-stage", job.Args{"stage": oneLine(string(p.To), 30)}))
	case p.To == job.Ready && (p.Hours == 0 || p.Grams == 0):
		return p, job.Refuse(job.Say("page.wrong.no-hours-or-grams", nil))
	case p.To == job.Failed && p.Why == "":
		return p, job.Refuse(job.Say("page.wrong.no-reason-to-fail", nil))
	case p.To == job.Declined:
		return p, job.Refuse(job.Say("page.wrong.decline-apart", nil))
	case p.To == job.Collected && !money.MatchString(p.Paid):
		return p, job.Refuse(job.Say("page.wrong.no-amount", job.Args{"given": oneLine(p.Paid, 30)}))
	}
	return p, nil
}

// moveJob records what was done at the printer or the counter. A form that
// cannot be taken is shown again with what was filled in.
func (d *Desk) moveJob(w http.ResponseWriter, r *http.Request, who personal) error {
	id := job.ID(r.PathValue("job"))
	p, err := actionFrom(r, who.Name)
	if err == nil {
		if err = d.office.Record(r.Context(), id, p); err != nil {
			err = theirs(err)
		}
	}
	if err != nil {
		return d.actionAgain(w, r, who, id, err)
	}
	d.say(r, job.Say("page.done.stage", job.Args{"job": string(id), "stage": d.localizer(r).code("stage", p.To)}))
	http.Redirect(w, r, backFrom(r, id), http.StatusSeeOther)
	return nil
}

func backFrom(r *http.Request, id job.ID) string {
	if r.PostFormValue("back") == "prints" {
		return "/prints"
	}
	return "/job/" + string(id)
}

// actionAgain shows the page the form came from, with what is wrong.
func (d *Desk) actionAgain(w http.ResponseWriter, r *http.Request, who personal, id job.ID, cause error) error {
	var fault *job.Fault
	if !errors.As(cause, &fault) || errors.Is(cause, ledger.ErrNotFound) || errors.Is(cause, ledger.ErrDiskFull) {
		return cause
	}
	status, text := d.localizer(r).wrong(cause)
	field := func(name string) string { return oneLine(r.PostFormValue(name), 500) }
	tried := &triedAction{field("hours"), field("grams"), field("why"), field("paid"), plain.Capital(text) + ".", nil}
	if busy, ok := errors.AsType[*casework.BusyError](cause); ok {
		tried.Busy = busy.Running
	}
	if r.PostFormValue("back") == "prints" {
		v, err := d.prints(r.Context())
		if err != nil {
			return err
		}
		v.tried(id, tried)
		d.show(w, r, status, "prints", "page.title.prints", who, v)
		return nil
	}
	v, err := d.caseOfJob(r, who, id)
	if err != nil {
		return err
	}
	for i := range v.Parts {
		if v.Parts[i].ID == id {
			v.Parts[i].Action.Tried = tried
		}
	}
	return d.showReply(w, r, status, who, v)
}

// correct takes back what was recorded of a job by mistake.
func (d *Desk) correct(w http.ResponseWriter, r *http.Request, who personal) error {
	id := job.ID(r.PathValue("job"))
	c, err := d.office.Correct(r.Context(), id, job.Stage(r.PostFormValue("from")), who.Name, oneLine(r.PostFormValue("wrong"), 500))
	if err != nil {
		return d.actionAgain(w, r, who, id, theirs(err))
	}
	said := job.Say("page.done.corrected", job.Args{"job": string(id), "stage": c.To.Word()})
	if c.Left {
		said = job.Say("page.done.corrected-told", job.Args{"job": string(id), "stage": c.To.Word()})
	}
	d.say(r, said)
	http.Redirect(w, r, backFrom(r, id), http.StatusSeeOther)
	return nil
}

// assign puts a job onto another printer's list.
func (d *Desk) assign(w http.ResponseWriter, r *http.Request, who personal) error {
	id, printer := job.ID(r.PathValue("job")), oneLine(r.PostFormValue("printer"), 80)
	known := false
	for _, p := range d.office.Rules.Printers {
		known = known || p.Name == printer
	}
	err := error(nil)
	if !known {
		err = job.Refuse(job.Say("page.wrong.no-printer", job.Args{"printer": printer}))
	} else if err = d.office.Reassign(r.Context(), id, printer, who.Name); err != nil {
		err = theirs(err)
	}
	if err != nil {
		return d.actionAgain(w, r, who, id, err)
	}
	j, err := d.office.Ledger.Job(r.Context(), id)
	if err != nil {
		return err
	}
	s := d.localizer(r)
	d.say(r, job.Say("page.done.assigned", job.Args{"job": string(id), "printer": printer, "time": s.short(rowOf(j).PrintTimeS)}))
	http.Redirect(w, r, backFrom(r, id), http.StatusSeeOther)
	return nil
}

// sheetPage shows the job sheet, to be printed.
func (d *Desk) sheetPage(w http.ResponseWriter, r *http.Request, _ personal) error {
	page, err := sheet.Page(r.Context(), d.office, job.ID(r.PathValue("job")), d.lang(r))
	if err != nil {
		return theirs(err)
	}
	w.Header().Set("Content-Security-Policy", "sandbox allow-modals; default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err = w.Write(page)
	return err
}

// part hands out the part as it goes onto the printer: written anew by us,
// never the file that came with the letter.
func (d *Desk) part(w http.ResponseWriter, r *http.Request, _ personal) error {
	id := r.PathValue("job")
	out := &download{ResponseWriter: w, name: id + ".stl"}
	if err := sheet.WritePart(r.Context(), d.office, job.ID(id), out); err != nil {
		if out.begun {
			return nil // the browser sees that it ends too soon
		}
		return theirs(err)
	}
	return nil
}

// download becomes a file to be saved with its first byte.
type download struct {
	http.ResponseWriter
	name  string
	begun bool
}

func (o *download) Write(p []byte) (int, error) {
	if !o.begun {
		o.begun = true
		h := o.Header()
		h.Set("Content-Security-Policy", "sandbox; default-src 'none'")
		h.Set("Content-Type", "model/stl") // IANA media types, model/stl
		h.Set("Content-Disposition", `attachment; filename="`+o.name+`"`)
	}
	return o.ResponseWriter.Write(p)
}
