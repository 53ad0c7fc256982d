package wishes

import (
	"slices"
	"unicode"

	"meshclerk/intake/tagger"
)

// colours finds the wished colours in order of preference, and the refused ones.
func (d *doc) colours() (wished, refused []string, words string) {
	from, to, last := -1, 0, 0
	for i := 0; i < len(d.toks); i++ {
		t, ok := d.tag(i, "colour")
		if !ok || d.inName(i, i+t.n) || d.hypothetical(i) || d.unavailable(i) {
			continue
		}
		if d.cue(i+t.n, "toomuch") > 0 {
			d.use(i, i+t.n)
			continue // "white gets dirty so quickly"
		}
		switch {
		case d.refuses(i) && d.has(span{d.clauseOf(i).from, i}, "if") >= 0:
			continue // "if you have no blue"
		case d.refuses(i):
			if d.turnsDown(i) {
				refused = appendNew(refused, t.key)
			}
		case d.learnedAs(i, tagger.NotColour, sureRole) && !d.wishesColour(i, i+t.n, last):
			refused = appendNew(refused, t.key)
		case d.wishesColour(i, i+t.n, last) || d.learnedAs(i, tagger.Colour, sureRole) && !d.onlyAsks(i) || d.in.Answer && d.repeats(t.key) && d.finds(i+t.n) && !d.onlyAsks(i):
			wished = appendNew(wished, t.key)
			last = i + t.n
		default:
			continue
		}
		d.use(i, i+t.n)
		if from < 0 {
			from = i
		}
		to = i + t.n
		i = to - 1
	}
	switch {
	case len(wished) > 0:
		d.giveUpOthers()
		wished = slices.DeleteFunc(wished, func(c string) bool { return slices.Contains(refused, c) })
		return wished, refused, d.words(from, min(to, from+near))
	case len(refused) > 0:
		return nil, refused, d.words(max(d.clauseOf(from).from, from-3), min(to, from+near))
	}
	return nil, nil, d.anyColour()
}

// giveUpOthers takes for read the colours that are kept nowhere and that the patron does
// without: "no pink? Red then."
func (d *doc) giveUpOthers() {
	for i := range d.toks {
		if n := d.cue(i, "othercolour"); n > 0 && d.turnsDown(i) {
			d.use(i, i+n)
		}
	}
}

// finds tells whether a clause goes on with a word of agreeing: "the red you put down is
// fine".
func (d *doc) finds(i int) bool {
	return i < len(d.toks) && d.toks[i].clause == d.toks[i-1].clause && d.has(span{i, d.clauseOf(i).to}, "sufficient", "agreeable", "acceptend", "ok") >= 0 && d.has(d.clauseOf(i), "not") < 0
}

// anyColour gives the words by which the patron leaves the colour to us.
func (d *doc) anyColour() string {
	for i := range d.toks {
		if n := d.cue(i, "anycolour"); n > 0 && !d.toks[i].away && !d.toks[i].told && !d.hypothetical(i) {
			return d.words(i, i+n)
		}
	}
	return ""
}

// inName tells of a colour word that is part of a name: "Jordan White", "Red
// River", or a file's name.
func (d *doc) inName(i, j int) bool {
	capital := func(k int) bool {
		return k >= 0 && k < len(d.toks) && d.toks[k].kind == word && unicode.IsUpper(firstRune(d.toks[k].text)) && len(d.toks[k].text) > 1
	}
	if j < len(d.toks) && d.toks[j].kind == opaque && !d.toks[j].newline && d.toks[j].clause == d.toks[i].clause {
		return true
	}
	if d.cue(i, "notcolour") > 0 || d.ended(j, "notcolour") > 0 || d.ended(i, "title") > 0 {
		return true
	}
	if !capital(i) || d.allCapitals(i) {
		return false
	}
	before := i-1 >= d.sentence(i).from && capital(i-1) && len(d.tags[i-1]) == 0
	after := i > d.sentence(i).from && capital(j) && len(d.tags[j]) == 0 && d.toks[j].sent == d.toks[i].sent
	return before || after
}

// allCapitals tells of text that is shouted.
func (d *doc) allCapitals(i int) bool {
	r := []rune(d.toks[i].text)
	return len(r) > 1 && unicode.IsUpper(r[1])
}

