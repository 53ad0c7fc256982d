package mesh

import (
	"bytes"
	"context"
	"io"
	"math"
	"strconv"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"meshclerk/intake/job"
)

// readASCII reads the text form: solid NAME, facets of facet normal, outer loop,
// three times vertex, endloop and endfacet, endsolid NAME. It goes by words, so
// that line ends, blanks and upper case do not matter. The normals are not used.
func readASCII(ctx context.Context, r io.ReaderAt, size int64, lim Limits, facts *Facts) (*soup, error) {
	var text io.Reader = io.NewSectionReader(r, 0, size)
	head := make([]byte, 4)
	n, _ := r.ReadAt(head, 0)
	if isUTF16(head[:n]) {
		text = transform.NewReader(text, unicode.BOMOverride(transform.Nop))
	}
	guess := int(min(size/200, int64(lim.Facets))) // common files have 250 bytes a facet
	a := asciiReader{
		words: words{ctx: ctx, r: text, buf: make([]byte, 1<<18), line: 1},
		soup:  newSoup(guess, guess, lim),
		lim:   lim,
	}
	if err := a.read(); err != nil {
		return nil, err
	}
	a.note(facts)
	return a.soup, nil
}

// asciiReader is where the reader stands in the grammar.
type asciiReader struct {
	words words
	soup  *soup
	lim   Limits

	nameLine int  // the line of a name after solid or endsolid; its words are skipped
	inFacet  bool // between facet and endfacet
	inLoop   bool // corners may come
	corners  int
	first    point
	last     point

	solids, ends, closings int
	bodies                 int // solid blocks with facets
	facetsBefore           int // when the current block began
	few, many, odd         int // facets with too few and too many corners, words that do not belong
}

func (a *asciiReader) read() error {
	for {
		w, err := a.words.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if err := a.take(w); err != nil {
			return err
		}
		if a.soup.bad != nil {
			return a.soup.bad
		}
		if a.soup.facets > a.lim.Facets {
			return unreadable(job.Say("findings.unread.more-than", job.Args{"most": a.lim.Facets}))
		}
	}
	return a.finish()
}

// take handles one word.
func (a *asciiReader) take(w []byte) error {
	if a.nameLine == a.words.at && !a.inFacet {
		if !is(w, "facet") || !a.words.followedBy("normal") {
			return nil
		}
	}
	a.nameLine = 0
	switch {
	case is(w, "vertex"):
		return a.vertex()
	case is(w, "facet"):
		a.endFacet()
		a.inFacet = true
	case is(w, "outer"), is(w, "loop"):
		a.inLoop = true
	case is(w, "endloop"):
		a.inLoop = false
		a.closings++
	case is(w, "endfacet"):
		a.closings++
		a.endFacet()
	case is(w, "solid"):
		a.endFacet()
		a.nextBody()
		a.solids++
		a.nameLine = a.words.at
	case is(w, "endsolid"):
		a.endFacet()
		a.ends++
		a.nameLine = a.words.at
	default:
		return a.oddWord(w)
	}
	return nil
}

// oddWord lets words of the normal pass, and words between facets; among the
// corners nothing else may stand.
func (a *asciiReader) oddWord(w []byte) error {
	if a.inFacet && (a.inLoop || a.corners > 0) {
		return unreadable(job.Say("findings.unread.no-corner", job.Args{"line": a.words.at, "word": strconv.Quote(clip(w))}))
	}
	if !a.inFacet {
		a.odd++
	}
	return nil
}

func (a *asciiReader) vertex() error {
	var xyz [3]float32
	for n := 0; n < 3; {
		w, err := a.words.next()
		if err == io.EOF {
			return a.cutShort()
		}
		if err != nil {
			return err
		}
		if n, err = a.coordinates(w, &xyz, n); err != nil {
			return err
		}
	}
	a.inFacet = true
	a.corners++
	p := point{xyz[0], xyz[1], xyz[2]}
	switch {
	case a.corners == 1:
		a.first = p
	case a.corners >= 3:
		a.soup.add(a.first, a.last, p)
	}
	a.last = p
	return nil
}

// coordinates reads the one number of a word, or several with commas between.
// One comma and no point is a decimal comma.
func (a *asciiReader) coordinates(w []byte, p *[3]float32, n int) (int, error) {
	if bytes.IndexByte(w, ',') < 0 {
		v, err := a.number(w)
		p[n] = v
		return n + 1, err
	}
	w = bytes.TrimRight(w, ",")
	if bytes.Count(w, []byte(",")) == 1 && bytes.IndexByte(w, '.') < 0 {
		v, err := a.number(bytes.Replace(w, []byte(","), []byte("."), 1))
		p[n] = v
		return n + 1, err
	}
	for part := range bytes.SplitSeq(w, []byte(",")) {
		if n == 3 {
			return n, unreadable(job.Say("findings.unread.four-coordinates", job.Args{"line": a.words.at}))
		}
		v, err := a.number(part)
		if err != nil {
			return n, err
		}
		p[n] = v
		n++
	}
	return n, nil
}

