package slice

import (
	"cmp"

	"meshclerk/intake/convex"
)

// hullOf is the convex hull of some points, counter-clockwise.
func hullOf(ps []point) loop {
	return convex.Hull(ps, func(a, b point) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) }, side)
}
