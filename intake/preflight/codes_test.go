package preflight

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// portal is a bridge between two posts: the span between them is held at both ends.
func portal(span, depth float64) *mesh.Mesh {
	w := span + 20
	front := shapes.Extrude(depth, shapes.Outline{{0, 0}, {10, 0}, {10, 20}, {10 + span, 20}, {10 + span, 0}, {w, 0}, {w, 26}, {0, 26}})
	return shapes.OnBed(shapes.Rotated(front, mesh.Vec{1, 0, 0}, 90))
}

// ribbed is a plate with a rib of the given width and height on it.
func ribbed(width, height float64) *mesh.Mesh {
	return shapes.Relief(3, height, shapes.Outline{{0, 0}, {60, 0}, {60, 30}, {0, 30}},
		shapes.Island{Outer: shapes.Outline{{10, 15}, {50, 15}, {50, 15 + width}, {10, 15 + width}}})
}

// leaning is a slab whose middle lies over beside its base by the given length.
func leaning(by float64) *mesh.Mesh {
	front := shapes.Extrude(20, shapes.Outline{{0, 0}, {20, 0}, {20 + by, 40}, {by, 40}})
	return shapes.OnBed(shapes.Rotated(front, mesh.Vec{1, 0, 0}, 90))
}

func cube(size float64) *mesh.Mesh { return shapes.Box(size, size, size) }

// pair is two cubes side by side, with a gap or an overlap.
func pair(gap float64) *mesh.Mesh {
	return shapes.Merge(cube(20), shapes.Moved(cube(20), 20+gap, 0, 0))
}

// edgeToEdge is two cubes that share one upright edge.
func edgeToEdge() *mesh.Mesh { return shapes.Merge(cube(20), shapes.Moved(cube(20), 20, 20, 0)) }

func seamedDisc(n int, r float64) *mesh.Mesh { return shapes.Prism(n, r, 20) }

