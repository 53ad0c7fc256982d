package casework

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/quote"
	"meshclerk/rules"
	"meshclerk/templates"
)

// walk takes random turns in conversations: letters of a patron, acts of staff, the
// clock, and the robot's steps in between. Beside the program it keeps its own book of
// what was said: from the text of the letters that left and of those that came, not
// from what the ledger says was offered and agreed.
type walk struct {
	t   *testing.T
	o   *Office
	l   *ledger.Ledger
	ctx context.Context
	rng *rand.Rand
	now time.Time
	uid uint32

	patron, thread string
	ids            []job.ID
	said           map[job.ID]told      // in the last letter with a price
	agreed         map[job.ID]*told     // to which the patron has said yes, and nothing else since
	chosen         map[job.ID]string    // the colour in the patron's own words
	unclear        map[string]bool      // letters that nobody has dealt with
	was            map[job.ID]job.Stage // before the turn
	trail          []string
	twoParts       bool // the conversation began with a lid and a bottom
	parts          int  // yeses to one part of two
	listed         int  // how often a job came onto the print list
	turns          int
	edit           func(*job.Letter) // what is otherwise in the letters that come; may be nil
}

// told is what one letter said of a part.
type told struct {
	draft string
	terms job.Terms
	price string // as it stands in the text
	asked []string
}

const clerk = "Marisol Teague"

// texts are the built-in reply texts, read once.
var texts = sync.OnceValue(templates.Default)

func newWalk(t *testing.T, seed uint64) *walk {
	w := &walk{t: t, ctx: t.Context(), rng: rand.New(rand.NewPCG(seed, 13)), now: time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)}
	dir, err := os.MkdirTemp("/dev/shm", "walk-")
	if err != nil {
		dir, err = os.MkdirTemp("", "walk-")
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if w.l, err = ledger.Open(w.ctx, dir, nil, func() time.Time { return w.now }); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.l.Close() })
	r := rules.Default()
	w.o = &Office{Ledger: w.l, Rules: r, Templates: texts(), Domain: "larkfield.example", Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return w.now }}
	w.o.examine = w.examine
	return w
}

// examine stands for preflight and estimate: time and plastic go with the copies, the
// volume, the layers and the supports.
func (w *walk) examine(_ context.Context, j job.Job) (*job.Report, float64, error) {
	s := w.o.Rules.Settings(j)
	scale := cmp.Or(s.Scale, wishedScale(j.Wishes, [3]float64{40, 30, 20}), 1)
	grams := 4 * scale * scale * scale * float64(s.Copies) * (1 + s.Infill)
	if s.Supports == "yes" {
		grams *= 1.2
	}
	e := job.Estimate{PrintTimeS: 900 * grams * 0.2 / s.LayerMM, MassG: grams, Plates: 1, Material: s.Material, LayerMM: s.LayerMM, Shells: s.Shells, Infill: s.Infill,
		Copies: s.Copies, Scale: scale, Printer: w.o.Rules.Printers[0].Name}
	e.LowS, e.HighS, e.PlateTimeS = e.PrintTimeS*0.9, e.PrintTimeS*1.1, e.PrintTimeS
	q, err := quote.Price(e, w.o.Rules.Prices, w.now)
	if err != nil {
		return nil, 0, err
	}
	return &job.Report{File: j.File, Readable: true, Format: "binary", Mesh: &job.Shape{SizeMM: [3]float64{40 * scale, 30 * scale, 20 * scale}, Watertight: true},
		Findings: []job.Finding{}, Fit: &job.Fit{Fits: true, ScaleToFit: 1}, Estimate: &e, Quote: &q}, scale, nil
}

func (w *walk) note(format string, args ...any) {
	w.trail = append(w.trail, fmt.Sprintf(format, args...))
}

func (w *walk) must(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatalf("%v\n%s", err, strings.Join(w.trail, "\n"))
	}
}

