package preflight

import (
	"math"
	"math/rand/v2"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// Whether a part goes into the small parts cylinder of 16 CFR 1501.4 must not depend on
// how it lies in its file. Each of these goes in with a few tenths to spare, or does not.
func TestSmallPartHoweverItLies(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 7))
	turned := func(m *mesh.Mesh) *mesh.Mesh {
		return shapes.Rotated(m, mesh.Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}, 360*rng.Float64())
	}
	for _, c := range []struct {
		name string
		mesh *mesh.Mesh
		in   bool
	}{
		{"22 x 22 x 24 mm", shapes.Box(22, 22, 24), true},
		{"22 x 22.3 x 30 mm", shapes.Box(22, 22.3, 30), true},
		{"10 x 29 x 29 mm", shapes.Box(10, 29, 29), true},
		{"3 x 30 x 38 mm", shapes.Box(3, 30, 38), true},
		{"3 x 30 x 45 mm", shapes.Box(3, 30, 45), false},
		{"a disc of 31 mm", shapes.Prism(64, 15.5, 20), true},
		{"a cone of 31 mm", shapes.Cone(64, 15.5, 40), true},
		{"23 x 23 x 30 mm", shapes.Box(23, 23, 30), false},
		{"a disc of 32.4 mm", shapes.Prism(64, 16.2, 32.4), false},
		{"a cube of 27 mm", shapes.Box(27, 27, 27), false},
	} {
		for turn := range 12 {
			if got := swallowed(turned(c.mesh).Vertices); got != c.in {
				t.Errorf("%s, turn %d: goes in is %v, want %v", c.name, turn, got, c.in)
				break
			}
		}
	}
}

// Boxes with 3 parts in a hundred to spare along their longest edge, at any turn.
func TestSmallBoxesHoweverTheyLie(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 8))
	missed := 0
	for range 60 {
		wide := 5 + 20*rng.Float64()
		across := math.Sqrt(31.7*31.7*0.97*0.97 - wide*wide) // its diagonal is 3 % less than the cylinder's width
		deep := 20 + 5*rng.Float64()                         // less than the shallow side
		m := shapes.Rotated(shapes.Box(wide, across, deep), mesh.Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}, 360*rng.Float64())
		if !swallowed(m.Vertices) {
			missed++
		}
	}
	if missed > 0 {
		t.Errorf("%d of 60 boxes with 3 %% to spare are missed", missed)
	}
}
