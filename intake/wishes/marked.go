package wishes

import (
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

// sureItem is how sure it must be of each word that items are read from. A list is
// surer than its words: parts, counts and colours have to fit together.
const sureItem = 0.5

// markedItems reads items from the words that were learned to be parts, counts,
// colours, sizes …: the first sort of the list, a part or a count, opens each item.
// "Tyre: 2 in black. Hub: 1 in white", "of the base I need one, of the wheel four".
func (d *doc) markedItems() ([]job.Item, span) {
	ps, all := d.markedPieces()
	if len(ps) < 2 || len(ps) > mostPieces {
		return nil, span{}
	}
	fillMarked(ps, all)
	if items := d.ofMarked(ps); len(items) > 1 {
		return items, span{ps[0].from, ps[len(ps)-1].to}
	}
	return nil, span{}
}

// values counts what items say: of two readings of one list the fuller one holds.
func values(items []job.Item) int {
	n := 0
	for _, it := range items {
		for _, said := range []bool{it.Copies > 0, len(it.Colours) > 0, it.Size != nil, it.Scale != nil, it.Material != ""} {
			if said {
				n++
			}
		}
	}
	return n
}

// opener is the role that opens each item of the letter's list, or None.
func (d *doc) opener() tagger.Role {
	for i := range d.toks {
		r := d.roleAt(i)
		if d.nameBefore(i, r).to > 0 {
			return tagger.Part
		}
		if r == tagger.Part || r == tagger.Copies {
			return r
		}
	}
	return tagger.None
}

// roleAt is the role of a word, where it is sure enough and the word stands for
// something that holds.
func (d *doc) roleAt(i int) tagger.Role {
	t := d.toks[i]
	if t.sure < sureItem || t.away || t.told && t.role != tagger.Part || t.refused || t.claimed || d.replaced(i) || d.onlyAsks(i) || d.hypothetical(i) {
		return tagger.None
	}
	if t.role == tagger.Part && d.cue(i, "times", "number", "unit", "det") > 0 {
		return tagger.None // "the child once"
	}
	return t.role
}

// markedPieces cuts the list at each word that opens an item. What stands before
// the first is said of all.
func (d *doc) markedPieces() (ps []piece, all piece) {
	opens := d.opener()
	p := &all
	for i := 0; i < len(d.toks); {
		r := d.roleAt(i)
		name := d.nameBefore(i, r)
		if r == opens && r != tagger.None || r == tagger.Part && p.named() || r == tagger.Copies && (p.item.Copies > 0 || p.named() && d.countsPart(i)) || name.to > p.to && !(p.named() && !p.valued()) {
			ps = append(ps, piece{span: span{i, i}, part: name})
			p = &ps[len(ps)-1]
		}
		n := d.takeMarked(i, r, p)
		if n > 0 && p != &all {
			p.to = i + n
		}
		i += max(n, 1)
	}
	return d.sameParts(ps), all
}

// nameBefore finds the name before a value, where no word was learned to be one: an
// article and a word, and nothing but words that join between: "la tapa la quiero
// blanca", "the goose should be white".
func (d *doc) nameBefore(i int, r tagger.Role) span {
	if r == tagger.None || r == tagger.Part || r == tagger.Old || r == tagger.NotColour {
		return span{}
	}
	k := i
	for range 4 {
		n := d.ended(k, "in", "should", "copula", "want", "verb", "prefer", "colourword", "ofthese")
		if f := d.fold(k - 1); n == 0 && (f == ":" || f == "," && r == tagger.Size) {
			n = 1
		}
		if n == 0 {
			break
		}
		k -= n
	}
	if _, n := d.numeral(i); n > 0 && r != tagger.Size && !d.closed(i+n) && d.cue(i+n, "and") == 0 {
		return span{} // a count of what follows
	}
	if counts := r == tagger.Copies || r == tagger.Total; counts && d.ended(k-1-d.ended(k-1, "det"), "of") == 0 && d.ended(k-1, "of") == 0 {
		return span{} // "of the wagon four", but not "hello library, one hook"
	}
	if k < 2 || d.toks[k-1].kind != word || d.toks[k-1].sent != d.toks[i].sent || d.ended(k-1, "det") == 0 || d.roleAt(k-1) != tagger.None || d.cue(k-1, knownNouns...) > 0 {
		return span{}
	}
	return span{k - 1, k}
}

// knownNouns are words that name no part of the patron's.
var knownNouns = []string{"colour", "colourword", "number", "times", "unit", "axis", "material", "copies", "det", "adj", "filler", "price", "month", "day", "plastic", "sizeword",
	"percent", "branch", "othernoun", "supportword", "infillword", "ofthese", "want", "verb", "is", "in", "and", "or", "skip"}

// countsPart tells whether a part follows its count: "25 of the attached hooks".
func (d *doc) countsPart(i int) bool {
	_, n := d.numeral(i)
	for j := i + max(n, 1); j < min(i+n+5, len(d.toks)) && d.toks[j].kind == word && d.toks[j].sent == d.toks[i].sent; j++ {
		switch d.roleAt(j) {
		case tagger.Part:
			return true
		case tagger.None:
		default:
			return false
		}
	}
	return false
}

// nameAfter takes the word between a count and a comma for a name: "1 papa, noir".
func (d *doc) nameAfter(i int) span {
	if i+1 >= len(d.toks) || d.toks[i].kind != word || d.fold(i+1) != "," || len(d.tags[i]) > 0 || d.roleAt(i) != tagger.None {
		return span{}
	}
	return span{i, i + 1}
}

// takeMarked takes the value at a word into a piece and returns its length in tokens.
func (d *doc) takeMarked(i int, r tagger.Role, p *piece) int {
	if t, ok := d.tag(i, "times"); ok && p.named() && p.item.Copies == 0 {
		p.item.Copies = timesOf(t)
		return t.n
	}
	switch r {
	case tagger.Part:
		return d.takePart(i, p)
	case tagger.Copies:
		return d.takeCount(i, p)
	case tagger.Colour:
		if t, ok := d.tag(i, "colour"); ok {
			p.item.Colours = appendNew(p.item.Colours, t.key)
			return t.n
		}
	case tagger.Material:
		if t, ok := d.tag(i, "material"); ok {
			p.item.Material = t.key
			return t.n
		}
	case tagger.Size:
		if mm, to := d.length(i); to > 0 && p.item.Size == nil {
			return max(0, d.pieceSize(i, to, mm, p))
		}
	case tagger.Scale, tagger.Infill:
		return d.takeScale(i, p)
	}
	return 0
}

// takePart takes the words of a part's name, without an article or a number in it.
func (d *doc) takePart(i int, p *piece) int {
	j := i
	for j < len(d.toks) && d.roleAt(j) == tagger.Part {
		j++
		if n := d.cue(j, "of"); n > 0 && j+n < len(d.toks) && d.roleAt(j+n) == tagger.Part {
			j += n // "pied de lampe"
		}
	}
	if j > i {
		p.part = span{i, j}
	}
	return j - i
}

func (d *doc) takeCount(i int, p *piece) int {
	value, n := d.numeral(i)
	if n == 0 && d.cue(i, "a") > 0 {
		value, n = 1, 1
	}
	if !d.mayCount(value, i, n) || d.ranged(i, i+n) {
		return 0
	}
	if m, k := d.numeral(i + n + 2); k > 0 && d.cue(i+n+1, "of") > 0 && m*value <= maxCopies {
		value, n = value*m, n+2+k // "one set of 15 dice"
	}
	p.each = p.each || d.has(span{i + n, min(i+n+4, d.sents[d.toks[i].sent].to)}, "eachword", "everyword") >= 0
	p.item.Copies = int(value)
	if !p.named() {
		p.part = d.nameAfter(i + n)
	}
	return n
}

// takeScale takes a factor; a share of filling is none.
func (d *doc) takeScale(i int, p *piece) int {
	if t, ok := d.tag(i, "scale"); ok && p.item.Scale == nil {
		p.item.Scale = scaleOf(t)
		return t.n
	}
	if value, n := d.numeral(i); n > 0 && d.cue(i+n, "percent") > 0 && p.item.Scale == nil && d.has(d.clauseOf(i), "infillword") < 0 {
		v := value / 100
		p.item.Scale = &v
		return n + d.cue(i+n, "percent")
	}
	return 0
}

// sameParts joins pieces that name one part twice, and leaves out those that say
// nothing of theirs.
func (d *doc) sameParts(ps []piece) []piece {
	var out []piece
	for _, p := range ps {
		k := slices.IndexFunc(out, func(q piece) bool { return p.named() && q.named() && d.oneName(p.part, q.part) })
		if k >= 0 && out[k].adds(&p) {
			out[k].to = max(out[k].to, p.to)
			continue
		}
		out = append(out, p)
	}
	return slices.DeleteFunc(out, func(p piece) bool { return !p.valued() })
}

func (d *doc) oneName(a, b span) bool {
	return trimPlural(fold(d.words(a.from, a.to))) == trimPlural(fold(d.words(b.from, b.to)))
}

// fillMarked gives every item what is said of all, or behind the last "of each".
func fillMarked(ps []piece, all piece) {
	last := &ps[len(ps)-1]
	each := last.each && !slices.ContainsFunc(ps[:len(ps)-1], func(p piece) bool { return p.item.Copies > 0 })
	for k := range ps {
		if each && last.item.Copies > 0 {
			ps[k].item.Copies, ps[k].each = last.item.Copies, false
		}
		it := &ps[k].item
		if len(it.Colours) == 0 {
			it.Colours = all.item.Colours
		}
		if it.Material == "" {
			it.Material = all.item.Material
		}
	}
}

// ofMarked makes items of pieces when they differ: all have a part, or none has and
// each has its count.
func (d *doc) ofMarked(ps []piece) []job.Item {
	var items []job.Item
	named := len(d.names(ps)) > 1
	for k, p := range ps {
		if !named {
			p.part = span{}
		}
		if p.named() != named || !named && (p.item.Copies == 0 || len(p.item.Colours) == 0 && p.item.Size == nil) || p.each {
			return nil
		}
		if named {
			p.item.Part = withoutArticle(d.words(p.part.from, p.part.to))
		}
		for _, q := range ps[:k] {
			if named && d.oneName(p.part, q.part) {
				return nil
			}
		}
		items = append(items, p.item)
	}
	if sameWish(items) {
		return nil
	}
	return whole(items)
}

// withoutArticle takes a French article off that is written as one with its noun.
func withoutArticle(s string) string {
	for _, article := range []string{"l'", "l’", "L'", "L’"} {
		if rest, ok := strings.CutPrefix(s, article); ok {
			return rest
		}
	}
	return s
}
