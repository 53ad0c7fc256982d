package draft

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Longest that a stranger's names are shown, in characters.
const (
	longestFile = 60
	longestName = 40
	longestWish = 60
)

// filler turns jobs and letter into what a reply text may show.
type filler struct {
	in     *Input
	locale templates.Locale
}

func (f *filler) data() *templates.Data {
	in, r := f.in, f.in.Rules
	lib := r.Library.In(f.locale.Language)
	d := &templates.Data{
		Language: f.locale.Language,
		Library: templates.Library{Name: templates.Text(lib.Name), Desk: templates.Text(lib.Desk), Address: templates.Text(lib.Address),
			Phone: templates.Text(lib.Phone), Hours: templates.Text(lib.Hours), Website: templates.Text(lib.Website)},
		Patron:   f.patron(),
		Wait:     in.Wait,
		Reason:   templates.Text(in.Reason),
		Note:     templates.Note(in.Note),
		QuotedOn: f.locale.Date(f.local(in.QuotedOn)),
		ClosesOn: f.locale.Date(f.local(in.ClosesOn)),
		Limits: templates.Limits{Hours: f.locale.Exact(r.Limits.JobHours * 3600), Copies: r.Limits.MaxCopies, Files: r.Limits.FilesPerLetter,
			PickupDays: r.Limits.PickupDays, KeepDays: r.Limits.KeepDays, Endings: templates.Text(strings.Join(r.Limits.Accepted, ", "))},
	}
	f.parts(d)
	f.money(d)
	f.subject(d)
	f.letter(d)
	f.questions(d)
	f.agreement(d)
	f.pickup(d)
	f.needed(d)
	d.Changes = f.changes()
	if in.Picture != nil {
		d.Picture = templates.Text(fmt.Sprintf("![%s](cid:%s)", templates.Text(in.Picture.Alt), in.pictureID()))
	}
	return d
}

// local puts a moment into the library's time zone, so that its day is the patron's.
func (f *filler) local(t time.Time) time.Time { return f.in.local(t) }

func (in *Input) local(t time.Time) time.Time {
	zone, err := time.LoadLocation(in.Rules.Library.Timezone)
	if err != nil || t.IsZero() {
		return t
	}
	return t.In(zone)
}

// patron is what to call the writer: the first word of the display name when
// it looks like a name, else nothing.
func (f *filler) patron() templates.Text {
	name := f.in.writer().Name
	if strings.ContainsAny(name, "@/\\<>[]{}") || strings.Count(name, " ") > 5 {
		return ""
	}
	if last, first, ok := strings.Cut(name, ","); ok { // "Lovelace, Ada"
		name = strings.TrimSpace(first) + " " + last
	}
	words := strings.Fields(name)
	for len(words) > 1 && (strings.HasSuffix(words[0], ".") || len([]rune(words[0])) < 2) {
		words = words[1:] // "Dr. Ada", "A Lovelace"
	}
	if len(words) == 0 {
		return ""
	}
	return templates.Name(words[0], longestName)
}

// writer is the patron: the letter's sender, or the job's when we write first.
func (in *Input) writer() job.Address {
	if in.Letter != nil && in.Letter.From.Address != "" {
		return in.Letter.From
	}
	if len(in.Jobs) > 0 {
		return in.Jobs[0].Patron
	}
	return job.Address{}
}

func (f *filler) parts(d *templates.Data) {
	for i, j := range f.in.Jobs {
		p := f.part(j)
		p.Number = i + 1
		d.Parts = append(d.Parts, p)
		d.Printable = d.Printable || p.Outcome == canPrint
		f.caution(&d.Cautions, j)
	}
	if len(d.Parts) > 0 {
		d.Part = d.Parts[0]
	}
	d.Several = len(d.Parts) > 1
}

