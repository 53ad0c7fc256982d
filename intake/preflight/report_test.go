package preflight

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// The flips that a technician sees at once.
func TestBestWayUp(t *testing.T) {
	onPoint := shapes.OnBed(shapes.Rotated(shapes.Cone(64, 15, 30), mesh.Vec{1, 0, 0}, 180))
	for _, c := range []struct {
		name   string
		mesh   *mesh.Mesh
		asSent bool
		height float64 // 0: any
		bed    float64 // at least, mm2
	}{
		{"a T", shapes.T(10, 50, 50, 12), false, 0, 590},
		{"a wide T that stands no lower on its side", shapes.T(10, 50, 50, 50), false, 50, 2400},
		{"a mushroom", shapes.Mushroom(64, 4, 20, 40), false, 40, 440},
		{"a cone on its point", onPoint, false, 30, 690},
		{"a cone on its base", shapes.Cone(64, 15, 30), true, 30, 690},
		{"a cube", cube(20), true, 20, 400},
		{"a T upside down", shapes.OnBed(shapes.Rotated(shapes.T(10, 50, 50, 50), mesh.Vec{1, 0, 0}, 180)), true, 50, 2400},
		{"an open box", shapes.OpenBox(40, 30, 20, 2), true, 20, 1190},
		{"an open box on its rim", shapes.OnBed(shapes.Rotated(shapes.OpenBox(40, 30, 20, 2), mesh.Vec{1, 0, 0}, 180)), false, 20, 1190},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := checked(t, c.mesh, job.Settings{})
			o, e := r.Orientation, r.Estimate
			if o == nil || e == nil {
				t.Fatalf("no advice: %s", tell(r))
			}
			if o.AsSent != c.asSent || o.SupportMM3 > 1 || o.BedMM2 < c.bed || c.height > 0 && math.Abs(o.HeightMM-c.height) > 1e-3 {
				t.Errorf("%+v", o)
			}
			if !c.asSent && o.SupportMM3 >= e.SupportMM3 && o.PrintTimeS >= e.PrintTimeS && find(r, "small-footprint") == nil {
				t.Errorf("nothing is gained: %+v, as sent %g mm3 and %g s", o, e.SupportMM3, e.PrintTimeS)
			}
			if c.asSent && (o.SupportMM3 != e.SupportMM3 || o.PrintTimeS != e.PrintTimeS) {
				t.Errorf("as sent, but other figures: %+v", o)
			}
			turned := c.mesh.Transformed(o.Rotation, 1).Bounds().Size()
			if math.Abs(turned[2]-o.HeightMM) > 1e-3 {
				t.Errorf("turned it is %g high, not %g", turned[2], o.HeightMM)
			}
			determinant := mesh.Vec(o.Rotation[0]).Cross(o.Rotation[1]).Dot(o.Rotation[2])
			if math.Abs(determinant-1) > 1e-9 {
				t.Errorf("no rotation: %v", o.Rotation)
			}
		})
	}
}

func TestReorientedIsJudgedAsItWillBePrinted(t *testing.T) {
	m := shapes.Mushroom(64, 4, 20, 40)
	sent, turned := checked(t, m, job.Settings{}), checked(t, m, job.Settings{Reoriented: true})
	if find(sent, "overhang") == nil || find(turned, "overhang") != nil {
		t.Errorf("sent %s\nturned %s", tell(sent), tell(turned))
	}
	if turned.Estimate.SupportMM3 > 1 || sent.Estimate.SupportMM3 < 1000 || turned.Estimate.PrintTimeS >= sent.Estimate.PrintTimeS {
		t.Errorf("sent %+v\nturned %+v", sent.Estimate, turned.Estimate)
	}
	if turned.Mesh.SizeMM != sent.Mesh.SizeMM {
		t.Errorf("the file's size is now %v", turned.Mesh.SizeMM)
	}
}

