package slice

import (
	"math"
	"math/rand/v2"
	"testing"
)

func square(x, y, side float64) loop {
	return loopMM(x, y, x+side, y, x+side, y+side, x, y+side)
}

func loopMM(xy ...float64) loop {
	var l loop
	for i := 0; i < len(xy); i += 2 {
		l = append(l, point{int32(math.Round(xy[i] * perMM)), int32(math.Round(xy[i+1] * perMM))})
	}
	return l
}

func reversed(l loop) loop {
	out := make(loop, len(l))
	for i, p := range l {
		out[len(l)-1-i] = p
	}
	return out
}

func union(ls ...loop) []loop {
	var r overlay
	r.reset()
	for _, l := range ls {
		r.add(l)
	}
	return r.outlines(nonzero)
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > within {
		t.Errorf("%s is %.6g, want %.6g within %g", what, got, want, within)
	}
}

// Areas and lengths of unions worked out by hand.
func TestUnionOfSquares(t *testing.T) {
	cases := []struct {
		name         string
		loops        []loop
		area, length float64
		outlines     int
	}{
		{"one", []loop{square(0, 0, 10)}, 100, 40, 1},
		{"wound the wrong way", []loop{reversed(square(0, 0, 10))}, 100, 40, 1},
		{"overlapping", []loop{square(0, 0, 10), square(5, 5, 10)}, 175, 60, 1},
		{"the same twice", []loop{square(0, 0, 10), square(0, 0, 10)}, 100, 40, 1},
		{"side by side", []loop{square(0, 0, 10), square(10, 0, 10)}, 200, 60, 1},
		{"half a side shared", []loop{square(0, 0, 10), square(10, 5, 10)}, 200, 70, 1},
		{"touching at a corner", []loop{square(0, 0, 10), square(10, 10, 10)}, 200, 80, 2},
		{"with a hole", []loop{square(0, 0, 10), reversed(square(2, 2, 4))}, 84, 56, 2},
		{"one inside the other", []loop{square(0, 0, 10), square(2, 2, 4)}, 100, 40, 1},
		{"hole that touches the edge", []loop{square(0, 0, 10), reversed(square(0, 2, 4))}, 84, 48, 1},
		{"crossed by a bar", []loop{square(0, 0, 10), loopMM(-5, 4, 15, 4, 15, 6, -5, 6)}, 120, 60, 1},
		{"bow tie", []loop{loopMM(0, 0, 10, 10, 10, 0, 0, 10)}, 50, 20 + 20*math.Sqrt2, 2},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got := union(c.loops...)
			near(t, "area", areaOf(got), c.area, 1e-9)
			near(t, "length", lengthOf(got), c.length, 1e-9)
			if len(got) != c.outlines {
				t.Errorf("%d outlines, want %d", len(got), c.outlines)
			}
		})
	}
}

// sampledArea counts the winding number at many points, by the definition.
func sampledArea(ls []loop, inside fillRule, lo, hi int32, n int) float64 {
	hits := 0
	step := float64(hi-lo) / float64(n)
	for i := range n {
		for j := range n {
			x, y := float64(lo)+(float64(i)+0.5)*step, float64(lo)+(float64(j)+0.5)*step
			if inside(windingAt(ls, x, y)) {
				hits++
			}
		}
	}
	return float64(hits) * step * step / (perMM * perMM)
}

func windingAt(ls []loop, x, y float64) int32 {
	w := int32(0)
	for _, l := range ls {
		for i, p := range l {
			q := l[(i+1)%len(l)]
			px, py, qx, qy := float64(p.x), float64(p.y), float64(q.x), float64(q.y)
			if (py <= y) == (qy <= y) {
				continue
			}
			if at := px + (y-py)/(qy-py)*(qx-px); at < x {
				if qy > py {
					w--
				} else {
					w++
				}
			}
		}
	}
	return w
}

