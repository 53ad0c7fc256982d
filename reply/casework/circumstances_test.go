package casework

import (
	"slices"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Where a use case asks for several circumstances at once, each row here differs in one
// of them.

// A letter that begins a conversation of its own is left to staff where it may be meant
// for another of its proven sender's; else it is a request, or nobody's.
func TestLetterThatMayBeMeantForAnother(t *testing.T) {
	w := newWalk(t, 1)
	const asks = "Please print this in blue, one copy, to collect at Millbrook."
	enquiry := func(l *job.Letter) { l.Disposition = job.Enquiry }
	brings := func(name string, same bool) func(l *job.Letter) {
		return func(l *job.Letter) {
			sha := w.job().Blob
			if !same {
				sha = l.Attachments[0].SHA256
			}
			l.Attachments = []job.Attachment{{Name: name, Kind: job.KindMesh, Bytes: 1, SHA256: sha, Path: "kept"}}
		}
	}
	for name, c := range map[string]struct {
		after []job.Stage
		text  string
		file  string
		edit  func(l *job.Letter)
		open  []string
		jobs  int
	}{
		"names the part":               {nil, "Please cancel the lid.", "", nil, []string{string(ledger.NoticeStray)}, 0},
		"names a part that is over":    {[]job.Stage{job.Withdrawn}, "About the lid: is it gone?", "", enquiry, []string{string(ledger.NoticeStray)}, 0},
		"names none":                   {nil, "Could you print a vase for me?", "", nil, nil, 1},
		"names it, with another model": {nil, "Please cancel the lid.", "", func(l *job.Letter) { l.Attachments = []job.Attachment{{Name: "lid.obj", Kind: job.KindModel}} }, nil, 1},
		"names it, not proven":         {nil, "Please cancel the lid.", "", func(l *job.Letter) { l.Authenticated = job.Fail }, nil, 1},
		"asks":                         {nil, "When do you open?", "", enquiry, []string{string(ledger.NoticeStray)}, 0},
		"asks, not proven":             {nil, "When do you open?", "", func(l *job.Letter) { l.Disposition, l.Authenticated = job.Enquiry, job.Fail }, nil, 0},
		"asks when all is over":        {[]job.Stage{job.Withdrawn}, "When do you open?", "", enquiry, nil, 0},
		"thanks":                       {nil, "Thank you very much!", "", enquiry, nil, 0},
		"says yes":                     {nil, "Yes please, go ahead.", "", nil, []string{string(ledger.NoticeStray)}, 0},
		"says no":                      {nil, "No thank you, please cancel it.", "", nil, []string{string(ledger.NoticeStray)}, 0},
		"automatic":                    {nil, "Yes please, go ahead.", "", func(l *job.Letter) { l.Disposition = job.Automatic }, nil, 0},
		"the same file again":          {nil, asks, "lid.stl", brings("lid.stl", true), []string{string(ledger.NoticeStray)}, 0},
		"it under another name":        {nil, asks, "lid.stl", brings("cover.stl", true), nil, 1},
		"another under its name":       {nil, asks, "lid.stl", brings("lid.stl", false), nil, 1},
		"it with another wish":         {nil, "Please print this in red, one copy, to collect at Millbrook.", "lid.stl", brings("lid.stl", true), nil, 1},
		"it when it is agreed":         {[]job.Stage{job.Agreed}, asks, "lid.stl", brings("lid.stl", true), nil, 1},
		"it when it is over":           {[]job.Stage{job.Withdrawn}, asks, "lid.stl", brings("lid.stl", true), nil, 1},
		"it beside another": {nil, asks, "lid.stl", func(l *job.Letter) {
			again := l.Attachments[0]
			again.Name, again.SHA256 = "lid.stl", w.job().Blob
			l.Attachments[0].Name = "box.stl"
			l.Attachments = append(l.Attachments, again)
		}, nil, 2},
	} {
		w.offer("lid.stl")
		w.moveTo(c.after...)
		w.thread, w.edit = "", c.edit
		var files []string
		if c.file != "" {
			files = []string{c.file}
		}
		id := w.letter(c.text, files...)
		jobs, err := w.l.JobsOf(w.ctx, id)
		w.must(err)
		if got := w.open(id); !slices.Equal(got, c.open) || len(jobs) != c.jobs {
			t.Errorf("%s: left to staff as %q with %d jobs, want %q with %d", name, got, len(jobs), c.open, c.jobs)
		}
	}
}

// A document in a letter of its own may be the agreement that its proven sender's job
// waits for.
func TestFormThatComesByItself(t *testing.T) {
	w := newWalk(t, 1)
	with := func(a job.Attachment, change func(l *job.Letter)) func(l *job.Letter) {
		return func(l *job.Letter) {
			l.Disposition, l.Attachments = job.Enquiry, []job.Attachment{a}
			if change != nil {
				change(l)
			}
		}
	}
	paper := job.Attachment{Name: "form.pdf", Kind: job.KindDocument, SHA256: "ab", Path: "kept"}
	photo := job.Attachment{Name: "form.jpg", Kind: job.KindPicture, SHA256: "ab", Path: "kept"}
	for name, c := range map[string]struct {
		signed bool
		edit   func(l *job.Letter)
		form   bool
	}{
		"a paper":                {false, with(paper, nil), true},
		"a photograph":           {false, with(photo, nil), true},
		"one that is not kept":   {false, with(job.Attachment{Name: "form.pdf", Kind: job.KindDocument}, nil), false},
		"a table":                {false, with(job.Attachment{Name: "form.csv", Kind: job.KindOther, SHA256: "ab"}, nil), false},
		"not proven":             {false, with(paper, func(l *job.Letter) { l.Authenticated = job.Fail }), false},
		"automatic":              {false, with(paper, func(l *job.Letter) { l.Disposition = job.Automatic }), false},
		"where none is missing":  {true, with(paper, nil), false},
		"of somebody else's job": {false, with(paper, func(l *job.Letter) { l.From.Address = "dee@example.org" }), false},
	} {
		w.another()
		if c.signed {
			w.sign()
		}
		w.asks("lid.stl")
		w.thread, w.edit = "", c.edit
		id := w.letter("Here it is.")
		jobs, err := w.l.JobsOf(w.ctx, id)
		w.must(err)
		if form := slices.Contains(w.open(id), string(ledger.NoticeForm)); form != c.form || (len(jobs) == 1) != c.form {
			t.Errorf("%s: told as a form %v, of %d jobs", name, form, len(jobs))
		}
	}
}

// What a proven answer of the patron's own proves, and of which jobs.
func TestAnswerProvesTheRequest(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		signed bool
		from   string // "" is the patron
		then   []job.Stage
		proven bool
		check  bool // the agreement is looked up anew
	}{
		"unsigned":   {false, "", nil, true, true},
		"a parent":   {false, "parent@example.org", nil, false, false},
		"given up":   {false, "", []job.Stage{job.Withdrawn}, false, false},
		"not wanted": {true, "", nil, true, false},
	} {
		r := *rules.Default()
		r.Agreement.Required = !c.signed
		w.o.Rules = &r
		w.another()
		w.edit = func(l *job.Letter) { l.Authenticated = job.Fail }
		w.asks("lid.stl")
		w.leave()
		w.moveTo(c.then...)
		w.edit = nil
		patron := w.patron
		if c.from != "" {
			letters, err := w.l.LettersOf(w.ctx, w.ids[0])
			w.must(err)
			w.patron = c.from
			first := w.letter("I am writing for my child.")
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
				return tx.SpeaksFor(w.ctx, w.ids[0], first, clerk, job.Plain(letters[0].ID))
			}))
		}
		w.letter("I will collect it at Fernhill.")
		steps, err := w.l.OpenSteps(w.ctx)
		w.must(err)
		check := slices.ContainsFunc(steps, func(s ledger.OpenStep) bool { return s.Kind == ledger.StepCheck && s.Subject == string(w.ids[0]) })
		if j := w.job(); (j.Auth == job.Pass) != c.proven || check != c.check || j.Patron.Address != patron {
			t.Errorf("%s: %s is %s, checked anew %v; want proven %v, %v", name, j.Stage, j.Auth, check, c.proven, c.check)
		}
		w.work()
	}
}

