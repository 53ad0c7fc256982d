package mesh_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

func mend(t *testing.T, in *mesh.Mesh) (*mesh.Topology, []job.Message, error) {
	t.Helper()
	m, f := throughFile(t, in)
	before := append([][3]int32(nil), m.Triangles...)
	out, done, err := mesh.Mend(context.Background(), m, mesh.MendOptions{Facts: f})
	for i, tri := range m.Triangles {
		if tri != before[i] {
			t.Fatal("the mesh that was handed in was changed")
		}
	}
	if err != nil {
		return nil, nil, err
	}
	return examine(t, out, mesh.Facts{}), done, nil
}

// TestMend: what can be mended is, to the volume that was meant, and told.
func TestMend(t *testing.T) {
	box, ball := shapes.Box(20, 20, 20), shapes.UVSphere(10, 32, 16)
	r := rand.New(rand.NewPCG(18, 19))
	more := func(m *mesh.Mesh, facets ...[3]int32) *mesh.Mesh {
		return &mesh.Mesh{Vertices: m.Vertices, Triangles: append(append([][3]int32(nil), m.Triangles...), facets...)}
	}
	for _, c := range []struct {
		name   string
		in     *mesh.Mesh
		volume float64
		share  float64
		says   []string
	}{
		{"sound", box, 8000, 0, nil},
		{"a facet missing", shapes.Without(box, 7), 8000, 0, []string{`mending.closed {"n":1}`}},
		{"a side missing", shapes.Without(box, 0, 2), 8000, 0, []string{`mending.closed {"n":1}`}},
		{"facets flipped", shapes.Flipped(box, 3, 8), 8000, 0, []string{`mending.faced-wrong {"n":2}`}},
		{"inside out", shapes.InsideOut(box), 8000, 0, []string{`mending.bodies-turned {"n":1}`}},
		{"void and body inside out", shapes.InsideOut(shapes.BoxWithVoid(20, 20, 20, 5)), 7000, 0, []string{`mending.bodies-turned {"n":1}`, `mending.hollows-turned {"n":1}`}},
		{"body alone inside out", shapes.Merge(shapes.InsideOut(box), shapes.InsideOut(shapes.Moved(shapes.Box(10, 10, 10), 5, 5, 5))), 7000, 0, []string{`mending.bodies-turned {"n":1}`}},
		{"degenerate and twice", more(box, [3]int32{0, 0, 1}, box.Triangles[3]), 8000, 0, []string{`mending.without-area {"n":1}`, `mending.repeated {"n":1}`}},
		{"cracked", exploded(shapes.Box(20, 20, 20), 1e-4, r), 8000, 1e-4, []string{"mending.joined"}},
		{"holes in a ball", shapes.Without(ball, 100, 101, 102, 103, 300, 700), 4121.941741, 0.01, []string{`mending.closed {"n":3}`}},
		{"all at once", shapes.Flipped(shapes.Without(shapes.InsideOut(ball), 100, 500), 30, 31, 32), 4121.941741, 0.01, []string{`mending.faced-wrong {"n":3}`, `mending.closed {"n":2}`, `mending.bodies-turned {"n":1}`}},
		{"a wall inside", shapes.Merge(shapes.Box(10, 10, 10), shapes.Moved(shapes.Scaled(shapes.Box(10, 10, 10), -1, 1, 1), 20, 0, 0)), 2000, 0, []string{`mending.wall-facets {"n":2}`}},
		{"loose facets", shapes.Merge(box, shapes.Moved(sheet(1, 2), 30, 0, 0)), 8000, 0, []string{`mending.loose {"n":2}`}},
		{"bodies that touch in an edge", cubes(10, 10, 0), 2000, 0, []string{`mending.touching {"n":1}`}},
		{"an open bowl", shapes.Without(shapes.Cone(64, 10, 20), bottom(shapes.Cone(64, 10, 20))...), 2091, 0.005, []string{`mending.closed {"n":1}`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			top, done, err := mend(t, c.in)
			if err != nil {
				t.Fatal(err)
			}
			s := top.Shape
			if s.OpenEdges != 0 || s.FlippedEdges != 0 || s.InsideOut || s.DegenerateTris != 0 || !within(s.VolumeMM3, c.volume, max(c.share, 1e-6)) {
				t.Errorf("%+v", s)
			}
			all := strings.Join(keys(done), "; ")
			for _, want := range c.says {
				if !strings.Contains(all, want) {
					t.Errorf("%q does not say %q", all, want)
				}
			}
			if len(c.says) == 0 && all != "" {
				t.Errorf("sound, but %q was done", all)
			}
			if _, again, err := mesh.Mend(context.Background(), mended(t, c.in), mesh.MendOptions{}); err != nil || len(again) != 0 && again[0].Key != "mending.touching" {
				t.Errorf("mending once more does %q, %v", again, err)
			}
		})
	}
}

