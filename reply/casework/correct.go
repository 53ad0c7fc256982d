package casework

import (
	"context"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// Mistakes at the printer and at the counter
//
//	printing ─ was never begun ──────→ agreed
//	ready ──── is not done ──────────→ printing
//	collected ─ nobody came for it ──→ ready
//
// What was recorded by mistake stays on record, marked as taken back, and counts
// nowhere; a letter about it that has not left is set aside. Each goes by Correct alone:
// Start, Printed and Collected refuse a job that is past them.

// backTo is where a mistake leads back to.
var backTo = map[job.Stage]job.Stage{job.Printing: job.Agreed, job.Ready: job.Printing, job.Collected: job.Ready}

// toldOf are the letters about what was recorded in a stage.
var toldOf = map[job.Stage][]string{
	job.Ready:     {templates.TextReady, templates.TextPickupReminder},
	job.Collected: {templates.TextCollected},
}

// wrongly is why letters are set aside that tell of a mistake.
const wrongly = "history.undone"

// Corrected is what Correct did.
type Corrected struct {
	To   job.Stage
	Left bool // a letter about the mistake has left already: the patron was told
}

// Correct takes back the last thing that was recorded of a job at the printer or at the
// counter. from is the stage that the person saw it in.
func (o *Office) Correct(ctx context.Context, id job.ID, from job.Stage, by, why string) (out Corrected, err error) {
	to, ok := backTo[from]
	if !ok {
		return out, job.Refuse(job.Say("faults.nothing-to-correct", job.Args{"job": string(id), "stage": from.Word()}))
	}
	if strings.TrimSpace(why) == "" {
		return out, job.Refuse(job.Say("faults.no-reason-to-correct", nil))
	}
	err = o.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		if j.Stage != from {
			return &ledger.StageError{Job: id, From: j.Stage, To: to}
		}
		since, err := cameInto(ctx, tx.Reader, j)
		if err != nil {
			return err
		}
		if from != job.Printing {
			if err := tx.TakeBack(ctx, id, since); err != nil {
				return err
			}
		}
		if err := tx.Move(ctx, id, to, by, job.Say("history.corrected", job.Args{"why": why})); err != nil {
			return err
		}
		out.To = to
		out.Left, err = o.takeBackLetters(ctx, tx, j, since, by)
		return err
	})
	return out, err
}

// cameInto gives when a job last came into its stage, corrections left out.
func cameInto(ctx context.Context, r ledger.Reader, j job.Job) (at time.Time, err error) {
	events, err := r.Events(ctx, string(j.ID))
	for _, e := range slices.Backward(events) {
		if e.What == "moved" && e.To == string(j.Stage) && backTo[job.Stage(e.From)] != j.Stage {
			return e.At, err
		}
	}
	return at, err
}

// takeBackLetters sets aside the letters about a mistake that have not left, and has
// written anew what others in them were told. It reports whether one has left.
func (o *Office) takeBackLetters(ctx context.Context, tx *ledger.Tx, j job.Job, since time.Time, by string) (left bool, err error) {
	drafts, err := tx.Drafts(ctx, ledger.DraftFilter{Job: j.ID})
	if err != nil {
		return false, err
	}
	for _, d := range drafts {
		again := j.Stage == job.Collected && d.Why.Key == "history.collected-meanwhile" && d.State == ledger.DraftSetAside
		switch {
		case again: // that it is ready is so after all
			if err := tx.Reopen(ctx, d.ID, by, job.Say(wrongly, nil)); err != nil {
				return false, err
			}
			if err := tx.Enqueue(ctx, ledger.StepPost, d.ID, time.Time{}); err != nil {
				return false, err
			}
		case !slices.Contains(toldOf[j.Stage], d.Kind) || d.Made.Before(since):
		case d.State == ledger.DraftWaiting || d.State == ledger.DraftApproved || d.State == ledger.DraftFailed:
			if err := tx.SetAside(ctx, d.ID, by, job.Say(wrongly, nil)); err != nil {
				return false, err
			}
			if err := tx.Enqueue(ctx, ledger.StepFile, d.ID, time.Time{}); err != nil {
				return false, err
			}
		case d.State == ledger.DraftSent || d.State == ledger.DraftSending || d.State == ledger.DraftUncertain:
			left = true
		}
	}
	return left, tx.Enqueue(ctx, ledger.StepDraft, j.Thread, time.Time{})
}

// BusyError refuses to start a job on a printer that has its hands full.
type BusyError struct {
	Printer string
	Running []job.ID
}

func (e *BusyError) Error() string { return "printer " + e.Printer + " is busy" }

// free holds that a machine prints one thing at a time: of each kind there run no more
// jobs than there are machines.
func (o *Office) free(ctx context.Context, r ledger.Reader, id job.ID) error {
	rows, err := r.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Printing, job.Agreed, job.Failed}})
	if err != nil {
		return err
	}
	i := slices.IndexFunc(rows, func(row ledger.Row) bool { return row.ID == id })
	if i < 0 || rows[i].Printer == "" {
		return nil
	}
	busy := &BusyError{Printer: rows[i].Printer}
	var names []string
	for _, row := range rows {
		if row.Stage == job.Printing && row.ID != id && row.Printer == busy.Printer {
			busy.Running = append(busy.Running, row.ID)
			names = append(names, string(row.ID)+" ("+row.File+")")
		}
	}
	machines := 1
	for _, p := range o.Rules.Printers {
		if p.Name == busy.Printer {
			machines = max(1, p.Count)
		}
	}
	if len(busy.Running) < machines {
		return nil
	}
	return &job.Fault{Message: job.Say("faults.printer-busy", job.Args{"printer": busy.Printer, "running": names}), Err: busy}
}
