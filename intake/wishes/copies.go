package wishes

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"meshclerk/intake/tagger"
)

const maxCopies = 500 // a larger count is some other number

// found is a value with the tokens it stands on.
type found[T any] struct {
	value    T
	from, to int
}

// copies finds how many of this part are wished. Several different counts, or
// a range, are no count; the words are kept, so that the patron is asked.
func (d *doc) copies() (*int, string) {
	d.allParts()
	if sum := d.sum(); sum != nil {
		return &sum.value, d.words(sum.from, sum.to)
	}
	var best *found[int]
	var marked []found[int] // counts that were learned to be such
	clash := ""
	for i := 0; i < len(d.toks); i++ {
		c, unclear := d.countAt(i)
		if c != nil && d.in.Answer && (d.ended(c.to, "more", "less") > 0 || d.cue(c.from, "twofold", "halffold") > 0 || d.ended(c.from, "takeaway") > 0 && d.cue(c.to, "offorder") > 0) {
			d.use(c.from, c.to)
			return &c.value, d.words(c.from, c.to) // "add one more … now he wants one as well"
		}
		if c != nil && best != nil && c.value == 1 && best.value > 1 && d.saysCopies(best) && !d.saysCopies(c) && !d.corrects(c.from) {
			i = c.to - 1
			continue // "two copies, one for her and one for me"
		}
		if c != nil {
			d.use(c.from, c.to)
			if d.learnedAs(c.from, tagger.Copies, sureRole) {
				marked = append(marked, *c)
			}
		}
		switch {
		case unclear != "":
			clash = unclear
		case c == nil:
		case best == nil || best.value == c.value || d.corrects(c.from):
			best, clash = c, ""
		default:
			clash = d.words(c.from, c.to)
		}
		if c != nil {
			i = c.to - 1
		}
	}
	if best != nil && clash != "" && len(marked) > 0 && !slices.ContainsFunc(marked, func(c found[int]) bool { return c.value != marked[0].value }) {
		best, clash = &marked[0], "" // "two of them", where "one always snaps"
	}
	if best == nil && clash == "" {
		best = d.repeatedCount()
	}
	if each := d.oneOfEach(); each != "" && (best == nil || best.value > 1) {
		return d.eachOnce(best, each)
	}
	if best == nil || clash != "" {
		d.unuse(best)
		return nil, clash
	}
	d.claim(best.from, best.from+1)
	return &best.value, d.words(best.from, best.to)
}

// allParts claims the number of the parts that the offer was about, where the letter
// speaks of all of them: "print all three as you listed them".
func (d *doc) allParts() {
	for i := range d.toks {
		if n := d.allOfThem(i); n > 0 && !d.toks[i].claimed {
			d.claim(i, i+n)
			d.use(i, i+n)
		}
	}
}

// allOfThem is the length of a number that is that of the parts, behind a word for all of
// them, or 0: "all three".
func (d *doc) allOfThem(i int) int {
	value, n := d.numeral(i)
	if n == 0 || d.in.Parts < 2 || value != float64(d.in.Parts) || d.cue(i+n, "copies") > 0 {
		return 0
	}
	if d.ended(i, "all") > 0 || d.ended(i, "det") > 0 && d.ended(i-d.ended(i, "det"), "all") > 0 {
		return n
	}
	return 0
}

// sum reads what all counts make together: "two more, so five in all".
func (d *doc) sum() *found[int] {
	for i := range d.toks {
		value, n := d.numeral(i)
		if !d.mayCount(value, i, n) || d.hypothetical(i) || d.onlyAsks(i) || d.replaced(i) || d.other(i+n, 2) || d.listOf(i, i+n) {
			continue
		}
		if d.ended(i, "conclude") > 0 && d.closed(i+n) && d.cue(i+n, "and", "or") == 0 && d.toks[i].role != tagger.None && d.does(i, tagger.Wish) >= 0.5 {
			d.claim(i, i+n)
			d.use(i, i+n)
			return &found[int]{int(value), i, i + n}
		}
		for j := i + n; j < min(i+n+3, len(d.toks)) && d.toks[j].sent == d.toks[i].sent && d.toks[j].kind == word; j++ {
			if m := d.cue(j, "inall"); m > 0 && d.does(i, tagger.Wish, tagger.Yes) >= halfYes {
				d.claim(i, i+n)
				d.use(i, j+m)
				return &found[int]{int(value), i, j + m}
			}
		}
	}
	return nil
}