// Plain good parts give no more than the truth about their size.
func TestNoFalseAlarms(t *testing.T) {
	dome := shapes.Turned(domeProfile(), 96)
	for name, m := range map[string]*mesh.Mesh{
		"cube": cube(20), "dome": dome, "open box": shapes.OpenBox(40, 30, 20, 2),
		"bracket": shapes.Bracket(40, 12), "gear": shapes.Gear(20, 2, 8, 6), "name plate": shapes.NamePlate("LARK", 20),
		"planter": shapes.Planter(25, 45, 3), "vase": shapes.Vase(50, 20, 1.2), "lid": shapes.Lid(60, 40, 2, 0.3),
		"stand": shapes.Stand(40, 50, 30, 4), "box with a hole": shapes.BoxWithHole(30, 30, 20, 10),
		"tube":               shapes.Tube(96, 10, 2, 20),
		"finely meshed cube": fine(cube(20), 5),
	} {
		for _, f := range checked(t, m, job.Settings{}).Findings {
			if f.Code != "small-part-hazard" {
				t.Errorf("%s: %s %s", name, f.Code, words(f.Text))
			}
		}
	}
}

// domeProfile is half a circle standing on its flat side.
func domeProfile() shapes.Outline {
	o := shapes.Outline{{0, 0}}
	for i := range 32 {
		sin, cos := math.Sincos(math.Pi / 2 * float64(i) / 32)
		o = append(o, shapes.Point{15 * cos, 15 * sin})
	}
	return append(o, shapes.Point{0, 15})
}

// What was measured goes with the part: moved, turned about the upright axis,
// with its facets in another order, at another scale.
func TestFiguresFollowThePart(t *testing.T) {
	m := shapes.T(10, 50, 50, 12)
	shuffled := &mesh.Mesh{Vertices: m.Vertices, Triangles: append([][3]int32(nil), m.Triangles...)}
	random(3).Shuffle(len(m.Triangles), func(i, k int) {
		shuffled.Triangles[i], shuffled.Triangles[k] = shuffled.Triangles[k], shuffled.Triangles[i]
	})
	for name, c := range map[string]struct {
		mesh *mesh.Mesh
		set  job.Settings
		area float64
	}{
		"moved":    {shapes.Moved(m, 300, -40, 12), job.Settings{}, 480},
		"turned":   {shapes.Rotated(m, mesh.Vec{0, 0, 1}, 33), job.Settings{}, 480},
		"shuffled": {shuffled, job.Settings{}, 480},
		"scaled":   {m, job.Settings{Scale: 1.5}, 480 * 2.25},
		"finer":    {fine(m, 4), job.Settings{}, 480},
	} {
		r := checked(t, c.mesh, c.set)
		f := find(r, "overhang")
		if f == nil || math.Abs(f.Amount-c.area) > 0.005*c.area {
			t.Errorf("%s: %+v, want %g mm2", name, f, c.area)
		}
		if f != nil && f.At != nil {
			scale := max(1, c.set.Scale)
			b := c.mesh.Bounds()
			for k := range 3 {
				if f.At[k] < b.Min[k]*scale-1e-3 || f.At[k] > b.Max[k]*scale+1e-3 {
					t.Errorf("%s: found at %v, outside of the part", name, *f.At)
				}
			}
		}
	}
}

// A ball on the plate: what faces down beyond the angle a is a cap of
// 2 pi r2 (1 - sin a), less the half of the first layer that is on the plate.
func TestOverhangOfABall(t *testing.T) {
	r := rules.Default()
	f := find(checked(t, shapes.UVSphere(12, 192, 192), job.Settings{}), "overhang")
	angle := (r.Printing.SupportAngleDeg + angleSlack) * math.Pi / 180
	want := 2*math.Pi*144*(1-math.Sin(angle)) - 2*math.Pi*12*r.Printing.FirstLayerMM/2
	if f == nil || math.Abs(f.Amount-want) > 0.03*want {
		t.Errorf("%+v, want %.1f mm2", f, want)
	}
}

func TestSupportsAsWished(t *testing.T) {
	m := shapes.T(10, 50, 50, 12)
	f := find(checked(t, m, job.Settings{Supports: "no"}), "overhang")
	if f == nil || f.Level != job.Note || !strings.Contains(words(f.Text), "overhang-unheld") {
		t.Errorf("%+v", f)
	}
	asking := houseRules(t, "[check.overhang]\nlevel = \"ask\"\nlimit = 5\nunit = \"mm2\"\n")
	path := saved(t, m)
	for wish, want := range map[string]job.Level{"": job.Ask, "yes": job.Note, "no": job.Note} {
		f := find(Check(context.Background(), path, asking, job.Settings{Supports: wish}, Options{}), "overhang")
		if f == nil || f.Level != want || (want == job.Ask) != (!f.Question.IsZero()) {
			t.Errorf("supports %q: %+v", wish, f)
		}
	}
	off := houseRules(t, "[check.overhang]\nlevel = \"off\"\nlimit = 5\nunit = \"mm2\"\n")
	if f := find(Check(context.Background(), path, off, job.Settings{}, Options{}), "overhang"); f != nil {
		t.Errorf("switched off: %+v", f)
	}
}

