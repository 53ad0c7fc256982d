package slice

import (
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// Supports by hand: the air under what hangs, less the gap, times the density.
// Lines at 15 % are 2.67 mm apart: 16 mm hold six of them, 40 mm fifteen. A column
// is 0.4 mm wide, so an edge may be off by half of that.
func TestSupportsByHand(t *testing.T) {
	const density, gap = 0.15, 0.2
	cap := joined(box(15, 15, 0, 10, 10, 20), box(0, 0, 20, 40, 40, 5))
	legs := func(span float64) *mesh.Mesh {
		return joined(box(0, 0, 0, 10, 16, 15), box(10+span, 0, 0, 10, 16, 15), box(0, 0, 15, 20+span, 16, 4))
	}
	lowOnFoot := joined(box(0, 0, 0, 40, 40, 18), box(15, 15, 18, 10, 10, 2), box(0, 0, 20, 40, 40, 5))
	onFoot := joined(box(0, 0, 0, 40, 40, 4), box(15, 15, 4, 10, 10, 16), box(0, 0, 20, 40, 40, 5))
	for _, c := range []struct {
		name string
		mesh *mesh.Mesh
		want float64
	}{
		{"mushroom", cap, (1600 - 100) * (20 - gap) * density},
		{"mushroom on a foot", onFoot, (1600 - 100) * (16 - 2*gap) * density},
		{"mushroom low above its foot", lowOnFoot, (1600 - 100) * (2 - 2*gap) * density},
		{"bridge of 9 mm", legs(9), 0},
		{"bridge of 10 mm, which the rules allow", legs(10), 0},
		{"bridge of 11 mm", legs(11), 11 * 16 * (15 - gap) * density},
		{"bridge of 16 mm", legs(16), 16 * 16 * (15 - gap) * density},
		{"cube", box(0, 0, 0, 20, 20, 20), 0},
		{"45 degree wedge", wedge(20, 20), 0},
		{"60 degree wedge", wedge(10, 17.3205), (17.3205*10/2 - 17.3205*gap) * 16 * density}, // a triangle of air, less the gap
		{"chamfer of 30 degrees from upright", wedge(20, 11.547), 0},
	} {
		e := mustEstimate(t, c.mesh, inputFor(t, c.mesh, job.Settings{}))
		near(t, c.name, e.SupportMM3, c.want, 0.05*c.want)
		set := job.Settings{Supports: "no"}
		if e := mustEstimate(t, c.mesh, inputFor(t, c.mesh, set)); e.SupportMM3 != 0 || e.SupportMassG != 0 {
			t.Errorf("%s: supports were not wanted, and take %.1f mm3", c.name, e.SupportMM3)
		}
	}
}

// wedge is an upright block, 16 mm deep, from which a slab leans out to one
// side: by reach over a height, from the plate.
func wedge(height, reach float64) *mesh.Mesh {
	return turnedUp(shapes.Extrude(16, shapes.Outline{{0, 0}, {10, 0}, {10 + reach, height}, {10 + reach, height + 5}, {0, height + 5}}))
}

// turnedUp turns y up.
func turnedUp(m *mesh.Mesh) *mesh.Mesh {
	return m.Transformed([3][3]float64{{1, 0, 0}, {0, 0, -1}, {0, 1, 0}}, 1)
}

// Supports that dissolve: of their own material, laid by the second nozzle,
// with a change of nozzle in each layer that has them.
func TestSolubleSupports(t *testing.T) {
	m := joined(box(15, 15, 0, 10, 10, 20), box(0, 0, 20, 40, 40, 5))
	own := mustEstimate(t, m, inputFor(t, m, job.Settings{Printer: "Bench 2"}))
	in := inputFor(t, m, job.Settings{Supports: "soluble"})
	e := mustEstimate(t, m, in)
	if e.Printer != "Bench 2" || e.SupportMaterial != "PVA" || own.SupportMaterial != "" {
		t.Fatalf("printed on %s with supports of %q", e.Printer, e.SupportMaterial)
	}
	layers := 99.0 // of 0.2 mm up to 19.8 mm, the first of 0.25
	near(t, "purged", e.PurgeMM3, layers*in.Printer.PurgeMM3, 1.5*in.Printer.PurgeMM3)
	changes := e.PurgeMM3 / in.Printer.PurgeMM3
	near(t, "time", e.PrintTimeS, own.PrintTimeS+changes*(in.Printer.SwitchS+in.Printer.PurgeMM3/in.Printer.MaxFlow), 1)
	near(t, "mass of supports", e.SupportMassG, (e.SupportMM3+e.PurgeMM3/2)*1.23/1000, 1e-9)
	near(t, "mass", e.MassG, own.MassG-own.SupportMassG+e.PurgeMM3/2*1.24/1000+e.SupportMassG, 1e-6)
}

// The printer is the caller's choice: what Pick returns.
func TestPick(t *testing.T) {
	r := houseRules(t)
	for _, c := range []struct {
		name string
		set  job.Settings
		size [3]float64
		want string
		err  bool
	}{
		{"the first that fits", job.Settings{}, [3]float64{100, 100, 100}, "Bench 1", false},
		{"turned by a right angle", job.Settings{Printer: "bench 2"}, [3]float64{10, 214, 199}, "Bench 2", false},
		{"too tall for the second", job.Settings{}, [3]float64{10, 10, 240}, "Bench 1", false},
		{"too big for all: the largest", job.Settings{}, [3]float64{500, 10, 10}, "Bench 1", false},
		{"two nozzles", job.Settings{Supports: "soluble"}, [3]float64{10, 10, 10}, "Bench 2", false},
		{"two nozzles on a printer with one", job.Settings{Supports: "soluble", Printer: "Bench 1"}, [3]float64{10, 10, 10}, "", true},
		{"a material nobody prints", job.Settings{Material: "glass"}, [3]float64{10, 10, 10}, "", true},
		{"a printer that is not there", job.Settings{Printer: "Bench 9"}, [3]float64{10, 10, 10}, "", true},
	} {
		p, err := Pick(r, c.set, c.size)
		if p.Name != c.want || (err != nil) != c.err {
			t.Errorf("%s: %q, %v", c.name, p.Name, err)
		}
	}
	if _, err := For(r, job.Settings{Material: "PVA"}, [3]float64{1, 1, 1}); err == nil {
		t.Error("a part may not be made of what dissolves")
	}
}

// Skirt, brim and raft by hand for a 20 mm square.
func TestAdhesion(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 4)
	base := 0.0
	for _, c := range []struct {
		adhesion string
		mm3      float64
	}{
		{"none", 0},
		// Two loops, 5.2 and 5.6 mm out, with corners cut at 1.5 times that.
		{"skirt", 0.4 * 0.25 * (loopAround(20, 5.2) + loopAround(20, 5.6))},
		// Fifteen lines of 0.4 mm make a rim of 6 mm.
		{"brim", 0.25 * (32*32 - 20*20)},
		// Three layers that reach 3 mm beyond the part.
		{"raft", 26 * 26 * (0.25 + 2*0.2)},
	} {
		in := inputFor(t, m, job.Settings{})
		in.Printing.Adhesion = c.adhesion
		e := mustEstimate(t, m, in)
		if c.adhesion == "none" {
			base = e.MassG
		}
		near(t, c.adhesion, (e.MassG-base)/1.24*1000, c.mm3, 0.03*c.mm3)
		if e.Adhesion != c.adhesion {
			t.Errorf("adhesion is %q", e.Adhesion)
		}
	}
}

