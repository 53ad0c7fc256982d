package preflight

import (
	"math"
	"slices"

	"meshclerk/intake/mesh"
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
	best, left := entry(few, sphere(200))
	if left > 6 {
		return false // far from it: no turn by a few degrees helps
	}
	for step := 0.1; step > 0.002 && left > 1e-6; {
		dir, now := entry(few, around(best, step))
		if now < left {
			best, left = dir, now
		} else {
			step /= 2
		}
	}
	return left <= 1e-6
}

// entry finds the direction in which the least of the part would stick out of
// the cylinder's walls and rim, mm.
func entry(corners []mesh.Vec, directions []mesh.Vec) (best mesh.Vec, left float64) {
	left = math.Inf(1)
	for _, d := range directions {
		if out := sticksOut(corners, d, left); out < left {
			best, left = d, out
		}
	}
	return best, left
}

// around gives directions near d.
func around(d mesh.Vec, step float64) []mesh.Vec {
	var out []mesh.Vec
	for _, a := range axes() {
		out = append(out, unit(d.Add(a.Mul(step))))
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
	ring := smallestCircle(outline(append([]point(nil), flat...)))
	wide := ring.radius - cylinderRadius
	if wide >= enough {
		return wide
	}
	slack := max(0, -wide)
	deep := math.Inf(1)
	for i := range 48 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 48)
		reach := 0.0 // of the corner that the slanted bottom stops first
		for k, c := range corners {
			along := cos*(flat[k][0]-ring.centre[0]) + sin*(flat[k][1]-ring.centre[1])
			reach = max(reach, c.Dot(d)-s.low-along)
		}
		deep = min(deep, reach-slack)
	}
	return max(wide, deep-cylinderMiddle)
}

// longer says whether the corners lie further apart than that in one of many
// directions: nearly the same as in any.
func longer(corners []mesh.Vec, mm float64) bool {
	return slices.ContainsFunc(append(axes(), sphere(100)...), func(d mesh.Vec) bool {
		s := standing(d, corners)
		return s.high-s.low > mm
	})
}
