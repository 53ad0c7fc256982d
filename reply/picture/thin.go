package picture

import (
	"math"

	"meshclerk/intake/mesh"
)

// facing is the cosine beyond which two surfaces count as the two sides of a
// wall, so that edges and corners, where surfaces meet, do not count as thin.
const facing = 0.8

// ThinWalls reports of each place of the surface whether less than limit mm of
// plastic lies behind it, with the other side of the wall opposite. It is for
// Options.Spots: a wall that grows thicker is marked as far as it is thin.
func ThinWalls(m *mesh.Mesh, limit float64) func(facet int, at mesh.Vec) (Tone, bool) {
	tree, inward := mesh.NewBVH(m), -1.0
	if volume(m) < 0 { // wound inside out
		inward = 1
	}
	tiny := 1e-4 * m.Bounds().Size().Len()
	return func(facet int, at mesh.Vec) (Tone, bool) {
		into := normal(m, facet).Mul(inward)
		far, t, ok := tree.Ray(at, into, min(tiny, limit/4), limit)
		return Yellow, ok && t < limit && inward*normal(m, far).Dot(into) < -facing
	}
}

// normal is a facet's unit normal, zero for one without area.
func normal(m *mesh.Mesh, facet int) mesh.Vec {
	a, b, c := m.Corners(facet)
	n := b.Sub(a).Cross(c.Sub(a))
	if l := n.Len(); l > 0 && !math.IsInf(l, 0) {
		return n.Mul(1 / l)
	}
	return mesh.Vec{}
}

// volume is positive where the facets face outwards (the divergence theorem).
func volume(m *mesh.Mesh) float64 {
	sum := 0.0
	for f := range m.Triangles {
		a, b, c := m.Corners(f)
		sum += a.Dot(b.Cross(c))
	}
	return sum / 6
}