// part says what was found out about one file and how it would be printed.
func (f *filler) part(j *job.Job) templates.Part {
	l, r := f.locale, f.in.Rules
	p := templates.Part{
		File: templates.Name(j.File, longestFile), Outcome: outcome(j.Report),
		Copies: copiesOf(j), Plates: 1, Supports: j.Settings.Supports, Turned: j.Settings.Reoriented,
		Layer: l.Length(firstOf(j.Settings.LayerMM, r.Printing.LayerMM)), Infill: l.Percent(infillOf(j, r)), Shells: int(firstOf(float64(j.Settings.Shells), float64(r.Printing.Shells))),
		Colour: f.locale.Colour(colourOf(j, r)), Limit: l.Exact(r.Limits.JobHours * 3600),
	}
	if p.Supports == "" {
		p.Supports = j.Wishes.Supports
	}
	if m := materialOf(j, r); m != nil {
		p.Material = templates.Text(m.Name)
	}
	if j.Report == nil {
		return p
	}
	f.reported(&p, j)
	f.fitted(&p, j)
	f.estimated(&p, j)
	return p
}

func firstOf(vs ...float64) float64 {
	for _, v := range vs {
		if v > 0 {
			return v
		}
	}
	return 0
}

func infillOf(j *job.Job, r *rules.Rules) float64 {
	switch {
	case j.Settings.InfillSet || j.Settings.Infill > 0:
		return j.Settings.Infill
	case j.Wishes.Infill != nil:
		return *j.Wishes.Infill
	}
	return r.Printing.Infill
}

// copiesOf is how many are printed; a patron who says nothing wants one.
func copiesOf(j *job.Job) int {
	switch {
	case j.Settings.Copies > 0:
		return j.Settings.Copies
	case j.Wishes.Copies != nil && *j.Wishes.Copies > 0:
		return *j.Wishes.Copies
	}
	return 1
}

// reported takes over geometry and findings.
func (f *filler) reported(p *templates.Part, j *job.Job) {
	r := j.Report
	p.Really = sentence(r.Error)
	if r.Mesh != nil {
		p.Size = f.locale.Size(r.Mesh.SizeMM)
	}
	for _, x := range r.Findings {
		found := templates.Finding{Code: x.Code, Level: string(x.Level), Text: templates.Text(capital(x.Text)), Count: int(x.Amount + 0.5)}
		if x.Amount != 0 {
			found.Amount = f.locale.Quantity(x.Amount, x.Unit)
		}
		switch x.Level {
		case job.Stop:
			p.Stops = append(p.Stops, found)
		case job.Ask:
			p.Asks = append(p.Asks, found)
		case job.Note:
			p.Notes = append(p.Notes, found)
		}
	}
	if r.Orientation != nil {
		p.Turned = p.Turned && !r.Orientation.AsSent
		p.TurnWhy = sentence(r.Orientation.Why)
	}
}

// sentence takes the full stop off, since the text goes on after it.
func sentence(s string) templates.Text { return templates.Text(strings.TrimRight(oneLine(s), " .")) }

// capital begins a line of its own.
func capital(s string) string {
	r := []rune(s)
	if len(r) > 0 {
		return strings.ToUpper(string(r[0])) + string(r[1:])
	}
	return s
}

// fitted says what would fit the largest printer.
func (f *filler) fitted(p *templates.Part, j *job.Job) {
	fit, mesh := j.Report.Fit, j.Report.Mesh
	if fit == nil {
		return
	}
	p.Printer, p.FitsTurned = templates.Text(fit.Printer), fit.FitsTurned
	for _, pr := range f.in.Rules.Printers {
		if pr.Name == fit.Printer {
			p.Build = f.locale.Size(pr.BuildMM)
		}
	}
	if fit.ScaleToFit > 0 && fit.ScaleToFit < 1 {
		s := floorPercent(fit.ScaleToFit)
		p.FitScale = f.locale.Percent(s)
		if mesh != nil {
			p.FitSize = f.locale.Size(scaled(mesh.SizeMM, s))
		}
	}
}

// floorPercent rounds down to whole percents: what is offered must fit.
func floorPercent(f float64) float64 { return float64(int(f*100+1e-9)) / 100 }

func scaled(mm [3]float64, by float64) [3]float64 {
	for k := range mm {
		mm[k] *= by
	}
	return mm
}

