package slice

import (
	"math"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// desktop is one plausible set of settings for the measured cubes: their source
// says neither the printer nor its settings. Three shells and three bottom
// layers of 0.4 mm lines in 0.2 mm layers, no top; common speeds; a least layer
// time of 14 s, without which nothing explains that a cube with a fifth of its
// inside filled took no longer than an empty one by more than a tenth.
func desktop() Input {
	return Input{
		Printer: rules.Printer{
			Name: "desktop", BuildMM: [3]float64{220, 220, 250}, NozzleMM: []float64{0.4}, FilamentMM: 1.75,
			Speed:        rules.Speed{Outside: 40, Shells: 60, Solid: 60, Infill: 80, Support: 60, Bridge: 25, FirstLayer: 20, Travel: 150},
			Acceleration: 1000, TravelAcceleration: 1000, CornerSpeed: 8, MaxFlow: 10,
			RetractMM: 2, RetractSpeed: 40, MinTravelForRetractMM: 2, ZSpeed: 10,
			WarmUpS: 240, MinLayerS: 14, SlowestSpeed: 10,
		},
		Material: rules.Material{Name: "PLA", Density: 1.24},
		Printing: rules.Printing{
			LayerMM: 0.2, FirstLayerMM: 0.2, LineWidthMM: 0.4, Shells: 3, SolidLayers: 3, SolidTop: false,
			SupportAngleDeg: 45, SupportGapMM: 0.2, SupportDensity: 0.15, BridgeMM: 10,
			Adhesion: "skirt", SkirtLoops: 1, SkirtGapMM: 5, SpreadLow: 0.9, SpreadHigh: 1.15,
		},
	}
}

// 25 mm cubes without a solid top, printed, weighed and timed by
// 3dprintscape.com (on the infill percentage). Mass within 5 %, time within 15 %.
func TestMeasuredCubes(t *testing.T) {
	rows := []struct{ infill, grams, minutes float64 }{
		{0, 3.86, 34}, {0.10, 5.62, 36}, {0.20, 7.19, 38}, {0.50, 11.78, 42}, {1, 19.54, 73},
	}
	t.Log("infill   measured           estimated          off by")
	for _, r := range rows {
		in := desktop()
		in.Settings = job.Settings{Infill: r.infill, InfillSet: true}
		e := mustEstimate(t, box(0, 0, 0, 25, 25, 25), in)
		g, min := e.MassG/r.grams-1, e.PrintTimeS/60/r.minutes-1
		t.Logf("%5.0f %%  %6.2f g  %3.0f min   %6.2f g  %5.1f min  %+5.1f %%  %+5.1f %%", 100*r.infill, r.grams, r.minutes, e.MassG, e.PrintTimeS/60, 100*g, 100*min)
		if math.Abs(g) > 0.05 || math.Abs(min) > 0.15 {
			t.Errorf("infill %.0f %%: mass is off by %+.1f %%, time by %+.1f %%", 100*r.infill, 100*g, 100*min)
		}
	}
}