// begin opens a conversation with one part or two.
func (w *walk) begin() {
	w.thread, w.ids, w.trail = "", nil, nil
	w.patron = fmt.Sprintf("ada%d@example.org", w.turns)
	w.said, w.agreed, w.chosen, w.unclear, w.was = map[job.ID]told{}, map[job.ID]*told{}, map[job.ID]string{}, map[string]bool{}, map[job.ID]job.Stage{}
	files := []string{"lid.stl", "bottom.stl"}[:1+w.rng.IntN(2)]
	w.twoParts = len(files) == 2
	text := w.pick("Could you print this, please?", "Please print this in blue, to collect at Millbrook.", "Two copies in red please. I will come to Central.")
	w.letter(text, files...)
	w.work()
	rows, err := w.l.Jobs(w.ctx, ledger.Filter{Open: true})
	w.must(err)
	for _, row := range rows {
		if row.Stage != job.Declined && row.Made.Equal(w.now) {
			w.ids = append(w.ids, row.ID)
		}
	}
	if len(w.ids) == 0 {
		w.t.Fatal("the conversation has no job")
	}
	j, err := w.l.Job(w.ctx, w.ids[0])
	w.must(err)
	w.thread = j.Thread
	if w.rng.IntN(3) > 0 {
		w.sign()
	}
}

func (w *walk) pick(of ...string) string { return of[w.rng.IntN(len(of))] }

// letter lets the patron write; it comes as the parser would give it.
func (w *walk) letter(text string, files ...string) string {
	w.uid++
	raw := fmt.Sprintf("letter %d: %s", w.uid, text)
	sha, n, err := w.l.PutBlob(w.ctx, ledger.KindLetter, strings.NewReader(raw), 0)
	w.must(err)
	id, _, err := w.l.Take(w.ctx, ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: w.uid, SHA256: sha, Bytes: n, ReceivedAt: w.now})
	w.must(err)
	l := &job.Letter{From: job.Address{Name: "Ada Marlowe", Address: w.address()}, Subject: "A print", MessageID: fmt.Sprintf("<%d@example.org>", w.uid), Language: "en",
		Authenticated: job.Pass, Text: text, Date: w.now, Disposition: job.Request}
	for _, f := range files {
		blob, size, err := w.l.PutBlob(w.ctx, ledger.KindMesh, strings.NewReader(raw+f), 0)
		w.must(err)
		l.Attachments = append(l.Attachments, job.Attachment{Name: f, Kind: job.KindMesh, Bytes: size, SHA256: blob, Path: "kept"})
	}
	if w.thread != "" {
		l.Subject, l.Disposition = "Re: A print ["+w.thread+"]", job.Answer
	} else {
		l.Wishes = w.o.understand(l, known{})
	}
	s, err := w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepRead)
	w.must(err)
	if s == nil || s.Subject != id {
		w.must(w.l.Enqueue(w.ctx, ledger.StepRead, id, time.Time{}))
		s, err = w.l.Lease(w.ctx, "walk", time.Hour, ledger.StepRead)
		w.must(err)
	}
	if w.edit != nil {
		w.edit(l)
	}
	w.note("patron: %s %v", text, files)
	w.must(w.o.Receive(w.ctx, s, l))
	return id
}

func (w *walk) address() string { return w.patron }

func (w *walk) sign() {
	w.note("agreement signed")
	_, err := w.l.UpsertAgreements(w.ctx, []agreement.Entry{{Address: w.address(), Name: "Ada Marlowe", Signed: "2026-11-20", Version: w.o.Rules.Agreement.Current}}, clerk, "")
	w.must(err)
	w.must(w.o.Resume(w.ctx))
}

// work carries out what the robot has to do, the sending too.
func (w *walk) work() {
	for range 200 {
		s, err := w.l.Lease(w.ctx, "walk", time.Hour)
		w.must(err)
		if s == nil {
			return
		}
		switch s.Kind {
		case ledger.StepCheck:
			err = w.o.Check(w.ctx, s)
		case ledger.StepDraft:
			err = w.o.Draft(w.ctx, s)
		case ledger.StepStillNeeded:
			err = w.o.AskWhatIsLeft(w.ctx, s)
		case ledger.StepQuestion:
			err = w.o.Frame(w.ctx, s)
		case ledger.StepSend:
			err = w.send(s)
		default: // what only the mailbox sees
			err = w.l.Done(w.ctx, s)
		}
		w.must(err)
	}
	w.t.Fatalf("the robot comes to no end\n%s", strings.Join(w.trail, "\n"))
}

// send lets a reply leave, and writes down what it says.
func (w *walk) send(s *ledger.Step) error {
	if d, err := w.l.Draft(w.ctx, s.Subject); err != nil || d.State != ledger.DraftApproved {
		return cmp.Or(err, w.l.Done(w.ctx, s))
	} else if dropped, err := w.o.DropOvertaken(w.ctx, s, d); dropped || err != nil {
		w.note("%s is not sent: overtaken", d.ID)
		return err
	}
	try, raw, err := w.l.BeginSend(w.ctx, s.Subject, "walk")
	if err != nil {
		return w.l.Done(w.ctx, s)
	}
	d, err := w.l.Draft(w.ctx, s.Subject)
	w.must(err)
	w.must(w.l.Tx(w.ctx, func(tx *ledger.Tx) error {
		if err := tx.EndSend(w.ctx, try, ledger.Delivered, job.Plain(""), ledger.Robot); err != nil {
			return err
		}
		if err := w.o.AfterSent(w.ctx, tx, d.ID); err != nil {
			return err
		}
		return tx.Done(w.ctx, s)
	}))
	w.note("sent %s (%s, %d bytes)", d.ID, d.Kind, len(raw))
	doc := WrittenOf(d)
	if d.Kind == templates.TextQuestion {
		delete(w.unclear, d.Letter)
		return nil
	}
	if !slices.Contains([]string{templates.TextQuote, templates.TextChangedQuote, templates.TextSeveral, templates.TextNeedsAgreement, templates.TextAgreementExpired, templates.TextAgreementArrived}, d.Kind) {
		return nil
	}
	for _, j := range doc.Jobs {
		if j.Report == nil || j.Report.Quote == nil || j.Stage == job.Withdrawn {
			continue
		}
		price := "$" + j.Report.Quote.Total
		if !strings.Contains(doc.Markdown, price) {
			w.t.Fatalf("the letter %s does not name the price %s that its record has\n%s\n%s", d.ID, price, doc.Markdown, strings.Join(w.trail, "\n"))
		}
		terms, _ := j.Terms()
		at := told{draft: d.ID, terms: terms, price: price}
		for _, q := range doc.Questions {
			at.asked = append(at.asked, q.Key)
		}
		w.said[j.ID] = at
	}
	return nil
}

// turn is one random act, and what it means for the book of what was said.
func (w *walk) turn() {
	w.turns++
	for _, id := range w.ids {
		j, err := w.l.Job(w.ctx, id)
		w.must(err)
		if w.was[id] = j.Stage; endsOffer[j.Stage] {
			delete(w.said, id) // it is offered anew where it is taken up again
		}
	}
	switch n := w.rng.IntN(100); {
	case n < 2:
		w.saysYesAndAsks("Yes, please go ahead. Could my brother pick it up for me?")
	case n < 3 && len(w.ids) < 4:
		w.addsAPart()
	case n < 20:
		w.saysYes(w.pick("Yes please, go ahead.", "Yes, go ahead.", "Looks good, please print it."), "")
	case n < 26:
		c := w.pick("red", "green", "black")
		w.saysYes("Yes please, go ahead. In "+c+", please.", c)
	case n < 30:
		w.saysYes("Yes please, go ahead. I will collect it at Fernhill.", "")
	case n < 35:
		c := w.pick("red", "green", "white")
		w.changes("In "+c+", please.", c)
	case n < 38 && w.twoParts:
		w.ofParts()
	case n < 42:
		w.changes(w.pick("Could I have three of them instead?", "Please make it two copies.", "Please make it 80 mm long instead.", "I would like 40% infill instead."), "")
	case n < 45:
		w.changes("No thank you, please cancel it.", "")
	case n < 51:
		id := w.letter(w.pick("Is PLA strong enough for a coat?", "When can I come?", "My cousin says the moon is nearer in winter, by the way; six of us saw it."))
		w.mark(id)
	case n < 53:
		w.changes("Here is a new version of the file.", "")
	case n < 70:
		w.approve()
	case n < 73:
		w.putOff()
	case n < 79:
		w.settings()
	case n < 84:
		w.dealWith()
	case n < 88:
		w.decide()
	case n < 90:
		w.sign()
	case n < 92:
		w.note("a day goes by")
		w.now = w.now.AddDate(0, 0, w.rng.IntN(9))
	case n < 97:
		w.print()
	default:
		w.endOrTakeUp()
	}
	if w.rng.IntN(5) > 0 { // else the next act comes before the robot has worked
		w.work()
	}
	w.look()
}

// endsOffer are the stages with which an offer ends.
var endsOffer = map[job.Stage]bool{job.Declined: true, job.Withdrawn: true, job.Lapsed: true}

// mark notes a letter that was left to staff.
func (w *walk) mark(letter string) {
	open, err := w.l.Notices(w.ctx, false)
	w.must(err)
	for _, n := range open {
		if n.About(letter) {
			w.unclear[letter] = true
		}
	}
}

