package preflight

import (
	"cmp"
	"context"
	"math"
	"slices"

	"meshclerk/intake/budget"
	"meshclerk/intake/mesh"
)

// The search for the best way up looks at many ways quickly, on a sample of the
// surface, and at the best few with the same care as at the part as it was sent.
const (
	quickPlaces = 6000 // of the surface, for the quick look
	quickCells  = 64   // per side, of the plan
	waysTried   = 40
	waysKept    = 4
	carePlaces  = 500
	quickCost   = 15 // units of work for a place in the quick look
)

// way is a way up with what it costs.
type way struct {
	orientation orientation
	overhang    overhang
	contact     contactPatch
	cost        float64 // seconds, in the rough terms of price
}

// price weighs the ways up against each other in seconds of printing and of work.
type price struct {
	perLayer   float64 // a layer more: the lift, the walk to its start
	layer      float64
	perSupport float64 // a mm3 of support column, laid at its density
	perMark    float64 // a mm2 held by support: it must be picked off and is rough
	shaky      float64 // a stand that may come loose costs a reprint now and then
	slow       float64 // seconds a part takes anyway
}

// bestWay finds the way up that costs least. The given one is kept unless
// another is clearly better; fits says whether a way goes on a printer at all,
// and more are ways to try besides those that the part's shape suggests.
func (p *part) bestWay(ctx context.Context, sent way, r overhangRules, c price, more []mesh.Vec, fits func(orientation) bool) way {
	quick := p.quickSample(r)
	type guess struct {
		up   mesh.Vec
		cost float64
	}
	var guesses []guess
	bar := math.Inf(1) // ways that promise no less than the given one are not looked at with care
	if fits(sent.orientation) {
		bar, _ = quick.cost(standing(sent.orientation.up, p.few), r, c)
	}
	meter := budget.From(ctx)
	for _, up := range append(more, p.candidates()...) {
		if ctx.Err() != nil {
			return sent
		}
		s := standing(up, p.few)
		if !fits(s) || sent.orientation.up.Dot(up) >= 0.9999 {
			continue
		}
		cost, visits := quick.cost(s, r, c)
		if meter.Spend(quickCost*quickPlaces + visits/4); cost < bar {
			guesses = append(guesses, guess{up, cost})
		}
	}
	slices.SortStableFunc(guesses, func(a, b guess) int { return cmp.Compare(a.cost, b.cost) })
	best := sent
	if !fits(sent.orientation) {
		best.cost = math.Inf(1)
	}
	found := math.Inf(1) // what the best found had promised
	for _, g := range guesses[:min(waysKept, len(guesses))] {
		if g.cost > 1.15*found {
			break
		}
		w := p.inspect(ctx, p.standing(g.up), r, c, carePlaces)
		if w.contact.shaky() && !sent.contact.shaky() && fits(sent.orientation) {
			continue // a steady stand is not given up
		}
		if w.cost < best.cost && w.cost < 0.93*sent.cost || math.IsInf(best.cost, 1) {
			best, found = w, min(found, g.cost)
		}
	}
	return best
}

// inspect looks at a way up with care.
func (p *part) inspect(ctx context.Context, s orientation, r overhangRules, c price, n int) way {
	budget.From(ctx).Spend(inspectCost * len(p.m.Triangles))
	w := way{orientation: s, overhang: p.overhangAt(ctx, s, r, n), contact: p.contactPatchAt(s, 2*r.first)}
	w.cost = c.of(s.high-s.low, w.overhang.columnMM3, w.overhang.areaMM2+3*w.overhang.lockedMM2, w.contact.share, w.contact.tipDeg)
	return w
}

// of prices a way up.
func (c price) of(height, column, marks, share, tip float64) float64 {
	seconds := c.slow + height/c.layer*c.perLayer + column*c.perSupport + marks*c.perMark
	risk := 1.0
	if share < smallShare {
		risk += c.shaky * (1 - share/smallShare)
	}
	if tip < smallLean {
		risk += c.shaky * min(1, (smallLean-tip)/smallLean)
	}
	return seconds * risk
}

