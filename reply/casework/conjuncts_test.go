package casework

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// A yes is a yes to the smaller size only where its conversation is about one part, whose
// letter named that size and which nothing else stops. Beside another part it is a yes to
// what was offered, and where nothing was, a person is asked.
func TestWhenAYesShrinksAPart(t *testing.T) {
	w := newWalk(t, 1)
	const yes = "Yes please, go ahead."
	stops := func(codes ...string) (out []job.Finding) {
		for _, c := range codes {
			out = append(out, job.Finding{Code: c, Level: job.Stop})
		}
		return out
	}
	big := stops(job.CodeTooBig)
	as := func(to ...job.Stage) []job.Stage { return to }
	for _, c := range []struct {
		what   string
		found  map[string][]job.Finding // by file
		unsent bool                     // the letter that names the size has not left
		text   string
		scale  float64 // wished of the lid then
		stages []job.Stage
		told   []string
	}{
		{"too big", map[string][]job.Finding{"lid.stl": big}, false, yes, 0.8, as(job.Taken), nil},
		{"too long", map[string][]job.Finding{"lid.stl": stops(job.CodeTooLong)}, false, yes, 0.8, as(job.Taken), nil},
		{"fits", map[string][]job.Finding{"lid.stl": nil}, false, yes, 0, as(job.Agreed), nil},
		{"too big, with holes", map[string][]job.Finding{"lid.stl": stops(job.CodeTooBig, job.CodeHoles)}, false, yes, 0, nil, []string{string(ledger.NoticeYesToWhat)}},
		{"too big, not told yet", map[string][]job.Finding{"lid.stl": big}, true, yes, 0, nil, []string{string(ledger.NoticeYesToWhat)}},
		{"beside one that fits", map[string][]job.Finding{"lid.stl": big, "bottom.stl": nil}, false, yes, 0, as(job.Quoted, job.Agreed), nil},
		{"and the other too", map[string][]job.Finding{"lid.stl": big, "bottom.stl": big}, false, yes, 0, as(job.Quoted, job.Quoted), []string{string(ledger.NoticeYesToWhat)}},
		{"a yes to the other", map[string][]job.Finding{"lid.stl": big, "bottom.stl": nil}, false, "Yes to the bottom, please go ahead with it.", 0, as(job.Quoted, job.Agreed), nil},
	} {
		w.o.examine = func(ctx context.Context, j job.Job) (*job.Report, float64, error) {
			r, scale, err := w.examine(ctx, j)
			if found := c.found[j.File]; err == nil && len(found) > 0 {
				r.Findings, r.Fit, r.Estimate, r.Quote = found, &job.Fit{ScaleToFit: 0.8}, nil, nil
			}
			return r, scale, err
		}
		w.another()
		w.sign()
		w.asks(slices.Sorted(maps.Keys(c.found))...)
		slices.SortFunc(w.ids, func(a, b job.ID) int { return strings.Compare(w.fileOf(b), w.fileOf(a)) }) // the lid first
		if !c.unsent {
			w.leave()
		}
		id := w.letter(c.text)
		if told := w.open(id); !slices.Equal(told, c.told) {
			t.Errorf("%s: left to staff %q, want %q", c.what, told, c.told)
		}
		for i, of := range w.ids {
			j, err := w.l.Job(w.ctx, of)
			w.must(err)
			var scale float64
			if j.Wishes.Scale != nil {
				scale = *j.Wishes.Scale
			}
			want := c.scale
			if i > 0 {
				want = 0
			}
			if scale != want || c.stages != nil && j.Stage != c.stages[i] {
				t.Errorf("%s: %s is %s, wished at %g; want %v, %g", c.what, j.File, j.Stage, scale, c.stages, want)
			}
		}
		w.work()
	}
}

func (w *walk) fileOf(id job.ID) string {
	j, err := w.l.Job(w.ctx, id)
	w.must(err)
	return j.File
}

