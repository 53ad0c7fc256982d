package wishes

import "meshclerk/intake/tagger"

import "math"

// material finds the one wished material. A choice is left to the patron.
func (d *doc) material() (string, string) {
	best, from, to, picked := "", 0, 0, false
	for i := 0; i < len(d.toks); i++ {
		t, ok := d.tag(i, "material")
		if ok && d.refuses(i) {
			d.use(i, i+t.n)
		}
		if !ok || d.soluble(t.key) || d.refuses(i) || d.hypothetical(i) || d.cue(i+t.n, "supportword") > 0 || !d.wishesMaterial(i, i+t.n) && !(d.learnedAs(i, tagger.Material, sureRole) && !d.onlyAsks(i)) {
			continue
		}
		d.use(i, i+t.n)
		picks := d.ended(d.skipBack(i), "choosing") > 0
		if best != "" && (d.second(i) || picked && !picks) {
			continue // "use PETG, the last ones in PLA went limp"
		}
		if best != "" && best != t.key && !d.corrects(i) && !picks {
			return "", ""
		}
		best, from, to, picked = t.key, i, i+t.n, picks
	}
	return best, d.words(from, to)
}

// soluble tells of a material that is for supports only.
func (d *doc) soluble(name string) bool {
	for _, m := range d.in.Materials {
		if m.Name == name {
			return m.Soluble
		}
	}
	return false
}

// wishesMaterial leaves out what is only talked about: "is PLA safe for food?"
func (d *doc) wishesMaterial(i, j int) bool {
	if d.topic == "material" {
		return true
	}
	if d.ended(d.skipBack(i), "my", "instead") > 0 || d.unavailable(i) {
		return false
	}
	s := d.sentence(i)
	if d.isQuestion(i) {
		return d.has(span{s.from, i}, "ask", "want") >= 0 && d.has(s, "compare") < 0
	}
	if d.has(s, "compare") >= 0 {
		return false
	}
	return d.behindColour(i, "in", "colour", "set", "should", "prefer", "materialword", "using") || d.object(i) || d.listedMaterial(i) ||
		d.has(d.clauseOf(i), "past", "my", "if") < 0 && d.has(span{d.clauseOf(i).from, i}, "is") < 0
}

func (d *doc) listedMaterial(i int) bool {
	s := d.clauseOf(i)
	return d.listed(i) || s.to-s.from <= 5 && d.has(s, "is", "past", "not") < 0 || d.has(span{s.from, i}, "verb", "printing", "ask") >= 0 && d.has(s, "is", "past", "for") < 0
}

// infill finds how full the inside is to be, 0..1.
func (d *doc) infill() (*float64, string) {
	var best *found[float64]
	for i := 0; i < len(d.toks); i++ {
		f := d.infillAt(i)
		if f == nil {
			continue
		}
		d.claim(f.from, f.to)
		d.use(f.from, f.to)
		if best != nil && best.value != f.value && !d.corrects(i) {
			return nil, ""
		}
		best = f
		i = f.to - 1
	}
	if best == nil {
		return nil, ""
	}
	return &best.value, d.words(best.from, best.to)
}

func (d *doc) infillAt(i int) *found[float64] {
	if n := d.cue(i, "solidinfill"); n > 0 && !d.toks[i].away && !d.toks[i].told && !d.toks[i].claimed && d.ended(d.skipBack(i), "not") == 0 && !d.hypothetical(i) {
		return &found[float64]{1, i, i + n}
	}
	value, n := d.numeral(i)
	if n == 0 || d.hypothetical(i) || d.bounded(i) || d.replaced(i) {
		return nil
	}
	to := i + n
	p := d.cue(to, "percent")
	to += p
	if p == 0 && value >= 1 && d.topic != "infill" || d.ranged(i, to) || value > 100 || d.onlyAsks(i) ||
		!d.nearInfill(i, to) && !(p > 0 && (d.infillSentence(i, to) || d.barePercent(i, to))) {
		return nil
	}
	if p > 0 {
		value /= 100
	}
	return &found[float64]{math.Round(value*1e4) / 1e4, i, to}
}

// nearInfill tells whether the word "infill" stands next to a number.
func (d *doc) nearInfill(i, to int) bool {
	if d.topic == "infill" || d.labelled(i, "infillword") {
		return true
	}
	for range 3 {
		if d.cue(to, "infillword") > 0 {
			return true
		}
		n := d.cue(to, "axislink", "skip", "det")
		if n == 0 {
			break
		}
		to += n
	}
	for range 4 {
		if d.ended(i, "infillword") > 0 {
			return true
		}
		n := d.ended(i, "axislink", "at", "skip", "set", "should", "about")
		if n == 0 {
			break
		}
		i -= n
	}
	return false
}

// infillSentence tells whether the word "infill" stands somewhere before a percentage
// in its sentence, and no word of another measure: "the infill may go up, say 40 %".
func (d *doc) infillSentence(i, to int) bool {
	s := d.sentence(i)
	return d.has(span{s.from, i}, "infillword") >= 0 && d.has(span{d.clauseOf(i).from, to}, "notscale", "sizeword", "resize", "shrink", "grow") < 0
}

// barePercent is "PETG, 25 %": less than the whole, alone in its clause, in a sentence
// of the material or of strength. What it is a percentage of goes without saying.
func (d *doc) barePercent(i, to int) bool {
	c, s := d.clauseOf(i), d.sentence(i)
	if d.ended(i, "at") > 0 || d.ended(i, "byword") > 0 || d.has(s, "sizeword", "resize", "shrink", "grow", "notscale", "price") >= 0 {
		return false
	}
	return d.wishesOnly(span{c.from, i}) && d.wishesOnly(span{to, c.to}) && d.has(s, "material", "strong", "solidinfill") >= 0
}

// strong gives the words by which the part is wished strong.
func (d *doc) strong() string {
	for i := range d.toks {
		n := d.cue(i, "strong", "strongwish")
		if n == 0 || d.toks[i].away || d.toks[i].told || d.refuses(i) || d.onlyAsks(i) || d.hypothetical(i) {
			continue
		}
		s := d.clauseOf(i)
		if d.cue(i, "strongwish") > 0 || d.has(span{s.from, i}, "should", "want", "verb", "set", "ask", "prefer", "printing") >= 0 || d.listed(i) || s.to-s.from <= 4 {
			return d.words(i, i+n)
		}
	}
	return ""
}

// supports finds whether supports are wished. The word alone says nothing: a
// support may be what is to be printed.
func (d *doc) supports() (string, string) {
	best, from, to := "", 0, 0
	for i := 0; i < len(d.toks); i++ {
		t, ok := d.tag(i, "supports")
		if !ok || d.hypothetical(i) || d.onlyAsks(i) || d.has(d.clauseOf(i), "if") >= 0 {
			continue
		}
		if t.key == "yes" && d.ended(d.skipBack(i), "not") > 0 {
			t.key = "no"
		}
		if best == "soluble" && t.key == "yes" {
			continue
		}
		if best != "" && best != t.key && !(best == "yes" && t.key == "soluble") && !d.corrects(i) {
			return "", ""
		}
		best, from, to = t.key, i, i+t.n
		d.use(from, to)
		if t.key == "no" {
			i = to - 1 // "don't need supports" holds "need supports"
		}
	}
	if best == "" && d.topic == "supports" {
		return d.yesOrNo()
	}
	return best, d.words(from, to)
}
