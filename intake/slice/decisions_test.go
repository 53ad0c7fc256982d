package slice

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// Copies lie in a grid with their brims and the spacing between them, and none of it
// beyond the plate: a side of n copies is n (w + 2 brim) + (n - 1) spacing long.
func TestBrimsKeepToThePlate(t *testing.T) {
	for _, c := range []struct {
		name       string
		adhesion   string
		x, y       float64 // the plate, mm
		turn, most int
		want       int
	}{
		{"to the edge", "skirt", 46, 22, 0, 99, 2 * 1}, // 20 + 6 + 20
		{"a little less", "skirt", 45.9, 22, 0, 99, 1},
		{"two rows", "skirt", 46, 26, 0, 99, 2 * 2}, // 10 + 6 + 10
		{"a little less deep", "skirt", 46, 25.9, 0, 99, 2},
		{"with brims", "brim", 62, 34, 0, 99, 2 * 1}, // 28 + 6 + 28
		{"the last brim over the side", "brim", 61.9, 34, 0, 99, 1},
		{"two rows with brims", "brim", 62, 42, 0, 99, 2 * 2}, // 18 + 6 + 18
		{"the last brim over the back", "brim", 62, 41.9, 0, 99, 2},
		{"one with its brims", "brim", 28, 18, 0, 99, 1},
		{"too wide with its brims", "brim", 27.9, 18, 0, 99, 0},
		{"too deep with its brims", "brim", 28, 17.9, 0, 99, 0},
		{"turned", "brim", 18, 28, 1, 99, 1},
		{"not turned", "brim", 18, 28, 0, 99, 0},
		{"no more than are wanted", "skirt", 98, 42, 0, 5, 5},
		{"of one row", "skirt", 98, 42, 0, 3, 3},
	} {
		p := recipeWith(t, func(p *recipe) {
			p.printing.Adhesion, p.printing.BrimMM, p.printing.SpacingMM = c.adhesion, 4, 6
			p.printer.BuildMM = [3]float64{c.x, c.y, 100}
		})
		pl := p.packBoxes(mesh.Vec{20, 10, 5}, c.turn, c.most)
		if len(pl.places) != c.want {
			t.Errorf("%s: %d on a plate, want %d", c.name, len(pl.places), c.want)
		}
		own, brim := p.room()
		want := 0.0
		if c.adhesion == "brim" {
			want = 4
		}
		if brim != want || own != 3+want {
			t.Errorf("%s: room of %g mm, brim %g", c.name, own, brim)
		}
		if len(pl.places) > 0 && (pl.places[0].x != want || pl.places[0].y != want || pl.places[0].turn != c.turn) {
			t.Errorf("%s: the first lies at %+v", c.name, pl.places[0])
		}
	}
}