func (a *asciiReader) number(w []byte) (float32, error) {
	if v, ok := quickFloat(w); ok {
		return float32(v), nil
	}
	if v, err := strconv.ParseFloat(string(w), 32); err == nil && !math.IsNaN(v) && !math.IsInf(v, 0) {
		return float32(v), nil
	}
	low := bytes.ToLower(w)
	switch {
	case bytes.Contains(low, []byte("nan")), bytes.Contains(low, []byte("#ind")):
		return 0, unreadable(job.Say("findings.unread.line-nan", job.Args{"line": a.words.at}))
	case bytes.Contains(low, []byte("inf")):
		return 0, unreadable(job.Say("findings.unread.line-infinite", job.Args{"line": a.words.at}))
	case len(bytes.Trim(low, "+-.e0123456789")) == 0:
		return 0, unreadable(job.Say("findings.unread.line-far", job.Args{"line": a.words.at, "word": clip(w), "most": power(a.lim.CoordinateMM)}))
	}
	return 0, unreadable(job.Say("findings.unread.no-coordinate", job.Args{"line": a.words.at, "word": strconv.Quote(clip(w))}))
}

// pow10 holds the powers of ten that double precision holds exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// quickFloat reads a plain decimal number whose digits and power of ten are both
// exact in double precision; others are left to strconv.
func quickFloat(w []byte) (float64, bool) {
	i, negative := 0, false
	if len(w) > 0 && (w[0] == '-' || w[0] == '+') {
		negative = w[0] == '-'
		i = 1
	}
	digits, exp, mantissa := 0, 0, uint64(0)
	point := false
	for ; i < len(w); i++ {
		c := w[i]
		if c == '.' && !point {
			point = true
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		digits++
		mantissa = mantissa*10 + uint64(c-'0')
		if point {
			exp--
		}
	}
	if digits == 0 || digits > 15 {
		return 0, false
	}
	if i < len(w) {
		e, ok := exponent(w[i:])
		if !ok {
			return 0, false
		}
		exp += e
	}
	v := float64(mantissa)
	switch {
	case exp < -22 || exp > 22:
		return 0, false
	case exp < 0:
		v /= pow10[-exp]
	default:
		v *= pow10[exp]
	}
	if negative {
		v = -v
	}
	return v, true
}

func exponent(w []byte) (int, bool) {
	if w[0] != 'e' && w[0] != 'E' || len(w) > 5 {
		return 0, false
	}
	e, err := strconv.Atoi(string(w[1:]))
	return e, err == nil
}

// endFacet closes the current facet, if there is one.
func (a *asciiReader) endFacet() {
	switch {
	case a.inFacet && a.corners < 3:
		a.few++
		a.soup.facets++
		a.soup.degenerate++
	case a.corners > 3:
		a.many++
	}
	a.inFacet, a.inLoop, a.corners = false, false, 0
}

func (a *asciiReader) nextBody() {
	if a.soup.facets > a.facetsBefore {
		a.bodies++
	}
	a.facetsBefore = a.soup.facets
}

// finish judges how the file ends.
func (a *asciiReader) finish() error {
	if a.inFacet {
		if a.corners < 3 || a.closings > 0 {
			return a.cutShort()
		}
		a.endFacet()
	}
	a.nextBody()
	if a.soup.facets > 0 {
		return nil
	}
	switch {
	case a.solids == 0 && a.odd == 0:
		return unreadable(job.Say("findings.unread.blanks", nil))
	case a.ends == 0:
		return unreadable(job.Say("findings.unread.no-facets-text", nil))
	}
	return nil // Read reports that there are no facets
}

func (a *asciiReader) cutShort() error {
	return unreadable(job.Say("findings.unread.cut-line", job.Args{"line": a.words.line, "facet": a.soup.facets + 1}))
}

func (a *asciiReader) note(facts *Facts) {
	facts.Facets, facts.Degenerate = a.soup.facets, a.soup.degenerate
	if a.bodies > 1 {
		facts.note("the file holds %d solid blocks; all were read", a.bodies)
	}
	if a.ends < a.solids {
		facts.note("the file does not say where it ends (endsolid is missing); it may be cut short")
	}
	if a.few > 0 {
		facts.note("%s with fewer than three corners left out", job.Count(a.few, "facet", "facets"))
	}
	if a.many > 0 {
		facts.note("%s with more than three corners split into triangles", job.Count(a.many, "facet", "facets"))
	}
	if a.odd > 0 {
		facts.note("%s between the facets left out that do not belong in an STL file", job.Count(a.odd, "word", "words"))
	}
}

func clip(w []byte) string {
	if len(w) > 30 {
		return string(w[:30]) + "…"
	}
	return string(w)
}
