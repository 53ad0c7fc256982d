package preflight

import (
	"context"
	"fmt"
	"math"
	"testing"

	"meshclerk/intake/budget"
	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// ball is a ball of 100 mm with about n facets.
func ball(n int) *mesh.Mesh {
	rings := 1
	for rings*rings*4 < n {
		rings++
	}
	return shapes.UVSphere(50, 2*rings, rings+2)
}

// dome is a dome on a stem with about n facets: its best way up is on its head.
func dome(n int) *mesh.Mesh {
	around := int(math.Sqrt(float64(n) / 2))
	profile := shapes.Outline{{0, 0}, {10, 0}, {10, 40}, {40, 40}}
	for i := range around {
		sin, cos := math.Sincos(math.Pi / 3 * float64(i+1) / float64(around))
		profile = append(profile, shapes.Point{40 * cos, 40 + 40*sin})
	}
	return shapes.Turned(append(profile, shapes.Point{0, 40 + 40*math.Sin(math.Pi/3)}), around)
}

// From file to findings: 1,000,000 facets in 3 s and 1 GiB, 100,000 in 0.4 s, on
// 2 cores. "looks" is all but the estimates, which package slice measures too;
// "whole" has them, with the search for the largest scale.
func BenchmarkCheck(b *testing.B) {
	for _, c := range []struct {
		name string
		mesh *mesh.Mesh
	}{
		{"ball", ball(10_000)}, {"ball", ball(100_000)}, {"ball", ball(1_000_000)}, {"ball", ball(4_000_000)},
		{"dome", dome(100_000)}, {"dome", dome(1_000_000)},
	} {
		path := saved(b, c.mesh)
		name := fmt.Sprintf("%s/%d", c.name, len(c.mesh.Triangles))
		b.Run(name+"/looks", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				looksAlone(b, path)
			}
		})
		b.Run(name+"/whole", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if r := Check(context.Background(), path, rules.Default(), job.Settings{}, Options{}); !r.Readable || !r.Error.IsZero() {
					b.Fatal(r.Error)
				}
			}
		})
	}
}

func looksAlone(b *testing.B, path string) {
	ctx, r := context.Background(), rules.Default()
	c := check{newBounds(r, job.Settings{}), Options{}, budget.From(ctx)}
	f, err := Open(ctx, path, r.Caps)
	if err != nil {
		b.Fatal(err)
	}
	x, err := c.examine(ctx, f.Mesh, f.Mesh, f.Facts)
	if err != nil {
		b.Fatal(err)
	}
	p, walls, err := c.cast(ctx, x.body)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := c.survey(ctx, p, walls, c.stand(ctx, p)); err != nil {
		b.Fatal(err)
	}
}
