// Package mesh reads STL files as strangers send them and measures what is in
// them: topology, volume, holes, crossings.
//
// A file passes through these states, each of which the next relies on:
//
//	bytes -> soup      Read: what the file is; counts, NaN, limits; refused files give *Unreadable
//	soup  -> mesh      corners at equal single-precision coordinates become one vertex;
//	                   facets with a corner twice are dropped and counted as degenerate
//	mesh  -> clean     repeated facets are dropped and counted; slivers (corners on a line) stay only
//	                   where the surface needs them; where cracks are left, vertices on open
//	                   edges are welded within a tolerance, which is reported
//	clean -> Topology  Examine: edges, holes, shells, bodies and voids, crossings
//
// So the Mesh that Read returns is the clean one, and Facts says how many facets
// the file had and what became of them. A mesh is never changed once it was
// returned; Mend and Transformed make new ones.
//
// Invariants of a clean mesh: every vertex is used; no facet has a corner twice;
// no two facets have the same corners with the same winding; all coordinates are
// finite. Lengths are millimetres, because STL has no unit and the trade takes
// millimetres.
//
// The side h = 3f+k of facet f runs from its corner k to its corner k+1.
package mesh

import "math"

// Vec is a point or direction in millimetres.
type Vec [3]float64

// Add returns a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// Sub returns a - b.
func (a Vec) Sub(b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// Mul returns a scaled by s.
func (a Vec) Mul(s float64) Vec { return Vec{a[0] * s, a[1] * s, a[2] * s} }

// Dot returns the scalar product.
func (a Vec) Dot(b Vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// Cross returns the vector product.
func (a Vec) Cross(b Vec) Vec {
	return Vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// Len returns the length.
func (a Vec) Len() float64 { return math.Sqrt(a.Dot(a)) }

// Mesh is an indexed triangle mesh in millimetres: welded vertices, and for
// each facet the indices of its corners, counter-clockwise seen from outside.
type Mesh struct {
	Vertices  []Vec
	Triangles [][3]int32
}

// Box is an axis-aligned bounding box.
type Box struct{ Min, Max Vec }

// Size returns the extent along each axis.
func (b Box) Size() Vec { return b.Max.Sub(b.Min) }

// Bounds returns the smallest box that holds every used vertex.
func (m *Mesh) Bounds() Box {
	if len(m.Vertices) == 0 {
		return Box{}
	}
	b := emptyBox()
	for i := range m.Vertices {
		b.add(&m.Vertices[i])
	}
	return b
}

func emptyBox() Box {
	inf := math.Inf(1)
	return Box{Vec{inf, inf, inf}, Vec{-inf, -inf, -inf}}
}

// add grows the box to hold p.
func (b *Box) add(p *Vec) {
	for k, v := range p {
		if v < b.Min[k] {
			b.Min[k] = v
		}
		if v > b.Max[k] {
			b.Max[k] = v
		}
	}
}

// Corners returns the three corners of facet f.
func (m *Mesh) Corners(f int) (a, b, c Vec) {
	t := m.Triangles[f]
	return m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
}

// Transformed returns a copy turned by the row-major rotation and then scaled.
func (m *Mesh) Transformed(rot [3][3]float64, scale float64) *Mesh {
	out := &Mesh{Vertices: make([]Vec, len(m.Vertices)), Triangles: m.Triangles}
	for i, v := range m.Vertices {
		for k := range 3 {
			out.Vertices[i][k] = scale * (rot[k][0]*v[0] + rot[k][1]*v[1] + rot[k][2]*v[2])
		}
	}
	return out
}

// Upright is the rotation that changes nothing.
var Upright = [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