// estimated takes over time, plastic, price and the other ways to print it.
func (f *filler) estimated(p *templates.Part, j *job.Job) {
	e, l := j.Report.Estimate, f.locale
	if e == nil {
		return
	}
	p.Time, p.TimeExact, p.PlateTime = l.About(e.PrintTimeS), l.Exact(e.PrintTimeS), l.Exact(firstOf(e.PlateTimeS, e.PrintTimeS))
	if e.LowS > 0 && e.HighS > e.LowS {
		p.TimeRange = l.Between(e.LowS, e.HighS)
	}
	p.Mass, p.Filament = l.Mass(e.MassG), l.Length(1000*e.FilamentM)
	p.Plates, p.Copies = max(1, e.Plates), max(1, e.Copies, copiesOf(j))
	p.Layer, p.Infill, p.Shells = l.Length(firstOf(e.LayerMM, f.in.Rules.Printing.LayerMM)), l.Percent(infillOf(j, f.in.Rules)), max(e.Shells, 1)
	if e.LayerMM > 0 {
		p.Infill = l.Percent(e.Infill)
	}
	if e.Material != "" {
		p.Material = templates.Text(e.Material)
	}
	if e.SupportMM3 > 0 && p.Supports == "" {
		p.Supports = "yes"
		p.SupportsOpen = slices.ContainsFunc(ofPart(j, f.in.Rules), func(q Question) bool { return q.Key == "supports" })
	}
	scale := firstOf(e.Scale, j.Settings.Scale, 1)
	if scale < 0.995 || scale > 1.005 {
		p.Scale = l.Percent(scale)
	}
	f.largest(p, j, scale)
	f.options(p, j)
	f.quoted(p, j)
}

// largest says what would fit the time limit, seen from the size as it is now.
func (f *filler) largest(p *templates.Part, j *job.Job, scale float64) {
	e := j.Report.Estimate
	if e.LargestScale <= 0 || e.LargestScale >= scale {
		return
	}
	by := floorPercent(e.LargestScale / scale)
	if by <= 0 {
		return
	}
	p.LargestScale = f.locale.Percent(by)
	if j.Report.Mesh != nil {
		p.LargestSize = f.locale.Size(scaled(j.Report.Mesh.SizeMM, by))
	}
}

func (f *filler) options(p *templates.Part, j *job.Job) {
	e, l := j.Report.Estimate, f.locale
	code := f.in.Rules.Prices.Currency
	if j.Report.Quote != nil && j.Report.Quote.Currency != "" {
		code = j.Report.Quote.Currency
	}
	for _, c := range e.WhatIf {
		o := templates.Option{Label: templates.Text(capital(c.Label)), Time: l.About(c.PrintTimeS), Mass: l.Mass(c.MassG), Total: l.Money(c.Total, code), Plates: c.Plates, Within: c.Within}
		s := c.Settings
		if s.Scale > 0 && s.Scale != firstOf(e.Scale, 1) {
			o.Scale = l.Percent(s.Scale)
		}
		if s.LayerMM > 0 && s.LayerMM != e.LayerMM {
			o.Layer = l.Length(s.LayerMM)
		}
		if (s.InfillSet || s.Infill > 0) && s.Infill != e.Infill {
			o.Infill = l.Percent(s.Infill)
		}
		if s.Shells > 0 && s.Shells != e.Shells {
			o.Shells = s.Shells
		}
		if s.Copies > 0 && s.Copies != e.Copies {
			o.Copies = s.Copies
		}
		if s.Material != "" && s.Material != e.Material {
			o.Material = templates.Text(s.Material)
		}
		if s.Supports != j.Settings.Supports {
			o.Supports = s.Supports
		}
		o.Turned = s.Reoriented && !j.Settings.Reoriented
		p.Options = append(p.Options, o)
	}
}

func (f *filler) quoted(p *templates.Part, j *job.Job) {
	q := j.Report.Quote
	if q == nil || p.Outcome != canPrint {
		return
	}
	for _, line := range q.Lines {
		p.Lines = append(p.Lines, templates.Line{Kind: line.Kind, Label: templates.Text(capital(line.Label)), Detail: f.detail(line.Kind, j), Amount: f.locale.Money(line.Amount, q.Currency)})
	}
	p.Total = f.locale.Money(q.Total, q.Currency)
}