// A printer is taken that the settings name, that takes the material, has a nozzle for
// each colour and for supports that dissolve, takes a material that does, and has room.
func TestWhichPrinterIsTaken(t *testing.T) {
	printer := func(name string, nozzles int, mm float64, materials ...string) rules.Printer {
		return rules.Printer{Name: name, NozzleMM: []float64{0.4, 0.4, 0.4}[:nozzles], BuildMM: [3]float64{mm, mm, mm}, Materials: materials}
	}
	small, plain, two := printer("Small", 1, 100, "PLA"), printer("Plain", 1, 200, "PLA", "PETG"), printer("Two", 2, 150, "PLA", "PETG")
	double, triple := printer("Double", 2, 120, "PLA", "PVA"), printer("Triple", 3, 110, "PLA", "pva")
	second, height := &job.SecondColour{Colour: "red"}, &job.SecondColour{Colour: "red", FromMM: 2}
	for name, c := range map[string]struct {
		printers []rules.Printer
		set      job.Settings
		mm       float64
		want     string
		refused  string
	}{
		"the first with room":           {[]rules.Printer{small, plain, two}, job.Settings{}, 100, "Small", ""},
		"the first with more room":      {[]rules.Printer{small, plain, two}, job.Settings{}, 101, "Plain", ""},
		"none has room":                 {[]rules.Printer{small, plain, two}, job.Settings{}, 300, "Plain", ""},
		"none has room, the last is it": {[]rules.Printer{small, two, plain}, job.Settings{}, 300, "Plain", ""},
		"of its material":               {[]rules.Printer{small, plain, two}, job.Settings{Material: "petg"}, 50, "Plain", ""},
		"the named":                     {[]rules.Printer{small, plain, two}, job.Settings{Printer: "two"}, 50, "Two", ""},
		"the named, without room":       {[]rules.Printer{small, plain, two}, job.Settings{Printer: "Small"}, 180, "Small", ""},
		"the named, of other material":  {[]rules.Printer{small, plain}, job.Settings{Printer: "Small", Material: "PETG"}, 50, "", "not-this-printer"},
		"no such material":              {[]rules.Printer{small}, job.Settings{Material: "PETG"}, 50, "", "no-printer"},
		"two colours":                   {[]rules.Printer{small, two}, job.Settings{Second: second}, 50, "Two", ""},
		"two colours, one nozzle":       {[]rules.Printer{small, plain}, job.Settings{Second: second}, 50, "", "no-printer-two-colours"},
		"two colours, on the named":     {[]rules.Printer{small, two}, job.Settings{Second: second, Printer: "Small"}, 50, "", "not-this-printer-two-colours"},
		"two colours by height":         {[]rules.Printer{small, two}, job.Settings{Second: height}, 50, "Small", ""},
		"dissolving":                    {[]rules.Printer{small, two, double}, job.Settings{Supports: "soluble"}, 50, "Double", ""},
		"dissolving, none takes it":     {[]rules.Printer{small, two}, job.Settings{Supports: "soluble"}, 50, "", "no-printer-soluble"},
		"dissolving, one nozzle":        {[]rules.Printer{printer("One", 1, 200, "PLA", "PVA")}, job.Settings{Supports: "soluble"}, 50, "", "no-printer-soluble"},
		"dissolving, on the named":      {[]rules.Printer{two, double}, job.Settings{Supports: "soluble", Printer: "Two"}, 50, "", "not-this-printer-soluble"},
		"two and dissolving":            {[]rules.Printer{double, triple}, job.Settings{Supports: "soluble", Second: second}, 50, "Triple", ""},
		"two, dissolving, two nozzles":  {[]rules.Printer{double}, job.Settings{Supports: "soluble", Second: second}, 50, "", "no-third-nozzle"},
		"height and dissolving":         {[]rules.Printer{double, triple}, job.Settings{Supports: "soluble", Second: height}, 50, "Double", ""},
	} {
		r := &rules.Rules{Printers: c.printers, Printing: rules.Printing{Material: "PLA"},
			Materials: []rules.Material{{Name: "PLA"}, {Name: "PETG"}, {Name: "PVA", Soluble: true}}}
		p, err := Pick(r, c.set, [3]float64{c.mm, c.mm, c.mm})
		if got := refusal(err); p.Name != c.want || got != c.refused {
			t.Errorf("%s: %q, refused as %q, want %q, %q", name, p.Name, got, c.want, c.refused)
		}
		in, err := For(r, c.set, [3]float64{c.mm, c.mm, c.mm})
		if err == nil && (in.Support != nil) != (c.set.Supports == "soluble") {
			t.Errorf("%s: supports of %v", name, in.Support)
		}
	}
	r := &rules.Rules{Printers: []rules.Printer{double}, Materials: []rules.Material{{Name: "PLA"}, {Name: "PVA", Soluble: true}}, Printing: rules.Printing{Material: "PLA"}}
	for material, want := range map[string]string{"": "", "pla": "", "PVA": "soluble-only", "ABS": "no-material"} {
		if _, err := For(r, job.Settings{Material: material}, [3]float64{9, 9, 9}); refusal(err) != want {
			t.Errorf("of %q: refused as %q, want %q", material, refusal(err), want)
		}
	}
}

// refusal is the last word of what an error refuses with.
func refusal(err error) string {
	if err == nil {
		return ""
	}
	return strings.TrimPrefix(job.Why(err).Key, "findings.slice.")
}

// A choice is said to do where it keeps within the time limit and the build volume, both.
func TestWhichChoicesDo(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 4)
	for name, c := range map[string]struct {
		build  float64 // mm, each way
		limit  float64 // s
		within bool
	}{
		"no limit":              {50, 0, true},
		"within the limit":      {50, 1e6, true},
		"over the limit":        {50, 1, false},
		"too big":               {19, 0, false},
		"too big, in time":      {19, 1e6, false},
		"too big, and too long": {19, 1, false},
	} {
		in := inputFor(t, m, job.Settings{})
		in.Printer.BuildMM = [3]float64{c.build, c.build, c.build}
		p, part := prepared(t, m, in)
		w := &options{printed: &printed{sliced: &sliced{recipe: p, part: part}}, base: job.Estimate{PrintTimeS: 1e9, MassG: 1e9}, limit: c.limit}
		within, err := w.try(context.Background(), job.Say("choices.layers", nil), job.Settings{LayerMM: 0.3})
		if err != nil || within != c.within || len(w.rows) != 1 || w.rows[0].Within != c.within {
			t.Errorf("%s: does %v, %+v, %v", name, within, w.rows, err)
		}
	}
}

