package mesh

import (
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
)

// soup gathers facets and welds their corners as they come: corners with the
// same three single-precision numbers are one vertex. Vertices are numbered in
// the order of their first corner, whatever the hash.
type soup struct {
	limit float32 // largest absolute coordinate
	verts [][3]float32
	tris  [][3]int32

	facets     int // appended so far
	degenerate int // of them, with a corner twice: not in tris
	bad        error

	promised  uint32 // binary: facets that the header promises but the file does not hold
	table     []slot
	seed      [2]uint64
	firstName int // number of the first facet, for messages
}

type slot struct {
	hash uint32
	id   int32 // of the vertex, plus one; 0 is an empty slot
}

func newSoup(facets int, lim Limits) *soup {
	s := &soup{
		limit: float32(lim.CoordinateMM),
		verts: make([][3]float32, 0, facets/2+8),
		tris:  make([][3]int32, 0, facets),
		seed:  [2]uint64{rand.Uint64(), rand.Uint64()},
	}
	s.table = make([]slot, 1<<bits.Len(uint(facets+64)))
	return s
}

// add appends a facet. The first that cannot be sets s.bad and stays out.
func (s *soup) add(facet [3][3]float32) {
	s.facets++
	var t [3]int32
	for i, p := range facet {
		for k, v := range p {
			if !(v <= s.limit && v >= -s.limit) {
				s.refuse(v)
				return
			}
			if v == 0 {
				p[k] = 0 // minus zero is zero
			}
		}
		t[i] = s.vertex(p)
	}
	if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
		s.degenerate++
		return
	}
	s.tris = append(s.tris, t)
}

func (s *soup) refuse(v float32) {
	if s.bad != nil {
		return
	}
	n := s.firstName + s.facets
	switch f := float64(v); {
	case math.IsNaN(f):
		s.bad = unreadable("the file is damaged: facet %d has a coordinate that is not a number (NaN)", n)
	case math.IsInf(f, 0):
		s.bad = unreadable("the file is damaged: facet %d has an infinite coordinate", n)
	default:
		s.bad = unreadable("facet %d has a coordinate of %.3g mm, and nothing beyond %.3g mm makes sense for a print", n, v, s.limit)
	}
}

// vertex returns the number of the vertex at p, a new one if none was there.
func (s *soup) vertex(p [3]float32) int32 {
	h := s.hash(p)
	mask := uint32(len(s.table) - 1)
	for i := h & mask; ; i = (i + 1) & mask {
		e := s.table[i]
		if e.id == 0 {
			s.verts = append(s.verts, p)
			id := int32(len(s.verts))
			s.table[i] = slot{h, id}
			if len(s.verts)*3 > len(s.table)*2 {
				s.grow()
			}
			return id - 1
		}
		if e.hash == h && s.verts[e.id-1] == p {
			return e.id - 1
		}
	}
}

// hash is seeded, so that no file can be made to fill one slot.
func (s *soup) hash(p [3]float32) uint32 {
	xy := uint64(math.Float32bits(p[0])) | uint64(math.Float32bits(p[1]))<<32
	hi, lo := bits.Mul64(xy^s.seed[0], uint64(math.Float32bits(p[2]))^s.seed[1])
	hi, lo = bits.Mul64(hi^lo^s.seed[1], 0x9E3779B97F4A7C15)
	return uint32(hi ^ lo)
}

func (s *soup) grow() {
	old := s.table
	s.table = make([]slot, 2*len(old))
	mask := uint32(len(s.table) - 1)
	for _, e := range old {
		if e.id == 0 {
			continue
		}
		i := e.hash & mask
		for s.table[i].id != 0 {
			i = (i + 1) & mask
		}
		s.table[i] = e
	}
}

// join appends the facets of o, which come after those of s in the file.
func (s *soup) join(o *soup) {
	if s.bad == nil {
		s.bad = o.bad
	}
	s.facets += o.facets
	s.degenerate += o.degenerate
	to := make([]int32, len(o.verts))
	for i, p := range o.verts {
		to[i] = s.vertex(p)
	}
	n := len(s.tris)
	s.tris = append(s.tris, o.tris...)
	for i, t := range s.tris[n:] {
		s.tris[n+i] = [3]int32{to[t[0]], to[t[1]], to[t[2]]}
	}
}

// mesh gives the soup's mesh, and lets go of what only reading needed.
func (s *soup) mesh() *Mesh {
	m := &Mesh{Vertices: make([]Vec, len(s.verts)), Triangles: s.tris}
	for i, p := range s.verts {
		m.Vertices[i] = Vec{float64(p[0]), float64(p[1]), float64(p[2])}
	}
	s.table, s.verts, s.tris = nil, nil, nil
	if s.degenerate > 0 {
		m = m.compact()
	}
	return m
}

// compact returns the mesh without the vertices that no facet uses.
func (m *Mesh) compact() *Mesh {
	to := make([]int32, len(m.Vertices))
	for _, t := range m.Triangles {
		to[t[0]], to[t[1]], to[t[2]] = 1, 1, 1
	}
	used := make([]Vec, 0, len(m.Vertices))
	for i, v := range m.Vertices {
		if to[i] != 0 {
			to[i] = int32(len(used))
			used = append(used, v)
		}
	}
	if len(used) == len(m.Vertices) {
		return m
	}
	out := &Mesh{Vertices: used, Triangles: make([][3]int32, len(m.Triangles))}
	for i, t := range m.Triangles {
		out.Triangles[i] = [3]int32{to[t[0]], to[t[1]], to[t[2]]}
	}
	return out
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
