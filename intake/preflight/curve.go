package preflight

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/mesh"
)

// A curve that was drawn as flat facets bends a little at each edge; where it
// bends more than steepBend the edge is meant as an edge. Practice.
const (
	leastBend = 3 * math.Pi / 180
	steepBend = 33 * math.Pi / 180
)

// coarse is a curved surface whose facets will show.
type coarse struct {
	errorMM float64 // how far the facets lie off the curve
	areaMM2 float64
	at      mesh.Vec
}

// bend is one edge of a curve.
type bend struct {
	errorMM, length, area float64
	side                  int
}

// coarseness finds facets that lie more than limit off the curve they stand
// for. Two neighbours of about the same width w that meet at the angle a are
// chords of a circle of radius w/a, and a chord lies w2/8r = wa/8 off it.
func (p *part) coarseness(limit float64) coarse {
	var bends []bend
	for h := range 3 * len(p.m.Triangles) {
		if b, ok := p.bendAt(h); ok && b.errorMM > limit && p.curved(b) {
			bends = append(bends, b)
		}
	}
	var c coarse
	length := 0.0
	for _, b := range bends {
		c.areaMM2 += b.area
		length += b.length
	}
	if len(bends) < 8 || c.areaMM2 < max(20, p.total/100) {
		return coarse{}
	}
	slices.SortStableFunc(bends, func(a, b bend) int { return cmp.Compare(b.errorMM, a.errorMM) })
	run := 0.0
	for _, b := range bends { // the worst tenth says how bad it is; one odd edge does not
		if run += b.length; run >= length/10 {
			c.errorMM, c.at = b.errorMM, p.middle(b.side)
			break
		}
	}
	return c
}

// bendAt looks at the edge of side h once, from the facet with the lower number.
func (p *part) bendAt(h int) (bend, bool) {
	mate, ok := p.topo.Edges.Mate(h)
	if !ok || mate < h {
		return bend{}, false
	}
	f, g := h/3, mate/3
	angle := p.angleAt(h)
	if !(angle > leastBend && angle < steepBend) || p.area[f] == 0 || p.area[g] == 0 {
		return bend{}, false
	}
	length := p.ends(h).Len()
	wf, wg := 2*p.area[f]/length, 2*p.area[g]/length
	if length == 0 || max(wf, wg) > 2.5*min(wf, wg) {
		return bend{}, false
	}
	w := (wf + wg) / 2
	return bend{errorMM: w * angle / 8, length: length, area: length * w, side: h}, true
}

// curved says that on both sides of an edge the surface bends on by about as
// much: a curve, and not a chamfer.
func (p *part) curved(b bend) bool {
	mate, _ := p.topo.Edges.Mate(b.side)
	angle := p.angleAt(b.side)
	return p.bendsOn(b.side/3, angle) && p.bendsOn(mate/3, angle)
}

// bendsOn counts the edges around a facet, and around the facets that lie flat
// beside it, where the surface bends by about an angle; one of them is known.
func (p *part) bendsOn(f int, angle float64) bool {
	count := 0
	around := []int{f}
	for i := 0; i < len(around) && len(around) <= 4; i++ {
		for h := 3 * around[i]; h < 3*around[i]+3; h++ {
			mate, ok := p.topo.Edges.Mate(h)
			if !ok {
				continue
			}
			a := p.angleAt(h)
			if a > angle/2 && a < angle*2 {
				count++
			} else if a < leastBend && !slices.Contains(around, mate/3) {
				around = append(around, mate/3)
			}
		}
	}
	return count >= 2
}

// angleAt is the angle by which the surface bends at side h, which has a mate.
func (p *part) angleAt(h int) float64 {
	mate, _ := p.topo.Edges.Mate(h)
	return math.Acos(min(1, max(-1, p.normal[h/3].Dot(p.normal[mate/3]))))
}