// What an answer that says neither yes nor no does to a job, by its stage and by what the
// answer changes.
func TestWhatAnAnswerFillsIn(t *testing.T) {
	w := newWalk(t, 1)
	red, elsewhere := job.Wishes{Colours: []string{"red"}}, job.Wishes{Pickup: "Fernhill"}
	two := 2
	more := job.Wishes{Copies: &two}
	printing := []job.Stage{job.Agreed, job.Printing}
	for name, c := range map[string]struct {
		stage  []job.Stage
		wishes job.Wishes
		then   job.Stage
		taken  bool // the wish is in the job
		late   bool
	}{
		"a colour, offered":  {nil, red, job.Quoted, true, false},
		"copies, offered":    {nil, more, job.Taken, true, false},
		"a branch, offered":  {nil, elsewhere, job.Quoted, true, false},
		"a colour, agreed":   {[]job.Stage{job.Agreed}, red, job.Taken, true, false},
		"copies, agreed":     {[]job.Stage{job.Agreed}, more, job.Taken, true, false},
		"a branch, agreed":   {[]job.Stage{job.Agreed}, elsewhere, job.Agreed, true, false},
		"a colour, printing": {printing, red, job.Printing, false, true},
		"copies, printing":   {printing, more, job.Printing, false, true},
		"a branch, printing": {printing, elsewhere, job.Printing, true, false},
		"a colour, given up": {[]job.Stage{job.Withdrawn}, red, job.Withdrawn, false, false},
		"a branch, given up": {[]job.Stage{job.Withdrawn}, elsewhere, job.Withdrawn, false, false},
	} {
		w.offer("lid.stl")
		w.moveTo(c.stage...)
		id := w.letter("When can I come?")
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
			in := &incoming{o: w.o, tx: tx, id: id, l: &job.Letter{Language: "en", Wishes: c.wishes}}
			return in.fillIn(w.ctx, []job.Job{w.job()})
		}))
		j := w.job()
		taken := j.Wishes.Pickup == "Fernhill" || slices.Contains(j.Wishes.Colours, "red") || j.Wishes.Copies != nil && *j.Wishes.Copies == 2
		if late := slices.Contains(w.open(id), string(ledger.NoticeTooLate)); j.Stage != c.then || taken != c.taken || late != c.late {
			t.Errorf("%s: %s, taken over %v, too late %v; want %s, %v, %v", name, j.Stage, taken, late, c.then, c.taken, c.late)
		}
		w.work()
		if j.Stage == job.Printing {
			w.must(w.o.PutOff(w.ctx, w.ids[0], clerk, "for the next"))
		}
	}
}

