package preflight

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/mesh"
	"meshclerk/intake/room"
)

// The small parts cylinder of 16 CFR 1501.4: 1.25 in (31.7 mm) wide, its bottom
// on a slant, 1.00 in (25.4 mm) to 2.25 in (57.1 mm) deep. The slant is 45
// degrees [figures of the slant from memory].
const (
	cylinderRadius = 31.7 / 2
	cylinderMiddle = (25.4 + 57.1) / 2
	cylinderLine   = 65.3 // the longest straight line inside
)

// swallowed says whether a convex hull goes into the small parts cylinder
// without being squeezed, in any orientation.
func swallowed(corners []mesh.Vec) bool {
	if len(corners) == 0 || longer(corners, cylinderLine) {
		return false
	}
	few := thinned(corners, 120)
	for _, e := range entries(few) {
		if e.settles(few) {
			return true
		}
	}
	return false
}

// entry is a direction into the cylinder, and how much of the part sticks out of its
// walls and rim then, mm.
type entry struct {
	dir  mesh.Vec
	left float64
}

// starts is how many directions, 18 degrees apart, are followed. A box has three that
// may be the best, each both ways, and what is left falls towards each of them.
const starts = 8

// entries are the best directions to begin from, the best first. One from which more
// sticks out than 6 mm is far from any: no turn by a few degrees helps.
func entries(corners []mesh.Vec) []entry {
	var out []entry
	for _, d := range append(axes(), sphere(400)...) {
		if left := sticksOut(corners, d, 6); left < 6 {
			out = append(out, entry{d, left})
		}
	}
	slices.SortStableFunc(out, func(a, b entry) int { return cmp.Compare(a.left, b.left) })
	var apart []entry
	for _, e := range out {
		near := func(f entry) bool { return e.dir.Dot(f.dir) > 0.95 }
		if len(apart) < starts && !slices.ContainsFunc(apart, near) {
			apart = append(apart, e)
		}
	}
	return apart
}

// settles follows a direction to where least sticks out, and says whether nothing does.
func (e entry) settles(corners []mesh.Vec) bool {
	const nothing = 1e-6
	turn := 0.0 // other ways each time, so that no ridge holds the search up
	for step := 0.1; step > 0.001 && e.left > nothing; turn++ {
		better := false
		for _, d := range around(e.dir, step, turn) {
			if left := sticksOut(corners, d, e.left); left < e.left {
				e, better = entry{d, left}, true
			}
		}
		if !better {
			step /= 2
		}
	}
	return e.left <= nothing
}

// around gives directions near d, the first at an angle about it.
func around(d mesh.Vec, step, angle float64) []mesh.Vec {
	r := rotationTo(d)
	var out []mesh.Vec
	for k := range 8 {
		sin, cos := math.Sincos(angle + math.Pi*float64(k)/4)
		out = append(out, unit(d.Add(r[0].Mul(step*cos)).Add(r[1].Mul(step*sin))))
	}
	return out
}

// sticksOut says how much too large the part is for the cylinder when it goes
// in along d. Nothing below enough is of interest.
func sticksOut(corners []mesh.Vec, d mesh.Vec, enough float64) float64 {
	s := standing(d, corners)
	flat := make([]point, len(corners))
	for i, c := range corners {
		flat[i] = s.onto(c)
	}
	ring := smallestCircle(room.Outline(flat))
	wide := ring.radius - cylinderRadius
	if wide >= enough {
		return wide
	}
	deep := math.Inf(1) // how deep its rim lies, the slant of the bottom turned as suits it best
	reach := func(angle float64) float64 {
		sin, cos := math.Sincos(angle)
		most := 0.0 // of the corner that the slanted bottom stops first
		for k, c := range corners {
			along := cos*(flat[k][0]-ring.centre[0]) + sin*(flat[k][1]-ring.centre[1])
			most = max(most, c.Dot(d)-s.low-along)
		}
		return most
	}
	best, apart := 0.0, math.Pi/12
	for k := range 24 {
		if r := reach(apart * float64(k)); r < deep {
			best, deep = apart*float64(k), r
		}
	}
	for ; apart > 0.002; apart /= 4 {
		for _, a := range []float64{best - apart/2, best - apart/4, best + apart/4, best + apart/2} {
			if r := reach(a); r < deep {
				best, deep = a, r
			}
		}
	}
	slack := max(0, -wide)
	return max(wide, deep-slack-cylinderMiddle)
}

// longer says whether the corners lie further apart than that in one of many
// directions: nearly the same as in any.
func longer(corners []mesh.Vec, mm float64) bool {
	return slices.ContainsFunc(append(axes(), sphere(100)...), func(d mesh.Vec) bool {
		s := standing(d, corners)
		return s.high-s.low > mm
	})
}
