package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// trees are meshes of different kinds for the queries.
func trees() map[string]*mesh.Mesh {
	r := rand.New(rand.NewPCG(9, 10))
	same := &mesh.Mesh{Vertices: []mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}}
	for range 100 {
		same.Triangles = append(same.Triangles, [3]int32{0, 1, 2})
	}
	return map[string]*mesh.Mesh{
		"one facet":                      {Vertices: same.Vertices, Triangles: same.Triangles[:1]},
		"the same facet a hundred times": same,
		"sphere":                         shapes.UVSphere(10, 24, 12),
		"box and torus":                  shapes.Merge(shapes.Box(3, 30, 3), shapes.Torus(10, 3, 24, 12)),
		"cloud":                          cloud(500, r),
		"sheet":                          sheet(12, 20),
	}
}

// cloud is facets anywhere.
func cloud(n int, r *rand.Rand) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n {
		at := mesh.Vec{r.NormFloat64() * 10, r.NormFloat64() * 10, r.NormFloat64() * 10}
		for range 3 {
			m.Vertices = append(m.Vertices, at.Add(mesh.Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}.Mul(2)))
		}
		m.Triangles = append(m.Triangles, [3]int32{int32(3 * i), int32(3*i + 1), int32(3*i + 2)})
	}
	return m
}

// hitSlowly is Möller and Trumbore's test of one facet.
func hitSlowly(m *mesh.Mesh, f int, o, d mesh.Vec) (float64, bool) {
	a, b, c := m.Corners(f)
	e1, e2 := b.Sub(a), c.Sub(a)
	p := d.Cross(e2)
	det := e1.Dot(p)
	if det == 0 {
		return 0, false
	}
	s := o.Sub(a)
	u := s.Dot(p) / det
	q := s.Cross(e1)
	v := d.Dot(q) / det
	return e2.Dot(q) / det, u >= 0 && v >= 0 && u+v <= 1
}

// TestRayAgainstEveryFacet: the tree finds what asking each facet finds.
func TestRayAgainstEveryFacet(t *testing.T) {
	for name, m := range trees() {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(11, 12))
			tree := mesh.NewBVH(m)
			found := 0
			for range 300 {
				o := mesh.Vec{r.NormFloat64() * 15, r.NormFloat64() * 15, r.NormFloat64() * 15}
				f := r.IntN(len(m.Triangles))
				a, b, c := m.Corners(f)
				d := a.Add(b).Add(c).Mul(1.0 / 3).Sub(o)
				var want []float64
				for f := range m.Triangles {
					if at, ok := hitSlowly(m, f, o, d); ok && at >= 0 && at <= 3 {
						want = append(want, at)
					}
				}
				slices.Sort(want)
				hits := tree.RayAll(o, d, 0, 3, nil)
				if len(hits) != len(want) {
					t.Fatalf("%d hits, want %d", len(hits), len(want))
				}
				for i, h := range hits {
					if math.Abs(h.T-want[i]) > 1e-9 {
						t.Fatalf("hit %d at %g, want %g", i, h.T, want[i])
					}
				}
				_, at, ok := tree.Ray(o, d, 0, 3)
				if ok != (len(want) > 0) || ok && math.Abs(at-want[0]) > 1e-9 {
					t.Fatalf("first hit at %g (%v), want %v", at, ok, want)
				}
				found += len(want)
			}
			if found < 300 {
				t.Errorf("only %d hits", found)
			}
		})
	}
}

// TestRaysNeverSlipThrough: a ray from within a closed body always leaves it,
// also through corners and edges and along axes.
func TestRaysNeverSlipThrough(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"sphere": shapes.UVSphere(10, 48, 24), "box": shapes.Moved(shapes.Box(2, 2, 2), -1, -1, -1), "tetrahedron": shapes.Tetrahedron(5),
		"turned sphere": shapes.Rotated(shapes.UVSphere(10, 48, 24), mesh.Vec{1, 2, 3}, 40),
	} {
		t.Run(name, func(t *testing.T) {
			tree := mesh.NewBVH(m)
			for f := range m.Triangles {
				a, b, c := m.Corners(f)
				for _, p := range []mesh.Vec{a, a.Add(b).Mul(0.5), a.Add(b).Add(c).Mul(1.0 / 3), a.Mul(0.3).Add(b.Mul(0.7))} {
					for _, from := range []mesh.Vec{{}, {0.01, 0.02, 0.03}} {
						if _, _, ok := tree.Ray(from, p.Sub(from), 1e-9, 2); !ok {
							t.Fatalf("from %v through %v of facet %d", from, p, f)
						}
					}
				}
			}
		})
	}
}

