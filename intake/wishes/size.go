package wishes

import (
	"math"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

var mmPerUnit = map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "ft": 304.8} // inch: ISO 80000-3 and the 1959 yard and pound agreement

// sureSize is how sure it must be that a length along an axis is a wish, where the grammar
// sees none.
const sureSize = 0.95

// likelySize is how probable a wish must be in its sentence.
const likelySize = 0.65

const (
	leastMM = 1    // a smaller wish is a detail of the part
	mostMM  = 2000 // a larger one is a piece of furniture
)

// length reads a number with a unit of length at a token, also feet with inches.
// No length is ever a count.
func (d *doc) length(i int) (mm float64, to int) {
	mm, to = d.measure(i)
	if to == 0 || !d.feet(to) {
		return mm, to
	}
	j := to + d.cue(to, "and")
	if more, end := d.measure(j); end > 0 && more < mmPerUnit["ft"] && !d.feet(end) {
		if t, ok := find(d.tagsAt(end-1), "unit"); d.fold(end-1) == `"` || ok && t.key == "in" {
			return mm + more, end
		}
	}
	return mm, to
}

// feet tells whether a measure in feet ends right before a token.
func (d *doc) feet(j int) bool {
	t, ok := find(d.tagsAt(j-1), "unit")
	return ok && t.key == "ft" || d.footSign(j-1)
}

// footSign is the sign in 5'10".
func (d *doc) footSign(j int) bool {
	return d.fold(j) == "'" && d.isTight(j) && d.isNumber(j-1) && d.isNumber(j+1)
}

// measure reads one number with its unit, and the half behind it: "7 pouces et demi".
func (d *doc) measure(i int) (mm float64, to int) {
	value, n := d.numeral(i)
	if n == 0 {
		if value, n = d.oneUnit(i); n == 0 {
			return 0, 0
		}
	}
	j := i + n
	if d.fold(j) == "-" && d.isTight(j) && d.cue(j+1, "unit") > 0 { // "10-cm"
		j++
	}
	if d.inchSign(j) {
		return value * 25.4, j + 1
	}
	if d.footSign(j) {
		return value * mmPerUnit["ft"], j + 1
	}
	if n := d.cue(j, "andhalf"); n > 0 && d.cue(j+n, "unit") > 0 {
		value, j = value+0.5, j+n // "three and a half inches"
	}
	t, ok := find(d.tagsAt(j), "unit")
	if !ok || t.key == "in" && t.n == 1 && d.fold(j) == "in" && !d.inches(i, j) || t.key == "m" && !d.isTight(j) && d.cue(j+1, "axis") == 0 && len(d.toks[j].text) == 1 && d.toks[j].text != "m" {
		return 0, 0
	}
	j += t.n
	if d.fold(j) == "." && d.isTight(j) && j+1 < len(d.toks) && d.toks[j+1].sent == d.toks[j].sent {
		j++ // "4 in. wide"
	}
	if n := d.cue(j, "andhalf"); n > 0 {
		value, j = value+0.5, j+n
	}
	return value * mmPerUnit[t.key], j
}

// oneUnit is the "a" of "a foot long"; a foot alone may be the part.
func (d *doc) oneUnit(i int) (value float64, n int) {
	t, ok := find(d.tagsAt(i+1), "unit")
	if d.cue(i, "a") == 0 || d.toks[i].claimed || d.toks[i].away || d.toks[i].told || !ok || d.axisAfter(i+1+t.n) == "" && d.cue(i+1+t.n, "andhalf") == 0 {
		return 0, 0
	}
	return 1, 1
}

func (d *doc) tagsAt(i int) []tag {
	if i < 0 || i >= len(d.toks) {
		return nil
	}
	return d.tags[i]
}

// inchSign is the sign in 4" wide; it closes no quotation.
func (d *doc) inchSign(j int) bool { return d.fold(j) == `"` && d.isTight(j) }

