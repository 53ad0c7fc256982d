package preflight

import "math"

// point is a place in a plane, mm.
type point [2]float64

func (p point) sub(q point) point     { return point{p[0] - q[0], p[1] - q[1]} }
func (p point) cross(q point) float64 { return p[0]*q[1] - p[1]*q[0] }
func (p point) len() float64          { return math.Hypot(p[0], p[1]) }

// areaOf gives the area of a polygon, mm2.
func areaOf(polygon []point) float64 {
	twice := 0.0
	for i, p := range polygon {
		twice += p.cross(polygon[(i+1)%len(polygon)])
	}
	return twice / 2
}

// margin is how far p lies inside a convex polygon (negative: outside), mm.
func margin(polygon []point, p point) float64 {
	if len(polygon) == 0 {
		return math.Inf(-1)
	}
	if len(polygon) < 3 {
		return -p.sub(polygon[0]).len()
	}
	inside, outside := math.Inf(1), 0.0
	for i, a := range polygon {
		edge := polygon[(i+1)%len(polygon)].sub(a)
		away := edge.cross(p.sub(a)) / edge.len()
		inside = min(inside, away)
		outside = max(outside, -away)
	}
	if outside > 0 {
		return -outside
	}
	return inside
}

// circle is a smallest enclosing circle.
type circle struct {
	centre point
	radius float64
}

func (c circle) holds(p point) bool { return p.sub(c.centre).len() <= c.radius*(1+1e-12)+1e-12 }

// smallestCircle encloses all points (Welzl 1991, in the iterative form; the
// order is that of a hull, whose points are few).
func smallestCircle(points []point) circle {
	var c circle
	for i, p := range points {
		if i > 0 && c.holds(p) {
			continue
		}
		c = circle{p, 0}
		for j, q := range points[:i] {
			if c.holds(q) {
				continue
			}
			c = between(p, q)
			for _, r := range points[:j] {
				if !c.holds(r) {
					c = through(p, q, r)
				}
			}
		}
	}
	return c
}

func between(p, q point) circle {
	return circle{point{(p[0] + q[0]) / 2, (p[1] + q[1]) / 2}, p.sub(q).len() / 2}
}

// through is the circle on which three points lie.
func through(a, b, c point) circle {
	u, v := b.sub(a), c.sub(a)
	d := 2 * u.cross(v)
	if math.Abs(d) < 1e-12 {
		widest := between(a, b)
		for _, x := range []circle{between(a, c), between(b, c)} {
			if x.radius > widest.radius {
				widest = x
			}
		}
		return widest
	}
	uu, vv := u[0]*u[0]+u[1]*u[1], v[0]*v[0]+v[1]*v[1]
	off := point{(v[1]*uu - u[1]*vv) / d, (u[0]*vv - v[0]*uu) / d}
	return circle{point{a[0] + off[0], a[1] + off[1]}, off.len()}
}
