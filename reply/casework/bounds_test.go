package casework

import (
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// What the calendar asks for is due at the moment its days are over, and never while it
// is our turn or the rules set no days.
func TestSilenceIsDueAtItsMoment(t *testing.T) {
	from := time.Date(2026, 11, 3, 9, 30, 0, 0, time.UTC)
	over := from.AddDate(0, 0, 7)
	for _, c := range []struct {
		now  time.Time
		ours bool
		days int
		want bool
	}{
		{over, false, 7, true}, {over.Add(-time.Millisecond), false, 7, false},
		{over, true, 7, false}, {over, false, 0, false},
	} {
		if got := (silence{from: from, ourTurn: c.ours}).since(c.now, c.days); got != c.want {
			t.Errorf("%+v: due %v", c, got)
		}
	}
}

// As many copies in several colours as the rules allow are taken apart by colour; of
// one more the patron is asked about.
func TestColoursUpToTheMostCopies(t *testing.T) {
	r := rules.Default()
	most := r.Limits.MaxCopies
	for n, apart := range map[int]bool{most: true, most + 1: false} {
		w := job.Wishes{Copies: &n, Colours: []string{"red", "blue"}, Items: []job.Item{{Copies: n - 1, Colours: []string{"red"}}, {Copies: 1, Colours: []string{"blue"}}}}
		s := settings(w, r)
		if got := len(s.Colours) == 2; got != apart || s.Copies != min(n, most) {
			t.Errorf("%d copies of at most %d: %+v", n, most, s)
		}
	}
}

// What is to be printed may go to another printer until it is ready, and be changed
// until it is on one: what was printed stays as it was.
func TestWhatWasPrintedStaysAsItWas(t *testing.T) {
	w := quoted(t)
	id, printer := w.ids[0], w.o.Rules.Printers[0].Name
	w.letter("Yes please, go ahead.")
	w.work()
	w.wantStage(job.Agreed)
	for _, to := range []job.Stage{job.Agreed, job.Printing, job.Ready, job.Collected} {
		if to != job.Agreed {
			w.must(w.l.Move(w.ctx, id, to, "Marisol Teague", job.Plain("")))
		}
		over := to == job.Ready || to == job.Collected
		if err := w.o.Assign(w.ctx, id, printer, "Marisol Teague"); (err != nil) != over {
			t.Errorf("%s: another printer: %v", to, err)
		}
		j, err := w.l.Job(w.ctx, id)
		w.must(err)
		err = w.o.TakeOver(w.ctx, NewSettings{Seen: j, Settings: j.Settings, Report: *j.Report, By: "Marisol Teague"})
		if (err != nil) != (over || to == job.Printing) {
			t.Errorf("%s: other settings: %v", to, err)
		}
	}
}
