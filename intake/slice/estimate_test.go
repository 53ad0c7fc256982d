package slice

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// A 20 mm cube printed solid: 8 cm3, 9.92 g of PLA at 1.24 g/cm3; 1 g of it is
// 335.28 mm of 1.75 filament and 126.42 mm of 2.85.
func TestSolidCube(t *testing.T) {
	m := box(3, -7, 11, 20, 20, 20)
	in := inputFor(t, m, job.Settings{Infill: 1})
	e := mustEstimate(t, m, in)
	near(t, "solid_mm3", e.SolidMM3, 8000, 1e-6)
	// 100 layers of 0.2 mm and a first one of 0.25 are 20.05 mm high.
	near(t, "model_mm3", e.ModelMM3, 8000*20.05/20, 0.001*8000)
	near(t, "mass_g", e.MassG, 9.92, 0.01*9.92)
	near(t, "filament 1.75", e.Filament175M, e.MassG*0.33528, 0.001)
	near(t, "filament 2.85", e.Filament285M, e.MassG*0.12642, 0.001)
	near(t, "filament of the printer", e.FilamentM, e.Filament175M, 1e-9)
	near(t, "low", e.LowS, e.PrintTimeS*in.Printing.SpreadLow, 1e-6)
	near(t, "high", e.HighS, e.PrintTimeS*in.Printing.SpreadHigh, 1e-6)
	if e.Layers != 100 || e.Plates != 1 || e.Copies != 1 || e.Scale != 1 || e.SupportMM3 != 0 || e.Material != "PLA" || e.Adhesion != "skirt" {
		t.Errorf("estimate is %+v", e)
	}
}

// What is laid for a hollow cube: shells and solid faces, by hand. Two shells of 0.4 mm
// take 400 - 18.4^2 mm2 of each layer; of 100 layers, eight are solid.
func TestCubeByHand(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 20)
	in := inputFor(t, m, job.Settings{InfillSet: true})
	shells, inside := 400-18.4*18.4, 18.4*18.4
	e := mustEstimate(t, m, in)
	near(t, "empty", e.ModelMM3, shells*20.05+inside*(0.25+7*0.2), 0.005*e.ModelMM3)
	in.Settings.Infill = 0.2
	e = mustEstimate(t, m, in)
	near(t, "a fifth full", e.ModelMM3, shells*20.05+inside*(0.25+7*0.2)+0.2*inside*92*0.2, 0.005*e.ModelMM3)
	in.Printing.SolidTop = false
	e = mustEstimate(t, m, in)
	near(t, "without a top", e.ModelMM3, shells*20.05+inside*(0.25+3*0.2)+0.2*inside*96*0.2, 0.005*e.ModelMM3)
}

// Volumes of regular solids (closed forms) and of faceted ones (by the facet
// formula), as printed solid.
func TestSolidVolumes(t *testing.T) {
	for _, c := range []struct {
		name string
		mesh *mesh.Mesh
		want float64
	}{
		{"tetrahedron", shapes.Tetrahedron(20), 0.117851130 * 8000},
		{"octahedron", shapes.Octahedron(20), 0.471404521 * 8000},
		{"dodecahedron", shapes.Dodecahedron(10), 7.663118961 * 1000},
		{"64-gon prism", shapes.Prism(64, 10, 20), 6273.096981},
		{"box with a void", joined(box(0, 0, 0, 20, 20, 20), insideOut(box(5, 5, 5, 10, 10, 10))), 7000},
		{"inside out", insideOut(box(0, 0, 0, 20, 20, 20)), 8000},
		{"inside out with a void", insideOut(joined(box(0, 0, 0, 20, 20, 20), insideOut(box(5, 5, 5, 10, 10, 10)))), 7000},
		{"two bodies that overlap", joined(box(0, 0, 0, 20, 20, 20), box(10, 10, 0, 20, 20, 20)), 2*8000 - 2000},
		{"the same, one inside out", joined(box(0, 0, 0, 20, 20, 20), insideOut(box(10, 10, 0, 20, 20, 20))), 2*8000 - 2000},
		{"a body inside another", joined(box(0, 0, 0, 20, 20, 20), box(5, 5, 5, 5, 5, 5)), 8000},
		{"the same body twice", joined(box(0, 0, 0, 20, 20, 20), box(0, 0, 0, 20, 20, 20)), 8000},
		{"bodies that touch", joined(box(0, 0, 0, 20, 20, 20), box(20, 0, 0, 20, 20, 20)), 16000},
	} {
		e := mustEstimate(t, c.mesh, inputFor(t, c.mesh, job.Settings{}))
		near(t, c.name, e.SolidMM3, c.want, 0.002*c.want)
	}
}

