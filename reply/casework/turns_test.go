package casework

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
)

// asked are the open steps of a kind about the conversation.
func (w *walk) asked(kind ledger.StepKind) (n int) {
	w.t.Helper()
	steps, err := w.l.OpenSteps(w.ctx)
	w.must(err)
	for _, s := range steps {
		if s.Kind == kind && s.Subject == w.thread {
			n++
		}
	}
	return n
}

// A reminder is asked for once, in time, of what has a price; after it the calendar waits
// for the end. While it is the house's turn nothing is asked for and nothing lapses.
func TestReminderIsAskedForOnce(t *testing.T) {
	w := newWalk(t, 1)
	l := rules.Default().Limits
	for name, c := range map[string]struct {
		ready bool
		do    func(w *walk)
		days  int
		asked bool
		over  bool
	}{
		"offered":                      {false, func(*walk) {}, l.ReminderDays, true, false},
		"reminded":                     {false, func(w *walk) { w.ours(templates.TextReminder, ledger.DraftSent) }, l.ReminderDays, false, false},
		"a letter of theirs":           {false, func(w *walk) { w.letter("Is PLA strong enough for a coat?") }, l.ReminderDays, false, false},
		"a letter of theirs, for good": {false, func(w *walk) { w.letter("Is PLA strong enough for a coat?") }, l.LapseDays, false, false},
		"for good":                     {false, func(*walk) {}, l.LapseDays, false, true},
		"ready":                        {true, func(*walk) {}, l.PickupReminderDays, true, false},
		"ready, reminded":              {true, func(w *walk) { w.ours(templates.TextPickupReminder, ledger.DraftSent) }, l.PickupReminderDays, false, false},
		"ready, a letter of theirs":    {true, func(w *walk) { w.letter("Is PLA strong enough for a coat?") }, l.PickupReminderDays, false, false},
		"ready, the last day":          {true, func(*walk) {}, l.PickupDays, true, false},
		"ready, for good":              {true, func(*walk) {}, l.PickupDays + 1, false, true},
	} {
		w.offer("lid.stl")
		if c.ready {
			w.moveTo(job.Agreed, job.Printing, job.Ready)
			w.ours(templates.TextReady, ledger.DraftSent)
		}
		at := w.now
		w.now = at.Add(time.Minute)
		c.do(w)
		w.now = at.AddDate(0, 0, c.days)
		w.must(w.o.SeeQuotes(w.ctx))
		w.must(w.o.SeePickups(w.ctx))
		asked, over := w.asked(ledger.StepReminder)+w.asked(ledger.StepPickupReminder) > 0, w.job().Stage == job.Lapsed
		if asked != c.asked || over != c.over {
			t.Errorf("%s, after %d days: asked for %v, closed %v; want %v, %v", name, c.days, asked, over, c.asked, c.over)
		}
	}
}

// What the patron wrote since makes it the house's turn, until staff have dealt with it;
// thanks do not. The silence counts from when they did.
func TestSilenceByTheirLetters(t *testing.T) {
	w := newWalk(t, 1)
	const question, thanks = "Is PLA strong enough for a coat?", "Thank you very much!"
	for name, c := range map[string]struct {
		text    string
		state   ledger.LetterState
		told    bool // there is a notice about it
		settled bool
		ourTurn bool
	}{
		"a question":            {question, ledger.LetterDone, true, false, true},
		"a question dealt with": {question, ledger.LetterDone, true, true, false},
		"thanks":                {thanks, ledger.LetterDone, false, false, false},
		"thanks, told of":       {thanks, ledger.LetterDone, true, true, false},
		"thanks, set aside":     {thanks, ledger.LetterSetAside, false, false, true},
		"not read yet":          {"", "", false, false, true},
	} {
		w.offer("lid.stl")
		sent := w.now
		w.now = w.now.Add(time.Hour)
		id := w.writes(c.text, c.state)
		if c.told {
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.AddNotice(w.ctx, ledger.NoticeQuestion, id, job.Plain("")) }))
		}
		w.now = w.now.Add(time.Hour)
		want := sent
		if c.settled {
			want = w.now
			w.must(w.o.CloseLetter(w.ctx, id, clerk))
		}
		got, err := w.o.silence(w.ctx, w.ids[0])
		w.must(err)
		if got.ourTurn != c.ourTurn || !got.from.Equal(want) {
			t.Errorf("%s: our turn %v, from %v; want %v, %v", name, got.ourTurn, got.from, c.ourTurn, want)
		}
	}
}