// listOf tells of a number that stands in a list of numbers: "for 1, 5 and 10".
func (d *doc) listOf(i, j int) bool {
	return d.ended(i, "and", "or") > 0 && d.endsNumeral(i-d.ended(i, "and", "or")) || d.cue(j, "and", "or") > 0 && d.isNumeral(j+d.cue(j, "and", "or"))
}

// eachOnce reads "one of each" where no count, or a count of all pieces, stands beside
// it: "twelve pieces, one of each".
func (d *doc) eachOnce(best *found[int], words string) (*int, string) {
	if best != nil && !d.ofPieces(best) {
		d.unuse(best)
		return nil, words
	}
	one := 1
	return &one, words
}

// ofPieces tells whether a count is of pieces.
func (d *doc) ofPieces(c *found[int]) bool {
	return d.has(span{c.from, c.to + 1}, "pieces", "copies") >= 0
}

// saysCopies tells whether a count is of copies by its noun.
func (d *doc) saysCopies(c *found[int]) bool {
	return d.ended(c.to, "copies") > 0 && c.to > c.from+1
}

// repeatedCount reads the count of the offer that a sentence of consent or of wishing
// says once more, with an article: "oui pour les 2 en rouge". It changes nothing.
func (d *doc) repeatedCount() *found[int] {
	if !d.in.Answer || d.in.Earlier.Copies == nil {
		return nil
	}
	for i := range d.toks {
		value, n := d.numeral(i)
		if t := d.toks[i]; n == 0 || value != float64(*d.in.Earlier.Copies) || t.away || t.told || t.claimed || t.refused || value < 2 || d.ended(i, "det", "of") == 0 || len(d.learned) <= t.says {
			continue
		}
		if d.does(i, tagger.Yes, tagger.Wish) >= halfYes && d.does(i, tagger.Ask, tagger.No) < sureNot && !d.otherNumber(i, i+n) && !d.other(i+n, 3) && !d.replaced(i) && d.cue(i+n, "more") == 0 {
			d.use(i, i+n)
			return &found[int]{int(value), i, i + n}
		}
	}
	return nil
}

// oneOfEach gives the words by which every file is wished once, or "".
func (d *doc) oneOfEach() string {
	for i := range d.toks {
		if n := d.cue(i, "oneofeach"); n > 0 && !d.toks[i].away && !d.toks[i].claimed {
			return d.words(i, i+n)
		}
	}
	return ""
}

// unuse marks a count that another one contradicts as not read.
func (d *doc) unuse(c *found[int]) {
	for i := 0; c != nil && i < c.to-c.from; i++ {
		d.toks[c.from+i].used = false
	}
}

// corrects tells whether the sentence takes back what was said before.
func (d *doc) corrects(i int) bool {
	return d.has(d.sentence(i), "correct", "instead") >= 0
}

// countAt reads a count of copies at a token; unclear are the words when the
// patron speaks of a number of copies but leaves it open.
func (d *doc) countAt(i int) (c *found[int], unclear string) {
	if n, ok := d.tag(i, "times"); ok {
		return d.timesAt(i, n)
	}
	if n := d.cue(i, "onecopy"); n > 0 && !d.toks[i].away && !d.toks[i].claimed && !d.toks[i].told && (d.cue(i+n, "of") > 0 || !d.other(i+n, 3)) && !d.hypothetical(i) && !d.replaced(i) {
		return &found[int]{1, i, i + n}, ""
	}
	if c := d.foldAt(i); c != nil {
		return c, ""
	}
	value, n := d.numeral(i)
	if a := d.cue(i, "a"); n == 0 && a > 0 && !d.toks[i].away && !d.toks[i].told {
		return cmp.Or(d.perHead(i, i+a, 1), d.addedAt(i, i+a, 1), d.fewerAt(i, i+a, 1)), ""
	}
	if n > 0 {
		if c := cmp.Or(d.timesOver(i, i+n, value), d.movedCount(i, i+n, value)); c != nil {
			return c, ""
		}
	}
	if !d.mayCount(value, i, n) || d.hypothetical(i) || d.onlyAsks(i) && d.cue(d.start(d.sents[d.toks[i].sent]), "whword") > 0 {
		return nil, ""
	}
	if c := d.addedAt(i, i+n, int(value)); c != nil {
		return c, ""
	}
	if c := d.fewerAt(i, i+n, int(value)); c != nil {
		return c, ""
	}
	if c := d.perHead(i, i+n, int(value)); c != nil {
		return c, ""
	}
	if d.insteadOfOffer(i+n) || d.onlyCount(i, i+n) {
		d.counted[i+n] = true
		return &found[int]{int(value), i, i + n}, ""
	}
	to := d.counts(i, i+n)
	if to == 0 {
		to = zeroUnless(d.learnedCount(i, i+n), i+n)
	}
	if to == 0 {
		return nil, ""
	}
	if d.notAtAll(i) && !d.asksFor(i) {
		return nil, d.words(i, to)
	}
	if d.ranged(i, i+n) || d.bounded(i) {
		return nil, d.words(i, to)
	}
	if d.replaced(i) {
		return nil, ""
	}
	d.counted[i+n] = true
	return &found[int]{int(value), i, to}, ""
}

