package wishes

import (
	"math"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

// evidence is what is known of a whole answer, as numbers between about -2 and 2,
// each under its name in vote.txt.
type evidence struct {
	names []string
	x     []float64

	most    [tagger.Acts]float64 // the surest sentence of each act
	found   [marks]bool          // what the grammar found anywhere
	least   float64              // how probable a yes must be, for what was found beside it
	differs bool                 // wishes are not those of the offer
	echoes  bool                 // a yes that repeats a question of ours
	ours    bool                 // we had asked something else than whether to go ahead
	asks    bool                 // a sentence with a question mark has a word of asking: "where", "how much"
	relents bool                 // a sentence agrees after the last one that declines
	closed  bool                 // nothing may be agreed to: wishes differ, are unread, or something is refused
}

func (e *evidence) add(name string, value float64) {
	e.names, e.x = append(e.names, name), append(e.x, value)
}

func (e *evidence) is(name string, yes bool) {
	e.add(name, one(yes))
}

// marks are what the grammar found in a sentence.
const marks = 16

var markNames = [marks]string{"accepts", "declines", "changes", "asks", "drops", "mind", "yes", "kinno", "doubts", "but", "money", "when", "not", "unsure", "led", "vague"}

func (v *verdict) marks() [marks]bool {
	return [marks]bool{v.accepts, v.declines, v.changes, v.asks, v.drops, v.mind, v.yes, v.kinNo, v.doubts, v.but, v.money, v.when, v.not, v.unsure, v.led, v.vague}
}

// sighting is one sentence as the grammar sees it, and how surely it only tells.
type sighting struct {
	marks      [marks]bool
	yes, tells float64
	said       bool
}

// evidence weighs all that was found in the answer: what its sentences were learned to
// do (the surest of each act, the act beside the surest yes, and what comes after it),
// what the grammar found in those that do not only tell, and the wishes.
func (v *replies) evidence(d *doc, w job.Wishes, changed, moved bool) *evidence {
	e := &evidence{names: make([]string, 0, 128), x: make([]float64, 0, 128), differs: changed || v.strayed}
	e.add("bias", 1)
	var acts [][tagger.Acts]float64
	var seen []sighting
	for _, part := range append([]*doc{d}, v.pieces...) {
		mute := part.muted()
		for k := range part.learned {
			acts = append(acts, mute(part.learned[k].Acts))
		}
		seen = append(seen, part.sightings(mute)...)
	}
	wish := e.acts(acts)
	e.marks(seen)
	values := hasValues(w)
	unread := len(d.left()) > 0 || len(v.unread) > 0
	e.add("wish without a value", wish*one(!values))
	e.add("wish for the same", wish*one(values && !e.differs))
	e.add("wish for another", wish*one(e.differs))
	e.is("the same values", values && !e.differs)
	e.is("other values", e.differs)
	e.is("another branch", moved)
	e.is("unread", unread)
	e.is("asked back", v.asks)
	e.is("yes to going ahead", v.consent == "yes")
	e.is("no to going ahead", v.consent == "no")
	e.is("refuses", v.refuses)
	e.is("questions of ours", v.answersQuestion())
	e.is("only ok", d.onlyOK())
	e.is("as quoted", d.has(span{0, len(d.toks)}, "asquoted") >= 0)
	e.asks = slices.ContainsFunc(d.sents, func(s span) bool { return d.hasMark(s) && d.has(s, "whword") >= 0 && !d.toks[s.from].away })
	e.ours = v.answersQuestion() || slices.ContainsFunc(v.pieces, func(p *doc) bool { return p.topic != "" && p.topic != "accept" })
	e.echoes = slices.ContainsFunc(d.sents, d.echoes)
	e.closed = e.differs || unread || v.refuses || v.consent == "no"
	return e
}

// hasValues tells whether a wish for the print was read.
func hasValues(w job.Wishes) bool {
	return w.Copies != nil || len(w.Colours) > 0 || w.Size != nil || w.Scale != nil || w.Material != "" || w.Infill != nil || w.Supports != "" || len(w.Items) > 0
}

func one(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// muted takes out of what the words under a question of ours do that which only
// answers it: a yes without a phrase of consent, a no without one of declining, a wish.
func (d *doc) muted() func([tagger.Acts]float64) [tagger.Acts]float64 {
	if d.topic == "" || d.topic == "accept" {
		return func(p [tagger.Acts]float64) [tagger.Acts]float64 { return p }
	}
	whole := span{0, len(d.toks)}
	yes, no := d.has(whole, "accept", "acceptstart", "acceptend") >= 0, d.declinesBelow()
	return func(p [tagger.Acts]float64) [tagger.Acts]float64 {
		p[tagger.Wish], p[tagger.Yes], p[tagger.No] = 0, p[tagger.Yes]*one(yes), p[tagger.No]*one(no)
		return p
	}
}

// sightings are the sentences of the letter, or of the words under a question.
func (d *doc) sightings(mute func([tagger.Acts]float64) [tagger.Acts]float64) []sighting {
	under := d.topic != "" && d.topic != "accept"
	whole := span{0, len(d.toks)}
	agrees := !under || d.has(whole, "accept", "acceptstart", "acceptend") >= 0
	declines := !under || d.declinesBelow()
	var out []sighting
	for _, s := range d.sents {
		if d.toks[s.from].away && d.toks[s.to-1].away {
			continue
		}
		v := *d.seen(s)
		if under {
			v.changes, v.vague, v.led, v.not = false, false, false, false
			v.accepts, v.yes, v.declines = v.accepts && agrees, v.yes && agrees, v.declines && declines
		}
		p := mute(d.acts(s))
		does := max(p[tagger.Yes], p[tagger.Wish], heldBack(&p))
		out = append(out, sighting{v.marks(), p[tagger.Yes], max(p[tagger.Tell], p[tagger.Polite]) * (1 - does), v.said})
	}
	return out
}

// acts adds what the sentences do, and returns how probable a wish is.
func (e *evidence) acts(sentences [][tagger.Acts]float64) float64 {
	var most, own [tagger.Acts]float64
	at := 0
	for k, p := range sentences {
		if p[tagger.Yes] > most[tagger.Yes] {
			own, at = p, k
		}
		for a, v := range p {
			most[a] = max(most[a], v)
		}
	}
	var after [tagger.Acts]float64
	for _, p := range sentences[min(at+1, len(sentences)):] {
		for a, v := range p {
			after[a] = max(after[a], v)
		}
	}
	for a := range tagger.Acts {
		e.add(actNames[a].most, most[a])
		e.add(actNames[a].odds, logit(most[a]))
		e.add(actNames[a].own, logit(own[a]))
		e.add(actNames[a].after, after[a])
	}
	e.most = most
	e.add("clear", most[tagger.Yes]*(1-heldBack(&most)))
	e.add("clear by itself", most[tagger.Yes]*(1-heldBack(&own)))
	e.add("clear of wishes", most[tagger.Yes]*(1-max(heldBack(&most), most[tagger.Wish])))
	e.add("sentences", math.Log(float64(len(sentences)+1)))
	e.is("one sentence", len(sentences) == 1)
	return most[tagger.Wish]
}

// logit is the logarithm of the odds, a third of it, cut near 0 and 1.
func logit(p float64) float64 { return math.Log((p+0.007)/(1-p+0.007)) / 3 }

// marks adds what the grammar found in a sentence that does not only tell, in one that
// agrees, and after the one that agrees most.
func (e *evidence) marks(seen []sighting) {
	top := 0
	for k, s := range seen {
		if s.yes > seen[top].yes {
			top = k
		}
	}
	for m, names := range markOrder {
		kept, agreeing, after, found := 0.0, 0.0, 0.0, false
		for k, s := range seen {
			if !s.marks[m] {
				continue
			}
			kept, agreeing, found = max(kept, 1-s.tells), max(agreeing, s.yes), true
			if k > top {
				after = max(after, 1-s.tells)
			}
		}
		e.add(names[0], kept)
		e.add(names[1], agreeing)
		e.add(names[2], after)
		e.found[m] = found
		e.note(markNames[m], found, kept >= evenOdds, agreeing >= evenOdds)
	}
	for _, s := range seen {
		accepts, declines := s.marks[0], s.marks[1]
		e.relents = accepts && !declines || e.relents && !declines
		e.least = max(e.least, never*one(s.said && s.yes >= someAct))
	}
}

// note keeps how probable a yes must be beside a mark that was found at all, in a
// sentence that does not only tell, or in one that agrees. What the grammar takes for a
// question or a condition counts less where the tagger surely finds none.
func (e *evidence) note(mark string, found, kept, agreeing bool) {
	least := 0.0
	switch mark {
	case "declines", "mind", "kinno", "drops":
		least = never * one(found)
	case "changes":
		least = never * one(kept)
	case "asks":
		least = max(unlessSurely(e.most[tagger.Ask] < hardly, voteHeld)*one(agreeing), voteBeside*one(kept && !agreeing))
	case "unsure":
		least = max(unlessSurely(e.most[tagger.If] < sureNot, voteHeld)*one(agreeing), voteHeld*one(kept && !agreeing))
	case "doubts", "but":
		least = voteHeld * one(kept)
	case "when":
		least = voteBeside * one(kept)
	case "led", "vague", "not":
		least = voteBeside * one(agreeing)
	}
	e.least = max(e.least, least)
}

func unlessSurely(none bool, least float64) float64 {
	if none {
		return least
	}
	return never
}

// has tells whether the grammar found one of some marks.
func (e *evidence) has(names ...string) bool {
	for m, found := range e.found {
		if found && slices.Contains(names, markNames[m]) {
			return true
		}
	}
	return false
}

// The names of evidence, joined once.
var (
	actNames  [tagger.Acts]struct{ most, odds, own, after string }
	markOrder [marks][3]string
)

func init() {
	for a := range tagger.Acts {
		n := a.String()
		actNames[a].most, actNames[a].odds, actNames[a].own, actNames[a].after = n, n+" odds", n+" beside yes", n+" after yes"
	}
	for m, n := range markNames {
		markOrder[m] = [3]string{"mark " + n, "mark " + n + " beside yes", "mark " + n + " after yes"}
	}
}