// writes ties a letter to the first job, as it stands once it was understood; without a
// state it was not read yet.
func (w *walk) writes(text string, state ledger.LetterState) string {
	w.t.Helper()
	w.uid++
	sha, n, err := w.l.PutBlob(w.ctx, ledger.KindLetter, strings.NewReader(fmt.Sprint(w.uid, text)), 0)
	w.must(err)
	id, _, err := w.l.Take(w.ctx, ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: w.uid, SHA256: sha, Bytes: n, ReceivedAt: w.now})
	w.must(err)
	s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepRead)
	w.must(err)
	w.must(w.l.Done(w.ctx, s))
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
		if err := tx.Link(w.ctx, w.ids[0], id, ledger.RoleAnswer); err != nil || state == "" {
			return err
		}
		if err := tx.SaveParsed(w.ctx, id, job.Letter{From: w.job().Patron, Text: text, Language: "en", Disposition: job.Answer, Authenticated: job.Pass}, ledger.Robot); err != nil {
			return err
		}
		return tx.SetLetter(w.ctx, id, state, ledger.Robot, job.Plain(""))
	}))
	return id
}

// When a letter was dealt with: with the last of its notices, and never while one is open.
func TestWhenALetterWasDealtWith(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	id, other := w.writes("one", ledger.LetterDone), w.writes("another", ledger.LetterDone)
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
		w.must(tx.AddNotice(w.ctx, ledger.NoticeUnproven, id, job.Plain("")))
		w.must(tx.AddNotice(w.ctx, ledger.NoticeQuestion, id, job.Plain("")))
		return tx.AddNotice(w.ctx, ledger.NoticeTooLate, other, job.Plain(""))
	}))
	settle := func(kind ledger.NoticeKind, letter string) time.Time {
		w.now = w.now.Add(time.Hour)
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SettleLetter(w.ctx, kind, letter, clerk) }))
		got, err := w.o.settled(w.ctx, id)
		w.must(err)
		return got
	}
	if got := settle(ledger.NoticeUnproven, id); !got.IsZero() {
		t.Errorf("one is open: %v", got)
	}
	if got := settle(ledger.NoticeQuestion, id); !got.Equal(w.now) {
		t.Errorf("both are dealt with: %v, want %v", got, w.now)
	}
	last := w.now
	if got := settle(ledger.NoticeTooLate, other); !got.Equal(last) {
		t.Errorf("another letter's: %v, want %v", got, last)
	}
}

// A reminder is written of those jobs of a conversation that still wait for the patron,
// can be printed, and were not reminded of.
func TestWhatAReminderIsOf(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		do    func(w *walk)
		kind  ledger.StepKind
		about int
	}{
		"two":               {func(*walk) {}, ledger.StepReminder, 2},
		"one given up":      {func(w *walk) { w.moveTo(job.Withdrawn) }, ledger.StepReminder, 1},
		"one reminded of":   {func(w *walk) { w.ours(templates.TextReminder, ledger.DraftSent) }, ledger.StepReminder, 1},
		"of the pickup":     {func(*walk) {}, ledger.StepPickupReminder, 0},
		"one not printable": {func(w *walk) { w.unprintable() }, ledger.StepReminder, 1},
		"too early":         {func(w *walk) { w.now = w.now.Add(-time.Millisecond) }, ledger.StepReminder, 0},
	} {
		w.offer("lid.stl", "box.stl")
		w.now = w.now.AddDate(0, 0, w.o.Rules.Limits.ReminderDays)
		c.do(w)
		w.must(w.l.Enqueue(w.ctx, c.kind, w.thread, time.Time{}))
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, c.kind)
		w.must(err)
		w.must(w.o.Remind(w.ctx, s))
		waiting := w.waiting()
		if c.about == 0 && len(waiting) == 0 {
			continue
		}
		if len(waiting) != 1 || len(waiting[0].Jobs) != c.about || waiting[0].Kind != templates.TextReminder {
			t.Errorf("%s: %+v wait, want one about %d", name, waiting, c.about)
		}
	}
}

