package picture

import (
	"math"

	"meshclerk/intake/mesh"
)

// Familiar is a thing everybody has held, to be drawn beside a part so that its
// size is understood without reading a number.
type Familiar struct {
	Key  string // "pencil", "cell", "card" or "sheet"
	mesh *mesh.Mesh
}

// FamiliarFor chooses a thing that suits a part of the given size in mm: the end
// of a pencil (7 mm thick, common practice, no source) beside a tiny one, an AA
// cell (14.5 x 50.5 mm, IEC 60086-2 type R6) beside a small part, a library
// card (85.60 x 53.98 x 0.76 mm, ISO/IEC 7810 ID-1) beside most, a sheet of A4
// (210 x 297 mm, ISO 216) beside a large one.
func FamiliarFor(size mesh.Vec) Familiar {
	switch longest := max(size[0], size[1], size[2]); {
	case longest < 10:
		return Familiar{"pencil", cylinder(3.5, 12)}
	case longest < 30:
		return Familiar{"cell", cylinder(14.5/2, 50.5)}
	case longest < 260:
		return Familiar{"card", block(85.60, 0.76, 53.98)}
	}
	return Familiar{"sheet", block(210, 0.3, 297)}
}

// beside puts the thing on the bed to the right of the part, level with its back. Facets from the
// returned number on are its own.
func (f Familiar) beside(m *mesh.Mesh) (both *mesh.Mesh, from int) {
	b, own := m.Bounds(), f.mesh.Bounds()
	gap := 0.12 * max(b.Size()[0], own.Size()[0])
	to := mesh.Vec{b.Max[0] + gap - own.Min[0], b.Max[1] - own.Min[1], b.Min[2] - own.Min[2]}
	both = &mesh.Mesh{
		Vertices:  append(make([]mesh.Vec, 0, len(m.Vertices)+len(f.mesh.Vertices)), m.Vertices...),
		Triangles: append(make([][3]int32, 0, len(m.Triangles)+len(f.mesh.Triangles)), m.Triangles...),
	}
	base := int32(len(m.Vertices))
	for _, v := range f.mesh.Vertices {
		both.Vertices = append(both.Vertices, v.Add(to))
	}
	for _, t := range f.mesh.Triangles {
		both.Triangles = append(both.Triangles, [3]int32{t[0] + base, t[1] + base, t[2] + base})
	}
	return both, len(m.Triangles)
}

// block is a box with one corner at the origin.
func block(w, d, h float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		m.Vertices = append(m.Vertices, mesh.Vec{w * float64(i&1), d * float64(i>>1&1), h * float64(i>>2)})
	}
	m.Triangles = [][3]int32{{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4},
		{2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}}
	return m
}

// cylinder stands upright about the origin.
func cylinder(r, h float64) *mesh.Mesh {
	const n = 48
	m := &mesh.Mesh{Vertices: []mesh.Vec{{0, 0, 0}, {0, 0, h}}}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		m.Vertices = append(m.Vertices, mesh.Vec{r * c, r * s, 0}, mesh.Vec{r * c, r * s, h})
	}
	for i := range int32(n) {
		a, b := 2+2*i, 2+2*((i+1)%n)
		m.Triangles = append(m.Triangles, [3]int32{0, b, a}, [3]int32{1, a + 1, b + 1}, [3]int32{a, b, b + 1}, [3]int32{a, b + 1, a + 1})
	}
	return m
}