// candidates are directions that could be up: away from large flat places, from
// the sides of the hull, and the axes of the file.
func (p *part) candidates() []mesh.Vec {
	var out []mesh.Vec
	add := func(up mesh.Vec) {
		for _, o := range out {
			if o.Dot(up) > 0.99995 {
				return
			}
		}
		out = append(out, up)
	}
	for _, a := range axes() {
		add(a)
	}
	for _, list := range [][]flat{p.facings(), p.flats} {
		for i, f := range list {
			if i < waysTried/2 && f.area > p.total/500 {
				add(f.normal.Mul(-1))
				add(f.normal)
			}
		}
	}
	return out[:min(len(out), waysTried+len(axes()))]
}

// facings gathers the surface by the direction it faces, the most of it first.
// Directions are told apart by a grid on the direction cube, about 2 degrees.
func (p *part) facings() []flat {
	bins := make([]flat, 6*binsPerSide*binsPerSide)
	for f, n := range p.normal {
		if p.area[f] == 0 {
			continue
		}
		bin, _ := directionBin(n)
		b := &bins[bin]
		b.normal = b.normal.Add(n.Mul(p.area[f]))
		b.area += p.area[f]
	}
	var out []flat
	for _, b := range bins {
		if b.area > 0 {
			out = append(out, flat{unit(b.normal), b.area})
		}
	}
	byArea(out)
	return merge(out[:min(len(out), 400)])
}

// byArea sorts flats, the largest first, and equal ones by direction, so that
// the order is always the same.
func byArea(flats []flat) {
	slices.SortFunc(flats, func(a, b flat) int {
		if a.area != b.area {
			return cmp.Compare(b.area, a.area)
		}
		return cmp.Or(cmp.Compare(b.normal[2], a.normal[2]), cmp.Compare(b.normal[1], a.normal[1]), cmp.Compare(b.normal[0], a.normal[0]))
	})
}

// quick is a sample of the surface for comparing ways up.
type quick struct {
	places []sample
	normal []mesh.Vec
	size   float64
	centre mesh.Vec
}

func (p *part) quickSample(r overhangRules) quick {
	q := quick{places: p.samples(quickPlaces, p.area), size: p.box.Size().Len()}
	for _, s := range q.places {
		q.normal = append(q.normal, p.normal[s.facet])
	}
	volume := 0.0
	for _, b := range p.balances {
		if b.volume > 0 {
			volume += b.volume
			q.centre = q.centre.Add(b.centre.Mul(b.volume))
		}
	}
	if volume > 0 {
		q.centre = q.centre.Mul(1 / volume)
	}
	return q
}

// cost prices a way up from the sample: a column of support goes down from each
// place that faces down to the next place that faces up in the same cell of the
// plan, or to the plate. It also tells how many of those it looked at.
func (q quick) cost(s orientation, r overhangRules, c price) (cost float64, visits int) {
	step := q.size / quickCells
	cell := func(at mesh.Vec) [2]int {
		p := s.onto(at)
		return [2]int{int(math.Floor(p[0] / step)), int(math.Floor(p[1] / step))}
	}
	tops := map[[2]int][]float64{}
	bed, seen := 0.0, 0.0
	for i, at := range q.places {
		up := q.normal[i].Dot(s.up)
		seen += at.weight * math.Abs(up) / 2
		if up > 0.1 {
			k := cell(at.at)
			tops[k] = append(tops[k], s.height(at.at))
		}
	}
	column, marks := 0.0, 0.0
	for i, at := range q.places {
		up := q.normal[i].Dot(s.up)
		h := s.height(at.at)
		switch {
		case up < -0.5 && h < 2*r.first:
			bed += at.weight
		case -up > r.sine && h > r.first:
			land := 0.0
			under := tops[cell(at.at)]
			visits += len(under)
			for _, t := range under {
				if t < h-r.layer && t > land {
					land = t
				}
			}
			column += at.weight * -up * (h - land)
			marks += at.weight
		}
	}
	tip := math.Atan2(math.Sqrt(bed)/2, max(s.height(q.centre), 1e-9)) * 180 / math.Pi
	return c.of(s.high-s.low, column, marks, bed/max(seen, 1e-9), tip), visits
}
