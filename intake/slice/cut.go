package slice

import (
	"context"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// sorted lists the facets by the first of some heights that crosses them, so
// that a run of layers can be cut with a short list of active facets.
type sorted struct {
	part   *part
	zs     []float64 // heights of the cuts, rising
	starts []int32   // per height, where in order its facets begin
	order  []int32   // facets
	last   []int32   // in that order: the last height that crosses the facet
}

// sortFacets lists the facets of a part by the heights that cross them.
func sortFacets(p *part, zs []float64) *sorted {
	s := &sorted{part: p, zs: zs, starts: make([]int32, len(zs)+2)}
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

// after is the first height above z. Heights are nearly evenly spaced, so the
// search begins where an even spacing would put it.
func (s *sorted) after(z float64) int {
	n := len(s.zs)
	i := 0
	if span := s.zs[n-1] - s.zs[0]; span > 0 {
		i = min(max(int(float64(n-1)*(z-s.zs[0])/span), 0), n)
	}
	for i < n && s.zs[i] <= z {
		i++
	}
	for i > 0 && s.zs[i-1] > z {
		i--
	}
	return i
}

// cutter cuts single layers. One worker uses one cutter.
type cutter struct {
	arranger
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
	for k := range s.starts[i] {
		if int(s.last[k]) >= i {
			c.active = append(c.active, activeFacet{s.order[k], s.last[k]})
		}
	}
}

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
	c.active = kept
	c.linkSegments()
	c.reset()
	for _, l := range c.loops {
		c.add(l)
	}
	return c.outlines(nonzero)
}

// facet adds the segment where a facet is cut.
func (c *cutter) facet(p *part, f int32, z float64) {
	t := p.triangles[f]
	var g segment
	for k := range 3 {
		u, v := t[k], t[(k+1)%3]
		below, above := p.vertices[u], p.vertices[v]
		up := above[2] >= z
		if (below[2] >= z) == up {
			continue
		}
		if !up {
			below, above = above, below
		}
		// Measured from the lower end, so that both facets of an edge agree.
		r := (z - below[2]) / (above[2] - below[2])
		at := point{grid(below[0] + r*(above[0]-below[0])), grid(below[1] + r*(above[1]-below[1]))}
		if up {
			g.to, g.end = edgeKey(u, v), at
		} else {
			g.from, g.at = edgeKey(u, v), at
		}
	}
	c.segs = append(c.segs, g)
}

func grid(mm float64) int32 { return int32(math.Floor(mm*perMM + 0.5)) }

func edgeKey(u, v int32) uint64 {
	if u > v {
		u, v = v, u
	}
	return uint64(uint32(u))<<32 | uint64(uint32(v))
}

// linkSegments joins the segments to loops, edge by edge of the mesh, and
// closes by the shortest way what the mesh leaves open.
func (c *cutter) linkSegments() {
	c.loops, c.chains = c.loops[:0], c.chains[:0]
	c.begins.reset(len(c.segs))
	c.same = append(c.same[:0], make([]int32, len(c.segs))...)
	c.taken = append(c.taken[:0], make([]bool, len(c.segs))...)
	for i, g := range c.segs {
		head, isNew := c.begins.find(g.from, int32(i))
		c.same[i] = -1
		if !isNew {
			c.same[i] = c.same[head]
			c.same[head] = int32(i)
		}
	}
	for i := range c.segs {
		if !c.taken[i] {
			c.follow(int32(i))
		}
	}
	c.closeChains()
}

// follow walks from segment to segment until it comes round or to an end.
func (c *cutter) follow(first int32) {
	var l loop
	for i := first; ; {
		g := &c.segs[i]
		c.taken[i] = true
		l = append(l, g.at)
		next := c.next(g.to)
		if next < 0 {
			if g.to == c.segs[first].from {
				c.keep(l)
			} else {
				c.chains = append(c.chains, append(l, g.end))
			}
			return
		}
		i = next
	}
}

// next is one not yet taken that begins in a place, or -1.
func (c *cutter) next(place uint64) int32 {
	i, found := c.begins.get(place)
	if !found {
		return -1
	}
	for ; i >= 0; i = c.same[i] {
		if !c.taken[i] {
			return i
		}
	}
	return -1
}

// manyChains is how many open chains are joined with care; beyond, a mesh is
// in shreds, and each is closed by itself.
const manyChains = 2000

// joinChains joins each chain to one that begins in the very point it ends in,
// which is all that facets without common vertices need.
func (c *cutter) joinChains() {
	c.begins.reset(len(c.chains))
	c.same = append(c.same[:0], make([]int32, len(c.chains))...)
	c.taken = append(c.taken[:0], make([]bool, len(c.chains))...)
	for i, l := range c.chains {
		head, isNew := c.begins.find(l[0].key(), int32(i))
		c.same[i] = -1
		if !isNew {
			c.same[i] = c.same[head]
			c.same[head] = int32(i)
		}
	}
	kept := c.chains[:0:0]
	for i, l := range c.chains {
		if c.taken[i] {
			continue
		}
		c.taken[i] = true
		for {
			next := c.next(l[len(l)-1].key())
			if next < 0 {
				break
			}
			c.taken[next] = true
			l = append(l[:len(l)-1], c.chains[next]...)
		}
		if l[0] == l[len(l)-1] {
			c.keep(l[:len(l)-1])
		} else {
			kept = append(kept, l)
		}
	}
	c.chains = kept
}

// closeChains joins each chain's end to the nearest beginning.
func (c *cutter) closeChains() {
	c.joinChains()
	if len(c.chains) > manyChains {
		for _, l := range c.chains {
			c.keep(l)
		}
		return
	}
	for len(c.chains) > 0 {
		l := c.chains[0]
		c.chains = slices.Delete(c.chains, 0, 1)
		for {
			own := apart(l[len(l)-1], l[0])
			best := -1
			for i, o := range c.chains {
				if d := apart(l[len(l)-1], o[0]); d < own {
					own, best = d, i
				}
			}
			if best < 0 {
				break
			}
			l = append(l, c.chains[best]...)
			c.chains = slices.Delete(c.chains, best, best+1)
		}
		c.keep(l)
	}
}

func apart(a, b point) float64 {
	return math.Hypot(float64(a.x)-float64(b.x), float64(a.y)-float64(b.y))
}

func (c *cutter) keep(l loop) {
	if l = simplified(l, tolerance); len(l) >= 3 {
		c.loops = append(c.loops, l)
	}
}

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

// sharers is among how many workers simple work is divided.
const sharers = 4

// shared divides 0..n among a few workers, each getting its number and one run.
func shared(n int, work func(k, from, to int)) {
	var wg sync.WaitGroup
	for k := range sharers {
		wg.Go(func() { work(k, k*n/sharers, (k+1)*n/sharers) })
	}
	wg.Wait()
}

// inRuns hands out runs of 0..n to workers until all are done or the context is.
func inRuns(ctx context.Context, n, run, workers int, work func(worker, from, to int)) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for ctx.Err() == nil {
				from := int(next.Add(int64(run))) - run
				if from >= n {
					return
				}
				work(w, from, min(from+run, n))
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}
