package slice

import (
	"cmp"
	"context"
	"math"
	"slices"

	"meshclerk/intake/budget"
	"meshclerk/intake/mesh"
)

// mendCost is what looking at a facet costs in units of work, turning it included.
const mendCost = 10

// mend turns facets so that the winding number separates inside from outside as a
// person would: the facets of a body agree with each other, and a body whose
// inside is out counts as a body. Two bodies of opposite winding would otherwise
// cancel where they overlap. A body inside another stays as it is: wound
// against it, it is a void; wound with it, it only makes solid what is solid.
func (p *part) mend(ctx context.Context) error {
	budget.From(ctx).Spend(mendCost * len(p.triangles))
	if p.closed = p.balanced(); !p.closed {
		p.agree()
		p.closed = p.balanced()
	}
	b := p.bodies()
	var wrong, right []int32
	for k, v := range b.volume {
		if v < 0 {
			wrong = append(wrong, int32(k))
		} else {
			right = append(right, int32(k))
		}
	}
	if len(right) == 0 && len(wrong) > 0 { // all inside out: the region is right either way, but not which faces look down
		p.turn(func(int) bool { return true })
	}
	if len(wrong) == 0 || len(right) == 0 {
		return ctx.Err()
	}
	rightly := func(k int32) bool { return b.volume[k] >= 0 }
	turn := make([]bool, len(b.volume))
	meter := budget.From(ctx)
	defer func() { meter.Spend(b.comparisons) }()
	for i, out := range b.outside(p, wrong, rightly) {
		turn[wrong[i]] = out // inside out, not a void
	}
	inTurned, inRight := b.outside(p, right, func(k int32) bool { return turn[k] }), b.outside(p, right, rightly)
	for i, k := range right {
		turn[k] = !inTurned[i] && inRight[i] // drawn as the void of a body that is inside out
	}
	p.turn(func(f int) bool { return turn[b.of[p.triangles[f][0]]] })
	return ctx.Err()
}

// balanced reports whether every edge is run as often one way as the other, by a
// sum that is zero if so, and almost never otherwise.
func (p *part) balanced() bool {
	sum := uint64(0)
	for _, t := range p.triangles {
		sum += signedHash(t[0], t[1]) + signedHash(t[1], t[2]) + signedHash(t[2], t[0])
	}
	return sum == 0
}

// signedHash of u, v is the negative of that of v, u.
func signedHash(u, v int32) uint64 {
	h := edgeKey(u, v) * 0x9E3779B97F4A7C15
	h ^= h >> 29
	h *= 0xBF58476D1CE4E5B9 // two rounds of splitmix64
	h ^= h >> 32
	if u > v {
		return -h
	}
	return h
}

// turn reverses facets, in a copy: the mesh is not ours.
func (p *part) turn(which func(f int) bool) {
	p.triangles = slices.Clone(p.triangles)
	for f, t := range p.triangles {
		if which(f) {
			p.triangles[f] = [3]int32{t[0], t[2], t[1]}
		}
	}
}

// agree turns facets so that neighbours run their common edge opposite ways,
// as the most of each patch do. Nothing is concluded across an edge with more
// than two facets.
func (p *part) agree() {
	edges := mesh.FindEdges(&mesh.Mesh{Vertices: p.vertices, Triangles: p.triangles})
	if edges.Flipped == 0 {
		return // holes only
	}
	forward := func(h int) bool { return p.triangles[h/3][h%3] < p.triangles[h/3][(h+1)%3] }
	turned, seen := make([]bool, len(p.triangles)), make([]bool, len(p.triangles))
	for f := range p.triangles {
		if seen[f] {
			continue
		}
		seen[f] = true
		patch, against := []int{f}, 0
		for i := 0; i < len(patch); i++ {
			g := patch[i]
			for h := 3 * g; h < 3*g+3; h++ {
				m, ok := edges.Mate(h)
				if !ok || seen[m/3] {
					continue
				}
				seen[m/3] = true
				turned[m/3] = turned[g] != (forward(h) == forward(m))
				if turned[m/3] {
					against++
				}
				patch = append(patch, m/3)
			}
		}
		if 2*against > len(patch) {
			for _, g := range patch {
				turned[g] = !turned[g]
			}
		}
	}
	p.turn(func(f int) bool { return turned[f] })
}

// bodies are the parts of the surface that share no vertex with each other.
type bodies struct {
	of          []int32 // by vertex
	volume      []float64
	tips        [][6]mesh.Vec // the vertices of each that lie outermost along x, y and z
	comparisons int           // made by outside
}