// inches tells "4 in wide" and "4in" from "2 in blue".
func (d *doc) inches(i, j int) bool {
	return d.isNumber(i) && (d.isTight(j) || d.fold(j+1) == "." && d.isTight(j+1)) || d.axisAfter(j+1) != "" ||
		j+1 < len(d.toks) && d.fold(j+1) == "x" || d.isNumber(i) && d.endsHere(j+1)
}

// endsHere tells whether a sign or the end of the sentence stands at a token.
func (d *doc) endsHere(j int) bool {
	return j >= len(d.toks) || d.toks[j].kind == mark && d.fold(j) != "(" || d.toks[j].sent != d.toks[j-1].sent
}

// axisAfter reads the axis that follows a length: "tall", "in height", "de haut".
func (d *doc) axisAfter(j int) string {
	for range 3 {
		if t, ok := find(d.tagsAt(j), "axis"); ok {
			return t.key
		}
		n := d.cue(j, "axislink")
		if f := d.fold(j); n == 0 && (f == "-" || f == ")") {
			n = 1
		}
		if n == 0 {
			return ""
		}
		j += n
	}
	return ""
}

// axisBefore reads the axis that a length follows: "height: 10 cm".
func (d *doc) axisBefore(i int) (axis string, from int) {
	unknown := false
	for range 5 {
		if n := d.ended(i, "axis"); n > 0 {
			t, _ := find(d.tags[i-n], "axis")
			return t.key, i - n
		}
		if !unknown && i > 1 && d.toks[i-1].kind == word && len(d.tags[i-1]) == 0 && d.ended(i-1, "axis") > 0 { // "largeur finie 18 cm"
			unknown, i = true, i-1
			continue
		}
		n := d.ended(i, "axislink", "should", "about", "skip", "set")
		if f := d.fold(i - 1); n == 0 && (f == ":" || f == "=" || f == "-" && !d.isTight(i)) {
			n = 1
		}
		if w := d.ended(i, "which"); n == 0 && w > 0 && d.fold(i-w-1) == "," {
			n = w + 1 // "the depth, which has to be 3 cm"
		}
		if n == 0 {
			return "", i
		}
		i -= n
	}
	return "", i
}

// axisAbove is the axis that a colon leads on from: "only the height: I'd need 8 cm".
func (d *doc) axisAbove(i int) string {
	c := d.clauseOf(i).from
	if d.fold(c-1) != ":" {
		return ""
	}
	axis, _ := d.axisBefore(c)
	return axis
}

// plainSize tells of a length that is wished and has no axis, which then is that of
// the longest side: "it should be 8 cm", "one, grey, 4 cm", "four of 6 cm each".
func (d *doc) plainSize(i, to int) bool {
	c := d.clauseOf(i)
	if d.has(c, "notpart", "axis") >= 0 {
		return false
	}
	at := i - d.ended(i, "about", "at", "axislink")
	switch {
	case d.behind(at, "should", "resize") || d.labelled(at, "sizeword"):
		return true
	case d.cue(to, "eachword") > 0 && d.ended(i, "of") > 0:
		return true
	case d.ended(i, "of", "at") > 0 && d.has(span{c.from, i}, "verb", "want", "printing", "set", "ask") >= 0 && d.has(c, "is", "past", "my", "fit") < 0:
		return !d.in.Answer // "cuatro tiradores en blanco, de 6 cm"
	}
	return d.wishesOnly(span{c.from, i}) && d.wishesOnly(span{to, c.to}) && d.has(c, "is", "past") < 0
}

