package preflight

import (
	"math"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/intake/room"
	"meshclerk/rules"
)

// A part is never held by less than the house always does, and what the house calls by no
// known name is nothing.
func TestHeldAsTheHouseDoes(t *testing.T) {
	well, badly := contactPatch{bedMM2: 400, share: 1, tipDeg: 45}, contactPatch{bedMM2: 99, share: 0.001, tipDeg: 45}
	for _, c := range []struct {
		house string
		touch contactPatch
		want  string
	}{{"skirt", well, "skirt"}, {"brim", well, "brim"}, {"raft", badly, "raft"}, {"none", badly, "brim"}, {"glue", well, "none"}} {
		r := rules.Default()
		r.Printing.Adhesion = c.house
		if got := newBounds(r, job.Settings{}).adhesion(c.touch, 20, mesh.Vec{20, 20, 20}).grip; got != c.want {
			t.Errorf("the house lays %s, on %g of what is seen: %s, want %s", c.house, c.touch.share, got, c.want)
		}
	}
}

// Support that nobody gets out again is told of from 50 mm2 and a tenth of it all, sealed
// voids left out, and dissolving support offered where nobody has wished another.
func TestSupportHardToReachAtEachBound(t *testing.T) {
	for _, c := range []struct {
		h    overhang
		want bool
	}{
		{overhang{areaMM2: 500, lockedMM2: 50.1}, true}, {overhang{areaMM2: 500, lockedMM2: 50}, false}, {overhang{areaMM2: 510, lockedMM2: 50.5}, false}, // a tenth is 51
		{overhang{areaMM2: 510, lockedMM2: 51.1}, true}, {overhang{areaMM2: 500, lockedMM2: 90, voidMM2: 39.5}, true}, {overhang{areaMM2: 500, lockedMM2: 90, voidMM2: 40.5}, false},
	} {
		if got := hardToReach(c.h); got != c.want {
			t.Errorf("%+v: hard to reach %v", c.h, got)
		}
	}
	limit := thresholds(rules.Default())[job.CodeOverhang].Limit
	for _, c := range []struct {
		set  string
		h    overhang
		want bool
	}{
		{"", overhang{areaMM2: limit + 500, acrossMM2: 50.1}, true}, {"", overhang{areaMM2: limit + 500, acrossMM2: 50}, false}, {"yes", overhang{areaMM2: limit + 500, acrossMM2: 99}, false},
		{"", overhang{areaMM2: limit, acrossMM2: 99}, true}, {"", overhang{areaMM2: limit - 0.1, acrossMM2: 99}, false}, {"", overhang{areaMM2: limit + 500, lockedMM2: limit + 400}, true},
	} {
		k := check{bounds: newBounds(rules.Default(), job.Settings{Supports: c.set})}
		if _, got := k.hardToBreakOff(c.h, thin{}); got != c.want {
			t.Errorf("supports %q, %+v: hard to break off %v", c.set, c.h, got)
		}
	}
}

// Support between pieces that are to move, or on what is thin enough to break with it, is
// hard to take off too: where nothing overhangs, there is none.
func TestSupportOnWhatMovesOrBreaks(t *testing.T) {
	held := overhang{areaMM2: thresholds(rules.Default())[job.CodeOverhang].Limit + 100}
	for _, c := range []struct {
		h    overhang
		t    thin
		want string
	}{
		{held, thin{}, ""},
		{held, thin{gapMM: 0.3, between: true}, "findings.why.pieces-move"},
		{held, thin{gapMM: 0.3}, ""}, // a slot in one piece
		{held, thin{looseMM: 0.45}, "findings.why.pieces-move"},
		{held, thin{detailMM: 0.5}, "findings.why.fragile"},
		{held, thin{wallMM2: 50.1, standMM: 0.7}, "findings.why.fragile"},
		{held, thin{wallMM2: 50, standMM: 0.7}, ""},
		{overhang{}, thin{detailMM: 0.5, gapMM: 0.3, between: true}, ""},
	} {
		k := check{bounds: newBounds(rules.Default(), job.Settings{})}
		if why, hard := k.hardToBreakOff(c.h, c.t); why.Key != c.want || hard != (c.want != "") {
			t.Errorf("%+v: %v %q, want %q", c.t, hard, why.Key, c.want)
		}
	}
}

