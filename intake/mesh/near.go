package mesh

import (
	"context"
	"math"
	"slices"
)

// weldNear welds vertices on open edges that lie within a tolerance of one
// another, where that closes cracks. The tolerance is the smallest of a ladder
// (four steps of single precision, then from 1e-6 up to 1e-4 of the model's
// diagonal) that leaves the fewest open edges; it is reported in facts.
func weldNear(ctx context.Context, m *Mesh, e *Edges, facts *Facts) (*Mesh, *Edges, error) {
	c := newCracks(m, e)
	best, bestOpen := 0.0, e.Open
	for _, tol := range ladder(m.Bounds()) {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		to, merged := c.snap(tol)
		if !merged {
			continue
		}
		if n := c.openAfter(to); n < bestOpen {
			best, bestOpen = tol, n
		}
		if bestOpen == 0 {
			break
		}
	}
	if best == 0 {
		return m, e, nil
	}
	to, _ := c.snap(best)
	welded, edges, collapsed := c.apply(to)
	if edges.Open >= e.Open || edges.Crowded > e.Crowded {
		return m, e, nil
	}
	facts.WeldTolerance = best
	facts.note("corners up to %.2g mm apart were joined to close cracks", best)
	if collapsed > 0 {
		facts.note("%s smaller than that vanished", counted(collapsed, "facet", "facets"))
	}
	return welded, edges, nil
}

func ladder(b Box) []float64 {
	far := 0.0
	for k := range 3 {
		far = max(far, math.Abs(b.Min[k]), math.Abs(b.Max[k]))
	}
	diagonal := b.Size().Len()
	steps := []float64{far * 4 / (1 << 23), diagonal * 1e-6, diagonal * 1e-5, diagonal * 1e-4}
	steps = slices.DeleteFunc(steps, func(t float64) bool { return t > diagonal*1e-4 })
	slices.Sort(steps)
	return steps
}

// cracks are the open sides of a mesh and the vertices on them.
type cracks struct {
	m     *Mesh
	e     *Edges
	sides []int32
	verts []int32
}

func newCracks(m *Mesh, e *Edges) *cracks {
	c := &cracks{m: m, e: e}
	for h, mate := range e.mate {
		if mate == open {
			a, b := e.ends(int32(h))
			c.sides = append(c.sides, int32(h))
			c.verts = append(c.verts, a, b)
		}
	}
	slices.Sort(c.verts)
	c.verts = slices.Compact(c.verts)
	return c
}

// snap maps each vertex on an open side to the first one within tol of it that
// is not mapped itself. So the vertices that stay are tol apart, few fit into a
// grid cell, and the time is linear.
func (c *cracks) snap(tol float64) (to map[int32]int32, merged bool) {
	cells := make(map[[3]int64][]int32, len(c.verts))
	to = make(map[int32]int32)
	for _, v := range c.verts {
		p := c.m.Vertices[v]
		cell := [3]int64{int64(math.Floor(p[0] / tol)), int64(math.Floor(p[1] / tol)), int64(math.Floor(p[2] / tol))}
		if near, ok := c.nearest(cells, cell, p, tol); ok {
			to[v] = near
			continue
		}
		cells[cell] = append(cells[cell], v)
	}
	return to, len(to) > 0
}

func (c *cracks) nearest(cells map[[3]int64][]int32, cell [3]int64, p Vec, tol float64) (int32, bool) {
	best, dist := int32(-1), tol*tol
	for i := range int64(27) {
		key := [3]int64{cell[0] + i%3 - 1, cell[1] + i/3%3 - 1, cell[2] + i/9 - 1}
		for _, w := range cells[key] {
			d := c.m.Vertices[w].Sub(p)
			if dd := d.Dot(d); dd <= dist {
				best, dist = w, dd
			}
		}
	}
	return best, best >= 0
}

func mapped(to map[int32]int32, v int32) int32 {
	if w, ok := to[v]; ok {
		return w
	}
	return v
}

// openAfter counts the sides that stay open when the vertices are mapped.
func (c *cracks) openAfter(to map[int32]int32) int {
	keys := make([]uint64, 0, len(c.sides))
	for _, h := range c.sides {
		a, b := c.e.ends(h)
		a, b = mapped(to, a), mapped(to, b)
		if a != b {
			keys = append(keys, uint64(min(a, b))<<32|uint64(max(a, b)))
		}
	}
	slices.Sort(keys)
	n := 0
	for i, k := range keys {
		if (i == 0 || keys[i-1] != k) && (i+1 == len(keys) || keys[i+1] != k) {
			n++
		}
	}
	return n
}

// apply maps the vertices and drops the facets that collapse or come to repeat others.
func (c *cracks) apply(to map[int32]int32) (m *Mesh, e *Edges, collapsed int) {
	m = &Mesh{Vertices: c.m.Vertices, Triangles: make([][3]int32, 0, len(c.m.Triangles))}
	for _, t := range c.m.Triangles {
		t = [3]int32{mapped(to, t[0]), mapped(to, t[1]), mapped(to, t[2])}
		if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
			collapsed++
			continue
		}
		m.Triangles = append(m.Triangles, t)
	}
	m = m.compact()
	m, e, _ = dropRepeats(m, FindEdges(m))
	return m, e, collapsed
}