// Files as patrons send them: the right region all the same.
func TestBrokenMeshes(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	whole := ball(15, 5000, 0)
	want := mustEstimate(t, whole, inputFor(t, whole, job.Settings{}))
	holed, flipped, shreds := &mesh.Mesh{Vertices: whole.Vertices}, &mesh.Mesh{Vertices: whole.Vertices}, &mesh.Mesh{}
	for _, f := range whole.Triangles {
		if rnd.IntN(50) != 0 {
			holed.Triangles = append(holed.Triangles, f)
		}
		if rnd.IntN(20) == 0 {
			f[1], f[2] = f[2], f[1]
		}
		flipped.Triangles = append(flipped.Triangles, f)
	}
	for i, f := range whole.Triangles {
		n := int32(3 * i)
		shreds.Vertices = append(shreds.Vertices, whole.Vertices[f[0]], whole.Vertices[f[1]], whole.Vertices[f[2]])
		shreds.Triangles = append(shreds.Triangles, [3]int32{n, n + 1, n + 2})
	}
	for name, m := range map[string]*mesh.Mesh{"one facet in fifty missing": holed, "one facet in twenty flipped": flipped, "no two facets joined": shreds} {
		e := mustEstimate(t, m, inputFor(t, m, job.Settings{}))
		near(t, name+": solid", e.SolidMM3, want.SolidMM3, 0.01*want.SolidMM3)
		near(t, name+": part", e.ModelMM3, want.ModelMM3, 0.02*want.ModelMM3)
		near(t, name+": time", e.PrintTimeS, want.PrintTimeS, 0.03*want.PrintTimeS)
	}
}

// Walls of any thickness are filled: what is laid for a solid print is its
// volume, thinner than a line or not.
func TestThinWalls(t *testing.T) {
	for _, w := range []float64{0.2, 0.3, 0.4, 0.5, 0.6, 0.75, 0.8, 0.9, 1, 1.1, 1.2, 1.3, 1.5, 1.6, 1.9, 2, 2.5, 3.1} {
		for name, m := range map[string]*mesh.Mesh{
			"square tube": shapes.BoxWithHole(30, 30, 10.05, 30-2*w),
			"blade":       box(0, 0, 0, 30, w, 10.05),
			"round tube":  shapes.Extrude(10.05, shapes.Circle(120, 0, 0, 15), shapes.Hole(120, 0, 0, 15-w)),
		} {
			e := mustEstimate(t, m, inputFor(t, m, job.Settings{Infill: 1}))
			near(t, fmt.Sprintf("%s %g mm thick: laid by volume", name, w), e.ModelMM3/e.SolidMM3, 1, 0.03)
		}
	}
}

// The answers to wrong use.
func TestRefused(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 20)
	for _, c := range []struct {
		set  job.Settings
		want string
	}{
		{job.Settings{LayerMM: 5}, "findings.slice.layer "},
		{job.Settings{LayerMM: math.NaN()}, "findings.slice.layer "},
		{job.Settings{Infill: 1.5}, "slice.infill"},
		{job.Settings{Scale: -1}, "slice.scale"},
		{job.Settings{Copies: -2}, "slice.copies"},
		{job.Settings{Shells: -1}, "slice.shells"},
		{job.Settings{Scale: 1e6}, "slice.too-large"},
	} {
		in := inputFor(t, m, job.Settings{})
		in.Settings = c.set
		_, err := Estimate(context.Background(), m, in)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: error is %v", c.set, err)
		}
	}
	if _, err := Estimate(context.Background(), &mesh.Mesh{}, inputFor(t, m, job.Settings{})); err == nil || !strings.Contains(err.Error(), "slice.no-facets") {
		t.Errorf("no facets: error is %v", err)
	}
}

// A deadline ends the work.
func TestDeadline(t *testing.T) {
	m := ball(50, 300_000, 0.05)
	in := inputFor(t, m, job.Settings{LayerMM: 0.05})
	in.WithLargestScale = true
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if _, err := Estimate(ctx, m, in); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error is %v", err)
	}
}

// What no printer could hold is still answered, in bounded time and memory.
func TestFarTooLarge(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 20)
	in := inputFor(t, m, job.Settings{Scale: 100})
	in.WithLargestScale = true
	e := mustEstimate(t, m, in)
	near(t, "solid", e.SolidMM3, 8e9, 0.001*8e9)
	if e.LargestScale < 4 || e.LargestScale > 5.5 || e.Layers != 10000 {
		t.Errorf("largest scale %.3f, %d layers", e.LargestScale, e.Layers)
	}
}

// noise is facets anywhere, all across each other.
func noise(facets int) *mesh.Mesh {
	rnd := rand.New(rand.NewPCG(5, 6))
	m := &mesh.Mesh{}
	for range facets {
		m.Vertices = append(m.Vertices, mesh.Vec{60 * rnd.Float64(), 60 * rnd.Float64(), 20 * rnd.Float64()})
	}
	n := int32(facets)
	for range facets {
		m.Triangles = append(m.Triangles, [3]int32{rnd.Int32N(n), rnd.Int32N(n), rnd.Int32N(n)})
	}
	return m
}

