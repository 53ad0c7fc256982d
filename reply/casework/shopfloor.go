package casework

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// What people do at the printer and at the counter. Each is one transaction, in
// which the letter that tells the patron of it is asked for too.

// Assign puts a job onto a printer's list. The printer must take its material
// and hold the part, turned if need be.
func (o *Office) Assign(ctx context.Context, id job.ID, printer, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		return assign(ctx, tx, o.Rules, j, printer, by)
	})
}

// Reassign is Assign with time and plastic worked out for that printer. The
// price stays the one that the patron was told.
func (o *Office) Reassign(ctx context.Context, id job.ID, printer, by string) error {
	was, err := o.Ledger.Job(ctx, id)
	if err != nil {
		return err
	}
	asked := was
	asked.Settings.Printer = printer
	report, _, err := o.Examine(ctx, asked)
	if err != nil {
		return err
	}
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if !job.SameAsked(was, j) {
			return &ChangedError{id}
		}
		if report != nil && report.Estimate != nil && j.Report != nil {
			told := *j.Report
			told.Estimate = report.Estimate
			j.Report = &told
		}
		return assign(ctx, tx, o.Rules, j, printer, by)
	})
}

func assign(ctx context.Context, tx *ledger.Tx, r *rules.Rules, j job.Job, printer, by string) error {
	if j.Stage.Over() || j.Stage == job.Ready {
		return job.Refuse(job.Say("faults.nothing-to-print", job.Args{"job": string(j.ID), "stage": j.Stage.Word()}))
	}
	want := j.Settings
	want.Printer = printer
	size := sizeOf(j)
	p, err := slice.Pick(r, want, size)
	if err != nil {
		return &job.Fault{Message: job.Say("faults.not-to-printer", job.Args{"job": string(j.ID), "why": job.Why(err)}), Err: err}
	}
	if !holdsTurned(p, size) {
		return job.Refuse(job.Say("faults.not-to-printer", job.Args{"job": string(j.ID), "why": job.Say("faults.too-big-for", job.Args{
			"printer": p.Name, "builds": fmt.Sprintf("%g × %g × %g mm", p.BuildMM[0], p.BuildMM[1], p.BuildMM[2]), "measures": fmt.Sprintf("%.0f × %.0f × %.0f mm", size[0], size[1], size[2])})}))
	}
	j.Settings.Printer = p.Name
	return tx.SaveJob(ctx, j, by, job.Say("history.assigned", job.Args{"printer": p.Name}))
}

func sizeOf(j job.Job) [3]float64 {
	if j.Report == nil || j.Report.Mesh == nil {
		return [3]float64{}
	}
	return j.Report.Mesh.SizeMM
}

// holdsTurned tells whether a printer holds a box some way up.
func holdsTurned(p rules.Printer, s [3]float64) bool {
	return slice.Holds(p, s) || slice.Holds(p, [3]float64{s[1], s[2], s[0]}) || slice.Holds(p, [3]float64{s[2], s[0], s[1]})
}

// Start records that a job is on a printer now. It is refused where the machine is
// printing something else, or where the house wants something settled first.
func (o *Office) Start(ctx context.Context, id job.ID, by string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if j.Stage != job.Agreed && j.Stage != job.Failed {
			return &ledger.StageError{Job: id, From: j.Stage, To: job.Printing}
		}
		if missing := o.left(j); len(missing) > 0 {
			return job.Refuse(job.Say("faults.not-to-be-printed", job.Args{"job": string(id), "what": aheadNames(missing)}))
		}
		if err := o.free(ctx, tx.Reader, id); err != nil {
			return err
		}
		return tx.Move(ctx, id, job.Printing, by, job.Say("history.on-printer", nil))
	})
}

// PutOff takes a job back from the printer, or puts a failed one on the list again.
func (o *Office) PutOff(ctx context.Context, id job.ID, by, why string) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return tx.Move(ctx, id, job.Agreed, by, job.Plain(why)) })
}

// Spent is what a print took. A printer that is not named is the job's own.
type Spent struct {
	Printer      string
	Hours, Grams float64
}

// ShopFloorAction is what a person did with a job at the printer or at the counter.
type ShopFloorAction struct {
	To           job.Stage // printing, ready, failed, agreed (back on the list), collected, or an end
	Hours, Grams float64   // what the print took, for ready and failed; 0 is not known
	Paid         string    // decimal money, for collected
	Why          string    // for failed and declined: the patron is told
	By           string
}

// Record records it.
func (o *Office) Record(ctx context.Context, id job.ID, d ShopFloorAction) error {
	spent := Spent{Hours: d.Hours, Grams: d.Grams}
	switch d.To {
	case job.Printing:
		return o.Start(ctx, id, d.By)
	case job.Ready:
		return o.Printed(ctx, id, spent, d.By)
	case job.Failed:
		return o.PrintFailed(ctx, id, spent, d.By, d.Why)
	case job.Agreed:
		return o.PutOff(ctx, id, d.By, d.Why)
	case job.Collected:
		_, err := o.Collected(ctx, id, d.Paid, d.By)
		return err
	}
	return o.Close(ctx, id, d.To, d.By, d.Why)
}

