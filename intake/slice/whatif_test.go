package slice

import (
	"context"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

func mustWhatIf(t *testing.T, m *mesh.Mesh, in Input) []job.Choice {
	t.Helper()
	p, err := NewPlan(context.Background(), m, in)
	if err != nil {
		t.Fatal(err)
	}
	base, err := p.Estimate(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	rows, err := p.WhatIf(context.Background(), base)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		t.Logf("%-50s %.2f h %6.1f g %d plate(s) within %v", r.Label, r.PrintTimeS/3600, r.MassG, r.Plates, r.Within)
	}
	return rows
}

// Every row agrees with an estimate at its settings.
func rowsHold(t *testing.T, m *mesh.Mesh, in Input, rows []job.Choice) {
	t.Helper()
	if len(rows) == 0 || len(rows) > fewRows {
		t.Fatalf("%d rows", len(rows))
	}
	base := mustEstimate(t, m, in)
	for _, r := range rows {
		in.Settings = r.Settings
		e := mustEstimate(t, m, in)
		near(t, r.Label.Key+": time", r.PrintTimeS, e.PrintTimeS, 1e-6)
		near(t, r.Label.Key+": mass", r.MassG, e.MassG, 1e-9)
		if r.Plates != e.Plates || r.Within != (e.PlateTimeS <= in.Limits.JobHours*3600) {
			t.Errorf("%s: %d plates, within %v; the estimate says %d, %.2f h", r.Label, r.Plates, r.Within, e.Plates, e.PlateTimeS/3600)
		}
		if r.PrintTimeS >= base.PrintTimeS && r.MassG >= base.MassG {
			t.Errorf("%s is no help", r.Label)
		}
	}
}

func TestWhatIfTooLong(t *testing.T) {
	m := box(0, 0, 0, 110, 100, 70)
	in := inputFor(t, m, job.Settings{Infill: 0.25})
	rows := mustWhatIf(t, m, in)
	rowsHold(t, m, in, rows)
	for _, r := range rows {
		if !r.Within {
			t.Errorf("%s does not bring it under", r.Label)
		}
	}
	if last := rows[len(rows)-1]; last.Settings.Scale == 0 || !last.Within {
		t.Errorf("the last row is no size that can be printed: %+v", last)
	}
}

func TestWhatIfWithinTheLimit(t *testing.T) {
	m := box(0, 0, 0, 30, 30, 30)
	in := inputFor(t, m, job.Settings{Infill: 0.2})
	rows := mustWhatIf(t, m, in)
	rowsHold(t, m, in, rows)
	for _, r := range rows {
		if !r.Within {
			t.Errorf("%s is not within the limit", r.Label)
		}
	}
}

func TestWhatIfManyCopies(t *testing.T) {
	m := box(0, 0, 0, 60, 60, 12)
	in := inputFor(t, m, job.Settings{Copies: 15})
	rows := mustWhatIf(t, m, in)
	rowsHold(t, m, in, rows)
	found := false
	for _, r := range rows {
		found = found || r.Settings.Copies > 0 && r.Settings.Copies < 15 && r.Plates == 1
	}
	if !found {
		t.Error("no row says what fits on one plate")
	}
}

// A bar of 300 x 20 mm across a plate of 220: 220 sqrt 2 / 320 of its size, 97 %.
func TestWhatIfTooBig(t *testing.T) {
	m := box(0, 0, 0, 300, 20, 20)
	in := inputFor(t, m, job.Settings{})
	rows := mustWhatIf(t, m, in)
	if len(rows) == 0 || !rows[0].Within || !strings.Contains(rows[0].Label.String(), `"amount":97`) {
		t.Errorf("the first row is no size that fits: %+v", rows)
	}
}

// A layer of more than 75 % of the nozzle is not offered, and one of just that is
// (University of Maryland guide 912: 25 to 75 %).
func TestNoLayerTooThickForTheNozzle(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 20)
	for layer, want := range map[float64]bool{0.3: true, 0.31: false} {
		in := inputFor(t, m, job.Settings{})
		in.Printer.NozzleMM, in.Printing.LayerChoices = []float64{0.4}, []float64{0.2, layer}
		offered := slices.ContainsFunc(mustWhatIf(t, m, in), func(r job.Choice) bool { return r.Settings.LayerMM == layer })
		if offered != want {
			t.Errorf("layers of %g mm from a nozzle of 0.4 are offered: %v", layer, offered)
		}
	}
}
