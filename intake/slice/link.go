package slice

import (
	"math"
	"slices"
)

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
	l := c.raw[:0]
	defer func() { c.raw = l }()
	for i := first; ; {
		g := &c.segs[i]
		c.taken[i] = true
		l = append(l, g.at)
		next := c.next(g.to)
		if next < 0 {
			if g.to == c.segs[first].from {
				c.keep(slices.Clone(simplified(l, tolerance)))
			} else {
				c.chains = append(c.chains, append(slices.Clone(l), g.end))
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
		c.comparisons++
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
			c.keep(simplified(l[:len(l)-1], tolerance))
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
			c.keep(simplified(l, tolerance))
		}
		return
	}
	for len(c.chains) > 0 {
		l := c.chains[0]
		c.chains = slices.Delete(c.chains, 0, 1)
		for {
			own := apart(l[len(l)-1], l[0])
			best := -1
			c.comparisons += 4 * len(c.chains)
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
		c.keep(simplified(l, tolerance))
	}
}

func apart(a, b point) float64 {
	return math.Hypot(float64(a.x)-float64(b.x), float64(a.y)-float64(b.y))
}

func (c *cutter) keep(l loop) {
	if len(l) >= 3 {
		c.loops = append(c.loops, l)
	}
}
