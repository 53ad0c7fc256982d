package casework

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
	"meshclerk/templates"
)

// key is the key of what an error says, or "".
func key(err error) string {
	if err == nil {
		return ""
	}
	if s, ok := errors.AsType[*ledger.StageError](err); ok {
		return "stage " + string(s.From)
	}
	return job.Why(err).Key
}

// What people may do with a job at the printer and at the counter, in each stage, and
// what is refused of what they say.
func TestWhatIsRefusedOnTheShopFloor(t *testing.T) {
	w := newWalk(t, 1)
	done := Spent{Hours: 1, Grams: 4}
	agreed := []job.Stage{job.Agreed}
	printing, ready := []job.Stage{job.Agreed, job.Printing}, []job.Stage{job.Agreed, job.Printing, job.Ready}
	collected := []job.Stage{job.Agreed, job.Printing, job.Ready, job.Collected}
	record := func(a ShopFloorAction) func(job.ID) error {
		a.By = clerk
		return func(id job.ID) error { return w.o.Record(w.ctx, id, a) }
	}
	correct := func(from job.Stage, why string) func(job.ID) error {
		return func(id job.ID) error { _, err := w.o.Correct(w.ctx, id, from, clerk, why); return err }
	}
	printed := func(s Spent) func(job.ID) error {
		return func(id job.ID) error { return w.o.Printed(w.ctx, id, s, clerk) }
	}
	receipt := func(id job.ID) error { return w.o.Receipt(w.ctx, id) }
	confirm := func(id job.ID) error { return w.o.Confirm(w.ctx, id, clerk) }
	for _, c := range []struct {
		before []job.Stage
		what   string
		do     func(job.ID) error
		then   job.Stage
		refuse string
	}{
		{nil, "begun", record(ShopFloorAction{To: job.Printing}), job.Quoted, "stage quoted"},
		{agreed, "begun", record(ShopFloorAction{To: job.Printing}), job.Printing, ""},
		{ready, "begun", record(ShopFloorAction{To: job.Printing}), job.Ready, "stage ready"},
		{printing, "printed", printed(done), job.Ready, ""},
		{agreed, "printed", printed(done), job.Ready, ""},
		{nil, "printed", printed(done), job.Quoted, "stage quoted"},
		{ready, "printed", printed(done), job.Ready, "stage ready"},
		{printing, "printed in no time", printed(Spent{Grams: 4}), job.Printing, "faults.no-hours-or-grams"},
		{printing, "printed of nothing", printed(Spent{Hours: 1}), job.Printing, "faults.no-hours-or-grams"},
		{printing, "printed in less", printed(Spent{Hours: -1, Grams: 4}), job.Printing, "faults.no-hours-or-grams"},
		{printing, "failed", record(ShopFloorAction{To: job.Failed, Why: "it came loose"}), job.Failed, ""},
		{printing, "failed without a word", record(ShopFloorAction{To: job.Failed, Why: " "}), job.Printing, "faults.no-reason-to-fail"},
		{printing, "put off", record(ShopFloorAction{To: job.Agreed, Why: "the nozzle"}), job.Agreed, ""},
		{ready, "handed over", record(ShopFloorAction{To: job.Collected, Paid: "0"}), job.Collected, ""},
		{ready, "handed over for less than nothing", record(ShopFloorAction{To: job.Collected, Paid: "-0.01"}), job.Ready, "faults.no-amount"},
		{ready, "handed over for a word", record(ShopFloorAction{To: job.Collected, Paid: "much"}), job.Ready, "faults.no-amount"},
		{nil, "declined with a number of ours", record(ShopFloorAction{To: job.Declined, Why: "see LP-000042"}), job.Quoted, "faults.number-for-patron"},
		{nil, "withdrawn, with a number", record(ShopFloorAction{To: job.Withdrawn, Why: "see LP-000042"}), job.Withdrawn, ""}, // no patron is told
		{nil, "corrected", correct(job.Quoted, "a slip"), job.Quoted, "faults.nothing-to-correct"},
		{printing, "corrected", correct(job.Printing, "a slip"), job.Agreed, ""},
		{ready, "corrected", correct(job.Ready, "a slip"), job.Printing, ""},
		{collected, "corrected", correct(job.Collected, "a slip"), job.Ready, ""},
		{ready, "corrected from what it was", correct(job.Printing, "a slip"), job.Ready, "stage ready"},
		{ready, "corrected without a word", correct(job.Ready, " "), job.Ready, "faults.no-reason-to-correct"},
		{ready, "thanked for", receipt, job.Ready, "faults.no-receipt"},
		{collected, "thanked for", receipt, job.Collected, ""},
		{nil, "made sure of", confirm, job.Quoted, ""},
		{printing, "made sure of", confirm, job.Printing, "faults.sender-no-matter"},
	} {
		w.offer("lid.stl")
		w.moveTo(c.before...)
		err := c.do(w.ids[0])
		if got := key(err); got != c.refuse || w.job().Stage != c.then {
			t.Errorf("%v, %s: %q, then %s; want %q, %s", c.before, c.what, got, w.job().Stage, c.refuse, c.then)
		}
		if w.job().Stage == job.Printing { // its machine is free for the next
			w.must(w.o.PutOff(w.ctx, w.ids[0], clerk, "for the next"))
		}
	}
}

