package mesh

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"strconv"

	"meshclerk/intake/job"
)

// point is a corner as the file has it. (A struct, since the compiler keeps
// those in registers, and arrays in memory.)
type point struct{ x, y, z float32 }

// soup gathers facets and welds their corners as they come: corners with the
// same three single-precision numbers are one vertex. Vertices are numbered in
// the order of their first corner, whatever the hash.
type soup struct {
	limit   float32 // largest absolute coordinate
	verts   []point
	tris    [][3]int32
	slivers []int32 // of tris, with three different corners on a line

	facets     int // appended so far
	degenerate int // of them, with a corner twice: not in tris
	before     int // facets of the file that come before this soup, for messages
	bad        error

	promised uint32 // binary: the header's count
	table    []slot
	seed     [2]uint64
	last     [3]point // corners of the last facet and their vertices: the next
	lastTri  [3]int32 // facet often shares two of them
}

type slot struct {
	hash uint32
	id   int32 // of the vertex, plus one; 0 is an empty slot
}

// newSoup makes a soup for about the given number of facets, with room for the
// facets of others to be joined to it.
func newSoup(facets, room int, lim Limits) *soup {
	nan := float32(math.NaN())
	never := point{nan, nan, nan}
	return &soup{
		limit: float32(lim.CoordinateMM),
		verts: make([]point, 0, room/2+8),
		tris:  make([][3]int32, 0, room),
		table: make([]slot, 1<<bits.Len(uint(facets+64))),
		seed:  [2]uint64{rand.Uint64(), rand.Uint64()},
		last:  [3]point{never, never, never},
	}
}

// add appends a facet. The first that cannot be sets s.bad and stays out.
func (s *soup) add(a, b, c point) {
	s.facets++
	if !s.within(a) || !s.within(b) || !s.within(c) {
		return
	}
	t := [3]int32{s.corner(a), s.corner(b), s.corner(c)}
	s.last, s.lastTri = [3]point{a, b, c}, t
	if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
		s.degenerate++
		return
	}
	if onLine(a, b, c) {
		s.slivers = append(s.slivers, int32(len(s.tris)))
	}
	s.tris = append(s.tris, t)
}

// onLine reports whether three points lie on a line. The products of differences of
// single-precision numbers are exact in double precision, so the test is.
func onLine(a, b, c point) bool {
	ux, uy, uz := float64(b.x)-float64(a.x), float64(b.y)-float64(a.y), float64(b.z)-float64(a.z)
	vx, vy, vz := float64(c.x)-float64(a.x), float64(c.y)-float64(a.y), float64(c.z)-float64(a.z)
	return float64(ux*vy) == float64(uy*vx) && float64(uy*vz) == float64(uz*vy) && float64(uz*vx) == float64(ux*vz)
}

func (s *soup) within(p point) bool {
	l := s.limit
	if p.x <= l && p.x >= -l && p.y <= l && p.y >= -l && p.z <= l && p.z >= -l {
		return true
	}
	s.refuse(p)
	return false
}

func (s *soup) refuse(p point) {
	if s.bad != nil {
		return
	}
	n := s.before + s.facets
	most := 0.0
	for _, v := range [3]float32{p.x, p.y, p.z} {
		switch f := math.Abs(float64(v)); {
		case math.IsNaN(f):
			s.bad = unreadable(job.Say("findings.unread.facet-nan", job.Args{"facet": n}))
			return
		case math.IsInf(f, 0):
			s.bad = unreadable(job.Say("findings.unread.facet-infinite", job.Args{"facet": n}))
			return
		default:
			most = max(most, f)
		}
	}
	s.bad = unreadable(job.Say("findings.unread.facet-far", job.Args{"facet": n, "is": power(most), "most": power(float64(s.limit))}))
}

// power writes a number that may be absurdly large: "3e+30".
func power(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// corner returns the number of the vertex at p, a new one if none was there.
func (s *soup) corner(p point) int32 {
	switch p {
	case s.last[0]:
		return s.lastTri[0]
	case s.last[1]:
		return s.lastTri[1]
	case s.last[2]:
		return s.lastTri[2]
	}
	p = point{p.x + 0, p.y + 0, p.z + 0} // minus zero becomes zero
	h := s.hash(p)
	i, id := s.find(h, p)
	if id >= 0 {
		return id
	}
	s.verts = append(s.verts, p)
	n := int32(len(s.verts))
	s.table[i] = slot{h, n}
	if len(s.verts)*3 > len(s.table)*2 {
		s.grow()
	}
	return n - 1
}

// find returns the vertex at p, or a negative number and the slot it would take.
func (s *soup) find(h uint32, p point) (at uint32, id int32) {
	mask := uint32(len(s.table) - 1)
	for at = h & mask; ; at = (at + 1) & mask {
		e := s.table[at]
		if e.id == 0 || e.hash == h && s.verts[e.id-1] == p {
			return at, e.id - 1
		}
	}
}

// hash is seeded, so that no file can be made to fill one slot.
func (s *soup) hash(p point) uint32 {
	xy := uint64(math.Float32bits(p.x)) | uint64(math.Float32bits(p.y))<<32
	hi, lo := bits.Mul64(xy^s.seed[0], uint64(math.Float32bits(p.z))^s.seed[1])
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

// join appends the facets of the others, which follow in the file, to s.
func (s *soup) join(others []*soup) {
	ids := make([][]int32, len(others)) // of each other soup's vertices, in s
	for i, o := range others {
		ids[i] = make([]int32, len(o.verts))
		for v, p := range o.verts {
			id := s.lookup(p)
			for j := 0; id < 0 && j < i; j++ {
				if local := others[j].lookup(p); local >= 0 {
					id = ids[j][local]
				}
			}
			if id < 0 {
				id = int32(len(s.verts))
				s.verts = append(s.verts, p)
			}
			ids[i][v] = id
		}
		n := int32(len(s.tris))
		for _, t := range o.tris {
			s.tris = append(s.tris, [3]int32{ids[i][t[0]], ids[i][t[1]], ids[i][t[2]]})
		}
		for _, f := range o.slivers {
			s.slivers = append(s.slivers, n+f)
		}
		s.facets += o.facets
		s.degenerate += o.degenerate
	}
}

// lookup returns the vertex at p, or a negative number.
func (s *soup) lookup(p point) int32 {
	_, id := s.find(s.hash(p), p)
	return id
}

// mesh returns the soup's mesh, and lets go of what only reading needed.
func (s *soup) mesh() *Mesh {
	m := &Mesh{Vertices: make([]Vec, len(s.verts)), Triangles: s.tris}
	for i, p := range s.verts {
		m.Vertices[i] = Vec{float64(p.x), float64(p.y), float64(p.z)}
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
