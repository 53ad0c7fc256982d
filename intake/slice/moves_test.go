package slice

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"strconv"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// replay reads moves as anyone could and plans them with the brute-force
// planner of the tests, layer by layer.
type replay struct {
	seconds float64 // of all moves, hops with pulling back
	lifts   float64 // mm
	volume  map[string]float64
	layers  int
	rows    int
}

func replayed(t *testing.T, in Input, data []byte, per int) replay {
	t.Helper()
	recs, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := recs[0]; len(got) != 8 || got[0] != "feature" || got[7] != "speed" {
		t.Fatalf("header is %q", got)
	}
	out := replay{volume: map[string]float64{}}
	var legs []leg
	var at [2]float64
	z, below := 0.0, 0.0
	flush := func() {
		if len(legs) > 0 {
			out.seconds += steppedBy(legs, in.Printer.CornerSpeed, per)
		}
		legs = legs[:0]
	}
	for n, rec := range recs[1:] {
		var v [7]float64
		for k := range v {
			if v[k], err = strconv.ParseFloat(rec[k+1], 64); err != nil {
				t.Fatalf("row %d: %v", n+2, err)
			}
		}
		out.rows++
		if math.Abs(v[4]-z) > 1e-6 {
			flush()
			below, z = z, v[4]
			out.layers++
			out.lifts += z - below
		}
		if n > 0 && (math.Abs(v[0]-at[0]) > 1e-3 || math.Abs(v[1]-at[1]) > 1e-3) {
			t.Fatalf("row %d begins at %v, but the one before ended at %v", n+2, v[:2], at)
		}
		at = [2]float64{v[2], v[3]}
		l := leg{v[2] - v[0], v[3] - v[1], v[6], in.Printer.Acceleration}
		switch rec[0] {
		case "hop":
			flush()
			l.accel = in.Printer.TravelAcceleration
			legs = append(legs, l)
			flush()
			out.seconds += 2 * in.Printer.RetractMM / in.Printer.RetractSpeed
		case "travel":
			l.accel = in.Printer.TravelAcceleration
			legs = append(legs, l)
		default:
			legs = append(legs, l)
			out.volume[rec[0]] += math.Hypot(l.x, l.y) * v[5] * (z - below)
		}
	}
	flush()
	return out
}

// The moves, read back and planned by brute force, give the estimate's time
// and plastic.
func TestMovesReplayed(t *testing.T) {
	cases := []struct {
		name string
		mesh *mesh.Mesh
		set  job.Settings
	}{
		{"cube", box(0, 0, 0, 20, 20, 8), job.Settings{}},
		{"small and quick, slowed to cool", box(0, 0, 0, 6, 6, 4), job.Settings{}},
		{"ball with supports", ball(8, 4000, 0), job.Settings{LayerMM: 0.3}},
		{"plate on legs", joined(box(0, 0, 0, 3, 3, 8), box(30, 0, 0, 3, 3, 8), box(0, 0, 7, 33, 12, 2)), job.Settings{Infill: 0.3, LayerMM: 0.3}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			in := inputFor(t, c.mesh, c.set)
			e := mustEstimate(t, c.mesh, in)
			var out bytes.Buffer
			if err := Moves(context.Background(), c.mesh, in, &out); err != nil {
				t.Fatal(err)
			}
			r := replayed(t, in, out.Bytes(), 40)
			p := in.Printer
			// Layers that are too quick even at the slowest speed stay so.
			got := p.WarmUpS + r.seconds + (r.lifts-in.Printing.FirstLayerMM)/p.ZSpeed
			near(t, "time", got, e.PrintTimeS, 0.005*e.PrintTimeS)
			model := 0.0
			for f, v := range r.volume {
				if f != "support" && f != "skirt" {
					model += v
				}
			}
			near(t, "plastic of the part", model, e.ModelMM3, 0.001*e.ModelMM3)
			near(t, "plastic of the supports", r.volume["support"], e.SupportMM3, 0.001*e.SupportMM3)
			near(t, "all plastic", (model+r.volume["support"]+r.volume["skirt"])*in.Material.Density/1000, e.MassG, 0.001*e.MassG)
			if r.layers != e.Layers {
				t.Errorf("%d layers, want %d", r.layers, e.Layers)
			}
		})
	}
}
