package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
)

type jobsShowCmd struct {
	house
	ID   string `arg:"" help:"The job, e.g. LP-000042."`
	JSON bool   `name:"json" help:"As one JSON object."`
}

// record is one job with everything that is on record about it.
type record struct {
	job.Job
	Row      ledger.Row
	Drafts   []ledger.Draft
	Prints   []ledger.Print
	Payments []ledger.Payment
	History  []ledger.Event
}

func (c *jobsShowCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	rec, err := recordOf(e, o.Ledger, jobID(c.ID))
	if err != nil {
		return err
	}
	if c.JSON {
		head, err := public(e, o, rec.Row)
		if err != nil {
			return err
		}
		return writeJSON(e, rec.public(e.words(), head))
	}
	return rec.write(e.out, e.words())
}

// jobID reads a job's number as people type it.
func jobID(s string) job.ID { return job.ID(strings.ToUpper(strings.TrimSpace(s))) }

func recordOf(e *env, l *ledger.Ledger, id job.ID) (rec record, err error) {
	if rec.Job, err = l.Job(e.ctx, id); err != nil {
		return rec, err
	}
	rows, err := l.Jobs(e.ctx, ledger.Filter{Thread: rec.Thread})
	if err != nil {
		return rec, err
	}
	for _, row := range rows {
		if row.ID == id {
			rec.Row = row
		}
	}
	if rec.Drafts, err = l.Drafts(e.ctx, ledger.DraftFilter{Job: id}); err != nil {
		return rec, err
	}
	for i := range rec.Drafts {
		rec.Drafts[i].Doc = nil // drafts show has it
	}
	if rec.Prints, err = l.PrintsOf(e.ctx, id); err != nil {
		return rec, err
	}
	if rec.Payments, err = l.PaymentsOf(e.ctx, id); err != nil {
		return rec, err
	}
	rec.History, err = l.History(e.ctx, id)
	return rec, err
}

// publicRecord is a record as scripts read it.
type publicRecord struct {
	publicJob
	Agreement *job.Agreement   `json:"agreement,omitempty"` // stands over its state alone
	Language  string           `json:"language"`
	Wishes    publicWishes     `json:"wishes"`
	Settings  job.Settings     `json:"settings"`
	Report    *publicReport    `json:"report,omitempty"`
	Drafts    []ledger.Draft   `json:"drafts"`
	Prints    []ledger.Print   `json:"prints"`
	Payments  []ledger.Payment `json:"payments"`
	History   []ledger.Event   `json:"history"`
}

// public is the record as scripts read it.
func (r *record) public(w words, head publicJob) publicRecord {
	return publicRecord{head, r.Agreement, r.Language, publishWishes(r.Wishes), r.Settings, publish(w, r.Report), r.Drafts, r.Prints, r.Payments, r.History}
}

// takenBack says that a print or a payment was recorded by mistake.
func takenBack(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return ", taken back " + day(at)
}

// write shows a job as a person reads it.
func (r record) write(w io.Writer, in words) error {
	row := r.Row
	fmt.Fprintf(w, "job       %s, %s since %s\n", r.ID, r.Stage, day(row.Since))
	fmt.Fprintf(w, "patron    %s <%s> %s\n", plain.OneLine(r.Patron.Name), plain.OneLine(r.Patron.Address), plain.OneLine(row.Phone))
	fmt.Fprintf(w, "sender    %s\n", proof(r.Auth))
	if r.Agreement != nil {
		fmt.Fprintf(w, "agreement %s: %s\n", r.Agreement.State, plain.OneLine(in.said(r.Agreement.Why)))
	}
	fmt.Fprintf(w, "print     %d of %s, %s %s, on %s\n", row.Copies, plain.OneLine(orDash(r.File)), orDash(row.Colour), orDash(row.Material), orDash(row.Printer))
	fmt.Fprintf(w, "estimate  %s, %.1f g; quoted %s\n", plain.Spoken(row.PrintTimeS), row.MassG, orDash(strings.TrimSpace(row.Total+" "+row.Currency)))
	if row.NeededBy != "" || row.Pickup != "" {
		fmt.Fprintf(w, "pickup    %s, needed by %s\n", orDash(row.Pickup), orDash(row.NeededBy))
	}
	for _, p := range r.Prints {
		fmt.Fprintf(w, "printed   %s: %.2f h, %.1f g on %s, %s%s\n", day(p.At), p.Hours, p.Grams, p.Printer, map[bool]string{true: "good", false: "failed"}[p.Good], takenBack(p.TakenBack))
	}
	for _, p := range r.Payments {
		fmt.Fprintf(w, "paid      %s: %s %s%s\n", day(p.At), p.Amount, p.Currency, takenBack(p.TakenBack))
	}
	for _, d := range r.Drafts {
		fmt.Fprintf(w, "letter    %s %s, %s: %s\n", d.ID, d.Kind, d.State, plain.OneLine(d.Subject))
	}
	fmt.Fprintln(w)
	var rows [][]string
	for _, e := range r.History {
		what := e.What
		if e.To != "" {
			what += " " + strings.TrimPrefix(e.From+" to "+e.To, " ")
		}
		rows = append(rows, []string{day(e.At), e.Subject, what, e.Who, in.said(e.Why)})
	}
	return table(w, []string{"WHEN", "WHAT", "HAPPENED", "WHO", "WHY"}, rows)
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
