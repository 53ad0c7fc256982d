package room

import (
	"math"
	"math/rand/v2"
	"testing"
)

type point [2]float64

// A rod of length l and width w across a square of side s: s = (l + w) / sqrt 2.
func TestScale(t *testing.T) {
	build := [3]float64{220, 220, 250}
	for _, c := range []struct{ w, d, h, want float64 }{
		{300, 300, 300, 220.0 / 300}, {50, 50, 500, 0.5}, {220, 220, 250, 1}, {220 * (1 + 5e-7), 10, 250 * (1 + 5e-7), 1},
		{400, 20, 10, 220 * math.Sqrt2 / 420}, {290, 10, 10, 220 * math.Sqrt2 / 300}, {20, 400, 10, 220 * math.Sqrt2 / 420},
	} {
		plan := []point{{0, 0}, {c.w, 0}, {c.w, c.d}, {0, c.d}}
		if got := Scale(plan, c.h, build); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%g x %g x %g: %g, want %g", c.w, c.d, c.h, got, c.want)
		}
	}
	if got := Scale([]point(nil), 0, build); got != 0 {
		t.Errorf("nothing: %g", got)
	}
}

// Against brute force: an outline goes in at the scale found, and at no angle of 3,600 at
// one in a thousand more.
func TestScaleAgainstEveryAngle(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 4))
	build := [3]float64{220, 160, 250}
	for range 200 {
		points := make([]point, 3+rng.IntN(12))
		for i := range points {
			points[i] = point{300 * rng.Float64(), 80 * rng.Float64()}
		}
		plan := Outline(points)
		got, most := Scale(plan, 1, build), 0.0
		for k := range 3600 {
			w, d := Extent(plan, math.Pi*float64(k)/3600)
			most = max(most, min(build[0]/w, build[1]/d))
		}
		if got < most*(1-1e-9) || got > most*1.001 {
			t.Errorf("%v: %g, every angle gives %g", points, got, most)
		}
	}
}
