package draft

import (
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/reply/quote"
	"meshclerk/templates"
)

// part says what was found out about one file and how it would be printed.
func (f *filler) part(j *job.Job) templates.Part {
	l, r := f.locale, f.in.Rules
	s := r.Settings(*j)
	s.Second = j.InTwo()
	p := templates.Part{
		File: templates.Name(j.File, longestFile), Outcome: outcome(j),
		Copies: s.Copies, Plates: 1, Supports: s.Supports, Turned: s.Reoriented,
		Layer: l.Length(s.LayerMM), Infill: l.Percent(s.Infill), Shells: s.Shells,
		Colour: f.locale.Coloured(colourOf(j, r), s), Limit: l.Exact(r.Limits.JobHours * 3600),
	}
	p.Pieces = f.pieces(j)
	if m := materialOf(j, r); m != nil {
		p.Material = templates.Text(m.Name)
	}
	if j.Report == nil {
		return p
	}
	f.reported(&p, j)
	f.fitted(&p, j)
	f.estimated(&p, j)
	if p.SizeOpen = p.Outcome == canPrint && f.sizeOpen(j); p.SizeOpen { // what was found is true of another size
		p.Asks, p.Notes, p.Asides, p.Options = nil, nil, nil, nil
	}
	p.Understood = f.understood(j, p)
	return p
}

// pieces says which of a joined file's pieces is of which colour: "base.stl in black and
// letters.stl in red"; where they are of one colour, just which they are.
func (f *filler) pieces(j *job.Job) templates.Text {
	two := j.InTwo()
	if two == nil || two.FromMM > 0 || j.Settings.Colour == "" {
		var names []string
		for _, p := range j.Pieces {
			names = append(names, p.File)
		}
		return f.files(names)
	}
	var out []templates.Text
	for _, p := range j.Pieces {
		colour := j.Settings.Colour
		if len(p.Bodies) > 0 && slices.Contains(two.Bodies, p.Bodies[0]) {
			colour = two.Colour
		}
		out = append(out, templates.Text(f.locale.Say(job.Say("replies.understood.piece", job.Args{"file": string(templates.Name(p.File, longestFile)), "colour": string(f.locale.Colour(colour))}))))
	}
	return f.locale.And(out)
}

// sizeOpen reports whether a part is still to be offered and its units are in doubt.
func (f *filler) sizeOpen(j *job.Job) bool {
	if !beforeOffer(j.Stage) && j.Stage != job.Quoted {
		return false
	}
	return slices.ContainsFunc(ofPart(j, f.in.Rules), func(q Question) bool { return q.Key == "size" })
}

func firstOf(vs ...float64) float64 {
	for _, v := range vs {
		if v > 0 {
			return v
		}
	}
	return 0
}

// reported takes over geometry and findings.
func (f *filler) reported(p *templates.Part, j *job.Job) {
	r := j.Report
	p.Really = f.clause(r.Error)
	p.LeastWall = f.locale.Quantity(f.in.Rules.Checks.Check[job.CodeThinWall].Limit, "mm")
	if r.Mesh != nil {
		p.Size = f.locale.Size(r.Mesh.SizeMM)
	}
	for _, x := range r.Findings {
		found := f.found(x)
		switch {
		case x.Level == job.Stop:
			p.Stops = append(p.Stops, found)
			thin := x.Code == job.CodeThinWall || x.Text.Key == "findings.holes-sheet"
			p.TooThin, p.Open = p.TooThin || thin, p.Open || x.Code == job.CodeHoles && !thin
		case p.Outcome == canPrint && f.saidElsewhere(x, j):
		case x.Level == job.Ask:
			p.Asks = append(p.Asks, found)
		case p.Outcome == canPrint && ours[x.Code]:
			p.Asides = append(p.Asides, found)
		case x.Level == job.Note:
			p.Notes = append(p.Notes, found)
		}
	}
	if r.Orientation != nil {
		p.Turned = p.Turned && !r.Orientation.AsSent
		p.TurnWhy = f.clause(r.Orientation.Why)
	}
}

