package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"meshclerk/intake/plain"
)

// writeJSON writes one object on one line, as scripts read it.
func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// table writes rows in aligned columns under a head.
func table(w io.Writer, head []string, rows [][]string) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, strings.Join(head, "\t"))
	for _, row := range rows {
		for i := range row {
			row[i] = plain.OneLine(row[i])
		}
		fmt.Fprintln(tw, strings.Join(row, "\t"))
	}
	return tw.Flush()
}

// spoken writes a time as a person would say it: "50 min", "3 h 20 min".
func spoken(seconds float64) string {
	m := int(math.Round(seconds / 60))
	switch {
	case seconds <= 0:
		return "-"
	case m < 60:
		return fmt.Sprintf("%d min", max(m, 1))
	}
	m = int(math.Round(float64(m)/5)) * 5
	if m%60 == 0 {
		return fmt.Sprintf("%d h", m/60)
	}
	return fmt.Sprintf("%d h %d min", m/60, m%60)
}

// day writes a time as a date and minute in the reader's own zone.
func day(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }
