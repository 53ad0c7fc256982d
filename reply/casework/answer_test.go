package casework

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/templates"
)

// offer begins a conversation of somebody else in the same ledger, and lets its quote
// leave.
func (w *walk) offer(files ...string) {
	w.t.Helper()
	w.another()
	w.sign()
	w.asks(files...)
	w.approve()
	w.work()
	w.wantStage(job.Quoted)
}

// request begins a conversation of somebody else, who has signed nothing.
func (w *walk) request(files ...string) {
	w.t.Helper()
	w.another()
	w.asks(files...)
}

// another lets somebody else write from now on.
func (w *walk) another() {
	w.edit, w.thread, w.ids, w.trail = nil, "", nil, nil
	w.said, w.agreed, w.unclear = map[job.ID]told{}, map[job.ID]*told{}, map[string]bool{}
	w.patron = fmt.Sprintf("ada%d@example.org", w.uid)
}

func (w *walk) asks(files ...string) {
	w.t.Helper()
	id := w.letter("Please print this in blue, one copy, to collect at Millbrook.", files...)
	w.work()
	jobs, err := w.l.JobsOf(w.ctx, id)
	w.must(err)
	for _, j := range jobs {
		w.ids, w.thread = append(w.ids, j.ID), j.Thread
	}
}

// moveTo brings the first job by hand to a stage, by way of others.
func (w *walk) moveTo(way ...job.Stage) {
	w.t.Helper()
	for _, to := range way {
		if to == job.Agreed {
			w.letter("Yes please, go ahead.")
			w.wantStage(to)
			continue
		}
		w.must(w.l.Move(w.ctx, w.ids[0], to, clerk, job.Plain("")))
	}
}

// open are the kinds of the notices about a letter that nobody has dealt with.
func (w *walk) open(letter string) (out []string) {
	list, err := w.l.Notices(w.ctx, false)
	w.must(err)
	for _, n := range list {
		if n.About(letter) {
			out = append(out, string(n.Kind))
		}
	}
	slices.Sort(out)
	return out
}

func (w *walk) job() job.Job {
	w.t.Helper()
	j, err := w.l.Job(w.ctx, w.ids[0])
	w.must(err)
	return j
}

var (
	unproven = func(l *job.Letter) { l.Authenticated = job.Fail }
	unknown  = func(l *job.Letter) { l.Authenticated = job.None }
	cousin   = func(l *job.Letter) { l.From.Address = "cousin@example.net" }
	paper    = func(l *job.Letter) {
		l.Attachments = append(l.Attachments, job.Attachment{Name: "form.pdf", Kind: job.KindDocument, SHA256: strings.Repeat("0", 64)})
	}
)

