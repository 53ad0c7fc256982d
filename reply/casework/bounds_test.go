package casework

import (
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
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

// What the calendar does to a job that rests, at each of its moments and a millisecond
// before: a reminder, the end of an offer, a reminder of a part, the end of its keeping.
func TestCalendarAtEachMoment(t *testing.T) {
	l := rules.Default().Limits
	for _, c := range []struct {
		ready  bool
		days   int
		before string // what it has come to a millisecond earlier
		after  string
	}{
		{false, l.ReminderDays, "", "reminder"}, {false, l.LapseDays, "reminder", "lapsed"},
		{true, l.PickupReminderDays, "", "pickup-reminder"}, {true, l.PickupDays + 1, "pickup-reminder", "lapsed"},
	} {
		w := quoted(t)
		if c.ready {
			w.letter("Yes please, go ahead.")
			w.work()
			w.approve()
			w.work()
			w.must(w.l.Move(w.ctx, w.ids[0], job.Printing, clerk, job.Plain("")))
			w.must(w.l.Move(w.ctx, w.ids[0], job.Ready, clerk, job.Plain("")))
			w.must(w.o.TellMoved(w.ctx))
			w.work()
			w.approve()
			w.work()
		}
		at := w.now.AddDate(0, 0, c.days)
		for _, want := range []string{c.before, c.after} {
			w.now = at
			if want == c.before {
				w.now = at.Add(-time.Millisecond)
			}
			w.must(w.o.SeeQuotes(w.ctx))
			w.must(w.o.SeePickups(w.ctx))
			if got := w.comeTo(); got != want {
				t.Errorf("ready %v, %v for %d days: %q, want %q", c.ready, w.now.Sub(at), c.days, got, want)
			}
		}
	}
}

// comeTo is what the calendar has done: the job's end, or the reminder that is to be
// written.
func (w *walk) comeTo() string {
	j, err := w.l.Job(w.ctx, w.ids[0])
	w.must(err)
	if j.Stage.Over() {
		return string(j.Stage)
	}
	steps, err := w.l.OpenSteps(w.ctx)
	w.must(err)
	for _, s := range steps {
		if s.Kind == ledger.StepReminder || s.Kind == ledger.StepPickupReminder {
			return string(s.Kind)
		}
	}
	return ""
}

// A job that was moved by hand is told of for a day.
func TestMovedByHandIsToldOfForADay(t *testing.T) {
	for late, want := range map[time.Duration]bool{24 * time.Hour: true, 24*time.Hour + time.Millisecond: false} {
		w := quoted(t)
		w.now = w.now.Add(time.Hour)
		w.must(w.l.Move(w.ctx, w.ids[0], job.Declined, clerk, job.Plain("")))
		w.now = w.now.Add(late)
		w.must(w.o.TellMoved(w.ctx))
		steps, err := w.l.OpenSteps(w.ctx)
		w.must(err)
		told := false
		for _, s := range steps {
			told = told || s.Kind == ledger.StepDraft
		}
		if told != want {
			t.Errorf("%v later: told %v", late, told)
		}
	}
}

// A letter that was made in the moment in which its job came to its stage tells of that
// stage; an earlier one does not.
func TestLetterOfTheVeryMoment(t *testing.T) {
	since := time.Date(2026, 11, 3, 9, 30, 0, 0, time.UTC)
	for _, stage := range []job.Stage{job.Ready, job.Failed, job.Declined, job.Lapsed} {
		for made, want := range map[time.Duration]bool{0: false, -time.Millisecond: true} {
			j := job.Job{ID: "J-1", Stage: stage, Blob: "b", Report: &job.Report{}}
			d := ledger.Draft{Made: since.Add(made), State: ledger.DraftWaiting, Revision: 1}
			at := talk{since: map[job.ID]time.Time{j.ID: since}, last: map[job.ID]ledger.Draft{j.ID: d}}
			if got := at.wants(j); got != want {
				t.Errorf("%s, a letter made %v from it: wants another %v", stage, made, got)
			}
			if got := at.unread(j); got == want {
				t.Errorf("%s, a letter made %v from it: is unread %v", stage, made, got)
			}
		}
	}
}

// What a letter says is read up to its bounds: words, sentences, questions, files.
func TestReadUpToItsBounds(t *testing.T) {
	r := rules.Default()
	many := &job.Letter{}
	for range r.Limits.FilesPerLetter + 1 {
		many.Attachments = append(many.Attachments, job.Attachment{Kind: job.KindMesh, SHA256: "s", Path: "p"})
	}
	for what, c := range map[string]struct{ got, want int }{
		"words":                {len(saidIn(strings.Repeat("a ", 401))), 400},
		"bytes of one word":    {len(saidIn(strings.Repeat("a", 4001))[0]), 4000},
		"questions":            {len(questionsIn(strings.Repeat("So? ", 61))), 60},
		"sentences":            {len(sentences(strings.Repeat("So. ", 202))), 201}, // the last holds the rest
		"files":                {len((&incoming{o: &Office{Rules: r}, l: many}).meshes()), r.Limits.FilesPerLetter},
		"prices":               {(&Office{Rules: r}).pricesIn(&job.Letter{Text: "it is 5 dollars, or $6"}), 2},
		"a number at the end":  {(&Office{Rules: r}).pricesIn(&job.Letter{Text: "I want 5"}), 0},
		"a side over ten":      {int(10 * mm(10.4).Amount), 100},
		"a side just under it": {int(10 * mm(9.94).Amount), 99},
	} {
		if c.got != c.want {
			t.Errorf("%s: %d, want %d", what, c.got, c.want)
		}
	}
}

// A word names a part by three letters at least, and one of several files only.
func TestWordsThatNameAPart(t *testing.T) {
	for _, c := range []struct {
		file, part string
		want       bool
	}{{"ids.stl", "id", false}, {"box_lid.stl", "lid", true}, {"box_lids.stl", "lid", true}, {"ab.stl", "ab", false}} {
		if got := partOf(c.file, c.part); got != c.want {
			t.Errorf("%q names %s: %v", c.part, c.file, got)
		}
	}
	for n, want := range map[int]bool{1: false, 2: true} {
		jobs := []job.Job{{File: "lid.stl"}, {File: "box.stl"}}[:n]
		if got := namesFile("The lid is fine.", "lid.stl", jobs); got != want {
			t.Errorf("of %d files the letter names the lid: %v", n, got)
		}
	}
}

// A part is only too large where a real scale would let it fit.
func TestOnlyTooLargeAtEachBound(t *testing.T) {
	for fits, want := range map[float64]bool{0: false, 0.01: true, 0.99: true, 1: false} {
		r := &job.Report{Readable: true, Fit: &job.Fit{ScaleToFit: fits}, Findings: []job.Finding{{Level: job.Stop, Code: job.CodeTooBig}}}
		if got := onlyTooLarge(r); got != want {
			t.Errorf("fits at %v: only too large %v", fits, got)
		}
	}
	r := &job.Report{Readable: true, Fit: &job.Fit{ScaleToFit: 0.5}, Findings: []job.Finding{{Level: job.Stop, Code: job.CodeTooBig}, {Level: job.Stop, Code: "another"}}}
	if onlyTooLarge(r) || onlyTooLarge(nil) {
		t.Error("what something else stops, or nobody looked at, is not only too large")
	}
}

// What the words settle, at each bound: a strong filling has its shells, one copy each
// has colours of its own, and a factor of nothing is none.
func TestSettingsAtEachBound(t *testing.T) {
	r := rules.Default()
	for infill, shells := range map[float64]int{r.Printing.StrongInfill: r.Printing.StrongShells, r.Printing.StrongInfill - 0.01: 0} {
		if got := settings(job.Wishes{Infill: &infill}, r).Shells; got != shells {
			t.Errorf("a filling of %v: %d shells, want %d", infill, got, shells)
		}
	}
	for copies, apart := range map[int]int{0: 0, 1: 2} {
		w := job.Wishes{Items: []job.Item{{Copies: copies, Colours: []string{"red"}}, {Copies: 1, Colours: []string{"blue"}}}}
		if each, _ := split(w, r); len(each) != apart {
			t.Errorf("%d copies of a colour: %+v", copies, each)
		}
	}
	for copies, two := range map[int]bool{0: true, 1: true, 2: false} {
		w := job.Wishes{Items: []job.Item{{Part: "base", Copies: copies, Colours: []string{"black"}}, {Part: "letters", Colours: []string{"red"}}}}
		if got := inTwoColours(w); got != two {
			t.Errorf("a base that is wished %d times: one print in two colours %v", copies, got)
		}
	}
	for bodies, one := range map[int]bool{1: true, 2: false} {
		j := job.Job{Settings: job.Settings{Second: &job.SecondColour{Colour: "red"}}, Report: &job.Report{Mesh: &job.Shape{Parts: bodies}}}
		if got := Undivided(j.Settings, j.Report); got != one {
			t.Errorf("%d bodies: one %v", bodies, got)
		}
	}
	for laid, undivided := range map[float64]bool{0: true, 0.1: false} {
		r := &job.Report{Mesh: &job.Shape{Parts: 1}, Estimate: &job.Estimate{SecondMM3: laid}}
		if got := Undivided(job.Settings{Second: &job.SecondColour{Colour: "red"}}, r); got != undivided {
			t.Errorf("%v mm3 in the second colour: undivided %v", laid, got)
		}
	}
	factor := func(v float64) *float64 { return &v }
	for name, c := range map[string]struct {
		w    job.Wishes
		want float64
	}{
		"no length":          {job.Wishes{Size: &job.Size{Axis: "width"}, Scale: factor(2)}, 2},
		"a length":           {job.Wishes{Size: &job.Size{Axis: "width", MM: 80}, Scale: factor(3)}, 2},
		"no factor":          {job.Wishes{Scale: factor(0)}, 0},
		"a negative factor":  {job.Wishes{Scale: factor(-1)}, 0},
		"a side of nothing":  {job.Wishes{Size: &job.Size{Axis: "height", MM: 80}}, 0},
		"the largest length": {job.Wishes{Size: &job.Size{MM: 80}}, 2},
	} {
		if got := wishedScale(c.w, [3]float64{40, 30, 0}); got != c.want {
			t.Errorf("%s: a factor of %v, want %v", name, got, c.want)
		}
	}
}

// A letter that nobody approved is set aside when its jobs are over and it is older than
// what is kept.
func TestUnsentOfEndedJobsAreSetAsideWhenOld(t *testing.T) {
	for _, c := range []struct {
		keep, days int
		over, want bool
	}{{30, 30, true, false}, {30, 31, true, true}, {30, 31, false, false}, {0, 999, true, false}} {
		w := quoted(t)
		w.o.Rules.Limits.KeepDays = c.keep
		w.must(w.l.Enqueue(w.ctx, ledger.StepQuestion, w.thread, time.Time{}))
		w.work()
		list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting}})
		w.must(err)
		if len(list) != 1 || list[0].Kind != templates.TextQuestion {
			t.Fatalf("%+v", list)
		}
		if c.over {
			w.must(w.l.Move(w.ctx, w.ids[0], job.Declined, clerk, job.Plain("")))
		}
		w.now = w.now.AddDate(0, 0, c.days)
		w.must(w.o.ForgetOld(w.ctx))
		d, err := w.l.Draft(w.ctx, list[0].ID)
		w.must(err)
		if got := d.State == ledger.DraftSetAside; got != c.want {
			t.Errorf("%+v: set aside %v", c, got)
		}
	}
}