// What was taken back counts nowhere, and what was recorded before it does.
func TestWhatIsTakenBackCountsNowhere(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	w.moveTo(job.Agreed, job.Printing)
	w.must(w.o.PrintFailed(w.ctx, w.ids[0], Spent{Hours: 1, Grams: 2}, clerk, "it came loose"))
	w.now = w.now.Add(time.Hour)
	w.must(w.o.Printed(w.ctx, w.ids[0], Spent{Hours: 3, Grams: 4}, clerk))
	w.now = w.now.Add(time.Hour)
	_, err := w.o.Collected(w.ctx, w.ids[0], "2.50", clerk)
	w.must(err)
	count := func(what string, prints, payments int) {
		t.Helper()
		p, err := w.l.Prints(w.ctx, w.job().Report.Estimate.Printer, w.job().Report.Estimate.Material)
		w.must(err)
		paid, err := w.l.Payments(w.ctx, w.ids[0])
		w.must(err)
		if len(p) != prints || len(paid) != payments {
			t.Errorf("%s: %d prints, %d payments; want %d, %d", what, len(p), len(paid), prints, payments)
		}
	}
	count("handed over", 2, 1)
	w.now = w.now.Add(time.Hour)
	_, err = w.o.Correct(w.ctx, w.ids[0], job.Collected, clerk, "a slip")
	w.must(err)
	count("nobody came for it", 2, 0)
	w.now = w.now.Add(time.Hour)
	_, err = w.o.Correct(w.ctx, w.ids[0], job.Ready, clerk, "a slip")
	w.must(err)
	count("it is not done", 1, 0)
}

// Letters about a mistake that have not left are set aside, those that have are told of,
// and others stay.
func TestLettersAboutAMistake(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		before func()
		state  ledger.DraftState
		left   bool
	}{
		"it waits":    {func() {}, ledger.DraftSetAside, false},
		"approved":    {func() { w.approve() }, ledger.DraftSetAside, false},
		"refused":     {func() { w.approve(); w.refused() }, ledger.DraftSetAside, false},
		"it has left": {func() { w.approve(); w.work() }, ledger.DraftSent, true},
	} {
		w.offer("lid.stl")
		w.moveTo(job.Agreed)
		w.work()
		w.approve()
		w.work()
		w.now = w.now.Add(time.Hour)
		w.must(w.o.Printed(w.ctx, w.ids[0], Spent{Hours: 1, Grams: 4}, clerk))
		w.work()
		c.before()
		got, err := w.o.Correct(w.ctx, w.ids[0], job.Ready, clerk, "a slip")
		w.must(err)
		list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Job: w.ids[0]})
		w.must(err)
		about := 0
		for _, d := range list {
			want := ledger.DraftSent // the earlier ones
			if d.Kind == templates.TextReady {
				want, about = c.state, about+1
			}
			if d.State != want && d.State != ledger.DraftSuperseded {
				t.Errorf("%s: the letter %s is %s, want %s", name, d.Kind, d.State, want)
			}
		}
		if got.Left != c.left || got.To != job.Printing || about != 1 {
			t.Errorf("%s: %+v", name, got)
		}
		w.work()
		w.must(w.o.PutOff(w.ctx, w.ids[0], clerk, "for the next"))
	}
}

