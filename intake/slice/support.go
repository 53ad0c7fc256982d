package slice

import (
	"context"
	"math"
	"slices"
	"sync/atomic"

	"meshclerk/intake/budget"
	"meshclerk/intake/mesh"
)

// supportGrid holds the support columns of a part, on a grid of square cells.
type supportGrid struct {
	cell    float64 // mm
	nx, ny  int
	x0, y0  float64 // mm, the grid's corner
	starts  []int32 // per cell, its columns
	columns []column
	used    []bool // cells in which the part, or a support, is
}

// column is a stretch above one cell that is filled with support.
type column struct{ bottom, top float32 }

// columnHit is where a column's middle line meets the surface.
type columnHit struct {
	cell  int32
	z     float32
	enter bool // going up, it enters the part here
	steep bool // entered through a face too steep to print on air
}

// finestCells bounds the columns to a side.
const finestCells = 1200

// placeSupports finds where the part must be held up: under faces that lean out
// more than the rules' angle, but not where a flat span held at both sides is
// short enough to be laid across the gap, and not where the part itself or the
// plate is close.
func placeSupports(ctx context.Context, p *recipe, part *part) (*supportGrid, error) {
	g := newSupportGrid(p, part)
	all, err := g.hits(ctx, p, part)
	if err != nil {
		return nil, err
	}
	hits, starts := g.sortHits(all)
	under := g.gaps(hits, starts)
	s := g.spannerOf(ctx, p, under, hits, starts)
	g.stand(p, under, s.bridged())
	return g, ctx.Err()
}

func newSupportGrid(p *recipe, part *part) *supportGrid {
	g := &supportGrid{cell: max(p.width, max(part.size[0], part.size[1])/finestCells)}
	g.nx, g.ny = int(part.size[0]/g.cell)+1, int(part.size[1]/g.cell)+1
	g.ny += g.ny % 2 // so that the middle line lies between two cells, as in a frame
	g.x0, g.y0 = -float64(g.nx)*g.cell/2, -float64(g.ny)*g.cell/2
	g.used = make([]bool, g.nx*g.ny)
	return g
}

// maxHits bounds how often a part may lie above itself: more would be a hundred
// layers of surface over a plate of the largest printers.
const maxHits = 12_000_000

// hits lists where the columns' middle lines meet the facets. A line that
// meets an edge meets exactly one of its facets: both measure the edge alike.
func (g *supportGrid) hits(ctx context.Context, p *recipe, part *part) ([sharers][]columnHit, error) {
	const steepnessSlack = 1e-4
	steep := math.Sin(p.printing.SupportAngleDeg*math.Pi/180) + steepnessSlack
	var found [sharers][]columnHit
	likely, all, rows := g.expectedHits(part)
	if all > maxHits {
		return found, errTooManyCrossings
	}
	meter := budget.From(ctx)
	meter.Spend(4*len(part.triangles) + int(rows))
	var total atomic.Int64
	shared(len(part.triangles), func(k, from, to int) {
		own := make([]columnHit, 0, int(1.05*likely[k])+100)
		for f := from; f < to && total.Load() <= maxHits && ctx.Err() == nil; f++ {
			n := len(own)
			own = g.facet(own, part, f, steep)
			if len(own) > n {
				total.Add(int64(len(own) - n))
			}
		}
		found[k] = own
	})
	const perHit = 15                                     // in units, sorting in
	meter.Spend(perHit * int(min(total.Load(), maxHits))) // the same, wherever each stopped
	if total.Load() > maxHits {
		return found, errTooManyCrossings
	}
	return found, ctx.Err()
}

// expectedHits is how many column hits each sharer will find, by the area of its
// facets as seen from above; how many that is in all, and how many rows of cells
// all will go through.
func (g *supportGrid) expectedHits(part *part) (out [sharers]float64, all, rows float64) {
	var deepest [sharers]float64
	shared(len(part.triangles), func(k, from, to int) {
		twice, deep := 0.0, 0.0
		for _, t := range part.triangles[from:to] {
			a, b, c := &part.vertices[t[0]], &part.vertices[t[1]], &part.vertices[t[2]]
			twice += math.Abs((b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0]))
			deep += max(a[1], b[1], c[1]) - min(a[1], b[1], c[1])
		}
		out[k], deepest[k] = twice/(2*g.cell*g.cell), deep/g.cell
	})
	for k := range sharers {
		all, rows = all+out[k], rows+deepest[k]
	}
	return out, all, rows
}

