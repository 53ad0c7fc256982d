package slice

import "math"

// miterLimit is how far, in distances, a line's corner may reach beyond the
// corner it goes around; sharper ones are cut off square there.
const miterLimit = 1.5

// inset returns the region that keeps a distance (mm) from the outlines'
// outside: what is left of a region when its edge is worn away by that much. A
// negative distance lets it grow.
//
// Every outline is drawn anew at the distance, edge by edge. Where an edge is
// too short for its corners the drawing runs through itself; those parts wind
// the wrong way round, and only what winds the right way is kept.
func (r *overlay) inset(region []loop, mm float64) []loop {
	r.reset()
	d := mm * perMM
	for _, l := range region {
		r.raw = drawn(r.raw[:0], l, d)
		r.add(r.raw)
	}
	return r.outlines(positive)
}

// heading is the direction of an edge, and its length.
type heading struct{ x, y, len float64 }

func headingOf(a, b point) heading {
	x, y := float64(b.x)-float64(a.x), float64(b.y)-float64(a.y)
	n := math.Sqrt(x*x + y*y)
	if n == 0 {
		return heading{}
	}
	return heading{x / n, y / n, n}
}

// drawn appends the outline drawn anew at distance d to its left.
func drawn(out loop, l loop, d float64) loop {
	n := len(l)
	if n < 3 {
		return out
	}
	before := headingOf(l[n-2], l[n-1])
	in := headingOf(l[n-1], l[0])
	for i := range n {
		next := headingOf(l[(i+1)%n], l[(i+2)%n])
		onward := headingOf(l[i], l[(i+1)%n])
		out = corner(out, l[i], d, before, in, onward, next)
		before, in = in, onward
	}
	return out
}

// corner draws the outline's corner v between the edges in and onward.
func corner(out loop, v point, d float64, before, in, onward, next heading) loop {
	cos := in.x*onward.x + in.y*onward.y
	sin := in.x*onward.y - in.y*onward.x
	inner := sin*d > 0 // the drawn edges cross here, else they part
	switch {
	case inner && fits(d, before, in, onward) && fits(d, in, onward, next):
		return append(out, mitered(v, d, in, onward, cos))
	case inner:
		return append(out, shifted(v, d, in), v, shifted(v, d, onward))
	case 1+cos > 2/(miterLimit*miterLimit): // the point lies 1/cos(half the turn) away
		return append(out, mitered(v, d, in, onward, cos))
	case sin == 0 && cos > 0:
		return append(out, shifted(v, d, in))
	}
	return blunt(out, v, d, in, onward, cos)
}

// fits reports whether the middle edge keeps a length when both its corners are
// drawn at distance d.
func fits(d float64, a, b, c heading) bool {
	return b.len-d*(halfTangent(a, b)+halfTangent(b, c)) > 1
}

// halfTangent is the tangent of half the turn from a to b.
func halfTangent(a, b heading) float64 {
	cos := a.x*b.x + a.y*b.y
	sin := a.x*b.y - a.y*b.x
	if 1+cos < 1e-9 {
		return 1e9
	}
	return sin / (1 + cos)
}

func shifted(v point, d float64, e heading) point {
	return point{v.x + int32(math.Round(-d*e.y)), v.y + int32(math.Round(d*e.x))}
}

func mitered(v point, d float64, a, b heading, cos float64) point {
	k := d / (1 + cos)
	return point{v.x + int32(math.Round(-k*(a.y+b.y))), v.y + int32(math.Round(k*(a.x+b.x)))}
}

// blunt draws a corner that is cut off across its bisector.
func blunt(out loop, v point, d float64, in, onward heading, cos float64) loop {
	halfCos, halfSin := math.Sqrt(max(0, (1+cos)/2)), math.Sqrt(max(0, (1-cos)/2))
	run := math.Abs(d) * (miterLimit - halfCos) / halfSin
	out = append(out, ahead(shifted(v, d, in), run, in))
	return append(out, ahead(shifted(v, d, onward), -run, onward))
}

func ahead(p point, by float64, e heading) point {
	return point{p.x + int32(math.Round(by*e.x)), p.y + int32(math.Round(by*e.y))}
}