// A cubic millimetre of support is some, a turn of less than a degree is none.
func TestWordsOfAnotherWayUp(t *testing.T) {
	for _, c := range []struct {
		now, before float64
		want        string
	}{{0.9, 0.9, ""}, {0.9, 1, "findings.way.supports-none"}, {1, 0.9, "findings.way.supports-more"}, {1, 1, "findings.way.supports"}} {
		got := ""
		if m := supports(c.now, c.before); len(m) > 0 {
			got = m[0].Key
		}
		if got != c.want {
			t.Errorf("%g mm3, before %g: %q", c.now, c.before, got)
		}
	}
	for _, c := range []struct {
		deg  float64
		want string
	}{{0.8, "as-sent"}, {0.82, "tilted"}, {89.4, "tilted"}, {89.5, "on-its-side"}, {90.5, "on-its-side"}, {179.1, "tilted"}, {179.3, "upside-down"}} {
		sin, cos := math.Sincos(c.deg * math.Pi / 180)
		if got := tilt(way{orientation: orientation{up: mesh.Vec{sin, 0, cos}}}); got.Key != "findings.way."+c.want {
			t.Errorf("turned by %g degrees: %s, want %s", c.deg, got.Key, c.want)
		}
	}
}

func judgingOf() *judging {
	r := rules.Default()
	return &judging{bounds: newBounds(r, job.Settings{}), figures: figures{topo: &mesh.Topology{}, fit: job.Fit{Fits: true}}}
}

// A print that takes too long is told what would make it shorter, where that would.
func TestTooLongSaysWhatWouldHelp(t *testing.T) {
	for name, c := range map[string]struct {
		scale           float64
		plates          int
		asSent          bool
		turned          float64 // hours
		smaller, turnIt bool
	}{
		"neither":                {1, 1, true, 1, false, false},
		"smaller":                {0.999, 1, true, 1, true, false},
		"hardly anything is":     {0.05, 1, true, 1, false, false},
		"a little more":          {0.0501, 1, true, 1, true, false},
		"turned":                 {1, 1, false, 8, false, true},
		"turned, too long still": {1, 1, false, 8.001, false, false},
		"turned, on two plates":  {1, 2, false, 8, false, false},
	} {
		j := judgingOf()
		j.orientation = job.Orientation{AsSent: c.asSent, PrintTimeS: c.turned * 3600}
		m := j.tooLong(&job.Estimate{LargestScale: c.scale, Plates: c.plates, PlateTimeS: 9 * 3600}, 8)
		smaller, turned := m.Args["smaller"].(job.Message), m.Args["turned"].(job.Message)
		if smaller.IsZero() == c.smaller || turned.IsZero() == c.turnIt {
			t.Errorf("%s: smaller %v, turned %v", name, smaller, turned)
		}
	}
	for hours, want := range map[float64]bool{8: false, 8.001: true} {
		j := judgingOf()
		r := *j.rules
		r.Limits.JobHours = 8
		j.rules = &r
		j.topo.Shape.SizeMM = [3]float64{50, 50, 50}
		j.estimate = &job.Estimate{PlateTimeS: hours * 3600, Plates: 1}
		j.judgeSize()
		if got := len(j.findings) == 1 && j.findings[0].Code == job.CodeTooLong; got != want {
			t.Errorf("%g hours of 8: %+v", hours, j.findings)
		}
	}
}

// Units are doubted of the file's own size, not of one that was asked for; an inch is
// 25.4 mm (international yard and pound agreement, 1959).
func TestUnitsAreDoubtedAsDrawn(t *testing.T) {
	for scale, want := range map[float64]bool{0: true, 1: true, 2: false, 0.5: false} {
		j := judgingOf()
		j.set.Scale = scale
		j.topo.Shape.SizeMM = [3]float64{2, 1, 1}
		j.judgeSize()
		if got := len(j.findings) == 1 && j.findings[0].Code == job.CodeUnitsDoubtful; got != want {
			t.Errorf("asked at %g: doubted %v", scale, got)
		}
	}
	j := judgingOf()
	largest := largestBuild(j.rules)
	for longest, want := range map[float64]string{2: "findings.unit-inches findings.unit-centimetres", 0.1: "findings.unit-metres", oddlyLarge*largest + 1: "findings.unit-twice"} {
		j := judgingOf()
		j.topo.Shape.SizeMM = [3]float64{longest, longest / 2, longest / 2}
		j.judgeSize()
		var units []string
		if len(j.findings) == 1 {
			for _, w := range j.findings[0].Text.Args["would"].([]job.Message) {
				units = append(units, w.Args["unit"].(job.Message).Key)
			}
		}
		if got := strings.Join(units, " "); got != want {
			t.Errorf("%g mm: would make sense in %q, want %q", longest, got, want)
		}
	}
	// What no unit makes sense of is simply too big.
	j.topo.Shape.SizeMM = [3]float64{1e9, 1e9, 1e9}
	if j.judgeSize(); len(j.findings) != 0 {
		t.Errorf("%+v", j.findings)
	}
}