// refuses tells whether the colour at a token is ruled out: "not red",
// "anything but red", "no red or orange please".
func (d *doc) refuses(i int) bool {
	return d.turnsDown(i) || d.ruledOut(i, "not", "instead", "changedfrom", "except")
}

// turnsDown tells whether a colour is refused, and not only replaced as in "green
// instead of blue".
func (d *doc) turnsDown(i int) bool {
	return d.ruledOut(i, "not", "except")
}

func (d *doc) ruledOut(i int, by ...string) bool {
	if d.toks[i].refused {
		return true
	}
	for range 4 {
		if d.ended(i, "nothingbut") > 0 {
			return false
		}
		i = d.skipBack(i)
		if n := d.ended(i, "in", "det", "adj"); n > 0 && d.ended(i, "not", "instead") == 0 {
			i -= n
			continue
		}
		if d.ended(i, by...) > 0 {
			return true
		}
		n := d.ended(i, "or", "range")
		if d.fold(i-1) == "," && n == 0 {
			n = 1
		}
		if n == 0 || d.ended(i-n, "colour") == 0 {
			return false
		}
		i -= n
		i -= d.ended(i, "colour")
	}
	return false
}

// wishesColour tells whether a colour from i to j-1 is what the part should have.
func (d *doc) wishesColour(i, j, last int) bool {
	switch {
	case d.topic == "colour", d.given[i]:
		return true
	case d.ofOther(i, j), d.onlyAsks(i):
		return false
	case d.cue(d.ahead(j), "plastic", "material") > 0 && !d.onlyAsks(i):
		return true
	case d.behindColour(i, "in", "colourword", "set", "should", "prefer", "paint", "nothingbut"):
		return d.ended(i, "inthe") == 0 || d.closed(j) || d.cue(j, "for", "plastic", "or") > 0
	case d.joined(i, last), d.exchangedTo(i), d.colourIs(i):
		return true
	case d.object(i):
		return true
	}
	return d.listed(i)
}

// behindColour tells whether a colour follows one of some cues, with nothing
// between them but words of shade or preference.
func (d *doc) behindColour(i int, names ...string) bool {
	for range 6 {
		i = d.skipBack(i)
		if d.ended(i, names...) > 0 {
			return d.ended(i, "in") == 0 || d.ended(i-d.ended(i, "in"), "dressed") == 0
		}
		n := d.ended(i, "adj", "det", "material", "colourword")
		if f := d.fold(i - 1); n == 0 && (f == ":" || f == "=") {
			n = 1
		}
		if n == 0 {
			return false
		}
		i -= n
	}
	return false
}

// exchangedTo tells of "change the colour to blue", "passez tout au jaune".
func (d *doc) exchangedTo(i int) bool {
	i = d.skipBack(i)
	n := d.ended(i, "exchangelink")
	if n == 0 {
		return false
	}
	for k := i - n - 1; k >= max(d.clauseOf(i-1).from, i-n-5); k-- {
		if d.cue(k, "exchange") > 0 {
			return true
		}
	}
	return false
}

// colourIs tells of "the colour chosen is blue", "la couleur retenue est le bleu".
func (d *doc) colourIs(i int) bool {
	i -= d.ended(i, "det")
	n := d.ended(i, "is")
	if n == 0 {
		return false
	}
	i -= n
	for k := i - 1; k >= max(d.clauseOf(i-1).from, i-4); k-- {
		if d.cue(k, "my", "of", "not") > 0 {
			return false
		}
		if d.cue(k, "colourword") > 0 {
			return d.ended(k, "det") > 0 || k == d.clauseOf(k).from
		}
	}
	return false
}

// joined tells whether the colour is the next of a choice: the tokens between
// it and the end of the colour wished before only join.
func (d *doc) joined(i, last int) bool {
	if last <= 0 || i-last > near {
		return false
	}
	for k := last; k < i; {
		n := d.cue(k, "or", "range", "and", "else", "skip", "filler", "adj", "plastic", "material", "in", "det", "colourword", "prefer")
		if f := d.fold(k); n == 0 && (f == "/" || f == "," || f == "&" || f == "(" || f == "-") {
			n = 1
		}
		if n == 0 || d.toks[k].sent != d.toks[i].sent {
			return false
		}
		k += n
	}
	return true
}

