package wishes

import (
	"cmp"
	"slices"

	"meshclerk/intake/tagger"
)

// learn asks the tagger what the letter's sentences do and what its words stand
// for. It reads the letter as it was written, before revise.
func (d *doc) learn(tags *tagger.Tagger) {
	d.learned = tags.Read(d.asWritten(), d.in.Language, d.in.Answer)
	var spans []tagger.Span // in the order of the letter
	for _, s := range d.learned {
		spans = append(spans, s.Spans...)
	}
	for i := range d.toks {
		t := &d.toks[i]
		at := d.inLetter(t.start)
		t.says, _ = slices.BinarySearchFunc(d.learned, at, func(s tagger.Sentence, at int) int { return cmp.Compare(s.End, at+1) })
		k, _ := slices.BinarySearchFunc(spans, at, func(p tagger.Span, at int) int { return cmp.Compare(p.End, at+1) })
		if k < len(spans) && spans[k].Start <= at {
			t.role, t.sure = spans[k].Role, spans[k].P
		}
	}
	d.signedForm()
	d.setAsideToo()
}

// setAsideToo forgets what was learned of sentences that are set aside whole: what an
// office puts below every letter neither asks nor holds back anything.
func (d *doc) setAsideToo() {
	heard := make([]bool, len(d.learned)+1)
	for _, t := range d.toks {
		heard[t.says] = heard[t.says] || !t.away
	}
	for k := range d.learned {
		if !heard[k] {
			d.learned[k].Acts = [tagger.Acts]float64{tagger.Polite: 1}
		}
	}
}

// signedForm takes back what was learned of a yes in a sentence without a phrase of
// consent that speaks of the signed form, of our letter or of what it brings ("here is
// the signed agreement", "good to hear from you" and "yes, here it is" agree to nothing),
// that surely thanks and less surely agrees, or that has no word at all, and of one that
// answers in which unit something is ("yes, millimetres").
func (d *doc) signedForm() {
	form, brings, words, yes, consents, unit := map[int]bool{}, map[int]bool{}, map[int]bool{}, map[int]bool{}, map[int]bool{}, map[int]bool{}
	past := 0 // the words of bringing something: the "go" of "here you go" is no consent
	for i := range d.toks {
		k, n := d.toks[i].says, d.cue(i, "handover")
		past = max(past, i+n)
		form[k], brings[k] = form[k] || d.cue(i, "signed", "heard") > 0, brings[k] || n > 0
		words[k], unit[k] = words[k] || d.toks[i].kind == word, unit[k] || d.namesUnit(i)
		yes[k] = yes[k] || d.cue(i, "yes") > 0
		consents[k] = consents[k] || i >= past && d.cue(i, "accept", "acceptstart", "acceptend") > 0
	}
	for k := range d.learned {
		thanks := d.learned[k].Acts[tagger.Polite] >= surelyPolite && d.learned[k].Acts[tagger.Yes] < sureYes
		if (form[k] || brings[k] || thanks || !words[k]) && !consents[k] && !(yes[k] && !brings[k]) || unit[k] {
			d.learned[k].Acts[tagger.Yes] = 0
		}
	}
}

// namesUnit tells of a unit that stands behind no number, in a short sentence without a
// phrase of consent.
func (d *doc) namesUnit(i int) bool {
	s := d.sents[d.toks[i].sent]
	return d.cue(i, "unit") > 0 && len(d.fold(i)) > 2 && !d.isNumeral(i-1) && s.to-s.from < 8 && d.has(s, "accept", "acceptstart", "acceptend", "asquoted") < 0
}

// asWritten is the text before it was revised.
func (d *doc) asWritten() string {
	if len(d.cuts) > 0 {
		return d.letter
	}
	return d.text
}

// sense is how probable it is that some sentence of the letter does each thing.
func (d *doc) sense() (p [tagger.Acts]float64) {
	for _, s := range d.learned {
		for a, v := range s.Acts {
			p[a] = max(p[a], v)
		}
	}
	return p
}

// heldBack is how probable it is that something holds a yes back.
func heldBack(p *[tagger.Acts]float64) float64 {
	return max(p[tagger.No], p[tagger.If], p[tagger.Ask], p[tagger.Doubt])
}

// acts is how probable it is that some part of a sentence does each thing.
func (d *doc) acts(s span) (p [tagger.Acts]float64) {
	last := -1
	for i := s.from; i < s.to; i++ {
		k := d.toks[i].says
		if k == last || k >= len(d.learned) {
			continue
		}
		last = k
		for a, v := range d.learned[k].Acts {
			p[a] = max(p[a], v)
		}
	}
	return p
}