// unprintable has something stop the first job.
func (w *walk) unprintable() {
	w.t.Helper()
	j := w.job()
	j.Report.Findings = append(j.Report.Findings, job.Finding{Code: job.CodeTooBig, Level: job.Stop})
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SaveJob(w.ctx, j, clerk, job.Plain("")) }))
}

// A quote is closed by the calendar only where it stands as it was seen.
func TestLapseLooksAgain(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	w.offer("lid.stl")
	rows, err := w.l.Jobs(w.ctx, ledger.Filter{Stages: []job.Stage{job.Quoted}})
	w.must(err)
	w.letter("Yes please, go ahead.")
	w.wantStage(job.Agreed)
	for _, row := range rows {
		w.must(w.o.lapse(w.ctx, row, "no-answer"))
		j, err := w.l.Job(w.ctx, row.ID)
		if want := row.ID != w.ids[0]; err != nil || (j.Stage == job.Lapsed) != want {
			t.Errorf("%s: %s, %v", row.ID, j.Stage, err)
		}
	}
}

// Whose hand a letter with a file is in: the patron's, or somebody else's, whose file is
// a request of their own.
func TestWhoseHandAFileComesFrom(t *testing.T) {
	w := newWalk(t, 1)
	const signed = "Could you print this, please?\n\nThanks,\nDee Porter"
	for name, c := range map[string]struct {
		text   string
		change func(in *incoming, t *ledger.Thread)
		other  bool
	}{
		"another name":                    {signed, func(*incoming, *ledger.Thread) {}, true},
		"the patron's":                    {"Here it is.\n\nThanks,\nAda Marlowe", func(*incoming, *ledger.Thread) {}, false},
		"their first name":                {"Here it is.\n\nThanks,\nAda", func(*incoming, *ledger.Thread) {}, false},
		"no name, from the patron":        {"Here it is.", func(*incoming, *ledger.Thread) {}, false},
		"no name at all":                  {"Here it is.", func(in *incoming, _ *ledger.Thread) { in.l.From.Name = "" }, false},
		"without a file":                  {signed, func(in *incoming, _ *ledger.Thread) { in.l.Attachments = nil }, false},
		"not proven":                      {signed, func(in *incoming, _ *ledger.Thread) { in.l.Authenticated = job.Fail }, false},
		"decided by a person":             {signed, func(in *incoming, _ *ledger.Thread) { in.by = clerk }, false},
		"a parent":                        {"I am her mother. Here is the file.\n\nThanks,\nDee Porter", func(*incoming, *ledger.Thread) {}, false},
		"another address and name":        {signed, other("dee@example.org", "Dee Porter", false), true},
		"another address, who may":        {signed, other("dee@example.org", "Dee Porter", true), false},
		"another address, the same name":  {signed, other("ada@other.example", "Ada Marlowe", false), false},
		"another address, a name of ours": {"Here it is.\n\nThanks,\nAda Marlowe", other("dee@example.org", "Dee Porter", false), false},
	} {
		w.offer("lid.stl")
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			in := &incoming{o: w.o, tx: tx, id: "L", l: &job.Letter{Language: "en", Text: c.text, From: w.job().Patron, Authenticated: job.Pass,
				Attachments: []job.Attachment{{Name: "box.stl", Kind: job.KindMesh, SHA256: "ab", Path: "kept"}}}}
			thread := ledger.Thread{Token: w.thread, SameSender: true}
			c.change(in, &thread)
			_, got, err := in.otherHand(w.ctx, thread, []job.Job{w.job()})
			if got != c.other {
				t.Errorf("%s: somebody else's %v", name, got)
			}
			return err
		}))
	}
}

func other(address, name string, may bool) func(in *incoming, t *ledger.Thread) {
	return func(in *incoming, t *ledger.Thread) {
		in.l.From, t.SameSender = job.Address{Name: name, Address: address}, may
	}
}

