package slice

import "slices"

// hullOf is the convex hull of some points, counter-clockwise (Andrew's monotone chain).
func hullOf(ps []point) loop {
	ps = slices.Clone(ps)
	slices.SortFunc(ps, func(a, b point) int {
		if a.x != b.x {
			return int(a.x) - int(b.x)
		}
		return int(a.y) - int(b.y)
	})
	ps = slices.Compact(ps)
	if len(ps) < 3 {
		return ps
	}
	half := func() loop {
		var h loop
		for _, p := range ps {
			for len(h) >= 2 && side(h[len(h)-2], h[len(h)-1], p) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, p)
		}
		return h[:len(h)-1]
	}
	lower := half()
	slices.Reverse(ps)
	return append(lower, half()...)
}
