package wishes

import "strings"

// revise is the first step: where the writer takes a value back and gives another
// ("the 20th, sorry, the 27th"; "10 cm tall, sorry, I mean inches"), the text is
// read as if the right one had stood there from the start. Which words of the
// letter were moved is kept, so that the patron's own words can be shown.
func (d *doc) revise(lex *lexicon) {
	var edits []edit
	for i := 0; i < len(d.toks) && len(edits) < mostEdits; i++ {
		n := d.cue(i, "mend", "scratch")
		if n == 0 || !d.mayMend(i) || d.cue(i+n, "than") > 0 {
			continue // "at Millbrook rather than at Central" corrects nothing
		}
		e, ok := d.mending(i, i+n, edits)
		if !ok && d.cue(i, "scratch") > 0 {
			e, ok = d.scratched(i, i+n, edits)
		}
		if ok {
			edits = append(edits, e)
			i = e.gone.to - 1
		}
	}
	if len(edits) == 0 {
		return
	}
	d.apply(edits)
	d.toks = tokens(d.text, maxTokens)
	d.mark(lex)
}

const (
	mostEdits = 8        // corrections are followed in one letter
	lookBack  = 3 * near // tokens that a correction reaches back
)

// edit puts one value in the place of an older one, in tokens.
type edit struct {
	old, value span
	gone       span // the words of correcting, with the value where it stood
}

// cut is a stretch of the revised text, and where it stands in the letter.
type cut struct{ at, from, n int }

// mayMend tells whether a word of correcting stands where it corrects: behind a
// sign, or right behind a value.
func (d *doc) mayMend(i int) bool {
	return i > 0 && (d.toks[i-1].kind != word || d.toks[i].newline || d.ended(i, "colour", "unit", "branch", "material", "day", "number", "copies", "percent", "ordinal") > 0)
}

// mending finds what a word of correcting from c to e-1 corrects.
func (d *doc) mending(c, e int, before []edit) (edit, bool) {
	x := d.toValue(e)
	if n := d.cue(x, "not"); n > 0 { // "sorry, not the 20th, the 27th"
		if kind, y := d.valueKind(d.toValue(x + n)); kind != "" {
			x = d.toValue(y + d.cue(y, "but"))
		}
	}
	kind, y := d.valueKind(x)
	if kind == "" || kind == "number" && !d.endsValue(y) && !d.broken(c) {
		return edit{}, false
	}
	floor := max(0, c-lookBack)
	if n := len(before); n > 0 {
		floor = max(floor, before[n-1].gone.to)
	}
	old, ok := d.lastValue(kind, floor, c)
	if !ok || d.denied(old.from) {
		return edit{}, false
	}
	gone := span{c, y}
	for gone.from > old.to && d.toks[gone.from-1].kind == mark && !strings.Contains("!?.%\"'", d.fold(gone.from-1)) {
		gone.from--
	}
	return edit{old, span{x, y}, gone}, true
}

// scratched finds what "scratch that" takes back where the value follows in a sentence of
// its own: "in yellow? Scratch that, I've just seen the wall. Green."
func (d *doc) scratched(c, e int, before []edit) (edit, bool) {
	floor := max(0, c-lookBack)
	if n := len(before); n > 0 {
		floor = max(floor, before[n-1].gone.to)
	}
	for x := e + 1; x < min(e+lookBack, len(d.toks)); x++ {
		kind, y := d.valueKind(x)
		if kind == "" || !strings.Contains(".!", d.fold(x-1)) || y < len(d.toks) && d.toks[y].kind != mark {
			continue
		}
		for i := c - 1; i >= floor; i-- {
			if k, to := d.valueKind(i); k == kind && to <= c {
				return edit{span{i, to}, span{x, y}, span{x, y}}, true
			}
		}
	}
	return edit{}, false
}

// toValue goes over what may stand between the word of correcting and the value.
func (d *doc) toValue(i int) int {
	for range 8 {
		n := d.cue(i, "mend", "det", "daydet", "in", "at", "set", "should", "want", "verb", "skip", "please", "by", "place", "prefer", "this")
		if i < len(d.toks) && (d.toks[i].kind == mark && !strings.Contains("?$#", d.fold(i)) || d.fold(i) == "it") {
			n = max(n, 1)
		}
		if kind, _ := d.valueKind(i); kind != "" || n == 0 {
			return i
		}
		i += n
	}
	return i
}