// Who signed as now before is the same hand.
func TestSignedAsBefore(t *testing.T) {
	w := newWalk(t, 1)
	for first, other := range map[string]bool{"Please print this in blue.\n\nThanks,\nDee Porter": false, "Please print this in blue.\n\nThanks,\nAda Marlowe": true} {
		w.another()
		w.letter(first, "lid.stl")
		w.work()
		rows, err := w.l.Jobs(w.ctx, ledger.Filter{Patron: w.patron})
		w.must(err)
		j, err := w.l.Job(w.ctx, rows[0].ID)
		w.must(err)
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			in := &incoming{o: w.o, tx: tx, id: "L", l: &job.Letter{Language: "en", Text: "Here it is.\n\nThanks,\nDee Porter", From: j.Patron, Authenticated: job.Pass,
				Attachments: []job.Attachment{{Name: "box.stl", Kind: job.KindMesh, SHA256: "ab", Path: "kept"}}}}
			_, got, err := in.otherHand(w.ctx, ledger.Thread{SameSender: true}, []job.Job{j})
			if got != other {
				t.Errorf("after %q: somebody else's %v", first, got)
			}
			return err
		}))
	}
}

// What is a name in a letter's last line.
func TestNameInTheLastLine(t *testing.T) {
	for text, want := range map[string]string{
		"Here it is.\n\nThanks,\nAda": "Ada", "Here it is.\n\nThanks\nAda": "", "Here it is.\nAda Marlowe": "Ada Marlowe", "Ada Marlowe": "",
		"Here it is.\nAda Mary Ann Marlowe": "", "Here it is.\nAda Mary Marlowe": "Ada Mary Marlowe", "Here it is.\nada marlowe": "",
		"Here it is.\nAda-Lou O'Neil": "Ada-Lou O'Neil", "Here it is.\nAda-Lou O’Neil": "Ada-Lou O’Neil", "Here it is.\nAda M.": "Ada M.",
		"Here it is.\nAda 2": "", "Here it is.\nAda, Marlowe": "", "": "",
	} {
		if got := signature(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	for _, c := range []struct {
		a, b string
		want bool
	}{{"Ada", "Ada Marlowe", true}, {"A. Marlowe", "Ada Marlowe", true}, {"Ada Marlowe", "Ad", true}, {"Marlowe", "Ada Marlowe", true}, {"Marlowe Ada", "Ada Marlowe", false},
		{"Dee Porter", "Ada Marlowe", false}, {"", "Ada", false}, {"Ada", "", false}} {
		if got := sameName(c.a, c.b); got != c.want {
			t.Errorf("%q and %q: the same %v", c.a, c.b, got)
		}
	}
}

// A person who takes a letter for the patron's word records a parent only where it is
// proven, says so, and is not the patron.
func TestWhoIsRecordedAsAParent(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		change func(in *incoming, j job.Job)
		want   bool
	}{
		"a parent":          {func(*incoming, job.Job) {}, true},
		"by itself":         {func(in *incoming, _ job.Job) { in.by = "" }, false},
		"not proven":        {func(in *incoming, _ job.Job) { in.l.Authenticated = job.Fail }, false},
		"says nothing":      {func(in *incoming, _ job.Job) { in.l.Text = "Yes please, go ahead." }, false},
		"from the patron's": {func(in *incoming, j job.Job) { in.l.From = j.Patron }, false},
	} {
		w.offer("lid.stl")
		patron := w.patron
		w.patron = "parent@example.org"
		id := w.letter("I am her mother. Yes please, go ahead.")
		w.patron = patron
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			in := &incoming{o: w.o, tx: tx, id: id, by: clerk, l: &job.Letter{Language: "en", Text: "I am her mother. Yes please, go ahead.", From: job.Address{Address: "parent@example.org"}, Authenticated: job.Pass}}
			c.change(in, w.job())
			return in.recordGuardian(w.ctx, []job.Job{w.job()})
		}))
		if got, err := w.l.Guardians(w.ctx, w.thread); err != nil || (len(got) > 0) != c.want {
			t.Errorf("%s: recorded %q, %v", name, got, err)
		}
	}
}

