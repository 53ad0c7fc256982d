package casework

import (
	"context"
	"slices"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Which jobs want a letter, by their stage and the last one about them.
func TestWhoWantsALetter(t *testing.T) {
	since := time.Date(2026, 11, 3, 9, 30, 0, 0, time.UTC)
	before := since.Add(-time.Minute)
	draft := func(kind string, made time.Time) *ledger.Draft { return &ledger.Draft{Kind: kind, Made: made} }
	for _, c := range []struct {
		stage job.Stage
		blob  string
		last  *ledger.Draft
		back  bool
		want  bool
	}{
		{job.Taken, "b", nil, false, false}, {job.Quoted, "b", nil, false, false}, {job.Printing, "b", nil, false, false}, {job.Collected, "b", nil, false, false},
		{job.Checked, "b", nil, false, true}, {job.NeedsAgreement, "b", nil, false, true},
		{job.Checked, "b", draft(templates.TextQuote, since), false, true}, // it was written of another state of the job
		{job.Drafted, "b", nil, false, true}, {job.Drafted, "b", draft(templates.TextQuote, before), false, false},
		{job.Agreed, "b", nil, false, true}, {job.Agreed, "b", draft(templates.TextQuote, before), false, true},
		{job.Agreed, "b", draft(templates.TextAccepted, before), false, false}, {job.Agreed, "b", draft(templates.TextFailed, before), false, false},
		{job.Ready, "b", nil, false, true}, {job.Ready, "b", draft(templates.TextReady, before), false, true}, {job.Ready, "b", draft(templates.TextReady, since), false, false},
		{job.Ready, "b", draft(templates.TextReady, before), true, false}, // nobody had come for it
		{job.Lapsed, "b", nil, false, true}, {job.Lapsed, "", nil, false, false}, {job.Lapsed, "b", draft(templates.TextReminder, before), false, true},
		{job.Declined, "", nil, false, true}, {job.Declined, "b", draft(templates.TextDeclined, since), false, false},
	} {
		j := job.Job{ID: "J-1", Stage: c.stage, Blob: c.blob}
		at := talk{since: map[job.ID]time.Time{j.ID: since}, last: map[job.ID]ledger.Draft{}, back: map[job.ID]bool{j.ID: c.back}}
		if c.last != nil {
			at.last[j.ID] = *c.last
		}
		if got := at.wants(j); got != c.want {
			t.Errorf("%s, file %q, last %+v, back %v: wants a letter %v", c.stage, c.blob, c.last, c.back, got)
		}
	}
}

// A letter may be written together with another only while nobody has touched it.
func TestWhichLetterIsUnread(t *testing.T) {
	for _, c := range []struct {
		state    ledger.DraftState
		revision int
		want     bool
	}{{ledger.DraftWaiting, 1, true}, {ledger.DraftWaiting, 2, false}, {ledger.DraftApproved, 1, false}, {ledger.DraftSent, 1, false}} {
		at := talk{last: map[job.ID]ledger.Draft{"J-1": {State: c.state, Revision: c.revision}}}
		if got := at.unread(job.Job{ID: "J-1"}); got != c.want {
			t.Errorf("%s, revision %d: unread %v", c.state, c.revision, got)
		}
		if at.unread(job.Job{ID: "J-2"}) {
			t.Error("unread: a letter that was never written")
		}
	}
}

// One letter is about requests that are answered alike, and tells beside them which parts
// are given up.
func TestWhatStandsInOneLetter(t *testing.T) {
	for _, c := range []struct {
		a, b            job.Stage
		together, aside bool
	}{
		{job.Checked, job.NeedsAgreement, true, false}, {job.Drafted, job.Checked, true, false}, {job.Ready, job.Ready, true, false},
		{job.Checked, job.Ready, false, false}, {job.Quoted, job.Checked, false, false}, {job.Agreed, job.Failed, false, false},
		{job.Agreed, job.Withdrawn, false, true}, {job.Checked, job.Withdrawn, false, true}, {job.Ready, job.Withdrawn, false, false},
	} {
		if got := together(job.Job{Stage: c.a}, job.Job{Stage: c.b}); got != c.together {
			t.Errorf("%s and %s: in one letter %v", c.a, c.b, got)
		}
		if got := toldBeside(job.Job{Stage: c.a}, job.Job{Stage: c.b}); got != c.aside {
			t.Errorf("%s, and %s told beside it: %v", c.a, c.b, got)
		}
	}
	gone, kept := job.Job{ID: "J-1", Stage: job.Withdrawn}, job.Job{ID: "J-2", Stage: job.Quoted}
	if about, beside := apart([]job.Job{gone, kept}); len(about) != 1 || about[0].ID != "J-2" || len(beside) != 1 {
		t.Errorf("about %v, beside %v", about, beside)
	}
	if about, beside := apart([]job.Job{gone}); len(about) != 1 || len(beside) != 0 {
		t.Errorf("nothing else: about %v, beside %v", about, beside)
	}
}

// An offer may be made again as it is while it holds, is of these rules and these terms,
// and nobody has said yes to it.
func TestOfferThatStillStands(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		change func(j *job.Job)
		want   bool
	}{
		"as it was":     {func(*job.Job) {}, true},
		"not quoted":    {func(j *job.Job) { j.Stage = job.Agreed }, false},
		"no price":      {func(j *job.Job) { j.Report = nil }, false},
		"other terms":   {func(j *job.Job) { j.Settings.Colour = "red" }, false},
		"ran out":       {func(*job.Job) { w.now = w.now.AddDate(0, 2, 0) }, false},
		"other rules":   {func(*job.Job) { r := *w.o.Rules; r.Hash = "other"; w.o.Rules = &r }, false},
		"a yes waits":   {func(*job.Job) { w.letter("Yes please, go ahead. Is PLA strong enough for a coat?"); w.yesKept() }, false},
		"never offered": {func(j *job.Job) { j.ID = "LP-9999-999999" }, false},
	} {
		w.o.Rules = rules.Default()
		w.offer("lid.stl")
		j := w.job()
		c.change(&j)
		if got, err := w.o.offerStill(w.ctx, j); err != nil || got != c.want {
			t.Errorf("%s: still stands %v, %v", name, got, err)
		}
	}
}

