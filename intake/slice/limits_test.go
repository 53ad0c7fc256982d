package slice

import (
	"math"
	"slices"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// recipeWith is a recipe of the built-in rules, changed.
func recipeWith(t testing.TB, change func(p *recipe)) *recipe {
	t.Helper()
	p, err := newRecipe(inputFor(t, box(0, 0, 0, 20, 20, 20), job.Settings{}))
	if err != nil {
		t.Fatal(err)
	}
	change(p)
	return p
}

// Each line is laid at its own speed, on the plate at that of the first layer at most,
// never faster than the nozzle melts, nor than a layer that must cool allows.
func TestSpeedOfEachLine(t *testing.T) {
	p := recipeWith(t, func(p *recipe) {
		p.printer.Speed = rules.Speed{FirstLayer: 20, Bridge: 31, Outside: 32, Solid: 33, Shells: 34, Support: 35, Infill: 36, Travel: 150}
		p.printer.MaxFlow = 0
	})
	up, ground := layer{bottom: 1, thick: 0.2}, layer{thick: 0.25}
	for f, want := range map[feature]float64{bridge: 31, outsideLine: 32, solidLine: 33, shellLine: 34, narrowLine: 34, supports: 35, sparse: 36, skirt: 20, brim: 20, raft: 35} {
		m := move{feature: f, width: 0.4}
		if got := newTimer(p).speed(m, up, math.Inf(1)); got != want {
			t.Errorf("line %d: %g mm/s, want %g", f, got, want)
		}
		if got := newTimer(p).speed(m, ground, math.Inf(1)); got != 20 {
			t.Errorf("line %d on the plate: %g mm/s", f, got)
		}
		if got := newTimer(p).speed(m, up, 5); got != 5 {
			t.Errorf("line %d, to cool: %g mm/s", f, got)
		}
	}
	if got := newTimer(p).speed(move{feature: travel}, ground, 5); got != 150 {
		t.Errorf("travel: %g mm/s", got)
	}
	p.printer.MaxFlow = 0.4 * 0.2 * 10 // mm3/s: ten mm/s of such a line
	if got := newTimer(p).speed(move{feature: sparse, width: 0.4}, up, math.Inf(1)); math.Abs(got-10) > 1e-5 {
		t.Errorf("by what melts: %g mm/s, want 10", got)
	}
	if got := newTimer(p).speed(move{feature: sparse, width: 0.4}, up, 0); got != 0.01 {
		t.Errorf("never stands still: %g mm/s", got)
	}
}

// A layer that takes less than the least time of a layer is laid slower until it takes
// that, or as slow as the printer may.
func TestLayerTakesItsLeastTime(t *testing.T) {
	p := recipeWith(t, func(p *recipe) {
		p.printer.Speed.Infill, p.printer.MaxFlow, p.printer.Acceleration, p.printer.SlowestSpeed = 50, 0, 1e9, 10
	})
	up := layer{bottom: 1, thick: 0.2}
	moves := []move{{from: spot{0, 0}, to: spot{100, 0}, feature: sparse, width: 0.4}} // 2 s at 50 mm/s, 10 s at 10
	for least, want := range map[float64]struct{ speed, floor float64 }{1.9: {math.Inf(1), 2}, 4: {25, 10}, 12: {10, 10}} {
		p.printer.MinLayerS = least
		timer := newTimer(p)
		pace := timer.pace(moves, up)
		if got := timer.slowedFor(moves, up, pace); math.Abs(pace.natural-2) > 1e-3 || math.Abs(pace.floor-want.floor) > 1e-3 || got != want.speed && math.Abs(got-want.speed) > 0.05 {
			t.Errorf("at least %g s: natural %g, floor %g, slowed to %g; want %+v", least, pace.natural, pace.floor, got, want)
		}
	}
}

// A travel with the filament pulled back takes that time twice beside its way, and a step
// up its height by the speed upwards.
func TestPullingBackTakesItsTime(t *testing.T) {
	p := recipeWith(t, func(p *recipe) {
		p.printer.Speed.Travel, p.printer.TravelAcceleration, p.printer.RetractMM, p.printer.RetractSpeed, p.printer.ZSpeed = 100, 1e9, 2, 40, 4
	})
	timer := newTimer(p)
	near(t, "pulled back", timer.hop(50), 0.5+2*2/40.0, 1e-3)
	near(t, "a step up", timer.lift(layer{thick: 0.2}), 0.05, 1e-12)
	p.printer.RetractSpeed, p.printer.ZSpeed = 0, 0
	near(t, "not pulled back", timer.hop(50), 0.5, 1e-3)
	near(t, "no step", timer.lift(layer{thick: 0.2}), 0, 0)
}

// A box fits a printer to a millionth of its size, turned about the upright axis as suits.
func TestHoldsToTheMicron(t *testing.T) {
	p := rules.Printer{BuildMM: [3]float64{250, 210, 200}}
	for _, c := range []struct {
		size [3]float64
		want bool
	}{
		{[3]float64{250, 210, 200}, true}, {[3]float64{210, 250, 200}, true}, {[3]float64{250, 211, 200}, false}, {[3]float64{211, 250, 200}, false}, {[3]float64{310, 10, 10}, true}, {[3]float64{318, 10, 10}, false},
		{[3]float64{10, 310, 10}, true}, {[3]float64{249, 212, 10}, false}, {[3]float64{10, 10, 201}, false}, {[3]float64{200, 10, 250}, false},
		{[3]float64{250 * (1 + 0.9e-6), 210 * (1 + 0.9e-6), 200 * (1 + 0.9e-6)}, true}, {[3]float64{250 * (1 + 1.5e-6), 210, 10}, false},
		{[3]float64{210, 250 * (1 + 1.5e-6), 10}, false}, {[3]float64{10, 10, 200 * (1 + 1.5e-6)}, false},
	} {
		if got := Holds(p, c.size); got != c.want {
			t.Errorf("%v: holds %v", c.size, got)
		}
	}
}

// How many nozzles a print takes, and what is said where no printer has them.
func TestNozzlesOfAPrint(t *testing.T) {
	two, high := &job.SecondColour{Colour: "red"}, &job.SecondColour{Colour: "red", FromMM: 2}
	for _, c := range []struct {
		s      job.Settings
		n      int
		refuse string
	}{
		{job.Settings{}, 1, "findings.slice.no-printer"}, {job.Settings{Printer: "x"}, 1, "findings.slice.not-this-printer"},
		{job.Settings{Supports: "soluble"}, 2, "findings.slice.no-printer-soluble"}, {job.Settings{Supports: "soluble", Printer: "x"}, 2, "findings.slice.not-this-printer-soluble"},
		{job.Settings{Second: two}, 2, "findings.slice.no-printer-two-colours"}, {job.Settings{Second: two, Printer: "x"}, 2, "findings.slice.not-this-printer-two-colours"},
		{job.Settings{Second: two, Supports: "soluble"}, 3, "findings.slice.no-third-nozzle"}, {job.Settings{Second: high}, 1, "findings.slice.no-printer-two-colours"},
		{job.Settings{Second: high, Supports: "soluble"}, 2, "findings.slice.no-third-nozzle"},
	} {
		if got := nozzles(c.s); got != c.n || job.Why(noPrinter(c.s, "PLA")).Key != c.refuse {
			t.Errorf("%+v: %d nozzles, %s", c.s, got, job.Why(noPrinter(c.s, "PLA")).Key)
		}
	}
}

// Copies are divided by colour where they add up.
func TestCopiesByColour(t *testing.T) {
	for _, c := range []struct {
		each   []int
		copies int
		want   []int
	}{{nil, 3, []int{3}}, {[]int{1, 2}, 3, []int{1, 2}}, {[]int{1, 1}, 3, []int{3}}, {[]int{0, 3}, 3, []int{3}}, {[]int{1}, 1, []int{1}}} {
		var each []job.ColourCopies
		for _, n := range c.each {
			each = append(each, job.ColourCopies{Copies: n})
		}
		if got := byColour(each, c.copies); !slices.Equal(got, c.want) {
			t.Errorf("%v of %d: %v, want %v", c.each, c.copies, got, c.want)
		}
	}
}

// A print is divided among the fewest plates that hold its copies within the time, as
// evenly as they go, each colour by itself; one copy goes onto a plate in any case.
func TestPlatesWithinTheTime(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 10)
	one := mustEstimate(t, m, inputFor(t, m, job.Settings{}))
	four := mustEstimate(t, m, inputFor(t, m, job.Settings{Copies: 4}))
	for _, c := range []struct {
		limit float64 // s
		s     job.Settings
		want  []int
	}{
		{four.PlateTimeS + 1, job.Settings{Copies: 4}, []int{4}}, {four.PlateTimeS - 1, job.Settings{Copies: 4}, []int{2, 2}},
		{one.PlateTimeS - 1, job.Settings{Copies: 2}, []int{1, 1}}, {0, job.Settings{Copies: 4}, []int{4}},
		{four.PlateTimeS + 1, job.Settings{Copies: 4, Colours: []job.ColourCopies{{Colour: "red", Copies: 1}, {Colour: "blue", Copies: 3}}}, []int{1, 3}},
	} {
		in := inputFor(t, m, c.s)
		in.Limits.JobHours = c.limit / 3600
		e := mustEstimate(t, m, in)
		if e.Plates != len(c.want) || e.PerPlate != slices.Max(c.want) {
			t.Errorf("%g s, %+v: %d plates, %d on one; want %v", c.limit, c.s, e.Plates, e.PerPlate, c.want)
		}
	}
}