// size finds the one length that the part is to have. All lengths are claimed
// on the way. Two different wishes for one axis are no wish.
func (d *doc) size() (*job.Size, string) {
	var best *found[job.Size]
	clash, axed := false, false // axed: the best has an axis of its own
	for i := 0; i < len(d.toks); i++ {
		mm, to := d.length(i)
		if to == 0 || i >= d.changeAt.from && i < d.changeAt.to {
			continue
		}
		s := d.sizeAt(i, to, mm)
		d.claim(i, to)
		if s == nil && !d.repeatsSize(mm) {
			d.loose[i] = "size"
		} else {
			d.use(i, to)
		}
		plain := s != nil && d.axisAfter(to) == "" && s.from == i && d.axisAbove(i) == ""
		switch {
		case s == nil:
		case plain && axed:
			d.toks[i].used, d.loose[i] = false, "size"
		case best == nil || d.corrects(i) || !plain && !axed:
			best, clash, axed = s, false, !plain
		case best.value.Axis == s.value.Axis && math.Abs(best.value.MM-s.value.MM) > 0.05*s.value.MM: // "10 cm (4 inches)" is one wish
			clash = true
			d.toks[i].used, d.loose[i] = false, "size"
		}
		i = to - 1
	}
	if best == nil || clash {
		return nil, ""
	}
	return &best.value, d.words(best.from, best.to)
}

// repeatsSize tells of a length that was known before.
func (d *doc) repeatsSize(mm float64) bool {
	e := d.in.Earlier.Size
	return e != nil && math.Abs(e.MM-mm) < 0.01*mm
}

// sizeAt reads the wish for a size on a length from i to to-1.
func (d *doc) sizeAt(i, to int, mm float64) *found[job.Size] {
	if mm < leastMM || mm > mostMM || d.hypothetical(i) || d.ranged(i, to) || d.bounded(i) || d.replaced(i) || d.many(i, to) {
		return nil
	}
	from := i
	axis := d.axisAfter(to)
	if axis == "" {
		axis, from = d.axisBefore(i)
	}
	if axis == "" {
		axis, from = d.axisAbove(i), i
	}
	if axis == "" && d.plainSize(i, to) {
		axis = "longest"
	}
	wish := d.does(i, tagger.Wish)
	learned := (d.learnedAs(i, tagger.Size, sureSize) && wish >= likelySize && !d.behind(i, "measures") || d.wantedAs(i, to) && wish >= sureSize) && !d.onlyAsks(i)
	if axis == "" || !learned && (!d.ofPart(from, to) || !d.wishedSize(from, to)) {
		return nil
	}
	return &found[job.Size]{job.Size{Axis: axis, MM: math.Round(mm*1000) / 1000}, from, d.afterAxis(to)}
}

// wantedAs tells of "I would like my owl 9 cm high": nothing that it is for stands between.
func (d *doc) wantedAs(i, to int) bool {
	c := d.clauseOf(i)
	want := d.has(span{c.from, i}, "want")
	return want >= 0 && d.axisAfter(to) != "" && d.has(span{want, i}, "for", "fit", "notpart", "withword") < 0
}

// wishedSize asks for evidence that a length is wished and not only told: a
// verb of wishing before it, a label, or a clause and sentence of nothing but wishes.
func (d *doc) wishedSize(from, to int) bool {
	s, c := d.sentence(from), d.clauseOf(from)
	if d.has(span{c.from, from}, "should", "resize", "verb", "set", "prefer", "ask", "want", "printing") >= 0 {
		return !d.ofHoles(c)
	}
	if d.topic == "size" || d.has(span{s.from, c.from}, "verb", "printing", "ask") >= 0 && d.has(span{s.from, c.to}, "is", "notpart") < 0 {
		return true
	}
	told := d.has(span{s.from, c.to}, "is", "past") >= 0 && d.has(s, "want", "ask") < 0
	return !told && (d.cue(from, "axis") > 0 || d.wishesOnly(c) || d.opens(from))
}

// ofHoles tells of a clause whose "they" or "it" may stand for a detail that
// was spoken of right before.
func (d *doc) ofHoles(c span) bool {
	start := c.from
	for start < c.to && (d.toks[start].kind == mark || d.cue(start, "opener", "and") > 0) {
		start++
	}
	if d.cue(start, "theyword") == 0 {
		return false
	}
	for k := max(0, c.from-near); k < c.from; k++ {
		if n := d.cue(k, "notpart"); n > 0 && (d.toks[k+n].kind != word || len(d.tags[k+n]) > 0) { // a "drawer tray" is no drawer
			return true
		}
	}
	return false
}

