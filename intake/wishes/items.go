package wishes

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

// piece is a stretch between two joints ("2 red" in "2 red, 1 blue") and what it
// says of one part, or of some of the copies.
type piece struct {
	span
	item    job.Item
	part    span    // the patron's words for the part
	bare    float64 // a number that may go with the unit of the piece before
	unit    float64 // mm of the unit that the size was written in
	each    bool    // "one each in red and blue": the count is for every colour
	some    bool    // "a red one": one of it, if counts are spoken of at all
	whole   bool    // "everything in grey": said of all pieces
	ordered bool    // a word of wishing stands in it
	broken  bool    // something in it belongs to no wish
}

// items finds what is wished of each part, or of some of the copies, where they
// differ: "2 red, 1 blue", "the lid twice in red, the box once in blue". The words
// are claimed. A letter in which nothing differs has no items.
func (d *doc) items() ([]job.Item, string) {
	var run []piece
	for _, p := range append(d.pieces(), piece{broken: true}) {
		if !p.broken {
			run = append(run, p)
			continue
		}
		run = d.beforePlace(run)
		if items := d.differing(&run); len(items) > 0 {
			from, to := run[0].from, run[len(run)-1].to
			words := d.words(from, to)
			d.claim(from, to)
			d.use(from, to)
			return items, words
		}
		run = nil
	}
	return nil, ""
}

// beforePlace leaves out a branch that stands by itself behind the last value, and
// what follows: "the plate in white. Fernhill branch. Ravi".
func (d *doc) beforePlace(run []piece) []piece {
	last := len(run)
	for last > 0 && !run[last-1].valued() {
		last--
	}
	if slices.ContainsFunc(run[last:], func(p piece) bool { return d.has(p.span, "branch") >= 0 }) {
		return run[:last]
	}
	return run
}

// pieces cuts the letter at joints and reads each stretch.
func (d *doc) pieces() []piece {
	var out []piece
	for _, s := range d.sents {
		if d.onlyAsks(s.from) || d.hypothetical(s.from) {
			out = append(out, piece{broken: true})
			continue
		}
		for from := s.from; from < s.to; {
			p := d.piece(span{from, s.to})
			if p.says() || p.broken {
				out = append(out, p)
			}
			from = max(p.to, from+1)
		}
	}
	return out
}

// valued tells whether a piece wishes something.
func (p *piece) valued() bool {
	return p.item.Copies > 0 || p.bare > 0 || p.some || len(p.item.Colours) > 0 || p.item.Size != nil || p.item.Scale != nil || p.item.Material != ""
}

func (p *piece) named() bool { return p.part.to > p.part.from }
func (p *piece) says() bool  { return p.valued() || p.named() }

// piece reads from the head of a span to the next joint.
func (d *doc) piece(s span) piece {
	p := piece{span: s}
	for i := s.from; i < s.to; {
		if i > s.from && d.joint(i, &p) {
			p.to = i
			break
		}
		n := d.readPiece(i, &p)
		if n == 0 {
			p.broken, n = true, 1
		}
		i += n
	}
	p.to = max(p.to, s.from+1)
	return p
}

// joint tells whether a new stretch begins at a token: behind a comma or "and",
// or with a second count.
func (d *doc) joint(i int, p *piece) bool {
	switch d.fold(i) {
	case ",", ";", "+", "&", "|", "/":
		return true
	case ":", "(", "–", "—", "-", ")":
		return !d.toks[i].tight && p.valued() || d.fold(i) == ":" && (p.valued() || p.broken) // a story, then the list
	}
	if d.cue(i, "and") > 0 && d.fold(i) != "with" && d.fold(i) != "avec" && d.fold(i) != "con" {
		return true
	}
	_, n := d.numeral(i)
	return n > 0 && p.item.Copies > 0 && len(p.item.Colours) > 0 && d.cue(i+n, "colour") > 0
}

