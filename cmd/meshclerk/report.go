package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
)

type reportCmd struct {
	house
	Month string `placeholder:"YYYY-MM" help:"The month; the last whole one otherwise."`
	CSV   bool   `name:"csv" xor:"form" help:"As comma-separated values."`
	HTML  bool   `name:"html" xor:"form" help:"As a page with charts."`
	JSON  bool   `name:"json" xor:"form" help:"As one JSON object, for scripts."`

	Language string `default:"en" placeholder:"fr" help:"The language of the table and of the page."`
	To       string `short:"o" name:"to" placeholder:"FILE" help:"Into a file, instead of standard output."`
}

func (c *reportCmd) Run(e *env) error {
	r, err := c.rules()
	if err != nil {
		return err
	}
	from, err := monthOf(c.Month, time.Now(), r)
	if err != nil {
		return err
	}
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	m := monthly{Library: r.Library.Name, First: from}
	if m.say, err = c.localizer(c.Language, r); err != nil {
		return err
	}
	if m.Report, err = l.Report(e.ctx, from, from.AddDate(0, 1, 0)); err != nil {
		return err
	}
	if c.HTML {
		for n := monthsBack; n >= 0; n-- {
			past, err := l.Report(e.ctx, from.AddDate(0, -n, 0), from.AddDate(0, 1-n, 0))
			if err != nil {
				return err
			}
			m.Past = append(m.Past, past)
		}
	}
	if c.To == "" {
		return c.write(e.out, m)
	}
	if err := writeOver(c.To, 0o644, func(w io.Writer) error { return c.write(w, m) }); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "written: %s\n", c.To)
	return err
}

// reportFile is the file of the book that a language needs for a report.
const reportFile = "report"

// localizer says the report in a language that has the words for it.
func (h *house) localizer(lang string, r *rules.Rules) (*templates.Localizer, error) {
	dir := ""
	if h.Config != "" {
		c, err := loadConfig(h.Config)
		if err != nil {
			return nil, err
		}
		dir = c.Templates
	}
	b, err := templates.LoadBook(dir)
	if err != nil {
		return nil, err
	}
	if known := b.LanguagesOf(reportFile); !slices.Contains(known, lang) {
		return nil, wrongUse("--language: there is no report in %q; there are: %s", lang, strings.Join(known, ", "))
	}
	return b.In(lang, r.Prices.Locale, r.Prices.Currency), nil
}

const monthsBack = 5 // that the page shows beside the month itself

// monthOf gives the first moment of a month in the library's time zone.
func monthOf(text string, now time.Time, r *rules.Rules) (time.Time, error) {
	zone, err := time.LoadLocation(r.Library.Timezone)
	if err != nil {
		return time.Time{}, fmt.Errorf("the time zone %q of library.toml is not known here: %w", r.Library.Timezone, err)
	}
	if text == "" {
		now = now.In(zone)
		return time.Date(now.Year(), now.Month()-1, 1, 0, 0, 0, 0, zone), nil
	}
	t, err := time.ParseInLocation("2006-01", text, zone)
	if err != nil {
		return time.Time{}, wrongUse("--month %q is no month; write it as 2026-11", text)
	}
	return t, nil
}

// monthly is one month's report.
type monthly struct {
	ledger.Report
	Library string
	First   time.Time
	Past    []ledger.Report // the months up to this one, oldest first
	say     *templates.Localizer
}

// title is the month: "November 2026".
func (m monthly) title() string {
	return m.say.Say(job.Say("report.month", job.Args{"month": job.Say("calendar."+strings.ToLower(m.First.Month().String()), nil), "year": m.First.Format("2006")}))
}

func (c *reportCmd) write(w io.Writer, m monthly) error {
	switch {
	case c.JSON:
		return encode(w, words{english()}, m.Report)
	case c.CSV:
		return m.csv(w)
	case c.HTML:
		return m.html(w)
	}
	fmt.Fprintf(w, "%s, %s\n\n", m.Library, m.title())
	var rows [][]string
	for _, f := range m.figures() {
		rows = append(rows, []string{f.groupIn(m.say), f.whatIn(m.say), strings.TrimSpace(f.valueIn(m.say) + " " + f.unit)})
	}
	head := func(key string) string { return strings.ToUpper(m.say.Word(key)) }
	return table(w, []string{"", head("report.head.what"), head("report.head.how-much")}, rows)
}