// Every finding has a mesh that must give it and a near miss that must not.
func TestEveryFindingAndItsNearMiss(t *testing.T) {
	for _, c := range []struct {
		code  string
		name  string
		mesh  *mesh.Mesh
		level job.Level // "" for a near miss
		least float64   // the amount lies between
		most  float64
	}{
		{"units-doubtful", "2 x 3 x 0.5, drawn in inches", shapes.Box(2, 3, 0.5), job.Ask, 3, 3},
		{"units-doubtful", "100 mm with inches converted twice", shapes.Box(2540, 500, 500), job.Ask, 2540, 2540},
		{"units-doubtful", "a small part", shapes.Box(12, 10, 5), "", 0, 0},
		{"units-doubtful", "a part too big for the printer", shapes.Box(300, 300, 2), "", 0, 0},

		{"too-big", "a plate larger than the plate of the printer", shapes.Box(300, 300, 2), job.Stop, 300, 300},
		{"too-big", "a rod that fits from corner to corner of the room", shapes.Box(330, 5, 5), job.Ask, 330, 330},
		{"too-big", "a rod that fits across the plate", shapes.Box(300, 10, 10), "", 0, 0},
		{"too-big", "as large as the printer's plate", shapes.Box(220, 220, 2), "", 0, 0},
		{"too-big", "as high as the printer", shapes.Box(20, 20, 250), "", 0, 0},

		{"holes", "a cube without one facet", shapes.Without(cube(20), 0), job.Ask, 1, 1},
		{"holes", "a small hole", shapes.Without(shapes.UVSphere(10, 64, 64), 100), job.Note, 1, 1},
		{"holes", "a sheet like paper", shapes.Without(cube(20), 0, 1, 2, 3, 4, 5, 6, 7, 8, 9), job.Stop, 1, 1},
		{"holes", "a cube", cube(20), "", 0, 0},

		{"nonmanifold", "two cubes edge to edge", edgeToEdge(), job.Note, 1, 1},
		{"nonmanifold", "two cubes apart", pair(1), "", 0, 0},

		{"flipped", "a cube with one facet turned", shapes.Flipped(cube(20), 0), job.Note, 3, 3},
		{"flipped", "a cube inside out", shapes.InsideOut(cube(20)), "", 0, 0},

		{"inside-out", "a cube inside out", shapes.InsideOut(cube(20)), job.Note, 1, 1},
		{"inside-out", "a hollow, whose surface faces inwards by right", shapes.BoxWithVoid(30, 30, 30, 5), "", 0, 0},

		{"self-crossing", "two cubes that overlap", shapes.Merge(cube(20), shapes.Moved(cube(20), 10, 7, 5)), job.Note, 1, 100},
		{"self-crossing", "two cubes near each other", pair(0.1), "", 0, 0},

		{"several-parts", "two cubes apart", pair(5), job.Ask, 2, 2},
		{"several-parts", "two cubes that overlap", shapes.Merge(cube(20), shapes.Moved(cube(20), 10, 7, 5)), job.Note, 2, 2},
		{"several-parts", "a cube with a hollow", shapes.BoxWithVoid(30, 30, 30, 5), "", 0, 0},

		{"floating-part", "a cube beside another, higher", shapes.Merge(cube(20), shapes.Moved(cube(20), 40, 0, 10)), job.Ask, 1, 1},
		{"floating-part", "a cube on another", shapes.Merge(cube(20), shapes.Moved(cube(10), 5, 5, 20)), "", 0, 0},
		{"floating-part", "a cube half a layer higher", shapes.Merge(cube(20), shapes.Moved(cube(20), 40, 0, 0.1)), "", 0, 0},

		{"sealed-void", "a hollow with a wide roof", shapes.BoxWithVoid(30, 30, 30, 5), job.Ask, 8000, 8000},
		{"sealed-void", "a hollow with a roof that can be bridged", shapes.BoxWithVoid(14, 14, 14, 3), job.Note, 512, 512},
		{"sealed-void", "a box that is open at the top", shapes.OpenBox(40, 40, 40, 5), "", 0, 0},

		{"thin-wall", "a standing wall of one and a half lines", shapes.Box(40, 0.6, 30), job.Ask, 1150, 1230},
		{"thin-wall", "a standing wall of less than a line", shapes.Box(40, 0.3, 30), job.Stop, 1150, 1230},
		{"thin-wall", "a lying sheet of three layers", shapes.Box(40, 30, 0.6), job.Ask, 1150, 1230},
		{"thin-wall", "a lying sheet of half a layer", shapes.Box(40, 30, 0.1), job.Stop, 1150, 1230},
		{"thin-wall", "a tube with a thin wall", shapes.Tube(64, 10, 0.6, 30), job.Ask, 1600, 2000},
		{"thin-wall", "a standing wall of two lines and a bit", shapes.Box(40, 0.85, 30), "", 0, 0},
		{"thin-wall", "a sharp edge", shapes.Tetrahedron(40), "", 0, 0},
		{"thin-wall", "a sharp point", shapes.Cone(64, 10, 40), "", 0, 0},

		{"fine-detail", "a rib of less than a line", ribbed(0.3, 0.8), job.Note, 0.29, 0.31},
		{"fine-detail", "letters of half a layer", ribbed(5, 0.1), job.Note, 0.09, 0.11},
		{"fine-detail", "a rib of a line and a half", ribbed(0.6, 0.8), "", 0, 0},
		{"fine-detail", "letters of two layers", ribbed(5, 0.4), "", 0, 0},

		{"narrow-gap", "two cubes a layer apart", pair(0.2), job.Ask, 0.19, 0.21},
		{"narrow-gap", "two cubes that would move stiffly", pair(0.4), job.Note, 0.39, 0.41},
		{"narrow-gap", "two cubes that would move", pair(0.6), "", 0, 0},
		{"narrow-gap", "two cubes that touch", pair(0), "", 0, 0},

		{"overhang", "the bar of a T", shapes.T(10, 50, 50, 12), job.Note, 480, 480},
		{"overhang", "a portal too wide to bridge", portal(20, 12), job.Note, 240, 240},
		{"overhang", "a ball", shapes.UVSphere(10, 96, 96), job.Note, 165, 185},
		{"overhang", "a slope of exactly 45 degrees", leaning(40), "", 0, 0},
		{"overhang", "a portal that can be bridged", portal(9, 12), "", 0, 0},
		{"overhang", "a T on its head", shapes.OnBed(shapes.Rotated(shapes.T(10, 50, 50, 12), mesh.Vec{1, 0, 0}, 180)), "", 0, 0},
		{"overhang", "a round hole across", shapes.OnBed(shapes.Rotated(shapes.Extrude(20, shapes.Outline{{-15, -15}, {15, -15}, {15, 15}, {-15, 15}}, shapes.Hole(64, 0, 0, 5)), mesh.Vec{1, 0, 0}, 90)), "", 0, 0},

		{"long-bridge", "a portal of 20 mm", portal(20, 12), job.Note, 19.9, 20.1},
		{"long-bridge", "a portal of 9 mm", portal(9, 12), "", 0, 0},
		{"long-bridge", "a bar held at one end", shapes.T(10, 50, 50, 12), "", 0, 0},

		{"small-footprint", "a ball", shapes.UVSphere(10, 64, 64), job.Note, 6, 9},
		{"small-footprint", "a cap on a stem", shapes.Mushroom(64, 4, 20, 40), job.Note, 49, 51},
		{"small-footprint", "a pillar", shapes.Prism(64, 10, 40), "", 0, 0},

		{"tips-over", "a slab that leans out", leaning(30), job.Ask, -30, 0},
		{"tips-over", "a tall bar", shapes.Box(8, 8, 100), job.Note, 4.4, 4.7},
		{"tips-over", "a bar not so tall", shapes.Box(16, 16, 100), "", 0, 0},

		{"small-part-hazard", "a cube of 20 mm", cube(20), job.Note, 20, 20},
		{"small-part-hazard", "one small of two pieces", shapes.Merge(cube(60), shapes.Moved(cube(12), 80, 0, 0)), job.Note, 12, 12},
		{"small-part-hazard", "a ball of 32.5 mm", shapes.UVSphere(16.25, 64, 64), "", 0, 0},
		{"small-part-hazard", "a rod of 70 mm", shapes.Box(70, 3, 3), "", 0, 0},

		{"coarse-facets", "a wide disc of 24 sides", seamedDisc(24, 40), job.Note, 0.3, 0.4},
		{"coarse-facets", "a fine disc", seamedDisc(128, 40), "", 0, 0},
		{"coarse-facets", "an octagon, meant as one", seamedDisc(8, 40), "", 0, 0},
		{"coarse-facets", "a box with bevelled edges", bevelled(), "", 0, 0},
	} {
		t.Run(c.code+": "+c.name, func(t *testing.T) {
			r := checked(t, c.mesh, job.Settings{})
			f := find(r, c.code)
			switch {
			case !r.Readable || !r.Error.IsZero():
				t.Errorf("not checked: %s", r.Error)
			case c.level == "" && f != nil:
				t.Errorf("false alarm: %+v", *f)
			case c.level != "" && f == nil:
				t.Errorf("not found; found was %s", tell(r))
			case c.level != "" && (f.Level != c.level || f.Amount < c.least-1e-6*math.Abs(c.least) || f.Amount > c.most+1e-6*math.Abs(c.most)):
				t.Errorf("%+v, want %s and %g to %g", *f, c.level, c.least, c.most)
			case c.level == job.Ask && f.Question.IsZero():
				t.Errorf("asks nothing: %+v", *f)
			}
		})
	}
}

