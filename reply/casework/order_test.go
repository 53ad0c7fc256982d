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

// quoted is a conversation whose quote has left, about one part and perhaps others.
func quoted(t *testing.T, others ...string) *walk {
	w := newWalk(t, 1)
	w.patron, w.said = "ada@example.org", map[job.ID]told{}
	w.agreed, w.unclear = map[job.ID]*told{}, map[string]bool{}
	w.letter("Please print this in blue, one copy, to collect at Millbrook.", append([]string{"lid.stl"}, others...)...)
	w.work()
	w.sign()
	w.work()
	rows, err := w.l.Jobs(w.ctx, ledger.Filter{Open: true})
	w.must(err)
	for _, row := range rows {
		w.ids, w.thread = append(w.ids, row.ID), row.Thread
	}
	if len(w.ids) != 1+len(others) {
		t.Fatalf("%d jobs", len(w.ids))
	}
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

// A new file takes the place of the one part there is, but not of one that is printed
// or over: then it is a job of its own.
func TestNewFileCorrectsNoPartThatIsPrinted(t *testing.T) {
	for stage, want := range map[job.Stage]int{job.Quoted: 0, job.Agreed: 0, job.Taken: 0, job.Printing: -1, job.Ready: -1, job.Collected: -1} {
		jobs := []job.Job{{Stage: stage, File: "lid.stl", Report: &job.Report{Readable: true}}}
		if got := corrected(jobs, job.Attachment{Name: "other.stl"}); got != want {
			t.Errorf("%s: takes the place of %d, want %d", stage, got, want)
		}
	}
	two := []job.Job{{Stage: job.Quoted, File: "lid.stl", Report: &job.Report{Readable: true, Estimate: &job.Estimate{}, Quote: &job.Quote{}}}, {Stage: job.Quoted, File: "box.stl", Report: &job.Report{}}}
	for name, want := range map[string]int{"LID.stl": 0, "box.stl": 1, "knob.stl": 1} { // its own name first, then what cannot be printed
		if got := corrected(two, job.Attachment{Name: name}); got != want {
			t.Errorf("%s takes the place of %d, want %d", name, got, want)
		}
	}
}

// The first part of a conversation is corrected as any other: no new job is made.
func TestNewFileOfTheFirstPart(t *testing.T) {
	w := quoted(t, "bottom.stl")
	w.letter("Here is the corrected file.", "lid.stl")
	w.work()
	if jobs, err := w.l.JobsIn(w.ctx, w.thread); err != nil || len(jobs) != 2 {
		t.Errorf("%d jobs, want 2, %v", len(jobs), err)
	}
}

// A yes to a part that is too big is a yes to the whole percentage that fits, never to
// one more.
func TestYesToASmallerSizeRoundsDown(t *testing.T) {
	for fits, want := range map[float64]float64{0.8379: 0.83, 0.9951: 0.99, 0.75: 0.75} {
		w := quoted(t)
		j, err := w.l.Job(w.ctx, w.ids[0])
		w.must(err)
		j.Report.Fit = &job.Fit{ScaleToFit: fits}
		j.Report.Findings = []job.Finding{{Code: "too-big", Level: job.Stop}}
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SaveJob(w.ctx, j, clerk, job.Plain("")) }))
		w.letter("Yes please, go ahead.")
		w.wantStage(job.Taken)
		if j, err = w.l.Job(w.ctx, w.ids[0]); err != nil || j.Wishes.Scale == nil || *j.Wishes.Scale != want {
			t.Errorf("%g fits: %+v, %v", fits, j.Wishes.Scale, err)
		}
	}
}

// A size or scale that the patron wishes anew stands instead of the one that the check
// worked out.
func TestScaleWishedAnewIsReadAnew(t *testing.T) {
	w := newWalk(t, 1)
	half := 0.5
	for name, c := range map[string]struct {
		wish job.Wishes
		want float64
	}{
		"scale":   {job.Wishes{Scale: &half}, 0},
		"size":    {job.Wishes{Size: &job.Size{Axis: "height", MM: 80}}, 0},
		"neither": {job.Wishes{Colours: []string{"red"}}, 1.25},
	} {
		in := &incoming{o: w.o, l: &job.Letter{Wishes: c.wish}}
		now, again := in.merged(job.Job{File: "lid.stl", Settings: job.Settings{Copies: 1, Scale: 1.25}})
		if now.Settings.Scale != c.want || again != (c.want == 0) {
			t.Errorf("%s: scale %g, checked anew %v", name, now.Settings.Scale, again)
		}
	}
}

// What is still needed is not asked by itself while a letter that asks it too is on
// its way: one approved, or one that follows a check.
func TestWhatIsLeftIsAskedOnce(t *testing.T) {
	asked := func(w *walk) int {
		w.must(w.l.Enqueue(w.ctx, ledger.StepStillNeeded, w.thread, time.Time{}))
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepStillNeeded)
		w.must(err)
		w.must(w.o.AskWhatIsLeft(w.ctx, s))
		list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Thread: w.thread, States: []ledger.DraftState{ledger.DraftWaiting}})
		w.must(err)
		n := 0
		for _, d := range list {
			if d.Kind == templates.TextStillNeeded {
				n++
			}
		}
		return n
	}
	for name, c := range map[string]struct {
		before func(w *walk)
		want   int
	}{
		"nothing on its way": {func(*walk) {}, 1},
		"a reply waits": {func(w *walk) {
			w.letter("Is PLA strong enough for a coat?")
			w.work()
		}, 1},
		"a reply is approved": {func(w *walk) {
			w.letter("Is PLA strong enough for a coat?")
			w.work()
			w.approve()
		}, 0},
		"another part is checked": {func(w *walk) {
			w.must(w.l.Move(w.ctx, w.ids[1], job.Checked, clerk, job.Plain("")))
		}, 0},
		"another part is at its check": {func(w *walk) {
			w.must(w.l.Move(w.ctx, w.ids[1], job.Taken, clerk, job.Plain("")))
		}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			w := quoted(t, "bottom.stl")
			c.before(w)
			if got := asked(w); got != c.want {
				t.Errorf("%d letters ask, want %d\n%s", got, c.want, strings.Join(w.trail, "\n"))
			}
		})
	}
}