func (d *doc) afterAxis(j int) int {
	for range 3 {
		n := d.cue(j, "axislink", "axis")
		if n == 0 {
			break
		}
		j += n
	}
	return j
}

// many tells of a length among several: "10 x 5 x 3 cm" says what the part is,
// not along which axis it is wished.
func (d *doc) many(i, j int) bool {
	by := func(k int) bool {
		return d.fold(k) == "x" || d.fold(k) == "×" || d.fold(k) == "by" || d.fold(k) == "*"
	}
	return by(i-1) || by(j) && d.isNumeral(j+1)
}

// ofPart tells whether a length is said of the part, and as a wish: not "my
// shelf is 30 cm wide", "a 5 mm hole", "it is 10 cm tall in the file".
func (d *doc) ofPart(from, to int) bool {
	s := d.clauseOf(from)
	for k := from; k > s.from; k-- {
		if d.ended(k, "should", "resize", "verb", "set", "printing", "prefer") > 0 {
			break
		}
		n := d.ended(k, "notpart")
		if n > 0 && d.in.Language == "fr" && d.ended(k-n, "at") > 0 {
			continue // "des présentoirs à bobines de 30 cm"
		}
		if n > 0 || d.ended(k, "my", "is", "fit") > 0 {
			return false
		}
	}
	for k := to; k < min(s.to, to+6); k++ {
		if d.cue(k, "notpart", "my") > 0 {
			return false
		}
		if d.cue(k, "for", "fit") > 0 {
			break
		}
	}
	return !d.onlyAsks(from)
}

// scale finds the factor that the part is to be scaled by.
func (d *doc) scale() (*float64, string) {
	var best *found[float64]
	for i := 0; i < len(d.toks); i++ {
		s := d.scaleAt(i)
		if s == nil {
			continue
		}
		if best != nil && best.value != s.value && best.value != 1 && s.value != 1 && !d.corrects(i) {
			return nil, ""
		}
		d.claim(s.from, s.to)
		if best != nil && s.value == 1 {
			continue // "the file is full size, print it at half"
		}
		best = s
		d.use(s.from, s.to)
		i = s.to - 1
	}
	if best == nil {
		return nil, ""
	}
	return &best.value, d.words(best.from, best.to)
}

func (d *doc) scaleAt(i int) *found[float64] {
	if d.in.Answer && d.cue(i, "twofold", "halffold") > 0 {
		return nil // of the copies
	}
	if t, ok := d.tag(i, "scale"); ok {
		v, err := strconv.ParseFloat(t.key, 64)
		told := d.has(span{d.clauseOf(i).from, i}, "is", "notpart", "notscale") >= 0 && d.has(d.clauseOf(i), "should", "ask", "want") < 0 && !(d.in.Answer && d.ended(i, "at") > 0)
		if err != nil || d.hypothetical(i) || d.onlyAsks(i) || d.behind(i, "not", "instead") || told {
			return nil
		}
		return &found[float64]{v, i, i + t.n}
	}
	if r := d.ratioAt(i); r != nil {
		return r
	}
	value, n := d.numeral(i)
	if n == 0 || d.hypothetical(i) || d.bounded(i) || d.replaced(i) {
		return nil
	}
	if p := d.cue(i+n, "percent"); p > 0 {
		return d.percentAt(i, i+n+p, value)
	}
	return d.factorAt(i, i+n, value)
}