// detail says what a line counts, for languages that do not use its label.
func (f *filler) detail(kind string, j *job.Job) templates.Text {
	e := j.Report.Estimate
	single := 0
	for _, line := range j.Report.Quote.Lines {
		if line.Kind == kind {
			single++
		}
	}
	switch {
	case single != 1:
		return "" // which of several it is, only the label knows
	case kind == "mass" && e != nil:
		return f.locale.Mass(e.MassG) + " " + templates.Text(e.Material)
	case kind == "time" && e != nil:
		return f.locale.Exact(e.PrintTimeS)
	case kind == "tax":
		return templates.Text(strings.Replace(f.in.Rules.Prices.TaxPercent, ".", string(pick(f.locale.Language, ".", ",", ",")), 1)) + "\u00a0%"
	}
	return ""
}

// money adds up what can be printed. One part without a price, and there is no total.
func (f *filler) money(d *templates.Data) {
	var totals, deposits []string
	code, until := "", ""
	for _, j := range f.in.Jobs {
		if outcome(j.Report) != canPrint {
			continue
		}
		if j.Report == nil || j.Report.Quote == nil {
			return
		}
		q := j.Report.Quote
		if code != "" && code != q.Currency {
			return
		}
		code = q.Currency
		totals = append(totals, q.Total)
		if q.Deposit != "" {
			deposits = append(deposits, q.Deposit)
		}
		if until == "" || q.ValidUntil != "" && q.ValidUntil < until {
			until = q.ValidUntil
		}
	}
	d.Total = f.locale.Money(sum(totals, code), code)
	if paid := sum(deposits, code); strings.Trim(paid, "0.") != "" {
		d.Deposit = f.locale.Money(paid, code)
	}
	d.ValidTo = f.locale.ISODate(until)
}

// sum adds decimal money exactly; "" when there is none or it is no money.
func sum(amounts []string, code string) string {
	total := currency.Amount{}
	for i, a := range amounts {
		m, err := currency.NewAmount(a, code)
		if err != nil {
			return ""
		}
		if i == 0 {
			total = m
		} else if total, err = total.Add(m); err != nil {
			return ""
		}
	}
	if len(amounts) == 0 {
		return ""
	}
	return total.Number()
}

func (f *filler) caution(c *templates.Cautions, j *job.Job) {
	if m := materialOf(j, f.in.Rules); m != nil && m.SoftensC > 0 {
		c.Softens = f.locale.Number(m.SoftensC, 0) + "\u00a0°C"
	}
	if j.Report == nil {
		return
	}
	c.Small = c.Small || slices.ContainsFunc(j.Report.Findings, func(x job.Finding) bool { return x.Code == "small-part-hazard" })
	if e := j.Report.Estimate; e != nil && e.SupportMM3 > 0 {
		c.Supports = true
	}
}

// subject says what the letter is about, for subject lines.
func (f *filler) subject(d *templates.Data) {
	l := f.locale
	asked := ""
	if f.in.Letter != nil {
		asked = bareSubject(f.in.Letter.Subject, f.in.token())
	}
	d.Subject = templates.Name(asked, 90)
	if d.Subject == "" {
		d.Subject = pick(l.Language, "your 3D print request", "votre demande d’impression 3D", "su solicitud de impresión 3D")
	}
	switch n := len(d.Parts); n {
	case 0:
		d.Subjects = d.Subject
	case 1:
		d.Subjects = d.Part.File
	default:
		d.Subjects = templates.Text(l.Plural(n, string(pick(l.Language, "file", "fichier", "archivo"))))
	}
}

func pick(language, en, fr, es string) templates.Text {
	switch language {
	case "fr":
		return templates.Text(fr)
	case "es":
		return templates.Text(es)
	}
	return templates.Text(en)
}

// letter takes over what came beside the meshes.
func (f *filler) letter(d *templates.Data) {
	if f.in.Letter == nil {
		return
	}
	d.Links = len(f.in.Letter.Links)
	meshes := 0
	for _, a := range f.in.Letter.Attachments {
		if a.Kind == job.KindMesh {
			meshes++
			continue
		}
		if a.Kind == job.KindPicture || a.Kind == job.KindArchive && whyClosed(a) == "" {
			continue // a logo in a signature; an archive whose files are listed themselves
		}
		d.Files = append(d.Files, templates.File{Name: templates.Name(a.Name, longestFile), Kind: string(a.Kind),
			Ending: templates.Name(strings.ToLower(path.Ext(a.Name)), 12), Why: whyClosed(a)})
	}
	if max := f.in.Rules.Limits.FilesPerLetter; meshes > max && len(f.in.Jobs) == max {
		d.TooMany = meshes - max
	}
}

