package preflight

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// wedge is a door wedge: length along x, its sharp edge cut off at a nose as thick as given.
func wedge(degrees, length, nose float64) *mesh.Mesh {
	return shapes.Extrude(30, shapes.Outline{{0, 0}, {length, 0}, {length, nose + length*math.Tan(degrees*math.Pi/180)}, {0, nose}})
}

func sharpWedge(degrees, length float64) *mesh.Mesh {
	return shapes.Extrude(30, shapes.Outline{{0, 0}, {length, 0}, {length, length * math.Tan(degrees*math.Pi/180)}})
}

// fin is a wall that is thinner at its rim than at its foot, on a base.
func fin(foot, rim, high float64) *mesh.Mesh {
	return shapes.Extrude(30, shapes.Outline{{-10, -5}, {10, -5}, {10, 0}, {foot / 2, 0}, {rim / 2, high}, {-rim / 2, high}, {-foot / 2, 0}, {-10, 0}})
}

// blade is sharp on both sides of its middle.
func blade(degrees, wide float64) *mesh.Mesh {
	h := wide / 2 * math.Tan(degrees/2*math.Pi/180)
	return shapes.Extrude(60, shapes.Outline{{-wide / 2, 0}, {0, -h}, {wide / 2, 0}, {0, h}})
}

// chamfered is a block one of whose edges is drawn out at 30 degrees.
func chamfered() *mesh.Mesh {
	return shapes.Extrude(30, shapes.Outline{{0, 0}, {40, 0}, {40 + 10/math.Tan(math.Pi/6), 10}, {0, 10}})
}

// lens is two caps of a ball that meet in a sharp rim.
func lens(radius, across float64) *mesh.Mesh {
	half, profile := math.Asin(across/2/radius), shapes.Outline{}
	for k := -24; k <= 24; k++ {
		a := half * (1 - math.Abs(float64(k))/24)
		z := radius * (math.Cos(a) - math.Cos(half))
		profile = append(profile, shapes.Point{radius * math.Sin(a), math.Copysign(z, float64(k))})
	}
	profile[0][0], profile[len(profile)-1][0] = 0, 0
	return shapes.Turned(profile, 96)
}

// A wall thinner than a line is missing when printed, and the job stops; a wedge has a
// sharp edge that loses its last tenths, which is noted. It is the same however the
// part is turned.
func TestWedgeIsNoThinWall(t *testing.T) {
	for _, c := range []struct {
		name string
		mesh *mesh.Mesh
		want job.Level
	}{
		{"a shim of 5 degrees", sharpWedge(5, 90), ""},
		{"a door wedge of 10 degrees", sharpWedge(10, 100), ""},
		{"a ramp of 20 degrees", sharpWedge(20, 60), ""},
		{"a ramp of 30 degrees", sharpWedge(30, 50), ""},
		{"a ramp of 36 degrees", sharpWedge(36, 50), ""},
		{"a door wedge with a nose of 0.1 mm", wedge(10, 100, 0.1), ""},
		{"a blade of 15 degrees", blade(15, 30), ""},
		{"a block drawn out to an edge of 30 degrees", chamfered(), ""},
		{"a lens", lens(60, 50), ""},
		{"a needle", shapes.Cone(64, 5, 60), ""},

		{"a wall of 0.15 mm", shapes.Box(40, 0.15, 30), job.Stop},
		{"a wall of 0.15 mm on a base", fin(0.15, 0.15, 20), job.Stop},
		{"a low rim of 0.15 mm", fin(0.15, 0.15, 3), job.Stop},
		{"a wall that tapers to a rim of 0.15 mm", fin(0.18, 0.15, 10), job.Stop},
		{"a wall of 0.7 mm that tapers to 0.6", fin(0.7, 0.6, 10), job.Ask},
		{"a shell of 0.15 mm", shapes.Tube(96, 15, 0.15, 30), job.Stop},
		{"a wedge beside a wall of 0.15 mm", shapes.Merge(sharpWedge(10, 60), shapes.Moved(shapes.Box(40, 0.15, 30), 0, 60, 0)), job.Stop},
		{"a wall of 0.9 mm", fin(0.9, 0.9, 20), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(17, 4))
			for turn := range 6 {
				m := c.mesh
				if turn > 0 {
					m = shapes.OnBed(shapes.Rotated(m, mesh.Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}, 360*rng.Float64()))
				}
				r := checked(t, m, job.Settings{})
				var got job.Level
				f := find(r, job.CodeThinWall)
				if f != nil {
					got = f.Level
				}
				if got != c.want {
					t.Errorf("turn %d: thin-wall is %q, want %q: %+v", turn, got, c.want, f)
				}
			}
		})
	}
}

// How much of a sharp edge is thinner than a line, 0.4 mm, follows from its angle.
func TestSharpEdgeIsNoted(t *testing.T) {
	for _, degrees := range []float64{5, 10, 20, 30} {
		r := checked(t, sharpWedge(degrees, 60), job.Settings{})
		f := find(r, job.CodeFineDetail)
		want := 0.4 / math.Tan(degrees*math.Pi/180)
		if f == nil || f.Level != job.Note || math.Abs(f.Amount-want) > 0.15*want {
			t.Errorf("%g degrees: %s, want a note of %.2f mm", degrees, fmt.Sprint(f), want)
		}
	}
}

// A groove that narrows to a sharp bottom is no slot whose sides stick together, however
// narrow it becomes; one with parallel sides is.
func TestGrooveIsNoSlot(t *testing.T) {
	groove := func(top, bottom float64) *mesh.Mesh {
		return shapes.Extrude(30, shapes.Outline{{0, 0}, {40, 0}, {40, 20}, {20 + top/2, 20}, {20 + bottom/2, 5}, {20 - bottom/2, 5}, {20 - top/2, 20}, {0, 20}})
	}
	for _, c := range []struct {
		top, bottom float64
		found       bool
	}{{4, 0.05, false}, {2, 0.05, false}, {0.2, 0.2, true}, {0.25, 0.2, true}} {
		rng := rand.New(rand.NewPCG(17, 5))
		for turn := range 6 {
			m := groove(c.top, c.bottom)
			if turn > 0 {
				m = shapes.OnBed(shapes.Rotated(m, mesh.Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}, 360*rng.Float64()))
			}
			r := checked(t, m, job.Settings{})
			if f := find(r, job.CodeNarrowGap); (f != nil) != c.found {
				t.Errorf("a groove of %g to %g mm, turn %d: %v", c.top, c.bottom, turn, f)
			}
		}
	}
}