// valueKind tells what sort of value begins at a token, and where it ends.
func (d *doc) valueKind(i int) (kind string, to int) {
	if i >= len(d.toks) {
		return "", i
	}
	for _, group := range []string{"colour", "branch", "material", "scale", "day", "feast"} {
		if t, ok := find(d.tags[i], group); ok {
			if group == "day" || group == "feast" {
				group = "date"
			}
			return group, i + t.n
		}
	}
	if t, ok := find(d.tags[i], "unit"); ok && !d.endsNumeral(i) && t.key != "m" && (d.fold(i) != "in") {
		return "unit", i + t.n
	}
	if _, to := d.monthDate(i); to > 0 {
		return "date", to
	}
	if _, to := d.numericDate(i); to > 0 {
		return "date", to
	}
	if _, to := d.length(i); to > 0 {
		return "length", to
	}
	_, n := d.numeral(i)
	switch j := i + n; {
	case n == 0:
		return "", i
	case d.cue(j, "percent") > 0:
		return "percent", j + d.cue(j, "percent")
	case d.cue(j, "ordinal") > 0:
		return "date", j + d.cue(j, "ordinal")
	case d.pieceOther(i, j) || d.isMoney(i, j) || d.other(j, 2):
		return "", i
	default:
		return "number", j
	}
}

// endsValue tells whether a bare number stands for itself: "sorry, three."
func (d *doc) endsValue(j int) bool {
	return j >= len(d.toks) || d.toks[j].kind == mark && d.fold(j) != "-" || d.cue(j, "filler", "please", "copies", "pieces", "in", "colour", "closing", "ofthese", "instead", "this", "sufficient", "subject", "for", "fordate") > 0
}

// broken tells of a number that the writer broke off behind: "ten... no, sorry, eleven
// coasters".
func (d *doc) broken(c int) bool {
	for range 4 {
		n := d.ended(c, "mend", "not")
		if f := d.fold(c - 1); n == 0 && c > 0 && strings.Contains("….,-–", f) {
			n = 1
		}
		if n == 0 {
			break
		}
		c -= n
	}
	return d.endsNumeral(c) && (d.fold(c) == "…" || d.fold(c) == "." && d.fold(c+1) == ".")
}

// lastValue finds the value of a sort that stands nearest before a token. A unit
// alone corrects the unit of a length; a bare number that of a length or percentage.
func (d *doc) lastValue(kind string, from, c int) (found span, ok bool) {
	for i := from; i < c; i++ {
		k, to := d.valueKind(i)
		switch {
		case d.fold(i) == "?":
			ok = false
		case k == "" || to > c:
		case k == kind:
			found, ok = span{i, to}, true
		case k == "length" && kind == "unit":
			_, n := d.numeral(i)
			found, ok = span{i + n, to}, true
		case kind == "number" && (k == "length" || k == "percent"):
			_, n := d.numeral(i)
			found, ok = span{i, i + n}, true
		}
		if k != "" {
			i = to - 1
		}
	}
	return found, ok
}

// denied tells of a value that was refused, so that what follows is no correction:
// "not in red, better in blue".
func (d *doc) denied(i int) bool {
	for k := i; k > max(0, i-6); k-- {
		if d.ended(k, "not", "refuseahead", "except", "instead", "changedfrom") > 0 {
			return true
		}
		if d.toks[k-1].kind == mark {
			return false
		}
	}
	return false
}

// apply writes the revised text and where its stretches come from.
func (d *doc) apply(edits []edit) {
	var b strings.Builder
	d.letter = d.text
	at := 0
	add := func(from, to int) {
		if to > from {
			d.cuts = append(d.cuts, cut{b.Len(), from, to - from})
			b.WriteString(d.text[from:to])
		}
	}
	for _, e := range edits {
		add(at, d.toks[e.old.from].start)
		add(d.toks[e.value.from].start, d.toks[e.value.to-1].end)
		add(d.toks[e.old.to-1].end, d.toks[e.gone.from].start)
		at = d.toks[e.gone.to-1].end
		if d.toks[e.old.to-1].end > d.toks[e.gone.from].start {
			at = max(at, d.toks[e.old.to-1].end)
		}
	}
	add(at, len(d.text))
	d.text = b.String()
}

// inLetter gives where a byte of the revised text stands in the letter.
func (d *doc) inLetter(at int) int {
	for k := len(d.cuts) - 1; k >= 0; k-- {
		if c := d.cuts[k]; at >= c.at {
			return c.from + min(at-c.at, c.n)
		}
	}
	return at
}

// wordsOfLetter gives the passage of the letter that tokens of the revised text
// come from.
func (d *doc) wordsOfLetter(from, to int) string {
	if len(d.cuts) == 0 {
		return d.text[d.toks[from].start:d.toks[to-1].end]
	}
	first, last := len(d.letter), 0
	for i := from; i < to; i++ {
		first = min(first, d.inLetter(d.toks[i].start))
		last = max(last, d.inLetter(d.toks[i].end-1)+1)
	}
	return d.letter[first:last]
}
