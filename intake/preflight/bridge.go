package preflight

import (
	"math"

	"meshclerk/intake/mesh"
)

// ways is the number of directions in which bridges are tried.
const ways = 8

// spans are the lengths of the lines through a place, just below the surface,
// that end at a wall on both sides with surface above all along: a bridge could
// be laid there. Infinite where there is none.
type spans [ways]float64

// shortest gives the shortest span.
func (a spans) shortest() float64 {
	least := math.Inf(1)
	for _, x := range a {
		least = min(least, x)
	}
	return least
}

// level says that a facet is flat enough to be laid as a bridge: within 14 degrees.
func (p *part) level(s orientation, f int) bool { return -p.normal[f].Dot(s.up) > 0.97 }

// fromSides looks around a place just below the surface. A level ledge no wider
// than a line clings to its wall; other places may be bridged.
func (p *part) fromSides(s orientation, r overhangRules, at sample) (held bool, across spans) {
	under := at.at.Sub(s.up.Mul(r.layer / 2))
	level, reach := p.level(s, at.facet), r.bridge
	if level {
		reach = max(6*r.bridge, 2*r.line)
	}
	var far [2 * ways]float64
	near := 0
	for k := range far {
		far[k] = math.Inf(1)
		if !level && k >= ways && math.IsInf(far[k-ways], 1) {
			continue // no bridge without a wall on either side
		}
		if hit, ok := p.first(under, s.side(angleOf(k)), reach); ok {
			far[k] = hit.far
		}
		if far[k] < far[near] {
			near = k
		}
	}
	if level && far[near] <= r.line && p.ledge(s, r, at.at, angleOf(near)+math.Pi, r.line-far[near]) {
		return true, across
	}
	for k := range across {
		across[k] = math.Inf(1)
		both := far[k] + far[k+ways]
		if both <= r.bridge || level && both <= reach {
			if p.roofed(s, r, under, angleOf(k), far[k], far[k+ways]) {
				across[k] = both
			}
		}
	}
	return false, across
}

func angleOf(k int) float64 { return math.Pi * float64(k) / ways }

// roofed says whether the surface goes on above the line between two walls. It
// may rise towards the middle as the top of a round hole does: up to the 45
// degree point the rise is 0.21 of the span.
func (p *part) roofed(s orientation, r overhangRules, under mesh.Vec, angle, ahead, behind float64) bool {
	span := ahead + behind
	way := s.side(angle)
	most := 0.35*span + 2*r.layer
	edge := min(0.2, 0.02*span)
	for _, t := range [...]float64{-behind + edge, -behind + span/4, -behind + span/2, -behind + 3*span/4, ahead - edge} {
		if _, ok := p.first(under.Add(way.Mul(t)), s.up, most); !ok {
			return false
		}
	}
	return true
}

// ledge says whether the plastic ends within a width in the given direction.
func (p *part) ledge(s orientation, r overhangRules, at mesh.Vec, angle, width float64) bool {
	way := s.side(angle)
	hit, ok := p.first(at.Add(s.up.Mul(r.layer/2)), way, width)
	return ok && p.leaves(hit.facet, way)
}

// ceiling is a connected level surface that faces down; a printer bridges all of
// it in one direction.
type ceiling struct {
	places []int
	weight float64
}

// bridge decides which places are bridged. A ceiling is, in the direction that
// bridges most of it, if that is a good part; a curved surface place by place.
func (p *part) bridge(s orientation, r overhangRules, places []sample, verdicts []verdict, h *overhang) {
	for _, c := range p.ceilings(s, places, verdicts) {
		best, share := 0, 0.0
		for k := range ways {
			if sum := c.bridged(k, r.bridge, places, verdicts); sum > share {
				best, share = k, sum
			}
		}
		if share >= c.weight/4 {
			for _, i := range c.places {
				verdicts[i].held = verdicts[i].across[best] <= r.bridge
			}
		}
		c.longest(r, places, verdicts, h)
	}
	for i, at := range places {
		v := &verdicts[i]
		if !v.held && !p.level(s, at.facet) && v.across.shortest() <= r.bridge {
			v.held = true
		}
	}
}

func (c ceiling) bridged(k int, most float64, places []sample, verdicts []verdict) (sum float64) {
	for _, i := range c.places {
		if verdicts[i].across[k] <= most {
			sum += places[i].weight
		}
	}
	return sum
}

// longest notes the longest line of a ceiling that is held at both ends nearly
// everywhere but too long, in the direction where it is shortest.
func (c ceiling) longest(r overhangRules, places []sample, verdicts []verdict, h *overhang) {
	least, at := math.Inf(1), mesh.Vec{}
	for k := range ways {
		if c.bridged(k, math.MaxFloat64, places, verdicts) < 0.9*c.weight {
			continue
		}
		most, where := 0.0, mesh.Vec{}
		for _, i := range c.places {
			if x := verdicts[i].across[k]; !math.IsInf(x, 1) && x > most {
				most, where = x, places[i].at
			}
		}
		if most < least {
			least, at = most, where
		}
	}
	if least > r.bridge && least > h.bridgeMM && !math.IsInf(least, 1) {
		h.bridgeMM, h.bridgeAt = least, at
	}
}

// ceilings gathers the places on level surfaces by the surface they are on.
func (p *part) ceilings(s orientation, places []sample, verdicts []verdict) []*ceiling {
	number := map[int]*ceiling{} // by facet
	var out []*ceiling
	var stack []int
	for i, at := range places {
		if verdicts[i].held || !p.level(s, at.facet) {
			continue
		}
		c := number[at.facet]
		if c == nil {
			c = &ceiling{}
			out = append(out, c)
			number[at.facet] = c
			for stack = append(stack[:0], at.facet); len(stack) > 0; {
				f := stack[len(stack)-1]
				stack = stack[:len(stack)-1]
				for h := 3 * f; h < 3*f+3; h++ {
					mate, ok := p.topo.Edges.Mate(h)
					if o := mate / 3; ok && number[o] == nil && p.level(s, o) {
						number[o] = c
						stack = append(stack, o)
					}
				}
			}
		}
		c.places = append(c.places, i)
		c.weight += at.weight
	}
	return out
}