// readPiece takes the phrase at a token into a piece and returns its length, or 0
// when it belongs to no wish.
func (d *doc) readPiece(i int, p *piece) int {
	t := d.toks[i]
	switch {
	case t.refused || t.told || t.away && t.kind != mark || t.claimed && t.kind != mark:
		return 0
	case t.kind == opaque:
		p.part = span{i, i + 1}
		return 1
	}
	if n := d.pieceValue(i, p); n != 0 {
		return max(n, 0)
	}
	if d.cue(i, "likeword") > 0 && len(p.item.Colours) > 0 {
		return d.toJoint(i) - i // "grey like real metal"
	}
	if n := d.cue(i, "want", "verb", "ask", "printing", "set", "should", "prefer"); n > 0 && (d.cue(i, "should") > 0 || !d.partOpen(i, p)) {
		if p.item.Copies == 0 && len(p.item.Colours) == 0 && d.cue(i, "should") == 0 {
			p.part = span{}
			p.broken = p.broken && d.cue(i, "want", "verb") == 0 // what stands before "we need" leads up to it
		}
		p.ordered = true
		return n
	}
	if n := d.cue(i, "is"); n > 0 && !p.says() && d.has(span{d.sentence(i).from, i}, "want", "verb") >= 0 {
		return n // "what I would like is the bishop"
	}
	if n := d.cue(i, "my"); n > 0 && !p.named() && (p.ordered || d.ended(i, "and") > 0) {
		return n // "print my dragon in red and my castle in blue"
	}
	if d.cue(i, "for", "of") > 0 && !p.says() && d.cue(i+1, "det") > 0 && d.isNumeral(i+2) {
		_, n := d.numeral(i + 2)
		return 2 + n // "sur les trois", "of the four"
	}
	if d.cue(i, "for") > 0 && d.fold(i) != "on" {
		return d.toJoint(i) - i
	}
	if n := d.cue(i, "couldword"); n > 0 && !p.says() {
		return n
	}
	if n := d.cue(i, "otherone"); n > 0 { // "the other two green"
		p.some = p.some || !d.isNumeral(i+n)
		return n
	}
	if n := d.cue(i, "wholeword"); n > 0 && !p.named() && p.item.Copies == 0 {
		p.whole = true
		return n
	}
	if n := d.cue(i, "not", "if", "is", "past", "my", "but", "price", "fit", "instead", "replaced", "changedfrom", "change", "more", "quantity", "axis"); n > 0 && n >= d.cue(i, "please", "filler") {
		return 0
	}
	if d.cue(i, "othernoun") > 0 && d.cue(i, "adj") == 0 && !(d.fold(i+1) == ":" && !p.says()) && (d.ended(i, "det") == 0 || p.item.Copies > 0) {
		return 0
	}
	if n := d.cue(i, "skip", "in", "and", "filler", "please", "copies", "pieces", "colourword", "plastic", "opener", "hello", "copula", "or", "prefer", "of", "ofthese", "at", "axislink", "yes", "accept", "acceptstart", "ok", "closing"); n > 0 {
		return n
	}
	if t.kind == mark {
		return 1
	}
	return d.partWord(i, p)
}

// partOpen tells whether a word that is also a verb names the part: "the print".
func (d *doc) partOpen(i int, p *piece) bool {
	return p.part.to == i && p.part.to > p.part.from || d.ended(i, "det") > 0 && d.cue(i, "printing") > 0 && d.fold(i) == "print"
}

// toJoint goes over "for my sister" to the next joint.
func (d *doc) toJoint(i int) int {
	end := d.clauses[d.toks[i].clause].to
	for k := i + 1; k < end; k++ {
		if n := d.cue(k, "want", "verb"); d.cue(k, "and") > 0 || n > 0 && d.isNumeral(k+n) {
			return k
		}
	}
	return end
}

// pieceValue takes a value at a token; -1 is a value that cannot be one here.
func (d *doc) pieceValue(i int, p *piece) int {
	if mm, to := d.length(i); to > 0 {
		return d.pieceSize(i, to, mm, p)
	}
	if t, ok := d.tag(i, "colour"); ok {
		if d.inName(i, i+t.n) || d.cue(i+t.n, "othercoloured") > 0 {
			return -1
		}
		p.item.Colours = appendNew(p.item.Colours, t.key)
		return t.n
	}
	if t, ok := d.tag(i, "material"); ok {
		p.item.Material = t.key
		return t.n
	}
	if t, ok := d.tag(i, "times"); ok {
		return d.pieceCount(timesOf(t), t.n, p)
	}
	if n := d.cue(i, "eachword"); n > 0 && (p.item.Copies > 0 || p.some) {
		p.each, p.item.Copies = true, max(p.item.Copies, 1)
		return n
	}
	if t, ok := d.tag(i, "scale"); ok {
		p.item.Scale = scaleOf(t)
		return t.n
	}
	if n := d.cue(i, "otherone"); n > 0 && p.item.Copies == 0 && (d.cue(i+n, "in", "colour") > 0) {
		p.some = true
		return n // "one in white and another in black"
	}
	if d.cue(i, "a") > 0 && d.cue(i, "number") == 0 {
		p.some = true
		return 1
	}
	if f := d.fold(i); (f == "x" || f == "×") && (d.isNumber(i+1) || d.endsNumeral(i)) {
		return 1
	}
	return d.pieceNumber(i, p)
}