// A letter of ours that goes out, waits or lies aside, and what it does to the silence of
// a conversation: a reminder and what is said by the way take nothing of an offer back.
func TestSilenceByOurLetters(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		kind              string
		state             ledger.DraftState
		anew              bool // it is the letter that the silence counts from
		from              bool // the silence counts from its day
		reminded, ourTurn bool
	}{
		"an offer":               {templates.TextQuote, ledger.DraftSent, true, true, false, false},
		"an offer put aside":     {templates.TextQuote, ledger.DraftSetAside, true, true, false, false},
		"an offer that waits":    {templates.TextQuote, ledger.DraftWaiting, false, false, false, true},
		"an approved offer":      {templates.TextQuote, ledger.DraftApproved, false, false, false, true},
		"a reminder":             {templates.TextReminder, ledger.DraftSent, false, false, true, false},
		"a reminder that waits":  {templates.TextReminder, ledger.DraftWaiting, false, false, true, false},
		"of the pickup":          {templates.TextPickupReminder, ledger.DraftSent, false, false, true, false},
		"an answer":              {templates.TextQuestion, ledger.DraftSent, false, true, false, false},
		"an answer put aside":    {templates.TextQuestion, ledger.DraftSetAside, false, true, false, false},
		"an answer that waits":   {templates.TextQuestion, ledger.DraftWaiting, false, false, false, true},
		"a receipt":              {templates.TextCollected, ledger.DraftSent, false, true, false, false},
		"what is left to settle": {templates.TextStillNeeded, ledger.DraftSent, false, true, false, false},
	} {
		w.offer("lid.stl")
		before, err := w.o.silence(w.ctx, w.ids[0])
		w.must(err)
		if before.ourTurn || before.reminded || !before.from.Equal(w.now) {
			t.Fatalf("%s: after the offer %+v", name, before)
		}
		w.now = w.now.AddDate(0, 0, 3)
		d := w.ours(c.kind, c.state)
		got, err := w.o.silence(w.ctx, w.ids[0])
		w.must(err)
		if anew, from := got.ours.ID == d.ID, got.from.Equal(w.now); anew != c.anew || from != c.from || got.reminded != c.reminded || got.ourTurn != c.ourTurn {
			t.Errorf("%s: counts from it %v, from its day %v, reminded %v, our turn %v", name, anew, from, got.reminded, got.ourTurn)
		}
	}
	w.another()
	w.asks("lid.stl")
	d := w.ours(templates.TextQuestion, ledger.DraftSent)
	if got, err := w.o.silence(w.ctx, w.ids[0]); err != nil || got.ourTurn || got.ours.ID != d.ID {
		t.Errorf("an answer before any offer: %+v, %v", got, err)
	}
}