// figure is one line of a report.
type figure struct {
	group    string      // of the keys report.group.*
	what     job.Message // what it counts, or the kind of code that code is of: "codes.stage"
	code     string      // of the ledger
	value    float64
	decimals int
	unit     string // an SI symbol or an ISO 4217 code
}

func (f figure) groupIn(l *templates.Localizer) string { return l.Word("report.group." + f.group) }

func (f figure) whatIn(l *templates.Localizer) string {
	if f.code == "" {
		return l.Say(f.what)
	}
	return codeIn(l, f.what.Key, f.code)
}

func (f figure) valueIn(l *templates.Localizer) string { return string(l.Fixed(f.value, f.decimals)) }

// codeIn is the word for a code of the ledger; one without a word is shown as it is.
func codeIn(l *templates.Localizer, kind, code string) string {
	if m := job.Say(kind+"."+code, nil); l.Missing(m) == nil {
		return l.Say(m)
	}
	return orDash(code)
}

// figures lists everything that the report says, in one order.
func (m monthly) figures() []figure {
	count := func(group string, what job.Message, n int) figure { return figure{group, what, "", float64(n), 0, ""} }
	named := func(key string) job.Message { return job.Say(key, nil) }
	out := []figure{
		count("requests", named("report.figure.jobs"), m.Jobs), count("requests", named("report.figure.patrons"), m.Patrons),
		count("prints", named("report.figure.finished"), m.Prints), count("prints", named("report.figure.failed"), m.Failures),
		{"prints", named("report.figure.hours"), "", m.Hours, 1, "h"}, {"prints", named("report.figure.plastic"), "", m.Grams, 1, "g"},
	}
	for _, code := range slices.Sorted(maps.Keys(m.Income)) {
		_, cents, _ := strings.Cut(m.Income[code], ".")
		out = append(out, figure{"income", named("report.figure.paid"), "", number(m.Income[code]), len(cents), code})
	}
	out = append(out, spreadOf(m.FirstAnswer, named("report.figure.first-answer-half"), named("report.figure.first-answer-slowest"))...)
	out = append(out, spreadOf(m.TurnAround, named("report.figure.ready-part-half"), named("report.figure.ready-part-slowest"))...)
	for _, p := range m.ByPrinter {
		name := orDash(p.Printer)
		out = append(out, count("printer", job.Say("report.figure.printer-finished", job.Args{"printer": name}), p.Prints),
			figure{"printer", job.Say("report.figure.printer-hours", job.Args{"printer": name}), "", p.Hours, 1, "h"}, figure{"printer", job.Say("report.figure.printer-plastic", job.Args{"printer": name}), "", p.Grams, 1, "g"})
	}
	coded := func(group, kind, code string, n int) {
		out = append(out, figure{group, job.Message{Key: kind}, orDash(code), float64(n), 0, ""})
	}
	for _, reason := range slices.Sorted(maps.Keys(m.Refusals)) {
		coded("refused", "codes.finding", reason, m.Refusals[reason])
	}
	for _, s := range job.Stages() {
		if n := m.Stages[s]; n > 0 {
			coded("now", "codes.stage", string(s), n)
		}
	}
	for _, d := range slices.Sorted(maps.Keys(m.Letters)) {
		coded("letters", "codes.disposition", string(d), m.Letters[d])
	}
	return out
}

// number is an amount of money as a number, for a picture or a column.
func number(amount string) float64 {
	v, _ := strconv.ParseFloat(amount, 64) // nothing is 0
	return v
}

func spreadOf(s ledger.Spread, half, slowest job.Message) []figure {
	if s.N == 0 {
		return nil
	}
	return []figure{{"time", half, "", s.Median, 1, "h"}, {"time", slowest, "", s.Slowest, 1, "h"}}
}

// csv writes the figures for other programs: in English, codes as they are.
func (m monthly) csv(w io.Writer) error {
	out := csv.NewWriter(w)
	month := m.First.Format("2006-01")
	if err := out.Write([]string{"month", "group", "what", "value", "unit"}); err != nil {
		return err
	}
	for _, f := range m.figures() {
		what := f.code
		if what == "" {
			what = words{english()}.said(f.what)
		}
		if err := out.Write([]string{month, f.group, plainCell(what), strconv.FormatFloat(f.value, 'f', f.decimals, 64), f.unit}); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// plainCell keeps a spreadsheet from taking a text for a formula.
func plainCell(s string) string {
	if s != "" && (s[0] == '=' || s[0] == '+' || s[0] == '-' && s != "-" || s[0] == '@') {
		return "'" + s
	}
	return s
}
