package preflight

import (
	"math"
	"math/rand/v2"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/intake/room"
)

func random(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 7)) }

// The hull of points holds all of them, its corners are among them, and its area
// is that of the body they were taken from.
func TestConvexHull(t *testing.T) {
	rnd := random(1)
	ball := make([]mesh.Vec, 3000)
	for i := range ball {
		v := unit(mesh.Vec{rnd.NormFloat64(), rnd.NormFloat64(), rnd.NormFloat64()})
		ball[i] = v.Mul(10 * math.Cbrt(rnd.Float64()))
	}
	grid := []mesh.Vec{}
	for x := range 12 {
		for y := range 12 {
			for z := range 12 {
				grid = append(grid, mesh.Vec{float64(x), float64(y), float64(z)})
			}
		}
	}
	for name, c := range map[string]struct {
		points  []mesh.Vec
		area    float64 // 0: not known
		corners int
	}{
		"ball":         {ball, 0, 0},
		"grid":         {grid, 6 * 11 * 11, 8},
		"dodecahedron": {shapes.Dodecahedron(1).Vertices, 20.645728807, 20},
		"octahedron":   {shapes.Octahedron(1).Vertices, 3.464101615, 6},
		"sphere":       {shapes.UVSphere(10, 32, 32).Vertices, 0, len(shapes.UVSphere(10, 32, 32).Vertices)},
	} {
		corners, flats := convexHull(c.points, boxOf(c.points))
		area := 0.0
		for _, f := range flats {
			area += f.area
			if high := reachOf(c.points, f.normal); high > reachOf(corners, f.normal)+1e-7 {
				t.Fatalf("%s: a point lies %g outside the hull", name, high-reachOf(corners, f.normal))
			}
		}
		if c.area > 0 && math.Abs(area-c.area) > 1e-6*c.area {
			t.Errorf("%s: area %.9f, want %.9f", name, area, c.area)
		}
		if c.corners > 0 && len(corners) < c.corners {
			t.Errorf("%s: %d corners, want at least %d", name, len(corners), c.corners)
		}
		if len(flats) == 0 {
			t.Errorf("%s: no faces", name)
		}
	}
}

func reachOf(points []mesh.Vec, d mesh.Vec) float64 {
	best := math.Inf(-1)
	for _, p := range points {
		best = max(best, p.Dot(d))
	}
	return best
}

func TestFlatCloudsHaveNoHull(t *testing.T) {
	for _, points := range [][]mesh.Vec{nil, {{1, 2, 3}}, {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {1, 1, 0}, {0.5, 0.5, 0}}, {{0, 0, 0}, {1, 1, 1}, {2, 2, 2}, {3, 3, 3}}} {
		if _, flats := convexHull(points, boxOf(points)); flats != nil {
			t.Errorf("%v has %d faces", points, len(flats))
		}
	}
}

// What extremes leaves out must hardly matter to the reach in any direction.
func TestExtremesKeepTheHull(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"long rod": fine(shapes.Box(200, 2, 3), 6), "ball": shapes.UVSphere(50, 200, 200), "torus": shapes.Torus(40, 5, 200, 60),
	} {
		few := extremes(m.Vertices, m.Bounds())
		if len(few) >= len(m.Vertices) {
			t.Errorf("%s: nothing was left out of %d", name, len(few))
		}
		size := m.Bounds().Size().Len()
		for _, d := range sphere(300) {
			if lost := reachOf(m.Vertices, d) - reachOf(few, d); lost > 1e-3*size {
				t.Errorf("%s: %g mm lost towards %v", name, lost, d)
			}
		}
	}
}

// fine splits every facet into four, n times.
func fine(m *mesh.Mesh, n int) *mesh.Mesh {
	for range n {
		next := &mesh.Mesh{Vertices: append([]mesh.Vec(nil), m.Vertices...)}
		mid := map[[2]int32]int32{}
		middle := func(a, b int32) int32 {
			key := [2]int32{min(a, b), max(a, b)}
			if _, ok := mid[key]; !ok {
				mid[key] = int32(len(next.Vertices))
				next.Vertices = append(next.Vertices, m.Vertices[a].Add(m.Vertices[b]).Mul(0.5))
			}
			return mid[key]
		}
		for _, t := range m.Triangles {
			ab, bc, ca := middle(t[0], t[1]), middle(t[1], t[2]), middle(t[2], t[0])
			next.Triangles = append(next.Triangles, [3]int32{t[0], ab, ca}, [3]int32{ab, t[1], bc}, [3]int32{ca, bc, t[2]}, [3]int32{ab, bc, ca})
		}
		m = next
	}
	return m
}