// What an answer does to its job in each stage: only its patron's proven word moves it,
// what is unclear goes to a person, and what comes too late changes nothing.
func TestWhatAnAnswerDoes(t *testing.T) {
	const yes, no = "Yes please, go ahead.", "No thank you, please cancel it."
	const three, red, there = "Please make it three copies.", "In red, please.", "I will collect it at Fernhill."
	agreed := []job.Stage{job.Agreed}
	printing, ready := append(agreed, job.Printing), append(agreed, job.Printing, job.Ready)
	collected := append(slices.Clone(ready), job.Collected)
	w := newWalk(t, 1)
	for _, c := range []struct {
		before []job.Stage
		text   string
		edit   func(*job.Letter)
		want   job.Stage
		told   ledger.NoticeKind // what is left to staff; "" is nothing
	}{
		{nil, yes, nil, job.Agreed, ""},
		{nil, yes, unproven, job.Quoted, ledger.NoticeUnproven},
		{nil, yes, unknown, job.Quoted, ledger.NoticeUnproven},
		{nil, yes, cousin, job.Quoted, ledger.NoticeUnproven},
		{nil, no, unproven, job.Quoted, ledger.NoticeUnproven},
		{nil, no, cousin, job.Quoted, ledger.NoticeUnproven},
		{nil, no, nil, job.Withdrawn, ""},
		{nil, three, nil, job.Taken, ""},
		{nil, three, cousin, job.Quoted, ledger.NoticeUnproven},
		{nil, red, nil, job.Taken, ""},
		{nil, "Please make it nicer.", nil, job.Quoted, ledger.NoticeQuestion},
		{nil, "Is PLA strong enough for a coat?", nil, job.Quoted, ledger.NoticeQuestion},
		{nil, yes + " But only if my mother allows it.", nil, job.Quoted, ledger.NoticeQuestion},
		{nil, "Thank you very much!", nil, job.Quoted, ledger.NoticeQuestion}, // a price waits for a plain word
		{agreed, "Thank you very much!", nil, job.Agreed, ""},
		{agreed, yes, nil, job.Agreed, ""},
		{agreed, no, nil, job.Withdrawn, ""},
		{agreed, three, nil, job.Taken, ""},
		{agreed, red, nil, job.Taken, ""},
		{agreed, there, nil, job.Agreed, ""},
		{agreed, yes + " " + red, nil, job.Taken, ""},
		{printing, yes, nil, job.Printing, ""},
		{printing, no, nil, job.Printing, ledger.NoticeTooLate},
		{printing, three, nil, job.Printing, ledger.NoticeTooLate},
		{printing, red, nil, job.Printing, ledger.NoticeTooLate},
		{printing, yes + " " + red, nil, job.Printing, ledger.NoticeTooLate},
		{printing, there, nil, job.Printing, ""},
		{ready, there, nil, job.Ready, ""},
		{ready, three, nil, job.Ready, ledger.NoticeTooLate},
		{collected, no, nil, job.Collected, ledger.NoticeTooLate},
		{collected, yes, nil, job.Collected, ""},
		{[]job.Stage{job.Withdrawn}, yes, nil, job.Taken, ""},
		{[]job.Stage{job.Withdrawn}, no, nil, job.Withdrawn, ""},
		{[]job.Stage{job.Lapsed}, yes, nil, job.Taken, ""},
		{[]job.Stage{job.Lapsed}, yes, unproven, job.Lapsed, ledger.NoticeUnproven},
		{[]job.Stage{job.Declined}, yes, nil, job.Declined, ledger.NoticeYesToWhat},
		{[]job.Stage{job.Declined}, red, nil, job.Taken, ""},
	} {
		w.offer("lid.stl")
		w.moveTo(c.before...)
		w.edit = c.edit
		id := w.letter(c.text)
		var told []string
		if c.told != "" {
			told = []string{string(c.told)}
		}
		if j := w.job(); j.Stage != c.want || !slices.Equal(w.open(id), told) {
			t.Errorf("%v, %q: %s, left to staff %q; want %s, %q", c.before, c.text, j.Stage, w.open(id), c.want, told)
		}
		if j := w.job(); c.text == there && j.Wishes.Pickup != "Fernhill" || c.edit != nil && j.Wishes.Pickup != "Millbrook" {
			t.Errorf("%v, %q: collected at %q", c.before, c.text, j.Wishes.Pickup)
		}
		if jobs, err := w.l.JobsIn(w.ctx, w.thread); err != nil || len(jobs) != 1 {
			t.Errorf("%v, %q: %d jobs, %v", c.before, c.text, len(jobs), err)
		}
	}
}

// A paper that comes while a signed agreement is missing is shown to staff as such, from
// the patron's proven address alone; what it says beside that is taken too.
func TestPaperWhileTheAgreementIsMissing(t *testing.T) {
	w := newWalk(t, 1)
	signed := func(l *job.Letter) { paper(l) }
	for name, c := range map[string]struct {
		text string
		edit func(*job.Letter)
		told []string
	}{
		"the form":       {"Here it is.", signed, []string{"agreement-form"}},
		"of nobody":      {"Here it is.", func(l *job.Letter) { paper(l); unproven(l) }, []string{"answer-unproven"}},
		"of a parent":    {"Here it is.", func(l *job.Letter) { paper(l); cousin(l) }, []string{"agreement-form"}},
		"a photograph":   {"Here it is.", func(l *job.Letter) { paper(l); l.Attachments[0].Kind = job.KindPicture }, []string{"agreement-form"}},
		"another thing":  {"Here it is.", func(l *job.Letter) { paper(l); l.Attachments[0].Kind = job.KindOther }, []string{"question"}},
		"nothing kept":   {"Here it is.", func(l *job.Letter) { paper(l); l.Attachments[0].SHA256 = "" }, []string{"question"}},
		"and a yes":      {"Yes please, go ahead. Here it is.", signed, []string{"agreement-form"}},
		"and a question": {"Is PLA strong enough for a coat?", signed, []string{"agreement-form", "question"}},
	} {
		w.request("lid.stl")
		w.approve()
		w.work()
		w.wantStage(job.NeedsAgreement)
		w.edit = c.edit
		id := w.letter(c.text)
		if got := w.open(id); !slices.Equal(got, c.told) {
			t.Errorf("%s: left to staff %q, want %q", name, got, c.told)
		}
		w.wantStage(job.NeedsAgreement)
	}
}