// foldAt reads "twice as many" and "half the quantity" beside the copies that were known
// before.
func (d *doc) foldAt(i int) *found[int] {
	twice, half := d.cue(i, "twofold"), d.cue(i, "halffold")
	if e := d.in.Earlier.Copies; d.in.Answer && e != nil && !d.toks[i].away && !d.toks[i].refused && !d.hypothetical(i) && !d.onlyAsks(i) {
		switch {
		case twice > 0 && *e*2 <= maxCopies:
			return &found[int]{*e * 2, i, i + twice}
		case half > 0 && *e%2 == 0:
			return &found[int]{*e / 2, i, i + half}
		}
	}
	return nil
}

// asksFor tells of a number right behind a word of needing: "I need 5 hooks", "besoin de 5
// crochets".
func (d *doc) asksFor(i int) bool {
	n := d.ended(i, "verb")
	return n > 0 && d.has(span{i - n, i}, "want", "need") >= 0
}

// mayCount tells whether a number of n tokens at i may be a count by its value and its
// neighbours.
func (d *doc) mayCount(value float64, i, n int) bool {
	return n > 0 && value == math.Trunc(value) && value >= 1 && value <= maxCopies && !d.otherNumber(i, i+n)
}

// perHead reads "one for each of the 6 children", "uno para cada uno de los 6".
func (d *doc) perHead(i, j, value int) *found[int] {
	k := j + d.cue(j, "fordate")
	each := d.cue(k, "eachword", "everyword")
	if value > 4 || k == j || each == 0 || d.replaced(i) || d.has(d.clauseOf(i), "is", "past") >= 0 {
		return nil
	}
	for k += each; k < j+6; k++ {
		if heads, n := d.numeral(k); n > 0 && heads == math.Trunc(heads) && heads > 1 && int(heads)*value <= maxCopies {
			d.claim(k, k+n)
			d.counted[k+n] = true
			return &found[int]{int(heads) * value, i, k + n}
		}
		if d.cue(k, "of", "det", "this", "my", "ofthese") == 0 {
			break
		}
	}
	return nil
}

// addedAt reads "add one more" beside the copies that were known before.
func (d *doc) addedAt(i, j, value int) *found[int] {
	n := d.cue(j, "more")
	wished := i - d.ended(i, "conclude", "soword") // "il m'en faudrait donc une de plus"
	if n == 0 || !d.in.Answer || d.in.Earlier.Copies == nil || d.replaced(i) || d.ranged(i, j) || d.other(j+n, 2) || d.cue(j+n, "bigger") > 0 || !d.behind(wished, "addword", "verb", "set") {
		return nil
	}
	d.counted[j] = true
	return &found[int]{*d.in.Earlier.Copies + value, i, j + n}
}

// fewerAt reads "one fewer" and "take two off" beside the copies that were known
// before.
func (d *doc) fewerAt(i, j, value int) *found[int] {
	n := d.cue(j, "less")
	taken := d.ended(i, "takeaway") > 0 && (n > 0 || d.in.Language == "es" && d.closed(j) || d.cue(j, "offorder") > 0)
	if !d.in.Answer || d.in.Earlier.Copies == nil || *d.in.Earlier.Copies <= value || !taken && (n == 0 || d.fold(j) == "off" || d.cue(j+n, "bigger") > 0) || d.replaced(i) || d.ranged(i, j) || d.other(j+n, 2) {
		return nil
	}
	d.counted[j] = true
	return &found[int]{*d.in.Earlier.Copies - value, i, j + n}
}