// loopAround is the length of a square loop at a distance around a square.
func loopAround(side, d float64) float64 { return 4 * (side + 2*d) }

// Two colours: the letters on a plate, by the second nozzle. Each layer in which
// both are laid has one change, as has the way up to those of the second alone; the two make up what one nozzle would lay.
func TestTwoColours(t *testing.T) {
	plate, letters := box(0, 0, 0, 40, 20, 2.05), box(10, 5, 2.05, 20, 10, 2)
	inlay := joined(box(41, 0, 0, 4, 20, 4.05))
	in := inputFor(t, plate, job.Settings{Printer: "Bench 2"})
	in.Second = joined(letters, inlay)
	e := mustEstimate(t, plate, in)
	near(t, "solid", e.SolidMM3, 40*20*2.05+20*10*2+4*20*4.05, 1)
	near(t, "purged", e.PurgeMM3, 11*in.Printer.PurgeMM3, 1e-9) // the ten layers of the plate, and on the way up from it
	alone := in
	alone.Second = nil
	one, two := mustEstimate(t, plate, alone), mustEstimate(t, in.Second, alone)
	near(t, "plastic", e.ModelMM3, one.ModelMM3+two.ModelMM3, 0.02*e.ModelMM3)
	near(t, "second nozzle", e.SecondMM3, two.ModelMM3, 0.05*two.ModelMM3)
	if e.Layers != 20 {
		t.Errorf("%d layers", e.Layers)
	}
	// The patron's letters lie on the plate, so they need no supports.
	near(t, "supports", e.SupportMM3, 0, 0)
}