func timesOf(t tag) int {
	if v := positive(t.key); v != nil && *v == math.Trunc(*v) {
		return int(*v)
	}
	return 0
}

func scaleOf(t tag) *float64 { return positive(t.key) }

func appendNew(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

// pieceNumber takes a number: a percentage, a count, or a bare number that may
// be a size as the one before.
func (d *doc) pieceNumber(i int, p *piece) int {
	value, n := d.numeral(i)
	if n == 0 {
		return 0
	}
	if p.item.Copies > 0 && float64(p.item.Copies) < value && d.ended(d.skipDet(i), "of") > 0 {
		return n // "two of the four"
	}
	if m := d.cue(i+n, "percent"); m > 0 {
		if value <= 0 || d.has(d.clauseOf(i), "infillword", "notscale") >= 0 {
			return -1
		}
		v := math.Round(value*100) / 1e4
		p.item.Scale = &v
		return n + m
	}
	if d.ended(i, "det", "adj") > 0 && value == 1 && d.toks[i].kind == word {
		return d.partWord(i, p) // "the small one"
	}
	if value < 1 || value > maxCopies || value != math.Trunc(value) || d.pieceOther(i, i+n) || d.ranged(i, i+n) || d.bounded(i) {
		return -1
	}
	if p.part.to > p.part.from && d.cue(i+n, "colour", "copies", "in") == 0 && len(p.item.Colours) == 0 && d.fold(i-1) != "x" && d.fold(i-1) != ":" {
		p.bare = value
		return n
	}
	return d.pieceCount(int(value), n, p)
}

// pieceOther is otherNumber, where "2 x red" and "5 blue 5 red" are counts too.
func (d *doc) pieceOther(i, j int) bool {
	if f := d.fold(j); (f == "x" || f == "×") && !d.isNumber(j+1) {
		return false
	}
	return d.otherNumber(i, j) || d.other(j, 1) || d.cue(j, "bystander", "more") > 0
}

func (d *doc) pieceCount(value, n int, p *piece) int {
	if value < 1 || p.item.Copies > 0 {
		return -1
	}
	p.item.Copies = value
	return n
}

func (d *doc) pieceSize(i, to int, mm float64, p *piece) int {
	if mm < leastMM || mm > mostMM || p.item.Size != nil || d.ranged(i, to) || d.bounded(i) || d.many(i, to) || d.has(d.clauseOf(i), "notpart") >= 0 {
		return -1
	}
	axis, end := d.axisAfter(to), d.afterAxis(to)
	if axis == "" {
		axis, end = "longest", to
	}
	if value, _ := d.numeral(i); value > 0 {
		p.unit = mm / value
	}
	p.item.Size = &job.Size{Axis: axis, MM: math.Round(mm*1000) / 1000}
	return end - i
}

// partWord takes a word that names the part; two names in one stretch are none.
func (d *doc) partWord(i int, p *piece) int {
	n := max(1, d.cue(i, "adj"))
	if m := d.cue(i, "det", "this", "ofthese", "branchword"); m > 0 && p.part.to == p.part.from && d.fold(i) != "file" {
		return m
	}
	switch {
	case p.named() && d.cue(i, "partverb") > 0:
		return d.cue(i, "partverb") // "la caja va en negro"
	case !p.named() && !d.opensPart(i, p):
		return 0
	case !p.named():
		p.part = span{i, i + n}
	case p.part.to == i && p.part.to-p.part.from < 4:
		p.part.to = i + n
	case d.cue(i, "adj", "this", "det") > 0:
	default:
		return 0
	}
	return n
}

// opensPart tells whether a part's name may begin at a token: at the head of the
// stretch, behind an article, a count or a verb of wishing.
func (d *doc) opensPart(i int, p *piece) bool {
	return i == p.from || d.toks[i-1].kind != word || d.ended(i, "det", "my", "number", "a", "this", "adj", "ofthese", "printing", "verb", "set", "want", "times", "colour", "and") > 0
}

const mostPieces = 40 // a longer list is no letter of a patron's

// differing makes items of a run of pieces when they differ. The run is cut to
// the pieces that the items stand on: a heading or a word of thanks may stand
// around them.
func (d *doc) differing(run *[]piece) []job.Item {
	all := *run
	if len(all) > mostPieces {
		return nil
	}
	for from := 0; from < min(4, len(all)); from++ {
		for to := len(all); to > max(from, len(all)-4); to-- {
			if items := d.itemsOf(slices.Clone(all[from:to])); len(items) > 1 {
				*run = all[from:to]
				return items
			}
		}
	}
	return nil
}

func (d *doc) itemsOf(ps []piece) []job.Item {
	if len(ps) > 0 && ps[0].each {
		return d.oneEach(ps)
	}
	ps = d.gather(forAll(forEach(withoutTotal(ps))))
	if len(ps) < 2 {
		return nil
	}
	fillIn(ps)
	switch names := d.names(ps); {
	case len(names) <= 1:
		return d.ofCopies(ps)
	case len(names) == len(ps):
		return d.ofParts(ps)
	}
	return nil
}

// oneEach is "two each in red and blue".
func (d *doc) oneEach(ps []piece) []job.Item {
	var items []job.Item
	for k, p := range ps {
		if k > 0 && (p.item.Copies > 0 || p.bare > 0 || p.named() || p.item.Size != nil) {
			return nil
		}
		for _, c := range p.item.Colours {
			items = append(items, job.Item{Copies: ps[0].item.Copies, Colours: []string{c}})
		}
	}
	return items
}

// withoutTotal leaves out a first piece that is the sum of the others: "three: two
// green and one purple".
func withoutTotal(ps []piece) []piece {
	if len(ps) < 3 || ps[0].item.Copies == 0 || len(ps[0].item.Colours) > 0 || ps[0].item.Size != nil {
		return ps
	}
	sum := 0
	for _, p := range ps[1:] {
		if p.item.Copies == 0 && p.some {
			sum++
		}
		sum += p.item.Copies
	}
	if sum != ps[0].item.Copies {
		return ps
	}
	return ps[1:]
}

// forEach takes a last "one of each" for the count of the pieces before it.
func forEach(ps []piece) []piece {
	n := len(ps) - 1
	if n < 2 || !ps[n].each || ps[n].named() || len(ps[n].item.Colours) > 0 {
		return ps
	}
	for k := range ps[:n] {
		if ps[k].item.Copies == 0 {
			ps[k].item.Copies = ps[n].item.Copies
		}
	}
	return ps[:n]
}

// forAll takes what is said of everything for what the other pieces leave unsaid.
func forAll(ps []piece) []piece {
	out := slices.DeleteFunc(slices.Clone(ps), func(p piece) bool { return p.whole })
	for _, all := range ps {
		for k := range out {
			if !all.whole {
				break
			}
			if it := &out[k].item; len(it.Colours) == 0 && it.Material == "" && it.Size == nil {
				it.Colours, it.Material, it.Size = all.item.Colours, all.item.Material, all.item.Size
			}
		}
	}
	return out
}

// gather joins what is said of a part in several stretches: "the bishop, one of him,
// 8 cm tall". It holds only when every stretch then has a part's name.
func (d *doc) gather(ps []piece) []piece {
	var out []piece
	for _, p := range ps {
		n := len(out) - 1
		if n >= 0 && d.toks[p.from].sent == d.toks[out[n].from].sent && !p.named() && out[n].named() && out[n].adds(&p) {
			continue
		}
		out = append(out, p)
	}
	out = slices.DeleteFunc(out, func(p piece) bool { return p.named() && !p.valued() }) // "the proper colour"
	if len(out) < 2 || slices.ContainsFunc(out, func(p piece) bool { return !p.named() || !p.valued() }) {
		return ps
	}
	return out
}

// adds takes what another piece says of the same part, unless it was said before.
func (p *piece) adds(q *piece) bool {
	a, b := &p.item, &q.item
	if q.each || q.bare > 0 || a.Copies > 0 && b.Copies > 0 || len(a.Colours) > 0 && len(b.Colours) > 0 || a.Size != nil && b.Size != nil ||
		a.Scale != nil && b.Scale != nil || a.Material != "" && b.Material != "" {
		return false
	}
	a.Copies, a.Colours, a.Material = max(a.Copies, b.Copies), slices.Concat(a.Colours, b.Colours), a.Material+b.Material
	a.Size, a.Scale = cmp.Or(a.Size, b.Size), cmp.Or(a.Scale, b.Scale)
	p.some, p.ordered = p.some || q.some, p.ordered || q.ordered
	return true
}

// fillIn takes over what is said once for several: the unit of a size, the colour
// behind the last part, and "a" for one.
func fillIn(ps []piece) {
	var size *job.Size
	unit, counted := 0.0, 0
	for k := range ps {
		p := &ps[k]
		if p.item.Size != nil {
			size, unit = p.item.Size, p.unit
		} else if p.bare > 0 && size != nil {
			p.item.Size = &job.Size{Axis: size.Axis, MM: math.Round(p.bare*unit*1000) / 1000}
		} else if p.bare > 0 && p.item.Copies == 0 {
			p.item.Copies = int(p.bare)
		}
		if p.item.Copies > 0 || p.some {
			counted++
		}
	}
	for k := range ps {
		if ps[k].item.Copies == 0 && counted > 0 && ps[k].valued() && (ps[k].some || ps[k].named()) {
			ps[k].item.Copies = 1
		}
	}
	last := ps[len(ps)-1].item.Colours
	if slices.ContainsFunc(ps[:len(ps)-1], func(p piece) bool { return len(p.item.Colours) > 0 || !p.named() }) {
		return
	}
	for k := range ps {
		ps[k].item.Colours = last
	}
}

// names are the different words for parts; "hook" and "hooks" are one.
func (d *doc) names(ps []piece) []string {
	var names []string
	for _, p := range ps {
		if p.named() {
			names = appendNew(names, trimPlural(fold(d.words(p.part.from, p.part.to))))
		}
	}
	return names
}

func trimPlural(s string) string {
	if n := len(s); n > 3 && s[n-1] == 's' {
		return s[:n-1]
	}
	return s
}

// ofCopies makes items of copies of the one file: each has its count, and the
// colours or sizes differ.
func (d *doc) ofCopies(ps []piece) []job.Item {
	var items []job.Item
	for _, p := range ps {
		if p.item.Copies == 0 || len(p.item.Colours) == 0 && p.item.Size == nil && p.item.Scale == nil && p.item.Material == "" {
			return nil
		}
		items = append(items, p.item)
	}
	if len(ps) == 0 || sameWish(items) {
		return nil
	}
	return whole(items)
}

// ofParts makes items of parts with names of their own.
func (d *doc) ofParts(ps []piece) []job.Item {
	if !d.together(ps) {
		return nil
	}
	if !slices.ContainsFunc(ps, d.markedPart) {
		return nil
	}
	ordered := ps[0].ordered || ps[len(ps)-1].ordered
	var items []job.Item
	for _, p := range ps {
		plain := len(p.item.Colours) == 0 && p.item.Size == nil && p.item.Scale == nil && p.item.Material == ""
		if !p.valued() || plain && !ordered || !d.noun(p.part) {
			return nil
		}
		p.item.Part = withoutArticle(d.words(p.part.from, p.part.to))
		items = append(items, p.item)
	}
	if sameWish(items) && items[0].Copies < 2 {
		return nil
	}
	return whole(items)
}

// sameWish tells whether all items wish the same, but for the count.
func sameWish(items []job.Item) bool {
	for _, it := range items[1:] {
		a, b := items[0], it
		if !slices.Equal(a.Colours, b.Colours) || !same(a.Size, b.Size) || !same(a.Scale, b.Scale) || a.Material != b.Material || a.Part != b.Part && a.Copies != b.Copies {
			return false
		}
	}
	return true
}

func same[T comparable](a, b *T) bool { return a == b || a != nil && b != nil && *a == *b }

// whole gives every item a list of colours: unsaid is empty.
func whole(items []job.Item) []job.Item {
	for k := range items {
		if items[k].Colours == nil {
			items[k].Colours = []string{}
		}
	}
	return items
}

// noun tells whether words name a part: in English an adjective alone names none,
// but "la pequeña" does.
func (d *doc) noun(s span) bool {
	for i := s.from; i < s.to; i++ {
		if d.cue(i, "adj", "filler", "this") == 0 || d.cue(i, "this") > 0 && i > s.from {
			return true
		}
	}
	return d.in.Language != "en" && d.ended(s.from, "det") > 0
}

// together tells whether pieces stand in one sentence, or each on a line.
func (d *doc) together(ps []piece) bool {
	first := d.toks[ps[0].from].sent
	for _, p := range ps {
		s := d.sents[d.toks[p.from].sent]
		if d.toks[p.from].sent != first && !(d.toks[s.from].newline && s.to-s.from < near) {
			return false
		}
	}
	return true
}

// markedPart tells whether the name of a part was learned to be one.
func (d *doc) markedPart(p piece) bool {
	for i := p.part.from; i < p.part.to; i++ {
		if d.toks[i].role == tagger.Part || d.toks[i].kind == opaque || len(d.learned) == 0 {
			return true
		}
	}
	return false
}