func TestSmallestCircle(t *testing.T) {
	rnd := random(2)
	for range 200 {
		points := make([]point, 1+rnd.IntN(30))
		for i := range points {
			points[i] = point{rnd.NormFloat64(), rnd.NormFloat64()}
		}
		c := smallestCircle(points)
		on := 0
		for _, p := range points {
			d := p.sub(c.centre).len() - c.radius
			if d > 1e-9 {
				t.Fatalf("%v lies %g outside", p, d)
			}
			if d > -1e-9 {
				on++
			}
		}
		if on < min(2, len(points)) {
			t.Fatalf("only %d of %d points on the circle: it could be smaller", on, len(points))
		}
	}
	if c := smallestCircle([]point{{0, 0}, {2, 0}, {1, 1}, {1, -1}}); math.Abs(c.radius-1) > 1e-12 {
		t.Errorf("radius %g, want 1", c.radius)
	}
}

func TestRotationTo(t *testing.T) {
	for _, up := range append(append(axes(), sphere(200)...), unit(mesh.Vec{1e-9, 0, -1})) {
		r := rotationTo(up)
		for i := range 3 {
			for k := range 3 {
				want := 0.0
				if i == k {
					want = 1
				}
				if got := r[i].Dot(r[k]); math.Abs(got-want) > 1e-7 {
					t.Errorf("%v: rows %d and %d give %g", up, i, k, got)
				}
			}
		}
		if r[0].Cross(r[1]).Sub(r[2]).Len() > 1e-7 || r[2].Sub(up).Len() > 1e-8 {
			t.Errorf("%v: no rotation that turns it up: %v", up, r)
		}
	}
}

// 16 CFR 1501.4: a ball of 31.7 mm just enters the cylinder, and the longest
// line inside is 65.3 mm (VALUES: computed from the published figures).
func TestSmallPartsCylinder(t *testing.T) {
	turn := func(m *mesh.Mesh) []mesh.Vec { return shapes.Rotated(m, mesh.Vec{1, 2, 3}, 37).Vertices }
	for _, c := range []struct {
		name string
		mesh *mesh.Mesh
		in   bool
	}{
		{"a ball of 31.6 mm", shapes.UVSphere(15.8, 48, 48), true},
		{"a ball of 32 mm", shapes.UVSphere(16, 48, 48), false},
		{"a needle of 64 mm", shapes.Box(64, 0.2, 0.2), true},
		{"a needle of 66 mm", shapes.Box(66, 0.2, 0.2), false},
		{"a rod of 25 by 20 mm", shapes.Prism(48, 12.5, 20), true},
		{"a disc of 50 mm", shapes.Prism(48, 25, 3), false},
		{"a disc of 31 by 25 mm", shapes.Prism(48, 15.5, 25), true},
		{"a disc of 31 by 45 mm", shapes.Prism(48, 15.5, 45), false},
		{"a cube of 20 mm", shapes.Box(20, 20, 20), true},
		{"a cube of 30 mm", shapes.Box(30, 30, 30), false},
	} {
		if got := swallowed(turn(c.mesh)); got != c.in {
			t.Errorf("%s: %v, want %v", c.name, got, c.in)
		}
	}
}

func TestRoom(t *testing.T) {
	build := [3]float64{220, 220, 250}
	for _, c := range []struct {
		name string
		size [3]float64
		want float64
	}{
		{"a cube of 300", [3]float64{300, 300, 300}, 220.0 / 300},
		{"a tower", [3]float64{50, 50, 500}, 0.5},
		{"just fits", [3]float64{220, 220, 250}, 1},
		// A rod of length l and width w across a square of side s: s = (l+w)/sqrt 2.
		{"across the plate", [3]float64{400, 20, 10}, 220 * math.Sqrt2 / 420},
	} {
		m := shapes.Box(c.size[0], c.size[1], c.size[2])
		s := standing(upright, m.Vertices)
		if got := room.Scale(s.plan(m.Vertices), c.size[2], build); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("%s: %g, want %g", c.name, got, c.want)
		}
	}
	diagonal := math.Sqrt(220*220 + 220*220 + 250*250)
	for length, want := range map[float64]bool{diagonal - 12: true, diagonal + 1: false} {
		m := shapes.Box(length, 2, 2)
		if _, ok := laidDown(m.Vertices, build); ok != want {
			t.Errorf("a rod of %g mm, the room's diagonal is %g: %v", length, diagonal, ok)
		}
	}
}
