package mesh

import (
	"cmp"
	"runtime"
	"slices"

	"meshclerk/intake/parallel"
)

// What a side has instead of a mate.
const (
	open        = -1 // no other facet has this edge
	nonManifold = -2 // more than one other facet has it
)

// Edges records which sides of a mesh's facets meet. The side h = 3f+k of facet f
// runs from its corner k to its corner k+1.
type Edges struct {
	Count       int // edges
	Open        int // with one facet
	NonManifold int // with more than two facets: non-manifold
	Flipped     int // with two facets that run the same way along it
	Lopsided    int // with an even number of facets above two, not half of them each way

	tris [][3]int32
	mate []int32
	fans [][]int32 // the sides of each non-manifold edge
}

// Mate returns the side that meets side h in a two-facet edge; ok is false
// where the edge is open or has more than two facets.
func (e *Edges) Mate(h int) (mate int, ok bool) {
	m := e.mate[h]
	return int(m), m >= 0
}

// Fans returns, for each edge with more than two facets, their sides.
func (e *Edges) Fans() [][]int32 { return e.fans }

// ends returns the vertices that side h runs from and to.
func (e *Edges) ends(h int32) (from, to int32) {
	t := &e.tris[h/3]
	k := h % 3
	return t[k], t[next3[k]]
}

var next3 = [3]int32{1, 2, 0}

// of reports whether the edges are those of m. Meshes that share their facets
// share their edges.
func (e *Edges) of(m *Mesh) bool {
	return e != nil && len(e.tris) == len(m.Triangles) && len(e.tris) > 0 && &e.tris[0] == &m.Triangles[0]
}

// FindEdges pairs the sides of a mesh's facets. It takes time proportional to
// the facets, and a logarithm more where one vertex has very many.
func FindEdges(m *Mesh) *Edges {
	e := &Edges{tris: m.Triangles, mate: make([]int32, 3*len(m.Triangles))}
	parts := max(1, min(runtime.GOMAXPROCS(0), 4, len(m.Triangles)/20_000))
	found := make([]Edges, parts)
	parallel.Do(parts, func(p int) {
		b := bucketed(m.Triangles, int32(len(m.Vertices)*p/parts), int32(len(m.Vertices)*(p+1)/parts))
		found[p] = Edges{tris: e.tris, mate: e.mate}
		b.pair(&found[p])
	})
	for _, f := range found {
		e.Count += f.Count
		e.Open += f.Open
		e.NonManifold += f.NonManifold
		e.Flipped += f.Flipped
		e.Lopsided += f.Lopsided
		e.fans = append(e.fans, f.fans...)
	}
	return e
}

// sideRef is a side in the bucket of its lower vertex.
type sideRef struct{ other, side int32 }

// buckets holds the sides whose lower vertex is in a range, sorted by it.
type buckets struct {
	start []int32
	refs  []sideRef
}

func bucketed(tris [][3]int32, lo, hi int32) buckets {
	start := make([]int32, hi-lo+2)
	span := uint32(hi - lo)
	for i := range tris {
		t := &tris[i]
		for k := range 3 {
			if at := uint32(min(t[k], t[next3[k]]) - lo); at < span {
				start[at+2]++
			}
		}
	}
	for i := 2; i < len(start); i++ {
		start[i] += start[i-1]
	}
	refs := make([]sideRef, start[len(start)-1])
	for i := range tris {
		t := &tris[i]
		for k := range 3 {
			a, b := t[k], t[next3[k]]
			if at := uint32(min(a, b) - lo); at < span {
				refs[start[at+1]] = sideRef{max(a, b), int32(3*i + k)}
				start[at+1]++
			}
		}
	}
	return buckets{start[:hi-lo+1], refs}
}

// pair sets the mates of the sides in the buckets and counts their edges.
func (b buckets) pair(e *Edges) {
	for i := range len(b.start) - 1 {
		refs := b.refs[b.start[i]:b.start[i+1]]
		if len(refs) > 24 {
			slices.SortFunc(refs, func(a, b sideRef) int {
				return cmp.Or(cmp.Compare(a.other, b.other), cmp.Compare(a.side, b.side))
			})
		} else {
			sortFew(refs)
		}
		for len(refs) > 0 {
			n := 1
			for n < len(refs) && refs[n].other == refs[0].other {
				n++
			}
			e.meet(refs[:n])
			refs = refs[n:]
		}
	}
}

// sortFew is an insertion sort by the other vertex that keeps the order of sides.
func sortFew(refs []sideRef) {
	for i := 1; i < len(refs); i++ {
		r := refs[i]
		j := i
		for ; j > 0 && refs[j-1].other > r.other; j-- {
			refs[j] = refs[j-1]
		}
		refs[j] = r
	}
}

// meet records one edge, given all its sides.
func (e *Edges) meet(sides []sideRef) {
	e.Count++
	switch len(sides) {
	case 1:
		e.Open++
		e.mate[sides[0].side] = open
	case 2:
		a, b := sides[0].side, sides[1].side
		e.mate[a], e.mate[b] = b, a
		if e.forward(a) == e.forward(b) {
			e.Flipped++
		}
	default:
		e.meetMany(sides)
	}
}

func (e *Edges) meetMany(sides []sideRef) {
	e.NonManifold++
	fan := make([]int32, len(sides))
	forward := 0
	for i, s := range sides {
		fan[i] = s.side
		e.mate[s.side] = nonManifold
		if e.forward(s.side) {
			forward++
		}
	}
	if len(sides)%2 == 0 && 2*forward != len(sides) {
		e.Lopsided++
	}
	e.fans = append(e.fans, fan)
}

// forward reports whether a side runs from its lower to its higher vertex.
func (e *Edges) forward(h int32) bool {
	from, to := e.ends(h)
	return from < to
}
