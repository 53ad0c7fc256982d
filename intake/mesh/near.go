package mesh

import (
	"context"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"

	"meshclerk/intake/job"
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
		if !c.snap(tol) {
			continue
		}
		if n := c.openAfter(); n < bestOpen {
			best, bestOpen = tol, n
		}
		if bestOpen == 0 {
			break
		}
	}
	if best == 0 {
		return m, e, nil
	}
	c.snap(best)
	welded, edges, collapsed := c.apply()
	if closed := e.Open - edges.Open; closed <= 0 || edges.NonManifold > e.NonManifold || collapsed > closed/4 {
		return m, e, nil
	}
	facts.WeldTolerance = best
	facts.note("corners up to %.2g mm apart were joined to close cracks", best)
	if collapsed > 0 {
		facts.note("%s smaller than that vanished", job.Count(collapsed, "facet", "facets"))
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

	grid grid
	to   []int32 // by vertex: the one that it is mapped to
	keys []uint64
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
	c.grid = newGrid(len(c.verts))
	c.to = make([]int32, len(m.Vertices))
	return c
}

// snap maps each vertex on an open side to the first one within tol of it that
// is not mapped itself; other vertices to themselves. So the vertices that stay
// are tol apart, few of them fit into a cell of the grid, and the time is linear.
func (c *cracks) snap(tol float64) (merged bool) {
	c.grid.reset(4 * tol)
	for i := range c.to {
		c.to[i] = int32(i)
	}
	for _, v := range c.verts {
		if near := c.grid.nearest(c.m, &c.m.Vertices[v], tol); near >= 0 {
			c.to[v], merged = near, true
			continue
		}
		c.grid.put(c.m.Vertices[v], v)
	}
	return merged
}

// grid holds vertices by the cell of space that they lie in, in chains by the
// hash of the cell.
type grid struct {
	cell float64
	head []int32 // by hash: place in at, plus one
	at   []gridEntry
	seed uint64
}

type gridEntry struct {
	cell [3]int64
	v    int32
	next int32
}

func newGrid(n int) grid {
	return grid{head: make([]int32, 1<<bits.Len(uint(n))), at: make([]gridEntry, 0, n), seed: rand.Uint64() | 1}
}

// reset empties the grid and gives it cells of another size.
func (g *grid) reset(cell float64) {
	g.cell = cell
	g.at = g.at[:0]
	clear(g.head)
}

func (g *grid) slot(cell [3]int64) uint64 {
	hi, lo := bits.Mul64(uint64(cell[0])^g.seed, uint64(cell[1])+g.seed<<1|1)
	hi, lo = bits.Mul64(hi^lo^g.seed, uint64(cell[2])*0x9E3779B97F4A7C15+g.seed|1)
	return (hi ^ lo) & uint64(len(g.head)-1)
}

func (g *grid) put(p Vec, v int32) {
	var cell [3]int64
	for k := range 3 {
		cell[k] = int64(math.Floor(p[k] / g.cell))
	}
	s := g.slot(cell)
	g.at = append(g.at, gridEntry{cell, v, g.head[s]})
	g.head[s] = int32(len(g.at))
}

// nearest returns the vertex in the grid that is nearest to p, within tol, or -1.
func (g *grid) nearest(m *Mesh, p *Vec, tol float64) int32 {
	var lo, hi [3]int64
	for k := range 3 {
		lo[k], hi[k] = int64(math.Floor((p[k]-tol)/g.cell)), int64(math.Floor((p[k]+tol)/g.cell))
	}
	best, dist := int32(-1), tol*tol
	for x := lo[0]; x <= hi[0]; x++ {
		for y := lo[1]; y <= hi[1]; y++ {
			for z := lo[2]; z <= hi[2]; z++ {
				cell := [3]int64{x, y, z}
				for i := g.head[g.slot(cell)]; i > 0; {
					e := &g.at[i-1]
					i = e.next
					if e.cell != cell {
						continue
					}
					if d := squareDistance(&m.Vertices[e.v], p); d <= dist {
						best, dist = e.v, d
					}
				}
			}
		}
	}
	return best
}

func squareDistance(a, b *Vec) float64 {
	x, y, z := a[0]-b[0], a[1]-b[1], a[2]-b[2]
	return x*x + y*y + z*z
}

// openAfter counts the sides that stay open when the vertices are mapped. One
// that collapses counts as open: it is not closed by that.
func (c *cracks) openAfter() int {
	n, keys := 0, c.keys[:0]
	for _, h := range c.sides {
		a, b := c.e.ends(h)
		a, b = c.to[a], c.to[b]
		if a == b {
			n++
			continue
		}
		keys = append(keys, uint64(min(a, b))<<32|uint64(max(a, b)))
	}
	slices.Sort(keys)
	c.keys = keys
	for i, k := range keys {
		if (i == 0 || keys[i-1] != k) && (i+1 == len(keys) || keys[i+1] != k) {
			n++
		}
	}
	return n
}

// apply maps the vertices and drops the facets that collapse or come to repeat others.
func (c *cracks) apply() (m *Mesh, e *Edges, collapsed int) {
	m = &Mesh{Vertices: c.m.Vertices, Triangles: make([][3]int32, 0, len(c.m.Triangles))}
	for _, t := range c.m.Triangles {
		t = [3]int32{c.to[t[0]], c.to[t[1]], c.to[t[2]]}
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