// keys shows messages as a log does.
func keys(messages []job.Message) (out []string) {
	for _, m := range messages {
		out = append(out, m.String())
	}
	return out
}

func mended(t *testing.T, in *mesh.Mesh) *mesh.Mesh {
	t.Helper()
	m, f := throughFile(t, in)
	out, _, err := mesh.Mend(context.Background(), m, mesh.MendOptions{Facts: f})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// bottom lists the facets of the plane z = 0.
func bottom(m *mesh.Mesh) (facets []int) {
	for f := range m.Triangles {
		if a, b, c := m.Corners(f); a[2] == 0 && b[2] == 0 && c[2] == 0 {
			facets = append(facets, f)
		}
	}
	return facets
}

// TestMendRefuses: what would be a guess is refused, and says why.
func TestMendRefuses(t *testing.T) {
	half := shapes.UVSphere(10, 32, 16)
	var upper []int
	for f := range half.Triangles {
		if a, _, _ := half.Corners(f); a[2] > (a[0]*a[0]-a[1]*a[1])/12 { // the rim is a saddle
			upper = append(upper, f)
		}
	}
	wall := shapes.Box(20, 20, 20)
	wall.Vertices = append(wall.Vertices, mesh.Vec{10, 10, 10})
	wall.Triangles = append(wall.Triangles, [3]int32{0, 1, 8})
	for name, c := range map[string]struct {
		in   *mesh.Mesh
		says string
	}{
		"a sheet":             {sheet(4, 20), "mending.no-thickness"},
		"a ribbon":            {ribbon(24), "mending.one-side"},
		"a wall of one facet": {wall, "mending.hole-at-edge"},
		"half of it missing":  {shapes.Without(half, upper...), "mending.hole-uneven"},
	} {
		t.Run(name, func(t *testing.T) {
			_, done, err := mend(t, c.in)
			if !errors.Is(err, mesh.ErrUnmendable) || !strings.Contains(keys([]job.Message{job.Why(err)})[0], c.says) {
				t.Errorf("%v, %q", err, done)
			}
		})
	}
}

// ribbon is a Möbius strip of 2 n facets.
func ribbon(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n {
		a := 360 * float64(i) / float64(n)
		edge := &mesh.Mesh{Vertices: []mesh.Vec{{0, 0, -3}, {0, 0, 3}}}
		edge = shapes.Moved(shapes.Rotated(edge, mesh.Vec{0, 1, 0}, a/2), 20, 0, 0)
		m.Vertices = append(m.Vertices, shapes.Rotated(edge, mesh.Vec{0, 0, 1}, a).Vertices...)
	}
	for i := range int32(n) {
		a, b := 2*i, 2*i+1
		c, d := a+2, b+2
		if int(i) == n-1 {
			c, d = 1, 0
		}
		m.Triangles = append(m.Triangles, [3]int32{a, c, d}, [3]int32{a, d, b})
	}
	return m
}

// TestMendEnds: a cancelled context ends it.
func TestMendEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := mesh.Mend(ctx, shapes.Box(1, 1, 1), mesh.MendOptions{}); err != context.Canceled {
		t.Error(err)
	}
}

// TestWriteSTL: what is written is read the same, with outward normals, and does
// not look like text.
func TestWriteSTL(t *testing.T) {
	b := binaryOf(t, shapes.UVSphere(10, 32, 16))
	if len(b) != 84+50*960 || strings.HasPrefix(strings.ToLower(string(b)), "solid") {
		t.Errorf("%d bytes, header %q", len(b), b[:80])
	}
	m, f, err := readBytes(b)
	if err != nil || f.Format != "binary" || len(m.Triangles) != 960 {
		t.Errorf("%v %+v", err, f)
	}
}
