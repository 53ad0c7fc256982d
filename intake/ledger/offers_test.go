package ledger

import (
	"errors"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

// agrees lets a job be agreed to whatever it is, as what an earlier version quoted.
func agrees(t testing.TB, tx *Tx, id job.ID) error {
	ctx := t.Context()
	drafts, err := tx.Drafts(ctx, DraftFilter{Job: id})
	if err != nil {
		return err
	}
	var d Draft
	if len(drafts) > 0 {
		d = drafts[0]
	} else if d, _, err = tx.NewDraft(ctx, Draft{Kind: "quote", Language: "en", To: job.Address{Address: "ada@example.org"}, MessageID: "<" + NewThread() + "@larkfield.example>"},
		[]byte("an offer"), Robot, job.Plain("")); err != nil {
		return err
	}
	if err := tx.exec(ctx, `INSERT INTO offers (draft, job, sha256, terms, rules_hash, at) VALUES (?, ?, ?, '', '', ?) ON CONFLICT (draft, job) DO NOTHING`, d.ID, string(id), d.SHA256, stamp(tx.now)); err != nil {
		return err
	}
	o, _, err := tx.LastOffer(ctx, id)
	if err != nil {
		return err
	}
	if err := tx.KeepYes(ctx, o, "", "patron"); err != nil {
		return err
	}
	return tx.exec(ctx, `UPDATE yeses SET state = 'counts' WHERE job = ? AND state = 'kept'`, string(id))
}

// offeredJob is a job that can be said yes to, with the terms of one copy in blue.
func offeredJob(t *testing.T, l *Ledger, letter string) (job.Job, Draft) {
	t.Helper()
	j := newJob(t, l, letter)
	j.Settings = job.Settings{Copies: 1, Colour: "blue"}
	j.Report = &job.Report{Readable: true, Mesh: &job.Shape{SizeMM: [3]float64{20, 20, 20.04}}, Fit: &job.Fit{Fits: true},
		Estimate: &job.Estimate{PrintTimeS: 600, MassG: 3, Material: "PLA", LayerMM: 0.2, Shells: 3, Infill: 0.15, Copies: 1},
		Quote:    &job.Quote{Currency: "CAD", Total: "1.50"}}
	do(t, l, func(tx *Tx) error { return tx.SaveJob(t.Context(), j, Robot, job.Plain("")) })
	for _, to := range []job.Stage{job.Checked, job.Drafted, job.Quoted} {
		if err := l.Move(t.Context(), j.ID, to, Robot, job.Plain("")); err != nil {
			t.Fatal(err)
		}
	}
	d := newDraft(t, l, "one in blue for $1.50", j.ID)
	terms, ok := j.Terms()
	if !ok {
		t.Fatal("the job has no terms")
	}
	do(t, l, func(tx *Tx) error {
		return tx.AddOffer(t.Context(), Offer{Draft: d.ID, Job: j.ID, SHA256: d.SHA256, Terms: &terms, RulesHash: "r"})
	})
	return j, d
}

func sayYes(t *testing.T, l *Ledger, id job.ID) error {
	t.Helper()
	return l.Tx(t.Context(), func(tx *Tx) error {
		o, _, err := tx.LastOffer(t.Context(), id)
		if err != nil {
			return err
		}
		if err := tx.KeepYes(t.Context(), o, "", "patron"); err != nil {
			return err
		}
		return tx.CountYes(t.Context(), id)
	})
}

// The schema itself lets nothing onto the print list that was not agreed to.
func TestPrintListIsAsAgreed(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	agree := func(id job.ID) error { return l.Move(ctx, id, job.Agreed, "patron", job.Plain("")) }
	refused := func(what string, err error) {
		t.Helper()
		if err == nil || !strings.Contains(err.Error(), "said yes to") && !strings.Contains(err.Error(), "agreed to cannot change") && !errors.Is(err, ErrOtherTerms) {
			t.Errorf("%s: %v, want it refused", what, err)
		}
	}
	change := func(id job.ID, fn func(*job.Job)) error {
		return l.Tx(ctx, func(tx *Tx) error {
			j, err := tx.Job(ctx, id)
			if err != nil {
				return err
			}
			fn(&j)
			return tx.SaveJob(ctx, j, "Bo Example", job.Plain(""))
		})
	}

	j, _ := offeredJob(t, l, taken(t, l, 1, "a"))
	refused("agreed without a yes", agree(j.ID))
	if err := change(j.ID, func(j *job.Job) { j.Report.Quote.Total = "2.60" }); err != nil {
		t.Fatal(err)
	}
	refused("a yes to another price", sayYes(t, l, j.ID))
	if err := change(j.ID, func(j *job.Job) { j.Report.Quote.Total = "1.50" }); err != nil {
		t.Fatal(err)
	}
	if err := sayYes(t, l, j.ID); err != nil {
		t.Fatal(err)
	}
	if err := change(j.ID, func(j *job.Job) { j.Settings.Colour = "red" }); err != nil {
		t.Fatal(err)
	}
	refused("changed after the yes", agree(j.ID))
	if err := change(j.ID, func(j *job.Job) { j.Settings.Colour = "blue" }); err != nil {
		t.Fatal(err)
	}
	if err := agree(j.ID); err != nil {
		t.Fatal(err)
	}
	refused("changed on the print list", change(j.ID, func(j *job.Job) { j.Settings.Copies = 2 }))
	if err := change(j.ID, func(j *job.Job) { j.Settings.Printer, j.Wishes.Pickup = "Bench 2", "Fernhill" }); err != nil {
		t.Errorf("another printer and branch: %v", err)
	}
	if err := l.Move(ctx, j.ID, job.Checked, "Bo Example", job.Plain("")); err != nil {
		t.Fatal(err)
	}
	refused("back without a new yes", agree(j.ID))

	k, d := offeredJob(t, l, taken(t, l, 2, "b"))
	if err := sayYes(t, l, k.ID); err != nil {
		t.Fatal(err)
	}
	terms, _ := k.Terms()
	newer := newDraft(t, l, "the same once more", k.ID)
	do(t, l, func(tx *Tx) error {
		return tx.AddOffer(ctx, Offer{Draft: newer.ID, Job: k.ID, SHA256: d.SHA256, Terms: &terms, RulesHash: "r"})
	})
	refused("a yes to an offer that is not the last", agree(k.ID))
}

// What the offer asked may be chosen with the yes, but never at another price.
func TestYesWithWhatWasAsked(t *testing.T) {
	for _, c := range []struct {
		asked  []string
		change func(*job.Job)
		counts bool
	}{
		{nil, func(j *job.Job) {}, true},
		{nil, func(j *job.Job) { j.Settings.Colour = "red" }, false},
		{[]string{"colour"}, func(j *job.Job) { j.Settings.Colour = "red" }, false}, // staff's choice, not the patron's
		{[]string{"colour"}, func(j *job.Job) { j.Settings.Colour, j.Wishes.Colours = "red", []string{"red"} }, true},
		{[]string{"colour"}, func(j *job.Job) {
			j.Settings.Colour, j.Wishes.Colours, j.Wishes.Words = "red", nil, map[string]string{"colours": "any colour"}
		}, true},
		{[]string{"colour"}, func(j *job.Job) {
			j.Settings.Colour, j.Wishes.Colours, j.Report.Quote.Total = "red", []string{"red"}, "1.75"
		}, false},
		{[]string{"colour"}, func(j *job.Job) { j.Settings.Copies = 2 }, false},
		{[]string{"file"}, func(j *job.Job) { j.Report.Quote.Currency = "EUR" }, false},
		{[]string{"pickup"}, func(j *job.Job) { j.Wishes.Pickup = "Millbrook" }, true},
		{nil, func(j *job.Job) { j.Report.Mesh.SizeMM[2] = 20.04 }, true}, // rounds to the same tenth
		{nil, func(j *job.Job) { j.Report.Mesh.SizeMM[2] = 20.06 }, false},
		{nil, func(j *job.Job) { j.Report.Estimate.Infill = 0.16 }, false},
		{nil, func(j *job.Job) { j.Report.Estimate.LayerMM = 0.21 }, false},
		{nil, func(j *job.Job) { j.Report.Estimate.Shells = 4 }, false},
		{nil, func(j *job.Job) { j.Settings.Reoriented = true }, false},
		{nil, func(j *job.Job) { j.Settings.Supports = "yes" }, false},
		{[]string{"supports"}, func(j *job.Job) { j.Settings.Supports = "yes" }, false},
		{[]string{"supports"}, func(j *job.Job) { j.Settings.Supports, j.Wishes.Supports = "yes", "yes" }, true},
		{[]string{"material"}, func(j *job.Job) { j.Report.Estimate.Material = "PETG" }, false},
		{[]string{"material"}, func(j *job.Job) { j.Report.Estimate.Material, j.Wishes.Material = "PETG", "petg" }, true},
		{[]string{"copies"}, func(j *job.Job) { j.Settings.Copies = 2 }, false},
		{[]string{"copies"}, func(j *job.Job) { two := 2; j.Settings.Copies, j.Wishes.Copies = 2, &two }, true},
		{[]string{"size"}, func(j *job.Job) { j.Report.Mesh.SizeMM[2] = 30 }, false},
		{[]string{"size"}, func(j *job.Job) { half := 0.5; j.Report.Mesh.SizeMM[2], j.Wishes.Scale = 10, &half }, true},
		{nil, func(j *job.Job) { j.Report.Estimate.Material = "PETG" }, false},
	} {
		l, _ := newLedger(t)
		j, d := offeredJob(t, l, taken(t, l, 1, "a"))
		terms, _ := j.Terms()
		again := newDraft(t, l, "again", j.ID)
		do(t, l, func(tx *Tx) error { // the last offer is the one with these questions
			return tx.exec(t.Context(), `INSERT INTO offers (draft, job, sha256, terms, asked, rules_hash, at) SELECT ?, job, sha256, terms, ?, rules_hash, at FROM offers WHERE draft = ?`,
				again.ID, strings.Join(c.asked, " "), d.ID)
		})
		c.change(&j)
		do(t, l, func(tx *Tx) error { return tx.SaveJob(t.Context(), j, "Bo Example", job.Plain("")) })
		now, _ := j.Terms()
		if err := sayYes(t, l, j.ID); (err == nil) != c.counts {
			t.Errorf("asked %v, differs in %v: %v, want counts %v", c.asked, now.Differ(terms), err, c.counts)
		}
	}
}

// A yes to an older offer counts for no newer one, though both say the same.
func TestYesIsToTheLastOffer(t *testing.T) {
	for name, newer := range map[string]bool{"the last": false, "one before it": true} {
		l, _ := newLedger(t)
		j, d := offeredJob(t, l, taken(t, l, 1, "a"))
		again := newDraft(t, l, "again", j.ID)
		err := l.Tx(t.Context(), func(tx *Tx) error {
			o, _, err := tx.LastOffer(t.Context(), j.ID)
			if err != nil {
				return err
			}
			if err := tx.KeepYes(t.Context(), o, "", "patron"); err != nil {
				return err
			}
			if newer {
				if err := tx.exec(t.Context(), `INSERT INTO offers (draft, job, sha256, terms, asked, rules_hash, at) SELECT ?, job, sha256, terms, asked, rules_hash, at FROM offers WHERE draft = ?`, again.ID, d.ID); err != nil {
					return err
				}
			}
			return tx.CountYes(t.Context(), j.ID)
		})
		if errors.Is(err, ErrOtherTerms) != newer || !newer && err != nil {
			t.Errorf("a yes to %s: %v", name, err)
		}
	}
}

// An offer ends with its job, whichever way that ends, and stands again for no letter but
// one that leaves after it.
func TestWhichOfferStands(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	move := func(id job.ID, way ...job.Stage) {
		t.Helper()
		for _, to := range way {
			if err := l.Move(ctx, id, to, "Bo Example", job.Plain("")); err != nil {
				t.Fatal(err)
			}
		}
	}
	leaves := func(d Draft) {
		t.Helper()
		do(t, l, func(tx *Tx) error { return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand) })
		s, _, err := l.BeginSend(ctx, d.ID, "robot")
		if err != nil {
			t.Fatal(err)
		}
		do(t, l, func(tx *Tx) error { return tx.EndSend(ctx, s, Delivered, job.Plain(""), Robot) })
	}
	note := func(subject string) func(job.Job, Draft) {
		return func(j job.Job, d Draft) {
			do(t, l, func(tx *Tx) error {
				return tx.event(ctx, Event{Who: Robot, Subject: strings.NewReplacer("job", string(j.ID), "draft", d.ID).Replace(subject), What: "told", To: string(job.Lapsed)})
			})
		}
	}
	ended := func(to job.Stage) func(job.Job, Draft) { return func(j job.Job, _ Draft) { move(j.ID, to, job.Taken) } }
	for i, c := range []struct {
		what   string
		then   func(j job.Job, d Draft) // after it left
		stands bool
	}{
		{"nothing", func(job.Job, Draft) {}, true},
		{"checked anew", func(j job.Job, _ Draft) { move(j.ID, job.Taken) }, true},
		{"offered anew", func(j job.Job, _ Draft) { move(j.ID, job.Checked, job.Drafted, job.Quoted) }, true},
		{"waits for its agreement", func(j job.Job, _ Draft) { move(j.ID, job.NeedsAgreement) }, true},
		{"declined", ended(job.Declined), false},
		{"withdrawn", ended(job.Withdrawn), false},
		{"lapsed", ended(job.Lapsed), false},
		{"lapsed, not taken up", func(j job.Job, _ Draft) { move(j.ID, job.Lapsed) }, false},
		{"another job lapsed", func(job.Job, Draft) {
			other, _ := offeredJob(t, l, taken(t, l, 99, "another's"))
			move(other.ID, job.Lapsed)
		}, true},
		{"told of the end of another", note("job"), true},
		{"lapsed, then its letter filed", func(j job.Job, d Draft) { ended(job.Lapsed)(j, d); note("draft")(j, d) }, false},
		{"lapsed, then another letter left", func(j job.Job, d Draft) { ended(job.Lapsed)(j, d); leaves(newDraft(t, l, "an answer", j.ID)) }, false},
	} {
		j, d := offeredJob(t, l, taken(t, l, uint32(i+1), c.what))
		leaves(d)
		clock.pass(time.Hour)
		c.then(j, d)
		o, ok, err := l.LastOffer(ctx, j.ID)
		if err != nil || ok != c.stands || ok && o.Draft != d.ID {
			t.Errorf("%s: the offer stands %v (%s), %v; want %v", c.what, ok, o.Draft, err, c.stands)
		}
		if c.stands {
			continue
		}
		terms, _ := j.Terms()
		again := newDraft(t, l, "offered again", j.ID)
		leaves(again)
		do(t, l, func(tx *Tx) error {
			return tx.AddOffer(ctx, Offer{Draft: again.ID, Job: j.ID, SHA256: again.SHA256, Terms: &terms, RulesHash: "r"})
		})
		if o, ok, err := l.LastOffer(ctx, j.ID); err != nil || !ok || o.Draft != again.ID {
			t.Errorf("%s, and offered again: stands %v (%s), %v", c.what, ok, o.Draft, err)
		}
	}
}