func TestHostileMeshes(t *testing.T) {
	m := noise(120)
	e := mustEstimate(t, m, inputFor(t, m, job.Settings{LayerMM: 0.3}))
	if !(e.SolidMM3 > 0 && e.SolidMM3 < 72000 && e.PrintTimeS > 0) || math.IsInf(e.PrintTimeS, 0) {
		t.Errorf("estimate is %+v", e)
	}
	for name, m := range map[string]*mesh.Mesh{"no two facets meet": noise(20_000), "thousands of bodies across each other": crowd(3000)} {
		_, err := Estimate(context.Background(), m, inputFor(t, m, job.Settings{}))
		if err == nil || !strings.Contains(err.Error(), "slice.crossings") {
			t.Errorf("%s: error is %v", name, err)
		}
	}
	flat := &mesh.Mesh{Vertices: []mesh.Vec{{0, 0, 0}, {10, 0, 0}, {0, 10, 0}}, Triangles: [][3]int32{{0, 1, 2}}}
	for name, m := range map[string]*mesh.Mesh{"one facet": flat, "a thread": box(0, 0, 0, 0.05, 0.05, 30)} {
		_, err := Estimate(context.Background(), m, inputFor(t, m, job.Settings{}))
		if err == nil || !strings.Contains(err.Error(), "slice.nothing-to-fill") {
			t.Errorf("%s: error is %v", name, err)
		}
	}
}

// crowd is large tetrahedra anywhere.
func crowd(n int) *mesh.Mesh {
	rnd := rand.New(rand.NewPCG(8, 9))
	m := &mesh.Mesh{}
	for range n {
		k := int32(len(m.Vertices))
		for range 4 {
			m.Vertices = append(m.Vertices, mesh.Vec{60 * rnd.Float64(), 60 * rnd.Float64(), 20 * rnd.Float64()})
		}
		m.Triangles = append(m.Triangles, [3]int32{k, k + 1, k + 2}, [3]int32{k, k + 3, k + 1}, [3]int32{k, k + 2, k + 3}, [3]int32{k + 1, k + 3, k + 2})
	}
	return m
}

// The same part gives the same estimate, however the work was shared out.
func TestSteady(t *testing.T) {
	m := ball(10, 3000, 0.1)
	in := inputFor(t, m, job.Settings{})
	var all []job.Estimate
	for range 5 {
		all = append(all, mustEstimate(t, m, in))
	}
	if got := slices.CompactFunc(all, func(a, b job.Estimate) bool { return a.PrintTimeS == b.PrintTimeS && a.MassG == b.MassG }); len(got) != 1 {
		t.Errorf("%d different estimates", len(got))
	}
}

func BenchmarkBoat(b *testing.B) {
	m := boat(b)
	benchmarkEstimate(b, m, inputFor(b, m, job.Settings{}))
}

// A million facets over 100 mm: smooth hills and dales, and rough as a scan is.
func BenchmarkMillionFacets(b *testing.B) {
	m := ball(50, 1_000_000, 0.05)
	b.Run("smooth", func(b *testing.B) { benchmarkEstimate(b, m, inputFor(b, m, job.Settings{})) })
	rnd := rand.New(rand.NewPCG(1, 1))
	for i := range m.Vertices {
		m.Vertices[i] = m.Vertices[i].Mul(1 + 0.001*rnd.NormFloat64())
	}
	b.Run("rough", func(b *testing.B) { benchmarkEstimate(b, m, inputFor(b, m, job.Settings{})) })
}

// What a recipe may be, at each bound and just beyond it.
func TestRecipeAtEachBound(t *testing.T) {
	in := inputFor(t, box(0, 0, 0, 20, 20, 20), job.Settings{})
	sound, err := newRecipe(in)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		set       func(p *recipe, v float64)
		good, bad []float64
	}{
		"scale":       {func(p *recipe, v float64) { p.scale = v }, []float64{1e-6, 1e6}, []float64{0.99e-6, 1.01e6}},
		"copies":      {func(p *recipe, v float64) { p.copies = int(v) }, []float64{1}, []float64{0}},
		"layer":       {func(p *recipe, v float64) { p.layerHeight = v }, []float64{0.02, 2}, []float64{0.0199, 2.01}},
		"first-layer": {func(p *recipe, v float64) { p.firstHeight = v }, []float64{0.02, 2}, []float64{0.0199, 2.01}},
		"line-width":  {func(p *recipe, v float64) { p.width = v }, []float64{0.05, 5}, []float64{0.0499, 5.01}},
		"infill":      {func(p *recipe, v float64) { p.infill = v }, []float64{0, 1}, []float64{-0.01, 1.01}},
		"shells":      {func(p *recipe, v float64) { p.shellCount = int(v) }, []float64{0, 1000}, []float64{-1, 1001}},
	} {
		for _, v := range append(c.good, c.bad...) {
			p := *sound
			c.set(&p, v)
			err := p.check()
			if slices.Contains(c.good, v) && err != nil || slices.Contains(c.bad, v) && (err == nil || !strings.Contains(err.Error(), "findings.slice."+name+" ")) {
				t.Errorf("%s of %g: %v", name, v, err)
			}
		}
	}
}