// insteadOfOffer tells of a number that the count of the offer follows: "4 instead of 3".
func (d *doc) insteadOfOffer(j int) bool {
	n := d.cue(j, "instead")
	for k := j; n == 0 && k < min(j+2, len(d.toks)) && d.toks[k].kind == word && d.cue(k, "unit", "percent", "othernoun") == 0; k++ {
		if n = d.cue(k+1, "instead"); n > 0 {
			j = k + 1 // "three lids instead of two"
		}
	}
	offered, m := d.numeral(j + n)
	return n > 0 && m > 0 && d.in.Answer && d.in.Earlier.Copies != nil && offered == float64(*d.in.Earlier.Copies) && !d.otherNumber(j+n, j+n+m)
}

// onlyCount tells of a number that is a sentence of its own and was learned to be a
// count rather than not: "Three."
func (d *doc) onlyCount(i, j int) bool {
	s := d.sents[d.toks[i].sent]
	return s.from == i && (s.to == j || s.to == j+1 && d.toks[j].kind == mark) && d.learnedAs(i, tagger.Copies, 0.5)
}

// learnedCount tells of a number that was learned to be a count, unless what is
// known here speaks against it: "this one", "2 of the holes".
func (d *doc) learnedCount(i, j int) bool {
	sure := sureCount
	if value, _ := d.numeral(i); value == 1 && d.toks[i].kind == word && (!d.opens(i) || d.cue(j, "of") > 0) {
		sure = sureOne
	}
	return d.learnedAs(i, tagger.Copies, sure) && d.does(i, tagger.Ask) < 0.5 &&
		d.ended(i, "this", "all") == 0 && !(d.ended(i, "in") > 0 && d.cue(j, "pieces") > 0) && d.cue(j, "more") == 0 && !d.other(j, 4) && !d.isLetter(j)
}

// timesAt reads "print it twice".
func (d *doc) timesAt(i int, t tag) (*found[int], string) {
	value, err := strconv.Atoi(t.key)
	j := i + t.n
	end := j >= len(d.toks) || d.toks[j].clause != d.toks[i].clause || d.cue(j, "in", "filler") > 0 || d.toks[j].kind == mark
	if err != nil || !end || d.hypothetical(i) {
		return nil, ""
	}
	for k := i; k > max(d.clauseOf(i).from, i-5); k-- {
		if d.ended(k, "printing") > 0 {
			return &found[int]{value, i, j}, ""
		}
	}
	return nil, ""
}

// timesOver reads "print the attached clip 24 times", but not "three times as large".
func (d *doc) timesOver(i, j int, value float64) *found[int] {
	n := d.cue(j, "timesword")
	c := d.clauseOf(i)
	if n == 0 || d.fold(j) == "x" || !d.mayCount(value, i, j-i) || !d.closed(j+n) || d.hypothetical(i) || d.replaced(i) || d.toks[i].told ||
		d.has(span{c.from, i}, "printing") < 0 || d.has(c, "scale", "resize", "bigger", "past") >= 0 || d.does(i, tagger.Wish, tagger.Yes) < halfYes {
		return nil
	}
	return &found[int]{int(value), i, j + n}
}

// movedCount reads the second number of "change the quantity from 6 to 16".
func (d *doc) movedCount(i, j int, value float64) *found[int] {
	n := d.ended(i, "range")
	if n == 0 || d.ended(i, "and") > 0 || !d.mayCount(value, i, j-i) || d.hypothetical(i) {
		return nil
	}
	from := i - n - 1
	for from > 0 && !d.isNumeral(from) {
		from--
	}
	before := d.ended(from, "changedfrom", "fromword")
	if before == 0 || !d.endsNumeral(i-n) || d.has(span{d.clauseOf(i).from, from}, "quantity", "copies", "jobword") < 0 || d.has(d.clauseOf(i), "couldword", "is", "beword", "should") >= 0 {
		return nil
	}
	d.claim(from, i-n)
	d.counted[j] = true
	return &found[int]{int(value), i, j}
}

