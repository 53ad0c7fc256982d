package preflight

import (
	"maps"
	"math"
	"slices"

	"meshclerk/intake/mesh"
	"meshclerk/intake/room"
)

// contactPatch is what stands on the plate, in one way up.
type contactPatch struct {
	bedMM2  float64 // touching the plate
	seenMM2 float64 // seen from above
	share   float64 // bed to seen, 0..1
	tipDeg  float64 // the least lean that tips a piece over; negative: it tips by itself
	tipAt   mesh.Vec
}

// A part with less than smallShare of what is seen from above on the plate, or
// one that tips when leaning by smallLean degrees, may come loose. Practice.
const (
	smallShare = 0.05
	smallLean  = 7
)

func (c contactPatch) shaky() bool { return c.share < smallShare || c.tipDeg < smallLean }

// cut is what a level plane cuts out of one piece.
type cut struct {
	area    float64
	outline []point // convex
}

// section cuts the pieces at a height above the plate.
func (p *part) section(s orientation, height float64) map[int]*cut {
	cuts := map[int]*cut{}
	level := s.low + height
	side := make([]float64, len(p.m.Vertices))
	for i, v := range p.m.Vertices {
		side[i] = v.Dot(s.up) - level
	}
	for f, t := range p.m.Triangles {
		above := 0
		for _, v := range t {
			if side[v] >= 0 {
				above++
			}
		}
		if above == 0 || above == 3 {
			continue
		}
		from, to := p.chord(s, t, side)
		piece := p.pieceOf(f)
		c := cuts[piece]
		if c == nil {
			c = &cut{}
			cuts[piece] = c
		}
		c.area += from.cross(to) / 2
		c.outline = append(c.outline, from, to)
	}
	for _, c := range cuts {
		c.outline = room.Outline(c.outline)
		c.area = min(max(c.area, 0), areaOf(c.outline))
	}
	return cuts
}

// chord is where a facet meets the plane, with the plastic on its left.
func (p *part) chord(s orientation, t [3]int32, side []float64) (from, to point) {
	for k := range 3 {
		a, b := t[k], t[(k+1)%3]
		if (side[a] >= 0) == (side[b] >= 0) {
			continue
		}
		u := side[a] / (side[a] - side[b])
		at := s.onto(p.m.Vertices[a].Add(p.m.Vertices[b].Sub(p.m.Vertices[a]).Mul(u)))
		if side[a] >= 0 {
			from = at
		} else {
			to = at
		}
	}
	return from, to
}

// contactPatchAt measures how the part stands. Only pieces that reach the plate count.
func (p *part) contactPatchAt(s orientation, firstLayer float64) contactPatch {
	out := contactPatch{tipDeg: math.Inf(1)}
	cuts := p.section(s, firstLayer/2)
	for _, piece := range slices.Sorted(maps.Keys(cuts)) { // always in the same order: a sum hangs on it
		out.bedMM2 += cuts[piece].area
	}
	for f := range p.normal {
		out.seenMM2 += p.area[f] * math.Abs(p.normal[f].Dot(s.up)) / 2
	}
	out.seenMM2 = min(out.seenMM2, areaOf(s.plan(p.corner)))
	if out.seenMM2 > 0 {
		out.share = min(1, out.bedMM2/out.seenMM2)
	}
	for piece, b := range p.balances {
		c := cuts[piece]
		if c == nil || b.volume <= 0 {
			continue
		}
		high := s.height(b.centre)
		lean := math.Atan2(margin(c.outline, s.onto(b.centre)), max(high, 1e-9)) * 180 / math.Pi
		if lean < out.tipDeg {
			out.tipDeg, out.tipAt = lean, b.centre
		}
	}
	if math.IsInf(out.tipDeg, 1) {
		out.tipDeg = 90
	}
	return out
}

// balance is the volume and centre of mass of a piece.
type balance struct {
	volume float64
	centre mesh.Vec
}

// balancesOf sums the pieces' tetrahedra about the middle of the box.
func balancesOf(p *surface, ps pieces) []balance {
	middle := p.box.Min.Add(p.box.Max).Mul(0.5)
	sums := make([]balance, len(ps.of))
	x, y, z := middle[0], middle[1], middle[2]
	for f, t := range p.m.Triangles { // by coordinates: as vectors it takes three times as long
		a, b, c := &p.m.Vertices[t[0]], &p.m.Vertices[t[1]], &p.m.Vertices[t[2]]
		ax, ay, az := a[0]-x, a[1]-y, a[2]-z
		bx, by, bz := b[0]-x, b[1]-y, b[2]-z
		cx, cy, cz := c[0]-x, c[1]-y, c[2]-z
		v := (ax*(by*cz-bz*cy) + ay*(bz*cx-bx*cz) + az*(bx*cy-by*cx)) / 6
		s := &sums[ps.of[p.topo.ShellOf[f]]]
		s.volume += v
		s.centre[0] += (ax + bx + cx) * v / 4
		s.centre[1] += (ay + by + cy) * v / 4
		s.centre[2] += (az + bz + cz) * v / 4
	}
	for i, s := range sums {
		if s.volume > 0 {
			sums[i].centre = middle.Add(s.centre.Mul(1 / s.volume))
		}
	}
	return sums
}