// What finished prints taught corrects time and mass, and few prints that agree by chance
// still leave a spread of 2 %.
func TestSpreadOfPrintsThatAgree(t *testing.T) {
	f, err := FitPrints([]Print{took(1, 1.1), took(1, 1.1), took(1, 1.1), took(1, 1.1), took(1, 1.1)})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "high", f.High, math.Exp(1.645*0.02*1.4), 1e-9)
	p := recipeWith(t, func(p *recipe) { p.in.Calibration = f })
	low, high := p.spread(100)
	near(t, "corrected", p.corrected(100), 110, 1e-9)
	near(t, "at least", low, 100*f.Low, 1e-9)
	near(t, "at most", high, 100*f.High, 1e-9)
}

// optionsOf are the choices of a print that takes so long, s, of a limit.
func optionsOf(t testing.TB, takes, limit float64, change func(p *recipe)) *options {
	p := recipeWith(t, change)
	return &options{printed: &printed{sliced: &sliced{recipe: p}}, base: job.Estimate{PlateTimeS: takes, PrintTimeS: takes, PerPlate: 1, Plates: 1}, limit: limit, over: limit > 0 && takes > limit}
}

// Layers are offered that are thicker than the present one, up to 75 % of the nozzle.
func TestThickerLayersForEachNozzle(t *testing.T) {
	for nozzle, want := range map[float64][]float64{0.4: {0.25, 0.3}, 0.6: {0.25, 0.3, 0.4}, 0.2: nil, 0: {0.25, 0.3}} {
		w := optionsOf(t, 100, 0, func(p *recipe) {
			p.layerHeight, p.printing.LayerChoices, p.printer.NozzleMM = 0.2, []float64{0.4, 0.3, 0.25, 0.2, 0.1}, []float64{nozzle}
			if nozzle == 0 {
				p.printer.NozzleMM = nil // is taken for 0.4
			}
		})
		if got := w.thicker(); !slices.Equal(got, want) {
			t.Errorf("a nozzle of %g: %v, want %v", nozzle, got, want)
		}
	}
}

