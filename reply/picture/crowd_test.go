package picture

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"testing"

	"meshclerk/intake/mesh"
)

// crowd is a mesh of n squares one behind the other, each over the whole picture
// as seen from the front. The one in front comes last.
func crowd(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n {
		y := 10 - 10*float64(i)/float64(n)
		at := int32(len(m.Vertices))
		m.Vertices = append(m.Vertices, mesh.Vec{0, y, 0}, mesh.Vec{40, y, 0}, mesh.Vec{40, y, 30}, mesh.Vec{0, y, 30})
		m.Triangles = append(m.Triangles, [3]int32{at, at + 1, at + 2}, [3]int32{at, at + 2, at + 3})
	}
	return m
}

// Facets that lie over each other thousands of times cost a bounded number of
// samples, and what is seen is what lies in front.
func TestCrowdedMeshCostsBoundedWork(t *testing.T) {
	m := crowd(20_000)
	o := Options{Width: 320, Height: 240}
	c := aim(m.Bounds(), Front, o)
	buf := newDepthBuffer(o.Width*sampling, o.Height*sampling, false)
	pts := buf.projected(m, c)
	order := buf.affordable(m, pts)
	if order == nil || len(order) >= len(m.Triangles) {
		t.Fatalf("%d of %d facets are drawn", len(order), len(m.Triangles))
	}
	spent := 0.0
	for _, i := range order {
		spent += cost(m, pts, int(i))
	}
	if most := float64(overdraw * buf.w * buf.h); spent > most || spent < most/2 {
		t.Errorf("%g samples of %g", spent, most)
	}
	if last := int32(len(m.Triangles) - 1); order[0] != last && order[1] != last {
		t.Errorf("it begins with facet %d, and not with one in front", order[0])
	}
	few := crowd(20_000)
	few.Triangles = few.Triangles[len(few.Triangles)-2:] // the same box, and only the square in front
	if !bytes.Equal(Draw(m, Front, o).Pix, Draw(few, Front, o).Pix) {
		t.Error("another picture than that of what lies in front")
	}
}

// A part that is no crowd is drawn whole, in the order of its facets.
func TestOrdinaryMeshIsDrawnWhole(t *testing.T) {
	m := crowd(100)
	o := Options{Width: 320, Height: 240}
	buf := newDepthBuffer(o.Width*sampling, o.Height*sampling, false)
	if order := buf.affordable(m, buf.projected(m, aim(m.Bounds(), Front, o))); order != nil {
		t.Errorf("%d of %d facets", len(order), len(m.Triangles))
	}
}

// Facets that cross each other at will are made few all the same, in few rounds,
// and not for somebody who has left.
func TestTangleIsSimplified(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	m := &mesh.Mesh{}
	for range 60_000 {
		at := int32(len(m.Vertices))
		for range 3 {
			m.Vertices = append(m.Vertices, mesh.Vec{100 * r.Float64(), 100 * r.Float64(), 100 * r.Float64()})
		}
		m.Triangles = append(m.Triangles, [3]int32{at, at + 1, at + 2})
	}
	s, err := Simplified(t.Context(), m, 5000)
	if err != nil || len(s.Triangles) > 5000 || len(s.Triangles) < 2500 {
		t.Errorf("%d facets, %v", len(s.Triangles), err)
	}
	ctx, leave := context.WithCancel(t.Context())
	leave()
	if _, err := Simplified(ctx, m, 5000); !errors.Is(err, context.Canceled) {
		t.Errorf("somebody who has left: %v", err)
	}
}
