package desk

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

type jobsView struct {
	Rows   []jobRow
	Stages []job.Stage
	Counts map[job.Stage]int
	Stage  string
	Text   string
	Start  int
	More   bool
	Before int
}

// jobRow is a job in the list, with whom or what it waits for.
type jobRow struct {
	ledger.Row
	Waits string // "patron", "staff", "robot" or ""
	Ahead []casework.Ahead
}

func (d *Desk) jobRow(ctx context.Context, row ledger.Row) (jobRow, error) {
	out := jobRow{Row: row}
	j, err := d.office.Ledger.Job(ctx, row.ID)
	if err != nil {
		return out, err
	}
	if out.Ahead, _, err = d.office.Ahead(ctx, j); err != nil {
		return out, err
	}
	out.Waits, err = d.office.WaitsFor(ctx, j)
	return out, err
}

const perPage = 50

// jobsPage lists jobs, newest first, by stage and words.
func (d *Desk) jobsPage(w http.ResponseWriter, r *http.Request, who personal) error {
	q := r.URL.Query()
	v := jobsView{Stages: job.Stages(), Stage: q.Get("stage"), Text: oneLine(q.Get("text"), 100)}
	v.Start, _ = strconv.Atoi(q.Get("from")) // no number is the beginning
	v.Start = min(max(0, v.Start), 1_000_000)
	f := ledger.Filter{Text: v.Text, Down: true, Limit: perPage + 1, Offset: v.Start}
	if slices.Contains(v.Stages, job.Stage(v.Stage)) {
		f.Stages = []job.Stage{job.Stage(v.Stage)}
	}
	rows, err := d.office.Ledger.Jobs(r.Context(), f)
	if err != nil {
		return err
	}
	if v.More = len(rows) > perPage; v.More {
		rows = rows[:perPage]
	}
	for _, row := range rows {
		one, err := d.jobRow(r.Context(), row)
		if err != nil {
			return err
		}
		v.Rows = append(v.Rows, one)
	}
	v.Before = max(0, v.Start-perPage)
	if v.Counts, err = d.office.Ledger.CountByStage(r.Context()); err != nil {
		return err
	}
	d.show(w, r, http.StatusOK, "jobs", "page.title.jobs", who, v)
	return nil
}

// printsView is the print list: what is agreed and not yet printed, by printer,
// and whom to call.
type printsView struct {
	Wrong    string // of a job that is no longer on the list
	Sheets   bool   // job sheets can be had
	Printers []printerView
	Calls    []listRow
}

// listRow is a job on the print list, with the form for what is done with it.
type listRow struct {
	ledger.Row
	Action actionView
}

// tried puts a form that could not be taken back where it came from.
func (v *printsView) tried(id job.ID, t *triedAction) {
	lists := [][]listRow{v.Calls}
	for _, p := range v.Printers {
		lists = append(lists, p.Rows)
	}
	for _, rows := range lists {
		for i := range rows {
			if rows[i].ID == id {
				rows[i].Action.Tried = t
				return
			}
		}
	}
	v.Wrong = t.Wrong
}

type printerView struct {
	Name  string
	Count int
	Hours float64 // all that waits, in seconds
	Days  float64 // at the house's hours a day, on all machines of the kind
	Rows  []listRow
}

func (d *Desk) printsPage(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.prints(r.Context())
	if err != nil {
		return err
	}
	d.show(w, r, http.StatusOK, "prints", "page.title.prints", who, v)
	return nil
}

