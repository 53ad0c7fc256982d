package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
)

type reportCmd struct {
	house
	Month string `placeholder:"YYYY-MM" help:"The month; the last whole one otherwise."`
	CSV   bool   `name:"csv" xor:"form" help:"As comma-separated values."`
	HTML  bool   `name:"html" xor:"form" help:"As a page with charts."`
	JSON  bool   `name:"json" xor:"form" help:"As one JSON object, for scripts."`
	To    string `short:"o" name:"to" placeholder:"FILE" help:"Into a file, instead of standard output."`
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
}

func (c *reportCmd) write(w io.Writer, m monthly) error {
	switch {
	case c.JSON:
		return writeJSON(w, m.Report)
	case c.CSV:
		return m.csv(w)
	case c.HTML:
		return m.html(w)
	}
	fmt.Fprintf(w, "%s, %s\n\n", m.Library, m.First.Format("January 2006"))
	var rows [][]string
	for _, f := range m.figures() {
		value := f.value
		if f.unit != "" {
			value += " " + f.unit
		}
		rows = append(rows, []string{f.group, f.what, value})
	}
	return table(w, []string{"", "WHAT", "HOW MUCH"}, rows)
}

// figure is one line of a report.
type figure struct{ group, what, value, unit string }

// figures lists everything that the report says, in one order.
func (m monthly) figures() []figure {
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
	out := []figure{
		{"requests", "jobs asked for", strconv.Itoa(m.Jobs), ""},
		{"requests", "patrons who asked", strconv.Itoa(m.Patrons), ""},
		{"prints", "finished", strconv.Itoa(m.Prints), ""},
		{"prints", "failed", strconv.Itoa(m.Failures), ""},
		{"prints", "printing time", number(m.Hours), "h"},
		{"prints", "plastic", number(m.Grams), "g"},
	}
	for _, code := range slices.Sorted(maps.Keys(m.Income)) {
		out = append(out, figure{"income", "paid", m.Income[code], code})
	}
	out = append(out, spreadOf("first answer", m.FirstAnswer)...)
	out = append(out, spreadOf("letter to ready part", m.TurnAround)...)
	for _, p := range m.ByPrinter {
		out = append(out, figure{"printer", orDash(p.Printer) + ", finished", strconv.Itoa(p.Prints), ""},
			figure{"printer", orDash(p.Printer) + ", time", number(p.Hours), "h"}, figure{"printer", orDash(p.Printer) + ", plastic", number(p.Grams), "g"})
	}
	for _, reason := range slices.Sorted(maps.Keys(m.Refusals)) {
		out = append(out, figure{"refused", reason, strconv.Itoa(m.Refusals[reason]), ""})
	}
	for _, s := range job.Stages() {
		if n := m.Stages[s]; n > 0 {
			out = append(out, figure{"now", string(s), strconv.Itoa(n), ""})
		}
	}
	for _, d := range slices.Sorted(maps.Keys(m.Letters)) {
		out = append(out, figure{"letters", orDash(string(d)), strconv.Itoa(m.Letters[d]), ""})
	}
	return out
}

func spreadOf(what string, s ledger.Spread) []figure {
	if s.N == 0 {
		return nil
	}
	hours := func(h float64) string { return strconv.FormatFloat(h, 'f', 1, 64) }
	return []figure{{"time", what + ", half of them within", hours(s.Median), "h"}, {"time", what + ", the slowest", hours(s.Slowest), "h"}}
}

func (m monthly) csv(w io.Writer) error {
	out := csv.NewWriter(w)
	month := m.First.Format("2006-01")
	if err := out.Write([]string{"month", "group", "what", "value", "unit"}); err != nil {
		return err
	}
	for _, f := range m.figures() {
		if err := out.Write([]string{month, f.group, plainCell(f.what), f.value, f.unit}); err != nil {
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