// whyClosed says why the files in an attachment could not be had: "winmail",
// "encrypted", "too-large", "damaged", or "" when they could.
func whyClosed(a job.Attachment) string {
	note := strings.ToLower(a.Note)
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(note, w) })
	}
	switch {
	case strings.EqualFold(a.Name, "winmail.dat") || strings.EqualFold(a.MediaType, "application/ms-tnef") || has("winmail"):
		return "winmail"
	case note == "":
		return ""
	case has("password", "encrypt", "locked"):
		return "encrypted"
	case has("larger", "more than", "far more", "too large"):
		return "too-large"
	case a.Kind == job.KindArchive || a.Kind == job.KindMesh:
		return "damaged"
	}
	return ""
}

func (f *filler) questions(d *templates.Data) {
	phone := ""
	for _, j := range f.in.Jobs {
		phone += j.Wishes.Phone
	}
	d.AskPhone = phone == ""
	for _, q := range Questions(f.in.Jobs, f.in.Rules) {
		out := templates.Question{Number: q.Number, Key: q.Key, Text: templates.Text(q.Text), Said: templates.Name(q.Said, longestWish)}
		if q.File != "" {
			out.File = templates.Name(q.File, longestFile)
		}
		var words []templates.Text
		for _, c := range q.Choices {
			words = append(words, f.locale.Colour(c))
		}
		if q.Key == "colour" {
			out.Choices, out.Said = f.locale.And(words), f.locale.Colour(string(out.Said))
		} else {
			out.Choices = f.locale.Or(words)
		}
		switch {
		case q.Max > 0:
			out.Amount = f.locale.Number(float64(q.Max), 0)
		case q.size != [3]float64{}:
			out.Amount = f.locale.Size(q.size)
		}
		d.Questions = append(d.Questions, out)
	}
}

func (f *filler) agreement(d *templates.Data) {
	a := f.in.Rules.Agreement
	needed, state := agreementState(f.in.Jobs, f.in.Rules)
	if form := f.in.Rules.Library.Translations[f.locale.Language].Form; form != "" {
		a.Form = form
	}
	d.Agreement = templates.Agreement{Needed: needed, State: string(state), Form: templates.Text(a.Form), Months: a.ValidMonths, Age: a.GuardianBelow}
	for _, j := range f.in.Jobs {
		// An unproven sender is told nothing of what the register holds.
		if state == job.AgreementExpired && j.Agreement != nil {
			d.Agreement.Expired = f.locale.ISODate(j.Agreement.Expires)
		}
	}
}

func (f *filler) pickup(d *templates.Data) {
	branches := f.in.Rules.Library.In(f.locale.Language).Branches
	name := ""
	for _, j := range f.in.Jobs {
		if j.Wishes.Pickup != "" {
			name = j.Wishes.Pickup
		}
	}
	for _, b := range branches {
		if b.Name == name || len(branches) == 1 {
			d.Pickup.Branch, d.Pickup.Hours = templates.Text(b.Name), templates.Text(b.Hours)
		}
	}
	d.Pickup.Days = f.in.Rules.Limits.PickupDays
	d.Pickup.Until = f.locale.Date(f.local(f.in.PickupUntil))
	d.Pickup.Due = d.Total
	d.Pickup.Paid = f.locale.Money(f.in.Paid, f.in.Rules.Prices.Currency)
}

// needed takes over the day the patron named, and whether it can be kept.
func (f *filler) needed(d *templates.Data) {
	day := ""
	for _, j := range f.in.Jobs {
		if n := j.Wishes.NeededBy; n != "" && (day == "" || n < day) {
			day = n
		}
	}
	if day == "" {
		return
	}
	d.NeededBy = f.locale.ISODate(day)
	ready := f.local(f.in.Now).AddDate(0, 0, f.in.Wait.High).Format(time.DateOnly)
	d.Late = f.in.Wait.High > 0 && ready > day
}
