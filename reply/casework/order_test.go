package casework

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// A price holds to the end of its last day at the library, and not into the next.
func TestPriceHoldsItsLastDayWhole(t *testing.T) {
	w := newWalk(t, 1)
	w.o.Rules.Library.Timezone = "America/Toronto"
	j := job.Job{Report: &job.Report{Quote: &job.Quote{ValidUntil: "2026-12-11"}}}
	for at, over := range map[string]bool{
		"2026-12-11T09:00:00-05:00": false,
		"2026-12-11T23:59:00-05:00": false, // it is the twelfth in Greenwich
		"2026-12-12T00:00:00-05:00": true,
	} {
		now, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		w.now = now.UTC()
		if got := w.o.ranOut(j); got != over {
			t.Errorf("at %s the price has run out: %v", at, got)
		}
	}
}

// A letter is overtaken by any one thing that is not as it offers, and by the end of
// the job.
func TestOneChangeOvertakesALetter(t *testing.T) {
	drafted := []job.Stage{job.Checked, job.Drafted}
	for name, c := range map[string]struct {
		change func(j *job.Job)
		way    []job.Stage
		want   bool
	}{
		"nothing":       {func(*job.Job) {}, drafted, false},
		"offered again": {func(*job.Job) {}, append(drafted, job.Quoted), false},
		"colour":        {func(j *job.Job) { j.Settings.Colour = "red" }, drafted, true},
		"layers":        {func(j *job.Job) { j.Report.Estimate.LayerMM = 0.3 }, drafted, true},
		"price":         {func(j *job.Job) { j.Report.Quote.Total = "9.99" }, drafted, true},
		"ended":         {func(*job.Job) {}, []job.Stage{job.Withdrawn}, true},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWalk(t, 1)
			j := job.Job{Patron: job.Address{Address: "ada@example.org"}, File: "lid.stl", Settings: job.Settings{Colour: "blue", Copies: 1}}
			var err error
			j.Report, _, err = w.examine(w.ctx, j)
			w.must(err)
			var got job.ID
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) (err error) {
				if j, err = tx.NewJob(w.ctx, j, "", ledger.Robot, job.Plain("")); err != nil {
					return err
				}
				doc, err := json.Marshal(Written{Jobs: []job.Job{j}})
				if err != nil {
					return err
				}
				c.change(&j)
				if err := tx.SaveJob(w.ctx, j, clerk, job.Plain("")); err != nil {
					return err
				}
				for _, to := range c.way {
					if err := tx.Move(w.ctx, j.ID, to, clerk, job.Plain("")); err != nil {
						return err
					}
				}
				got, err = overtaken(w.ctx, tx.Reader, ledger.Draft{Kind: templates.TextQuote, Doc: doc})
				return err
			}))
			if (got != "") != c.want {
				t.Errorf("overtaken by %q, want %v", got, c.want)
			}
		})
	}
}

// quoted is a conversation about one part whose quote has left.
func quoted(t *testing.T) *walk {
	w := newWalk(t, 1)
	w.patron, w.said = "ada@example.org", map[job.ID]told{}
	w.agreed, w.unclear = map[job.ID]*told{}, map[string]bool{}
	w.letter("Please print this in blue, one copy, to collect at Millbrook.", "lid.stl")
	w.work()
	w.sign()
	w.work()
	rows, err := w.l.Jobs(w.ctx, ledger.Filter{Open: true})
	w.must(err)
	if len(rows) != 1 {
		t.Fatalf("%d jobs", len(rows))
	}
	w.ids, w.thread = []job.ID{rows[0].ID}, rows[0].Thread
	w.approve()
	w.work()
	w.wantStage(job.Quoted)
	return w
}

func (w *walk) wantStage(want job.Stage) {
	w.t.Helper()
	j, err := w.l.Job(w.ctx, w.ids[0])
	w.must(err)
	if j.Stage != want {
		w.t.Errorf("the job is %s, want %s\n%s", j.Stage, want, strings.Join(w.trail, "\n"))
	}
}

// A yes counts at once, unless the house rules changed since the offer or its price
// has run out, either of which has the job checked first.
func TestYesToAnOldOfferIsCheckedFirst(t *testing.T) {
	for name, c := range map[string]struct {
		before func(w *walk)
		want   job.Stage
	}{
		"nothing changed": {func(*walk) {}, job.Agreed},
		"other rules": {func(w *walk) {
			r := *w.o.Rules
			r.Hash = "other rules"
			w.o.Rules = &r
		}, job.Taken},
		"after its last day": {func(w *walk) { w.now = w.now.AddDate(0, 0, 60) }, job.Taken},
	} {
		t.Run(name, func(t *testing.T) {
			w := quoted(t)
			c.before(w)
			w.letter("Yes please, go ahead.")
			w.wantStage(c.want)
		})
	}
}
