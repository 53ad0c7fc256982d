package mesh

import (
	"cmp"
	"context"
	"slices"
)

// settle turns a welded mesh into a clean one and finds its edges.
func settle(ctx context.Context, m *Mesh, slivers []int32, facts *Facts) (*Mesh, error) {
	e := FindEdges(m)
	m, e, facts.Duplicate = dropRepeats(m, e)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(slivers) > 0 {
		n := len(m.Triangles)
		if facts.Duplicate > 0 {
			slivers = findSlivers(m)
		}
		m, e = dropSlivers(m, e, slivers)
		dropped := n - len(m.Triangles)
		facts.Degenerate += dropped
		facts.Slivers = len(slivers) - dropped
	}
	if e.Open > 0 {
		var err error
		if m, e, err = weldNear(ctx, m, e, facts); err != nil {
			return nil, err
		}
	}
	facts.edges = e
	return m, ctx.Err()
}

// without returns the mesh without the facets that drop names, and its edges.
func (m *Mesh) without(drop []int32) (*Mesh, *Edges) {
	gone := make([]bool, len(m.Triangles))
	for _, f := range drop {
		gone[f] = true
	}
	kept := &Mesh{Vertices: m.Vertices, Triangles: make([][3]int32, 0, len(m.Triangles)-len(drop))}
	for f, t := range m.Triangles {
		if !gone[f] {
			kept.Triangles = append(kept.Triangles, t)
		}
	}
	kept = kept.compact()
	return kept, FindEdges(kept)
}

// repeat is a facet that may have the same corners as another: its corners in
// rising order, and whether that order is its winding.
type repeat struct {
	key   [3]int32
	facet int32
	even  bool
}

func newRepeat(t [3]int32, f int32) repeat {
	r := repeat{key: t, facet: f, even: true}
	for _, p := range [3][2]int{{0, 1}, {1, 2}, {0, 1}} {
		if r.key[p[0]] > r.key[p[1]] {
			r.key[p[0]], r.key[p[1]] = r.key[p[1]], r.key[p[0]]
			r.even = !r.even
		}
	}
	return r
}

// dropRepeats removes facets that have the same corners as another one and
// counts all but one of each such group. Of facets wound the same way one
// stays. Of two back to back, both stay where they are a wall between two
// bodies; one stays where the surface around them is single, or where all of it
// is doubled, as programs do that draw both sides.
func dropRepeats(m *Mesh, e *Edges) (*Mesh, *Edges, int) {
	drop, pairs, count := findRepeats(e)
	drop = append(drop, judgePairs(e, pairs, drop)...)
	if len(drop) == 0 {
		return m, e, count
	}
	m, e = m.without(drop)
	return m, e, count
}

// findRepeats lists the facets to be dropped because others have their corners
// and winding, the pairs back to back that then remain, and the number of facets
// beyond the first in each group with the same corners.
func findRepeats(e *Edges) (drop []int32, pairs [][2]int32, count int) {
	all := suspects(e)
	slices.SortFunc(all, func(a, b repeat) int {
		return cmp.Or(slices.Compare(a.key[:], b.key[:]), cmp.Compare(a.facet, b.facet))
	})
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].key == all[0].key {
			n++
		}
		count += n - 1
		out, pair := judge(all[:n])
		drop = append(drop, out...)
		if pair[0] != pair[1] {
			pairs = append(pairs, pair)
		}
		all = all[n:]
	}
	return drop, pairs, count
}

// backToBack lists the pairs of facets with the same corners and opposite winding.
func backToBack(e *Edges) [][2]int32 {
	_, pairs, _ := findRepeats(e)
	return pairs
}

// suspects lists the facets on non-manifold edges, and those that share all their
// edges with one other facet. No others can be repeats.
func suspects(e *Edges) []repeat {
	var out []repeat
	seen := map[int32]bool{}
	add := func(f int32) {
		if !seen[f] {
			seen[f] = true
			out = append(out, newRepeat(e.tris[f], f))
		}
	}
	for _, fan := range e.fans {
		for _, h := range fan {
			add(h / 3)
		}
	}
	for h := 0; h < len(e.mate); h += 3 {
		a, b, c := e.mate[h], e.mate[h+1], e.mate[h+2]
		if a >= 0 && b >= 0 && c >= 0 && a/3 == b/3 && b/3 == c/3 {
			add(int32(h / 3))
		}
	}
	return out
}

// judge says which facets of a group go, and which two are left back to back.
func judge(group []repeat) (drop []int32, pair [2]int32) {
	first, n := [2]int32{-1, -1}, [2]int{}
	side := func(r repeat) int {
		if r.even {
			return 0
		}
		return 1
	}
	for _, r := range group {
		w := side(r)
		if n[w] == 0 {
			first[w] = r.facet
		}
		n[w]++
	}
	keep := first
	switch {
	case n[0] > n[1]:
		keep[1] = -1
	case n[1] > n[0]:
		keep[0] = -1
	}
	for _, r := range group {
		if keep[side(r)] != r.facet {
			drop = append(drop, r.facet)
		}
	}
	if n[0] == n[1] {
		pair = [2]int32{min(first[0], first[1]), max(first[0], first[1])}
	}
	return drop, pair
}