// Who is told how to begin: the new ones, once. Who is not proven is as new as a stranger.
func TestWhoIsNew(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		newcomers, elsewhere, here, proven bool
		want                               bool
	}{
		"a stranger":                  {true, false, false, true, true},
		"where nothing is said of it": {false, false, false, true, false},
		"known from elsewhere":        {true, true, false, true, false},
		"known, not proven":           {true, true, false, false, true},
		"told in this conversation":   {true, false, true, true, false},
		"told in it, and not proven":  {true, false, true, false, false},
	} {
		r := *rules.Default()
		r.Library.Newcomers = nil
		if c.newcomers {
			r.Library.Newcomers = []rules.Newcomer{{Say: map[string]string{"en": "Begin at the desk."}}}
		}
		w.o.Rules = &r
		w.another()
		w.sign()
		patron := w.patron
		if c.elsewhere {
			w.asks("box.stl")
			w.leave()
			w.another()
			w.patron = patron
		}
		w.asks("lid.stl")
		if c.here {
			w.leave()
		}
		if got, err := w.o.isNew(w.ctx, w.job(), c.proven); err != nil || got != c.want {
			t.Errorf("%s: new %v, %v", name, got, err)
		}
	}
}

// What other settings do to what a patron was told, by the stage and by whether the
// terms differ.
func TestEffectOfSettings(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	for _, c := range []struct {
		stage  job.Stage
		draft  string
		priced bool
		differ bool
		want   Effect
	}{
		{job.Quoted, "", true, true, EffectOffered}, {job.Quoted, "", true, false, EffectNone}, {job.Quoted, "D-1", true, false, EffectRewritten},
		{job.Quoted, "", false, true, EffectLater}, {job.NeedsAgreement, "", true, true, EffectOffered}, {job.NeedsAgreement, "", false, true, EffectLater},
		{job.Agreed, "", true, true, EffectOffList}, {job.Agreed, "", true, false, EffectNone}, {job.Agreed, "", false, true, EffectLater},
		{job.Failed, "", true, true, EffectOffList}, {job.Drafted, "", true, true, EffectLater}, {job.Checked, "", true, true, EffectLater},
	} {
		n := NewSettings{Seen: w.job(), Settings: w.job().Settings, Report: *w.job().Report, Draft: c.draft}
		n.Seen.Stage = c.stage
		if !c.priced {
			n.Seen.Report = nil
		}
		if c.differ {
			n.Settings.Colour = "red"
		}
		if got := n.Effect(); got != c.want {
			t.Errorf("%s, priced %v, differs %v: %s, want %s", c.stage, c.priced, c.differ, got, c.want)
		}
	}
}

// What follows where an answer to what was asked is taken over: the yes that is kept
// counts, or what is left is asked, once there is a letter to ask it beside.
func TestWhatFollowsAnAnswerTakenOver(t *testing.T) {
	w := newWalk(t, 1)
	elsewhere := job.Wishes{Pickup: "Fernhill"}
	for name, c := range map[string]struct {
		do   func()
		then job.Stage
		ask  bool
	}{
		"offered":         {func() { w.offer("lid.stl") }, job.Quoted, true},
		"a yes is kept":   {func() { w.offer("lid.stl"); w.yesKept() }, job.Quoted, false},
		"unsigned":        {func() { w.request("lid.stl") }, job.NeedsAgreement, true},
		"not yet offered": {func() { w.another(); w.sign(); w.asks("lid.stl") }, job.Drafted, false},
	} {
		c.do()
		id := w.letter("When can I come?")
		open := w.asked(ledger.StepStillNeeded)
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			in := &incoming{o: w.o, tx: tx, id: id, l: &job.Letter{Language: "en", Wishes: elsewhere}}
			return in.take(w.ctx, w.job())
		}))
		if j, ask := w.job(), w.asked(ledger.StepStillNeeded) > open; j.Stage != c.then || ask != c.ask || j.Wishes.Pickup != "Fernhill" {
			t.Errorf("%s: %s at %q, what is left is asked %v", name, j.Stage, j.Wishes.Pickup, ask)
		}
		w.work()
	}
}

// A receipt is written of what was handed over, with what was paid.
func TestReceiptOfWhatWasHandedOver(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		paid string
		back bool
		want int
	}{"paid": {"2.50", false, 1}, "for nothing": {"0", false, 1}, "taken back meanwhile": {"2.50", true, 0}} {
		w.offer("lid.stl")
		w.moveTo(job.Agreed, job.Printing, job.Ready)
		_, err := w.o.Collected(w.ctx, w.ids[0], c.paid, clerk)
		w.must(err)
		payments, err := w.l.Payments(w.ctx, w.ids[0])
		if err != nil || (len(payments) == 1) != (c.paid != "0") {
			t.Errorf("%s: %+v, %v", name, payments, err)
		}
		w.must(w.o.Receipt(w.ctx, w.ids[0]))
		if c.back {
			_, err := w.o.Correct(w.ctx, w.ids[0], job.Collected, clerk, "another part")
			w.must(err)
		}
		s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepReceipt)
		w.must(err)
		w.must(w.o.Thank(w.ctx, s))
		n := 0
		for _, d := range w.waiting() {
			if d.Kind == templates.TextCollected {
				n++
			}
		}
		if n != c.want {
			t.Errorf("%s: %d receipts", name, n)
		}
	}
}