// Half of the infill is offered, in steps of 5 %, and never less than 5 %.
func TestLessInfillInItsSteps(t *testing.T) {
	for infill, want := range map[float64]float64{0.4: 0.2, 0.25: 0.1, 0.2: 0.1, 0.1: 0.05, 0.08: 0.05, 0.99: 0.45} {
		w := optionsOf(t, 100, 0, func(p *recipe) { p.infill = infill })
		if got := w.infillFor(); math.Abs(got-want) > 1e-9 {
			t.Errorf("of %g: %g, want %g", infill, got, want)
		}
	}
	w := optionsOf(t, 1000, 900, func(p *recipe) {
		p.infill, p.width, p.layerHeight, p.printer.Speed.Infill, p.printer.MaxFlow = 0.4, 0.4, 0.2, 50, 1e9
	})
	w.plastic[sparse] = 0.4 * 0.2 * 50 * 400 // 400 s of sparse lines, of which 100 s have to go
	if got := w.infillFor(); math.Abs(got-0.3) > 1e-9 {
		t.Errorf("to save 100 s of 400: %g, want 0.3", got)
	}
}

// Of many choices three are kept: where the print is too long those that bring it under,
// a smaller size among them.
func TestFewChoicesAreKept(t *testing.T) {
	row := func(mm, scale float64, within bool) job.Choice {
		return job.Choice{Settings: job.Settings{LayerMM: mm, Scale: scale}, Within: within}
	}
	for name, c := range map[string]struct {
		over bool
		rows []job.Choice
		want []float64 // layers; 0 is the smaller size
	}{
		"three":                {false, []job.Choice{row(1, 0, true), row(2, 0, false), row(3, 0, true)}, []float64{1, 2, 3}},
		"four":                 {false, []job.Choice{row(1, 0, true), row(2, 0, true), row(3, 0, true), row(0, 0.5, true)}, []float64{1, 2, 3}},
		"four, too long":       {true, []job.Choice{row(1, 0, true), row(2, 0, true), row(3, 0, true), row(0, 0.5, true)}, []float64{1, 2, 0}},
		"those that help":      {true, []job.Choice{row(1, 0, false), row(2, 0, true), row(0, 0.5, true)}, []float64{2, 0}},
		"none brings it under": {true, []job.Choice{row(1, 0, false), row(2, 0, false)}, []float64{1, 2}},
	} {
		w := optionsOf(t, 100, 0, func(*recipe) {})
		w.over, w.rows = c.over, c.rows
		var got []float64
		for _, r := range w.few() {
			got = append(got, r.Settings.LayerMM)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// A part may grow until it fills the build volume, lying as it lies or turned.
func TestGrowthIntoTheBuildVolume(t *testing.T) {
	p := recipeWith(t, func(p *recipe) { p.printer.BuildMM = [3]float64{200, 100, 50} })
	for size, want := range map[[3]float64]float64{{100, 50, 10}: 2, {50, 100, 10}: 2, {100, 50, 25}: 2, {100, 50, 30}: 50.0 / 30, {20, 20, 5}: 5} {
		pr := &printed{sliced: &sliced{recipe: p, part: &part{size: size, outline: [][2]float64{{0, 0}, {size[0], 0}, {size[0], size[1]}, {0, size[1]}}}}}
		near(t, "growth", pr.growth(), want, 1e-9)
	}
}

// The colour changes at the first layer above its height, and not where there is none.
func TestLayerAtWhichTheColourChanges(t *testing.T) {
	for mm, want := range map[float64]int{0: 0, -1: 0, 9: 0} {
		s := &sliced{recipe: recipeWith(t, func(p *recipe) { p.in.ChangeMM = mm }), total: 25}
		if got := s.changeLayer(); got != want {
			t.Errorf("%g mm: layer %d", mm, got)
		}
	}
	s := &sliced{recipe: recipeWith(t, func(p *recipe) { p.in.ChangeMM = 2 })}
	n := s.layerCount(2)
	for total, want := range map[int]int{n + 1: n, n: 0} {
		if s.total = total; s.changeLayer() != want {
			t.Errorf("of %d layers: %d, want %d", total, s.changeLayer(), want)
		}
	}
	for nozzles, hand := range map[int]bool{1: true, 2: false} {
		p := recipeWith(t, func(p *recipe) {
			p.printer.NozzleMM = []float64{0.4, 0.4}[:nozzles]
			p.printer.ChangeS, p.printer.ChangeMM3, p.printer.SwitchS, p.printer.PurgeMM3 = 300, 90, 12, 40
		})
		seconds, mm3 := p.changeCost()
		if p.changesByHand() != hand || hand != (seconds == 300 && mm3 == 90) || hand == (seconds == 12 && mm3 == 40) {
			t.Errorf("%d nozzles: by hand %v, %g s, %g mm3", nozzles, p.changesByHand(), seconds, mm3)
		}
	}
}