// A person's word about a letter stands only under their name and of a letter about a
// job; it closes what is open, and what comes too late is refused.
func TestWhatAPersonMakesOfALetter(t *testing.T) {
	w := newWalk(t, 1)
	two := 2
	printing := []job.Stage{job.Agreed, job.Printing}
	for _, c := range []struct {
		what   string
		before []job.Stage
		text   string
		edit   func(*job.Letter)
		d      Decision
		then   job.Stage
		refuse string
	}{
		{"a yes", nil, "Is PLA strong enough for a coat?", nil, Decision{As: job.Accept, By: clerk}, job.Agreed, ""},
		{"of nobody's name", nil, "Is PLA strong enough for a coat?", nil, Decision{As: job.Accept, By: " "}, job.Quoted, "faults.decision-without-name"},
		{"a no", nil, "Is PLA strong enough for a coat?", nil, Decision{As: job.Decline, By: clerk}, job.Withdrawn, ""},
		{"other copies", nil, "Is PLA strong enough for a coat?", nil, Decision{As: job.Change, Wishes: job.Wishes{Copies: &two}, By: clerk}, job.Taken, ""},
		{"a letter of nobody", nil, "Yes please, go ahead.", unproven, Decision{As: job.Accept, By: clerk}, job.Agreed, ""},
		{"a no too late", printing, "Is PLA strong enough for a coat?", nil, Decision{As: job.Decline, By: clerk}, job.Printing, "faults.not-so.too-late"},
		{"a change too late", printing, "Is PLA strong enough for a coat?", nil, Decision{As: job.Change, Wishes: job.Wishes{Copies: &two}, By: clerk}, job.Printing, "faults.not-so.too-late-change"},
		{"a yes to what was declined", []job.Stage{job.Declined}, "Is PLA strong enough for a coat?", nil, Decision{As: job.Accept, By: clerk}, job.Declined, "faults.not-so.yes-to-what"},
	} {
		w.offer("lid.stl")
		w.moveTo(c.before...)
		w.edit = c.edit
		c.d.Letter = w.letter(c.text)
		if len(w.open(c.d.Letter)) == 0 {
			t.Fatalf("%s: nothing was left to staff", c.what)
		}
		err := w.o.Decide(w.ctx, c.d)
		if got := key(err); got != c.refuse || w.job().Stage != c.then || (len(w.open(c.d.Letter)) == 0) != (c.refuse == "") {
			t.Errorf("%s: %q, then %s, open %q; want %q, %s", c.what, got, w.job().Stage, w.open(c.d.Letter), c.refuse, c.then)
		}
	}
	w.edit, w.thread, w.patron = func(l *job.Letter) { l.Disposition = job.Answer }, "", "stranger@example.net"
	stray := w.letter("Yes please, go ahead.")
	for what, err := range map[string]error{"decided": w.o.Decide(w.ctx, Decision{Letter: stray, As: job.Accept, By: clerk}), "asked about": w.o.AskAbout(w.ctx, stray)} {
		if key(err) != "faults.letter-of-no-job" {
			t.Errorf("a letter about no job is %s: %v", what, err)
		}
	}
}

