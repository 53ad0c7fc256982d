package desk

import (
	"fmt"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/reply/draft"
	"meshclerk/reply/picture"
	"meshclerk/rules"
)

// partView is one job on the page of a reply.
type partView struct {
	job.Job
	Wished  []wish
	Numbers []finding
	Choices choices
	Rows    []whatIf
	Priced  []job.Line // of the quote, in the page's language
	Trial   *trial
	Open    bool // settings may still be changed
	Fixed   bool // printing or done: they cannot be changed any more
	HasMesh bool
	Action  actionView
	Listed  bool // it is on the print list
	Sheet   bool // there is a job sheet
	Unsure  bool // a person may vouch for the sender
	Stands  standsView

	JoinWith   []job.Job // parts that it may be printed with as one
	Partable   bool      // it was joined from several files, and may be parted again
	Declinable bool
	Ended      bool // and may be taken up again
}

// wish is one thing the patron's words settle, with those words.
type wish struct{ What, Value, Words string }

// finding is a finding with the number it has on the pictures; 0 when it has no place.
type finding struct {
	job.Finding
	Number int
}

// whatIf is one row of the table of other ways to print a part.
type whatIf struct {
	job.Choice
	Fields []header // the form's fields with these settings
}

// choices are what the settings form offers and holds.
type choices struct {
	Layers    []float64
	Materials []string
	Colours   []string
	Printers  []string
	Now       job.Settings
	Copies    int
	Infill    float64 // percent
	Scale     float64 // percent
	Change    float64 // mm, height at which the colour changes, as planned
	Shells    int
	Layer     float64
	Material  string
	Colour    string
}

// SecondColour is the second colour, or "".
func (c choices) SecondColour() string {
	if c.Now.Second == nil {
		return ""
	}
	return c.Now.Second.Colour
}

// SecondHeight is where the second colour begins, as set, or 0.
func (c choices) SecondHeight() float64 {
	if c.Now.Second == nil {
		return 0
	}
	if two := c.Now.Second; two.TopMM > 0 && c.Change > 0 {
		return c.Change // said from the top down, and shown as it was planned
	}
	return c.Now.Second.FromMM
}

// InSecond reports whether a body, the largest is 1, is of the second colour.
func (c choices) InSecond(n int) bool {
	two := c.Now.Second
	return two != nil && two.FromMM == 0 && (slices.Contains(two.Bodies, n) || len(two.Bodies) == 0 && n > 1)
}

// trial is a part worked out under other settings, not saved.
type trial struct {
	Settings job.Settings
	Report   job.Report
	Effect   job.Message // what it would do to what the patron was told
	Wrong    string
}

func (d *Desk) partView(j job.Job, s *localizer) partView {
	p := partView{Job: j, HasMesh: j.Blob != "", Wished: wishes(j.Wishes, s), Choices: choicesFor(j, d.office.Rules)}
	switch j.Stage {
	case job.Taken, job.Checked, job.NeedsAgreement, job.Drafted, job.Quoted, job.Agreed, job.Failed:
		p.Open = j.Report != nil && j.Report.Readable
	case job.Printing, job.Ready, job.Collected:
		p.Fixed = true
	}
	switch j.Stage {
	case job.Agreed, job.Printing, job.Failed, job.Ready:
		p.Listed, p.Sheet = true, true
	case job.Collected:
		p.Listed = true // a wrong "collected" can be taken back
	}
	p.Declinable, p.Ended = job.MayGo(j.Stage, job.Declined), job.MayGo(j.Stage, job.Taken) && j.Stage.Over()
	p.Action = d.actionOf(rowOf(j), "")
	if j.Stage == job.Agreed || j.Stage == job.Failed {
		p.Action.Missing = d.office.Missing(j)
	}
	p.Unsure = j.Auth != job.Pass && job.MayGo(j.Stage, job.Checked)
	if j.Report == nil {
		return p
	}
	said := d.said(j, s)
	n := 0
	for _, f := range j.Report.Findings {
		number := 0
		if f.At != nil {
			n++
			number = n
		}
		p.Numbers = append(p.Numbers, finding{f, number})
	}
	slices.SortStableFunc(p.Numbers, func(a, b finding) int { return rank(a.Level) - rank(b.Level) })
	if j.Report.Estimate != nil {
		for i, c := range j.Report.Estimate.WhatIf {
			if words := at(said.Options, i); c.Label.Key == "" && words != "" { // of an earlier version
				c.Label = job.Plain(words)
			}
			p.Rows = append(p.Rows, whatIf{c, p.Choices.over(c.Settings).fields()})
		}
	}
	if j.Report.Quote != nil {
		p.Priced = slices.Clone(j.Report.Quote.Lines)
		for i := range p.Priced {
			if words := at(said.Lines, i); p.Priced[i].Label.Key == "" && words != "" {
				p.Priced[i].Label = job.Plain(words)
			}
		}
	}
	return p
}

