package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/ledger"
)

// Five prints that took 1.41 times their estimate stand half way from 1 to 2 on
// the line, and the correction is told in figures; a failed print is left out.
func TestCalibrationPicture(t *testing.T) {
	var prints []ledger.Print
	for i := range 5 {
		est := float64(1 + i)
		prints = append(prints, ledger.Print{Job: "LP-000001", Printer: "Bench 1", Material: "PLA", Hours: 1.4142 * est, Grams: 11 * est, EstHours: est, EstGrams: 10 * est, Good: true, At: time.Date(2026, 11, 2+i, 12, 0, 0, 0, time.Local)})
	}
	prints = append(prints, ledger.Print{Job: "LP-000009", Printer: "Bench 1", Material: "PLA", Hours: 9, EstHours: 1, At: time.Date(2026, 11, 9, 12, 0, 0, 0, time.Local)},
		ledger.Print{Job: "LP-000002", Printer: "Bench 2", Material: "PETG", Hours: 1, EstHours: 4, Good: true, At: time.Date(2026, 11, 9, 12, 0, 0, 0, time.Local)})
	groups, err := learnedFrom(prints)
	if err != nil || len(groups) != 2 {
		t.Fatalf("%d groups, %v", len(groups), err)
	}
	var b bytes.Buffer
	for _, g := range groups {
		if err := g.write(&b); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []string{
		"Bench 1, PLA: 5 finished prints", "time is 1.41 times the estimate", "plastic 1.10 times",
		"2026-11-02  LP-000001  1.00         1.41    1.41   1.10", "..........|....o", // 10 cells to 1, 5 of 10 more to 1.41
		"Bench 2, PETG: 1 finished print", "it takes 5 prints", "o.........|..........", // a quarter is off the line, at its end
	} {
		if !strings.Contains(strings.ReplaceAll(b.String(), "=", "."), want) {
			t.Errorf("there is no %q in\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "LP-000009") {
		t.Error("the failed print is shown as if it taught something")
	}
}
