package preflight

import (
	"context"
	"math"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

func partOf(t *testing.T, m *mesh.Mesh) *part {
	t.Helper()
	topo, err := mesh.Examine(context.Background(), m, mesh.Facts{}, examineOptions(len(m.Triangles)))
	if err != nil {
		t.Fatal(err)
	}
	return newPart(newSurface(m, topo, envelopeOf(m)), findPieces(topo, nil))
}

// The same part gives the same bed to the last digit: sums do not hang on the order of a map.
func TestBedIsTheSameEachTime(t *testing.T) {
	var cubes []*mesh.Mesh
	for i := range 9 {
		cubes = append(cubes, shapes.Moved(cube(math.Sqrt(float64(i)+2)/3), 5*float64(i), 0, 0))
	}
	p := partOf(t, shapes.Merge(cubes...))
	first := p.contactPatchAt(p.standing(upright), 0.2).bedMM2
	for range 200 {
		if again := p.contactPatchAt(p.standing(upright), 0.2).bedMM2; again != first {
			t.Fatalf("the bed is %.17g mm2, and then %.17g", first, again)
		}
	}
}

// A surface without thickness encloses less than 3 % of a ball of its area, and its
// holes are more than a fifth of it. A ball of radius 3 has 36 pi mm2 and 36 pi mm3.
func TestSheetAtEachBound(t *testing.T) {
	const ball = 36 * math.Pi
	for _, c := range []struct {
		volume, holes float64 // shares
		open          int
		want          bool
	}{
		{0.0299, 0.5, 4, true}, {0.0301, 0.5, 4, false}, {-0.0299, 0.5, 4, true}, {-0.0301, 0.5, 4, false},
		{0, 0.201, 4, true}, {0, 0.199, 4, false}, {0, 0.5, 0, false},
	} {
		topo := &mesh.Topology{Shape: job.Shape{AreaMM2: ball, VolumeMM3: c.volume * ball, OpenEdges: c.open}, Holes: []mesh.Hole{{AreaMM2: c.holes * ball}}}
		if got := isSheet(topo); got != c.want {
			t.Errorf("%+v: a sheet %v", c, got)
		}
	}
}

// A part stands badly on less than a twentieth of what is seen from above, or when
// 7 degrees tip it over.
func TestShakyAtEachBound(t *testing.T) {
	for _, c := range []struct {
		share, tip float64
		want       bool
	}{{0.0499, 45, true}, {0.05, 45, false}, {0.5, 6.99, true}, {0.5, 7, false}} {
		if got := (contactPatch{share: c.share, tipDeg: c.tip}).shaky(); got != c.want {
			t.Errorf("%+v: shaky %v", c, got)
		}
	}
}

// Less than 20 mm2 of coarse curve is not worth a word.
func TestCoarsenessFromTwentySquareMillimetres(t *testing.T) {
	const tiny = 1e-4
	at := func(scale float64) coarse {
		return partOf(t, shapes.Scaled(seamedDisc(24, 10), scale, scale, scale)).coarseness(tiny)
	}
	scale := math.Sqrt(20 / at(1).areaMM2)
	if less, more := at(0.995*scale), at(1.005*scale); less.areaMM2 != 0 || more.areaMM2 == 0 {
		t.Errorf("19.8 mm2 give %+v, 20.2 mm2 %+v", less, more)
	}
}

// A step as high as a layer, within a thousandth, is laid as one.
func TestLowStepsAtTheLayer(t *testing.T) {
	for share, want := range map[float64]bool{0.9985: true, 0.9995: false} {
		p := partOf(t, ribbed(5, 0.2*share))
		if got := p.lowSteps(p.standing(upright), 0.2).count > 0; got != want {
			t.Errorf("a rise of %g layers: found %v", share, got)
		}
	}
}

// A ceiling is bridged where one direction bridges at least a quarter of it: here it
// is 20 mm wide, and 8 mm of it lie between two walls, beside a free end.
func TestPartlyBridgedCeiling(t *testing.T) {
	const span, wide = 8.0, 20.0
	p := overhangRulesOf()
	for free, bridged := range map[float64]bool{16: true, 28: false} { // a third of it, two ninths
		roof := shapes.Moved(shapes.Box(8+span+free, wide, 4), 0, 0, 16)
		post := func(x float64) *mesh.Mesh { return shapes.Moved(shapes.Box(4, wide, 17), x, 0, 0) }
		part := partOf(t, shapes.Merge(roof, post(0), post(4+span)))
		got := part.overhangAt(t.Context(), part.standing(upright), p, 4000).areaMM2
		want := free * wide
		if !bridged {
			want += span * wide
		}
		if math.Abs(got-want) > 0.06*want {
			t.Errorf("%g mm free: %.0f mm2 hang, want %.0f", free, got, want)
		}
	}
}

func overhangRulesOf() overhangRules {
	r := rules.Default().Printing
	return newOverhangRules(r, r.LayerMM)
}

// A place is locked in where at most one of ten ways out is open.
func TestLockedInWithOneWayOut(t *testing.T) {
	for out, want := range map[int]bool{0: true, 1: true, 2: false} {
		const each = 2 * math.Pi / 10 // between two of the ways that are tried, the first at 0.1
		from, to := 0.1+(float64(out)-0.5)*each, 0.1-0.5*each+2*math.Pi
		if out == 0 {
			to -= 0.01
		}
		var ring shapes.Outline
		const n = 90
		for i := range n + 1 {
			sin, cos := math.Sincos(from + (to-from)*float64(i)/n)
			ring = append(ring, shapes.Point{12 * cos, 12 * sin})
		}
		for i := n; i >= 0; i-- {
			sin, cos := math.Sincos(from + (to-from)*float64(i)/n)
			ring = append(ring, shapes.Point{10 * cos, 10 * sin})
		}
		p := partOf(t, shapes.Extrude(20, ring))
		if got := p.lockedIn(p.standing(upright), mesh.Vec{0, 0, 10}); got != want {
			t.Errorf("%d ways out: locked in %v", out, got)
		}
	}
}

// Three places must agree before a wall is called thin.
func TestThreePlacesAgreeOnAWall(t *testing.T) {
	p := partOf(t, cube(20))
	s := p.standing(upright)
	side := -1
	for f := range p.normal {
		if !p.lies(s, f) {
			side = f
		}
	}
	for n, want := range map[int]float64{2: 0, 3: 0.5} {
		var places []sample
		var rays []raySample
		for range n {
			places = append(places, sample{facet: side, weight: 1})
			rays = append(rays, raySample{thick: 0.5, wall: true, across: -1, touch: -1})
		}
		if got := p.sum(s, thickness{wall: 0.8, line: 0.4}, places, rays).standMM; got != want {
			t.Errorf("%d places: a wall of %g mm", n, got)
		}
	}
}

// Bodies as near as 0.02 mm print as one piece.
func TestBodiesThatTouchAreOnePiece(t *testing.T) {
	for gap, want := range map[float64]int{0.019: 1, 0.021: 2, 0.03: 2} {
		m := pair(gap)
		topo, err := mesh.Examine(t.Context(), m, mesh.Facts{}, examineOptions(len(m.Triangles)))
		if err != nil {
			t.Fatal(err)
		}
		s := newSurface(m, topo, envelopeOf(m))
		places, rays := s.castRays(t.Context(), thickness{gap: 0.3, loose: 0.5}, 4000)
		if got := findPieces(topo, s.touchesOf(places, rays)).count; got != want {
			t.Errorf("%g mm apart: %d pieces, want %d", gap, got, want)
		}
	}
}

// Another way up is taken where it costs less than 93 % of the given one. A bar that
// stands is twice as high as it is when it lies.
func TestBestWaySavesEnough(t *testing.T) {
	p := partOf(t, shapes.Box(20, 20, 40))
	sent := p.standing(upright)
	for share, turned := range map[float64]bool{0.92: true, 0.94: false} {
		// 200 layers standing and 100 lying, a second each: (slow + 100) / (slow + 200) is the share
		c := price{perLayer: 1, layer: 0.2, slow: (200*share - 100) / (1 - share)}
		r := overhangRulesOf()
		best := p.bestWay(t.Context(), p.inspect(t.Context(), sent, r, c, carePlaces), r, c, nil, func(orientation) bool { return true })
		if got := best.orientation.up != sent.up; got != turned {
			t.Errorf("lying costs %g of standing: turned %v", share, got)
		}
	}
}

// What turning must save, in the estimates' own figures, to be advised: a fifth of the
// support, or 7 % of the time.
func TestTurningIsWorthIt(t *testing.T) {
	steady := way{contact: contactPatch{share: 1, tipDeg: 45}}
	shaky := way{contact: contactPatch{share: 0.01, tipDeg: 45}}
	for name, c := range map[string]struct {
		now             way
		fits            bool
		support, before float64 // mm3
		time            float64 // of 1000 s
		want            bool
	}{
		"a fifth less support":              {steady, true, 798, 1000, 1000, true},
		"not quite a fifth":                 {steady, true, 800, 1000, 1000, false},
		"less support for a quarter longer": {steady, true, 100, 1000, 1249, true},
		"less support for longer":           {steady, true, 100, 1000, 1250, false},
		"7 % of the time":                   {steady, true, 1000, 1000, 929, true},
		"not quite":                         {steady, true, 1000, 1000, 930, false},
		"quicker with more support":         {steady, true, 1071, 1000, 500, false},
		"quicker with hardly more":          {steady, true, 1070, 1000, 500, true},
		"steadier":                          {shaky, true, 1070, 1000, 1000, true},
		"steadier with more support":        {shaky, true, 1071, 1000, 1000, false},
		"it fits only so":                   {steady, false, 9000, 1000, 9000, true},
	} {
		st := stood{now: c.now}
		st.fit.Fits = c.fits
		if got := worthIt(st, steady, job.Estimate{SupportMM3: c.before, PrintTimeS: 1000}, job.Estimate{SupportMM3: c.support, PrintTimeS: c.time}); got != c.want {
			t.Errorf("%s: worth it %v", name, got)
		}
	}
}

// A bridge is called too long where nine tenths of its ceiling are held at both ends.
func TestLongBridgeIsHeldNearlyEverywhere(t *testing.T) {
	for held, want := range map[int]float64{89: 0, 90: 15, 100: 15} {
		c := ceiling{weight: 100}
		places, verdicts := make([]sample, 100), make([]verdict, 100)
		for i := range places {
			c.places = append(c.places, i)
			places[i].weight = 1
			for k := range verdicts[i].across {
				verdicts[i].across[k] = math.Inf(1)
			}
			if i < held {
				verdicts[i].across[0] = 15
			}
		}
		var h overhang
		c.longest(overhangRules{bridge: 10}, places, verdicts, &h)
		if h.bridgeMM != want {
			t.Errorf("%d of 100 places are held at both ends: a bridge of %g mm, want %g", held, h.bridgeMM, want)
		}
	}
}

// Low steps are told of from 8 mm of edge, and edges shorter than 2 mm do not count.
func TestLowStepsFromEightMillimetres(t *testing.T) {
	square := func(x, side float64) shapes.Island {
		return shapes.Island{Outer: shapes.Outline{{x, 10}, {x + side, 10}, {x + side, 10 + side}, {x, 10 + side}}}
	}
	for _, c := range []struct {
		islands []shapes.Island
		want    bool
	}{
		{[]shapes.Island{square(10, 2.01)}, true}, // 8.04 mm around
		{[]shapes.Island{square(10, 1.99)}, false},
		{[]shapes.Island{square(10, 0.505), square(20, 0.505), square(30, 0.505), square(40, 0.505)}, true}, // four times 2.02 mm
		{[]shapes.Island{square(10, 0.495), square(20, 0.495), square(30, 0.495), square(40, 0.495), square(50, 0.495)}, false},
	} {
		p := partOf(t, shapes.Relief(3, 0.1, shapes.Outline{{0, 0}, {60, 0}, {60, 30}, {0, 30}}, c.islands...))
		if got := p.lowSteps(p.standing(upright), 0.2); (got.count > 0) != c.want {
			t.Errorf("%d islands, the first %g mm around: %+v", len(c.islands), 4*(c.islands[0].Outer[1][0]-c.islands[0].Outer[0][0]), got)
		}
	}
}