// Scribbles that cross themselves and each other many times, on a grid so
// coarse that ends, edges and crossings fall on each other.
func TestUnionOfScribbles(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for round := range 300 {
		size := int32([]int{8, 60, 1000, 40000}[round%4])
		var ls []loop
		for range 1 + rnd.IntN(4) {
			var l loop
			for range 3 + rnd.IntN(20) {
				l = append(l, point{rnd.Int32N(size), rnd.Int32N(size)})
			}
			ls = append(ls, l)
		}
		got := union(ls...)
		for _, l := range got {
			if l.area() == 0 {
				t.Fatalf("round %d: an outline without area", round)
			}
		}
		area := float64(size) * float64(size) / (perMM * perMM)
		// Every cell of the grid is sampled at its middle where the grid is
		// small; snapping moves edges by half a step at most.
		within := 0.02 * area
		if size <= 60 {
			within = 0.25 * area
		}
		near(t, "area", areaOf(got), sampledArea(ls, nonzero, 0, size, 150), within)
		if n := crossings(got); n > 0 {
			t.Errorf("round %d: the outlines cross %d times", round, n)
		}
		// Snapped again, edges may move by half a step once more.
		near(t, "area of the union of the union", areaOf(union(got...)), areaOf(got), lengthOf(got)/perMM)
	}
}

// crossings counts the pairs of edges that run across each other.
func crossings(ls []loop) int {
	var edges [][2]point
	for _, l := range ls {
		for i, p := range l {
			edges = append(edges, [2]point{p, l[(i+1)%len(l)]})
		}
	}
	n := 0
	for i, e := range edges {
		for _, f := range edges[:i] {
			a, b := side(e[0], e[1], f[0]), side(e[0], e[1], f[1])
			c, d := side(f[0], f[1], e[0]), side(f[0], f[1], e[1])
			if (a > 0 && b < 0 || a < 0 && b > 0) && (c > 0 && d < 0 || c < 0 && d > 0) {
				n++
			}
		}
	}
	return n
}

func circle(r float64, n int) loop {
	var l loop
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		l = append(l, point{int32(math.Round(r * c * perMM)), int32(math.Round(r * s * perMM))})
	}
	return l
}

func TestInset(t *testing.T) {
	var r overlay
	got := r.inset([]loop{square(0, 0, 20)}, 0.6)
	near(t, "area of a square", areaOf(got), 18.8*18.8, 1e-6)
	near(t, "length of a square", lengthOf(got), 4*18.8, 1e-6)
	got = r.inset([]loop{square(0, 0, 20)}, -0.6)
	near(t, "area of a square, grown", areaOf(got), 21.2*21.2, 1e-6)
	if got = r.inset([]loop{square(0, 0, 20)}, 10.5); len(got) != 0 {
		t.Errorf("a square worn away has %d outlines", len(got))
	}
	got = r.inset([]loop{circle(10, 500)}, 2)
	near(t, "area of a circle", areaOf(got), math.Pi*64, 0.02)
	got = r.inset([]loop{circle(10, 500), reversed(circle(5, 300))}, 1)
	near(t, "area of a ring", areaOf(got), math.Pi*(81-36), 0.02)
	// A dumb-bell falls apart when its handle is worn away.
	bell := union(square(0, 0, 10), square(20, 0, 10), loopMM(9, 4.5, 21, 4.5, 21, 5.5, 9, 5.5))
	got = r.inset(bell, 0.6)
	near(t, "area of a dumb-bell", areaOf(got), 2*8.8*8.8, 1e-6)
	if len(got) != 2 {
		t.Errorf("the dumb-bell has %d outlines", len(got))
	}
}

func BenchmarkInset(b *testing.B) {
	var r overlay
	l := []loop{circle(50, 250), reversed(circle(40, 150))}
	for b.Loop() {
		r.inset(l, 0.6)
	}
}

func BenchmarkUnion(b *testing.B) {
	var r overlay
	l := []loop{circle(50, 250), reversed(circle(40, 150))}
	for b.Loop() {
		r.reset()
		for _, l := range l {
			r.add(l)
		}
		r.outlines(nonzero)
	}
}
