package casework

import (
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
)

// waiting are the replies of the conversation that wait for a person.
func (w *walk) waiting() []ledger.Draft {
	w.t.Helper()
	list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Thread: w.thread, States: []ledger.DraftState{ledger.DraftWaiting}})
	w.must(err)
	return list
}

// wantWaiting holds that one reply waits, of a kind and about so many jobs, or with ""
// that none does.
func (w *walk) wantWaiting(what, kind string, jobs int) ledger.Draft {
	w.t.Helper()
	list := w.waiting()
	if kind == "" && len(list) == 0 {
		return ledger.Draft{}
	}
	if len(list) != 1 || list[0].Kind != kind || len(list[0].Jobs) != jobs {
		var got []string
		for _, d := range list {
			got = append(got, d.Kind+strings.Repeat("+", len(d.Jobs)))
		}
		w.t.Errorf("%s: %q wait, want %s about %d", what, got, kind, jobs)
		return ledger.Draft{}
	}
	return list[0]
}

// later lets a minute go by, and the robot work.
func (w *walk) later() {
	w.now = w.now.Add(time.Minute)
	w.work()
}

// send approves what waits and lets it leave.
func (w *walk) leave() {
	w.approve()
	w.later()
}

// Which letter is written in which situation, about which jobs.
func TestWhichLetterIsWritten(t *testing.T) {
	w := newWalk(t, 1)
	w.request("lid.stl")
	w.wantWaiting("unsigned", templates.TextNeedsAgreement, 1)
	w.leave()
	w.sign()
	w.later()
	w.wantWaiting("signed then", templates.TextAgreementArrived, 1)

	w.request("lid.stl")
	w.sign()
	w.later()
	w.wantWaiting("signed before it was told", templates.TextQuote, 1)

	// A form that nobody has looked at yet is not asked for.
	w.request("lid.stl")
	for _, d := range w.waiting() {
		w.must(w.o.SetAside(w.ctx, d.ID, clerk, "later"))
	}
	w.edit = paper
	form := w.letter("Here it is.")
	w.edit = nil
	w.now = w.now.Add(time.Minute)
	w.must(w.l.Enqueue(w.ctx, ledger.StepDraft, w.thread, time.Time{}))
	w.work()
	w.wantWaiting("a form lies there", "", 0)
	list, err := w.l.Notices(w.ctx, false)
	w.must(err)
	for _, n := range list {
		if n.About(form) {
			w.must(w.o.CloseNotice(w.ctx, n.ID, 0, clerk))
		}
	}

	w.offer("lid.stl")
	j := w.job()
	other := j.Settings
	other.Copies = 3
	report, err := w.o.Recheck(w.ctx, j.ID, other)
	w.must(err)
	w.must(w.o.TakeOver(w.ctx, NewSettings{Seen: j, Settings: other, Report: report, By: clerk}))
	w.later()
	w.wantWaiting("offered anew", templates.TextChangedQuote, 1)

	w.offer("lid.stl")
	w.letter("Yes please, go ahead.")
	w.later()
	w.wantWaiting("agreed", templates.TextAccepted, 1)
	w.leave()
	w.must(w.o.PrintFailed(w.ctx, w.ids[0], Spent{}, clerk, "it came loose"))
	w.later()
	w.wantWaiting("failed", templates.TextFailed, 1)
	w.leave()
	w.must(w.o.Printed(w.ctx, w.ids[0], Spent{Hours: 1, Grams: 4}, clerk))
	w.later()
	w.wantWaiting("ready", templates.TextReady, 1)
	w.leave()
	w.now = w.now.AddDate(0, 0, w.o.Rules.Limits.PickupDays+2)
	w.must(w.o.SeePickups(w.ctx))
	w.later()
	d := w.wantWaiting("not collected", templates.TextNotCollected, 1)
	told := w.now.AddDate(0, 0, -2).Format("January 2")
	if text := WrittenOf(d).Markdown; !strings.Contains(text, told) {
		t.Errorf("not collected by %s: %s", told, text)
	}

	w.offer("lid.stl")
	w.now = w.now.AddDate(0, 0, w.o.Rules.Limits.LapseDays)
	w.must(w.o.SeeQuotes(w.ctx))
	w.later()
	w.wantWaiting("no answer", templates.TextLapsed, 1)

	w.offer("lid.stl")
	w.now = w.now.Add(time.Minute)
	w.must(w.o.Refuse(w.ctx, w.ids[0], Refusal{Words: "we print no such thing"}, clerk))
	w.later()
	if d := w.wantWaiting("declined", templates.TextDeclined, 1); !strings.Contains(WrittenOf(d).Markdown, "we print no such thing") {
		t.Errorf("declined: %s", WrittenOf(d).Markdown)
	}
	w.must(w.o.TakeUp(w.ctx, w.ids[0], clerk))
	w.later()
	w.wantWaiting("taken up again", templates.TextChangedQuote, 1)
}

