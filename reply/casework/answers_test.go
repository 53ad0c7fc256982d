package casework

import (
	"context"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

// However a job stands, there is a sentence for it in every language, with the figures
// that the sentence takes.
func TestHowAJobStandsIsSaid(t *testing.T) {
	b := templates.DefaultBook()
	for _, lang := range []string{"en", "fr", "es"} {
		say := b.In(lang, "en-CA", "CAD")
		for _, s := range []job.Stage{job.Quoted, job.NeedsAgreement, job.Agreed, job.Printing, job.Failed, job.Ready, job.Collected} {
			key, args := standsAt(job.Job{File: "clip.stl", Stage: s}, 2)
			if want := map[job.Stage]string{job.Quoted: "offered", job.NeedsAgreement: "offered", job.Agreed: "agreed", job.Failed: "agreed", job.Printing: "printing", job.Ready: "is-ready", job.Collected: "collected"}[s]; key != "replies.answer."+want {
				t.Errorf("%s: said as %s", s, key)
			}
			if err := say.Missing(job.Say(key, args)); err != nil {
				t.Errorf("%s, %s: %v", lang, s, err)
			}
		}
	}
}

// Thanks are known for thanks, and nothing else is.
func TestOnlyThanks(t *testing.T) {
	w := rules.Default().Words
	for text, want := range map[string]bool{
		"ok thx": true, "\U0001F44D": true, "Wonderful, thank you so much!\n\nIda": true, "Thanks!\nIda Marsh": true,
		"Thank you, but it is broken": false, "thanks, when is it ready?": false,
		"\U0001F44D\U0001F3FB": true, "\U0001F44D\U0001F3FF": true, "\U0001F3FA": false, "\U0001F400": false, // the first and the last tone of a skin, and their neighbours
		strings.Repeat("ok ", 200): true, strings.Repeat("ok ", 200) + "!": false, // 600 bytes at most
		"Thank you ever so much. You have been very kind.\n\nI. Marsh": true, "Thanks, and no hurry at all.\nIda": true, "Thanks, no rush.\n\nI. M.": true, "Thanks.\nB. Marsh": false,
		"Thanks. Make it two.": false, "\U0001F620": false, "": false,
	} {
		l := &job.Letter{From: job.Address{Name: "Ida Marsh"}, Language: "en", Text: text}
		if onlyThanks(l, w) != want {
			t.Errorf("%q: thanks alone: %v, want %v", text, !want, want)
		}
	}
}

// A name at the end of a letter is its writer's; a wish there is not.
func TestSignature(t *testing.T) {
	for text, want := range map[string]string{
		"Please print it.\nFrank Lister": "Frank Lister", "One in red.\n\nThanks,\nFrank\n": "Frank",
		"One in red.\nCentral": "", "One in red.\nAda Mae Byron": "Ada Mae Byron", "One in red.\nAda Mae Byron King": "", "One in red.\nat Millbrook please": "", "Frank Lister": "",
	} {
		if got := signature(text); got != want {
			t.Errorf("%q is signed %q, want %q", text, got, want)
		}
	}
	if !sameName("Tom", "Tom Averill") || !sameName("A. Marlowe", "Ada Marlowe") || sameName("Frank Lister", "Amy Lister") || sameName("", "Amy") {
		t.Error("who shares a first name, or an initial, may be the same")
	}
	if got := questionsIn("Hello.\nWhen is it ready? Thanks.\nAnd where?"); len(got) != 2 || !strings.Contains(got[0], "When is it ready?") || !strings.Contains(got[1], "And where?") {
		t.Errorf("questions: %q", got)
	}
}

// asking are the answers of an office to a letter about jobs.
func (w *walk) asking(text string, jobs ...job.Job) *answers {
	return &answers{o: w.o, l: &job.Letter{Text: text, Language: "en"}, jobs: jobs, say: w.o.Texts().Book().In("en", w.o.Rules.Prices.Locale, w.o.Rules.Prices.Currency)}
}

// keyOf is which of the sentences the first answer is; place is what one takes.
func (a *answers) keyOf(place string, keys ...string) string {
	for _, k := range keys {
		var args job.Args
		if strings.HasSuffix(k, "-at") {
			args = job.Args{"place": place}
		}
		if len(a.said) > 0 && a.say.Say(job.Say("replies.answer."+k, args)) == a.said[0] {
			return k
		}
	}
	return strings.Join(a.said, " ")
}

// What is still missing is said of all parts together, in whatever order they come: what
// is asked before the agreement, that before the yes. A part that is agreed misses nothing,
// nor does one to which a yes is kept.
func TestWhatIsStillMissing(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	whole := w.job()
	w.yesKept()
	kept := w.job()
	whole.ID = "another"
	unsigned, unplaced, neither, agreed := whole, whole, whole, whole
	unsigned.Agreement, neither.Agreement = nil, nil
	unplaced.Wishes.Pickup, neither.Wishes.Pickup = "", ""
	agreed.Stage, agreed.Agreement = job.Agreed, nil
	for name, c := range map[string]struct {
		jobs []job.Job
		want string
	}{
		"the yes": {[]job.Job{whole}, "your-yes"}, "a yes is kept": {[]job.Job{kept}, "nothing"}, "agreed": {[]job.Job{agreed}, "nothing"}, "no job": {nil, "nothing"},
		"the agreement": {[]job.Job{unsigned}, "your-agreement"}, "a branch": {[]job.Job{unplaced}, "your-answers"}, "a branch and the agreement": {[]job.Job{neither}, "your-answers"},
		"the yes to one of two": {[]job.Job{whole, kept}, "your-yes"}, "the agreement of one of two": {[]job.Job{whole, unsigned}, "your-agreement"},
		"the branch of one of two": {[]job.Job{unplaced, whole}, "your-answers"}, "both of one": {[]job.Job{neither, unsigned}, "your-answers"}, "beside one agreed": {[]job.Job{agreed, unsigned}, "your-agreement"},
	} {
		for range 2 {
			a := w.asking("What else do you need?", c.jobs...)
			if ok, err := a.missing(w.ctx, nil); err != nil || !ok {
				t.Fatal(err)
			}
			if got := a.keyOf("", "nothing", "your-yes", "your-agreement", "your-answers"); got != c.want {
				t.Errorf("%s: %q, want %s", name, got, c.want)
			}
			slices.Reverse(c.jobs)
		}
	}
}

// A letter sets a condition where it asks nothing and speaks of paying, or of a sum.
func TestConditionsAndSums(t *testing.T) {
	w := newWalk(t, 1)
	for text, c := range map[string]struct {
		condition bool
		sums      int
	}{
		"Yes, if I pay first.": {true, 0}, "Yes, if it is under 5 dollars.": {true, 1}, "Yes, if it is under $5.": {true, 1}, "Under 5 $, please, or 6 euros.": {true, 2},
		"Do I pay first?": {false, 0}, "Is it under 5 dollars?": {false, 1}, "¿Por 5 dollars": {false, 1}, "Five copies, please.": {false, 0}, "5 copies, please.": {false, 0}, "Make it 5": {false, 0},
		"dollars 5 of them": {false, 0}, "Many dollars, please.": {false, 0},
	} {
		l := &job.Letter{Text: text, Language: "en"}
		if got, n := w.o.setsCondition(l), w.o.pricesIn(l); got != c.condition || n != c.sums {
			t.Errorf("%q: a condition %v, %d sums, want %v, %d", text, got, n, c.condition, c.sums)
		}
	}
}

// A question is about the only job, or about the one that it names, where that has a file.
func TestWhichJobAQuestionIsAbout(t *testing.T) {
	w := newWalk(t, 1)
	lid, bottom := job.Job{ID: "1", File: "lid.stl", Blob: "a"}, job.Job{ID: "2", File: "bottom.stl", Blob: "b"}
	none := job.Job{ID: "3", File: "lid.stl"}
	for name, c := range map[string]struct {
		text string
		jobs []job.Job
		want job.ID
	}{
		"the only one": {"How much is it?", []job.Job{lid}, "1"}, "one of two": {"How much is the bottom?", []job.Job{lid, bottom}, "2"}, "neither": {"How much?", []job.Job{lid, bottom}, ""},
		"both": {"How much are the lid and the bottom?", []job.Job{lid, bottom}, ""}, "without a file": {"How much?", []job.Job{none}, ""}, "no job": {"How much?", nil, ""},
	} {
		a := w.asking(c.text, c.jobs...)
		if j, one := a.about(saidIn(c.text)); j.ID != c.want || one != (c.want != "") {
			t.Errorf("%s: about %q, %v", name, j.ID, one)
		}
	}
}

// What a question would have otherwise: a size, a material, a colour that is in stock; it
// is not sure of another number, or of a colour that the house has not.
func TestWhatAQuestionWouldChange(t *testing.T) {
	w := newWalk(t, 1)
	for text, c := range map[string]struct {
		n        int
		scale    float64
		material string
		colour   string
		sure     bool
	}{
		"How much is it?": {0, 0, "PLA", "blue", true}, "How much at 50%?": {1, 0.5, "PLA", "blue", true}, "How much at half the size?": {1, 0.5, "PLA", "blue", true},
		"How much for 3?": {0, 0, "PLA", "blue", false}, "How much in PETG?": {1, 0, "PETG", "blue", true}, "How much in PLA?": {0, 0, "PLA", "blue", true}, "How much in PVA?": {0, 0, "PLA", "blue", true},
		"How much in red?": {1, 0, "PLA", "red", true}, "How much in red PETG?": {0, 0, "PETG", "blue", false}, "How much in red at 200%?": {2, 2, "PLA", "red", true}, "Would it be under 5 dollars at 50%?": {1, 0.5, "PLA", "blue", true},
	} {
		a := w.asking(text)
		other, what, sure := a.otherwise(job.Job{Settings: job.Settings{Material: "PLA", Colour: "blue", Colours: []job.ColourCopies{{}}}}, saidIn(text))
		s := other.Settings
		if sure != c.sure || len(what) != c.n || s.Scale != c.scale || s.Material != c.material || s.Colour != c.colour || (s.Colours == nil) != (c.colour == "red") {
			t.Errorf("%q: %q, %+v, sure %v", text, what, s, sure)
		}
	}
}

// What a part costs is told as it is, or as the question would have it, where both are
// known; only what is beside the last offer is proposed.
func TestPriceThatIsAskedFor(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	j := w.job()
	bare := func(change func(r *job.Report)) job.Job {
		k, r := j, *j.Report
		change(&r)
		k.Report = &r
		return k
	}
	now := j.Report.Quote
	for name, c := range map[string]struct {
		text     string
		j        job.Job
		examine  func(r *job.Report)
		key      string
		proposes bool
	}{
		"as it is": {"How much is it?", j, nil, "price", false}, "in red": {"How much in red?", j, nil, "same-price", true}, "larger": {"How much at 200%?", j, nil, "other-price", true},
		"of three": {"How much for 3?", j, nil, "", false}, "not looked at": {"How much is it?", job.Job{Blob: "x"}, nil, "", false},
		"without a price": {"How much?", bare(func(r *job.Report) { r.Quote = nil }), nil, "", false}, "without an estimate": {"How much?", bare(func(r *job.Report) { r.Estimate = nil }), nil, "", false},
		"larger, not to be printed":   {"How much at 200%?", j, func(r *job.Report) { r.Readable = false }, "", false},
		"larger, without a price":     {"How much at 200%?", j, func(r *job.Report) { r.Quote = nil }, "", false},
		"larger, without an estimate": {"How much at 200%?", j, func(r *job.Report) { r.Estimate = nil }, "", false},
	} {
		w.o.examine = func(ctx context.Context, j job.Job) (*job.Report, float64, error) {
			r, s, err := w.examine(ctx, j)
			if c.examine != nil {
				c.examine(r)
			}
			return r, s, err
		}
		a := w.asking(c.text, c.j)
		ok, err := a.price(w.ctx, saidIn(c.text))
		w.must(err)
		then := *now
		if other, _, sure := a.otherwise(c.j, saidIn(c.text)); sure && c.key == "other-price" {
			r, _, err := w.examine(w.ctx, other)
			w.must(err)
			then = *r.Quote
		}
		if ok != (c.key != "") || a.proposes != c.proposes || ok && (!strings.Contains(a.said[0], then.Total) || !strings.Contains(a.said[0], now.Total)) {
			t.Errorf("%s: %q, proposes %v", name, a.said, a.proposes)
		}
		if is := map[bool]string{true: "the same", false: ""}[ok && strings.Contains(a.said[0], "same")]; (is != "") != (c.key == "same-price") {
			t.Errorf("%s: %q", name, a.said)
		}
	}
}

// When and where one pays and collects, by what the jobs have.
func TestWhereOnePaysAndCollects(t *testing.T) {
	w := newWalk(t, 1)
	branches := w.o.Rules.Library.In("en").Branches
	priced := func(deposit string) job.Job { return job.Job{Report: &job.Report{Quote: &job.Quote{Deposit: deposit}}} }
	at := job.Job{Wishes: job.Wishes{Pickup: branches[1].Name}}
	for name, c := range map[string]struct {
		jobs []job.Job
		want string
	}{
		"nothing is known": {nil, "pay"}, "not looked at": {[]job.Job{{}}, "pay"}, "not priced": {[]job.Job{{Report: &job.Report{}}}, "pay"}, "no deposit": {[]job.Job{priced("")}, "pay"},
		"a deposit": {[]job.Job{priced("2.00")}, "deposit"}, "a deposit for one": {[]job.Job{priced("2.00"), priced("")}, "deposit"}, "a branch": {[]job.Job{at}, "pay-at"}, "a branch of one": {[]job.Job{{}, at, {}}, "pay-at"},
		"both": {[]job.Job{at, priced("2.00")}, "deposit"},
	} {
		a := w.asking("When do I pay?", c.jobs...)
		_, err := a.pay(w.ctx, nil)
		w.must(err)
		if got := a.keyOf(at.Wishes.Pickup, "pay", "deposit", "pay-at"); got != c.want {
			t.Errorf("%s: %q, want %s", name, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		jobs []job.Job
		all  bool
	}{"no job": {nil, true}, "no branch": {[]job.Job{{}}, true}, "another place": {[]job.Job{{Wishes: job.Wishes{Pickup: "Elsewhere"}}}, true}, "a branch": {[]job.Job{at}, false}} {
		a := w.asking("Where?", c.jobs...)
		_, err := a.where(w.ctx, nil)
		w.must(err)
		for i, b := range branches {
			if got := strings.Contains(a.said[0], b.Name+" ("+b.Hours+")"); got != (c.all || i == 1) {
				t.Errorf("%s: tells of %s %v: %q", name, b.Name, got, a.said[0])
			}
		}
	}
}

// How the jobs stand is told of those that have a file and are not over, and only where
// the rules say how long it takes; once each.
func TestWhenItIsReady(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	j := w.job()
	for name, c := range map[string]struct {
		change func(j *job.Job)
		hours  float64
		told   int
	}{
		"offered": {func(*job.Job) {}, 8, 1}, "no hours": {func(*job.Job) {}, 0, 0}, "printing, no hours": {func(j *job.Job) { j.Stage = job.Printing }, 0, 1}, "no file": {func(j *job.Job) { j.Blob = "" }, 8, 0},
		"collected": {func(j *job.Job) { j.Stage = job.Collected }, 8, 1}, "declined": {func(j *job.Job) { j.Stage = job.Declined }, 8, 0}, "agreed": {func(j *job.Job) { j.Stage = job.Agreed }, 8, 1},
	} {
		r := *w.o.Rules
		r.Limits.PrintingHoursPerDay = c.hours
		w.o.Rules = &r
		k := j
		c.change(&k)
		a := w.asking("When is it ready?", k, k)
		told, err := a.ready(w.ctx, nil)
		if err != nil || told != (c.told > 0) || len(a.said) != c.told {
			t.Errorf("%s: %q, told %v, %v", name, a.said, told, err)
		}
	}
}

// A letter's questions are answered one by one; what none of the topics answers is left to
// staff. A price is a topic of a condition too, a place none beside another topic; after a
// condition on an open offer the letter says that a yes is still needed.
func TestQuestionsByTheirTopics(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	quoted := w.job()
	agreed := quoted
	agreed.Stage = job.Agreed
	r := *w.o.Rules
	r.Limits.PrintingHoursPerDay = 0 // when it is ready is not said
	w.o.Rules = &r
	for name, c := range map[string]struct {
		text     string
		j        job.Job
		said     int
		rest     bool
		proposes bool
	}{
		"a price": {"How much is it?", quoted, 1, false, false}, "a price and a place": {"How much is it? Where are you?", quoted, 2, false, false}, "both in one": {"How much is it and where do I pay?", quoted, 2, false, false},
		"where one is paid": {"Where do I pay?", quoted, 1, false, false}, "of no topic": {"Is PLA strong enough?", quoted, 0, true, false}, "one of no topic": {"How much is it? Is PLA strong enough?", quoted, 1, true, false},
		"one of no topic first": {"Is PLA strong enough? How much is it?", quoted, 1, true, false}, "a sum that is asked": {"Is it under 5 dollars?", quoted, 0, true, false},
		"somebody else": {"May my wife collect it?", quoted, 1, false, true}, "a condition": {"Yes, but I pay first.", quoted, 2, false, false}, "a condition, agreed": {"Yes, but I pay first.", agreed, 1, false, false},
		"a sum": {"Yes, if it is under 5 dollars.", quoted, 2, false, false}, "asked again": {"How much is it? So how much is it?", quoted, 1, false, false},
	} {
		l := &job.Letter{Text: c.text, Language: "en"}
		in := &draft.Input{Letter: l}
		w.must(w.o.answer(w.ctx, in, []job.Job{c.j}))
		said := 0
		if in.Note != "" {
			said = 1 + strings.Count(in.Note, "\n\n")
		}
		if said != c.said || in.Rest != c.rest || in.Proposes != c.proposes {
			t.Errorf("%s: %d sentences, want %d: %q, rest %v, proposes %v", name, said, c.said, in.Note, in.Rest, in.Proposes)
		}
	}
}

// A percentage is one with a space before its sign, as French and Spanish write it, and in
// words; a number of something else is not placed.
func TestPriceAtAPercentage(t *testing.T) {
	w := newWalk(t, 1)
	w.offer("lid.stl")
	for text, scale := range map[string]float64{
		"How much would it be at 80%?": 0.8, "How much would it be at 80 %?": 0.8, "How much would it be at 80 percent of the size?": 0.8,
		"¿Cuánto costaría al 80 % del tamaño?": 0.8, "¿Cuánto costaría al 75 por ciento?": 0.75, "Combien à 80\u00a0% de la taille?": 0.8,
		"How much would it be at half the size?": 0.5,
	} {
		if other, _, sure := w.asking(text, w.job()).otherwise(w.job(), saidIn(text)); !sure || other.Settings.Scale != scale {
			t.Errorf("%q: at %v, sure %v, want %v", text, other.Settings.Scale, sure, scale)
		}
	}
	for _, text := range []string{"How much would it be at 80 mm?", "How much for 80?"} {
		if _, _, sure := w.asking(text, w.job()).otherwise(w.job(), saidIn(text)); sure {
			t.Errorf("%q is placed", text)
		}
	}
}