func (d *Desk) prints(ctx context.Context) (printsView, error) {
	v := printsView{Sheets: true}
	rows, err := d.office.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Agreed, job.Printing, job.Failed}, Sort: "needed"})
	if err != nil {
		return v, err
	}
	for _, p := range d.office.Rules.Printers {
		v.Printers = append(v.Printers, printerView{Name: p.Name, Count: p.Count})
	}
	for _, row := range rows {
		i := slices.IndexFunc(v.Printers, func(p printerView) bool { return p.Name == row.Printer })
		if i < 0 {
			v.Printers = append(v.Printers, printerView{Name: row.Printer, Count: 1})
			i = len(v.Printers) - 1
		}
		one := listRow{row, d.actionOf(row, "prints")}
		if row.Stage != job.Printing {
			j, err := d.office.Ledger.Job(ctx, row.ID)
			if err != nil {
				return v, err
			}
			one.Action.Missing = d.office.Missing(j)
		}
		v.Printers[i].Rows = append(v.Printers[i].Rows, one)
		v.Printers[i].Hours += row.PrintTimeS
	}
	for i, p := range v.Printers {
		if day := d.office.Rules.Limits.PrintingHoursPerDay * 3600 * float64(max(1, p.Count)); day > 0 {
			v.Printers[i].Days = p.Hours / day
		}
	}
	ready, err := d.office.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Ready}, Sort: "since"})
	for _, row := range ready {
		v.Calls = append(v.Calls, listRow{row, d.actionOf(row, "prints")})
	}
	return v, err
}

type agreementsView struct {
	Text    string
	Entries []entryView
	All     int
	Form    agreement.Entry
	Wrong   string
	Current string
}

type entryView struct {
	agreement.Entry
	Over bool // it has run out
}

const maxEntries = 200

// agreementsPage searches the register. ?address= fills in the form, from the
// page of a job whose sender has none.
func (d *Desk) agreementsPage(w http.ResponseWriter, r *http.Request, who personal) error {
	q := r.URL.Query()
	form := agreement.Entry{Address: oneLine(q.Get("address"), 200), Name: oneLine(q.Get("name"), 200), Card: oneLine(q.Get("card"), 60)}
	return d.showAgreements(w, r, http.StatusOK, who, oneLine(q.Get("text"), 100), form, "")
}

func (d *Desk) showAgreements(w http.ResponseWriter, r *http.Request, status int, who personal, text string, form agreement.Entry, wrong string) error {
	all, err := d.office.Ledger.Agreements(r.Context())
	if err != nil {
		return err
	}
	today := d.office.Now().In(d.localizer(r).zone).Format(time.DateOnly)
	v := agreementsView{Text: text, All: len(all), Form: form, Wrong: wrong, Current: d.office.Rules.Agreement.Current}
	if v.Form.Signed == "" {
		v.Form.Signed = today
	}
	if v.Form.Version == "" {
		v.Form.Version = v.Current
	}
	for _, e := range all {
		if len(v.Entries) < maxEntries && matches(e, text) {
			v.Entries = append(v.Entries, entryView{e, e.Expires != "" && e.Expires < today})
		}
	}
	d.show(w, r, status, "agreements", "page.title.agreements", who, v)
	return nil
}

func matches(e agreement.Entry, text string) bool {
	for _, word := range strings.Fields(strings.ToLower(text)) {
		hay := strings.ToLower(e.Name + " " + strings.Join(e.Addresses(), " ") + " " + e.Card + " " + agreement.CardDigits(e.Card))
		if !strings.Contains(hay, word) {
			return false
		}
	}
	return true
}

// addAgreement puts a signed form into the register, under the name of the
// person who has seen it.
func (d *Desk) addAgreement(w http.ResponseWriter, r *http.Request, who personal) error {
	line := func(field string, longest int) string { return oneLine(r.PostFormValue(field), longest) }
	e := agreement.Entry{Address: agreement.Normal(line("address", 200)), Name: line("name", 200), Card: line("card", 60),
		Signed: line("signed", 20), Version: line("version", 60), Expires: line("expires", 20), Guardian: line("guardian", 200), Minor: r.PostFormValue("minor") != ""}
	if wrong := d.wrongEntry(e); wrong != "" {
		return d.showAgreements(w, r, http.StatusUnprocessableEntity, who, "", e, d.localizer(r).Word(wrong))
	}
	done, err := d.office.Ledger.UpsertAgreements(r.Context(), []agreement.Entry{e}, who.Name, "a signed form was seen")
	if err != nil {
		return err
	}
	if n := len(done.Waiting); n > 0 {
		d.say(r, job.Say("page.done.agreement-with-waiting", job.Args{"waiting": n}))
	} else {
		d.say(r, job.Say("page.done.agreement", nil))
	}
	http.Redirect(w, r, "/agreements", http.StatusSeeOther)
	return nil
}