// A letter that brings a file corrects the patron's part; the same file once more changes
// nothing, and another person's file is a request of their own.
func TestFileInAnAnswer(t *testing.T) {
	w := newWalk(t, 1)
	for name, c := range map[string]struct {
		text   string
		edit   func(*job.Letter)
		stage  job.Stage
		here   int // jobs of the conversation then
		begun  int // jobs of a conversation of its own
		untold bool
	}{
		"a new version":      {"Here is the corrected file.", nil, job.Taken, 1, 0, true},
		"signed as ever":     {"Here is the corrected file.\n\nThanks,\nAda", nil, job.Taken, 1, 0, true},
		"another signature":  {"Could you print mine too?\n\nThanks,\nBruno", nil, job.Quoted, 1, 1, true},
		"another's address":  {"Could you print mine too?", func(l *job.Letter) { cousin(l); l.From.Name = "Bruno Diaz" }, job.Quoted, 1, 1, true},
		"of nobody":          {"Here is the corrected file.", unproven, job.Quoted, 1, 0, false},
		"a parent's address": {"I am her mother. Here is the corrected file.", func(l *job.Letter) { cousin(l); l.From.Name = "Bruna Diaz" }, job.Quoted, 1, 0, false},
	} {
		w.offer("lid.stl")
		before, err := w.l.Jobs(w.ctx, ledger.Filter{})
		w.must(err)
		blob := w.job().Blob
		w.edit = c.edit
		id := w.letter(c.text, "lid.stl")
		after, err := w.l.Jobs(w.ctx, ledger.Filter{})
		w.must(err)
		here, err := w.l.JobsIn(w.ctx, w.thread)
		w.must(err)
		if j := w.job(); j.Stage != c.stage || len(here) != c.here || len(after)-len(before) != c.here-1+c.begun || (len(w.open(id)) == 0) != c.untold || (j.Blob != blob) != (c.stage == job.Taken) {
			t.Errorf("%s: %s, %d jobs here, %d more, left to staff %q", name, j.Stage, len(here), len(after)-len(before), w.open(id))
		}
	}
	w.offer("lid.stl")
	w.edit = func(l *job.Letter) { l.Attachments[0].SHA256 = w.job().Blob }
	w.letter("Yes please, go ahead.", "lid.stl")
	w.wantStage(job.Agreed)
}