// One letter is about all that is asked at once; what stands of an offer is offered again
// beside what is new, and what does not stand is not.
func TestOneLetterAboutSeveralParts(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		before func()
		jobs   int
	}{
		"the other stands": {func() {}, 2},
		"it ran out":       {func() { w.now = w.now.AddDate(0, 0, 60) }, 1},
		"other rules":      {func() { r := *w.o.Rules; r.Hash = "other"; w.o.Rules = &r }, 1},
		"it is agreed":     {func() { w.letter("Yes to the lid."); w.later(); w.leave() }, 1},
	} {
		w.o.Rules = rules.Default()
		w.offer("lid.stl", "bottom.stl")
		c.before()
		w.letter("The bottom in two copies, please.")
		w.later()
		got := w.waiting()
		if len(got) != 1 || len(got[0].Jobs) != c.jobs {
			t.Errorf("%s: %+v", name, got)
		}
	}
	w.o.Rules = rules.Default()
	w.offer("lid.stl", "bottom.stl")
	w.now = w.now.Add(time.Minute)
	w.letter("Yes to the lid. I no longer need the bottom.")
	w.later()
	w.wantWaiting("one agreed, one given up", templates.TextAccepted, 2)

	// No request is answered while one of the conversation is still being checked.
	w.offer("lid.stl", "bottom.stl")
	for _, id := range w.ids {
		w.must(w.l.Move(w.ctx, id, job.Taken, clerk, job.Plain("")))
	}
	w.must(w.l.Move(w.ctx, w.ids[0], job.Checked, clerk, job.Plain("")))
	w.must(w.l.Enqueue(w.ctx, ledger.StepDraft, w.thread, time.Time{}))
	w.later()
	w.wantWaiting("the other is at its check", "", 0)
}

// A reply goes to the patron, and answers the latest letter that is surely theirs.
func TestReplyAnswersThePatron(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		edit   func(*job.Letter)
		answer bool
	}{"the patron's own": {nil, true}, "of nobody": {unproven, false}, "of a cousin": {cousin, false}} {
		w.offer("lid.stl")
		patron := w.patron
		w.now = w.now.Add(time.Minute)
		w.edit = c.edit
		id := w.letter("Is PLA strong enough for a coat?")
		w.edit = nil
		w.must(w.l.Enqueue(w.ctx, ledger.StepQuestion, w.thread, time.Time{}))
		w.later()
		d := w.wantWaiting(name, templates.TextQuestion, 1)
		if (d.Letter == id) != c.answer || d.To.Address != patron {
			t.Errorf("%s: it answers %s (this is %s), to %s", name, d.Letter, id, d.To.Address)
		}
	}
}

// Nothing is framed as an answer while another letter about the jobs waits, or their check
// does; what is over is spoken of only where nothing else is.
func TestWhenAnAnswerIsFramed(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		before func()
		jobs   int // 0: it is not written
	}{
		"nothing else waits": {func() {}, 2},
		"a letter waits":     {func() { w.letter("Yes to the lid."); w.later() }, 0},
		"one is checked":     {func() { w.must(w.l.Move(w.ctx, w.ids[1], job.Checked, clerk, job.Plain(""))) }, 0},
		"one is over":        {func() { w.must(w.l.Move(w.ctx, w.ids[1], job.Declined, clerk, job.Plain(""))) }, 1},
		"all are over": {func() {
			for _, id := range w.ids {
				w.must(w.l.Move(w.ctx, id, job.Declined, clerk, job.Plain("")))
			}
		}, 2},
	} {
		w.offer("lid.stl", "bottom.stl")
		c.before()
		before := len(w.waiting())
		w.must(w.l.Enqueue(w.ctx, ledger.StepQuestion, w.thread, time.Time{}))
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepQuestion)
		w.must(err)
		w.must(w.o.Frame(w.ctx, s))
		got := w.waiting()
		if c.jobs == 0 && len(got) != before || c.jobs > 0 && (len(got) != 1 || got[0].Kind != templates.TextQuestion || len(got[0].Jobs) != c.jobs) {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// A reminder looks again whether it is wanted: once, of what rests, and not where the
// patron has written since.
func TestReminderLooksAgain(t *testing.T) {
	w := newWalk(t, 1)
	days := w.o.Rules.Limits.ReminderDays
	remind := func() {
		w.must(w.l.Enqueue(w.ctx, ledger.StepReminder, w.thread, time.Time{}))
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepReminder)
		w.must(err)
		w.must(w.o.Remind(w.ctx, s))
	}
	for name, c := range map[string]struct {
		before func()
		want   bool
	}{
		"it rests":        {func() {}, true},
		"a question":      {func() { w.letter("Is PLA strong enough for a coat?") }, false},
		"only thanks":     {func() { w.moveTo(job.Agreed) }, false},
		"reminded before": {func() { remind(); w.approve(); w.work() }, false},
		"too early":       {func() { w.now = w.now.Add(-time.Minute) }, false},
	} {
		w.offer("lid.stl")
		w.now = w.now.AddDate(0, 0, days)
		c.before()
		remind()
		got := slices.ContainsFunc(w.waiting(), func(d ledger.Draft) bool { return d.Kind == templates.TextReminder })
		if got != c.want {
			t.Errorf("%s: reminded %v", name, got)
		}
		w.work()
	}
}

