package shapes

import (
	"cmp"
	"slices"
)

// triangulate cuts an outline with clockwise holes into triangles by clipping
// ears (Eberly, Triangulation by Ear Clipping). The points are those of the
// outline followed by those of the holes; the triangles are counter-clockwise.
func triangulate(outer Outline, holes []Outline) (points []Point, facets [][3]int32) {
	points = slices.Concat(append([]Outline{outer}, holes...)...)
	ring := make([]int32, len(outer))
	for i := range ring {
		ring[i] = int32(i)
	}
	at := len(outer)
	inner := make([][]int32, len(holes))
	for i, h := range holes {
		for j := range h {
			inner[i] = append(inner[i], int32(at+j))
		}
		at += len(h)
	}
	rightmost := func(r []int32) int32 {
		return slices.MaxFunc(r, func(a, b int32) int { return cmp.Compare(points[a][0], points[b][0]) })
	}
	slices.SortFunc(inner, func(a, b []int32) int {
		return cmp.Compare(points[rightmost(b)][0], points[rightmost(a)][0])
	})
	for _, hole := range inner {
		ring = bridge(points, ring, hole, rightmost(hole))
	}
	return points, clip(points, ring)
}

// bridge joins a hole to the ring by a cut from its rightmost point to the
// nearest point of the ring that it can see.
func bridge(points []Point, ring, hole []int32, from int32) []int32 {
	best, dist := -1, 0.0
	for i, v := range ring {
		if !sees(points, ring, from, i) {
			continue
		}
		dx, dy := points[v][0]-points[from][0], points[v][1]-points[from][1]
		if d := dx*dx + dy*dy; best < 0 || d < dist {
			best, dist = i, d
		}
	}
	best = max(best, 0)
	start := slices.Index(hole, from)
	cut := slices.Concat(ring[:best+1], hole[start:], hole[:start+1], ring[best:])
	return cut
}

// sees reports whether the line from a hole's point to the ring's point i crosses no
// edge of the ring and enters the polygon there.
func sees(points []Point, ring []int32, from int32, i int) bool {
	n := len(ring)
	p, q := points[from], points[ring[i]]
	prev, next := points[ring[(i+n-1)%n]], points[ring[(i+1)%n]]
	if q[0] < p[0] || !inCorner(prev, q, next, p) {
		return false
	}
	for j := range ring {
		a, b := points[ring[j]], points[ring[(j+1)%n]]
		if a == q || b == q {
			continue
		}
		if turn(p, q, a)*turn(p, q, b) <= 0 && turn(a, b, p)*turn(a, b, q) <= 0 {
			return false
		}
	}
	return true
}

// inCorner reports whether p lies between the edges at corner b of a polygon.
func inCorner(a, b, c, p Point) bool {
	if turn(a, b, c) > 0 {
		return turn(a, b, p) > 0 && turn(b, c, p) > 0
	}
	return turn(a, b, p) > 0 || turn(b, c, p) > 0
}

// turn is twice the area of the triangle a, b, c: positive counter-clockwise.
func turn(a, b, c Point) float64 {
	return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
}

// clip cuts off ears, the best shaped first, until a triangle is left.
func clip(points []Point, ring []int32) (facets [][3]int32) {
	for len(ring) > 3 {
		best, quality := -1, 0.0
		for i := range ring {
			if q := ear(points, ring, i); q > quality {
				best, quality = i, q
			}
		}
		if best < 0 {
			return facets // the outline crosses itself
		}
		n := len(ring)
		facets = append(facets, [3]int32{ring[(best+n-1)%n], ring[best], ring[(best+1)%n]})
		ring = slices.Delete(ring, best, best+1)
	}
	return append(facets, [3]int32{ring[0], ring[1], ring[2]})
}

// ear returns the quality of the corner as an ear, 0 when it is none: the area
// over the longest side squared.
func ear(points []Point, ring []int32, i int) float64 {
	n := len(ring)
	a, b, c := points[ring[(i+n-1)%n]], points[ring[i]], points[ring[(i+1)%n]]
	area := turn(a, b, c)
	if area <= 0 {
		return 0
	}
	for _, v := range ring {
		p := points[v]
		if p == a || p == b || p == c {
			continue
		}
		if turn(a, b, p) >= 0 && turn(b, c, p) >= 0 && turn(c, a, p) >= 0 {
			return 0
		}
	}
	longest := 0.0
	for _, e := range [3][2]Point{{a, b}, {b, c}, {c, a}} {
		dx, dy := e[1][0]-e[0][0], e[1][1]-e[0][1]
		longest = max(longest, dx*dx+dy*dy)
	}
	return area / longest
}
