package preflight

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// soup is n facets anywhere in a cube, some of them without area.
func soup(seed uint64, n int, size float64) *mesh.Mesh {
	rnd := random(seed)
	m := &mesh.Mesh{}
	for range n {
		at := int32(len(m.Vertices))
		for range 3 {
			m.Vertices = append(m.Vertices, mesh.Vec{size * rnd.Float64(), size * rnd.Float64(), size * rnd.Float64()})
		}
		if rnd.IntN(8) == 0 {
			m.Vertices[at+2] = m.Vertices[at].Add(m.Vertices[at+1]).Mul(0.5)
		}
		m.Triangles = append(m.Triangles, [3]int32{at, at + 1, at + 2})
	}
	return m
}

// dust is n tetrahedra of the given size, apart from each other.
func dust(n int, size float64) *mesh.Mesh {
	side := int(math.Ceil(math.Cbrt(float64(n))))
	one := shapes.Tetrahedron(size)
	m := &mesh.Mesh{}
	for i := range n {
		at := int32(len(m.Vertices))
		by := mesh.Vec{float64(i % side), float64(i / side % side), float64(i / side / side)}.Mul(2 * size)
		for _, v := range one.Vertices {
			m.Vertices = append(m.Vertices, v.Add(by))
		}
		for _, t := range one.Triangles {
			m.Triangles = append(m.Triangles, [3]int32{t[0] + at, t[1] + at, t[2] + at})
		}
	}
	return m
}

// Whatever comes, the report is whole: it can be written as JSON, its figures
// are finite, its findings have words, levels and codes.
func TestAnyMeshGivesAReport(t *testing.T) {
	flat := shapes.Box(30, 20, 0)
	for name, m := range map[string]*mesh.Mesh{
		"one facet":  {Vertices: []mesh.Vec{{0, 0, 0}, {10, 0, 0}, {0, 10, 5}}, Triangles: [][3]int32{{0, 1, 2}}},
		"flat":       flat,
		"far away":   shapes.Moved(cube(20), 300000, -200000, 900),
		"minute":     cube(1e-4),
		"huge":       cube(80000),
		"needle":     shapes.Box(1e-3, 1e-3, 200),
		"soup":       soup(1, 60, 50),
		"more soup":  soup(2, 150, 40),
		"dust":       dust(800, 0.3),
		"gravel":     dust(200, 6),
		"half open":  shapes.Without(shapes.UVSphere(15, 24, 24), 3, 4, 5, 30, 31, 70, 71, 72, 73, 74, 75, 76, 77, 78, 79),
		"mixed up":   shapes.Flipped(shapes.Merge(cube(20), shapes.Moved(shapes.UVSphere(12, 24, 24), 10, 10, 12)), 1, 5, 40, 41, 90),
		"inside out": shapes.InsideOut(shapes.Merge(shapes.BoxWithVoid(30, 30, 30, 6), shapes.Moved(cube(8), 40, 0, 0))),
		"twice":      shapes.Merge(cube(20), cube(20)),
	} {
		t.Run(name, func(t *testing.T) {
			r := checked(t, m, job.Settings{})
			if _, err := json.Marshal(r); err != nil {
				t.Fatal(err)
			}
			kept(t, r)
			if r.Readable != (r.Mesh != nil) || !r.Readable && r.Error.IsZero() {
				t.Errorf("readable %v, mesh %v, error %q", r.Readable, r.Mesh, r.Error)
			}
			for _, f := range r.Findings {
				if f.Code == "" || f.Text.IsZero() || f.Level != job.Stop && f.Level != job.Ask && f.Level != job.Note {
					t.Errorf("half a finding: %+v", f)
				}
				if f.At != nil && math.IsNaN(f.At[0]+f.At[1]+f.At[2]) {
					t.Errorf("nowhere: %+v", f)
				}
			}
			if r.Readable && (r.Fit == nil || r.Orientation == nil) && r.Error.IsZero() {
				t.Errorf("not whole: %s", tell(r))
			}
			t.Log(tell(r))
		})
	}
}

// A tangle is looked at from fewer places, so that it takes no longer than any
// other file, and the report says so; an ordinary part is looked at in full.
func TestTanglesAreLookedAtFromFewerPlaces(t *testing.T) {
	for _, c := range []struct {
		name   string
		mesh   *mesh.Mesh
		tangle bool
	}{
		{"soup", soup(1, 30_000, 100), true},
		{"a ball", ball(100_000), false},
		{"a dome", dome(100_000), false},
	} {
		topo, err := mesh.Examine(context.Background(), c.mesh, mesh.Facts{}, examineOptions(len(c.mesh.Triangles)))
		if err != nil {
			t.Fatal(err)
		}
		p := newSurface(c.mesh, topo, envelopeOf(c.mesh))
		if tangle := p.castShare < 1; tangle != c.tangle {
			t.Errorf("%s: ease %g", c.name, p.castShare)
		}
		if n := p.affordable(mostPlaces); c.tangle != (n < mostPlaces) || n < 24 {
			t.Errorf("%s: looked at from %d places", c.name, n)
		}
	}
	r := checked(t, soup(1, 30_000, 100), job.Settings{})
	if !slices.ContainsFunc(r.Advice, func(a job.Advice) bool { return strings.Contains(words(a.Why), "why.tangled") }) {
		t.Errorf("the report does not say that it is tangled: %+v %s", r.Advice, r.Error)
	}
}

func FuzzCheck(f *testing.F) {
	f.Add(uint64(1), 12, 20.0)
	f.Add(uint64(2), 40, 0.5)
	f.Add(uint64(3), 30, 90.0)
	f.Fuzz(func(t *testing.T, seed uint64, n int, size float64) {
		if n < 1 || n > 60 || !(size > 1e-3 && size < 100) {
			t.Skip()
		}
		if _, err := json.Marshal(Check(context.Background(), saved(t, soup(seed, n, size)), rules.Default(), job.Settings{}, Options{})); err != nil {
			t.Error(err)
		}
	})
}