// A job leaves the print list, a failed print too, where the letter that just left offers
// it at other terms than were agreed to: not by another letter, nor once it is printed.
func TestOfferThatLeavesBesideThePrintList(t *testing.T) {
	w := newWalk(t, 1)
	printing := []job.Stage{job.Agreed, job.Printing}
	dearer, same := func(t *job.Terms) { t.Copies++ }, func(*job.Terms) {}
	for _, c := range []struct {
		before  []job.Stage
		change  func(t *job.Terms)
		another bool // the letter that left is not the one that offers it
		then    job.Stage
	}{
		{[]job.Stage{job.Agreed}, dearer, false, job.Checked},
		{[]job.Stage{job.Agreed}, same, false, job.Agreed},
		{[]job.Stage{job.Agreed}, dearer, true, job.Agreed},
		{append(slices.Clone(printing), job.Failed), dearer, false, job.Checked},
		{append(slices.Clone(printing), job.Failed), same, false, job.Failed},
		{append(slices.Clone(printing), job.Failed), dearer, true, job.Failed},
		{printing, dearer, false, job.Printing},
		{append(slices.Clone(printing), job.Ready), dearer, false, job.Ready},
		{nil, dearer, false, job.Quoted},
		{[]job.Stage{job.Withdrawn}, dearer, false, job.Withdrawn},
	} {
		w.offer("lid.stl")
		w.moveTo(c.before...)
		w.work()
		terms, _ := w.job().Terms()
		c.change(&terms)
		d := w.ours(templates.TextQuote, ledger.DraftSent)
		left := d
		if c.another {
			left.ID = "D-999999"
		}
		var got job.Job
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) (err error) {
			if err := tx.AddOffer(w.ctx, ledger.Offer{Draft: d.ID, Job: w.ids[0], SHA256: d.SHA256, Terms: &terms}); err != nil {
				return err
			}
			got, err = w.o.sentBeside(w.ctx, tx, left, w.job())
			return err
		}))
		steps, err := w.l.OpenSteps(w.ctx)
		w.must(err)
		anew := slices.ContainsFunc(steps, func(s ledger.OpenStep) bool { return s.Kind == ledger.StepDraft && s.Subject == w.thread })
		if j := w.job(); j.Stage != c.then || got.Stage != c.then || anew != (c.then == job.Checked) {
			t.Errorf("%v, by another letter %v: %s (told %s), offered anew %v; want %s", c.before, c.another, j.Stage, got.Stage, anew, c.then)
		}
		w.work()
	}
}

// One letter that nobody has dealt with makes it the house's turn, whichever came first,
// and so does a reply of ours that waits; the silence counts from the last that was.
func TestSilenceOfSeveralLetters(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		ours    bool  // a reply waits
		settled []int // hours after which each letter of theirs is dealt with; 0: never
		ourTurn bool
		from    int // hours
	}{
		{false, nil, false, 0},
		{false, []int{0}, true, 0}, {false, []int{5}, false, 5},
		{false, []int{0, 5}, true, 5}, {false, []int{5, 0}, true, 5}, {false, []int{0, 0}, true, 0},
		{false, []int{5, 7}, false, 7}, {false, []int{7, 5}, false, 7},
		{true, nil, true, 0}, {true, []int{5}, true, 5}, {true, []int{0}, true, 0},
	} {
		w.offer("lid.stl")
		sent := w.now
		if c.ours {
			w.ours(templates.TextQuote, ledger.DraftApproved)
		}
		letters := map[int]string{}
		for i, hours := range c.settled {
			w.now = w.now.Add(time.Hour)
			id := w.writes("Is PLA strong enough for a coat?", ledger.LetterDone)
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
				return tx.AddNotice(w.ctx, ledger.NoticeQuestion, id, job.Plain(fmt.Sprint(i)))
			}))
			letters[hours] = id
		}
		for _, hours := range []int{5, 7} {
			if id := letters[hours]; id != "" {
				w.now = sent.Add(time.Duration(hours) * time.Hour)
				w.must(w.o.CloseLetter(w.ctx, id, clerk))
			}
		}
		got, err := w.o.silence(w.ctx, w.ids[0])
		w.must(err)
		if got.ourTurn != c.ourTurn || !got.from.Equal(sent.Add(time.Duration(c.from)*time.Hour)) {
			t.Errorf("a reply waits %v, dealt with after %v h: our turn %v, from %v; want %v, %d h", c.ours, c.settled, got.ourTurn, got.from.Sub(sent), c.ourTurn, c.from)
		}
	}
}