// A file under another name is a part beside the first where its letter says so, or where
// the first is agreed to and the letter counts or colours the new one; else it takes the
// first one's place.
func TestFurtherPartInAnAnswer(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		language, text string
		agreed         bool
		file           string
		first          job.Stage
		jobs           int
	}{
		{"en", "Here is another part that I forgot, the hook. Just one, in red.", true, "hook.stl", job.Agreed, 2},
		{"en", "Here is another part that I forgot, the hook. Just one, in red.", false, "hook.stl", job.Quoted, 2},
		{"fr", "Voici une autre pièce que j'avais oubliée, le crochet. Un seul, gris.", true, "crochet.stl", job.Agreed, 2},
		{"es", "Aquí va otra pieza que se me olvidó, el gancho. Una sola, gris.", true, "gancho.stl", job.Agreed, 2},
		{"en", "And the hook. Two of it, please, in red.", true, "hook.stl", job.Agreed, 2},
		{"en", "Yes please, go ahead. I also have a hook.", false, "hook.stl", job.Agreed, 2},
		{"en", "Here is another version, with the hole closed.", true, "hook.stl", job.Taken, 1},
		{"en", "Here is the file that I meant to send. Two of it, in red.", true, "hook.stl", job.Taken, 1},
		{"fr", "Voici une autre version, corrigée. Deux, en rouge.", true, "couvercle-2.stl", job.Taken, 1},
		{"es", "Aquí va otra versión corregida. Dos, en rojo.", true, "gancho.stl", job.Taken, 1},
		{"en", "Two of it, please, in red.", true, "lid-2.stl", job.Taken, 1},
		{"en", "Here is the file.", true, "hook.stl", job.Taken, 1},
		{"en", "Here is the file.", false, "hook.stl", job.Taken, 1},
	} {
		w.offer("lid.stl")
		if c.agreed {
			w.moveTo(job.Agreed)
		}
		w.edit = func(l *job.Letter) { l.Language = c.language }
		w.letter(c.text, c.file)
		here, err := w.l.JobsIn(w.ctx, w.thread)
		w.must(err)
		if j := w.job(); j.Stage != c.first || len(here) != c.jobs {
			t.Errorf("%q, agreed %v: the first is %s, %d jobs; want %s, %d", c.text, c.agreed, j.Stage, len(here), c.first, c.jobs)
		}
		if last := here[len(here)-1]; last.Wishes.Pickup != "Millbrook" || last.File != c.file {
			t.Errorf("%q: %s is to be collected at %q", c.text, last.File, last.Wishes.Pickup)
		}
	}
}

// A yes beside a question about collecting is kept, and counts when the question is
// answered; one beside any other question is none.
func TestYesBesideAQuestionOfCollecting(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		language, text string
		kept           bool
	}{
		{"en", "Yes, please go ahead. Could my brother pick it up for me?", true},
		{"fr", "Oui, allez-y. Est-ce que mon chum peut aller le chercher à ma place?", true},
		{"es", "Sí, adelante. ¿Puede pasar mi primo a recogerlo en mi lugar?", true},
		{"en", "Yes, please go ahead. Will it be strong enough to hold a coat?", false},
		{"en", "Yes, please go ahead. How much would it be at half the size?", false},
		{"en", "Yes, please go ahead. Could my friend have one too?", false},
	} {
		w.offer("lid.stl")
		w.edit = func(l *job.Letter) { l.Language = c.language }
		id := w.letter(c.text)
		w.work()
		w.wantStage(job.Quoted)
		y, ok, err := w.l.OpenYes(w.ctx, w.ids[0])
		w.must(err)
		if ok != c.kept || ok && (y.State != ledger.YesKept || y.Who != "patron") {
			t.Errorf("%q: a yes is kept %v, %+v", c.text, ok, y)
		}
		w.must(w.o.CloseLetter(w.ctx, id, clerk))
		w.work()
		want := job.Quoted
		if c.kept {
			want = job.Agreed
		}
		w.wantStage(want)
	}
}

// A letter about two parts that is written anew when one of them was given up, before the
// robot has come to it, is one about the other.
func TestLetterAboutTheOnlyPartThatIsLeft(t *testing.T) {
	w := newWalk(t, 1)
	w.another()
	w.sign()
	w.asks("lid.stl", "bottom.stl")
	d := w.waiting()[0]
	if d.Kind != templates.TextSeveral {
		t.Fatalf("the letter is a %s", d.Kind)
	}
	w.letter("I no longer need the bottom. The lid stays as it is.")
	j := w.job()
	set := j.Settings
	set.Copies = 2
	report, err := w.o.Recheck(w.ctx, j.ID, set)
	w.must(err)
	w.must(w.o.TakeOver(w.ctx, NewSettings{Seen: j, Settings: set, Report: report, By: clerk, Draft: d.ID, Base: d.SHA256}))
	if text := WrittenOf(w.waiting()[0]).Markdown; !strings.Contains(text, "taken bottom.stl off") || strings.Contains(text, "1 files") {
		t.Errorf("the letter says:\n%s", text)
	}
}