func (g *supportGrid) facet(out []columnHit, part *part, f int, steep float64) []columnHit {
	t := part.triangles[f]
	a, b, c := &part.vertices[t[0]], &part.vertices[t[1]], &part.vertices[t[2]]
	j0, j1 := g.centreAfter(min(a[1], b[1], c[1]), g.y0), g.centreAfter(max(a[1], b[1], c[1]), g.y0)
	if j0 == j1 || g.centreAfter(min(a[0], b[0], c[0]), g.x0) == g.centreAfter(max(a[0], b[0], c[0]), g.x0) {
		return out // between the columns
	}
	n := b.Sub(*a).Cross(c.Sub(*a))
	if n[2] == 0 {
		return out
	}
	isSteep := n[2] < 0 && -n[2] > steep*n.Len()
	for j := max(j0, 0); j < min(j1, g.ny); j++ {
		y := g.y0 + (float64(j)+0.5)*g.cell
		left, right := math.Inf(1), math.Inf(-1)
		for _, e := range [3][2]*mesh.Vec{{a, b}, {b, c}, {c, a}} {
			u, v := e[0], e[1]
			if (u[1] <= y) == (v[1] <= y) {
				continue
			}
			if u[1] > v[1] {
				u, v = v, u
			}
			x := u[0] + (y-u[1])/(v[1]-u[1])*(v[0]-u[0])
			left, right = min(left, x), max(right, x)
		}
		for i := max(g.centreAfter(left, g.x0), 0); i < min(g.centreAfter(right, g.x0), g.nx); i++ {
			x := g.x0 + (float64(i)+0.5)*g.cell
			z := a[2] - (n[0]*(x-a[0])+n[1]*(y-a[1]))/n[2]
			out = append(out, columnHit{int32(j*g.nx + i), float32(z), n[2] < 0, isSteep})
		}
	}
	return out
}

// centreAfter is the first column whose middle lies at v or beyond.
func (g *supportGrid) centreAfter(v, origin float64) int {
	if math.IsInf(v, 0) {
		return 0
	}
	return int(math.Ceil((v-origin)/g.cell - 0.5))
}

// sortHits sorts the column hits by column and height; it returns them and where
// each column begins.
func (g *supportGrid) sortHits(all [sharers][]columnHit) ([]columnHit, []int32) {
	starts := make([]int32, g.nx*g.ny+2)
	n := 0
	for _, list := range all {
		for _, t := range list {
			starts[t.cell+2]++
			g.used[t.cell] = true
		}
		n += len(list)
	}
	for i := 2; i < len(starts); i++ {
		starts[i] += starts[i-1]
	}
	sorted := make([]columnHit, n)
	for _, list := range all {
		for _, t := range list {
			sorted[starts[t.cell+1]] = t
			starts[t.cell+1]++
		}
	}
	for i := range g.nx * g.ny {
		slices.SortFunc(sorted[starts[i]:starts[i+1]], byHeight)
	}
	return sorted, starts
}

// byHeight sorts column hits upwards. Where one body ends on another, the end of
// the lower comes after the beginning of the upper, so that there is no gap.
func byHeight(a, b columnHit) int {
	switch {
	case a.z < b.z:
		return -1
	case a.z > b.z:
		return 1
	case a.enter == b.enter:
		return 0
	case a.enter:
		return -1
	}
	return 1
}

// gap is air under a face too steep to print on it: down to the part, or to the
// plate.
type gap struct {
	cell        int32
	bottom, top float32
	onPart      bool
}

// gaps finds the air under steep faces, column by column.
func (g *supportGrid) gaps(hits []columnHit, starts []int32) []gap {
	var out []gap
	for cell := range int32(g.nx * g.ny) {
		w, floor, onPart := 0, float32(0), false
		for _, t := range hits[starts[cell]:starts[cell+1]] {
			if t.enter {
				if w == 0 && t.steep {
					out = append(out, gap{cell, floor, t.z, onPart})
				}
				w++
				continue
			}
			w = max(w-1, 0) // an open mesh may leave where it never entered
			if w == 0 {
				floor, onPart = t.z, true
			}
		}
	}
	return out
}

// stand puts support columns into the gaps, leaving air above them, and below
// them where they stand on the part.
func (g *supportGrid) stand(p *recipe, under []gap, bridged []bool) {
	air := float32(p.printing.SupportGapMM)
	g.starts = make([]int32, g.nx*g.ny+1)
	for i, u := range under {
		b := column{u.bottom, u.top - air}
		if u.onPart {
			b.bottom += air
		}
		if bridged[i] || b.top-b.bottom < float32(p.layerHeight) {
			continue
		}
		g.columns = append(g.columns, b)
		g.starts[u.cell+1]++
		g.used[u.cell] = true
	}
	for i := range g.nx * g.ny {
		g.starts[i+1] += g.starts[i]
	}
}

// frame is the direction of the supports' lines: along x.
func (g *supportGrid) frame() frame { return frame{1, 0, g.cell} }

// at returns the spans of the columns that stand at a height, as rows of the frame.
func (g *supportGrid) at(z float64, laid func(row int) bool) *rows {
	if g == nil || len(g.columns) == 0 {
		return &rows{}
	}
	var b builder
	b.begin(-g.ny / 2)
	for j := range g.ny {
		if laid(j - g.ny/2) {
			b.ends = g.rowAt(b.ends, j, float32(z))
		}
		b.endRow()
	}
	return &b.rows
}

func (g *supportGrid) rowAt(out []float32, j int, z float32) []float32 {
	n := len(out)
	if g.starts[j*g.nx] == g.starts[(j+1)*g.nx] {
		return out
	}
	for i := range g.nx {
		c := j*g.nx + i
		for _, b := range g.columns[g.starts[c]:g.starts[c+1]] {
			if z < b.bottom || z > b.top {
				continue
			}
			from, to := float32(g.x0+float64(i)*g.cell), float32(g.x0+float64(i+1)*g.cell)
			if len(out) > n && from-out[len(out)-1] < 1e-3 {
				out[len(out)-1] = to
			} else {
				out = append(out, from, to)
			}
			break
		}
	}
	return out
}
