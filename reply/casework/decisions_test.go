package casework

import (
	"encoding/json"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// A letter closes the question that it answers with its leaving: not where it only says
// that a person will write, unless a person wrote it.
func TestQuestionIsClosedByItsAnswer(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		promises, edited, open bool
	}{
		"answers":                    {false, false, false},
		"promises":                   {true, false, true},
		"a person's words":           {false, true, false},
		"a person's words, begun so": {true, true, false},
	} {
		w.offer("lid.stl")
		letter := w.letter("Is PLA strong enough for a coat?")
		w.later()
		d := w.wantWaiting(name, templates.TextQuestion, 1)
		doc := WrittenOf(d)
		doc.Promises, doc.Edited = c.promises, c.edited
		b, err := json.Marshal(doc)
		w.must(err)
		raw, err := w.l.DraftBytes(w.ctx, d.ID)
		w.must(err)
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			_, err := tx.Replace(w.ctx, d.ID, d.SHA256, ledger.Edit{Raw: raw, Doc: b}, clerk, job.Plain(""))
			return err
		}))
		w.leave()
		if open := len(w.open(letter)) > 0; open != c.open {
			t.Errorf("%s: the question is open %v", name, open)
		}
	}
}

// A letter about a part's end that has not left does not leave any more once the part is
// taken up again, however far it has got.
func TestTakenUpBeforeTheRefusalLeft(t *testing.T) {
	w := newWalk(t, 1)
	for name, before := range map[string]func(id string){
		"waits":       func(string) {},
		"is approved": func(string) { w.approve() },
		"was refused by the server": func(id string) {
			w.approve()
			try, _, err := w.l.BeginSend(w.ctx, id, "walk")
			w.must(err)
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
				return tx.EndSend(w.ctx, try, ledger.Refused, job.Plain("550"), ledger.Robot)
			}))
		},
	} {
		w.offer("lid.stl")
		w.later()
		w.must(w.o.Refuse(w.ctx, w.ids[0], Refusal{Words: "we print no such thing"}, clerk))
		w.later()
		d := w.wantWaiting(name, templates.TextDeclined, 1)
		before(d.ID)
		w.must(w.o.TakeUp(w.ctx, w.ids[0], clerk))
		d, err := w.l.Draft(w.ctx, d.ID)
		w.must(err)
		if d.State != ledger.DraftSetAside {
			t.Errorf("%s: the refusal is %s", name, d.State)
		}
	}
}

// What is ahead of a part are the prints that are agreed, on the printer or to be made
// again, and at worst the open offers; what is not offered yet and what is done is not.
func TestWhatIsPrintedFirst(t *testing.T) {
	for _, c := range []struct {
		way       []job.Stage
		low, high int // days of an hour each, beside the part's own
	}{
		{nil, 0, 4},
		{[]job.Stage{job.Agreed}, 4, 4},
		{[]job.Stage{job.Agreed, job.Printing}, 4, 4},
		{[]job.Stage{job.Agreed, job.Printing, job.Failed}, 4, 4},
		{[]job.Stage{job.Agreed, job.Printing, job.Ready}, 0, 0},
		{[]job.Stage{job.Agreed, job.Printing, job.Ready, job.Collected}, 0, 0},
		{[]job.Stage{job.Withdrawn}, 0, 0},
		{[]job.Stage{job.Declined}, 0, 0},
	} {
		w := newWalk(t, 1)
		w.offer("lid.stl")
		w.moveTo(c.way...)
		j := w.job()
		e := *j.Report.Estimate
		w.o.Rules.Limits.PrintingHoursPerDay = e.PrintTimeS / 3600 / 4
		e.PrintTimeS, e.HighS = e.PrintTimeS/4, e.PrintTimeS/4 // a day
		j.ID, j.Report = "another", &job.Report{Readable: true, Estimate: &e, Quote: j.Report.Quote}
		got, err := w.o.wait(w.ctx, []job.Job{j})
		w.must(err)
		if got.Low != 1+c.low || got.High != 1+c.high {
			t.Errorf("after %v: %d to %d days, want %d to %d", c.way, got.Low, got.High, 1+c.low, 1+c.high)
		}
	}
}
