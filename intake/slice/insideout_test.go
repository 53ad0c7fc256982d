package slice

import (
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// A part drawn inside out is printed like the same part drawn rightly: which of
// its faces look down is not turned about.
func TestInsideOutNeedsNoMoreSupport(t *testing.T) {
	box := shapes.Box(20, 20, 20)
	in, err := For(rules.Default(), job.Settings{}, [3]float64{20, 20, 20})
	if err != nil {
		t.Fatal(err)
	}
	want, err := Estimate(t.Context(), box, in)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Estimate(t.Context(), shapes.InsideOut(box), in)
	if err != nil {
		t.Fatal(err)
	}
	if got.SupportMM3 != want.SupportMM3 || got.PrintTimeS != want.PrintTimeS || got.MassG != want.MassG {
		t.Errorf("inside out: support %.1f mm3, %.0f s, %.2f g; rightly %.1f mm3, %.0f s, %.2f g",
			got.SupportMM3, got.PrintTimeS, got.MassG, want.SupportMM3, want.PrintTimeS, want.MassG)
	}
}