func TestThinnessIsNoMatterWhileTheSizeIsInQuestion(t *testing.T) {
	units := regexp.MustCompile(`units-doubtful \{.*"figure":50\.8,.*"figure":76\.1999.*unit-inches.*"figure":20,.*"figure":30,.*unit-centimetres"[]}]+$`) // and no other
	r := checked(t, shapes.Box(2, 3, 0.3), job.Settings{})
	if f := find(r, "units-doubtful"); f == nil || !units.MatchString(words(f.Text)) {
		t.Errorf("%+v", f)
	}
	for _, f := range r.Findings {
		if f.Code == "thin-wall" && f.Level != job.Note {
			t.Errorf("%+v", f)
		}
	}
	if f := find(checked(t, shapes.Box(2, 3, 0.3), job.Settings{Scale: 25.4}), "units-doubtful"); f != nil {
		t.Errorf("the scale was said, yet %+v", f)
	}
}

func advised(r job.Report, about string) job.Advice {
	for _, a := range r.Advice {
		if a.About == about {
			return a
		}
	}
	return job.Advice{}
}

func TestAdhesionAdvice(t *testing.T) {
	for name, c := range map[string]struct {
		mesh *mesh.Mesh
		want string
	}{
		"cube": {cube(20), "skirt"}, "ball": {shapes.UVSphere(10, 64, 64), "raft"}, "mushroom": {shapes.Mushroom(64, 4, 20, 40), "brim"},
		"tall bar": {shapes.Box(8, 8, 100), "brim"}, "long slab": {shapes.Box(200, 30, 5), "brim"}, "coin": {shapes.Prism(64, 15, 1.5), "skirt"},
	} {
		r := checked(t, c.mesh, job.Settings{})
		if a := advised(r, "adhesion"); words(a.Do) != "findings.do."+c.want || a.Why.IsZero() {
			t.Errorf("%s: %+v, want %s", name, a, c.want)
		} else if r.Estimate == nil || r.Estimate.Adhesion != c.want {
			t.Errorf("%s: the estimate does not follow the advice", name)
		}
	}
}

// A ball loose in a box with small windows: no tool reaches what holds it up.
func TestSolubleSupportAdvice(t *testing.T) {
	cage := shapes.BoxWithVoid(40, 40, 40, 4)
	caged := shapes.Merge(cage, shapes.Moved(shapes.UVSphere(8, 48, 48), 20, 20, 20))
	r := checked(t, caged, job.Settings{})
	if a := advised(r, "support"); words(a.Do) != "findings.do.soluble" || !strings.Contains(words(a.Why), "Bench 2") {
		t.Errorf("%+v\n%s", a, tell(r))
	}
	if f := find(r, "floating-part"); f == nil {
		t.Errorf("the ball hangs in the air: %s", tell(r))
	}
	if a := advised(checked(t, shapes.T(10, 50, 50, 12), job.Settings{}), "support"); !a.Do.IsZero() {
		t.Errorf("a T: %+v", a)
	}
}