// yesKept keeps a yes to the last offer of the first job, which does not count yet.
func (w *walk) yesKept() {
	w.t.Helper()
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
		offer, _, err := tx.LastOffer(w.ctx, w.ids[0])
		if err != nil {
			return err
		}
		return tx.KeepYes(w.ctx, offer, "", clerk)
	}))
}

// Who a job waits for, in each stage and by what lies open.
func TestWhoAJobWaitsFor(t *testing.T) {
	w := newWalk(t, 1)
	want := func(what, who string) {
		t.Helper()
		if got, err := w.o.WaitsFor(w.ctx, w.job()); err != nil || got != who {
			t.Errorf("%s: waits for %q, want %q, %v", what, got, who, err)
		}
	}
	w.request("lid.stl")
	want("a reply to be approved", ForStaff)
	w.approve()
	want("a reply to be sent", ForRobot)
	w.work()
	want("an agreement", ForPatron)
	w.edit = paper
	w.letter("Here it is.")
	want("a form to be looked at", ForStaff)
	w.offer("lid.stl")
	want("a quote", ForPatron)
	w.letter("Is PLA strong enough for a coat?")
	want("a question", ForStaff)
	w.offer("lid.stl")
	for _, c := range []struct {
		to  job.Stage
		who string
	}{{job.Agreed, ForStaff}, {job.Printing, ForStaff}, {job.Failed, ForStaff}, {job.Agreed, ForStaff}, {job.Printing, ForStaff}, {job.Ready, ForPatron}, {job.Collected, ""}} {
		if c.to == job.Agreed && w.job().Stage == job.Failed {
			w.must(w.l.Move(w.ctx, w.ids[0], c.to, clerk, job.Plain("")))
		} else {
			w.moveTo(c.to)
		}
		w.work()
		w.approve()
		w.work()
		want(string(c.to), c.who)
	}
	for _, over := range []job.Stage{job.Declined, job.Withdrawn, job.Lapsed} {
		w.offer("lid.stl")
		w.moveTo(over)
		want(string(over), "")
	}
	for _, early := range []job.Stage{job.Taken, job.Checked} {
		w.offer("lid.stl")
		w.moveTo(early)
		want(string(early), ForRobot)
	}
}

// What a patron printed before is told to nobody who is not proven to be that patron, and
// is of the same file, and earlier.
func TestWhatIsToldOfAnEarlierPrint(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	was := w.job()
	for name, c := range map[string]struct {
		change func(j *job.Job)
		want   bool
	}{
		"the same file later": {func(j *job.Job) {}, true},
		"of nobody":           {func(j *job.Job) { j.Auth = job.None }, false},
		"another file":        {func(j *job.Job) { j.Blob = "other" }, false},
		"another patron":      {func(j *job.Job) { j.Patron.Address = "bruno@example.net" }, false},
		"at the same moment":  {func(j *job.Job) { j.Made = was.Made }, false},
	} {
		j := was
		j.Made = was.Made.Add(time.Hour)
		c.change(&j)
		told := false
		if look := w.o.seen(w.ctx, j); look != nil {
			_, told = look(j.Blob)
		}
		if told != c.want {
			t.Errorf("%s: told %v", name, told)
		}
	}
}

// A job that is changed while it is checked is checked again, and what was found out of
// its earlier state is dropped.
func TestJobChangedWhileItIsChecked(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		meanwhile func()
		done      bool
	}{
		"nothing": {func() {}, true},
		"another colour": {func() {
			j := w.job()
			j.Settings.Copies = 3
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SaveJob(w.ctx, j, clerk, job.Plain("")) }))
		}, false},
		"given up": {func() { w.moveTo(job.Withdrawn) }, false},
	} {
		w.offer("lid.stl")
		w.moveTo(job.Taken)
		w.must(w.l.Enqueue(w.ctx, ledger.StepCheck, string(w.ids[0]), time.Time{}))
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepCheck)
		w.must(err)
		w.o.examine = func(ctx context.Context, j job.Job) (*job.Report, float64, error) {
			c.meanwhile()
			return w.examine(ctx, j)
		}
		w.must(w.o.Check(w.ctx, s))
		w.o.examine = w.examine
		steps, err := w.l.OpenSteps(w.ctx)
		w.must(err)
		again := slices.ContainsFunc(steps, func(s ledger.OpenStep) bool { return s.Kind == ledger.StepCheck && s.Subject == string(w.ids[0]) })
		if again == c.done || (w.job().Stage == job.Checked) != c.done {
			t.Errorf("%s: %s, checked again %v", name, w.job().Stage, again)
		}
		w.work()
	}
}