// percentAt reads "at 50 %", "scale 150 %", "20 % smaller".
func (d *doc) percentAt(i, to int, value float64) *found[float64] {
	n := d.cue(to, "of")
	if t, ok := find(d.tagsAt(to+n), "scale"); ok && t.key == "1" {
		to += n + t.n // "150 % of the original size"
	}
	defer d.claim(i, to)
	c, s := d.clauseOf(i), d.sentence(i)
	if d.has(c, "notscale") < 0 && !same(d.in.Earlier.Scale, &[]float64{value / 100}[0]) {
		d.loose[i] = "number"
	}
	if d.ranged(i, to) || value <= 0 || value > 1000 || d.has(c, "infillword", "notscale") >= 0 || d.onlyAsks(i) {
		return nil
	}
	one := func(v float64) *found[float64] { return &found[float64]{math.Round(v*1e4) / 1e4, i, to} }
	by, at := d.ended(i, "byword") > 0, d.ended(i, "at") > 0
	filled := d.has(s, "infillword") >= 0
	switch {
	case d.cue(to, "smaller") > 0 || by && d.has(c, "shrink") >= 0:
		if value < 100 {
			return one(1 - value/100)
		}
		return nil
	case d.cue(to, "larger") > 0 || by && d.has(c, "grow") >= 0:
		return one(1 + value/100)
	case by:
		return nil // by how much of what is not said
	case d.cue(to, "sizeword") > 0 || d.has(c, "sizeword", "resize", "shrink", "grow") >= 0 || d.labelled(i, "sizeword"):
		return one(value / 100)
	case at && d.printedAt(i), d.topic == "scale", d.topic == "size":
		return one(value / 100)
	case at && !filled && value != 100, value > 100, d.has(s, "sizeword", "resize", "shrink", "grow") >= 0 && !filled:
		return one(value / 100)
	}
	return nil
}

// printedAt tells whether "at" follows a verb of printing, or opens the clause.
func (d *doc) printedAt(i int) bool {
	at := i - d.ended(i, "at")
	return d.opens(at) || d.has(span{d.clauseOf(i).from, at}, "printing", "verb", "set", "copies") >= 0
}

// ratioAt reads "1:2" as half the size. Two digits behind the colon may be a time
// of day, unless the word "scale" stands beside it.
func (d *doc) ratioAt(i int) *found[float64] {
	if !d.isNumber(i) || d.toks[i].claimed || d.fold(i+1) != ":" || !d.isTight(i+1) || !d.isTight(i+2) || !d.isNumber(i+2) || d.fold(i+3) == ":" {
		return nil
	}
	a, b := d.toks[i].value, d.toks[i+2].value
	if a < 1 || b < 1 || a > 20 || b > 20 || a != 1 && b != 1 || d.hypothetical(i) || d.replaced(i) || d.onlyAsks(i) || d.has(span{d.clauseOf(i).from, i}, "is", "notpart") >= 0 {
		return nil
	}
	scale := d.behind(i, "factor", "sizeword", "resize") || d.cue(i+3, "sizeword") > 0
	if !scale && (len(d.toks[i+2].text) > 1 || !d.behind(i, "at", "printing", "set", "verb", "paint") && d.topic != "scale") {
		return nil
	}
	return &found[float64]{math.Round(a/b*1e4) / 1e4, i, i + 3}
}

// factorAt reads "scale 1.5", "1.5x the size", "three times as big".
func (d *doc) factorAt(i, to int, value float64) *found[float64] {
	if value <= 0 || value > 20 {
		return nil
	}
	if d.ended(i, "factor") > 0 || d.labelled(i, "factor") && !d.isTight(to) {
		if d.cue(to, "unit", "percent") == 0 && d.fold(to) != ":" && d.fold(to) != "/" {
			return &found[float64]{value, i, to}
		}
	}
	if strings.Contains("x×", d.fold(to)) && d.fold(to) != "" && d.cue(to+1, "bigger", "sizeword") > 0 {
		return &found[float64]{value, i, to + 1}
	}
	if n := d.cue(to, "sizeword", "bigger"); n > 0 && value != math.Trunc(value) { // "1/2 scale"
		return &found[float64]{math.Round(value*1e4) / 1e4, i, to + n}
	}
	if n := d.cue(to, "timesword"); n > 0 && d.cue(to+n, "smaller") > 0 {
		return &found[float64]{math.Round(1e4/value) / 1e4, i, to + n + d.cue(to+n, "smaller")}
	}
	if n := d.cue(to, "timesword"); n > 0 && d.cue(to+n, "bigger", "larger") > 0 {
		return &found[float64]{value, i, to + n}
	}
	return nil
}
