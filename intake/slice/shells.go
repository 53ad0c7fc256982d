package slice

import "math"

// shell is one of the lines around a layer: their middle lines, and how wide they are laid.
type shell struct {
	lines []loop
	width float64 // mm
}

// lane is a place too narrow for two shells: its middle line and how wide it is.
type lane struct {
	line  loop // open, from end to end
	width float64
}

// Lanes narrower than leastLane line widths are left open, and so are those
// with less plastic than a dot.
const leastLane = 0.2

// layShells lays the shells of a region from the outside, and returns what they
// leave. Each shell takes a line's width from the region: its lines run half
// of that inside. Where the region is narrower than two lines, they share what
// there is; where it is narrower than one, a lane is laid along its middle.
func (c *cutter) layShells(b *cutLayer, region []loop, p *recipe) []loop {
	for k := 0; k < p.shellCount && len(region) > 0; k++ {
		lines := c.inset(region, p.width/2)
		left := c.inset(lines, p.width/2)
		taken := areaOf(region) - areaOf(left)
		laid := lengthOf(lines) * p.width
		w := shell{lines, p.width}
		if taken-laid > 0.01*taken {
			taken -= c.layLanes(b, region, lines, p)
		}
		if laid > taken && laid > 0 {
			w.width *= max(0.25, taken/laid)
		}
		b.shells = append(b.shells, w)
		region = left
	}
	return region
}

// layLanes finds where a region is too narrow for its shells: what is lost when
// it is worn away by half a line and grown again. It returns the area it lays.
func (c *cutter) layLanes(b *cutLayer, region, lines []loop, p *recipe) float64 {
	reached := c.inset(lines, -p.width/2)
	c.reset()
	for _, l := range region {
		c.add(l)
	}
	for _, l := range reached {
		c.raw = c.raw[:0]
		for i := range l {
			c.raw = append(c.raw, l[len(l)-1-i])
		}
		c.add(c.raw)
	}
	sum := 0.0
	for _, g := range c.withHoles(c.outlines(positive)) {
		length := lengthOf(g) / 2
		width := areaOf(g) / length
		if width < leastLane*p.width || length < p.width {
			continue
		}
		for _, l := range g {
			b.lanes = append(b.lanes, lane{half(l), width})
		}
		sum += width * length
	}
	return sum
}

// withHoles groups each outline around a body with those of the holes in it.
func (r *overlay) withHoles(ls []loop) [][]loop {
	var groups [][]loop
	for _, l := range ls {
		if l.area() > 0 {
			groups = append(groups, []loop{l})
		}
	}
	for _, l := range ls {
		if l.area() >= 0 {
			continue
		}
		best, least := -1, math.Inf(1)
		for i, g := range groups {
			r.comparisons += 2 * len(g[0])
			if a := g[0].area(); a < least && g[0].contains(l[0]) {
				best, least = i, a
			}
		}
		if best >= 0 {
			groups[best] = append(groups[best], l)
		}
	}
	return groups
}

// contains reports whether a point lies inside an outline.
func (l loop) contains(p point) bool {
	in := false
	a := l[len(l)-1]
	for _, b := range l {
		if (a.y <= p.y) != (b.y <= p.y) && (side(a, b, p) > 0) == (b.y > a.y) {
			in = !in
		}
		a = b
	}
	return in
}

// half is one side of a long thin outline: half of its length, from one of the
// two points that lie furthest apart.
func half(l loop) loop {
	start := furthest(l, furthest(l, 0))
	left := l.length() * perMM / 2
	out := loop{l[start]}
	for k := 1; k <= len(l); k++ {
		p, q := l[(start+k-1)%len(l)], l[(start+k)%len(l)]
		d := apart(p, q)
		if d >= left {
			return append(out, point{along(p.x, q.x, left/d), along(p.y, q.y, left/d)})
		}
		out, left = append(out, q), left-d
	}
	return out
}

// furthest is the corner furthest from another.
func furthest(l loop, from int) int {
	best, at := -1.0, 0
	for i, p := range l {
		if d := apart(p, l[from]); d > best {
			best, at = d, i
		}
	}
	return at
}
