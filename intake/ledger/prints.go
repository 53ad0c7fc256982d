package ledger

import (
	"context"
	"database/sql"
	"math"
	"time"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
)

// Print is what one finished print really took, beside what had been estimated.
type Print struct {
	ID       int64     `json:"id"`
	Job      job.ID    `json:"job"`
	Printer  string    `json:"printer"`
	Material string    `json:"material"`
	Hours    float64   `json:"hours"`
	Grams    float64   `json:"grams"`
	Good     bool      `json:"good"` // false: the print failed; it cost time and plastic, but teaches nothing
	EstHours float64   `json:"est_hours"`
	EstGrams float64   `json:"est_grams"`
	At       time.Time `json:"at"`

	TakenBack time.Time `json:"taken_back,omitzero"` // it was recorded by mistake
}

// RecordPrint records what a print took. An empty printer is the job's own.
func (tx *Tx) RecordPrint(ctx context.Context, id job.ID, printer string, hours, grams float64, good bool, who string) error {
	if !(hours >= 0 && hours < 10000 && grams >= 0 && grams < 100000) {
		return job.Refuse(job.Say("faults.print-not-right", job.Args{"hours": hours, "grams": grams}))
	}
	j, err := tx.Job(ctx, id)
	if err != nil {
		return err
	}
	f := factsOf(j)
	printer = or(printer, f.printer)
	estHours, estGrams := uncorrected(j, printer)
	err = tx.exec(ctx, `INSERT INTO prints (job, printer, material, hours, grams, good, est_hours, est_grams, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		string(id), printer, f.material, hours, grams, flag(good), estHours, estGrams, stamp(tx.now))
	if err != nil {
		return err
	}
	what := "printed"
	if !good {
		what = "print-failed"
	}
	return tx.event(ctx, Event{Who: who, Subject: string(id), What: what, Why: job.Say("history.spent", job.Args{"hours": math.Round(hours*100) / 100, "grams": math.Round(grams*10) / 10})})
}

// uncorrected is what was estimated before earlier prints corrected it, so that
// a print teaches the same whenever it was made. An estimate for another printer
// teaches nothing and counts as none.
func uncorrected(j job.Job, printer string) (hours, grams float64) {
	if j.Report == nil || j.Report.Estimate == nil {
		return 0, 0
	}
	e := j.Report.Estimate
	if e.Printer != "" && e.Printer != printer {
		return 0, 0
	}
	hours, grams = e.PrintTimeS/3600, e.MassG
	if e.TimeFactor > 0 {
		hours /= e.TimeFactor
	}
	if e.MassFactor > 0 {
		grams /= e.MassFactor
	}
	return hours, grams
}

// Prints gives the prints of a printer and material ("" for any), oldest first, without
// those that were taken back.
func (r Reader) Prints(ctx context.Context, printer, material string) ([]Print, error) {
	c := &clause{}
	c.add("taken_back = ''")
	c.is("printer", printer)
	c.is("material", material)
	return r.prints(ctx, c.String()+` ORDER BY at, id`, c.args...)
}

// PrintsOf gives the prints of one job, oldest first, also those that were taken back.
func (r Reader) PrintsOf(ctx context.Context, id job.ID) ([]Print, error) {
	return r.prints(ctx, ` WHERE job = ? ORDER BY at, id`, string(id))
}

func (r Reader) prints(ctx context.Context, where string, args ...any) ([]Print, error) {
	var out []Print
	err := r.each(ctx, `SELECT id, job, printer, material, hours, grams, good, est_hours, est_grams, at, taken_back FROM prints`+where, args, func(rows *sql.Rows) error {
		var p Print
		err := rows.Scan(&p.ID, &p.Job, &p.Printer, &p.Material, &p.Hours, &p.Grams, &p.Good, &p.EstHours, &p.EstGrams, stamped{&p.At}, stamped{&p.TakenBack})
		out = append(out, p)
		return err
	})
	return out, err
}

// Payment is money that was paid for a job; negative when given back.
type Payment struct {
	Job      job.ID    `json:"job"`
	Amount   string    `json:"amount"` // decimal
	Currency string    `json:"currency"`
	At       time.Time `json:"at"`

	TakenBack time.Time `json:"taken_back,omitzero"` // it was recorded by mistake
}

// TakeBack marks the prints and payments of a job since a moment as recorded by mistake.
// They stay on record and count nowhere.
func (tx *Tx) TakeBack(ctx context.Context, id job.ID, since time.Time) error {
	for _, table := range []string{"prints", "payments"} {
		if err := tx.exec(ctx, `UPDATE `+table+` SET taken_back = ? WHERE job = ? AND at >= ? AND taken_back = ''`, stamp(tx.now), string(id), stamp(since)); err != nil {
			return err
		}
	}
	return nil
}

// RecordPayment records money paid for a job.
func (tx *Tx) RecordPayment(ctx context.Context, id job.ID, amount, code, who string) error {
	paid, err := currency.NewAmount(amount, code)
	if err != nil {
		return job.Refuse(job.Say("faults.no-payment", job.Args{"given": amount, "currency": code}))
	}
	if _, err := tx.Job(ctx, id); err != nil {
		return err
	}
	err = tx.exec(ctx, `INSERT INTO payments (job, amount, currency, at) VALUES (?, ?, ?, ?)`, string(id), paid.Number(), paid.CurrencyCode(), stamp(tx.now))
	if err != nil {
		return err
	}
	return tx.event(ctx, Event{Who: who, Subject: string(id), What: "paid", Why: job.Plain(paid.String())})
}

// Payments gives what was paid for a job, oldest first, without what was taken back.
func (r Reader) Payments(ctx context.Context, id job.ID) ([]Payment, error) {
	return r.payments(ctx, `WHERE job = ? AND taken_back = '' ORDER BY at, id`, string(id))
}

// PaymentsOf is Payments with what was taken back.
func (r Reader) PaymentsOf(ctx context.Context, id job.ID) ([]Payment, error) {
	return r.payments(ctx, `WHERE job = ? ORDER BY at, id`, string(id))
}

func (r Reader) payments(ctx context.Context, where string, args ...any) ([]Payment, error) {
	var out []Payment
	err := r.each(ctx, `SELECT job, amount, currency, at, taken_back FROM payments `+where, args, func(rows *sql.Rows) error {
		var p Payment
		err := rows.Scan(&p.Job, &p.Amount, &p.Currency, stamped{&p.At}, stamped{&p.TakenBack})
		out = append(out, p)
		return err
	})
	return out, err
}
