package main

import (
	"encoding/json"
	"fmt"
	"io"
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

// day writes a time as a date and minute in the reader's own zone.
func day(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }
