package main

import (
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

// publicJob is a job as scripts read it. Fields keep their names; more may be added.
type publicJob struct {
	ID          job.ID             `json:"id"`
	Stage       job.Stage          `json:"stage"`
	Since       time.Time          `json:"since"` // in this stage
	Made        time.Time          `json:"made"`
	Changed     time.Time          `json:"changed"`
	Thread      string             `json:"thread"`
	Patron      string             `json:"patron"` // address
	PatronName  string             `json:"patron_name"`
	File        string             `json:"file"`
	Blob        string             `json:"blob"`
	Copies      int                `json:"copies"`
	Colours     []string           `json:"colours"`
	Material    string             `json:"material"`
	Scale       float64            `json:"scale"` // 1 is the size of the file
	Printer     string             `json:"printer"`
	Branch      string             `json:"branch"`
	Price       string             `json:"price"`        // as last offered, decimal; "" while nothing was
	AgreedPrice string             `json:"agreed_price"` // as agreed, or ""
	Currency    string             `json:"currency"`
	WaitsFor    string             `json:"waits_for"` // "patron", "staff" or "robot"; "" when it is over
	NeededBy    string             `json:"needed_by"`
	Phone       string             `json:"phone"`
	Agreement   job.AgreementState `json:"agreement"`
	Auth        job.Verdict        `json:"authenticated"`
	PrintTimeS  float64            `json:"print_time_s"`
	MassG       float64            `json:"mass_g"`
	Reason      string             `json:"reason,omitempty"`
}

// public puts a job's row, its offers and what it waits for into what scripts read.
func public(e *env, o *casework.Office, row ledger.Row) (publicJob, error) {
	p := publicJob{ID: row.ID, Stage: row.Stage, Since: row.Since, Made: row.Made, Changed: row.Changed, Thread: row.Thread, Patron: row.Patron.Address,
		PatronName: row.Patron.Name, File: row.File, Blob: row.Blob, Copies: row.Copies, Colours: []string{}, Material: row.Material, Scale: 1, Printer: row.Printer,
		Branch: row.Pickup, Currency: row.Currency, NeededBy: row.NeededBy, Phone: row.Phone, Agreement: row.Agreement, Auth: row.Auth,
		PrintTimeS: row.PrintTimeS, MassG: row.MassG, Reason: row.Reason}
	j, err := o.Ledger.Job(e.ctx, row.ID)
	if err != nil {
		return p, err
	}
	p.Colours = slices.Concat(p.Colours, coloursOf(j))
	if j.Settings.Scale > 0 {
		p.Scale = j.Settings.Scale
	}
	if p.Price, p.AgreedPrice, err = o.Prices(e.ctx, row.ID); err != nil {
		return p, err
	}
	p.WaitsFor, err = o.WaitsFor(e.ctx, j)
	return p, err
}

func coloursOf(j job.Job) []string {
	var out []string
	for _, c := range j.Settings.Colours {
		out = append(out, c.Colour)
	}
	if len(out) == 0 && j.Settings.Colour != "" {
		out = []string{j.Settings.Colour}
	}
	if len(out) == 0 {
		out = j.Wishes.Colours
	}
	return out
}