// tellsOnly tells of a sentence that surely tells or greets and does nothing else,
// or of one that tells rather than not and does surely nothing else.
func tellsOnly(p *[tagger.Acts]float64) bool {
	tells, does := max(p[tagger.Tell], p[tagger.Polite]), max(p[tagger.Yes], p[tagger.No], p[tagger.If], p[tagger.Ask], p[tagger.Wish], p[tagger.Doubt])
	return tells >= likely && does < sureNot || tells >= 0.4 && does < 0.04
}

// tells tells whether the sentence around a token was learned to tell something and to do
// nothing else.
func (d *doc) tells(i int) bool {
	says := d.toks[i].says
	return says < len(d.learned) && tellsOnly(&d.learned[says].Acts)
}

// does is how probable it is that the sentence around a token does one of some
// things; certain when nothing was learned of it.
func (d *doc) does(i int, acts ...tagger.Act) float64 {
	if i < 0 || i >= len(d.toks) || d.toks[i].says >= len(d.learned) {
		return 1
	}
	return d.learned[d.toks[i].says].Is(acts...)
}

// onlyCourtesy tells whether every sentence of the letter was learned to thank, greet or
// sign, and to do nothing else but agree: "Smashing, ta very much!"
func (d *doc) onlyCourtesy() bool {
	most := 0.0
	for _, s := range d.learned {
		if s.Acts[tagger.Polite] < 0.4 || s.Is(tagger.No, tagger.If, tagger.Ask, tagger.Wish, tagger.Tell, tagger.Doubt) >= 0.1 {
			return false
		}
		most = max(most, s.Acts[tagger.Polite])
	}
	return most >= 0.9
}

// wishedPart is what a sentence calls the part of which it wishes something, where that
// was learned surely: "the bottom in green, please".
func (d *doc) wishedPart() string {
	for i, t := range d.toks {
		s := d.sents[t.sent]
		if t.kind != word || t.away || t.told || t.role != tagger.Part || t.sure < sureNone || d.does(i, tagger.Wish) < evenOdds || d.cue(i, "jobword", "this", "pieces") > 0 {
			continue
		}
		if slices.ContainsFunc(d.toks[s.from:s.to], func(t token) bool { return t.used }) {
			return t.text
		}
	}
	return ""
}

// onlyTold tells of a word of changing in a sentence that agrees or tells, and
// surely wishes nothing: "please make it as quoted".
func (d *doc) onlyTold(i int) bool {
	if s := d.sents[d.toks[i].sent]; d.isQuestion(i) || d.has(s, "question", "number", "comparative") >= 0 {
		return false
	}
	wish, does := d.does(i, tagger.Wish), d.does(i, tagger.Yes, tagger.Tell)
	return wish < 0.2 && does >= 0.8 || wish < hardly && does >= evenOdds
}

// story tells whether a sentence surely tells or greets, and does nothing else.
func (d *doc) story(s span) bool {
	for i := s.from; i < s.to; i++ {
		if d.does(i, tagger.Tell, tagger.Polite) < 0.9 || d.does(i, tagger.Yes, tagger.No, tagger.If, tagger.Ask, tagger.Wish, tagger.Doubt) >= 0.05 {
			return false
		}
	}
	return true
}

// sureOf is a yes or no to the question whether to go ahead, where only what was
// learned says one.
func (d *doc) sureOf(said string) string {
	switch p := d.sense(); {
	case said != "":
	case p[tagger.Yes] >= sureYes && heldBack(&p) < sureNot:
		return "yes"
	case p[tagger.No] >= sureYes && p[tagger.Yes] < sureNot:
		return "no"
	}
	return said
}

const surelyPolite = 0.9

// How sure it must be of a word's role: to read a colour or settle between counts,
// to read a count ("one" is also a pronoun), and to doubt a count that the grammar reads.
const (
	sureRole   = 0.8
	sureCount  = 0.75
	sureOne    = 0.975
	sureNoneOf = 0.97
)

// learnedAs tells whether a word has a role that it is so sure of.
func (d *doc) learnedAs(i int, role tagger.Role, sure float64) bool {
	return d.toks[i].role == role && d.toks[i].sure >= sure
}

// notAtAll tells whether a number is surely none of ours.
func (d *doc) notAtAll(i int) bool { return d.learnedAs(i, tagger.None, sureNoneOf) }