// region is the evidence around connected pairs of facets back to back.
type region struct {
	single, wall  int // border edges with an odd and an even number of further facets
	first, second int // of the odd ones, those that the pair's first or second facet continues
}

// judgePairs decides region by region which of the facets back to back go.
func judgePairs(e *Edges, pairs [][2]int32, dropped []int32) []int32 {
	if len(pairs) == 0 {
		return nil
	}
	around := newPairBorder(e, pairs, dropped)
	sets := newSets(len(pairs))
	around.each(func(p, q int32, _ []int32) {
		if q >= 0 {
			sets.union(p, q)
		}
	})
	evidence := make([]region, len(pairs))
	around.each(func(p, q int32, others []int32) {
		if q < 0 {
			evidence[sets.find(p)].weigh(e, around.side, others)
		}
	})
	var drop []int32
	for i, p := range pairs {
		switch r := evidence[sets.find(int32(i))]; {
		case r.wall > r.single:
		case r.second > r.first:
			drop = append(drop, p[0])
		default:
			drop = append(drop, p[1])
		}
	}
	return drop
}

func (r *region) weigh(e *Edges, side int32, others []int32) {
	if len(others)%2 == 0 {
		r.wall++
		return
	}
	r.single++
	if e.forward(side) == e.forward(others[0]) {
		r.second++
	} else {
		r.first++
	}
}

// pairBorder walks the edges of facets back to back.
type pairBorder struct {
	e      *Edges
	pairs  [][2]int32
	pairOf map[int32]int32
	gone   map[int32]bool
	fanOf  map[int32]int32
	side   int32 // of the pair's first facet, at the edge being shown
}

func newPairBorder(e *Edges, pairs [][2]int32, dropped []int32) *pairBorder {
	b := &pairBorder{e: e, pairs: pairs, pairOf: map[int32]int32{}, gone: map[int32]bool{}, fanOf: map[int32]int32{}}
	for i, p := range pairs {
		b.pairOf[p[0]], b.pairOf[p[1]] = int32(i), int32(i)
	}
	for _, f := range dropped {
		b.gone[f] = true
	}
	for i, fan := range e.fans {
		for _, h := range fan {
			b.fanOf[h] = int32(i)
		}
	}
	return b
}

// each calls f for every other pair q at an edge of pair p, and once with q < 0
// for each edge that also has facets of no pair.
func (b *pairBorder) each(f func(p, q int32, others []int32)) {
	var others []int32
	for p, pair := range b.pairs {
		for k := range int32(3) {
			b.side = 3*pair[0] + k
			fan, ok := b.fanOf[b.side]
			if !ok {
				continue
			}
			others = others[:0]
			for _, h := range b.e.fans[fan] {
				q, paired := b.pairOf[h/3]
				switch {
				case b.gone[h/3]:
				case !paired:
					others = append(others, h)
				case int(q) != p:
					f(int32(p), q, nil)
				}
			}
			if len(others) > 0 {
				f(int32(p), -1, others)
			}
		}
	}
}

// findSlivers lists the facets of a mesh just read whose corners lie on a line.
func findSlivers(m *Mesh) (found []int32) {
	for f := range m.Triangles {
		a, b, c := m.Corners(f)
		if onLine(exactly(a), exactly(b), exactly(c)) {
			found = append(found, int32(f))
		}
	}
	return found
}

func exactly(v Vec) point { return point{float32(v[0]), float32(v[1]), float32(v[2])} }

// dropSlivers removes the slivers that the surface is better without. One that
// closes the gap between a long edge and the two short ones along it stays.
func dropSlivers(m *Mesh, e *Edges, slivers []int32) (*Mesh, *Edges) {
	facets := map[[2]int32]int{}
	count := func(h int32) ([2]int32, int) {
		a, b := e.ends(h)
		key := [2]int32{min(a, b), max(a, b)}
		if n, ok := facets[key]; ok {
			return key, n
		}
		return key, e.facetsAt(h)
	}
	for _, fan := range e.fans {
		key, _ := count(fan[0])
		facets[key] = len(fan)
	}
	var drop []int32
	for range 8 { // slivers beside slivers, a few deep
		kept := slivers[:0:0]
		for _, f := range slivers {
			gain := 0
			for k := range int32(3) {
				_, n := count(3*f + k)
				gain += defect(n) - defect(n-1)
			}
			if gain <= 0 {
				kept = append(kept, f)
				continue
			}
			drop = append(drop, f)
			for k := range int32(3) {
				key, n := count(3*f + k)
				facets[key] = n - 1
			}
		}
		if len(kept) == len(slivers) {
			break
		}
		slivers = kept
	}
	if len(drop) == 0 {
		return m, e
	}
	return m.without(drop)
}

func (e *Edges) facetsAt(h int32) int {
	if e.mate[h] == open {
		return 1
	}
	return 2 // non-manifold edges are counted before
}

// defect reports whether an edge with n facets is a flaw of the surface.
func defect(n int) int {
	if n == 0 || n == 2 {
		return 0
	}
	return 1
}