// ours writes a letter about the first job, and brings it to a state.
func (w *walk) ours(kind string, state ledger.DraftState) ledger.Draft {
	w.t.Helper()
	return w.oursAbout(kind, state, w.ids[0])
}

// oursAbout is ours about some jobs.
func (w *walk) oursAbout(kind string, state ledger.DraftState, about ...job.ID) (d ledger.Draft) {
	w.t.Helper()
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) (err error) {
		d, _, err = tx.NewDraft(w.ctx, ledger.Draft{Jobs: about, Kind: kind, Language: "en", To: job.Address{Address: w.patron}, MessageID: "<" + ledger.NewThread() + "@larkfield.example>"},
			[]byte("Dear Ada"), ledger.Robot, job.Plain(""))
		if err == nil && state == ledger.DraftSetAside {
			err = tx.SetAside(w.ctx, d.ID, clerk, job.Plain("later"))
		}
		return err
	}))
	if state == ledger.DraftSetAside || state == ledger.DraftWaiting {
		return d
	}
	w.must(w.l.Approve(w.ctx, d.ID, d.SHA256, clerk, ledger.ViaCommand))
	if state == ledger.DraftApproved {
		return d
	}
	try, _, err := w.l.BeginSend(w.ctx, d.ID, "walk")
	w.must(err)
	if state == ledger.DraftSending {
		return d
	}
	outcome := map[ledger.DraftState]ledger.Outcome{ledger.DraftSent: ledger.Delivered, ledger.DraftFailed: ledger.Refused, ledger.DraftUncertain: ledger.Uncertain}[state]
	w.must(w.l.EndSend(w.ctx, try, outcome, job.Plain(""), ledger.Robot))
	return d
}

