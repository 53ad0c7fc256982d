package slice

import (
	"context"
	"math"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// packed packs as many copies as there is room for.
func packed(t *testing.T, m *mesh.Mesh, in Input, n int) (*supportGrid, plate) {
	t.Helper()
	p, part := prepared(t, m, in)
	g, err := placeSupports(context.Background(), p, part)
	if err != nil {
		t.Fatal(err)
	}
	return g, p.pack(g, part.size, n)
}

// Boxes on a plate of 220 x 220 mm with 6 mm between them: as many along each
// side as fit (220 + 6) / (side + 6).
func TestPackBoxes(t *testing.T) {
	for _, c := range []struct {
		w, d float64
		want int
	}{{60, 60, 9}, {107, 107, 4}, {107.5, 107, 2}, {220, 220, 1}, {221, 20, 0}, {20, 220, 8}, {100, 20, 16}, {9.05, 9.05, 225}} {
		m := box(0, 0, 0, c.w, c.d, 5)
		_, pl := packed(t, m, inputFor(t, m, job.Settings{}), 1000)
		if len(pl.places) != c.want {
			t.Errorf("%g x %g mm: %d on a plate, want %d", c.w, c.d, len(pl.places), c.want)
		}
	}
}

// Outlines pack closer than their boxes, and keep their distance and the plate.
func TestPackOutlines(t *testing.T) {
	angle := joined(box(0, 0, 0, 90, 15, 5), box(0, 0, 0, 15, 90, 5))
	in := inputFor(t, angle, job.Settings{})
	g, pl := packed(t, angle, in, 100)
	boxes := 4 // (220+6)/(90+6) = 2 along each side
	t.Logf("%d angles on a plate, %d by their boxes", len(pl.places), boxes)
	if len(pl.places) < 2*boxes {
		t.Errorf("%d angles on a plate", len(pl.places))
	}
	keepApart(t, g, pl, in)
}

// keepApart checks every two copies, column by column of their footprints.
func keepApart(t *testing.T, g *supportGrid, pl plate, in Input) {
	t.Helper()
	var all [][]spot
	for _, at := range pl.places {
		all = append(all, g.usedSpots(at))
	}
	least := math.Inf(1)
	for i, a := range all {
		for _, q := range a {
			if q.x < -g.cell || q.y < -g.cell || q.x > in.Printer.BuildMM[0]+g.cell || q.y > in.Printer.BuildMM[1]+g.cell {
				t.Fatalf("copy %d reaches over the plate at %v", i, q)
			}
		}
		for _, b := range all[:i] {
			for _, q := range a {
				for _, r := range b {
					least = min(least, q.to(r))
				}
			}
		}
	}
	// From middle to middle of the columns; a packing cell is as far off as it is wide.
	if want := in.Printing.SpacingMM - packCell; least < want {
		t.Errorf("two copies are %.2f mm apart, want %.2f", least, want)
	}
}

// usedSpots lists the used cells of a copy where it lies, a few of them.
func (g *supportGrid) usedSpots(at place) []spot {
	var out []spot
	for c, used := range g.used {
		if !used || (c%g.nx+3*(c/g.nx))%13 != 0 {
			continue
		}
		q := g.turned(spot{(float64(c%g.nx) + 0.5) * g.cell, (float64(c/g.nx) + 0.5) * g.cell}, at.turn)
		out = append(out, spot{at.x + q.x, at.y + q.y})
	}
	return out
}

// The fewest plates that the room and the time limit allow, evenly filled.
func TestPlates(t *testing.T) {
	m := box(0, 0, 0, 60, 60, 3)
	in := inputFor(t, m, job.Settings{Copies: 10})
	in.Limits.JobHours = 100
	e := mustEstimate(t, m, in)
	if e.Plates != 2 || e.PerPlate != 5 {
		t.Errorf("with time enough: %d plates of %d", e.Plates, e.PerPlate)
	}
	one := in
	one.Settings.Copies = 5
	near(t, "two like plates", e.PrintTimeS, 2*mustEstimate(t, m, one).PrintTimeS, 1e-6)

	// With time for three and a half copies on a plate it takes four plates.
	one.Settings.Copies = 3
	three := mustEstimate(t, m, one).PlateTimeS
	one.Settings.Copies = 4
	four := mustEstimate(t, m, one).PlateTimeS
	in.Limits.JobHours = (three + four) / 2 / 3600
	e = mustEstimate(t, m, in)
	if e.Plates != 4 || e.PerPlate != 3 || e.PlateTimeS > in.Limits.JobHours*3600 {
		t.Errorf("with time for three: %d plates of %d, %.2f of %.2f h", e.Plates, e.PerPlate, e.PlateTimeS/3600, in.Limits.JobHours)
	}

	// A part that is too long by itself has a plate to itself, with its time.
	in.Limits.JobHours = 0.1
	if e = mustEstimate(t, m, in); e.Plates != 10 || e.PlateTimeS < 360 {
		t.Errorf("too long: %d plates of %.2f h", e.Plates, e.PlateTimeS/3600)
	}
}

// Copies share the wait for a layer to cool: ten small parts together take far
// less than ten times one.
func TestCopiesShareCooling(t *testing.T) {
	m := box(0, 0, 0, 5, 5, 10)
	in := inputFor(t, m, job.Settings{})
	one := mustEstimate(t, m, in)
	in.Settings.Copies = 10
	ten := mustEstimate(t, m, in)
	if ten.Plates != 1 || ten.PrintTimeS > 6*one.PrintTimeS {
		t.Errorf("one takes %.0f s, ten take %.0f s", one.PrintTimeS, ten.PrintTimeS)
	}
	near(t, "plastic", ten.ModelMM3, one.ModelMM3, 1e-9)
}

// The house's longest time holds for a plate as finished prints teach it: on a slow
// printer fewer copies share one.
func TestPlatesOfASlowPrinter(t *testing.T) {
	m := box(0, 0, 0, 60, 60, 3)
	in := inputFor(t, m, job.Settings{Copies: 4})
	in.Limits.JobHours = 100
	four := mustEstimate(t, m, in).PlateTimeS
	in.Limits.JobHours = 1.1 * four / 3600
	for _, c := range []struct {
		slow     float64
		perPlate int
	}{{1, 4}, {1.05, 4}, {1.5, 2}, {3, 1}} {
		in.Calibration = &Fit{Printer: in.Printer.Name, Material: "PLA", Prints: 9, Time: c.slow, Low: 0.9, High: 1.1, Mass: 1}
		e := mustEstimate(t, m, in)
		if e.PerPlate != c.perPlate || e.PlateTimeS > in.Limits.JobHours*3600 {
			t.Errorf("%g times as slow: %d on a plate of %.2f h, want %d within %.2f h", c.slow, e.PerPlate, e.PlateTimeS/3600, c.perPlate, in.Limits.JobHours)
		}
	}
}
