package shapes

import (
	"math"

	"meshclerk/intake/mesh"
)

// Merge puts meshes side by side into one, without joining them.
func Merge(all ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range all {
		base := int32(len(out.Vertices))
		out.Vertices = append(out.Vertices, m.Vertices...)
		for _, t := range m.Triangles {
			out.Triangles = append(out.Triangles, [3]int32{t[0] + base, t[1] + base, t[2] + base})
		}
	}
	return out
}

// Moved returns the mesh moved by x, y, z.
func Moved(m *mesh.Mesh, x, y, z float64) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: make([]vec, len(m.Vertices)), Triangles: m.Triangles}
	for i, v := range m.Vertices {
		out.Vertices[i] = v.Add(vec{x, y, z})
	}
	return out
}

// Scaled returns the mesh stretched along each axis.
func Scaled(m *mesh.Mesh, x, y, z float64) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: make([]vec, len(m.Vertices)), Triangles: m.Triangles}
	for i, v := range m.Vertices {
		out.Vertices[i] = vec{v[0] * x, v[1] * y, v[2] * z}
	}
	if x*y*z < 0 {
		return InsideOut(out)
	}
	return out
}

// Rotated returns the mesh turned about an axis through the origin, by an angle
// in degrees (Rodrigues' formula).
func Rotated(m *mesh.Mesh, axis mesh.Vec, degrees float64) *mesh.Mesh {
	return m.Transformed(Rotation(axis, degrees), 1)
}

// Rotation is the row-major matrix of a turn about an axis by an angle in degrees.
func Rotation(axis mesh.Vec, degrees float64) (r [3][3]float64) {
	k := axis.Mul(1 / axis.Len())
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	cross := [3][3]float64{{0, -k[2], k[1]}, {k[2], 0, -k[0]}, {-k[1], k[0], 0}}
	for i := range 3 {
		for j := range 3 {
			r[i][j] = sin*cross[i][j] + (1-cos)*k[i]*k[j]
		}
		r[i][i] += cos
	}
	return r
}

// InsideOut returns the mesh with all facets wound the other way.
func InsideOut(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices, Triangles: make([][3]int32, len(m.Triangles))}
	for i, t := range m.Triangles {
		out.Triangles[i] = [3]int32{t[0], t[2], t[1]}
	}
	return out
}

// Without returns the mesh without the facets of the given numbers.
func Without(m *mesh.Mesh, facets ...int) *mesh.Mesh {
	gone := map[int]bool{}
	for _, f := range facets {
		gone[f] = true
	}
	out := &mesh.Mesh{Vertices: m.Vertices}
	for i, t := range m.Triangles {
		if !gone[i] {
			out.Triangles = append(out.Triangles, t)
		}
	}
	return out
}

// Flipped returns the mesh with the facets of the given numbers wound the other way.
func Flipped(m *mesh.Mesh, facets ...int) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices, Triangles: append([][3]int32(nil), m.Triangles...)}
	for _, f := range facets {
		t := out.Triangles[f]
		out.Triangles[f] = [3]int32{t[0], t[2], t[1]}
	}
	return out
}

// OnBed returns the mesh moved so that it stands on z = 0 about the z axis.
func OnBed(m *mesh.Mesh) *mesh.Mesh {
	b := m.Bounds()
	return Moved(m, -(b.Min[0]+b.Max[0])/2, -(b.Min[1]+b.Max[1])/2, -b.Min[2])
}
