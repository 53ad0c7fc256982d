package preflight

import (
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh/shapes"
)

// A height that is counted from the top is one above the plate, at the size of the print.
// A part whose colour changes at a height is printed the way it was sent: turned, the
// colours would lie elsewhere.
func TestHeightFromTheTopIsPlannedAsSent(t *testing.T) {
	m := shapes.OnBed(shapes.Box(20, 10, 40)) // lies better on its side
	for _, c := range []struct {
		set  job.Settings
		want float64 // mm
	}{
		{job.Settings{Second: &job.SecondColour{Colour: "red", TopMM: 5}}, 35},
		{job.Settings{Second: &job.SecondColour{Colour: "red", TopMM: 5}, Scale: 0.5}, 15},
		{job.Settings{Second: &job.SecondColour{Colour: "red", TopMM: 5}, Reoriented: true}, 35},
		{job.Settings{Second: &job.SecondColour{Colour: "red", FromMM: 3}, Reoriented: true}, 3},
		{job.Settings{Second: &job.SecondColour{Colour: "red", TopMM: 50}}, 0}, // all of it: no change
	} {
		c.set.Colour = "white"
		r := checked(t, m, c.set)
		if r.Estimate == nil {
			t.Fatalf("%+v: no estimate", c.set)
		}
		if d := r.Estimate.ChangeMM - c.want; d < -0.11 || d > 0.11 {
			t.Errorf("%+v, %+v: changes at %g mm, want about %g", c.set, *c.set.Second, r.Estimate.ChangeMM, c.want)
		}
		tall := 40.0
		if c.set.Scale > 0 {
			tall *= c.set.Scale
		}
		if c.want > 0 && float64(r.Estimate.Layers)*r.Estimate.LayerMM < tall-1 {
			t.Errorf("%+v: %d layers of a part that is %g mm high as sent", c.set, r.Estimate.Layers, tall)
		}
	}
}