// TestNearestAgainstEveryFacet: the nearest point is no farther than any point
// of any facet, and lies where it says.
func TestNearestAgainstEveryFacet(t *testing.T) {
	for name, m := range trees() {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(13, 14))
			tree := mesh.NewBVH(m)
			for range 200 {
				p := mesh.Vec{r.NormFloat64() * 12, r.NormFloat64() * 12, r.NormFloat64() * 12}
				f, q, dist := tree.Nearest(p)
				if math.Abs(q.Sub(p).Len()-dist) > 1e-9 {
					t.Fatalf("%v is not %g from %v", q, dist, p)
				}
				if _, on, _ := mesh.NewBVH(&mesh.Mesh{Vertices: m.Vertices, Triangles: m.Triangles[f : f+1]}).Nearest(q); on.Sub(q).Len() > 1e-9 {
					t.Fatalf("%v is not on facet %d", q, f)
				}
				for g := range m.Triangles {
					a, b, c := m.Corners(g)
					for range 4 {
						u, v := r.Float64(), r.Float64()
						if u+v > 1 {
							u, v = 1-u, 1-v
						}
						s := a.Add(b.Sub(a).Mul(u)).Add(c.Sub(a).Mul(v))
						if s.Sub(p).Len() < dist-1e-9 {
							t.Fatalf("%v of facet %d is nearer to %v than %g", s, g, p, dist)
						}
					}
				}
				skipped, _, _ := tree.NearestWithin(p, math.Inf(1), func(g int) bool { return g == f })
				if skipped == f {
					t.Fatal("a facet left out was found")
				}
				if g, _, _ := tree.NearestWithin(p, dist*0.999, nil); g >= 0 {
					t.Fatal("found farther than asked for")
				}
			}
		})
	}
}

// TestInAndSelfPairs: boxes and pairs of boxes, against trying all.
func TestInAndSelfPairs(t *testing.T) {
	for name, m := range trees() {
		t.Run(name, func(t *testing.T) {
			tree := mesh.NewBVH(m)
			boxes := make([]mesh.Box, len(m.Triangles))
			for f := range boxes {
				a, b, c := m.Corners(f)
				boxes[f] = (&mesh.Mesh{Vertices: []mesh.Vec{a, b, c}}).Bounds()
			}
			apart := func(a, b mesh.Box) float64 {
				most := math.Inf(-1)
				for k := range 3 {
					most = max(most, a.Min[k]-b.Max[k], b.Min[k]-a.Max[k])
				}
				return most
			}
			const margin, slack = 0.5, 1e-5 // the tree's boxes are single precision, rounded outward
			found := map[[2]int32]int{}
			var mu sync.Mutex
			_, err := tree.SelfPairs(context.Background(), margin, 0, func(int) {}, func(_ int, f, g int32) {
				mu.Lock()
				defer mu.Unlock()
				found[[2]int32{min(f, g), max(f, g)}]++
			})
			if err != nil {
				t.Fatal(err)
			}
			for f := range boxes {
				in := map[int]bool{}
				tree.In(boxes[f], func(g int) bool { in[g] = true; return true })
				for g := range boxes {
					gap := apart(boxes[f], boxes[g])
					if gap <= 0 && !in[g] || gap > slack && in[g] {
						t.Fatalf("facet %d in the box of %d: %v, gap %g", g, f, in[g], gap)
					}
					n := found[[2]int32{int32(min(f, g)), int32(max(f, g))}]
					if f != g && (gap <= margin-slack && n != 1 || gap > margin+slack && n != 0) {
						t.Fatalf("pair %d, %d found %d times, gap %g", f, g, n, gap)
					}
				}
			}
		})
	}
}

// TestEmptyTree: a mesh without facets gives no answers and no faults.
func TestEmptyTree(t *testing.T) {
	tree := mesh.NewBVH(&mesh.Mesh{})
	if _, _, ok := tree.Ray(mesh.Vec{}, mesh.Vec{0, 0, 1}, 0, 1); ok {
		t.Error("a ray met something")
	}
	if f, _, d := tree.Nearest(mesh.Vec{}); f != -1 || !math.IsInf(d, 1) {
		t.Error("something is near")
	}
	tree.In(mesh.Box{}, func(int) bool { t.Error("something is in the box"); return true })
}