// ours are the findings that we see to ourselves: they change nothing for the patron.
var ours = map[string]bool{
	job.CodeNonmanifold: true, job.CodeFlipped: true, job.CodeInsideOut: true, job.CodeSelfCrossing: true, job.CodeHoles: true,
	job.CodeTipsOver: true, job.CodeSmallFootprint: true,
}

// saidElsewhere reports whether a letter that offers a part says a finding already: with
// the question it leads to, or as a caution. What the patron has answered is not said again.
func (f *filler) saidElsewhere(x job.Finding, j *job.Job) bool {
	switch {
	case x.Code == job.CodeSeveralParts && x.Level == job.Note && len(j.Pieces) > 0: // it is what was wished
		return true
	case x.Code == job.CodeSmallPartHazard, x.Code == job.CodeOverhang && x.Text.Key == "findings.overhang":
		return true
	case x.Level != job.Ask:
		return false
	}
	return j.Wishes.Words[x.Code] != "" || len(ofFinding(j, x, f.in.Rules)) > 0
}

func (f *filler) found(x job.Finding) templates.Finding {
	found := templates.Finding{Code: x.Code, Level: string(x.Level), Text: templates.Text(plain.Capital(f.locale.Say(x.Text))), Count: int(x.Amount + 0.5)}
	if x.Amount != 0 {
		found.Amount = f.locale.Quantity(x.Amount, x.Unit)
	}
	return found
}

// clause takes the full stop off, since the text goes on after it.
func (f *filler) clause(m job.Message) templates.Text {
	return templates.Text(strings.TrimRight(plain.OneLine(f.locale.Say(m)), " ."))
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
	if s := j.Report.FitsAt(); s > 0 && fit.ScaleToFit < 1 {
		p.FitScale = f.locale.Percent(s)
		if mesh != nil {
			p.FitSize = f.locale.Size(scaled(mesh.SizeMM, s))
		}
	}
}

func scaled(mm [3]float64, by float64) [3]float64 {
	for k := range mm {
		mm[k] *= by
	}
	return mm
}

// leastLaidAway is the plastic (g) laid aside at changes of colour from which the letter
// tells of them: less does not show in a price.
const leastLaidAway = 0.1

// estimated takes over time, plastic, price and the other ways to print it.
func (f *filler) estimated(p *templates.Part, j *job.Job) {
	e, l := j.Report.Estimate, f.locale
	if e == nil {
		return
	}
	p.Time, p.TimeExact, p.PlateTime = l.About(e.PrintTimeS), l.Exact(e.PrintTimeS), l.Exact(firstOf(e.PlateTimeS, e.PrintTimeS))
	if e.LowS > 0 && e.HighS > e.LowS {
		if between := l.Between(e.LowS, e.HighS); between != p.Time { // "about 5 minutes (about 5 minutes)"
			p.TimeRange = between
		}
	}
	p.Mass, p.Filament = l.Mass(e.MassG), l.Length(1000*e.FilamentM)
	if m := materialOf(j, f.in.Rules); e.ColourChanges > 0 && m != nil && e.PurgeMM3*m.Density/1000 >= leastLaidAway {
		p.Changes, p.LaidAway = e.ColourChanges, l.Mass(e.PurgeMM3*m.Density/1000)
	}
	s := f.in.Rules.Settings(*j)
	p.Plates, p.Copies = max(1, e.Plates), max(e.Copies, s.Copies)
	p.Layer, p.Infill, p.Shells = l.Length(firstOf(e.LayerMM, s.LayerMM)), l.Percent(s.Infill), max(e.Shells, 1)
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
	if (scale < 0.995 || scale > 1.005) && unitOf(scale) == "" { // "drawn in inches" says more than "2540%"
		p.Scale = l.Percent(scale)
	}
	f.largest(p, j)
	f.options(p, j)
	f.quoted(p, j)
}