// As many copies as the house allows are agreed to with the yes to them, and no more
// files are looked at than the rules say; the rest follows once those are agreed.
func TestMostCopiesAndMostFiles(t *testing.T) {
	w := newWalk(t, 1)
	r := *rules.Default()
	r.Limits.FilesPerLetter = 2
	w.o.Rules = &r
	for files, rest := range map[int]int{2: 0, 3: 1, 4: 2, 5: 2} { // the next letter is looked at for as many
		names := []string{"lid.stl", "bottom.stl", "knob.stl", "hook.stl", "stop.stl"}[:files]
		w.offer(names...)
		if len(w.ids) != 2 {
			t.Fatalf("%d files: %d jobs", files, len(w.ids))
		}
		w.letter("Yes please, go ahead.")
		jobs, err := w.l.JobsIn(w.ctx, w.thread)
		w.must(err)
		if len(jobs)-2 != rest {
			t.Errorf("%d files: %d more after the yes, want %d", files, len(jobs)-2, rest)
		}
	}
}

// A wait is told of the part whose printer is busiest, in the days that a house prints.
func TestWaitOfSeveralPrinters(t *testing.T) {
	w := newWalk(t, 1)
	w.o.Rules.Limits.PrintingHoursPerDay = 10
	part := func(printer string, hours, most float64) job.Job {
		e := job.Estimate{Printer: printer, PrintTimeS: hours * 3600, HighS: most * 3600}
		return job.Job{Report: &job.Report{Readable: true, Estimate: &e, Quote: &job.Quote{Total: "1.00"}}}
	}
	for _, c := range []struct {
		perDay    float64
		jobs      []job.Job
		low, high int
	}{
		{10, []job.Job{part("A", 15, 25)}, 2, 3}, {10, []job.Job{part("A", 15, 25), part("B", 5, 45)}, 2, 5}, {10, []job.Job{part("B", 5, 45), part("A", 35, 36)}, 4, 5},
		{10, []job.Job{part("A", 5, 5), part("A", 5, 6)}, 1, 2}, {10, []job.Job{part("A", 10, 10)}, 1, 1}, {10, []job.Job{part("A", 10, 3)}, 1, 1},
		{0, []job.Job{part("A", 15, 25)}, 0, 0}, {10, []job.Job{{}}, 0, 0},
	} {
		w.o.Rules.Limits.PrintingHoursPerDay = c.perDay
		if got, err := w.o.wait(w.ctx, c.jobs); err != nil || got.Low != c.low || got.High != c.high {
			t.Errorf("%+v: %d to %d days, want %d to %d, %v", c.jobs, got.Low, got.High, c.low, c.high, err)
		}
	}
	p := &rules.Rules{Printers: []rules.Printer{{Name: "A", Count: 3}, {Name: "B"}}}
	if a, b, c := machines(p, "A"), machines(p, "B"), machines(p, "C"); a != 3 || b != 1 || c != 1 {
		t.Errorf("machines: %g, %g, %g", a, b, c)
	}
}

// An inch is 25.4 mm and a centimetre 10 (NIST SP 811, appendix B); two units are no
// answer, nor is one that was not asked for.
func TestUnitOfADrawing(t *testing.T) {
	o := &Office{Rules: rules.Default()}
	asked := job.Job{ID: "LP-1", File: "a.stl", Report: &job.Report{Findings: []job.Finding{{Code: job.CodeUnitsDoubtful, Level: job.Ask}}}}
	noted, scaled := asked, asked
	noted.Report = &job.Report{Findings: []job.Finding{{Code: job.CodeUnitsDoubtful, Level: job.Note}}}
	scaled.Settings.Scale = 2
	for _, c := range []struct {
		text string
		jobs []job.Job
		want float64
	}{
		{"In inches.", []job.Job{asked}, 25.4}, {"In centimetres.", []job.Job{asked}, 10}, {"In cm.", []job.Job{asked}, 10}, {"In millimetres.", []job.Job{asked}, 1},
		{"In inches or cm.", []job.Job{asked}, 0}, {"As it is.", []job.Job{asked}, 0}, {"In inches.", []job.Job{noted}, 0}, {"In inches.", []job.Job{scaled}, 0}, {"In inches.", []job.Job{{ID: "LP-2"}}, 0},
	} {
		l := &job.Letter{Text: c.text, Language: "en", Disposition: job.Answer}
		o.drawnIn(l, known{}, c.jobs)
		got := 0.0
		if l.Wishes.Scale != nil {
			got = *l.Wishes.Scale
		}
		if got != c.want {
			t.Errorf("%q: a scale of %g, want %g", c.text, got, c.want)
		}
	}
	mm := 80.0
	for what, w := range map[string]job.Wishes{"a size": {Size: &job.Size{MM: mm}}, "a scale": {Scale: &mm}} {
		l := &job.Letter{Text: "In inches.", Language: "en", Wishes: w}
		if own := o.drawnIn(l, known{}, []job.Job{asked}); own != nil || l.Wishes.Scale != w.Scale {
			t.Errorf("beside %s a unit is taken", what)
		}
	}
}