// Which replies lie aside for a person: the newest about a job that still waits for one.
func TestWhatStillLiesAside(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		kind string
		then func(d ledger.Draft)
		lies bool
	}{
		"put aside":           {templates.TextQuote, func(ledger.Draft) {}, true},
		"checked anew":        {templates.TextQuote, func(ledger.Draft) { w.moveTo(job.Taken) }, false},
		"checked":             {templates.TextQuote, func(ledger.Draft) { w.moveTo(job.Checked) }, false},
		"given up":            {templates.TextQuote, func(ledger.Draft) { w.moveTo(job.Withdrawn) }, false},
		"its end's own":       {templates.TextDeclined, func(ledger.Draft) { w.moveTo(job.Declined) }, true},
		"followed by another": {templates.TextQuote, func(ledger.Draft) { w.ours(templates.TextQuote, ledger.DraftSent) }, false},
	} {
		w.offer("lid.stl")
		d := w.ours(c.kind, ledger.DraftSetAside)
		c.then(d)
		got, err := w.o.Aside(w.ctx)
		w.must(err)
		if lies := slices.ContainsFunc(got, func(x ledger.Draft) bool { return x.ID == d.ID }); lies != c.lies {
			t.Errorf("%s: lies aside %v", name, lies)
		}
	}
	for _, why := range byItself {
		w.offer("lid.stl")
		d := w.ours(templates.TextQuote, ledger.DraftWaiting)
		w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.SetAside(w.ctx, d.ID, ledger.Robot, job.Say(why, nil)) }))
		if got, err := w.o.Aside(w.ctx); err != nil || slices.ContainsFunc(got, func(x ledger.Draft) bool { return x.ID == d.ID }) {
			t.Errorf("%s: lies aside for a person, %v", why, err)
		}
	}
}

// What a person says became of a reply, and what is done then: one that was not sent is
// laid out again, one that was is filed and counts.
func TestWhatAPersonSettlesOfAReply(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		state ledger.DraftState
		sent  bool
		then  ledger.DraftState
		step  ledger.StepKind
	}{
		"uncertain, and sent": {ledger.DraftUncertain, true, ledger.DraftSent, ledger.StepFile},
		"uncertain, and not":  {ledger.DraftUncertain, false, ledger.DraftWaiting, ledger.StepPost},
		"waiting, and sent":   {ledger.DraftWaiting, true, ledger.DraftSent, ledger.StepFile},
		"waiting, and not":    {ledger.DraftWaiting, false, ledger.DraftWaiting, ""},
	} {
		w.offer("lid.stl")
		d := w.ours(templates.TextQuote, c.state)
		err := w.o.Settle(w.ctx, d.ID, c.sent, clerk)
		if (err == nil) != (c.step != "") {
			t.Errorf("%s: %v", name, err)
		}
		got, err := w.l.Draft(w.ctx, d.ID)
		w.must(err)
		steps, err := w.l.OpenSteps(w.ctx)
		w.must(err)
		var kind ledger.StepKind
		for _, s := range steps {
			if s.Subject == d.ID {
				kind = s.Kind
			}
		}
		if got.State != c.then || kind != c.step {
			t.Errorf("%s: %s, then %q; want %s, %q", name, got.State, kind, c.then, c.step)
		}
	}
}

// What was offered and what is agreed, in money, by whether the yes counts.
func TestPricesOfferedAndAgreed(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		do              func()
		offered, agreed bool
	}{
		"not offered": {func() { w.another(); w.asks("lid.stl") }, false, false},
		"offered":     {func() { w.offer("lid.stl") }, true, false},
		"a yes kept":  {func() { w.offer("lid.stl"); w.yesKept() }, true, false},
		"agreed":      {func() { w.offer("lid.stl"); w.moveTo(job.Agreed) }, true, true},
	} {
		c.do()
		total := w.job().Report.Quote.Total
		offered, agreed, err := w.o.Prices(w.ctx, w.ids[0])
		want := map[bool]string{true: total}
		if err != nil || offered != want[c.offered] || agreed != want[c.agreed] {
			t.Errorf("%s: offered %q, agreed %q, %v; the price is %s", name, offered, agreed, err, total)
		}
	}
}

