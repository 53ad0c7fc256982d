package main

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"maps"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
)

//go:embed report.html
var reportText string

// Colours of M. Okabe and K. Ito, "Color Universal Design" (2008), which people
// with the common forms of colour blindness can tell apart; from memory. What a
// bar means is always written beside it too.
const (
	okabeBlue      = "#0072b2"
	okabeVermilion = "#d55e00"
	okabeGreen     = "#009e73"
	okabeOrange    = "#e69f00"
)

// bar is one bar of a chart.
type bar struct {
	Label string
	Value float64
	Text  string // the value as it is written
}

// page is what the report page shows.
type page struct {
	monthly
	Title    string
	Language string
	Lead     []bar // the figures at the top
	Charts   []chart
	Rows     []figure
}

// chart is one picture with its heading.
type chart struct {
	Title string
	SVG   template.HTML // of our own making, every text escaped
}

func (m monthly) html(w io.Writer) error {
	cells := func(f figure) []string {
		return []string{f.groupIn(m.say), f.whatIn(m.say), f.valueIn(m.say), f.unit}
	}
	t, err := template.New("report").Funcs(template.FuncMap{"cells": cells, "t": m.say.Word}).Parse(reportText)
	if err != nil {
		return err
	}
	p := page{monthly: m, Title: m.title(), Language: m.say.Language, Rows: m.figures()}
	p.lead()
	p.charts()
	return t.Execute(w, p)
}

func (p *page) lead() {
	add := func(m job.Message, value float64, decimals int) {
		p.Lead = append(p.Lead, bar{Label: p.say.Say(m), Text: string(p.say.Fixed(value, decimals))})
	}
	add(job.Say("report.lead.jobs", nil), float64(p.Jobs), 0)
	add(job.Say("report.lead.patrons", nil), float64(p.Patrons), 0)
	add(job.Say("report.lead.prints", nil), float64(p.Prints), 0)
	add(job.Say("report.lead.hours", nil), p.Hours, 1)
	add(job.Say("report.lead.grams", nil), p.Grams, 0)
	for _, f := range p.Rows {
		if f.group == "income" {
			add(job.Say("report.lead.paid", job.Args{"currency": f.unit}), f.value, f.decimals)
		}
	}
}

func (p *page) charts() {
	add := func(title job.Message, svg string) {
		if svg != "" {
			p.Charts = append(p.Charts, chart{p.say.Say(title), template.HTML(svg)})
		}
	}
	add(job.Say("report.chart.jobs", nil), columns(p.past(func(r ledger.Report) float64 { return float64(r.Jobs) }, 0), okabeBlue))
	add(job.Say("report.chart.hours", nil), columns(p.past(func(r ledger.Report) float64 { return r.Hours }, 1), okabeGreen))
	for _, code := range slices.Sorted(maps.Keys(p.Income)) {
		paid := p.past(func(r ledger.Report) float64 { return number(r.Income[code]) }, 2)
		add(job.Say("report.chart.paid", job.Args{"currency": code}), columns(paid, okabeOrange))
	}
	add(job.Say("report.chart.stages", nil), rowsOfBars(p.ofGroup("now"), okabeBlue))
	refused := p.ofGroup("refused")
	slices.SortStableFunc(refused, func(a, b bar) int { return int(b.Value - a.Value) })
	add(job.Say("report.chart.refused", nil), rowsOfBars(refused, okabeVermilion))
	var printers []bar
	for _, s := range p.ByPrinter {
		printers = append(printers, bar{orDash(s.Printer), s.Hours, fmt.Sprintf("%s h, %s g", p.say.Fixed(s.Hours, 1), p.say.Fixed(s.Grams, 0))})
	}
	add(job.Say("report.chart.printers", nil), rowsOfBars(printers, okabeGreen))
}

// ofGroup makes bars of the figures of a group.
func (p *page) ofGroup(group string) (out []bar) {
	for _, f := range p.Rows {
		if f.group == group {
			out = append(out, bar{f.whatIn(p.say), f.value, f.valueIn(p.say)})
		}
	}
	return out
}

func (p *page) past(value func(ledger.Report) float64, decimals int) []bar {
	var out []bar
	for _, r := range p.Past {
		v := value(r)
		out = append(out, bar{r.From.Format("2006-01"), v, string(p.say.Fixed(v, decimals))})
	}
	return out
}

func largest(bars []bar) float64 {
	most := 0.0
	for _, b := range bars {
		most = max(most, b.Value)
	}
	return most
}

// rowsOfBars draws bars that lie below each other, from zero, each with its name
// and value; "" when there is nothing to draw.
func rowsOfBars(bars []bar, colour string) string {
	most := largest(bars)
	if most == 0 {
		return ""
	}
	const width, name, high, room = 520, 150, 24, 110
	var b strings.Builder
	open(&b, width, high*len(bars)+6, bars)
	for i, r := range bars {
		y := i * high
		fmt.Fprintf(&b, `<text x="%d" y="%d" text-anchor="end">%s</text>`, name-8, y+17, escape(r.Label))
		fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%.1f" height="%d" rx="2" fill="%s"/>`, name, y+4, max(1, r.Value/most*(width-name-room)), high-8, colour)
		fmt.Fprintf(&b, `<text x="%.1f" y="%d">%s</text>`, name+max(1, r.Value/most*(width-name-room))+6, y+17, escape(r.Text))
	}
	b.WriteString("</svg>")
	return b.String()
}

// columns draws bars that stand beside each other, from zero; the last is this month's.
func columns(bars []bar, colour string) string {
	most := largest(bars)
	if most == 0 {
		return ""
	}
	const width, high, foot, head = 520, 170, 22, 20
	var b strings.Builder
	open(&b, width, high, bars)
	each := float64(width) / float64(len(bars))
	fmt.Fprintf(&b, `<line x1="0" y1="%d" x2="%d" y2="%d" stroke="currentColor" stroke-opacity=".35"/>`, high-foot, width, high-foot)
	for i, c := range bars {
		tall, x, faint := c.Value/most*(high-foot-head), (float64(i)+0.5)*each, ".55"
		if i == len(bars)-1 {
			faint = "1"
		}
		fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" rx="2" fill="%s" fill-opacity="%s"/>`, x-each*0.3, high-foot-tall, each*0.6, tall, colour, faint)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, high-foot-tall-5, escape(c.Text))
		fmt.Fprintf(&b, `<text x="%.1f" y="%d" text-anchor="middle">%s</text>`, x, high-6, escape(c.Label))
	}
	b.WriteString("</svg>")
	return b.String()
}

// open begins a picture and says in words what it shows, for those who cannot see it.
func open(b *strings.Builder, width, high int, bars []bar) {
	var said []string
	for _, r := range bars {
		said = append(said, r.Label+": "+r.Text)
	}
	fmt.Fprintf(b, `<svg viewBox="0 0 %d %d" role="img" aria-label="%s" font-size="13" fill="currentColor">`, width, high, template.HTMLEscapeString(plain.OneLine(strings.Join(said, "; "))))
}

func escape(s string) string { return template.HTMLEscapeString(plain.OneLine(plain.Shorten(s, 40))) }
