package casework

import (
	"errors"
	"testing"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// A yes with one thing missing that the house wants is kept, and puts nothing onto the
// print list; the same letter with that thing does.
func TestNothingIsListedWithoutWhatTheHouseWants(t *testing.T) {
	for name, c := range map[string]struct {
		letter string
		signed bool
		listed bool
	}{
		"all is settled":   {"Please print this in blue, one copy, to collect at Millbrook.", true, true},
		"without a colour": {"Please print this, one copy, to collect at Millbrook.", true, false},
		"without a branch": {"Please print this in blue, one copy.", true, false},
		"unsigned":         {"Please print this in blue, one copy, to collect at Millbrook.", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWalk(t, 1)
			w.patron, w.said = "ada@example.org", map[job.ID]told{}
			w.agreed, w.unclear = map[job.ID]*told{}, map[string]bool{}
			if c.signed {
				_, err := w.l.UpsertAgreements(w.ctx, []agreement.Entry{{Address: w.patron, Name: "Ada Marlowe", Signed: "2026-11-20", Version: w.o.Rules.Agreement.Current}}, clerk, "")
				w.must(err)
			}
			w.letter(c.letter, "lid.stl")
			w.work()
			w.ids = []job.ID{"LP-000001"}
			j, err := w.l.Job(w.ctx, w.ids[0])
			w.must(err)
			w.thread = j.Thread
			w.approve()
			w.work()
			w.letter("Yes please, go ahead.")
			w.work()
			j, err = w.l.Job(w.ctx, j.ID)
			w.must(err)
			if listed := j.Stage == job.Agreed; listed != c.listed {
				t.Errorf("it is %s", j.Stage)
			}
			if err := w.o.Start(w.ctx, j.ID, clerk); (err == nil) != c.listed {
				t.Errorf("started: %v", err)
			}
			if missing := w.o.Missing(j); (len(missing) == 0) != c.listed {
				t.Errorf("missing: %v", missing)
			}
		})
	}
}

// Of each kind there run no more jobs than there are machines, and each machine is free
// again with what ends its print.
func TestOneMachineOneJob(t *testing.T) {
	w := quoted(t, "bottom.stl", "knob.stl")
	w.letter("Yes please, go ahead.")
	w.work()
	w.wantStage(job.Agreed)
	kind := w.o.Rules.Printers[0].Name
	for _, id := range w.ids {
		w.must(w.o.Assign(w.ctx, id, kind, clerk))
	}
	refused := func(id job.ID) {
		t.Helper()
		err := w.o.Start(w.ctx, id, clerk)
		busy, ok := errors.AsType[*BusyError](err)
		if !ok || busy.Printer != kind || len(busy.Running) == 0 {
			t.Fatalf("%s: %v, want it refused as busy", id, err)
		}
	}
	for _, first := range []int{1, 0} { // whichever runs, the other waits
		w.o.Rules.Printers[0].Count = 1 - first // without a count there is one machine
		w.must(w.o.Start(w.ctx, w.ids[first], clerk))
		refused(w.ids[1-first])
		refused(w.ids[2])
		if first == 1 {
			w.must(w.o.PutOff(w.ctx, w.ids[1], clerk, "the other first"))
		}
	}
	w.o.Rules.Printers[0].Count = 2
	w.must(w.o.Start(w.ctx, w.ids[1], clerk))
	refused(w.ids[2])
	for _, end := range []func(job.ID) error{
		func(id job.ID) error { return w.o.PutOff(w.ctx, id, clerk, "the nozzle") },
		func(id job.ID) error {
			_, err := w.o.Correct(w.ctx, id, job.Printing, clerk, "another row")
			return err
		},
		func(id job.ID) error { return w.o.PrintFailed(w.ctx, id, Spent{}, clerk, "it came loose") },
		func(id job.ID) error { return w.o.Printed(w.ctx, id, Spent{Hours: 1, Grams: 4}, clerk) },
	} {
		refused(w.ids[2])
		w.must(end(w.ids[1]))
		w.must(w.o.Start(w.ctx, w.ids[2], clerk))
		w.must(w.o.PutOff(w.ctx, w.ids[2], clerk, "for the next"))
		if j, err := w.l.Job(w.ctx, w.ids[1]); err != nil || j.Stage == job.Ready {
			w.must(err)
			break
		}
		w.must(w.o.Start(w.ctx, w.ids[1], clerk))
	}
}

// A yes that is said again brings what it says beside it: another branch is taken over,
// and of two parts the one that gets another colour by it leaves the print list.
func TestYesAgainBringsWhatItSays(t *testing.T) {
	w := quoted(t)
	w.letter("Yes please, go ahead.")
	w.work()
	w.wantStage(job.Agreed)
	w.letter("Yes please, go ahead. I will collect it at Fernhill.")
	w.work()
	w.wantStage(job.Agreed)
	if j, err := w.l.Job(w.ctx, w.ids[0]); err != nil || j.Wishes.Pickup != "Fernhill" {
		t.Errorf("it is collected at %s, %v", j.Wishes.Pickup, err)
	}
	in := &incoming{o: w.o, id: "L-000001", l: &job.Letter{Wishes: job.Wishes{Answer: job.Accept, Colours: []string{"red"}}}}
	for stage, want := range map[job.Stage]struct {
		inTime bool
		then   job.Stage
	}{job.Agreed: {true, job.Taken}, job.Printing: {false, job.Printing}} {
		back := errors.New("as it was before")
		if err := w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			j, err := tx.Job(w.ctx, w.ids[0])
			if err != nil {
				return err
			}
			if stage == job.Printing {
				if err := tx.Move(w.ctx, j.ID, job.Printing, clerk, job.Plain("")); err != nil {
					return err
				}
				j.Stage = stage
			}
			in.tx = tx
			inTime, err := in.acceptAgain(w.ctx, j)
			if now, err := tx.Job(w.ctx, j.ID); err != nil || inTime != want.inTime || now.Stage != want.then {
				t.Errorf("%s: in time %v, then %s, %v", stage, inTime, now.Stage, err)
			}
			if err == nil {
				err = back
			}
			return err
		}); !errors.Is(err, back) {
			t.Fatal(err)
		}
	}
}