// otherNumber tells of a number that by its neighbours is a measure, a date, a
// time, an amount of money or a label.
func (d *doc) otherNumber(i, j int) bool {
	switch d.fold(i - 1) {
	case "#", "$", "€", "£", "°", "/", "'", "v", "version", "m":
		return true
	case "-", ".", ":":
		if d.toks[i].tight && i > 1 && d.isTight(i-1) && d.toks[i-2].kind != word {
			return true
		}
	}
	if d.ended(i, "numbered") > 0 || d.ended(i, "month") > 0 {
		return true
	}
	switch d.fold(j) {
	case "/":
		return d.isTight(j)
	case "%", "°", "$", "€", "£", `"`, "'", "=":
		return true
	case ":", ".", ",":
		return d.isTight(j) && d.isTight(j+1) && d.isNumber(j+1)
	case "x", "×", "*", "by":
		return d.isNumber(j + 1)
	}
	if x := d.fold(i - 1); (x == "x" || x == "×") && (d.isNumber(i-2) || i > 1 && d.toks[i-2].kind == opaque) {
		return true
	}
	return d.cue(j, "ordinal", "clock", "money", "month") > 0 || d.cue(j, "unit") > 0 && d.fold(j) != "in"
}

// counts tells whether a number from i to j-1 counts copies, and where the
// words that say so end; 0 when it does not.
func (d *doc) counts(i, j int) int {
	if n := d.cue(j, "more"); n > 0 {
		if d.in.Answer {
			return 0 // how many in all is not said
		}
		j += n
	}
	behind := d.behind(i, "verb", "set", "prefer") || d.labelled(i, "quantity")
	if n := d.cue(j, "copies"); n > 0 {
		return zeroUnless(!d.told(j+n) && (d.ofFile(j+n) || !d.other(j+n, 3)), j+n)
	}
	if n := d.cue(j, "ofthese"); n > 0 {
		asked := behind || d.opensSentence(i) || d.has(span{d.sentence(i).from, i}, "want", "ask", "printing") >= 0
		return zeroUnless(asked && !d.told(j+n) && !d.other(j+n, 3) && d.ended(i, "all") == 0, j+n)
	}
	if n := d.cue(j, "pieces"); n > 0 {
		ordered := d.ended(i, "partof") == 0 && d.opens(i) && d.order(i, j+n)
		return zeroUnless(ordered || behind && (d.ended(i, "partof") == 0 || d.ended(i, "verb") > 0), j+n)
	}
	if n := d.cue(j, "instead"); n > 0 && d.isNumeral(j+n) && d.opens(i) {
		return j
	}
	switch {
	case d.cue(j, "sufficient") > 0 && d.leads(i, "opener", "mend", "skip", "hello", "yes", "ok", "filler", "det"):
		return j + d.cue(j, "sufficient")
	case d.crossed(i, j):
		return j + zeroUnless(d.fold(j) == "x" || d.fold(j) == "×", 1)
	case d.labelled(i, "quantity"), d.topic == "copies":
		return zeroUnless(!d.other(j, 1), j)
	case d.cue(j, "colour") > 0 && d.has(span{d.clauseOf(i).from, i}, "printing", "verb", "ask", "set") >= 0: // "print dis 1 black"
		return j
	case d.behind(i, "set"):
		return zeroUnless(d.closed(j), j)
	case d.behind(i, "verb", "prefer"):
		return zeroUnless(!d.other(j, 3), j)
	case d.opensSentence(i):
		return zeroUnless(d.order(i, j), j)
	}
	return 0
}

// ofFile tells of "of the file", behind "two copies".
func (d *doc) ofFile(j int) bool {
	for range 3 {
		n := d.cue(j, "of", "det", "this", "my")
		if n == 0 || d.cue(j, "jobword") > 0 {
			break
		}
		j += n
	}
	return d.cue(j, "jobword") > 0
}

func zeroUnless(ok bool, n int) int {
	if ok {
		return n
	}
	return 0
}

// told tells whether a story follows, as in "two of them are teachers".
func (d *doc) told(j int) bool {
	return d.cue(j, "is", "past") > 0 && d.cue(j+1, "enough") == 0
}