// A part that does not fit is asked about where turning or a smaller size would do, and
// stopped else: one percent is some size.
func TestTooBigByWhatWouldDo(t *testing.T) {
	for name, c := range map[string]struct {
		fit     job.Fit
		largest float64
		text    string
		percent any
		level   job.Level
	}{
		"turned":             {job.Fit{FitsTurned: true, ScaleToFit: 0.5}, 0, "findings.too-big-turned", nil, job.Ask},
		"smaller":            {job.Fit{ScaleToFit: 0.75}, 0, "findings.too-big-scaled", 75, job.Stop},
		"and quicker":        {job.Fit{ScaleToFit: 0.75}, 0.6, "findings.too-big-scaled", 60, job.Stop},
		"not larger for it":  {job.Fit{ScaleToFit: 0.75}, 0.9, "findings.too-big-scaled", 75, job.Stop},
		"at one percent":     {job.Fit{ScaleToFit: 0.01}, 0, "findings.too-big-scaled", 1, job.Stop},
		"not even at one":    {job.Fit{ScaleToFit: 0.00999}, 0, "findings.too-big", nil, job.Stop},
		"never more than it": {job.Fit{ScaleToFit: 0.7599}, 0, "findings.too-big-scaled", 75, job.Stop},
	} {
		j := judgingOf()
		j.fit = c.fit
		if c.largest > 0 {
			j.estimate = &job.Estimate{LargestScale: c.largest}
		}
		j.judgeFit(mesh.Vec{400, 40, 40}, 400)
		if len(j.findings) != 1 || j.findings[0].Text.Key != c.text || j.findings[0].Text.Args["percent"] != c.percent || j.findings[0].Level != c.level {
			t.Errorf("%s: %+v", name, j.findings)
		}
	}
}

// Thin walls: what is lost stops from a square millimetre and a twentieth of what is
// thin, what stands goes before what lies, and a little of it is only a note.
func TestThinWallByItsShares(t *testing.T) {
	for name, c := range map[string]struct {
		thin thin
		area float64
		text string
		want job.Level
	}{
		"standing":              {thin{wallMM2: 21, sheetMM2: 79, standMM: 0.5}, 1000, "findings.thin-wall", ""},
		"lying":                 {thin{wallMM2: 20, sheetMM2: 80, standMM: 0.5, lieMM: 0.6}, 1000, "findings.thin-wall-sheet", ""},
		"a twentieth is lost":   {thin{wallMM2: 100, lostMM2: 5, standMM: 0.5}, 1000, "findings.thin-wall-lost-and-thin", job.Stop},
		"less is":               {thin{wallMM2: 100, lostMM2: 4.99, standMM: 0.5}, 1000, "findings.thin-wall", ""},
		"nearly all is lost":    {thin{wallMM2: 10, lostMM2: 9.01, standMM: 0.3}, 1000, "findings.thin-wall-lost", job.Stop},
		"a square millimetre":   {thin{wallMM2: 10, lostMM2: 1, standMM: 0.5}, 1000, "findings.thin-wall-lost-and-thin", job.Stop},
		"less than one":         {thin{wallMM2: 10, lostMM2: 0.99, standMM: 0.5}, 1000, "findings.thin-wall", ""},
		"lying, lost":           {thin{sheetMM2: 100, layerMM2: 5, lieMM: 0.1}, 1000, "findings.thin-wall-sheet-lost", job.Stop},
		"lying, hardly lost":    {thin{sheetMM2: 100, layerMM2: 4.99, lieMM: 0.1}, 1000, "findings.thin-wall-sheet", ""},
		"half a percent":        {thin{wallMM2: 5, standMM: 0.75}, 1000, "findings.thin-wall", ""},
		"less, nearly thick":    {thin{wallMM2: 4.99, standMM: 0.75}, 1000, "findings.thin-wall", job.Note},
		"less, much too thin":   {thin{wallMM2: 4.99, standMM: 0.7}, 1000, "findings.thin-wall", ""},
		"less, and it all lies": {thin{sheetMM2: 4.99, lieMM: 0.3}, 1000, "findings.thin-wall-sheet", job.Note},
	} {
		j := judgingOf()
		j.thick.wall, j.areaMM2, j.thin = 1, c.area, c.thin
		f := j.thinWall(c.thin.wallMM2 + c.thin.sheetMM2)
		if f.Text.Key != c.text || f.Level != c.want {
			t.Errorf("%s: %s, level %q; want %s, %q", name, f.Text.Key, f.Level, c.text, c.want)
		}
	}
}

