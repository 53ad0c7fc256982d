package slice

import (
	"context"
	"testing"

	"meshclerk/intake/job"
)

func TestSolidCube(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 20)
	in := inputFor(t, m, job.Settings{Infill: 1})
	e := mustEstimate(t, m, in)
	t.Logf("%+v", e)
}

func TestBoat(t *testing.T) {
	m := boat(t)
	e := mustEstimate(t, m, inputFor(t, m, job.Settings{}))
	t.Logf("%+v", e)
}

func BenchmarkBoat(b *testing.B) {
	m := boat(b)
	in := inputFor(b, m, job.Settings{})
	for b.Loop() {
		if _, err := Estimate(context.Background(), m, in); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMillionFacets(b *testing.B) {
	m := ball(50, 1_000_000, 0.05)
	in := inputFor(b, m, job.Settings{})
	for b.Loop() {
		if _, err := Estimate(context.Background(), m, in); err != nil {
			b.Fatal(err)
		}
	}
}
