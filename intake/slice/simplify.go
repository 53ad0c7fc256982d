package slice

import "math"

// tolerance is how far an outline may be moved to save points: a thirtieth of
// what a good printer repeats.
const tolerance = 0.005 * perMM

// simplified leaves out points of a loop while the straight line passes all of
// them within the tolerance: the cone from the last kept point through every
// point's circle of tolerance must not become empty.
func simplified(l loop, tolerance float64) loop {
	n := len(l)
	if n < 4 {
		return l
	}
	out := l[:1] // what is written never overtakes what is read
	from := l[0]
	var cone cone
	for i := 1; i <= n; i++ {
		p := l[i%n]
		if cone.take(from, p, tolerance) {
			continue
		}
		from = l[i-1]
		out = append(out, from)
		cone.open = false
		cone.take(from, p, tolerance)
	}
	return out
}

// cone is the set of directions that are still allowed, between two vectors.
type cone struct {
	open   bool
	rx, ry float64 // its right side
	lx, ly float64 // its left side
	far    float64 // distance of the furthest point taken
}

// take narrows the cone to pass p; false if p is outside it or comes back.
func (c *cone) take(from, p point, tolerance float64) bool {
	dx, dy := float64(p.x)-float64(from.x), float64(p.y)-float64(from.y)
	d := math.Sqrt(dx*dx + dy*dy)
	if d <= tolerance {
		return !c.open || c.far <= 2*tolerance
	}
	if c.open && (d < c.far || c.rx*dy-c.ry*dx < 0 || dx*c.ly-dy*c.lx < 0) {
		return false
	}
	s := tolerance / d
	k := math.Sqrt(1 - s*s)
	rx, ry := dx*k+dy*s, dy*k-dx*s
	lx, ly := dx*k-dy*s, dy*k+dx*s
	if !c.open {
		*c = cone{true, rx, ry, lx, ly, d}
		return true
	}
	if c.rx*ry-c.ry*rx > 0 {
		c.rx, c.ry = rx, ry
	}
	if lx*c.ly-ly*c.lx > 0 {
		c.lx, c.ly = lx, ly
	}
	c.far = d
	return true
}
