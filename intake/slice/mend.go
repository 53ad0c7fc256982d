package slice

import (
	"context"
	"math"
	"slices"

	"meshclerk/intake/mesh"
)

// mend turns facets so that the winding number tells inside from outside as a
// person would: the facets of a body agree with each other, and a body whose
// inside is out counts as a body. Two bodies of opposite winding would otherwise
// cancel where they overlap. A body inside another stays as it is: wound
// against it, it is a void; wound with it, it only makes solid what is solid.
func (p *part) mend(ctx context.Context) error {
	if !p.balanced() {
		p.agree()
	}
	bodies := p.bodies()
	var wrong []int32
	right := false
	for b, v := range bodies.volume {
		if v < 0 {
			wrong = append(wrong, int32(b))
		}
		right = right || v > 0
	}
	if len(wrong) == 0 || !right {
		return ctx.Err()
	}
	loose := bodies.outsideOthers(p, wrong)
	turn := make([]bool, len(bodies.volume))
	for _, b := range loose {
		turn[b] = true
	}
	p.turn(func(f int) bool { return turn[bodies.of[p.triangles[f][0]]] })
	return ctx.Err()
}

// balanced tells whether every edge is run as often one way as the other, by a
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
	of     []int32 // by vertex
	volume []float64
	low    []mesh.Vec // the lowest vertex of each
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
			b.low = append(b.low, p.vertices[v])
		} else {
			root[v] = root[root[v]]
		}
		if k := root[v]; p.vertices[v][2] < b.low[k][2] {
			b.low[k] = p.vertices[v]
		}
	}
	for _, t := range p.triangles {
		k := b.of[t[0]]
		o := b.low[k]
		u, v, w := p.vertices[t[0]].Sub(o), p.vertices[t[1]].Sub(o), p.vertices[t[2]].Sub(o)
		b.volume[k] += u.Dot(v.Cross(w)) / 6
	}
	return b
}

// outsideOthers keeps those of some bodies whose lowest point is outside every
// rightly wound body: the winding number there, by a ray straight down.
func (b *bodies) outsideOthers(p *part, some []int32) []int32 {
	some = slices.Clone(some)
	slices.SortFunc(some, func(i, k int32) int {
		switch x, y := b.low[i][0], b.low[k][0]; {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	winding := make([]int, len(some))
	for _, t := range p.triangles {
		if b.volume[b.of[t[0]]] < 0 {
			continue
		}
		u, v, w := p.vertices[t[0]], p.vertices[t[1]], p.vertices[t[2]]
		lo, hi := min(u[0], v[0], w[0]), max(u[0], v[0], w[0])
		i, _ := slices.BinarySearchFunc(some, lo, func(k int32, x float64) int {
			if b.low[k][0] < x {
				return -1
			}
			return 1
		})
		for ; i < len(some) && b.low[some[i]][0] <= hi; i++ {
			winding[i] += below(b.low[some[i]], u, v, w)
		}
	}
	var out []int32
	for i, k := range some {
		if winding[i] == 0 {
			out = append(out, k)
		}
	}
	return out
}

// below is 1 if a facet lies under a point and faces down, -1 if it faces up, 0
// if it is not under it.
func below(q, a, b, c mesh.Vec) int {
	// A hair aside, so that the ray meets no vertex or edge of a regular part.
	x, y := q[0]+1.234567e-7, q[1]+2.718281e-7
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