// Where supports could not be broken off, those that dissolve are offered with what
// they take; once they are chosen, nothing says that they are broken off.
func TestDissolvingSupportsAreOffered(t *testing.T) {
	caged := shapes.Merge(shapes.BoxWithVoid(40, 40, 40, 4), shapes.Moved(shapes.UVSphere(8, 48, 48), 20, 20, 20))
	look := func(m *mesh.Mesh, s job.Settings) job.Report {
		return Check(t.Context(), saved(t, m), rules.Default(), s, Options{WhatIf: true})
	}
	offer := func(r job.Report) (out *job.Choice) {
		for i, c := range r.Estimate.WhatIf {
			if c.Label.Key == "choices.dissolving" {
				out = &r.Estimate.WhatIf[i]
			}
		}
		return out
	}
	r := look(caged, job.Settings{})
	c := offer(r)
	if c == nil || c.Settings.Supports != "soluble" || c.Settings.Printer != "Bench 2" || c.SupportMaterial != "PVA" || c.SupportMassG <= 0 || c.PrintTimeS <= r.Estimate.PrintTimeS {
		t.Fatalf("%+v beside %+v", c, r.Estimate)
	}
	chosen := look(caged, c.Settings)
	if e := chosen.Estimate; e == nil || e.SupportMaterial != "PVA" || math.Abs(e.PrintTimeS-c.PrintTimeS) > 1 || math.Abs(e.MassG-c.MassG) > 0.01 {
		t.Errorf("chosen, it takes %+v, and was offered as %+v", e, c)
	}
	if f := find(chosen, "overhang"); f == nil || f.Text.Key != "findings.overhang-dissolving" || f.Level != job.Note {
		t.Errorf("%+v", f)
	}
	if c := offer(chosen); c != nil {
		t.Errorf("offered once more: %+v", c)
	}
	if c := offer(look(shapes.T(10, 50, 50, 12), job.Settings{})); c != nil {
		t.Errorf("a T's supports come off by hand, and it is offered %+v", c)
	}
}

func TestOwnChecksRunOnTheWholeReport(t *testing.T) {
	r := houseRules(t, ownRule("height_mm == 20 && volume_mm3 > 7999 && bed_mm2 > 399 && print_time_h > 0 && material == \"PLA\" && fits"))
	got := find(Check(context.Background(), saved(t, cube(20)), r, job.Settings{}, Options{}), "house")
	if got == nil || got.Level != job.Ask || words(got.Text) != "It is 20 mm high." || words(got.Question) != "Is 20 mm right?" {
		t.Errorf("%+v", got)
	}
}

func TestTheSameFileGivesTheSameReport(t *testing.T) {
	path := saved(t, shapes.Merge(shapes.Vase(30, 12, 0.7), shapes.Moved(shapes.Knob(10, 15), 40, 0, 0)))
	var first []byte
	for range 2 {
		b, err := json.Marshal(Check(context.Background(), path, rules.Default(), job.Settings{}, Options{}))
		if err != nil {
			t.Fatal(err)
		}
		if first != nil && string(b) != string(first) {
			t.Fatalf("first %s\nthen  %s", first, b)
		}
		first = b
	}
}

func TestProgressAndTheEndOfTime(t *testing.T) {
	var said []string
	path := saved(t, cube(20))
	Check(context.Background(), path, rules.Default(), job.Settings{}, Options{Progress: func(s string) { said = append(said, s) }})
	if len(said) < 4 || said[0] != "reading the file" {
		t.Errorf("said %q", said)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Nanosecond)
	defer cancel()
	r := Check(ctx, path, rules.Default(), job.Settings{}, Options{})
	if r.Error.IsZero() || strings.Contains(words(r.Error), "context") {
		t.Errorf("%+v", r)
	}
}

// The benchmark boat is made to print without trouble. Its published volume is
// 15.55 cm3 and its size 60 x 31 x 48 mm; the mesh is in the Go module
// github.com/fogleman/fauxgl (MIT), examples/boat.stl.
func TestBenchmarkBoat(t *testing.T) {
	home, err := os.UserHomeDir()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(home, "go/pkg/mod/github.com/fogleman/fauxgl@v0.0.0-20200818143847-27cddc103802/examples/boat.stl")
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
			t.Fatal(err)
		}
		t.Skip("the benchmark boat is not here; testdata/fetch.sh gets it")
	}
	r := Check(context.Background(), path, rules.Default(), job.Settings{}, Options{})
	t.Log(tell(r))
	for _, f := range r.Findings {
		if f.Level != job.Note {
			t.Errorf("false alarm: %+v", f)
		}
	}
	if !r.Orientation.AsSent || !r.Fit.Fits || math.Abs(r.Mesh.VolumeMM3-15550) > 16 {
		t.Errorf("%+v %+v %+v", r.Orientation, r.Fit, r.Mesh)
	}
	if f := find(r, "overhang"); f != nil && f.Amount > 0.04*r.Mesh.AreaMM2 {
		t.Errorf("it is made to print without supports, but %+v", f)
	}
}
