package slice

import "math"

// sorted lists the facets by the first of some heights that crosses them, so
// that a run of layers can be cut with a short list of active facets.
type sorted struct {
	part   *part
	zs     []float64 // heights of the cuts, rising
	starts []int32   // per height, where in order its facets begin
	order  []int32   // facets
	last   []int32   // in that order: the last height that crosses the facet
	near   []int32   // the first height in each of many equal parts of their range
}

// sortFacets lists the facets of a part by the heights that cross them.
func sortFacets(p *part, zs []float64) *sorted {
	s := &sorted{part: p, zs: zs, starts: make([]int32, len(zs)+2), near: make([]int32, 4*len(zs))}
	for k := range s.near {
		i := 0
		if k > 0 {
			i = int(s.near[k-1])
		}
		for i < len(zs) && s.partOf(zs[i]) < k {
			i++
		}
		s.near[k] = int32(i)
	}
	ranges := make([][2]int32, len(p.triangles))
	shared(len(p.triangles), func(_, from, to int) {
		for f := from; f < to; f++ {
			ranges[f] = s.crossed(f)
		}
	})
	for _, r := range ranges {
		if r[0] <= r[1] {
			s.starts[r[0]+2]++
		}
	}
	for i := 2; i < len(s.starts); i++ {
		s.starts[i] += s.starts[i-1]
	}
	n := s.starts[len(s.starts)-1]
	s.order, s.last = make([]int32, n), make([]int32, n)
	for f, r := range ranges {
		if r[0] <= r[1] {
			at := s.starts[r[0]+1]
			s.order[at], s.last[at] = int32(f), r[1]
			s.starts[r[0]+1]++
		}
	}
	return s
}

// crossed is the first and last height that crosses a facet: corners at a
// height or above it are above. None if the first is after the last.
func (s *sorted) crossed(f int) [2]int32 {
	t := s.part.triangles[f]
	a, b, c := s.part.vertices[t[0]][2], s.part.vertices[t[1]][2], s.part.vertices[t[2]][2]
	lo, hi := min(a, b, c), max(a, b, c)
	first := s.after(lo)
	last := s.after(hi)
	if last < len(s.zs) && s.zs[last] == hi {
		last++
	}
	return [2]int32{int32(first), int32(last - 1)}
}

// after is the first height above z.
func (s *sorted) after(z float64) int {
	i := int(s.near[s.partOf(z)])
	for i < len(s.zs) && s.zs[i] <= z {
		i++
	}
	for i > 0 && s.zs[i-1] > z {
		i--
	}
	return i
}

// partOf is the part of the heights' range that z lies in.
func (s *sorted) partOf(z float64) int {
	lowest, highest := s.zs[0], s.zs[len(s.zs)-1]
	switch {
	case z <= lowest:
		return 0
	case z >= highest:
		return len(s.near) - 1
	}
	return min(int(float64(len(s.near))*((z-lowest)/(highest-lowest))), len(s.near)-1)
}

// cutter cuts single layers. One worker uses one cutter.
type cutter struct {
	overlay
	active []activeFacet
	segs   []segment
	begins pairTable // segments by the mesh edge they begin on
	same   []int32   // the next segment that begins on the same mesh edge
	taken  []bool
	loops  []loop
	chains []loop // of segments that do not close
}

type activeFacet struct{ facet, last int32 }

// segment is where a facet is cut: from one of its edges to another, the
// inside to the left. Edges are named by the numbers of their vertices.
type segment struct {
	from, to uint64
	at       point // on the edge from
	end      point // on the edge to
}

// begin makes the active facets those that were crossed before height i and still are.
func (c *cutter) begin(s *sorted, i int) {
	c.active = c.active[:0]
	c.comparisons += int(s.starts[i])
	for k := range s.starts[i] {
		if int(s.last[k]) >= i {
			c.active = append(c.active, activeFacet{s.order[k], s.last[k]})
		}
	}
}

// perSegment is what cutting a facet and linking it costs, in comparisons.
const perSegment = 24

// layer cuts at height i; heights must be asked for in turn. It returns the
// region of the part there.
func (c *cutter) layer(s *sorted, i int) []loop {
	for k := s.starts[i]; k < s.starts[i+1]; k++ {
		c.active = append(c.active, activeFacet{s.order[k], s.last[k]})
	}
	c.segs = c.segs[:0]
	kept := c.active[:0]
	for _, a := range c.active {
		if int(a.last) >= i {
			kept = append(kept, a)
			c.facet(s.part, a.facet, s.zs[i])
		}
	}
	c.comparisons += len(c.active) + perSegment*len(c.segs)
	c.active = kept
	c.linkSegments()
	c.reset()
	for _, l := range c.loops {
		c.add(l)
	}
	return c.outlines(nonzero)
}

// facet adds the segment where a facet is cut: corner k lies on one side of the
// height, the other two on the other.
func (c *cutter) facet(p *part, f int32, z float64) {
	t := &p.triangles[f]
	up := [3]bool{p.vertices[t[0]][2] >= z, p.vertices[t[1]][2] >= z, p.vertices[t[2]][2] >= z}
	k := 0
	switch up[0] {
	case up[1]:
		k = 2
	case up[2]:
		k = 1
	}
	onward, back := t[(k+1)%3], t[(k+2)%3]
	var g segment
	g.from, g.at = p.cutEdge(t[k], onward, z)
	g.to, g.end = p.cutEdge(back, t[k], z)
	if !up[k] {
		g.from, g.to, g.at, g.end = g.to, g.from, g.end, g.at
	}
	c.segs = append(c.segs, g)
}

// cutEdge is the name of an edge and where it is cut: measured from the lower
// end, so that both facets of the edge agree.
func (p *part) cutEdge(u, v int32, z float64) (uint64, point) {
	below, above := &p.vertices[u], &p.vertices[v]
	if below[2] >= z {
		below, above = above, below
	}
	r := (z - below[2]) / (above[2] - below[2])
	return edgeKey(u, v), point{grid(below[0] + r*(above[0]-below[0])), grid(below[1] + r*(above[1]-below[1]))}
}

func grid(mm float64) int32 { return int32(math.Floor(mm*perMM + 0.5)) }

func edgeKey(u, v int32) uint64 {
	if u > v {
		u, v = v, u
	}
	return uint64(uint32(u))<<32 | uint64(uint32(v))
}
