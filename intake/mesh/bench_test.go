package mesh_test

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// sizes are facet counts of the bench's spheres: 10k, 100k, 1M and 4M.
var sizes = []struct {
	name           string
	n, rings, want int
}{
	{"10k", 100, 51, 10_000}, {"100k", 320, 157, 99_840}, {"1M", 1000, 501, 1_000_000}, {"4M", 2000, 1001, 4_000_000},
}

// sphereFile is a sphere as binary STL.
func sphereFile(b *testing.B, n, rings int) []byte { return binaryOf(b, shapes.UVSphere(50, n, rings)) }

// BenchmarkTopology is reading and examining without self-intersections.
func BenchmarkTopology(b *testing.B) {
	for _, s := range sizes {
		b.Run(s.name, func(b *testing.B) {
			file := sphereFile(b, s.n, s.rings)
			b.SetBytes(int64(len(file)))
			b.ReportAllocs()
			for b.Loop() {
				m, f, err := mesh.Read(context.Background(), bytes.NewReader(file), int64(len(file)), mesh.Limits{})
				if err != nil {
					b.Fatal(err)
				}
				t, err := mesh.Examine(context.Background(), m, f, mesh.Options{SkipCrossings: true})
				if err != nil || t.Shape.Triangles != s.want || !t.Shape.EnclosesVolume {
					b.Fatal(err, t.Shape)
				}
			}
		})
	}
}

// BenchmarkCrossings is the tree and the search for self-intersections.
func BenchmarkCrossings(b *testing.B) {
	for _, s := range sizes[:3] {
		b.Run(s.name, func(b *testing.B) {
			m := shapes.UVSphere(50, s.n, s.rings)
			for b.Loop() {
				t, err := mesh.Examine(context.Background(), m, mesh.Facts{}, mesh.Options{})
				if err != nil || t.Shape.SelfIntersections != 0 {
					b.Fatal(err, t.Shape)
				}
			}
		})
	}
}

// BenchmarkBVH builds the tree, and asks it.
func BenchmarkBVH(b *testing.B) {
	m := shapes.UVSphere(50, 1000, 501)
	b.Run("build-1M", func(b *testing.B) {
		for b.Loop() {
			mesh.NewBVH(m)
		}
	})
	tree := mesh.NewBVH(m)
	b.Run("ray", func(b *testing.B) {
		i := 0
		for b.Loop() {
			a, _, c := m.Corners(i * 7919 % len(m.Triangles))
			dir := a.Mul(-1)
			if _, _, ok := tree.Ray(c, dir, 1e-6, 10); !ok {
				b.Fatal("no hit")
			}
			i++
		}
	})
	b.Run("nearest", func(b *testing.B) {
		i := 0
		for b.Loop() {
			a, _, _ := m.Corners(i * 7919 % len(m.Triangles))
			if f, _, _ := tree.Nearest(a.Mul(0.99)); f < 0 {
				b.Fatal("no facet")
			}
			i++
		}
	})
}

// BenchmarkAgainstAdmesh reports our time for a file of a million facets over
// that of Debian's admesh, alternating in one run: below 1 is faster.
func BenchmarkAgainstAdmesh(b *testing.B) {
	tool, err := exec.LookPath("admesh")
	if err != nil {
		b.Skip("admesh is not installed")
	}
	path := filepath.Join(b.TempDir(), "sphere.stl")
	if err := os.WriteFile(path, sphereFile(b, 1000, 501), 0o600); err != nil {
		b.Fatal(err)
	}
	var ours, theirs time.Duration
	for b.Loop() {
		start := time.Now()
		if out, err := exec.Command(tool, path).CombinedOutput(); err != nil {
			b.Fatal(err, string(out))
		}
		theirs += time.Since(start)
		start = time.Now()
		m, f, err := mesh.ReadFile(context.Background(), path, mesh.Limits{})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := mesh.Examine(context.Background(), m, f, mesh.Options{SkipCrossings: true}); err != nil {
			b.Fatal(err)
		}
		ours += time.Since(start)
	}
	n := float64(b.N)
	b.ReportMetric(ours.Seconds()/n, "ours-s")
	b.ReportMetric(theirs.Seconds()/n, "admesh-s")
	b.ReportMetric(ours.Seconds()/theirs.Seconds(), "ours/admesh")
}