// A yes that waited for a letter counts when that letter is dealt with, and not before.
func TestYesWaitsForALetter(t *testing.T) {
	w := newWalk(t, 1)
	for name, deal := range map[string]func(letter string) error{
		"the notice is closed": func(string) error {
			list, err := w.l.Notices(w.ctx, false)
			w.must(err)
			for _, n := range list {
				if n.Kind == ledger.NoticeQuestion {
					w.must(w.o.CloseNotice(w.ctx, n.ID, n.Times, clerk))
				}
			}
			return nil
		},
		"the letter is closed": func(letter string) error { return w.o.CloseLetter(w.ctx, letter, clerk) },
	} {
		w.offer("lid.stl")
		letter := w.letter("Is PLA strong enough for a coat?")
		w.yesKept()
		standing := func() {
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return w.o.standing(w.ctx, tx, w.job()) }))
		}
		standing()
		w.wantStage(job.Quoted)
		ahead, kept, err := w.o.Ahead(w.ctx, w.job())
		if err != nil || !kept || len(ahead) != 1 || ahead[0].What != AheadLetter || ahead[0].Letter != letter {
			t.Errorf("%s: ahead %+v, kept %v, %v", name, ahead, kept, err)
		}
		w.must(deal(letter))
		if w.job().Stage != job.Agreed {
			t.Errorf("%s: the job is %s", name, w.job().Stage)
		}
		if _, kept, err := w.o.Ahead(w.ctx, w.job()); err != nil || kept {
			t.Errorf("%s: a yes that counts is kept %v, %v", name, kept, err)
		}
	}
}

// Settings that a person takes over change a job only as that person saw it, with the
// letter about it, and take it off the print list where the offer is not as agreed.
func TestSettingsThatAPersonTakesOver(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		what   string
		agreed bool
		change func(n *NewSettings)
		then   job.Stage
		refuse string
		effect Effect
	}{
		{"the same", false, func(*NewSettings) {}, job.Quoted, "", EffectNone},
		{"another colour", false, func(n *NewSettings) { n.Settings.Colour = "red" }, job.Checked, "", EffectOffered},
		{"another colour of what is agreed", true, func(n *NewSettings) { n.Settings.Colour = "red" }, job.Checked, "", EffectOffList},
		{"the same of what is agreed", true, func(*NewSettings) {}, job.Agreed, "", EffectNone},
		{"as it was not", false, func(n *NewSettings) { n.Seen.Settings.Copies = 9 }, job.Quoted, "faults.job-changed", EffectNone},
		{"of another letter", false, func(n *NewSettings) { n.Draft = "D-000001" }, job.Quoted, "faults.not-about", EffectRewritten},
	} {
		w.offer("lid.stl")
		if c.agreed {
			w.moveTo(job.Agreed)
		}
		j := w.job()
		n := NewSettings{Seen: j, Settings: j.Settings, Report: *j.Report, By: clerk}
		if c.what == "of another letter" {
			w.offer("box.stl")
			j = w.job()
		}
		c.change(&n)
		if got := n.Effect(); c.refuse == "" && got != c.effect {
			t.Errorf("%s: told to be %s, want %s", c.what, got, c.effect)
		}
		if c.what == "of another letter" {
			n.Seen = j
		}
		err := w.o.TakeOver(w.ctx, n)
		if got := key(err); got != c.refuse || w.job().Stage != c.then {
			t.Errorf("%s: %q, then %s; want %q, %s", c.what, got, w.job().Stage, c.refuse, c.then)
		}
	}
}

// The reason of a refusal is one of the house's list or a person's words, which stand
// before the list's; no reason is none.
func TestReasonsToRefuse(t *testing.T) {
	o, _, _ := officeWith(t, shapes.Box(10, 10, 10))
	if len(o.Rules.Refusals) == 0 {
		t.Fatal("the built-in rules list no reasons")
	}
	listed := o.Rules.Refusals[0]
	for _, c := range []struct {
		f         Refusal
		words, as string
		refuse    string
	}{
		{Refusal{Code: listed.Code}, listed.In("en", o.Rules.Library), listed.Code, ""},
		{Refusal{Code: listed.Code, Words: " not here "}, "not here", listed.Code, ""},
		{Refusal{Words: "not here"}, "not here", "", ""},
		{Refusal{Code: rules.RefusedOther, Words: "not here"}, "not here", rules.RefusedOther, ""},
		{Refusal{Code: rules.RefusedOther}, "", "", "faults.no-reason-to-refuse"},
		{Refusal{Words: " "}, "", "", "faults.no-reason-to-refuse"},
		{Refusal{Code: "unknown", Words: "not here"}, "", "", "faults.no-such-refusal"},
	} {
		if words, as, err := o.told(c.f, "en"); words != c.words || as != c.as || key(err) != c.refuse {
			t.Errorf("%+v: %q counted as %q, %v", c.f, words, as, err)
		}
	}
}

