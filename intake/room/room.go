// Package room says at which scale a part goes into the build volume of a printer.
//
// It is the one place where that is decided: whether a part fits, the largest scale at
// which it does, and whether one of another size does are the same question. A part
// stands as it stands; it may be turned about the upright axis by any angle, not only by
// right ones, so that a bar of 300 mm lies across a plate of 220.
package room

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/convex"
)

// Outline returns the convex outline of points in the plane of the plate, mm, which is
// all that Scale needs to know of them.
func Outline[P ~[2]float64](points []P) []P {
	order := func(a, b P) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) }
	left := func(a, b, c P) float64 { return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0]) }
	return convex.Hull(points, order, left)
}

// turns is the number of angles tried over half a turn about the upright axis.
const turns = 180

// tolerance forgives what single precision adds to a part drawn to the full size.
const tolerance = 1e-6

// Scale returns the largest scale at which an outline and a height (mm) go into a build
// volume (width, depth and height, mm) when turned about the upright axis. It is 1 or
// more where the part fits as it is.
func Scale[P ~[2]float64](outline []P, height float64, build [3]float64) float64 {
	if height <= 0 && len(outline) == 0 {
		return 0
	}
	at := func(angle float64) float64 {
		w, d := Extent(outline, angle)
		return min(build[0]/max(w, 1e-9), build[1]/max(d, 1e-9))
	}
	coarse := make([]float64, turns)
	for i := range coarse {
		coarse[i] = at(math.Pi * float64(i) / turns)
	}
	best := slices.Max(coarse)
	for i, here := range coarse {
		// Near each summit there may be a better angle; within a degree it is no more than
		// a few per cent better.
		if here >= 0.95*best && here >= coarse[(i+1)%turns] && here >= coarse[(i+turns-1)%turns] {
			best = max(best, summit(at, math.Pi*float64(i)/turns, here))
		}
	}
	scale := min(best, build[2]/max(height, 1e-9))
	if scale > 1-tolerance {
		return max(scale, 1)
	}
	return scale
}

// summit climbs from an angle where the scale is so much to the best near it.
func summit(at func(float64) float64, angle, best float64) float64 {
	for step := math.Pi / turns / 2; step > 1e-7; step /= 2 {
		for _, a := range []float64{angle - step, angle + step} {
			if s := at(a); s > best*(1+1e-9) {
				best, angle = s, a
			}
		}
	}
	return best
}

// Extent returns the width and depth of points when turned by an angle, radians.
func Extent[P ~[2]float64](points []P, angle float64) (w, d float64) {
	s, c := math.Sincos(angle)
	lx, hx, ly, hy := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range points {
		x, y := c*p[0]-s*p[1], s*p[0]+c*p[1]
		lx, hx, ly, hy = min(lx, x), max(hx, x), min(ly, y), max(hy, y)
	}
	return hx - lx, hy - ly
}
