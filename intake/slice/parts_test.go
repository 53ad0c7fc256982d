package slice

import (
	"context"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

var loadRules = sync.OnceValues(func() (*rules.Rules, error) { return rules.Load("") })

// houseRules are the embedded defaults.
func houseRules(t testing.TB) *rules.Rules {
	t.Helper()
	r, err := loadRules()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func inputFor(t testing.TB, m *mesh.Mesh, s job.Settings) Input {
	t.Helper()
	in, err := For(houseRules(t), s, m.Bounds().Size())
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// prepared is a part made ready for cutting, and how it is printed.
func prepared(t testing.TB, m *mesh.Mesh, in Input) (*recipe, *part) {
	t.Helper()
	p, err := newRecipe(in)
	if err != nil {
		t.Fatal(err)
	}
	part, err := newPart(context.Background(), m, p)
	if err != nil {
		t.Fatal(err)
	}
	return p, part
}

func mustEstimate(t testing.TB, m *mesh.Mesh, in Input) job.Estimate {
	t.Helper()
	e, err := Estimate(context.Background(), m, in)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// boat is the well-known benchmark boat: examples/boat.stl of the Go module
// github.com/fogleman/fauxgl (MIT), as data only.
func boat(t testing.TB) *mesh.Mesh {
	t.Helper()
	const module = "github.com/fogleman/fauxgl@v0.0.0-20200818143847-27cddc103802"
	out, err := exec.Command("go", "env", "GOMODCACHE").Output()
	if err != nil {
		t.Skip("the go command is not there, by which the boat is found")
	}
	path := filepath.Join(strings.TrimSpace(string(out)), module, "examples", "boat.stl")
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
			t.Fatalf("the boat is not there; run: go mod download %s", module)
		}
		t.Skipf("the boat is not there; run: go mod download %s", module)
	}
	m, _, err := mesh.ReadFile(context.Background(), path, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// box is a block with one corner at x, y, z.
func box(x, y, z, w, d, h float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		m.Vertices = append(m.Vertices, mesh.Vec{x + w*float64(i&1), y + d*float64(i>>1&1), z + h*float64(i>>2)})
	}
	for _, q := range [][4]int32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Triangles = append(m.Triangles, [3]int32{q[0], q[1], q[2]}, [3]int32{q[0], q[2], q[3]})
	}
	return m
}

func joined(ms ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range ms {
		n := int32(len(out.Vertices))
		out.Vertices = append(out.Vertices, m.Vertices...)
		for _, t := range m.Triangles {
			out.Triangles = append(out.Triangles, [3]int32{t[0] + n, t[1] + n, t[2] + n})
		}
	}
	return out
}

func insideOut(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices}
	for _, t := range m.Triangles {
		out.Triangles = append(out.Triangles, [3]int32{t[0], t[2], t[1]})
	}
	return out
}

// ball is a sphere of about that many facets, bumpy by a share of its radius.
func ball(r float64, facets int, bumpy float64) *mesh.Mesh {
	n := int(math.Sqrt(float64(facets) / 2))
	m := &mesh.Mesh{}
	at := func(i, j int) int32 { return int32(1 + (i-1)*n + j%n) }
	radius := func(a, b float64) float64 { return r * (1 + bumpy*math.Sin(9*a)*math.Sin(11*b)) }
	m.Vertices = append(m.Vertices, mesh.Vec{0, 0, -r})
	for i := 1; i < n; i++ {
		sa, ca := math.Sincos(math.Pi * float64(i) / float64(n))
		for j := range n {
			sb, cb := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			q := radius(math.Pi*float64(i)/float64(n), 2*math.Pi*float64(j)/float64(n))
			m.Vertices = append(m.Vertices, mesh.Vec{q * sa * cb, q * sa * sb, -q * ca})
		}
	}
	top := int32(len(m.Vertices))
	m.Vertices = append(m.Vertices, mesh.Vec{0, 0, r})
	for j := range n {
		m.Triangles = append(m.Triangles, [3]int32{0, at(1, j+1), at(1, j)}, [3]int32{top, at(n-1, j), at(n-1, j+1)})
		for i := 1; i < n-1; i++ {
			m.Triangles = append(m.Triangles, [3]int32{at(i, j), at(i, j+1), at(i+1, j+1)}, [3]int32{at(i, j), at(i+1, j+1), at(i+1, j)})
		}
	}
	return m
}