// Printed records a finished print: the part is ready to be collected.
func (o *Office) Printed(ctx context.Context, id job.ID, s Spent, by string) error {
	if !(s.Hours > 0) || !(s.Grams > 0) {
		return job.Refuse(job.Say("faults.no-hours-or-grams", nil))
	}
	return o.fromPrinter(ctx, id, job.Ready, s, by, job.Say("history.printed", nil))
}

// PrintFailed records a print that went wrong, with the reason that the patron
// is told. Hours and grams may be 0 when nobody knows them.
func (o *Office) PrintFailed(ctx context.Context, id job.ID, s Spent, by, why string) error {
	if strings.TrimSpace(why) == "" {
		return job.Refuse(job.Say("faults.no-reason-to-fail", nil))
	}
	if err := forPatron(why); err != nil {
		return err
	}
	return o.fromPrinter(ctx, id, job.Failed, s, by, job.Plain(why))
}

// fromPrinter takes a job off its printer. One that nobody said was on it is
// put there first, so that its history has no gap.
func (o *Office) fromPrinter(ctx context.Context, id job.ID, to job.Stage, s Spent, by string, why job.Message) error {
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if j.Stage != job.Agreed && j.Stage != job.Failed && j.Stage != job.Printing {
			return &ledger.StageError{Job: id, From: j.Stage, To: to}
		}
		if j.Stage == job.Agreed || j.Stage == job.Failed {
			if err := tx.Move(ctx, id, job.Printing, by, job.Say("history.on-printer", nil)); err != nil {
				return err
			}
		}
		if err := tx.Move(ctx, id, to, by, why); err != nil {
			return err
		}
		if s.Hours > 0 || s.Grams > 0 {
			if err := tx.RecordPrint(ctx, id, s.Printer, s.Hours, s.Grams, to == job.Ready, by); err != nil {
				return err
			}
		}
		return tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
	})
}

// Collected records that a part was handed over and what was paid for it, which
// may be nothing ("0"). It gives the price that was quoted, to compare.
func (o *Office) Collected(ctx context.Context, id job.ID, paid, by string) (quoted job.Quote, err error) {
	err = o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if j.Report != nil && j.Report.Quote != nil {
			quoted = *j.Report.Quote
		}
		quoted.Currency = cmp.Or(quoted.Currency, o.Rules.Prices.Currency)
		amount, err := currency.NewAmount(paid, quoted.Currency)
		if err != nil || amount.IsNegative() {
			return job.Refuse(job.Say("faults.no-amount", job.Args{"given": paid}))
		}
		if err := tx.Move(ctx, id, job.Collected, by, job.Say("history.handed-over", nil)); err != nil {
			return err
		}
		if err := dropStale(ctx, tx, id, by); err != nil {
			return err
		}
		if amount.IsZero() {
			return nil
		}
		return tx.RecordPayment(ctx, id, amount.Number(), quoted.Currency, by)
	})
	return quoted, err
}

// dropStale sets aside letters that may still be approved, for the first time or after the
// server refused them, and are about nothing but a part that was handed over: nobody should
// be called to collect it any more.
func dropStale(ctx context.Context, tx *ledger.Tx, id job.ID, by string) error {
	waiting, err := tx.Drafts(ctx, ledger.DraftFilter{Job: id, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftFailed}})
	if err != nil {
		return err
	}
	for _, d := range waiting {
		if len(d.Jobs) > 1 {
			continue
		}
		if err := tx.SetAside(ctx, d.ID, by, job.Say("history.collected-meanwhile", nil)); err != nil {
			return err
		}
		if err := tx.Enqueue(ctx, ledger.StepFile, d.ID, time.Time{}); err != nil {
			return err
		}
	}
	return nil
}

// Close ends a job before it is printed: declined by the house, withdrawn by
// the patron, or lapsed. The reason of a declined one is told to the patron.
func (o *Office) Close(ctx context.Context, id job.ID, to job.Stage, by, why string) error {
	return o.CloseAs(ctx, id, to, "", by, why)
}

// CloseAs is Close with a word under which the monthly report counts the job;
// without one, a declined job counts under the finding that stops it.
func (o *Office) CloseAs(ctx context.Context, id job.ID, to job.Stage, as, by, why string) error {
	if to == job.Declined {
		if err := forPatron(why); err != nil {
			return err
		}
	}
	return o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if err := tx.MoveFor(ctx, id, to, as, by, job.Plain(why)); err != nil {
			return err
		}
		if err := leavesAlone(ctx, tx, j); err != nil {
			return err
		}
		return tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
	})
}