// wrongEntry gives the key of what is wrong with an entry of the register, or "".
func (d *Desk) wrongEntry(e agreement.Entry) string {
	signed, err := time.Parse(time.DateOnly, e.Signed)
	switch at := strings.LastIndexByte(e.Address, '@'); {
	case at < 1 || at == len(e.Address)-1 || strings.ContainsAny(e.Address, " <>,;"):
		return "page.wrong.no-address"
	case e.Name == "":
		return "page.wrong.no-name"
	case err != nil:
		return "page.wrong.no-day-of-signing"
	case signed.After(d.office.Now().AddDate(0, 0, 1)):
		return "page.wrong.signed-in-future"
	case e.Minor && e.Guardian == "":
		return "page.wrong.no-guardian"
	}
	if e.Expires != "" {
		if _, err := time.Parse(time.DateOnly, e.Expires); err != nil {
			return "page.wrong.no-last-day"
		}
	}
	return ""
}

type reportView struct {
	ledger.Report
	Month   string // 2026-11
	Earlier string
	Later   string
	Letters []bar
	Stages  []bar
	Refused []bar
	Printed []bar
	Income  string
}

// bar is one bar of a chart: its share of the longest is Width, of 100.
type bar struct {
	Label string
	Text  string
	Width float64
}

func (d *Desk) reportPage(w http.ResponseWriter, r *http.Request, who personal) error {
	s := d.localizer(r)
	now := d.office.Now().In(s.zone)
	from := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, s.zone)
	if m, err := time.ParseInLocation("2006-01", r.URL.Query().Get("month"), s.zone); err == nil {
		from = m
	}
	rep, err := d.office.Ledger.Report(r.Context(), from, from.AddDate(0, 1, 0))
	if err != nil {
		return err
	}
	v := reportView{Report: rep, Month: from.Format("2006-01"), Earlier: from.AddDate(0, -1, 0).Format("2006-01")}
	if later := from.AddDate(0, 1, 0); !later.After(now) {
		v.Later = later.Format("2006-01")
	}
	for _, k := range []job.Disposition{job.Request, job.Answer, job.Enquiry, job.Automatic} {
		v.Letters = append(v.Letters, bar{Label: s.code("disposition", k), Text: strconv.Itoa(rep.Letters[k]), Width: float64(rep.Letters[k])})
	}
	for _, k := range job.Stages() {
		if n := rep.Stages[k]; n > 0 {
			v.Stages = append(v.Stages, bar{s.code("stage", k), strconv.Itoa(n), float64(n)})
		}
	}
	for k, n := range rep.Refusals {
		label := s.code("finding", k)
		if f, ok := d.office.Rules.Refusal(k); ok {
			label = plain.Capital(f.In(s.Language, d.office.Rules.Library))
		}
		v.Refused = append(v.Refused, bar{label, strconv.Itoa(n), float64(n)})
	}
	slices.SortFunc(v.Refused, func(a, b bar) int { return int(b.Width - a.Width) })
	for _, p := range rep.ByPrinter {
		v.Printed = append(v.Printed, bar{p.Printer, s.short(p.Hours * 3600), p.Hours})
	}
	for _, bars := range [][]bar{v.Letters, v.Stages, v.Refused, v.Printed} {
		scaleBars(bars)
	}
	v.Income = s.cash(rep.Income[d.office.Rules.Prices.Currency])
	d.show(w, r, http.StatusOK, "report", "page.title.report", who, v)
	return nil
}

func scaleBars(bars []bar) {
	longest := 0.0
	for _, b := range bars {
		longest = max(longest, b.Width)
	}
	for i := range bars {
		if longest > 0 {
			bars[i].Width = 100 * bars[i].Width / longest
		}
	}
}

func (d *Desk) keysPage(w http.ResponseWriter, r *http.Request, who personal) error {
	d.show(w, r, http.StatusOK, "keys", "page.title.keys", who, nil)
	return nil
}