// crossed is "x2", "2x" and "2 x": a count only when no size follows.
func (d *doc) crossed(i, j int) bool {
	isX := func(k int) bool { return d.fold(k) == "x" || d.fold(k) == "×" }
	if isX(i-1) && (d.isTight(i) || d.opens(i-1) || d.ended(i-1, "this", "colour", "printing") > 0 && d.closed(j)) && d.cue(j, "unit", "bigger") == 0 {
		return true
	}
	return isX(j) && !d.isNumber(j+1) && d.cue(j+1, "bigger", "axis", "unit") == 0 && !d.other(j+1, 2) && (d.isTight(j) || d.opens(i) || d.behind(i, "verb"))
}

// labelled is "copies: 2".
func (d *doc) labelled(i int, label string) bool {
	for range 3 {
		if d.ended(i, label) > 0 {
			return true
		}
		switch d.fold(i - 1) {
		case ":", "=", "-", "–", "is", "are", "of", "est", "es", "de":
			i--
		default:
			return false
		}
	}
	return false
}

// closed tells whether nothing of weight follows: the clause ends, or goes on
// with a politeness, a colour or "instead".
func (d *doc) closed(j int) bool {
	if j >= len(d.toks) || d.toks[j].kind == mark || d.toks[j].clause != d.toks[j-1].clause || d.toks[j].sent != d.toks[j-1].sent {
		return true
	}
	return d.cue(j, "filler", "instead", "copies", "in", "colour", "material", "but", "replaced") > 0 || d.cue(j, "and") > 0 && !d.isNumeral(j+1) && d.cue(j+1, "det") == 0
}

// other tells whether one of the next words counts another thing: hours,
// children, holes.
func (d *doc) other(j, words int) bool {
	for k := j; k < min(j+words, len(d.toks)); k++ {
		switch {
		case d.toks[k].kind == mark && d.fold(k) != "-", d.cue(k, "in", "for", "according") > 0, j > 0 && d.toks[k].sent != d.toks[j-1].sent:
			return false
		case d.cue(k, "othernoun") > 0, d.cue(k, "unit") > 0 && (k == j || !d.isNumber(k-1)): // "2 hooks 5 cm tall" counts hooks
			return true
		}
	}
	return false
}

// opens tells whether a token is the first of weight in its clause.
func (d *doc) opens(i int) bool {
	from := d.clauseOf(i).from
	for k := i - 1; k >= from; k-- {
		if !d.toks[k].claimed && d.toks[k].kind != mark && d.cue(k, "skip", "filler", "hello") == 0 {
			return false
		}
	}
	return true
}

// opensSentence tells whether before a token, in its sentence, stand only wishes.
func (d *doc) opensSentence(i int) bool {
	if !d.opens(i) {
		return false
	}
	s, c := d.sentence(i), d.clauseOf(i)
	return d.fold(c.from-1) == ":" || d.wishesOnly(span{s.from, c.from})
}

// order tells whether a clause that begins with a number is an order without a
// verb: "2 please", "Two hooks in grey".
func (d *doc) order(i, j int) bool {
	if n := d.cue(j, "instead"); n > 0 && d.isNumeral(j+n) || d.cue(j, "enough") > 0 {
		return true
	}
	if n := d.cue(j+1, "not"); n > 0 && d.fold(j) == "," && d.isNumeral(j+1+n) {
		return true // "two, not three"
	}
	if d.other(j, 4) || d.isLetter(j) || d.has(span{j, d.sentence(i).to}, "is", "past") >= 0 {
		return false
	}
	s := d.sentence(i)
	polite := d.has(s, "please", "percent", "scale") >= 0
	for k := s.from; k < s.to && !polite; k++ {
		_, colour := d.tag(k, "colour")
		_, material := d.tag(k, "material")
		polite = colour || material || d.cue(k, "enough") > 0
	}
	return (polite || d.heading(s, j)) && d.cue(j, "question") == 0
}

// isLetter tells of a single letter, as in "205 C".
func (d *doc) isLetter(j int) bool {
	return j < len(d.toks) && d.toks[j].kind == word && len(d.toks[j].text) == 1 && d.cue(j, "det", "and", "or") == 0
}

// heading tells of a letter that begins with an order of few words: "One knob."
func (d *doc) heading(s span, j int) bool {
	for k := 0; k < s.from; k++ {
		if !d.toks[k].away {
			return false
		}
	}
	return !d.in.Answer && s.to-j >= 2 && s.to-j <= 3 && d.toks[s.to-1].fold == "."
}