// A closed cylinder as wide as the small parts cylinder of 16 CFR 1501.4 goes into it as
// long as its shallow side, 25.4 mm, and a rod as long as its slanted hollow.
func TestSwallowedCylinders(t *testing.T) {
	rod := func(radius, length float64) []mesh.Vec { return shapes.Prism(96, radius, length).Vertices }
	for _, c := range []struct {
		radius, length float64
		want           bool
	}{{15.8, 25.0, true}, {15.8, 26.0, false}, {16.2, 5, false}, {1, 54, true}, {1, 68, false}, {8, 40, true}, {8, 55, false}} {
		if got := swallowed(rod(c.radius, c.length)); got != c.want {
			t.Errorf("a cylinder %g mm wide and %g mm long: swallowed %v", 2*c.radius, c.length, got)
		}
	}
	if swallowed(nil) {
		t.Error("nothing is swallowed")
	}
}

// A part drawn to the full size fits, with what single precision adds to it.
func TestRoomToTheMicron(t *testing.T) {
	for side, want := range map[float64]bool{200: true, 200.0001: true, 200.0004: false, 201: false} {
		plan := []point{{0, 0}, {side, 0}, {side, side}, {0, side}}
		if got := room.Scale(plan, 10, [3]float64{200, 200, 200}) >= 1; got != want {
			t.Errorf("%g mm on 200: fits %v", side, got)
		}
		if got := room.Scale([]point{{0, 0}, {10, 0}, {10, 10}, {0, 10}}, side, [3]float64{200, 200, 200}) >= 1; got != want {
			t.Errorf("%g mm high of 200: fits %v", side, got)
		}
	}
}

// Letters stand on a face that is a fifth of what is seen from above, with a layer below
// it and a layer above.
func TestReliefAtItsBounds(t *testing.T) {
	for name, c := range map[string]struct {
		wide, floor, top, layer, want float64
	}{
		"a fifth, and a little": {20.1, 4, 10, 0.2, 4}, "not quite a fifth": {19.9, 4, 10, 0.2, 0},
		"a layer below": {40, 0.2, 10, 0.2, 0.2}, "less than one": {40, 0.19, 10, 0.2, 0},
		"a layer above": {40, 9.8, 10, 0.2, 9.8}, "less than that": {40, 9.81, 10, 0.2, 0},
	} {
		roof := shapes.Moved(shapes.Box(100-c.wide, 10, c.top), c.wide, 0, 0)
		if got := reliefFrom(shapes.Merge(shapes.Box(c.wide, 10, c.floor), roof), c.layer); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s: letters from %g mm, want %g", name, got, c.want)
		}
	}
}

// A curve that was drawn as facets bends by three degrees at least, and by more than 33
// it is an edge.
func TestCurveAtEachBend(t *testing.T) {
	for sides, want := range map[int]bool{10: false, 11: true, 119: true, 121: false} { // 36, 32.7, 3.03 and 2.98 degrees
		p := partOf(t, shapes.Prism(sides, 40, 20))
		if got := p.coarseness(1e-5).areaMM2 > 0; got != want {
			t.Errorf("%d sides: a curve %v", sides, got)
		}
	}
}

// A person chooses among 24 bodies at most.
func TestBodiesToldOf(t *testing.T) {
	for n, want := range map[int]int{1: 0, 2: 2, 24: 24, 25: 24} {
		var all []*mesh.Mesh
		for i := range n {
			all = append(all, shapes.Moved(cube(2), 5*float64(i), 0, 0))
		}
		m := shapes.Merge(all...)
		topo, err := mesh.Examine(t.Context(), m, mesh.Facts{}, examineOptions(len(m.Triangles)))
		if err != nil {
			t.Fatal(err)
		}
		if got := len((examined{topo: topo}).told()); got != want {
			t.Errorf("%d bodies: told of %d", n, got)
		}
	}
}

// When the size itself is in question, what hangs on it is only noted.
func TestDoubtfulSizeCalmsTheRest(t *testing.T) {
	for level, want := range map[job.Level]job.Level{job.Ask: job.Note, job.Note: job.Stop} {
		j := judgingOf()
		j.findings = []job.Finding{{Code: job.CodeUnitsDoubtful, Level: level}, {Code: job.CodeThinWall, Level: job.Stop}, {Code: job.CodeHoles, Level: job.Stop}}
		j.calm()
		if j.findings[1].Level != want || j.findings[2].Level != job.Stop {
			t.Errorf("units %s: %+v", level, j.findings)
		}
	}
}
