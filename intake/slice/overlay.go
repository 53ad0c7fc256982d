package slice

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// fillRule reports which winding numbers are inside.
type fillRule func(winding int32) bool

func nonzero(w int32) bool  { return w != 0 }
func positive(w int32) bool { return w > 0 }

// overlay is a planar overlay: it turns any set of directed edges, crossing and overlapping as they
// may, into the outlines of the region that a fill rule takes as inside.
//
// It builds the arrangement of the edges by snap rounding (Hobby 1999): every
// end and every crossing is a hot pixel of the grid, and every edge is led
// through all hot pixels it meets. The pieces then meet at ends only, the
// winding number on either side of each is counted exactly, and those with the
// inside on one side are linked up, inside to the left. It is meant to be used
// again and again; what it returns is the caller's.
type overlay struct {
	points []point
	ids    pointTable
	edges  []span2   // directed, by point number
	rounds []int32   // where in edges each outline that was added begins
	splits []split   // hot pixels met by edges
	pieces []piece   // of the arrangement
	strips buckets   // of edges or pieces, by y
	dots   buckets   // of points, by y, then x
	swept  []xRange  // the edges of one strip, by x
	table  edgeTable // pieces by their ends
	bounds struct{ lo, hi int32 }
	shift  uint // a strip is 2^shift high
	outs   []int32
	starts []int32
	used   []bool
	left   []int32 // winding number left of each piece
	known  []bool
	meets  []meeting
	raw    loop

	comparisons      int  // comparisons made in all, each a few nanoseconds
	tooManyCrossings bool // there were too many crossings, and so no outlines
}

// span2 is an edge from one numbered point to another.
type span2 struct{ a, b int32 }

// split records that an edge passes through a point, at a distance along it.
type split struct {
	edge, point int32
	along       int64
}

// piece is an edge of the arrangement between points a and b, where a comes
// first by y, then x. The winding number rises by winding from its right to its left.
type piece struct {
	a, b    int32
	winding int32
}

// maxCrossings is how many crossings in one layer are followed. Parts that a printer
// could print have a few hundred, a lattice a few thousand.
const maxCrossings = 30_000

func (r *overlay) reset() {
	r.tooManyCrossings = false
	r.points, r.edges, r.rounds, r.splits, r.pieces = r.points[:0], r.edges[:0], r.rounds[:0], r.splits[:0], r.pieces[:0]
	r.ids.reset(64)
}

// add puts in a closed outline.
func (r *overlay) add(l loop) {
	if len(l) < 2 {
		return
	}
	r.rounds = append(r.rounds, int32(len(r.edges)))
	prev := r.number(l[len(l)-1])
	for _, p := range l {
		next := r.number(p)
		if next != prev {
			r.edges = append(r.edges, span2{prev, next})
		}
		prev = next
	}
}

func (r *overlay) number(p point) int32 {
	id, isNew := r.ids.number(p, int32(len(r.points)))
	if isNew {
		r.points = append(r.points, p)
	}
	return id
}

// What an edge costs in comparisons beside the comparisons that are counted, and a place
// where it is split, which is sorted in and makes a piece more.
const (
	perEdge  = 20
	perSplit = 100
)

// outlines returns the outlines of the inside of all that was added.
func (r *overlay) outlines(inside fillRule) []loop {
	if len(r.edges) < 3 {
		return nil
	}
	edgeRange := func(i int) (int32, int32) { return r.yRange(r.edges[i]) }
	r.layStrips(len(r.edges), edgeRange)
	r.fill(&r.strips, len(r.edges), edgeRange)
	r.sortStrips(&r.strips, func(i int32) int32 { return r.leftEnd(r.edges[i].a, r.edges[i].b) })
	r.cross()
	r.comparisons += perEdge*len(r.edges) + perSplit*len(r.splits)
	if r.tooManyCrossings {
		return nil
	}
	r.fill(&r.dots, len(r.points), func(i int) (int32, int32) { return r.points[i].y, r.points[i].y })
	r.sortStrips(&r.dots, func(i int32) int32 { return r.points[i].x })
	r.meetPixels()
	if len(r.splits) == 0 && len(r.points) == len(r.edges) {
		return r.untouched(inside)
	}
	r.cut()
	pieceRange := func(i int) (int32, int32) { return r.points[r.pieces[i].a].y, r.points[r.pieces[i].b].y }
	r.layStrips(len(r.pieces), pieceRange)
	r.fill(&r.strips, len(r.pieces), pieceRange)
	r.sortStrips(&r.strips, func(i int32) int32 { return r.leftEnd(r.pieces[i].a, r.pieces[i].b) })
	return r.link(inside)
}