// bevelled is a box whose upright edges are cut at 30 and 60 degrees.
func bevelled() *mesh.Mesh {
	return shapes.Extrude(30, shapes.Outline{{3, 0}, {37, 0}, {40, 5.2}, {40, 34.8}, {37, 40}, {3, 40}, {0, 34.8}, {0, 5.2}})
}

func find(r job.Report, code string) *job.Finding {
	for i := range r.Findings {
		if r.Findings[i].Code == code {
			return &r.Findings[i]
		}
	}
	return nil
}

func written(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestUnreadableFiles(t *testing.T) {
	web := written(t, "a.stl", "<!DOCTYPE html><html><body>Sign in to see this file</body></html>")
	r := Check(context.Background(), web, rules.Default(), job.Settings{}, Options{Name: "boat.stl"})
	if r.Readable || r.Error.IsZero() || r.File != "boat.stl" || find(r, "unreadable") == nil || find(r, "not-stl") == nil {
		t.Errorf("a web page: %+v", r)
	}
	cut := written(t, "b.stl", "solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0")
	r = Check(context.Background(), cut, rules.Default(), job.Settings{}, Options{})
	if r.Readable || r.Error.IsZero() || find(r, "unreadable") == nil || find(r, "not-stl") != nil {
		t.Errorf("a truncated file: %+v", r)
	}
	r = Check(context.Background(), filepath.Join(t.TempDir(), "none.stl"), rules.Default(), job.Settings{}, Options{})
	if r.Readable || r.Error.IsZero() || find(r, "unreadable") == nil {
		t.Errorf("no file: %+v", r)
	}
}

func TestTooLong(t *testing.T) {
	r := checked(t, shapes.Box(60, 60, 150), job.Settings{Infill: 1, InfillSet: true})
	f := find(r, "too-long")
	if f == nil || f.Level != job.Stop || f.Amount < 8 || math.Abs(f.Amount-r.Estimate.PlateTimeS/3600) > 1e-9 {
		t.Errorf("%+v", f)
	}
	if f := find(checked(t, cube(20), job.Settings{}), "too-long"); f != nil {
		t.Errorf("false alarm: %+v", f)
	}
}

func TestAlreadyPrinted(t *testing.T) {
	path := saved(t, cube(20))
	sum, err := File{path: path}.SHA256()
	if err != nil {
		t.Fatal(err)
	}
	seen := func(of string) func(string) (job.Message, bool) {
		return func(s string) (job.Message, bool) {
			return job.Plain("it was printed on May 4 and collected"), s == of
		}
	}
	r := Check(context.Background(), path, rules.Default(), job.Settings{}, Options{Seen: seen(sum)})
	if f := find(r, "already-printed"); f == nil || words(f.Text) != `findings.already-printed {"became":"it was printed on May 4 and collected"}` {
		t.Errorf("%+v", f)
	}
	r = Check(context.Background(), path, rules.Default(), job.Settings{}, Options{Seen: seen("other")})
	if f := find(r, "already-printed"); f != nil {
		t.Errorf("false alarm: %+v", f)
	}
}
