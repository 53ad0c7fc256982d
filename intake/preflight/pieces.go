package preflight

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/mesh"
)

// pieces joins bodies that cross, touch or hold one another: what comes off the
// printer as one piece.
type pieces struct {
	of    []int // by shell
	count int
}

// touching is how near two bodies may come and still print as one, mm. Practice.
const touching = 0.02

// findPieces joins shells; touches are pairs of shells that were found to touch.
func findPieces(topo *mesh.Topology, touches [][2]int) pieces {
	parent := make([]int, len(topo.Shells))
	for i := range parent {
		parent[i] = i
	}
	find := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	join := func(a, b int) {
		a, b = find(a), find(b)
		parent[max(a, b)] = min(a, b)
	}
	for _, c := range topo.Crossings {
		join(int(topo.ShellOf[c.A]), int(topo.ShellOf[c.B]))
	}
	for _, t := range touches {
		join(t[0], t[1])
	}
	for i, s := range topo.Shells {
		if s.Inside >= 0 && (s.Void || !topo.Shells[s.Inside].Void) {
			join(i, s.Inside) // a void belongs to its body; a body within the plastic of another is part of it
		}
	}
	ps := pieces{of: make([]int, len(parent))}
	number := map[int]int{}
	for i := range parent {
		root := find(i)
		if _, ok := number[root]; !ok {
			number[root] = len(number)
		}
		ps.of[i] = number[root]
	}
	ps.count = len(number)
	return ps
}

func (p *part) pieceOf(facet int) int { return p.pieces.of[p.topo.ShellOf[facet]] }

func (p *part) inVoid(facet int) bool { return p.topo.Shells[p.topo.ShellOf[facet]].Void }

// component is one piece as it stands.
type component struct {
	piece   int
	low     float64 // above the plate, mm
	high    float64
	volume  float64
	bodies  int
	corners []mesh.Vec // some, enough for its hull
}

// components measures the pieces in a way up, the largest first.
func (p *part) components(s orientation) []component {
	n := p.pieces.count
	out := make([]component, n)
	for i := range out {
		out[i] = component{piece: i, low: math.Inf(1), high: math.Inf(-1)}
	}
	for i, sh := range p.topo.Shells {
		l := &out[p.pieces.of[i]]
		if !sh.Void {
			l.volume += math.Abs(sh.Volume)
		}
		if sh.Outer {
			l.bodies++
		}
	}
	if n == 1 {
		out[0].low, out[0].high, out[0].corners = 0, s.high-s.low, p.corner
		return out
	}
	seen := make([]bool, len(p.m.Vertices))
	clouds := make([][]mesh.Vec, n)
	for f, t := range p.m.Triangles {
		l := &out[p.pieceOf(f)]
		for _, v := range t {
			if seen[v] {
				continue
			}
			seen[v] = true
			h := s.height(p.m.Vertices[v])
			l.low, l.high = min(l.low, h), max(l.high, h)
			clouds[l.piece] = append(clouds[l.piece], p.m.Vertices[v])
		}
	}
	for i, c := range clouds {
		out[i].corners, _ = hullOf(c)
	}
	slices.SortStableFunc(out, func(a, b component) int { return cmp.Compare(b.volume, a.volume) })
	return out
}

func boxOf(points []mesh.Vec) mesh.Box { return (&mesh.Mesh{Vertices: points}).Bounds() }

// middle is the middle of the component's box.
func (c component) middle() mesh.Vec {
	b := boxOf(c.corners)
	return b.Min.Add(b.Max).Mul(0.5)
}