func (r *overlay) yRange(e span2) (int32, int32) {
	a, b := r.points[e.a].y, r.points[e.b].y
	return min(a, b), max(a, b)
}

// layStrips divides the height into strips with a few edges each, but not into
// so many that the edges touch more than a few strips each.
func (r *overlay) layStrips(edges int, yRange func(int) (int32, int32)) {
	lo, hi := r.points[0].y, r.points[0].y
	for _, p := range r.points {
		lo, hi = min(lo, p.y), max(hi, p.y)
	}
	rise := int64(1)
	for i := range edges {
		a, b := yRange(i)
		rise += int64(b) - int64(a)
	}
	const touched = 4
	n := min(int64(edges)/2, touched*int64(edges)*(int64(hi)-int64(lo))/rise, 1<<16)
	r.bounds.lo, r.bounds.hi = lo, hi
	r.shift = uint(bits.Len64(uint64((int64(hi) - int64(lo)) / max(n, 1))))
}

func (r *overlay) strip(y int32) int {
	return int((int64(y) - int64(r.bounds.lo)) >> r.shift)
}

// fill sorts n things into the strips that their y ranges touch.
func (r *overlay) fill(b *buckets, n int, yRange func(int) (int32, int32)) {
	b.begin(r.strip(r.bounds.hi) + 1)
	for i := range n {
		lo, hi := yRange(i)
		for s := r.strip(lo); s <= r.strip(hi); s++ {
			b.count(s)
		}
	}
	b.place()
	r.comparisons += 4*len(b.items) + b.len()
	for i := range n {
		lo, hi := yRange(i)
		for s := r.strip(lo); s <= r.strip(hi); s++ {
			b.put(s, int32(i))
		}
	}
}

// cross finds the proper crossings of edges and makes each a hot pixel.
func (r *overlay) cross() {
	most := len(r.points) + maxCrossings
	for s := range r.strips.len() {
		r.swept = r.swept[:0]
		for _, e := range r.strips.of(s) {
			a, b := r.points[r.edges[e].a].x, r.points[r.edges[e].b].x
			r.swept = append(r.swept, xRange{min(a, b), max(a, b), e})
		}
		for i, e := range r.swept {
			if r.tooManyCrossings = len(r.points) > most; r.tooManyCrossings {
				return
			}
			for _, f := range r.swept[i+1:] {
				r.comparisons++
				if f.lo <= e.hi && e.lo <= f.hi {
					r.crossPair(s, min(e.edge, f.edge), max(e.edge, f.edge))
				} else if f.lo > e.hi && len(r.swept) > sortFrom {
					break
				}
			}
		}
	}
}

// sortFrom is how many things a strip may hold before they are sorted by their
// left ends, so that most of them need not be compared.
const sortFrom = 16

func (r *overlay) leftEnd(a, b int32) int32 { return min(r.points[a].x, r.points[b].x) }

func (r *overlay) sortStrips(b *buckets, left func(i int32) int32) {
	for s := range b.len() {
		if in := b.of(s); len(in) > sortFrom {
			slices.SortFunc(in, func(a, b int32) int {
				if l, m := left(a), left(b); l != m {
					return cmp.Compare(l, m)
				}
				return cmp.Compare(a, b)
			})
		}
	}
}

// xRange is an edge, from its left end to its right.
type xRange struct{ lo, hi, edge int32 }

func (r *overlay) crossPair(s int, i, k int32) {
	e, f := r.edges[i], r.edges[k]
	if e.a == f.a || e.a == f.b || e.b == f.a || e.b == f.b {
		return // what touches is dealt with by the hot pixels
	}
	p, q, u, v := r.points[e.a], r.points[e.b], r.points[f.a], r.points[f.b]
	if lo := max(min(p.y, q.y), min(u.y, v.y)); r.strip(lo) != s || lo > min(max(p.y, q.y), max(u.y, v.y)) {
		return // each pair is compared once: in the first strip both touch
	}
	su, sv := side(p, q, u), side(p, q, v)
	if (su >= 0) == (sv >= 0) || su == 0 || sv == 0 {
		return
	}
	sp, sq := side(u, v, p), side(u, v, q)
	if (sp >= 0) == (sq >= 0) || sp == 0 || sq == 0 {
		return
	}
	t := float64(sp) / (float64(sp) - float64(sq))
	id := r.number(point{along(p.x, q.x, t), along(p.y, q.y, t)})
	r.split(i, id) // noted here, since the rounded place may be a hair outside the pixel
	r.split(k, id)
}