// largest says at what share of the size as it is now every limit would be kept.
func (f *filler) largest(p *templates.Part, j *job.Job) {
	by := j.Report.FitsAt()
	if by <= 0 {
		return
	}
	p.LargestScale = f.locale.Percent(by)
	if j.Report.Mesh != nil {
		p.LargestSize = f.locale.Size(scaled(j.Report.Mesh.SizeMM, by))
	}
}

// options says the choices that are worth a patron's while.
func (f *filler) options(p *templates.Part, j *job.Job) {
	for _, c := range worthwhile(j, p.Outcome) {
		p.Options = append(p.Options, f.option(c, j))
	}
}

func (f *filler) option(c job.Choice, j *job.Job) templates.Option {
	e, l := j.Report.Estimate, f.locale
	code := f.in.Rules.Prices.Currency
	if j.Report.Quote != nil && j.Report.Quote.Currency != "" {
		code = j.Report.Quote.Currency
	}
	o := templates.Option{Label: f.label(c.Label), Time: l.About(c.PrintTimeS), Mass: l.Mass(c.MassG), Total: l.Money(c.Total, code), Plates: c.Plates, Within: c.Within}
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
	return o
}

func (f *filler) quoted(p *templates.Part, j *job.Job) {
	q := j.Report.Quote
	if q == nil || p.Outcome != canPrint {
		return
	}
	lines, rounding := folded(q)
	for _, line := range lines {
		p.Lines = append(p.Lines, f.line(line, j))
	}
	p.Rounded = f.rounding(rounding)
	p.Total = f.locale.Money(q.Total, q.Currency)
}

// folded gives the lines of a price as a patron needs them: where the least price was
// reached, what led up to it is that one line; what was rounded is not a line, but comes
// back as its label. So the lines and the rounding still make the total.
func folded(q *job.Quote) (lines []job.Line, rounding *job.Message) {
	for _, line := range q.Lines {
		switch line.Kind {
		case "rounding":
			rounding = &line.Label
		case "minimum":
			amounts := []string{line.Amount}
			for _, before := range lines {
				amounts = append(amounts, before.Amount)
			}
			lines = []job.Line{{Kind: line.Kind, Label: job.Say("price.least", nil), Amount: quote.Sum(amounts, q.Currency)}}
		default:
			lines = append(lines, line)
		}
	}
	return lines, rounding
}

// rounding says to what a total was rounded, or "" when it was not.
func (f *filler) rounding(label *job.Message) templates.Text {
	prices := f.in.Rules.Prices
	switch {
	case label == nil:
		return ""
	case label.Key == "" && f.locale.Language != "en": // of an earlier version
		label = &job.Message{Key: "price.rounding", Args: job.Args{"step": job.Money{Amount: prices.RoundTo, Currency: prices.Currency}}}
	}
	return templates.Text(f.locale.Say(*label))
}

func (f *filler) line(line job.Line, j *job.Job) templates.Line {
	return templates.Line{Kind: line.Kind, Label: f.label(line.Label), Detail: f.detail(line.Kind, j), Amount: f.locale.Money(line.Amount, j.Report.Quote.Currency)}
}

// label says a label of a price or of another way to print. Earlier versions kept
// them in English: a text in another language then says what it can itself.
func (f *filler) label(m job.Message) templates.Text {
	if m.Key == "" && f.locale.Language != "en" {
		return ""
	}
	return templates.Text(plain.Capital(f.locale.Say(m)))
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
		return f.tax()
	}
	return ""
}

// tax writes the rate of the rules, which is a decimal.
func (f *filler) tax() templates.Text {
	rate, err := strconv.ParseFloat(f.in.Rules.Prices.TaxPercent, 64)
	if err != nil {
		return ""
	}
	return f.locale.PercentOf(rate)
}