func (p *part) bodies() *bodies {
	root := make([]int32, len(p.vertices))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(v int32) int32 {
		for root[v] != v {
			root[v] = root[root[v]]
			v = root[v]
		}
		return v
	}
	for _, t := range p.triangles {
		a := find(t[0])
		for _, v := range t[1:] {
			if b := find(v); b < a {
				root[a] = b
				a = b
			} else {
				root[b] = a
			}
		}
	}
	b := &bodies{of: root}
	for v := range root { // a root comes before what it is the root of
		if root[v] == int32(v) {
			root[v] = int32(len(b.volume))
			b.volume = append(b.volume, 0)
			q := p.vertices[v]
			b.tips = append(b.tips, [6]mesh.Vec{q, q, q, q, q, q})
		} else {
			root[v] = root[root[v]]
		}
		b.stretch(root[v], p.vertices[v])
	}
	for _, t := range p.triangles {
		k := b.of[t[0]]
		o := b.tips[k][0]
		u, v, w := p.vertices[t[0]].Sub(o), p.vertices[t[1]].Sub(o), p.vertices[t[2]].Sub(o)
		b.volume[k] += u.Dot(v.Cross(w)) / 6
	}
	return b
}

// stretch takes a vertex into the tips of a body.
func (b *bodies) stretch(k int32, v mesh.Vec) {
	tips := &b.tips[k]
	for axis := range 3 {
		if v[axis] < tips[2*axis][axis] {
			tips[2*axis] = v
		}
		if v[axis] > tips[2*axis+1][axis] {
			tips[2*axis+1] = v
		}
	}
}

// tip is one of a body's outermost vertices.
type tip struct {
	at      mesh.Vec
	body    int // place in the list of bodies asked about
	winding int
}

// manyLooks is how often a vertex is held against a facet: as often as takes a
// good second.
const maxComparisons = 30_000_000

// outside reports of some bodies whether any of their outermost vertices lies
// outside all the other bodies that count: by the winding number there, along a
// ray straight down. Among very many large bodies it gives up, and reports none.
func (b *bodies) outside(p *part, some []int32, counts func(body int32) bool) []bool {
	var tips []tip
	for i, k := range some {
		for _, v := range b.tips[k] {
			tips = append(tips, tip{at: v, body: i})
		}
	}
	slices.SortFunc(tips, func(a, b tip) int { return cmp.Compare(a.at[0], b.at[0]) })
	comparisons := 0
	defer func() { b.comparisons += comparisons }()
	for _, t := range p.triangles {
		own := b.of[t[0]]
		if !counts(own) {
			continue
		}
		if comparisons > maxComparisons {
			return make([]bool, len(some))
		}
		u, v, w := p.vertices[t[0]], p.vertices[t[1]], p.vertices[t[2]]
		lo, hi := min(u[0], v[0], w[0]), max(u[0], v[0], w[0])
		front, back := min(u[1], v[1], w[1])-hair, max(u[1], v[1], w[1])+hair
		i, _ := slices.BinarySearchFunc(tips, lo, func(t tip, x float64) int { return cmp.Compare(t.at[0], x) })
		for ; i < len(tips) && tips[i].at[0] <= hi; i++ {
			comparisons++
			if y := tips[i].at[1]; some[tips[i].body] != own && y >= front && y <= back {
				tips[i].winding += below(tips[i].at, u, v, w)
			}
		}
	}
	out := make([]bool, len(some))
	for _, t := range tips {
		out[t.body] = out[t.body] || t.winding == 0
	}
	return out
}

// hair is how far rays are set aside, so that they meet no vertex or edge of a regular part, mm.
const hair = 3.0123e-7

// below is 1 if a facet lies under a point and faces down, -1 if it faces up, 0
// if it is not under it.
func below(q, a, b, c mesh.Vec) int {
	x, y := q[0]+0.4*hair, q[1]+0.9*hair
	n := b.Sub(a).Cross(c.Sub(a))
	if n[2] == 0 {
		return 0
	}
	s := math.Copysign(1, n[2])
	for _, e := range [3][2]mesh.Vec{{a, b}, {b, c}, {c, a}} {
		u, v := e[0], e[1]
		if s*((v[0]-u[0])*(y-u[1])-(v[1]-u[1])*(x-u[0])) < 0 {
			return 0
		}
	}
	if z := a[2] - (n[0]*(x-a[0])+n[1]*(y-a[1]))/n[2]; z > q[2] {
		return 0
	}
	return -int(s)
}
