// Package shapes makes meshes with known properties, for tests and for the
// letters of the demo: simple solids with closed forms, solids that need
// support, solids with flaws, and a few things that a library patron might ask
// for.
//
// Unless its name says otherwise a shape is one closed body, consistently wound
// with its outside out. Lengths are millimetres, z is up.
package shapes

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/mesh"
)

type vec = mesh.Vec

// Box makes an axis-aligned box with one corner at the origin.
func Box(x, y, z float64) *mesh.Mesh {
	return Extrude(z, Outline{{0, 0}, {x, 0}, {x, y}, {0, y}})
}

// Prism makes an upright prism with a regular base of n corners on the circle
// of radius r about the origin, from z = 0 to h.
func Prism(n int, r, h float64) *mesh.Mesh {
	return Turned(Outline{{0, 0}, {r, 0}, {r, h}, {0, h}}, n)
}

// Cone makes a cone of n sides, its base of radius r at z = 0, its point at h.
func Cone(n int, r, h float64) *mesh.Mesh {
	return Turned(Outline{{0, 0}, {r, 0}, {0, h}}, n)
}

// UVSphere makes a sphere about the origin of n meridians and rings/2 - 1
// parallels between its poles: n (rings - 2) facets for an even n.
func UVSphere(r float64, n, rings int) *mesh.Mesh {
	profile := make(Outline, rings+1)
	for i := range profile {
		a := math.Pi * float64(i) / float64(rings)
		profile[i] = Point{r * math.Sin(a), -r * math.Cos(a)}
	}
	profile[0], profile[rings] = Point{0, -r}, Point{0, r}
	return Turned(profile, n)
}

// Torus makes a ring about the z axis: radius r to the middle of the tube, tube
// radius t, n segments around, m about the tube.
func Torus(r, t float64, n, m int) *mesh.Mesh {
	profile := make(Outline, m)
	for i := range profile {
		a := 2 * math.Pi * float64(i) / float64(m)
		profile[i] = Point{r + t*math.Cos(a), t * math.Sin(a)}
	}
	return TurnedRing(profile, n)
}

// Tube makes an upright tube with walls of the given thickness, open at both ends.
func Tube(n int, r, wall, h float64) *mesh.Mesh {
	return TurnedRing(Outline{{r - wall, 0}, {r, 0}, {r, h}, {r - wall, h}}, n)
}

// Tetrahedron makes a regular tetrahedron of the given edge.
func Tetrahedron(edge float64) *mesh.Mesh {
	s := edge / (2 * math.Sqrt2)
	return &mesh.Mesh{
		Vertices:  []vec{{s, s, s}, {s, -s, -s}, {-s, s, -s}, {-s, -s, s}},
		Triangles: [][3]int32{{0, 1, 2}, {0, 3, 1}, {0, 2, 3}, {1, 3, 2}},
	}
}

// Octahedron makes a regular octahedron of the given edge.
func Octahedron(edge float64) *mesh.Mesh {
	s := edge / math.Sqrt2
	m := &mesh.Mesh{Vertices: []vec{{s, 0, 0}, {-s, 0, 0}, {0, s, 0}, {0, -s, 0}, {0, 0, s}, {0, 0, -s}}}
	for _, z := range []int32{4, 5} {
		ring := [4]int32{0, 2, 1, 3}
		for i := range 4 {
			a, b := ring[i], ring[(i+1)%4]
			if z == 5 {
				a, b = b, a
			}
			m.Triangles = append(m.Triangles, [3]int32{a, b, z})
		}
	}
	return m
}

// Dodecahedron makes a regular dodecahedron of the given edge, each of its
// twelve faces as three facets.
func Dodecahedron(edge float64) *mesh.Mesh {
	const phi = math.Phi
	s := edge * phi / 2
	m := &mesh.Mesh{}
	add := func(x, y, z float64) { m.Vertices = append(m.Vertices, vec{s * x, s * y, s * z}) }
	signs := []float64{-1, 1}
	for _, x := range signs {
		for _, y := range signs {
			for _, z := range signs {
				add(x, y, z)
			}
			add(0, x/phi, y*phi)
			add(x/phi, y*phi, 0)
			add(y*phi, 0, x/phi)
		}
	}
	for _, x := range signs {
		for _, y := range signs { // the faces look along the corners of an icosahedron
			addFace(m, vec{0, y * phi, x})
			addFace(m, vec{y * phi, x, 0})
			addFace(m, vec{x, 0, y * phi})
		}
	}
	return m
}

// addFace adds the face of a convex body that looks along n.
func addFace(m *mesh.Mesh, n vec) {
	most := math.Inf(-1)
	for _, v := range m.Vertices {
		most = max(most, v.Dot(n))
	}
	var face []int32
	var mid vec
	for i, v := range m.Vertices {
		if v.Dot(n) > most-1e-9 {
			face = append(face, int32(i))
			mid = mid.Add(v)
		}
	}
	mid = mid.Mul(1 / float64(len(face)))
	x := m.Vertices[face[0]].Sub(mid)
	y := n.Cross(x).Mul(1 / n.Len())
	angle := func(i int32) float64 {
		d := m.Vertices[i].Sub(mid)
		return math.Atan2(d.Dot(y), d.Dot(x))
	}
	slices.SortFunc(face, func(a, b int32) int { return cmp.Compare(angle(a), angle(b)) })
	for i := 2; i < len(face); i++ {
		m.Triangles = append(m.Triangles, [3]int32{face[0], face[i-1], face[i]})
	}
}