// A change that comes too late for one of two parts is made to the other, and a person is
// told of the one that it came too late for.
func TestChangeTooLateForOnePart(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		text string
		told bool
	}{
		{"Please make them in red.", true},
		{"Please make the bottom in red.", false},
	} {
		w.offer("lid.stl", "bottom.stl")
		w.moveTo(job.Agreed, job.Printing)
		id := w.letter(c.text)
		w.wantStage(job.Printing)
		if other, err := w.l.Job(w.ctx, w.ids[1]); err != nil || other.Stage != job.Taken {
			t.Errorf("%q: the other is %s, %v", c.text, other.Stage, err)
		}
		if told := slices.Contains(w.open(id), string(ledger.NoticeTooLate)); told != c.told {
			t.Errorf("%q: a person is told %v", c.text, told)
		}
	}
}

// What was declined or given up stays so when another file comes in its conversation; the
// same part drawn anew takes its place.
func TestFileAfterTheEnd(t *testing.T) {
	w := newWalk(t, 1)
	for _, c := range []struct {
		stage      job.Stage
		file       string
		stays      bool
		what, text string
	}{
		{job.Declined, "wand.stl", true, "another part", "Fair enough. Could you print this wand for me instead? One in black."},
		{job.Withdrawn, "wand.stl", true, "another part", "Here is what I would like instead, one in black."},
		{job.Declined, "lid.stl", false, "the same name", "Here is a corrected version."},
		{job.Withdrawn, "lid-2.stl", false, "a version by its name", "Here is a corrected version."},
	} {
		w.offer("lid.stl")
		w.must(w.l.Move(w.ctx, w.ids[0], c.stage, clerk, job.Plain("")))
		w.letter(c.text, c.file)
		w.work()
		here, err := w.l.JobsIn(w.ctx, w.thread)
		w.must(err)
		first := w.job()
		if stays := first.Stage == c.stage && first.File == "lid.stl" && len(here) == 2; stays != c.stays {
			t.Errorf("%s after %s: %d jobs, the first is %s, %s", c.what, c.stage, len(here), first.File, first.Stage)
		}
	}
}

// Settings that are changed on the page while the reply waits have it written anew, whether
// or not the page shows it.
func TestSettingsWhileTheReplyWaits(t *testing.T) {
	w := newWalk(t, 1)
	for _, withDraft := range []bool{true, false} {
		w.request("lid.stl")
		w.sign()
		w.work()
		d := w.waiting()[0]
		j := w.job()
		set := j.Settings
		set.LayerMM = 0.3
		report, err := w.o.Recheck(w.ctx, j.ID, set)
		w.must(err)
		n := NewSettings{Seen: j, Settings: set, Report: report, By: clerk}
		if withDraft {
			n.Draft, n.Base = d.ID, d.SHA256
		}
		w.must(w.o.TakeOver(w.ctx, n))
		w.work()
		w.approve()
		w.work()
		w.wantStage(job.Quoted)
		if offer, ok, err := w.l.LastOffer(w.ctx, j.ID); err != nil || !ok || offer.Terms.LayerMM != 0.3 {
			t.Errorf("with the reply %v: offered %+v, %v", withDraft, offer.Terms, err)
		}
	}
}

// A yes with a wish that comes too late for one part waits for the other part too, until a
// person has seen the letter.
func TestYesTooLateForOnePart(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	w.moveTo(job.Agreed, job.Printing)
	w.letter("Here is another part that I forgot.", "hook.stl")
	w.work()
	w.approve()
	w.work()
	hook := func() job.Job {
		jobs, err := w.l.JobsIn(w.ctx, w.thread)
		w.must(err)
		return jobs[len(jobs)-1]
	}
	late := w.letter("Yes please, go ahead. In black, please.")
	w.work()
	if told := w.open(late); hook().Stage != job.Quoted || !slices.Equal(told, []string{string(ledger.NoticeTooLate)}) {
		t.Errorf("%s is %s, a person is told %v", hook().File, hook().Stage, told)
	}
	w.must(w.o.CloseLetter(w.ctx, late, clerk))
	if j := hook(); j.Stage != job.Agreed || j.Settings.Colour != "black" {
		t.Errorf("once it is dealt with, %s is %s in %s", j.File, j.Stage, j.Settings.Colour)
	}
	w.wantStage(job.Printing)
}