// said is the report in the page's language; the report itself is English.
func (d *Desk) said(j job.Job, s *localizer) draft.Said {
	if s.Language == fallback {
		return draft.Said{}
	}
	return draft.Say(d.office.Rules, d.office.Texts(), s.Language, &j)
}

// at is one of a list, or "" where the list does not reach.
func at(list []string, i int) string {
	if i < len(list) {
		return list[i]
	}
	return ""
}

func rank(l job.Level) int {
	switch l {
	case job.Stop:
		return 0
	case job.Ask:
		return 1
	}
	return 2
}

// tone is the mark that belongs to a finding.
func tone(f job.Finding) picture.Tone {
	switch {
	case f.Level == job.Stop:
		return picture.Vermilion
	case f.Code == job.CodeOverhang || f.Code == job.CodeLongBridge:
		return picture.Blue
	case f.Code == job.CodeThinWall || f.Code == job.CodeFineDetail || f.Code == job.CodeNarrowGap:
		return picture.Yellow
	}
	return picture.Green
}

// wishes lists what the patron's words settle, each with the words it came from.
func wishes(w job.Wishes, s *localizer) []wish {
	var out []wish
	add := func(key, what, value string) {
		if value != "" {
			out = append(out, wish{s.Word(what), value, oneLine(w.Words[key], 160)})
		}
	}
	if w.Copies != nil {
		add("copies", "page.reply.copies", fmt.Sprint(*w.Copies))
	}
	var colours []string
	for _, c := range w.Colours {
		colours = append(colours, string(s.Colour(c)))
	}
	add("colours", "page.reply.colour", strings.Join(colours, ", "))
	if w.Size != nil {
		add("size", "page.wish.size", s.code("axis", w.Size.Axis)+" "+string(s.Quantity(w.Size.MM, "mm")))
	}
	if w.Scale != nil {
		add("scale", "page.wish.scale", string(s.Percent(*w.Scale)))
	}
	if w.ChangeMM != nil {
		add("height", "page.reply.second-height", string(s.Quantity(*w.ChangeMM, "mm")))
	}
	add("material", "page.reply.material", w.Material)
	if w.Supports != "" {
		add("supports", "page.reply.supports", s.code("supports", w.Supports))
	}
	if w.Infill != nil {
		add("infill", "page.wish.infill", string(s.Percent(*w.Infill)))
	}
	add("needed_by", "page.word.needed-by", string(s.ISODate(w.NeededBy)))
	add("pickup", "page.word.pickup", w.Pickup)
	add("phone", "page.word.telephone", w.Phone)
	add("card", "page.agreements.card", w.Card)
	if w.Answer != "" {
		add("answer", "page.wish.answer", s.code("answer", w.Answer))
	}
	return out
}

// over lays the settings of a what-if row over those of the part.
func (c choices) over(s job.Settings) choices {
	now := c.Now
	if s.Printer != "" {
		now.Printer = s.Printer
	}
	if s.Supports != "" {
		now.Supports = s.Supports
	}
	now.Reoriented = now.Reoriented || s.Reoriented
	if s.Colour == "" {
		s.Colour = c.Colour
	}
	c = c.with(s)
	c.Now = now
	return c
}

// fields are the settings as the form would send them.
func (c choices) fields() []header {
	way := "sent"
	if c.Now.Reoriented {
		way = "advised"
	}
	return []header{{"layer", input(c.Layer)}, {"shells", fmt.Sprint(c.Shells)}, {"infill", fmt.Sprintf("%g", c.Infill)}, {"copies", fmt.Sprint(c.Copies)}, {"scale", input(c.Scale)},
		{"material", c.Material}, {"colour", c.Colour}, {"supports", c.Now.Supports}, {"way", way}, {"printer", c.Now.Printer}}
}

func choicesFor(j job.Job, r *rules.Rules) choices {
	p := r.Printing
	c := choices{Now: j.Settings, Copies: j.Asked().Copies, Infill: 100 * p.Infill, Scale: 100, Shells: p.Shells, Layer: p.LayerMM,
		Material: p.Material, Colour: colourOf(j)}
	if j.Report != nil && j.Report.Estimate != nil {
		e := j.Report.Estimate
		c.Infill, c.Shells, c.Layer, c.Material, c.Change = 100*e.Infill, e.Shells, e.LayerMM, e.Material, e.ChangeMM
		if e.Scale > 0 {
			c.Scale = 100 * e.Scale
		}
	}
	c.Layers = append(slices.Clone(p.LayerChoices), p.LayerMM, c.Layer)
	slices.Sort(c.Layers)
	c.Layers = slices.Compact(c.Layers)
	for _, m := range r.Materials {
		if m.Soluble {
			continue
		}
		c.Materials = append(c.Materials, m.Name)
		for _, colour := range m.Colours {
			if !slices.Contains(c.Colours, colour) {
				c.Colours = append(c.Colours, colour)
			}
		}
	}
	for _, pr := range r.Printers {
		c.Printers = append(c.Printers, pr.Name)
	}
	return c
}