func (w *walk) saysYes(text, colour string) {
	id := w.letter(text)
	w.mark(id)
	if w.unclear[id] && !slices.Contains(w.open(id), string(ledger.NoticeTooLate)) {
		return // the program could make nothing of it; a person decides
	}
	w.agrees(colour) // where it was too late for one part, the yes to another waits for a person
}

// saysYesAndAsks is a yes whose letter is left to staff for what it asks beside: it is to
// the last offer, and counts when they have dealt with the letter.
func (w *walk) saysYesAndAsks(text string) {
	w.mark(w.letter(text))
	w.agrees("")
}

// addsAPart is a letter in the conversation with a further file.
func (w *walk) addsAPart() {
	id := w.letter("Here is another part that I forgot.", fmt.Sprintf("hook%d.stl", w.uid))
	w.mark(id)
	jobs, err := w.l.JobsOf(w.ctx, id)
	w.must(err)
	for _, j := range jobs {
		if !slices.Contains(w.ids, j.ID) {
			w.ids = append(w.ids, j.ID)
		}
	}
}

// agrees books a yes to what was said last of each part.
func (w *walk) agrees(colour string) {
	for _, j := range w.ids {
		at, ok := w.said[j]
		if !ok {
			continue
		}
		was := w.was[j]
		if colour != "" && was != job.Printing && was != job.Ready && (!was.Over() || w.reopens(was)) {
			w.chosen[j] = colour // of what was agreed already, it is another wish
		}
		if was == job.Agreed || was == job.Printing || was == job.Ready || was == job.Failed || was.Over() {
			continue // said again, after it was agreed or over
		}
		w.agreed[j] = &at
	}
}

// reopens reports whether a yes to what was given up or has lapsed asks for it again:
// nothing else was offered.
func (w *walk) reopens(was job.Stage) bool {
	return (was == job.Withdrawn || was == job.Lapsed) && !slices.ContainsFunc(w.ids, func(id job.ID) bool { return offered[w.was[id]] })
}

// ofParts is a letter that says one thing of one part and another of the other.
func (w *walk) ofParts() {
	parts := map[string]job.ID{}
	for _, id := range w.ids {
		j, err := w.l.Job(w.ctx, id)
		w.must(err)
		parts[j.File] = id
	}
	yes, other := "lid", "bottom"
	if w.rng.IntN(2) == 0 {
		yes, other = other, yes
	}
	does := w.pick("I no longer need the "+other+".", "Two copies of the "+other+", please.", "The "+other+" in green, please.", "The "+other+" stays as it is.")
	id := w.letter("Yes to the " + yes + ". " + does)
	w.mark(id)
	if w.unclear[id] {
		return
	}
	if strings.HasSuffix(does, "in green, please.") {
		w.chosen[parts[other+".stl"]] = "green"
	}
	if was := w.was[parts[other+".stl"]]; strings.HasPrefix(does, "I no") && was != job.Printing && was != job.Ready {
		w.agreed[parts[other+".stl"]] = nil
	}
	j := parts[yes+".stl"]
	at, ok := w.said[j]
	if was := w.was[j]; !ok || was == job.Agreed || was == job.Printing || was == job.Ready || was == job.Failed || was.Over() {
		return
	}
	w.parts++
	w.agreed[j] = &at
}

// changes is a letter that says neither yes nor, but for one, no.
func (w *walk) changes(text, colour string) {
	var files []string
	if strings.Contains(text, "new version") {
		files = []string{"lid.stl"}
	}
	id := w.letter(text, files...)
	w.mark(id)
	if w.unclear[id] && !slices.Contains(w.open(id), string(ledger.NoticeTooLate)) {
		return // a person says what it means
	}
	for _, j := range w.ids {
		if colour != "" {
			w.chosen[j] = colour
		}
		if was := w.was[j]; strings.HasPrefix(text, "No") && was != job.Printing && was != job.Ready {
			w.agreed[j] = nil
		}
	}
}

func (w *walk) approve() {
	list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Thread: w.thread, States: []ledger.DraftState{ledger.DraftWaiting}})
	w.must(err)
	for _, d := range list {
		w.note("staff approve %s (%s)", d.ID, d.Kind)
		if err := w.o.Approve(w.ctx, d.ID, d.SHA256, clerk, ledger.ViaPage); err != nil {
			w.note("refused: %v", err)
			if !strings.Contains(err.Error(), "faults.overtaken") {
				w.must(err)
			}
		}
	}
}

