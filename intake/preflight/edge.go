package preflight

import (
	"math"

	"meshclerk/intake/mesh"
)

const (
	// beside is how far from a thin place its thickness is looked at again, mm:
	// about the width of a line.
	beside = 0.4

	// parallel is the slope, thickness lost for each mm along the surface, below
	// which two sides are those of a wall: about 3.5 degrees. Practice.
	parallel = 0.06

	// blunt is the thickness at which an edge is no sharp one, but the rim of a
	// wall, mm: half a line. Practice.
	blunt = 0.2
)

// narrow is a place of the surface, and what lies behind it: plastic, or the air of a
// gap, some mm of it.
type narrow struct {
	*surface
	at, back mesh.Vec
	thick    float64
	plastic  bool
}

// runsOut returns how much thickness a thin place loses for each mm along the surface,
// if its two sides meet in a sharp edge, as those of a wedge, a chamfer or a blade do,
// and 0 for one in a wall. In a wedge the thickness falls steadily to nearly nothing; a
// wall keeps it up to its rim, and a wall that tapers ends in a rim too. It is the same
// for a groove and a slot.
func (w narrow) runsOut() float64 {
	fall := w.fall()
	slope := fall.Len()
	if slope < parallel {
		return 0
	}
	thinner, left := fall.Mul(1/slope), w.thick/slope
	along := func(part float64) float64 { return w.thickAt(thinner.Mul(part*left), w.thick) }
	if along(1.3) > blunt/2 {
		return 0
	}
	rim, past := 0.0, 1.3
	for range 6 {
		if mid := (rim + past) / 2; along(mid) > 0 {
			rim = mid
		} else {
			past = mid
		}
	}
	straight := math.Abs(along(rim/2)-w.thick*(1-rim/2)) <= 0.2*w.thick
	if w.thick*(1-rim) > blunt || !straight {
		return 0
	}
	return slope
}

// fall returns the direction along the surface in which the thickness falls most, as
// long as it falls for each mm: the plane through the thicknesses around (least squares).
func (w narrow) fall() mesh.Vec {
	r := rotationTo(w.back)
	var xx, xy, yy, xt, yt float64
	for k := range 8 {
		y, x := math.Sincos(math.Pi * float64(k) / 4)
		x, y = beside*x, beside*y
		t := w.thickAt(r[0].Mul(x).Add(r[1].Mul(y)), w.thick+beside)
		if t == 0 { // past an edge
			continue
		}
		t -= w.thick
		xx, xy, yy, xt, yt = xx+x*x, xy+x*y, yy+y*y, xt+x*t, yt+y*t
	}
	det := xx*yy - xy*xy
	if det < 1e-6 {
		return mesh.Vec{}
	}
	gx, gy := (xt*yy-yt*xy)/det, (yt*xx-xt*xy)/det
	return r[0].Mul(-gx).Add(r[1].Mul(-gy))
}

// thickAt returns how thick it is a step along the surface away, or 0 where nothing is
// behind the surface there, or more than most.
func (w narrow) thickAt(step mesh.Vec, most float64) float64 {
	from := w.at.Add(step).Add(w.back.Mul(w.thick / 8))
	near, ok := w.side(from, w.back.Mul(-1), w.thick)
	if !ok {
		return 0
	}
	far, ok := w.side(from, w.back, most)
	if !ok {
		return 0
	}
	return near + far
}

// side returns how far it is from a place inside to where the plastic ends, or begins.
func (w narrow) side(from, dir mesh.Vec, within float64) (float64, bool) {
	if w.plastic {
		h, ok := w.exit(from, dir, within)
		return h.far, ok
	}
	h, ok := w.first(from, dir, within)
	return h.far, ok && !w.leaves(h.facet, dir)
}
