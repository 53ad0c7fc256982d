package mesh

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// findCrossings counts the pairs of facets that pass through each other: each
// has corners strictly on both sides of the other's plane, and they share a
// line of some length. Facets in one plane that face the same way and overlap
// in some area count too, since the bodies behind them do. Facets that only
// touch do not count, nor do neighbours at an edge. The search ends with the
// options' work; Shape.IntersectionsExact reports whether it was complete.
func (t *Topology) findCrossings(ctx context.Context, opts Options) error {
	var found []crossings
	complete, err := t.BVH().SelfPairs(ctx, 0, opts.CrossingWork, func(tasks int) {
		found = make([]crossings, tasks)
	}, func(task int, f, g int32) {
		if t.mesh.facetsCross(f, g) {
			found[task].add(f, g, opts.Places)
		}
	})
	if err != nil {
		return err
	}
	t.Shape.IntersectionsExact = complete
	var pairs [][2]int32
	for _, c := range found {
		t.Shape.SelfIntersections += c.count
		pairs = append(pairs, c.first...)
	}
	slices.SortFunc(pairs, func(a, b [2]int32) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	for _, p := range pairs[:min(len(pairs), opts.Places)] {
		t.Crossings = append(t.Crossings, Crossing{int(p[0]), int(p[1]), t.mesh.meeting(p[0], p[1])})
	}
	return ctx.Err()
}

// crossings are those that one task found: their number and the first few.
type crossings struct {
	count int
	first [][2]int32
}

func (c *crossings) add(f, g int32, most int) {
	c.count++
	if len(c.first) < most {
		c.first = append(c.first, [2]int32{min(f, g), max(f, g)})
	}
}

// facetsCross reports whether two facets pass through each other.
func (m *Mesh) facetsCross(f, g int32) bool {
	s, t := &m.Triangles[f], &m.Triangles[g]
	if sharedCorners(s, t) >= 2 {
		return false
	}
	var p, q [3]*Vec
	for k := range 3 {
		p[k], q[k] = &m.Vertices[s[k]], &m.Vertices[t[k]]
	}
	sideQ, straddles, flat := sides(&p, &q)
	if flat {
		return coplanarOverlap(&p, &q)
	}
	if !straddles {
		return false
	}
	sideP, straddles, _ := sides(&q, &p)
	if !straddles {
		return false
	}
	loneP, upP := lone(sideP)
	loneQ, upQ := lone(sideQ)
	a, b, c := p[loneP], p[next3[loneP]], p[next3[next3[loneP]]]
	d, e, h := q[loneQ], q[next3[loneQ]], q[next3[next3[loneQ]]]
	if upP {
		e, h = h, e
	}
	if upQ {
		b, c = c, b
	}
	// Guigue and Devillers, Fast and Robust Triangle-Triangle Overlap Test Using
	// Orientation Predicates, 2003: the intervals on the common line overlap.
	return orient3d(a, b, d, e) > 0 && orient3d(a, c, h, d) > 0
}

func sharedCorners(s, t *[3]int32) int {
	n := 0
	for _, v := range s {
		if v == t[0] || v == t[1] || v == t[2] {
			n++
		}
	}
	return n
}

// sides returns the side of the plane of p that each corner of q lies on, whether
// there are corners strictly on both, and whether all lie in the plane. It is
// orient3d for the three corners at once: the plane's normal is found once, and
// only where rounding could decide the exact predicate is asked.
func sides(p, q *[3]*Vec) (s [3]int, straddles, flat bool) {
	o := p[0]
	ux, uy, uz := p[1][0]-o[0], p[1][1]-o[1], p[1][2]-o[2]
	vx, vy, vz := p[2][0]-o[0], p[2][1]-o[1], p[2][2]-o[2]
	x1, x2, y1, y2, z1, z2 := uy*vz, uz*vy, uz*vx, ux*vz, ux*vy, uy*vx
	nx, ny, nz := x1-x2, y1-y2, z1-z2
	sx, sy, sz := math.Abs(x1)+math.Abs(x2), math.Abs(y1)+math.Abs(y2), math.Abs(z1)+math.Abs(z2)
	var up, down bool
	for k := range 3 {
		c := q[k]
		if c == p[0] || c == p[1] || c == p[2] {
			continue
		}
		dx, dy, dz := o[0]-c[0], o[1]-c[1], o[2]-c[2]
		det := dx*nx + dy*ny + dz*nz
		bound := orientBound * (math.Abs(dx)*sx + math.Abs(dy)*sy + math.Abs(dz)*sz)
		switch {
		case det > bound:
			s[k] = 1
		case det < -bound:
			s[k] = -1
		case bound > 0:
			s[k] = orient3d(p[0], p[1], p[2], c)
		}
		up = up || s[k] > 0
		down = down || s[k] < 0
	}
	return s, up && down, !up && !down
}

// lone finds the corner that is alone on its side of the plane, and which side.
func lone(s [3]int) (k int, positive bool) {
	for k := range 3 {
		a, b := s[next3[k]], s[next3[next3[k]]]
		if s[k] > 0 && a <= 0 && b <= 0 {
			return k, true
		}
		if s[k] < 0 && a >= 0 && b >= 0 {
			return k, false
		}
	}
	return 0, false // not reached: three signs, not all alike
}

// coplanarOverlap reports whether two facets of one plane face the same way and
// have some area in common. Seen along the axis that the plane faces most, they
// are apart when an edge of one has the other wholly outside.
func coplanarOverlap(p, q *[3]*Vec) bool {
	n := p[1].Sub(*p[0]).Cross(p[2].Sub(*p[0]))
	if n.Dot(q[1].Sub(*q[0]).Cross(q[2].Sub(*q[0]))) <= 0 {
		return false
	}
	z := 0
	for k := range 3 {
		if math.Abs(n[k]) > math.Abs(n[z]) {
			z = k
		}
	}
	x, y := (z+1)%3, (z+2)%3
	if n[z] < 0 {
		x, y = y, x
	}
	return !apart(p, q, x, y) && !apart(q, p, x, y)
}

// apart reports whether some edge of p has all of q on its right or on it.
func apart(p, q *[3]*Vec, x, y int) bool {
	for k := range 3 {
		a, b := p[k], p[next3[k]]
		outside := true
		for _, c := range q {
			outside = outside && orient2d(a[x], a[y], b[x], b[y], c[x], c[y]) <= 0
		}
		if outside {
			return true
		}
	}
	return false
}

// meeting returns a point on both of two crossing facets: the middle of the line
// they share, or of the area where they lie in one plane.
func (m *Mesh) meeting(f, g int32) Vec {
	var p, q [3]Vec
	p[0], p[1], p[2] = m.Corners(int(f))
	q[0], q[1], q[2] = m.Corners(int(g))
	n1 := p[1].Sub(p[0]).Cross(p[2].Sub(p[0]))
	n2 := q[1].Sub(q[0]).Cross(q[2].Sub(q[0]))
	dir := n1.Cross(n2)
	ends := slices.Concat(pierce(&p, q[0], n2), pierce(&q, p[0], n1))
	if len(ends) < 4 {
		return overlapMiddle(p[:], q[:], n2)
	}
	slices.SortFunc(ends, func(a, b Vec) int { return cmp.Compare(a.Dot(dir), b.Dot(dir)) })
	return ends[1].Add(ends[2]).Mul(0.5) // the inner two of four ends of two overlapping intervals
}

// pierce returns the two points where a facet's edges go through a plane.
func pierce(p *[3]Vec, on, normal Vec) []Vec {
	var out []Vec
	for k := range 3 {
		a, b := p[k], p[next3[k]]
		u, v := a.Sub(on).Dot(normal), b.Sub(on).Dot(normal)
		if u > 0 != (v > 0) && u != v {
			out = append(out, a.Add(b.Sub(a).Mul(u/(u-v))))
		}
	}
	return out
}

// overlapMiddle clips a polygon at the edges of another in its plane (Sutherland
// and Hodgman 1974) and returns the mean of the corners that are left.
func overlapMiddle(polygon, by []Vec, normal Vec) Vec {
	for k := range by {
		a := by[k]
		inward := normal.Cross(by[(k+1)%len(by)].Sub(a))
		var kept []Vec
		for i, p := range polygon {
			q := polygon[(i+1)%len(polygon)]
			u, v := p.Sub(a).Dot(inward), q.Sub(a).Dot(inward)
			if u >= 0 {
				kept = append(kept, p)
			}
			if u < 0 != (v < 0) {
				kept = append(kept, p.Add(q.Sub(p).Mul(u/(u-v))))
			}
		}
		if len(kept) == 0 {
			break // only by rounding: what is left is a point as good as any
		}
		polygon = kept
	}
	var sum Vec
	for _, p := range polygon {
		sum = sum.Add(p)
	}
	return sum.Mul(1 / float64(len(polygon)))
}
