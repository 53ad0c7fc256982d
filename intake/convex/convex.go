// Package convex finds convex outlines of points in a plane.
package convex

import "slices"

// Hull returns the corners of the convex hull of points, counter-clockwise
// from the first in the order of compare, without those on its edges (A. M.
// Andrew, "Another efficient algorithm for convex hulls in two dimensions",
// 1979). Compare orders points along one axis, then along the other; side is
// positive where c lies left of the line from a to b, 0 on it. Fewer than three
// different points are returned as they are. The points given are not changed.
func Hull[P comparable, S int64 | float64](points []P, compare func(a, b P) int, side func(a, b, c P) S) []P {
	points = slices.Clone(points)
	slices.SortFunc(points, compare)
	points = slices.Compact(points)
	if len(points) < 3 {
		return points
	}
	half := func() []P {
		var h []P
		for _, p := range points {
			for len(h) >= 2 && side(h[len(h)-2], h[len(h)-1], p) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, p)
		}
		return h[:len(h)-1]
	}
	lower := half()
	slices.Reverse(points)
	return append(lower, half()...)
}
