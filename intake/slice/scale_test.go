package slice

import (
	"context"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

func scaleParts(t testing.TB) map[string]*mesh.Mesh {
	return map[string]*mesh.Mesh{
		"cube":          box(0, 0, 0, 20, 20, 20),
		"small cube":    box(0, 0, 0, 4, 4, 4),
		"boat":          boat(t),
		"bumpy ball":    ball(30, 20000, 0.05),
		"plate on legs": joined(box(0, 0, 0, 3, 3, 30), box(30, 0, 0, 3, 3, 30), box(0, 0, 29, 33, 12, 4)),
		"thin sheet":    box(0, 0, 0, 60, 60, 1.2),
		"tower":         box(0, 0, 0, 12, 12, 120),
	}
}

// At the largest scale the job keeps within the limit, and a little larger it
// no longer does, or no longer fits.
func TestLargestScale(t *testing.T) {
	for name, m := range scaleParts(t) {
		in := inputFor(t, m, job.Settings{})
		in.WithLargestScale = true
		s := mustEstimate(t, m, in).LargestScale
		in.WithLargestScale = false
		in.Settings.Scale = s
		e := mustEstimate(t, m, in)
		hours := e.PlateTimeS / 3600
		size := m.Bounds().Size().Mul(s)
		fills := 0.0
		for k := range 3 {
			fills = max(fills, size[k]/in.Printer.BuildMM[k])
		}
		t.Logf("%-14s x%.3f: %.3f h, %.0f x %.0f x %.0f mm", name, s, hours, size[0], size[1], size[2])
		if hours > in.Limits.JobHours {
			t.Errorf("%s: at the largest scale it takes %.3f h", name, hours)
		}
		if hours < 0.97*in.Limits.JobHours && fills < 0.999 {
			t.Errorf("%s: it could be larger: %.3f h, fills %.3f of the printer", name, hours, fills)
		}
	}
}

func BenchmarkLargestScale(b *testing.B) {
	for name, m := range map[string]*mesh.Mesh{"boat": boat(b), "million": ball(50, 1_000_000, 0.05), "cube": box(0, 0, 0, 20, 20, 20)} {
		in := inputFor(b, m, job.Settings{})
		b.Run(name+"/estimate", func(b *testing.B) { benchmarkEstimate(b, m, in) })
		in.WithLargestScale = true
		b.Run(name+"/with-scale", func(b *testing.B) { benchmarkEstimate(b, m, in) })
	}
}

func benchmarkEstimate(b *testing.B, m *mesh.Mesh, in Input) {
	for b.Loop() {
		if _, err := Estimate(context.Background(), m, in); err != nil {
			b.Fatal(err)
		}
	}
}
