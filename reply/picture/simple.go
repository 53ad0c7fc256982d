package picture

import (
	"context"
	"encoding/binary"
	"math"

	"meshclerk/intake/mesh"
)

// Simplified returns a mesh of at most so many facets that resembles m: vertices
// in one cell of a grid become one (J. Rossignac and P. Borrel, "Multi-resolution
// 3D approximations for rendering complex scenes", 1993), and the grid is made
// coarser until it suffices. Facets that cross each other at will do not become
// fewer that way: of those some are left out. It is for viewing only. The
// error is the context's.
func Simplified(ctx context.Context, m *mesh.Mesh, most int) (*mesh.Mesh, error) {
	if len(m.Triangles) <= most {
		return m, nil
	}
	b := m.Bounds()
	size := b.Size()
	longest := max(size[0], size[1], size[2], 1e-9)
	for cells := 1024.0; ; {
		out, err := clustered(ctx, m, b.Min, longest/cells)
		n := len(out.Triangles)
		switch {
		case err != nil:
			return nil, err
		case n <= most:
			return out, nil
		case cells <= fewestCells:
			return thinned(out, most), nil
		}
		// A surface's facets go with the square of the cells along an axis.
		cells = max(fewestCells, cells*max(0.25, min(0.75, math.Sqrt(float64(most)/float64(n)))))
	}
}

// fewestCells along an axis still show what a part is.
const fewestCells = 32

// thinned leaves out facets evenly.
func thinned(m *mesh.Mesh, most int) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices, Triangles: make([][3]int32, most)}
	for i := range out.Triangles {
		out.Triangles[i] = m.Triangles[i*len(m.Triangles)/most]
	}
	return out
}

// clustered welds all vertices of one grid cell into their mean.
func clustered(ctx context.Context, m *mesh.Mesh, origin mesh.Vec, cell float64) (*mesh.Mesh, error) {
	const checkEvery = 1 << 16 // vertices between two tests of the context
	index := map[[3]int32]int32{}
	to := make([]int32, len(m.Vertices))
	out := &mesh.Mesh{}
	var count []float64
	for i, v := range m.Vertices {
		if i%checkEvery == 0 && ctx.Err() != nil {
			return out, context.Cause(ctx)
		}
		d := v.Sub(origin).Mul(1 / cell)
		key := [3]int32{int32(d[0]), int32(d[1]), int32(d[2])}
		k, ok := index[key]
		if !ok {
			k = int32(len(out.Vertices))
			index[key] = k
			out.Vertices, count = append(out.Vertices, mesh.Vec{}), append(count, 0)
		}
		to[i] = k
		out.Vertices[k] = out.Vertices[k].Add(v)
		count[k]++
	}
	for k := range out.Vertices {
		out.Vertices[k] = out.Vertices[k].Mul(1 / count[k])
	}
	for _, t := range m.Triangles {
		if n := [3]int32{to[t[0]], to[t[1]], to[t[2]]}; n[0] != n[1] && n[1] != n[2] && n[2] != n[0] {
			out.Triangles = append(out.Triangles, n)
		}
	}
	return out, nil
}

// Corners writes the corners of all facets as little-endian float32, nine for
// each facet, in mm about the middle of the part's box: what a graphics card takes.
func Corners(m *mesh.Mesh) []byte {
	b := m.Bounds()
	mid := b.Min.Add(b.Max).Mul(0.5)
	out := make([]byte, 0, 36*len(m.Triangles))
	for _, t := range m.Triangles {
		for _, i := range t {
			v := m.Vertices[i].Sub(mid)
			for k := range 3 {
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(v[k])))
			}
		}
	}
	return out
}
