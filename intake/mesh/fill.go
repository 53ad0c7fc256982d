package mesh

import (
	"math"
	"slices"

	"meshclerk/intake/job"
)

// close closes the holes. A hole is closed when it is flat, or small beside the
// model: then there is hardly a choice of what was there.
func (w *mending) close() error {
	t := w.top
	if len(t.Holes) == 0 {
		return nil
	}
	diagonal := t.box.Size().Len()
	f := filler{mesh: &Mesh{Vertices: slices.Clone(w.mesh.Vertices), Triangles: slices.Clone(w.mesh.Triangles)}}
	f.edges = edgesAmong(w.mesh, t.Holes)
	for _, h := range t.Holes {
		switch {
		case !h.Closed:
			return unmendable(job.Say("mending.hole-at-edge", job.Args{"place": place(h.At)}))
		case h.Edges > w.opts.HoleEdges:
			return unmendable(job.Say("mending.hole-edges", job.Args{"place": place(h.At), "n": h.Edges}))
		case h.LengthMM > diagonal/2 && unevenness(w.mesh, h) > 0.02*h.LengthMM:
			return unmendable(job.Say("mending.hole-uneven", job.Args{"place": place(h.At), "around": job.Quantity{Amount: h.LengthMM, Unit: "mm"}}))
		}
		w.top.meter.Spend(h.Edges * h.Edges * h.Edges / 24) // leastArea compares a sixth of the cube, each in a quarter of a unit
		if err := w.ctx.Err(); err != nil {
			return err
		}
		f.fill(h)
	}
	w.did(job.Say("mending.closed", job.Args{"n": len(t.Holes)}))
	return w.replace(f.mesh)
}

// unevenness is how far a hole's corners lie from its plane at most.
func unevenness(m *Mesh, h Hole) float64 {
	var normal Vec
	for i, v := range h.Loop {
		a, b := m.Vertices[v].Sub(h.At), m.Vertices[h.Loop[(i+1)%len(h.Loop)]].Sub(h.At)
		normal = normal.Add(a.Cross(b))
	}
	if normal.Len() == 0 {
		return h.LengthMM
	}
	normal = normal.Mul(1 / normal.Len())
	most := 0.0
	for _, v := range h.Loop {
		most = max(most, math.Abs(m.Vertices[v].Sub(h.At).Dot(normal)))
	}
	return most
}

// edgesAmong lists the edges between corners of holes, which no new facet may
// use as a diagonal.
func edgesAmong(m *Mesh, holes []Hole) map[[2]int32]bool {
	rim := make([]bool, len(m.Vertices))
	for _, h := range holes {
		for _, v := range h.Loop {
			rim[v] = true
		}
	}
	edges := map[[2]int32]bool{}
	for _, t := range m.Triangles {
		for k := range 3 {
			if a, b := t[k], t[next3[k]]; rim[a] && rim[b] {
				edges[[2]int32{min(a, b), max(a, b)}] = true
			}
		}
	}
	return edges
}

// filler adds facets and the edges they bring.
type filler struct {
	mesh  *Mesh
	edges map[[2]int32]bool
}

// fill closes a hole with the facets of least area between its corners
// (Barequet and Sharir, Filling Gaps in the Boundary of a Polyhedron, 1995), or,
// where all of these need an edge that is there already, with a fan about a new
// corner in its middle.
func (f *filler) fill(h Hole) {
	loop := slices.Clone(h.Loop)
	slices.Reverse(loop) // the new facets run against the old ones at each edge
	if cuts, ok := f.leastArea(loop); ok {
		f.addCuts(loop, cuts, 0, len(loop)-1)
		return
	}
	middle := int32(len(f.mesh.Vertices))
	f.mesh.Vertices = append(f.mesh.Vertices, h.At)
	for i, v := range loop {
		f.mesh.Triangles = append(f.mesh.Triangles, [3]int32{v, loop[(i+1)%len(loop)], middle})
	}
}

// leastArea returns, for corners i < j at i*n+j, the corner between them that the
// facet at their diagonal goes to.
func (f *filler) leastArea(loop []int32) (cuts []int32, ok bool) {
	n := len(loop)
	cost := make([]float64, n*n)
	cuts = make([]int32, n*n)
	for span := 2; span < n; span++ {
		for i := 0; i+span < n; i++ {
			j := i + span
			cost[i*n+j] = math.Inf(1)
			if span < n-1 && f.has(loop[i], loop[j]) {
				continue
			}
			a, c := &f.mesh.Vertices[loop[i]], &f.mesh.Vertices[loop[j]]
			for k := i + 1; k < j; k++ {
				whole := cost[i*n+k] + cost[k*n+j]
				if whole >= cost[i*n+j] {
					continue
				}
				if whole += twiceArea(a, &f.mesh.Vertices[loop[k]], c); whole < cost[i*n+j] {
					cost[i*n+j], cuts[i*n+j] = whole, int32(k)
				}
			}
		}
	}
	return cuts, n >= 3 && !math.IsInf(cost[n-1], 1)
}

func (f *filler) has(a, b int32) bool { return a == b || f.edges[[2]int32{min(a, b), max(a, b)}] }

func twiceArea(a, b, c *Vec) float64 {
	ux, uy, uz := b[0]-a[0], b[1]-a[1], b[2]-a[2]
	vx, vy, vz := c[0]-a[0], c[1]-a[1], c[2]-a[2]
	x, y, z := uy*vz-uz*vy, uz*vx-ux*vz, ux*vy-uy*vx
	return math.Sqrt(x*x + y*y + z*z)
}

// addCuts adds the facets between corners i and j.
func (f *filler) addCuts(loop, cuts []int32, i, j int) {
	for j-i >= 2 {
		k := int(cuts[i*len(loop)+j])
		f.mesh.Triangles = append(f.mesh.Triangles, [3]int32{loop[i], loop[k], loop[j]})
		f.edges[[2]int32{min(loop[i], loop[j]), max(loop[i], loop[j])}] = true
		f.addCuts(loop, cuts, i, k)
		i = k
	}
}