// One passage that was not understood leaves an answer to a person, a yes too.
func TestOneUnreadPassageIsLeftToAPerson(t *testing.T) {
	for name, c := range map[string]struct {
		wish   job.Wishes
		unread int
		left   bool
	}{
		"a yes":                  {job.Wishes{Answer: job.Accept}, 0, false},
		"a yes and one passage":  {job.Wishes{Answer: job.Accept}, 1, true},
		"a wish":                 {job.Wishes{Pickup: "Fernhill"}, 0, false},
		"a wish and one passage": {job.Wishes{Pickup: "Fernhill"}, 1, true},
	} {
		t.Run(name, func(t *testing.T) {
			w := quoted(t)
			letters, err := w.l.LettersOf(w.ctx, w.ids[0])
			w.must(err)
			for range c.unread {
				c.wish.Unread = append(c.wish.Unread, job.Unread{Text: "if the moon allows", About: "other"})
			}
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
				jobs, err := tx.JobsIn(w.ctx, w.thread)
				if err != nil {
					return err
				}
				in := &incoming{o: w.o, tx: tx, id: letters[0].ID, l: &job.Letter{Text: "…", Wishes: c.wish}}
				return in.reply(w.ctx, jobs)
			}))
			w.mark(letters[0].ID)
			if got := w.unclear[letters[0].ID]; got != c.left {
				t.Errorf("left to a person %v", got)
			}
		})
	}
}

// What a letter asked the patron to choose is theirs to choose: where staff set it on the
// page, a yes to that letter is none to their choice, and a new offer says it first.
func TestStaffsChoiceIsToldFirst(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		colour string // that staff set; "" is none
		answer string
		want   job.Stage
	}{
		{"yellow", "Yes please, go ahead.", job.Drafted},
		{"yellow", "Yes please, go ahead. In yellow, please.", job.Agreed},
		{"yellow", "Yes please, go ahead. In red, please.", job.Agreed},
		{"yellow", "Yes please, go ahead. Any colour will do.", job.Agreed},
		{"", "Yes please, go ahead. In yellow, please.", job.Agreed},
	} {
		w.another()
		w.sign()
		id := w.letter("Please print this, one copy, to collect at Millbrook.", "lid.stl")
		w.work()
		jobs, err := w.l.JobsOf(w.ctx, id)
		w.must(err)
		w.ids, w.thread = []job.ID{jobs[0].ID}, jobs[0].Thread
		w.approve()
		w.work()
		w.wantStage(job.Quoted)
		if j := w.job(); c.colour != "" {
			set := j.Settings
			set.Colour = c.colour
			report, err := w.o.Recheck(w.ctx, j.ID, set)
			w.must(err)
			w.must(w.o.TakeOver(w.ctx, NewSettings{Seen: j, Settings: set, Report: report, By: clerk}))
		}
		w.letter(c.answer)
		w.work()
		if j := w.job(); j.Stage != c.want {
			t.Errorf("staff set %q, %q: %s, want %s", c.colour, c.answer, j.Stage, c.want)
		}
	}
}

// An offer ends with its job: what was declined or withdrawn and is asked for again is
// offered anew, and a yes to the old offer does not put it onto the print list.
func TestOfferEndsWithItsJob(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		name  string
		end   func()
		again string
	}{
		{"declined by staff", func() { w.must(w.o.Close(w.ctx, w.ids[0], job.Declined, clerk, "no")) }, "Could I have it in red instead?"},
		{"withdrawn", func() { w.letter("No thank you, please cancel it.") }, "In red, please."},
		{"withdrawn, and wanted after all", func() { w.letter("No thank you, please cancel it.") }, "Yes please, go ahead."},
		{"taken up by staff", func() {
			w.must(w.o.Close(w.ctx, w.ids[0], job.Declined, clerk, "no"))
			w.must(w.o.TakeUp(w.ctx, w.ids[0], clerk))
		}, ""},
	} {
		w.offer("lid.stl")
		w.end(c.end)
		if c.again != "" {
			w.letter(c.again)
			w.work()
		}
		w.wantStage(job.Drafted)
		w.letter("Yes please, go ahead.")
		w.work()
		if got := w.job().Stage; got != job.Drafted {
			t.Errorf("%s, and a yes to the old offer: %s", c.name, got)
		}
		w.dealWith()
		w.approve()
		w.work()
		w.letter("Yes please, go ahead.")
		w.work()
		if got := w.job().Stage; got != job.Agreed {
			t.Errorf("%s, and a yes to the new offer: %s", c.name, got)
		}
	}
}

func (w *walk) end(how func()) {
	how()
	w.work()
}