// What is left to a patron holds a print back; what the yes itself settles does not, nor
// an agreement where the house wants none.
func TestWhatHoldsAPrintBack(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	for _, c := range []struct {
		what     string
		change   func(j *job.Job)
		required bool
		want     string
	}{
		{"nothing", func(*job.Job) {}, true, ""},
		{"no colour", func(j *job.Job) { j.Settings.Colour, j.Wishes.Colours, j.Wishes.Words = "", nil, nil }, true, "colour"},
		{"no branch", func(j *job.Job) { j.Wishes.Pickup = "" }, true, "pickup"},
		{"no agreement", func(j *job.Job) { j.Agreement = nil }, true, "agreement"},
		{"one that ran out", func(j *job.Job) { j.Agreement = &job.Agreement{State: job.AgreementExpired} }, true, "agreement"},
		{"no agreement where none is wanted", func(j *job.Job) { j.Agreement = nil }, false, ""},
	} {
		r := *rules.Default()
		r.Agreement.Required = c.required
		w.o.Rules = &r
		j := w.job()
		c.change(&j)
		if got := strings.Join(w.o.left(j), " "); got != c.want {
			t.Errorf("%s: left %q, want %q", c.what, got, c.want)
		}
	}
}

// An agreement that comes onto file sends back to their check the jobs it is of, and no
// others.
func TestAgreementComesOntoFile(t *testing.T) {
	w := newWalk(t, 1)
	w.request("lid.stl")
	first := w.ids[0]
	w.request("box.stl")
	w.sign()
	steps, err := w.l.OpenSteps(w.ctx)
	w.must(err)
	for _, s := range steps {
		if s.Kind == ledger.StepCheck && s.Subject == string(first) {
			t.Error("the job of somebody else is checked again")
		}
	}
	w.work()
	if got := w.job().Stage; got != job.Drafted && got != job.Checked {
		t.Errorf("the job whose agreement came is %s", got)
	}
	if j, err := w.l.Job(context.Background(), first); err != nil || j.Stage != job.NeedsAgreement {
		t.Errorf("the other is %s, %v", j.Stage, err)
	}
}

// One thing that is left holds back the print of a job that is on the list already.
func TestOneThingLeftHoldsThePrinterBack(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	w.moveTo(job.Agreed)
	j := w.job()
	j.Agreement = &job.Agreement{State: job.AgreementExpired}
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SaveJob(w.ctx, j, clerk, job.Plain("")) }))
	if left := w.o.left(w.job()); len(left) != 1 {
		t.Fatalf("left: %q, want one thing", left)
	}
	err := w.o.Start(w.ctx, j.ID, clerk)
	if key(err) != "faults.not-to-be-printed" || w.job().Stage != job.Agreed {
		t.Errorf("with its agreement run out: %v, then %s", err, w.job().Stage)
	}
	j.Agreement = &job.Agreement{State: job.AgreementGood}
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SaveJob(w.ctx, j, clerk, job.Plain("")) }))
	w.must(w.o.Start(w.ctx, j.ID, clerk))
}

// refused has the server refuse what is approved in the conversation.
func (w *walk) refused() {
	w.t.Helper()
	list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Thread: w.thread, States: []ledger.DraftState{ledger.DraftApproved}})
	w.must(err)
	for _, d := range list {
		try, _, err := w.l.BeginSend(w.ctx, d.ID, "walk")
		w.must(err)
		w.must(w.l.EndSend(w.ctx, try, ledger.Refused, job.Plain(""), ledger.Robot))
	}
}
