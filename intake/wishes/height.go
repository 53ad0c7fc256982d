package wishes

import (
	"math"
	"slices"

	"meshclerk/intake/job"
)

// changeAt is a change of colour within a print, as it was said.
type changeAt struct {
	items   []job.Item // below and above; nil where only the height was said
	mm      *float64
	fromTop bool // the height is measured from the top down
	words   string
}

// change finds the height at which the colour of a print changes, with the colours
// below and above it: "the first 3 mm white, the rest red", "white, the top 5 mm red".
// Where only the height is said, as under our question for it, there are no items. All of
// it is claimed.
func (d *doc) change() changeAt {
	for n, s := range d.sents {
		if d.onlyAsks(s.from) || d.hypothetical(s.from) {
			continue
		}
		s = s.around(s.from, 4*near)
		i, to, mm := d.changeLength(s)
		if to == 0 {
			continue
		}
		colours := d.coloursIn(s)
		if n+1 < len(d.sents) && len(colours) == 1 && d.has(d.sents[n+1], "therest") >= 0 {
			s.to = d.sents[n+1].around(d.sents[n+1].from, 4*near).to
			colours = d.coloursIn(s)
		}
		side := d.sideOf(s, i, to)
		switch {
		case side == 0 || len(colours) > 2 || d.has(s, "or") >= 0:
			continue
		case len(colours) == 1 && len(d.in.Earlier.Items) != 2:
			continue
		case len(colours) == 2 && !d.lowerFirst(s, i, to, side, colours):
			slices.Reverse(colours)
		}
		at := changeAt{mm: &mm, fromTop: side == fromTop, words: d.words(s.from, s.to)}
		if len(colours) == 1 {
			at.items = d.otherThan(colours[0], side)
		}
		for _, c := range colours[:len(colours)/2*2] {
			at.items = append(at.items, c.item(""))
		}
		d.claimChange(s, i, to)
		return at
	}
	return changeAt{}
}

// otherThan is what was wished of the colours before, with another one above the height
// (1) or below it (-1): "change to red at 6 mm instead".
func (d *doc) otherThan(colour colourAt, side int) []job.Item {
	items := slices.Clone(d.in.Earlier.Items)
	n := 0
	if side > 0 {
		n = 1
	}
	items[n] = colour.item(items[n].Part)
	return items
}

// claimChange claims the length and the colours of a change.
func (d *doc) claimChange(s span, i, to int) {
	for k := s.from; k < s.to; k++ {
		n := d.cue(k, "othercolour")
		if t, ok := d.tag(k, "colour"); ok {
			n = t.n
		}
		if n > 0 {
			d.claim(k, k+n)
			d.use(k, k+n)
		}
	}
	d.claim(i, to)
	d.use(i, to)
	d.changeAt = span{i, to}
}

// changeLength is the one length of a sentence, with "the 3 first mm" too.
func (d *doc) changeLength(s span) (from, end int, mm float64) {
	for i := s.from; i < s.to; i++ {
		v, to := d.length(i)
		if to == 0 {
			v, to = d.countedLength(i)
		}
		if to == 0 || d.toks[i].claimed || d.toks[i].away || d.toks[i].told {
			continue
		}
		if end > 0 {
			return 0, 0, 0 // two lengths: which is meant is not clear
		}
		from, end, mm = i, to, math.Round(v*1000)/1000
		i = to - 1
	}
	return from, end, mm
}

// countedLength is "3 premiers mm", "5 derniers mm".
func (d *doc) countedLength(i int) (mm float64, to int) {
	v, n := d.numeral(i)
	m := d.cue(i+n, "below", "fromtop")
	if n == 0 || m == 0 {
		return 0, 0
	}
	t, ok := find(d.tagsAt(i+n+m), "unit")
	if !ok || t.key == "in" || t.key == "ft" || t.key == "m" {
		return 0, 0
	}
	return v * mmPerUnit[t.key], i + n + m + t.n
}

// colourAt is a colour that was found in a sentence: one of the stock words, or another.
type colourAt struct {
	key, other string
	at         int
}