// Handing a part over sets aside the letters that wait and are about it alone: one about
// another part too still has to tell of that.
func TestLettersThatWaitAtTheCounter(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		what  string
		about []int
		state ledger.DraftState
		then  ledger.DraftState
	}{
		{"about it", []int{0}, ledger.DraftWaiting, ledger.DraftSetAside},
		{"about it, approved", []int{0}, ledger.DraftApproved, ledger.DraftApproved},
		{"about it, refused by the server", []int{0}, ledger.DraftFailed, ledger.DraftSetAside},
		{"about both, refused by the server", []int{0, 1}, ledger.DraftFailed, ledger.DraftFailed},
		{"about it, nobody knows whether it left", []int{0}, ledger.DraftUncertain, ledger.DraftUncertain},
		{"about it, sent", []int{0}, ledger.DraftSent, ledger.DraftSent},
		{"about both", []int{0, 1}, ledger.DraftWaiting, ledger.DraftWaiting},
		{"about the other", []int{1}, ledger.DraftWaiting, ledger.DraftWaiting},
	} {
		w.offer("lid.stl", "bottom.stl")
		w.moveTo(job.Agreed, job.Printing, job.Ready)
		w.work()
		var about []job.ID
		for _, i := range c.about {
			about = append(about, w.ids[i])
		}
		d := w.oursAbout(templates.TextReady, c.state, about...)
		_, err := w.o.Collected(w.ctx, w.ids[0], "0", clerk)
		w.must(err)
		got, err := w.l.Draft(w.ctx, d.ID)
		w.must(err)
		steps, err := w.l.OpenSteps(w.ctx)
		w.must(err)
		filed := slices.ContainsFunc(steps, func(s ledger.OpenStep) bool { return s.Kind == ledger.StepFile && s.Subject == d.ID })
		if got.State != c.then || filed != (c.then == ledger.DraftSetAside) {
			t.Errorf("%s: %s, taken out of the mailbox %v; want %s", c.what, got.State, filed, c.then)
		}
		w.work()
	}
}

// What a letter of ours means in each of its states: whether it is on its way, who its job
// waits for, whether another answer is framed beside it, whether its patron was written to,
// and whether it is set aside when the job is taken up again.
func TestWhatALetterMeansInEachState(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		state    ledger.DraftState
		underway bool
		waitsFor string
		framed   bool
		known    bool
		dropped  bool
	}{
		{ledger.DraftWaiting, false, ForStaff, false, false, true},
		{ledger.DraftApproved, true, ForRobot, false, true, true},
		{ledger.DraftSending, true, ForRobot, false, true, false},
		{ledger.DraftSent, false, ForPatron, true, true, false},
		{ledger.DraftUncertain, false, ForStaff, true, true, false},
		{ledger.DraftFailed, false, ForStaff, true, false, true},
		{ledger.DraftSetAside, false, ForPatron, true, false, true},
	} {
		w.request("lid.stl")
		w.ours(templates.TextQuote, c.state)
		stranger, err := w.o.isNew(w.ctx, job.Job{Patron: w.job().Patron, Thread: "another"}, true)
		w.must(err)
		if stranger == c.known {
			t.Errorf("%s: the patron is new %v", c.state, stranger)
		}
		w.work()

		w.offer("lid.stl")
		w.ours(templates.TextQuote, c.state)
		underway, err := w.o.underway(w.ctx, w.thread)
		w.must(err)
		who, err := w.o.WaitsFor(w.ctx, w.job())
		w.must(err)
		if underway != c.underway || who != c.waitsFor {
			t.Errorf("%s: on its way %v, waits for %q; want %v, %q", c.state, underway, who, c.underway, c.waitsFor)
		}
		w.must(w.l.Enqueue(w.ctx, ledger.StepQuestion, w.thread, time.Time{}))
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepQuestion)
		w.must(err)
		w.must(w.o.Frame(w.ctx, s))
		if framed := slices.ContainsFunc(w.waiting(), func(d ledger.Draft) bool { return d.Kind == templates.TextQuestion }); framed != c.framed {
			t.Errorf("%s: another is framed %v", c.state, framed)
		}
		w.work()

		w.offer("lid.stl")
		w.moveTo(job.Declined)
		w.work()
		d := w.ours(templates.TextDeclined, c.state)
		w.must(w.o.TakeUp(w.ctx, w.ids[0], clerk))
		got, err := w.l.Draft(w.ctx, d.ID)
		w.must(err)
		if dropped := got.State == ledger.DraftSetAside; dropped != c.dropped || !dropped && got.State != c.state {
			t.Errorf("%s, and its job taken up: %s", c.state, got.State)
		}
		w.work()
	}
}