func (w *walk) putOff() {
	list, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Thread: w.thread, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftSetAside}})
	w.must(err)
	for _, d := range list {
		if d.State == ledger.DraftWaiting {
			w.note("staff put %s off", d.ID)
			w.must(w.o.SetAside(w.ctx, d.ID, clerk, "later"))
		} else {
			w.note("staff take %s up", d.ID)
			_ = w.l.Tx(w.ctx, func(tx *ledger.Tx) error { return tx.Reopen(w.ctx, d.ID, clerk, job.Plain("")) }) // another may wait meanwhile
		}
	}
}

// settings is what staff do on the page: with the reply that waits, or without one.
func (w *walk) settings() {
	j, err := w.l.Job(w.ctx, w.ids[w.rng.IntN(len(w.ids))])
	w.must(err)
	if j.Report == nil {
		return
	}
	s := j.Settings
	switch w.rng.IntN(5) {
	case 0:
		s.LayerMM = []float64{0.1, 0.3}[w.rng.IntN(2)]
	case 1:
		s.Supports = w.pick("yes", "no")
	case 2:
		s.Copies = 1 + w.rng.IntN(4)
	case 3:
		s.Colour = w.pick("blue", "yellow")
	default:
		s.Printer = w.o.Rules.Printers[w.rng.IntN(2)].Name // changes nothing that was agreed
	}
	report, err := w.o.Recheck(w.ctx, j.ID, s)
	w.must(err)
	n := NewSettings{Seen: j, Settings: s, Report: report, By: clerk}
	waiting, err := w.l.Drafts(w.ctx, ledger.DraftFilter{Job: j.ID, States: []ledger.DraftState{ledger.DraftWaiting}})
	w.must(err)
	if len(waiting) > 0 && w.rng.IntN(2) == 0 {
		n.Draft, n.Base = waiting[0].ID, waiting[0].SHA256
	}
	err = w.o.TakeOver(w.ctx, n)
	w.note("staff set %+v: %v", s, err)
	if err != nil && !strings.Contains(err.Error(), "printed-as-agreed") {
		w.must(err)
	}
}

func (w *walk) dealWith() {
	open, err := w.l.Notices(w.ctx, false)
	w.must(err)
	for _, n := range open {
		w.note("staff put notice %s (%s) away", n.ID, n.Kind)
		w.must(w.o.CloseNotice(w.ctx, n.ID, 0, clerk))
		for _, l := range append(n.Letters, n.Subject) {
			delete(w.unclear, l)
		}
	}
}

// decide lets staff say what a letter that was left to them means.
func (w *walk) decide() {
	letters := slices.Sorted(maps.Keys(w.unclear))
	if len(letters) == 0 {
		return
	}
	letter := letters[0]
	as := job.Reply(w.pick("accept", "decline", "change"))
	d := Decision{Letter: letter, As: as, By: clerk}
	if two := 2; as == job.Change {
		d.Wishes.Copies = &two
	}
	err := w.o.Decide(w.ctx, d)
	w.note("staff take %s as %s: %v", letter, as, err)
	if err != nil {
		if !strings.Contains(err.Error(), "faults.not-so") {
			w.must(err)
		}
		return
	}
	delete(w.unclear, letter)
	for _, j := range w.ids {
		was := w.was[j]
		switch at, ok := w.said[j]; {
		case as == job.Decline && was != job.Printing && was != job.Ready:
			w.agreed[j] = nil
		case as == job.Accept && ok && was != job.Agreed && was != job.Printing && was != job.Ready && !was.Over():
			w.agreed[j] = &at
		}
	}
}

func (w *walk) print() {
	for _, id := range w.ids {
		j, err := w.l.Job(w.ctx, id)
		w.must(err)
		switch {
		case j.Stage == job.Agreed && w.rng.IntN(2) == 0:
			w.note("%s goes onto the printer", id)
			err := w.o.Start(w.ctx, id, clerk)
			if busy, ok := errors.AsType[*BusyError](err); ok { // of another conversation, or of this one
				w.note("%s waits for %v", id, busy.Running)
				w.must(w.o.Printed(w.ctx, busy.Running[0], Spent{Hours: 1, Grams: 4}, clerk))
				continue
			}
			w.must(err)
		case j.Stage == job.Ready && w.rng.IntN(4) == 0, j.Stage == job.Printing && w.rng.IntN(8) == 0:
			w.note("%s was wrongly %s", id, j.Stage)
			_, err := w.o.Correct(w.ctx, id, j.Stage, clerk, "the wrong row")
			w.must(err)
		case j.Stage == job.Printing && w.rng.IntN(2) == 0:
			w.note("%s fails", id)
			w.must(w.o.PrintFailed(w.ctx, id, Spent{}, clerk, "it came loose"))
		case j.Stage == job.Failed:
			w.note("%s again", id)
			w.must(w.o.PutOff(w.ctx, id, clerk, "again"))
		case j.Stage == job.Printing:
			w.note("%s is ready", id)
			w.must(w.o.Printed(w.ctx, id, Spent{Hours: 1, Grams: 4}, clerk))
		}
	}
}