// What stands in the way of a yes that is kept.
func TestWhatAYesWaitsFor(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		do   func()
		kept bool
		want []string
	}{
		"no yes":         {func() {}, false, nil},
		"it counts":      {func() { w.moveTo(job.Agreed) }, false, nil},
		"nothing":        {func() { w.yesKept() }, true, nil},
		"a check":        {func() { w.yesKept(); w.moveTo(job.Taken) }, true, []string{AheadCheck}},
		"one that ended": {func() { w.yesKept(); w.moveTo(job.Checked) }, true, []string{AheadCheck}},
		"a letter":       {func() { w.yesKept(); w.letter("Is PLA strong enough for a coat?") }, true, []string{AheadLetter}},
		"a form": {func() {
			w.yesKept()
			first, err := w.l.LettersOf(w.ctx, w.ids[0])
			w.must(err)
			w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return formCame(w.ctx, tx, first[0].ID, w.ids[0]) }))
		}, true, nil},
	} {
		w.offer("lid.stl")
		c.do()
		ahead, kept, err := w.o.Ahead(w.ctx, w.job())
		var got []string
		for _, a := range ahead {
			got = append(got, a.What)
		}
		if err != nil || kept != c.kept || !slices.Equal(got, c.want) {
			t.Errorf("%s: kept %v, waits for %q, %v; want %v, %q", name, kept, got, err, c.kept, c.want)
		}
		w.work()
	}
}

// Only a finished print with both its hours teaches.
func TestWhichPrintsTeach(t *testing.T) {
	good := ledger.Print{Printer: "A", Good: true, EstHours: 2, Hours: 3}
	for name, c := range map[string]struct {
		change func(p *ledger.Print)
		want   int
	}{
		"good":             {func(*ledger.Print) {}, 1},
		"failed":           {func(p *ledger.Print) { p.Good = false }, 0},
		"without estimate": {func(p *ledger.Print) { p.EstHours = 0 }, 0},
		"without hours":    {func(p *ledger.Print) { p.Hours = 0 }, 0},
	} {
		p := good
		c.change(&p)
		if got := Teaching([]ledger.Print{p}); len(got) != c.want {
			t.Errorf("%s: %d prints teach", name, len(got))
		}
	}
}

// A size that the patron gave settles the question about units, and no other finding.
func TestSizeSettlesTheUnits(t *testing.T) {
	for _, sized := range []bool{true, false} {
		var w job.Wishes
		if sized {
			w.Size = &job.Size{MM: 40}
		}
		r := job.Report{Findings: []job.Finding{{Code: job.CodeUnitsDoubtful, Level: job.Ask, Question: job.Plain("?")}, {Code: job.CodeTooBig, Level: job.Stop, Question: job.Plain("?")}}}
		settleUnits(&r, w)
		if units, other := r.Findings[0], r.Findings[1]; (units.Level == job.Note && units.Question.IsZero()) != sized || other.Level != job.Stop || other.Question.IsZero() {
			t.Errorf("sized %v: %+v", sized, r.Findings)
		}
	}
}

// A part's past is told to its proven patron: what became of the same file before.
func TestWhatBecameOfTheSameFile(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	first := w.job()
	w.now = w.now.Add(time.Hour)
	for name, c := range map[string]struct {
		change func(j *job.Job)
		want   bool
	}{
		"the same file": {func(*job.Job) {}, true},
		"another":       {func(j *job.Job) { j.Blob = "ab" }, false},
		"earlier":       {func(j *job.Job) { j.Made = first.Made }, false},
		"not proven":    {func(j *job.Job) { j.Auth = job.Fail }, false},
		"another's":     {func(j *job.Job) { j.Patron.Address = "dee@example.org" }, false},
	} {
		j := first
		j.ID, j.Made = "LP-9999-999999", w.now
		c.change(&j)
		var told bool
		if seen := w.o.seen(w.ctx, j); seen != nil {
			_, told = seen(j.Blob)
		}
		if told != c.want {
			t.Errorf("%s: told %v", name, told)
		}
	}
}