// ahead goes over the rest of a choice: "red or blue filament".
func (d *doc) ahead(j int) int {
	for range 3 {
		n := d.cue(j, "or", "and", "range")
		if f := d.fold(j); f == "/" || f == "," {
			n = 1
		}
		m := d.cue(j+n, "colour")
		if n == 0 || m == 0 {
			break
		}
		j += n + m
	}
	return j
}

// object tells whether the colour belongs to what is to be printed: "print two
// small blue dragons", "un dragon rouge".
func (d *doc) object(i int) bool {
	from := max(d.clauseOf(i).from, i-8)
	nouns := 0
	for k := i; k > from; {
		if d.ended(k, "verb", "set", "printing", "prefer") > 0 || d.counted[k] {
			return true
		}
		n := d.ended(k, "skip", "det", "adj", "number", "colour", "copies", "and", "or", "this")
		if n == 0 && d.isNumber(k-1) {
			n = 1
		}
		if n == 0 && nouns > 0 {
			n = d.ended(k, "my") // "she wants her unicorn purple"
		}
		if n == 0 {
			if d.toks[k-1].kind == mark || d.cue(k-1, "in", "for", "is", "past", "not") > 0 || nouns >= d.nounsBefore() {
				return false
			}
			nouns, n = nouns+1, 1
		}
		k -= n
	}
	return false
}

// nounsBefore is how many unknown words may stand between the verb and the
// colour. In French and Spanish the colour follows its noun.
func (d *doc) nounsBefore() int {
	if d.in.Language == "en" {
		return 1
	}
	return 3
}

// wishWords may stand in a clause that is nothing but wishes.
var wishWords = []string{"colour", "material", "number", "unit", "axis", "filler", "skip", "in", "plastic", "branch", "branchword", "place", "copies", "or", "and",
	"range", "det", "adj", "colourword", "prefer", "please", "this", "instead", "accept", "yes", "ok", "but", "opener", "now", "supports", "supportword", "strong",
	"ofthese", "copula", "scale", "sizeword", "factor", "percent", "infillword", "times", "pickupword", "pickuplabel", "hello", "axislink", "about", "andhalf"}

// listed tells whether the clause holds nothing but wishes: "White, please",
// "2x blue", "orange would be great".
func (d *doc) listed(i int) bool {
	s := d.clauseOf(i)
	if d.onlyAsks(i) {
		return false
	}
	loose := d.looseWords(s)
	if loose == 1 && i == s.from+1 && len(d.tags[s.from]) == 0 {
		return true // "concrete grey please"
	}
	return loose == 0 || loose == 1 && d.isNumeral(s.from) && d.counts(s.from, s.from+1) > 0 // "two hooks in grey"
}

// wishesOnly tells whether a span holds nothing but wishes and politeness.
func (d *doc) wishesOnly(s span) bool { return d.looseWords(s) == 0 }

// looseWords counts the words of a span that belong to no wish.
func (d *doc) looseWords(s span) int {
	loose := 0
	for k := s.from; k < s.to; {
		n := d.cue(k, wishWords...)
		if n == 0 && (d.toks[k].kind != word || d.toks[k].claimed || d.toks[k].away) {
			n = 1
		}
		if n == 0 {
			n, loose = 1, loose+1
		}
		k += n
	}
	return loose
}

// ofOther tells whether the colour belongs to another thing: "my black car".
func (d *doc) ofOther(i, j int) bool {
	if d.cue(j, "othercoloured") > 0 {
		return true
	}
	for range 3 {
		n := d.ended(i, "adj", "colour")
		if n == 0 {
			break
		}
		i -= n
	}
	return d.ended(i, "my") > 0
}

// unavailable tells whether the sentence only asks what there is. "If there is
// none, grey" asks nothing.
func (d *doc) unavailable(i int) bool {
	s := d.sentence(i)
	if d.has(s, "want") >= 0 {
		return false
	}
	for k := s.from; k < s.to; k++ {
		if n := d.cue(k, "else"); n > 1 {
			k += n - 1
		} else if d.cue(k, "available") > 0 {
			return true
		}
	}
	return false
}
