package main

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
	"meshclerk/templates/madeup"
)

// In the made-up language each sentence of the report has its marks, on the page and
// in the table.
func TestMadeUpLanguageInReport(t *testing.T) {
	dir := t.TempDir()
	if err := madeup.Write("../../templates/en", dir); err != nil {
		t.Fatal(err)
	}
	b, err := templates.LoadBook(dir)
	if err != nil {
		t.Fatal(err)
	}
	rep := ledger.Report{Jobs: 3, Patrons: 2, Prints: 1, Failures: 1, Hours: 2.5, Grams: 30, Income: map[string]string{"CAD": "3.40"},
		FirstAnswer: ledger.Spread{N: 1, Median: 2, Slowest: 3}, TurnAround: ledger.Spread{N: 1, Median: 20, Slowest: 30},
		ByPrinter: []ledger.Share{{Printer: "Bench 1", Prints: 1, Hours: 2.5, Grams: 30}}, Refusals: map[string]int{"too-big": 1},
		Stages: map[job.Stage]int{job.Quoted: 1}, Letters: map[job.Disposition]int{job.Request: 1}}
	m := monthly{Report: rep, Library: "Larkfield Public Library", First: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), Past: []ledger.Report{rep}, say: b.In(madeup.Language, "en-CA", "CAD")}
	names := regexp.MustCompile(`Larkfield Public Library|Bench 1|\bCAD\b|[0-9] (?:h|g)\b|^(?:h|g)$`)
	isName := func(text string) bool {
		return !regexp.MustCompile(`\pL`).MatchString(names.ReplaceAllString(text, ""))
	}
	var page strings.Builder
	if err := m.html(&page); err != nil {
		t.Fatal(err)
	}
	left, err := madeup.Left(page.String(), isName)
	if err != nil || strings.Count(page.String(), madeup.Begin) < 40 {
		t.Fatalf("%v\n%s", err, page.String())
	}
	for _, text := range left {
		t.Errorf("%q has no mark", text)
	}
	var table strings.Builder
	if err := (&reportCmd{}).write(&table, m); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(table.String()) {
		if !isName(strings.TrimSpace(madeup.Unmarked(line))) {
			t.Errorf("%q has no mark", line)
		}
	}
}