func (w *walk) endOrTakeUp() {
	id := w.ids[w.rng.IntN(len(w.ids))]
	j, err := w.l.Job(w.ctx, id)
	w.must(err)
	if j.Stage == job.Declined {
		w.note("%s is taken up again", id)
		w.must(w.o.TakeUp(w.ctx, id, clerk))
		w.agreed[id] = nil
		return
	}
	if job.MayGo(j.Stage, job.Declined) {
		w.note("%s is declined", id)
		w.must(w.o.Close(w.ctx, id, job.Declined, clerk, "no"))
		w.agreed[id] = nil
	}
}

// look holds the promise: no job is ever on the print list at terms that were not in
// the last letter that the patron agreed to.
func (w *walk) look() {
	for _, id := range w.ids {
		j, err := w.l.Job(w.ctx, id)
		w.must(err)
		if j.Stage != job.Agreed && j.Stage != job.Printing {
			continue
		}
		bad := func(format string, args ...any) {
			w.t.Fatalf("turn %d, job %s (%s, was %s): %s\n%s", w.turns, id, j.Stage, w.was[id], fmt.Sprintf(format, args...), strings.Join(w.trail, "\n"))
		}
		at := w.agreed[id]
		if at == nil {
			bad("nobody has said yes to what is on the print list")
		}
		if what := w.beside(j, *at); what != "" {
			bad("%s", what)
		}
		if was := w.was[id]; was == job.Agreed || was == job.Printing || was == job.Failed || was == job.Ready { // ready: it was recorded by mistake
			continue
		}
		w.listed++
		if what := w.beside(j, w.said[id]); what != "" {
			bad("since the last offer: %s", what)
		}
		if len(w.unclear) > 0 {
			bad("it came onto the list while letters %v are with staff", w.unclear)
		}
		if j.Agreement == nil || j.Agreement.State != job.AgreementGood {
			bad("it came onto the list without an agreement")
		}
		if j.Wishes.Pickup == "" || j.Settings.Colour == "" {
			bad("it came onto the list without a branch or a colour")
		}
	}
}

// beside says what of a job is not as a letter said it, but for a colour that the
// letter left to the patron and the patron named.
func (w *walk) beside(j job.Job, at told) string {
	terms, ok := j.Terms()
	if !ok || "$"+terms.Total != at.price {
		return fmt.Sprintf("it costs %s, and the letter %s said %s", terms.Total, at.draft, at.price)
	}
	for _, what := range terms.Differ(at.terms) {
		if what != job.TermColour || !slices.Contains(at.asked, "colour") || terms.Colour != w.chosen[j.ID] {
			return fmt.Sprintf("its %s is not what the letter %s said: %+v, said %+v", what, at.draft, terms, at.terms)
		}
	}
	return ""
}

// No job is ever on the print list at terms that were not in the last letter that the
// patron agreed to. MESHCLERK_TURNS sets how many turns are taken.
func TestNothingIsPrintedThatWasNotAgreed(t *testing.T) {
	turns := 1200
	if n, err := strconv.Atoi(os.Getenv("MESHCLERK_TURNS")); err == nil {
		turns = n
	}
	seed := uint64(14) // the same walk each time; MESHCLERK_SEED takes another
	if n, err := strconv.ParseUint(os.Getenv("MESHCLERK_SEED"), 10, 64); err == nil {
		seed = n
	}
	t.Logf("MESHCLERK_SEED=%d", seed)
	w := newWalk(t, seed)
	talks := 0
	for w.turns < turns {
		if w.turns%40 == 0 {
			w.now = w.now.Add(time.Hour)
			w.begin()
			talks++
		}
		w.turn()
	}
	t.Logf("%d turns in %d conversations; a job came onto the print list %d times, %d yeses were to one part of two", w.turns, talks, w.listed, w.parts)
	if w.listed < turns/100 {
		t.Errorf("only %d jobs came onto the print list: the walk does not get far enough to prove anything", w.listed)
	}
}
