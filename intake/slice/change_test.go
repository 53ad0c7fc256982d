package slice

import (
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// A colour that changes at a height costs one change on each plate: of the nozzle where
// there are two, else of the filament by a person. It is made below the first layer whose
// middle lies above the height.
func TestColourChangesOnceAPlate(t *testing.T) {
	m := shapes.OnBed(shapes.Box(20, 20, 5))
	in := inputFor(t, m, job.Settings{})
	in.Printer.NozzleMM = []float64{0.4}
	in.Printer.SwitchS, in.Printer.PurgeMM3, in.Printer.ChangeS, in.Printer.ChangeMM3 = 9, 15, 300, 120
	in.Settings.Copies = 2
	one := mustEstimate(t, m, in)
	in.ChangeMM = 3
	hand := mustEstimate(t, m, in)
	flow := in.Printer.MaxFlow
	near(t, "time by hand", hand.PrintTimeS, one.PrintTimeS+float64(hand.Plates)*(300+120/flow), 1)
	near(t, "plastic by hand", hand.PurgeMM3, 120*float64(hand.Plates), 1e-9)
	if !hand.ByHand || hand.ColourChanges != hand.Plates || hand.ChangeLayer != 1+layersBelow(in, 3) {
		t.Errorf("by hand: %v, %d changes on %d plates, at layer %d, want %d", hand.ByHand, hand.ColourChanges, hand.Plates, hand.ChangeLayer, 1+layersBelow(in, 3))
	}
	near(t, "height", hand.ChangeMM, 3, in.Printing.LayerMM/2+1e-9)
	near(t, "of the other colour", hand.SecondMM3/hand.ModelMM3, 0.4, 0.12) // 2 of 5 mm, with solid top and bottom
	in.Printer.ChangeWaitS = 1200
	waits := mustEstimate(t, m, in)
	near(t, "time until somebody comes", waits.PrintTimeS, hand.PrintTimeS+float64(hand.Plates)*1200, 1)
	near(t, "told of it", waits.ChangeWaitS, 1200, 0)
	in.Printer.NozzleMM = []float64{0.4, 0.4}
	two := mustEstimate(t, m, in)
	near(t, "time by nozzle", two.PrintTimeS, one.PrintTimeS+float64(two.Plates)*(9+15/flow), 1)
	if two.ByHand || two.ChangeWaitS != 0 {
		t.Error("a second nozzle is changed to by hand")
	}
	in.ChangeMM = 5
	if above := mustEstimate(t, m, in); above.ColourChanges != 0 || above.ChangeMM != 0 || above.SecondMM3 != 0 {
		t.Errorf("a change above the part: %+v", above)
	}
}

// A printer changes the colour at a height with a nozzle that is free for it: not with the
// one that lays supports which dissolve.
func TestWhoChangesTheColour(t *testing.T) {
	soluble := &rules.Material{Name: "PVA", Soluble: true}
	for _, c := range []struct {
		nozzles []float64
		support *rules.Material
		byHand  bool
	}{
		{[]float64{0.4}, nil, true}, {[]float64{0.4, 0.4}, nil, false}, {[]float64{0.4, 0.4}, soluble, true}, {nil, nil, true},
	} {
		p := recipeWith(t, func(p *recipe) {
			p.printer.NozzleMM, p.in.Support = c.nozzles, c.support
			p.printer.SwitchS, p.printer.PurgeMM3, p.printer.ChangeWaitS, p.printer.ChangeS, p.printer.ChangeMM3 = 9, 15, 1200, 300, 120
		})
		wantS, wantMM3 := 9.0, 15.0
		if c.byHand {
			wantS, wantMM3 = 1500, 120
		}
		if s, mm3 := p.changeCost(); p.changesByHand() != c.byHand || s != wantS || mm3 != wantMM3 {
			t.Errorf("%v, supports of %v: by hand %v, %g s, %g mm3", c.nozzles, c.support, p.changesByHand(), s, mm3)
		}
	}
}

// Letters that stand on a plate take one change of nozzle, on the way up to them: every
// layer is of one colour. Two bodies beside each other take one in each layer.
func TestNozzleChangesBetweenLayers(t *testing.T) {
	plate, letters := shapes.Box(20, 20, 3), shapes.Moved(shapes.Box(8, 8, 2), 6, 6, 3.0001)
	for _, c := range []struct {
		name          string
		first, second *mesh.Mesh
		want          func(layers int) int
	}{
		{"on it", plate, letters, func(int) int { return 1 }},
		{"under it", letters, plate, func(int) int { return 2 }}, // the first nozzle begins, with what surrounds the part
		{"beside it", shapes.Box(20, 20, 3), shapes.Moved(shapes.Box(8, 8, 3), 30, 0, 0), func(n int) int { return n }},
	} {
		in := inputFor(t, c.first, job.Settings{})
		in.Printer.NozzleMM = []float64{0.4, 0.4}
		in.Printer.SwitchS, in.Printer.PurgeMM3 = 9, 15
		in.Second = c.second
		e := mustEstimate(t, c.first, in)
		if want := c.want(e.Layers); e.ColourChanges != want {
			t.Errorf("%s: %d changes in %d layers, want %d", c.name, e.ColourChanges, e.Layers, want)
		}
		near(t, c.name+": laid aside", e.PurgeMM3, 15*float64(e.ColourChanges), 1e-9)
	}
}

// layersBelow counts the layers whose middle lies below a height, one by one.
func layersBelow(in Input, mm float64) (n int) {
	for z := in.Printing.FirstLayerMM / 2; z < mm; n++ {
		if n == 0 {
			z = in.Printing.FirstLayerMM - in.Printing.LayerMM/2
		}
		z += in.Printing.LayerMM
	}
	return n
}