func along(a, b int32, t float64) int32 {
	return a + int32(math.Floor(t*float64(b-a)+0.5))
}

// side is positive when c lies left of the line from a to b, 0 when on it.
func side(a, b, c point) int64 {
	return int64(b.x-a.x)*int64(c.y-a.y) - int64(b.y-a.y)*int64(c.x-a.x)
}

// meetPixels notes, for each edge, the hot pixels it passes through.
func (r *overlay) meetPixels() {
	for i, e := range r.edges {
		lo, hi := r.yRange(e)
		a, b := r.points[e.a], r.points[e.b]
		left, right := min(a.x, b.x), max(a.x, b.x)
		for s := r.strip(lo); s <= r.strip(hi); s++ {
			dots := r.dots.of(s)
			sorted := len(dots) > sortFrom
			if sorted {
				from, _ := slices.BinarySearchFunc(dots, left, func(id, x int32) int { return cmp.Compare(r.points[id].x, x) })
				dots = dots[from:]
			}
			r.comparisons++
			for _, id := range dots {
				r.comparisons++
				p := r.points[id]
				if sorted && p.x > right {
					break
				}
				if p.x < left || p.x > right || p.y < lo || p.y > hi || id == e.a || id == e.b {
					continue
				}
				if passes(a, b, p) {
					r.split(int32(i), id)
				}
			}
		}
	}
}

// split leads an edge through a point.
func (r *overlay) split(edge, id int32) {
	a, b, p := r.points[r.edges[edge].a], r.points[r.edges[edge].b], r.points[id]
	along := int64(b.x-a.x)*int64(p.x-a.x) + int64(b.y-a.y)*int64(p.y-a.y)
	r.splits = append(r.splits, split{edge, id, along})
}

// passes reports whether the edge from a to b meets the pixel around p: the
// square of half a step to each side, with its lower and left sides but without
// the others, so that the plane is tiled. The ends are whole, so the edge
// reaches the pixel only if p lies in its box.
func passes(a, b, p point) bool {
	dx, dy := int64(b.x-a.x), int64(b.y-a.y)
	off := 2 * side(a, b, p)
	reach := abs(dx) + abs(dy) // of the square's corners, across the edge
	switch {
	case off < reach && off > -reach:
		return true
	case off == reach:
		return dx > 0 && dy < 0 // it touches the lower left corner only
	case off == -reach:
		return dx < 0 && dy > 0
	}
	return false
}

func abs(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}

// cut leads each edge through its hot pixels and gathers the pieces; pieces
// that lie on each other become one.
func (r *overlay) cut() {
	slices.SortFunc(r.splits, func(s, t split) int {
		switch {
		case s.edge != t.edge:
			return int(s.edge) - int(t.edge)
		case s.along < t.along:
			return -1
		case s.along > t.along:
			return 1
		}
		return int(s.point) - int(t.point)
	})
	r.table.reset(2*len(r.edges) + len(r.splits))
	k := 0
	for i, e := range r.edges {
		from := e.a
		for ; k < len(r.splits) && r.splits[k].edge == int32(i); k++ {
			r.piece(from, r.splits[k].point)
			from = r.splits[k].point
		}
		r.piece(from, e.b)
	}
	r.pieces = slices.DeleteFunc(r.pieces, func(p piece) bool { return p.winding == 0 })
}

func (r *overlay) piece(a, b int32) {
	if a == b {
		return
	}
	a, b, winding := r.upward(a, b)
	at, isNew := r.table.find(a, b, int32(len(r.pieces)))
	if isNew {
		r.pieces = append(r.pieces, piece{a, b, winding})
		return
	}
	r.pieces[at].winding += winding
}

// upward puts the ends of a directed edge in the order of a piece; winding is 1 if
// that is the edge's own direction, else -1.
func (r *overlay) upward(a, b int32) (lower, upper, winding int32) {
	if p, q := r.points[a], r.points[b]; p.y > q.y || p.y == q.y && p.x > q.x {
		return b, a, -1
	}
	return a, b, 1
}