// ends gives the vector along side h.
func (p *part) ends(h int) mesh.Vec {
	t := p.m.Triangles[h/3]
	return p.m.Vertices[t[(h+1)%3]].Sub(p.m.Vertices[t[h%3]])
}

func (p *part) middle(h int) mesh.Vec {
	t := p.m.Triangles[h/3]
	return p.m.Vertices[t[(h+1)%3]].Add(p.m.Vertices[t[h%3]]).Mul(0.5)
}

// step is raised or sunken detail too low for the layers.
type step struct {
	riseMM   float64 // of the lowest
	lengthMM float64 // of all edges of it
	count    int
	at       mesh.Vec
}

// lowSteps finds rises between two level surfaces that are lower than a layer:
// bands of steep facets that, top to bottom, are lower than that.
func (p *part) lowSteps(s orientation, layer float64) step {
	bands := p.steepBands(s, layer)
	out := step{riseMM: math.Inf(1)}
	longest := 0.0
	for _, b := range bands {
		rise := b.high - b.low
		if b.spoiled || rise >= layer*0.999 || rise <= layer*0.01 || b.top == 0 || b.bottom == 0 {
			continue
		}
		length := b.area / rise
		if length < 2 {
			continue
		}
		out.count++
		out.lengthMM += length
		out.riseMM = min(out.riseMM, rise)
		if length > longest {
			longest, out.at = length, p.centre(b.facet)
		}
	}
	if out.lengthMM < 8 {
		return step{}
	}
	return out
}

// band is a connected strip of steep facets.
type band struct {
	low, high   float64
	area        float64
	top, bottom int // its edges with a level surface
	spoiled     bool
	facet       int
}

// steepBands gathers the low steep facets into strips, in the order of their
// first facet; a strip that goes on into a high facet is spoiled.
func (p *part) steepBands(s orientation, layer float64) []*band {
	kind := make([]uint8, len(p.m.Triangles))
	for f := range kind {
		kind[f] = p.slope(s, f, layer)
	}
	var bands []*band
	var stack []int
	for f := range kind {
		if kind[f] != steepLow {
			continue
		}
		b := &band{low: math.Inf(1), high: math.Inf(-1), facet: f}
		kind[f] = seenFacet
		for stack = append(stack[:0], f); len(stack) > 0; {
			g := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			p.take(s, b, g)
			for h := 3 * g; h < 3*g+3; h++ {
				mate, ok := p.topo.Edges.Mate(h)
				if !ok {
					b.spoiled = true
					continue
				}
				switch o := mate / 3; kind[o] {
				case steepHigh:
					b.spoiled = true
				case steepLow:
					kind[o] = seenFacet
					stack = append(stack, o)
				case levelFacet:
					if p.middle(h).Dot(s.up) > p.centre(g).Dot(s.up) {
						b.top++
					} else {
						b.bottom++
					}
				}
			}
		}
		bands = append(bands, b)
	}
	return bands
}

const (
	otherFacet uint8 = iota
	steepLow
	steepHigh
	levelFacet
	seenFacet
)

// slope sorts a facet by how steep it is, and a steep one by its height.
func (p *part) slope(s orientation, f int, layer float64) uint8 {
	switch n := math.Abs(p.normal[f].Dot(s.up)); {
	case n > 0.97:
		return levelFacet
	case n > 0.5 || p.area[f] == 0:
		return otherFacet
	}
	low, high := p.reach(s, f)
	if high-low < layer {
		return steepLow
	}
	return steepHigh
}

func (p *part) take(s orientation, b *band, f int) {
	low, high := p.reach(s, f)
	b.low, b.high = min(b.low, low), max(b.high, high)
	b.area += p.area[f]
}

// reach is how low and how high a facet goes, along up.
func (p *part) reach(s orientation, f int) (low, high float64) {
	x, y, z := p.m.Corners(f)
	a, b, c := x.Dot(s.up), y.Dot(s.up), z.Dot(s.up)
	return min(a, b, c), max(a, b, c)
}