// item is what is wished of a part in a colour.
func (c colourAt) item(part string) job.Item {
	if c.other != "" {
		return job.Item{Part: part, Colours: []string{}, Other: c.other}
	}
	return job.Item{Part: part, Colours: []string{c.key}}
}

// coloursIn are the different colours of a span, in their order. Where the colour is to
// change in the print, the one that it changes from is none that is refused.
func (d *doc) coloursIn(s span) (out []colourAt) {
	within := d.has(s, "changecolour") >= 0
	for i := s.from; i < s.to; i++ {
		c := colourAt{at: i}
		t, ok := d.tag(i, "colour")
		if !ok && within && !d.toks[i].away && !d.toks[i].told {
			t, ok = find(d.tags[i], "colour") // taken for one that is given up
		}
		if ok {
			c.key = t.key
		} else if n := d.cue(i, "othercolour"); n > 0 && d.cue(i+n, "othercoloured") == 0 {
			c.other = d.words(i, i+n)
		}
		known := func(o colourAt) bool { return o.key == c.key && o.other == c.other }
		if c.key+c.other != "" && (within || !d.toks[i].refused) && !slices.ContainsFunc(out, known) {
			out = append(out, c)
		}
	}
	return out
}

// Of which side of a length a sentence speaks.
const (
	below   = -1 // "the first 3 mm"
	above   = 1  // "from 3 mm on", "change at 3 mm"
	fromTop = 2  // "the top 3 mm"
)

// sideOf tells what a sentence says of its length, or 0.
func (d *doc) sideOf(s span, i, to int) int {
	part := d.between(s, i)
	head := span{max(part.from, i-3), to}
	switch {
	case d.has(head, "fromtop") >= 0, d.has(span{to, min(part.to, to+3)}, "fromtop") >= 0:
		return fromTop
	case d.has(head, "below") >= 0:
		return below
	case d.has(head, "above") >= 0, d.has(part, "changecolour") >= 0, d.topic == "height":
		return above
	}
	return 0
}

// between is the part of a sentence around a token, from joint to joint.
func (d *doc) between(s span, i int) span {
	joint := func(k int) bool {
		return slices.Contains([]string{",", ";", ":", "–", "—"}, d.fold(k)) || d.cue(k, "and", "nextly", "therest") > 0
	}
	out := span{i, i + 1}
	for out.from > s.from && !joint(out.from-1) {
		out.from--
	}
	for out.to < s.to && !joint(out.to) {
		out.to++
	}
	return out
}

// lowerFirst tells whether the first of two colours is the lower one.
func (d *doc) lowerFirst(s span, i, to, side int, colours []colourAt) bool {
	part := d.between(s, i)
	in := func(c colourAt) bool { return c.at >= part.from && c.at < part.to }
	if in(colours[0]) == in(colours[1]) {
		return true // "from white to red at 3 mm"
	}
	return in(colours[0]) == (side < 0)
}

// letters finds "in black, with the letters on top in red": a raised part in a colour
// of its own, on a print that has no other name.
func (d *doc) letters() ([]job.Item, string) {
	for _, s := range d.sents {
		if d.onlyAsks(s.from) || d.hypothetical(s.from) || d.has(s, "or", "number") >= 0 || d.has(s, "is", "past") >= 0 && d.has(s, "want", "ask", "should", "verb", "printing") < 0 {
			continue
		}
		s = s.around(s.from, 4*near)
		at, colours := d.has(s, "raised"), d.coloursIn(s)
		if at < 0 || len(colours) != 2 {
			continue
		}
		part := d.between(s, at)
		in := func(c colourAt) bool { return c.at >= part.from && c.at < part.to }
		if in(colours[0]) == in(colours[1]) {
			continue
		}
		if in(colours[0]) {
			slices.Reverse(colours)
		}
		d.claimChange(s, at, at)
		return []job.Item{colours[0].item(""), colours[1].item(d.words(at, at+d.cue(at, "raised")))}, d.words(s.from, s.to)
	}
	return nil, ""
}