// The price that was quoted is told at the counter, to compare.
func TestPriceAtTheCounter(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	w.moveTo(job.Agreed, job.Printing, job.Ready)
	total := w.job().Report.Quote.Total
	if quoted, err := w.o.Collected(w.ctx, w.ids[0], "9.99", clerk); err != nil || quoted.Total != total {
		t.Errorf("told %+v, %v; quoted was %s", quoted, err, total)
	}
}

// What a person read in a letter stands over what the program read, wish by wish.
func TestWhatAPersonReadStands(t *testing.T) {
	one, two, tenth, fifth, scale := 1, 2, 0.1, 0.2, 2.0
	read := func() job.Wishes {
		return job.Wishes{Copies: &one, Colours: []string{"blue"}, Size: &job.Size{MM: 40}, Infill: &tenth, Material: "PLA", Pickup: "Central", Items: []job.Item{{Part: "lid"}}}
	}
	for name, c := range map[string]struct {
		by   job.Wishes
		want func(w *job.Wishes)
	}{
		"nothing":  {job.Wishes{}, func(*job.Wishes) {}},
		"copies":   {job.Wishes{Copies: &two}, func(w *job.Wishes) { w.Copies, w.Items = &two, nil }},
		"colours":  {job.Wishes{Colours: []string{"red"}}, func(w *job.Wishes) { w.Colours, w.Items = []string{"red"}, nil }},
		"a size":   {job.Wishes{Size: &job.Size{MM: 50}}, func(w *job.Wishes) { w.Size = &job.Size{MM: 50} }},
		"a scale":  {job.Wishes{Scale: &scale}, func(w *job.Wishes) { w.Size, w.Scale = nil, &scale }},
		"infill":   {job.Wishes{Infill: &fifth}, func(w *job.Wishes) { w.Infill = &fifth }},
		"a branch": {job.Wishes{Pickup: "Fernhill"}, func(w *job.Wishes) { w.Pickup = "Fernhill" }},
	} {
		want := read()
		c.want(&want)
		if got := mergeRead(read(), c.by); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, want %+v", name, got, want)
		}
	}
}

// The files of a request beyond the house's limit are opened with the yes, each once, and
// up to the limit again.
func TestTheRestIsOpenedWithTheYes(t *testing.T) {
	w := newWalk(t, 1)
	r := *w.o.Rules
	r.Limits.FilesPerLetter = 2
	w.o.Rules = &r
	w.another()
	w.sign()
	w.edit = func(l *job.Letter) {
		l.Attachments = append(l.Attachments, job.Attachment{Name: "form.pdf", Kind: job.KindDocument, SHA256: l.Attachments[0].SHA256, Path: "kept"},
			job.Attachment{Name: "lost.stl", Kind: job.KindMesh})
	}
	w.asks("a.stl", "b.stl", "c.stl", "d.stl", "e.stl")
	w.edit = nil
	w.leave()
	files := func() (out []string) {
		jobs, err := w.l.JobsIn(w.ctx, w.thread)
		w.must(err)
		for _, j := range jobs {
			out = append(out, j.File)
		}
		slices.Sort(out)
		return out
	}
	for i, want := range [][]string{{"a.stl", "b.stl"}, {"a.stl", "b.stl", "c.stl", "d.stl"}, {"a.stl", "b.stl", "c.stl", "d.stl", "e.stl"}, {"a.stl", "b.stl", "c.stl", "d.stl", "e.stl"}} {
		if got := files(); !slices.Equal(got, want) {
			t.Errorf("after %d times yes: %q, want %q", i, got, want)
		}
		w.letter("Yes please, go ahead.")
		w.work()
		w.leave()
	}
}
