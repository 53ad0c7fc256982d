package main

import (
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strings"
	"text/tabwriter"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// writeJSON writes one object on one line, as scripts read it: messages in words.
func writeJSON(e *env, v any) error { return encode(e.out, e.words(), v) }

func encode(w io.Writer, in words, v any) error {
	if v != nil {
		whole := reflect.New(reflect.TypeOf(v)).Elem()
		whole.Set(reflect.ValueOf(v))
		in.sayAll(whole)
		v = whole.Interface()
	}
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	return out.Encode(v)
}

// sayAll puts the words of every message within a value in its place.
func (w words) sayAll(v reflect.Value) {
	if m, ok := v.Interface().(job.Message); ok {
		v.Set(reflect.ValueOf(job.Plain(w.said(m))))
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			w.sayAll(v.Elem())
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			w.sayAll(v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				w.sayAll(v.Field(i))
			}
		}
	}
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