// Three quarters of the size are offered to save time, and of a job that is too long or
// too big the largest size that does.
func TestWhenAJobIsOver(t *testing.T) {
	m := box(0, 0, 0, 20, 20, 4)
	for name, c := range map[string]struct {
		build, hours, takes float64
		over                bool
	}{
		"neither":             {50, 1, 3600, false},
		"a second too long":   {50, 1, 3601, true},
		"where nothing is":    {50, 0, 3601, false},
		"too big":             {19, 0, 3600, true},
		"too big, not longer": {19, 1, 3600, true},
	} {
		in := inputFor(t, m, job.Settings{})
		in.Limits.JobHours = c.hours
		in.Printer.BuildMM = [3]float64{c.build, c.build, c.build}
		plan, err := NewPlan(context.Background(), m, in)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := plan.WhatIf(context.Background(), job.Estimate{PlateTimeS: c.takes, PrintTimeS: c.takes, MassG: 9, Plates: 1, PerPlate: 1})
		if err != nil {
			t.Fatal(err)
		}
		scale := 0.0
		for _, r := range rows {
			scale = cmp.Or(scale, r.Settings.Scale)
		}
		if over := scale != 0.75; over != c.over || scale == 0 {
			t.Errorf("%s: a size of %g is offered, of %d choices", name, scale, len(rows))
		}
	}
}

// What no printer could follow is refused, at each bound.
func TestSettingsThatNoPrinterFollows(t *testing.T) {
	soluble := &rules.Material{Name: "PVA", Soluble: true}
	for name, c := range map[string]struct {
		change func(p *recipe)
		want   string
	}{
		"nothing":                {func(*recipe) {}, ""},
		"scale, least":           {func(p *recipe) { p.scale = 1e-6 }, ""},
		"scale, too small":       {func(p *recipe) { p.scale = 0.9e-6 }, "scale"},
		"scale, most":            {func(p *recipe) { p.scale = 1e6 }, ""},
		"scale, too large":       {func(p *recipe) { p.scale = 1.1e6 }, "scale"},
		"one copy":               {func(p *recipe) { p.copies = 1 }, ""},
		"no copy":                {func(p *recipe) { p.copies = 0 }, "copies"},
		"layer, least":           {func(p *recipe) { p.layerHeight = 0.02 }, ""},
		"layer, too thin":        {func(p *recipe) { p.layerHeight = 0.019 }, "layer"},
		"layer, most":            {func(p *recipe) { p.layerHeight = 2 }, ""},
		"layer, too thick":       {func(p *recipe) { p.layerHeight = 2.1 }, "layer"},
		"first layer, too thin":  {func(p *recipe) { p.firstHeight = 0.019 }, "first-layer"},
		"first layer, too thick": {func(p *recipe) { p.firstHeight = 2.1 }, "first-layer"},
		"line, least":            {func(p *recipe) { p.width = 0.05 }, ""},
		"line, too thin":         {func(p *recipe) { p.width = 0.049 }, "line-width"},
		"line, most":             {func(p *recipe) { p.width = 5 }, ""},
		"line, too thick":        {func(p *recipe) { p.width = 5.1 }, "line-width"},
		"hollow":                 {func(p *recipe) { p.infill = 0 }, ""},
		"solid":                  {func(p *recipe) { p.infill = 1 }, ""},
		"less than nothing":      {func(p *recipe) { p.infill = -0.01 }, "infill"},
		"more than solid":        {func(p *recipe) { p.infill = 1.01 }, "infill"},
		"no shell":               {func(p *recipe) { p.shellCount = 0 }, ""},
		"shells, most":           {func(p *recipe) { p.shellCount = 1000 }, ""},
		"too many shells":        {func(p *recipe) { p.shellCount = 1001 }, "shells"},
		"a second nozzle":        {func(p *recipe) { p.in.Support, p.printer.NozzleMM = soluble, []float64{0.4, 0.4} }, ""},
		"dissolving, one nozzle": {func(p *recipe) { p.in.Support, p.printer.NozzleMM = soluble, []float64{0.4} }, "one-nozzle"},
		"colours, one nozzle":    {func(p *recipe) { p.in.Second, p.printer.NozzleMM = box(0, 0, 0, 1, 1, 1), []float64{0.4} }, "one-nozzle"},
	} {
		if got := refusal(recipeWith(t, c.change).check()); got != c.want {
			t.Errorf("%s: refused as %q, want %q", name, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		each   []job.ColourCopies
		copies int
		want   string
	}{
		"none":             {nil, 3, "[3]"},
		"two":              {[]job.ColourCopies{{Copies: 1}, {Copies: 2}}, 3, "[1 2]"},
		"too few":          {[]job.ColourCopies{{Copies: 1}, {Copies: 1}}, 3, "[3]"},
		"too many":         {[]job.ColourCopies{{Copies: 2}, {Copies: 2}}, 3, "[3]"},
		"none of a colour": {[]job.ColourCopies{{Copies: 3}, {Copies: 0}}, 3, "[3]"},
		"less than none":   {[]job.ColourCopies{{Copies: 4}, {Copies: -1}}, 3, "[3]"},
	} {
		if got := fmt.Sprint(byColour(c.each, c.copies)); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}
