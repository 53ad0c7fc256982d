package preflight

import (
	"math"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// A cavity belongs to its body, and a body within the plastic of another to that one; what
// lies loose in a hollow is a piece of its own, as is what lies beside. Bodies that cross
// or touch are one piece.
func TestWhatComesOffAsOnePiece(t *testing.T) {
	body := func(inside int) mesh.Shell { return mesh.Shell{Outer: true, Inside: inside} }
	void := func(inside int) mesh.Shell { return mesh.Shell{Void: true, Inside: inside} }
	for name, c := range map[string]struct {
		shells  []mesh.Shell
		cross   []mesh.Crossing
		touches [][2]int
		want    int
	}{
		"one":                      {[]mesh.Shell{body(-1)}, nil, nil, 1},
		"beside it":                {[]mesh.Shell{body(-1), body(-1)}, nil, nil, 2},
		"with a cavity":            {[]mesh.Shell{body(-1), void(0)}, nil, nil, 1},
		"loose in the cavity":      {[]mesh.Shell{body(-1), void(0), body(1)}, nil, nil, 2},
		"hollow, loose in it":      {[]mesh.Shell{body(-1), void(0), body(1), void(2)}, nil, nil, 2},
		"within the plastic":       {[]mesh.Shell{body(-1), body(0)}, nil, nil, 1},
		"touching in the cavity":   {[]mesh.Shell{body(-1), void(0), body(1)}, nil, [][2]int{{2, 1}}, 1},
		"touching":                 {[]mesh.Shell{body(-1), body(-1)}, nil, [][2]int{{0, 1}}, 1},
		"crossing":                 {[]mesh.Shell{body(-1), body(-1)}, []mesh.Crossing{{A: 0, B: 1}}, nil, 1},
		"three, two of them cross": {[]mesh.Shell{body(-1), body(-1), body(-1)}, []mesh.Crossing{{A: 0, B: 2}}, nil, 2},
		"three in a chain":         {[]mesh.Shell{body(-1), body(-1), body(-1)}, []mesh.Crossing{{A: 0, B: 2}}, [][2]int{{1, 2}}, 1},
	} {
		topo := &mesh.Topology{Shells: c.shells, Crossings: c.cross, ShellOf: []int32{0, 1, 2}}
		if got := findPieces(topo, c.touches); got.count != c.want || len(got.of) != len(c.shells) {
			t.Errorf("%s: %d pieces, want %d", name, got.count, c.want)
		}
	}
}

// A steady stand is not given up for a shaky one, however much less that costs, unless the
// part goes on no printer as it stands.
func TestSteadyStandIsKept(t *testing.T) {
	p := partOf(t, shapes.Box(20, 20, 40))
	r, c := overhangRulesOf(), price{perLayer: 1, layer: 0.2} // what is lower costs less; nothing else does
	edge := mesh.Vec{math.Sqrt2 / 2, math.Sqrt2 / 2, 0}       // 28 mm high
	lean := mesh.Vec{0.6, 0, 0.8}                             // stands on an edge too, 44 mm high
	for name, c2 := range map[string]struct {
		sent   mesh.Vec
		fits   bool // as it was sent
		turned bool
	}{
		"steady": {upright, true, false}, "steady, and too high": {upright, false, true}, "shaky already": {lean, true, true},
	} {
		sent := p.inspect(t.Context(), p.standing(c2.sent), r, c, carePlaces)
		if sent.contact.shaky() != (c2.sent == lean) {
			t.Fatalf("%s: shaky %v", name, sent.contact.shaky())
		}
		best := p.bestWay(t.Context(), sent, r, c, []mesh.Vec{edge}, func(o orientation) bool {
			return o.up == edge || o.up == c2.sent && c2.fits
		})
		if got := best.orientation.up == edge; got != c2.turned {
			t.Errorf("%s: turned onto its edge %v", name, got)
		}
	}
}

// The house's own checks see each figure of the estimate under its own name.
func TestMeasuresOfAnEstimate(t *testing.T) {
	var m Measures
	m.estimate(nil)
	if m != (Measures{}) {
		t.Errorf("without an estimate: %+v", m)
	}
	m.estimate(&job.Estimate{PrintTimeS: 7200, PlateTimeS: 3600, MassG: 3, FilamentM: 4, SupportMM3: 5, SupportMassG: 6, Layers: 7, Plates: 8, LayerMM: 0.9, Shells: 10, Infill: 0.11, Printer: "A", Material: "B"})
	want := Measures{PrintTimeH: 2, PlateTimeH: 1, MassG: 3, FilamentM: 4, SupportMM3: 5, SupportG: 6, Layers: 7, Plates: 8, LayerMM: 0.9, ShellsLaid: 10, Infill: 0.11, Printer: "A", Material: "B"}
	if m != want {
		t.Errorf("%+v, want %+v", m, want)
	}
	m.size([3]float64{3, 1, 2})
	if m.WidthMM != 3 || m.DepthMM != 1 || m.HeightMM != 2 || m.LongestMM != 3 || m.ShortestMM != 1 {
		t.Errorf("size: %+v", m)
	}
}
