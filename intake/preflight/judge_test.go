package preflight

import (
	"math"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// sound gives the figures of a part that nothing is to be said of.
func sound() figures {
	return figures{
		topo:    &mesh.Topology{Shape: job.Shape{SizeMM: [3]float64{100, 100, 100}, Parts: 1, IntersectionsExact: true}},
		areaMM2: 60000, components: []component{block(100, 0)}, fit: job.Fit{Fits: true}, height: 100,
		contact: contactPatch{bedMM2: 10000, seenMM2: 10000, share: 1, tipDeg: 45}, estimate: &job.Estimate{PlateTimeS: 3600, Plates: 1, LargestScale: 2},
		orientation: job.Orientation{AsSent: true},
	}
}

// block is a piece in the shape of a cube, so high above the plate.
func block(edge, low float64) component {
	return component{low: low, high: low + edge, volume: edge * edge * edge, bodies: 1, corners: cube(edge).Vertices}
}

// edge is one comparison: what is found a hair below a figure, at it, and a hair above.
type edge struct {
	name string
	code string
	at   float64
	want [3]string // levels; or, with told, "yes" where the text has it
	told string
	set  func(f *figures, b *bounds, v float64)
	unit bool // the figure is a count: one less, it, and one more
}

const (
	noted, asked, stopped, yes, none = "note", "ask", "stop", "yes", ""
)

func edges() []edge {
	shape := func(put func(s *job.Shape, v float64)) func(*figures, *bounds, float64) {
		return func(f *figures, _ *bounds, v float64) { put(&f.topo.Shape, v) }
	}
	longest := shape(func(s *job.Shape, v float64) { s.SizeMM = [3]float64{v / 2, v, v / 2} })
	counted := func(code string, put func(s *job.Shape, n int)) func(*figures, *bounds, float64) {
		return func(f *figures, b *bounds, v float64) { b.move(code, 3); put(&f.topo.Shape, int(v)) }
	}
	printers := rules.Default()
	room := largestBuild(printers)
	units := printers.Checks.Check["units-doubtful"].Limit
	hour := printers.Limits.JobHours * 3600
	limit := func(code string) float64 { return printers.Checks.Check[code].Limit }
	noteAt := func(code string) float64 { return printers.Checks.Check[code].NoteAt }
	line := printers.Printing.LineWidthMM
	return []edge{
		{"small", "units-doubtful", units, [3]string{asked, none, none}, "", longest, false},
		{"large", "units-doubtful", 3 * room, [3]string{none, none, asked}, "", longest, false},
		{"small, at another scale", "units-doubtful", units, [3]string{}, "", func(f *figures, b *bounds, v float64) { longest(f, b, v); b.set.Scale = 2 }, false},
		{"small, at its own scale", "units-doubtful", units, [3]string{asked, none, none}, "", func(f *figures, b *bounds, v float64) { longest(f, b, v); b.set.Scale = 1 }, false},
		{"a unit that gives the least size", "units-doubtful", units / 1000, [3]string{none, yes, yes}, "unit-metres", longest, false},
		{"a unit that gives the largest size", "units-doubtful", room / 1000, [3]string{yes, yes, none}, "unit-metres", longest, false},

		{"a scale worth naming", "too-big", 0.01, [3]string{none, yes, yes}, "too-big-scaled", func(f *figures, _ *bounds, v float64) { f.fit = job.Fit{ScaleToFit: v} }, false},
		{"time", "too-long", hour, [3]string{none, none, stopped}, "", func(f *figures, _ *bounds, v float64) { f.estimate.PlateTimeS = v }, false},
		{"time, without a limit", "too-long", hour, [3]string{}, "", func(f *figures, b *bounds, v float64) { f.estimate.PlateTimeS, b.rules.Limits.JobHours = v, 0 }, false},
		{"least scale that would be short enough", "too-long", 0.05, [3]string{none, none, yes}, "too-long-smaller", slow(func(f *figures, v float64) { f.estimate.LargestScale = v }), false},
		{"largest scale that would be short enough", "too-long", 1, [3]string{yes, none, none}, "too-long-smaller", slow(func(f *figures, v float64) { f.estimate.LargestScale = v }), false},
		{"time in another way up", "too-long", hour, [3]string{yes, yes, none}, "on-its-side", slow(func(f *figures, v float64) {
			f.orientation, f.tilt = job.Orientation{PrintTimeS: v}, job.Say("findings.way.on-its-side", nil)
		}), false},
		{"time in another way up, on so many plates", "too-long", 1, [3]string{none, yes, none}, "on-its-side", slow(func(f *figures, v float64) {
			f.orientation, f.tilt, f.estimate.Plates = job.Orientation{PrintTimeS: 1}, job.Say("findings.way.on-its-side", nil), int(v)
		}), true},

		{"open edges", "holes", 1, [3]string{none, noted, noted}, "", shape(func(s *job.Shape, v float64) { s.OpenEdges = int(v) }), true},
		{"holes", "holes", 1, [3]string{none, noted, noted}, "", func(f *figures, _ *bounds, v float64) {
			f.topo.Shape.Holes = int(v)
			f.topo.Holes = make([]mesh.Hole, int(v))
		}, true},
		{"rim", "holes", limit("holes"), [3]string{noted, noted, asked}, "", func(f *figures, _ *bounds, v float64) {
			f.topo.Shape.Holes, f.topo.Holes = 1, []mesh.Hole{{LengthMM: v}}
		}, false},
		{"edges", "nonmanifold", 3, [3]string{none, none, noted}, "", counted("nonmanifold", func(s *job.Shape, n int) { s.NonmanifoldEdges = n }), true},
		{"edges", "flipped", 3, [3]string{none, none, noted}, "", counted("flipped", func(s *job.Shape, n int) { s.FlippedEdges = n }), true},
		{"places", "self-crossing", 3, [3]string{none, none, noted}, "", counted("self-crossing", func(s *job.Shape, n int) { s.SelfIntersections = n }), true},
		{"error", "coarse-facets", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.coarse.errorMM = v }, false},

		{"pieces", "several-parts", 3, [3]string{none, none, asked}, "", func(f *figures, b *bounds, v float64) {
			b.move("several-parts", 3)
			f.components, f.topo.Shape.Parts = slices.Repeat([]component{block(100, 0)}, int(v)), int(v)
		}, true},
		{"bodies of one piece", "several-parts", 1, [3]string{none, none, noted}, "", shape(func(s *job.Shape, v float64) { s.Parts = int(v) }), true},
		{"size of a speck", "several-parts", line, [3]string{noted, asked, asked}, "", func(f *figures, _ *bounds, v float64) {
			f.components, f.topo.Shape.Parts = append(f.components, block(v, 0)), 2
		}, false},
		{"nothing but a speck", "several-parts", line, [3]string{yes, none, none}, `only-specks {"specks":1}`, func(f *figures, _ *bounds, v float64) {
			f.components = []component{block(v, 0)}
		}, false},
		{"a speck in the air", "floating-part", line, [3]string{none, asked, asked}, "", func(f *figures, _ *bounds, v float64) { f.components = append(f.components, block(v, 9)) }, false},
		{"height", "floating-part", limit("floating-part"), [3]string{none, none, asked}, "", func(f *figures, _ *bounds, v float64) { f.components = append(f.components, block(50, v)) }, false},
		{"a volume in the air", "floating-part", 0, [3]string{none, none, asked}, "", func(f *figures, _ *bounds, v float64) {
			up := block(50, 9)
			up.volume = v
			f.components = append(f.components, up)
		}, false},
		{"volume", "sealed-void", limit("sealed-void"), [3]string{none, noted, noted}, "", func(f *figures, _ *bounds, v float64) { f.hollows = hollows{count: 1, volume: v} }, false},
		{"number", "sealed-void", 1, [3]string{none, noted, noted}, "", func(f *figures, _ *bounds, v float64) { f.hollows = hollows{count: int(v), volume: 9} }, true},
		{"what needs support in it", "sealed-void", limit("overhang"), [3]string{noted, asked, asked}, "", func(f *figures, _ *bounds, v float64) {
			f.hollows, f.overhang.voidMM2 = hollows{count: 1, volume: 9}, v
		}, false},

		{"area", "thin-wall", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.thin = thin{wallMM2: v, standMM: 0.7} }, false},
		{"the share that stands", "thin-wall", 20, [3]string{none, none, yes}, "findings.thin-wall {", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: v, sheetMM2: 100 - v, standMM: 0.6, lieMM: 0.6}, 100
		}, false},
		{"the share that is lost", "thin-wall", 5, [3]string{asked, stopped, stopped}, "", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: 100, lostMM2: v, standMM: 0.3}, 100
		}, false},
		{"the area that is lost", "thin-wall", 1, [3]string{asked, stopped, stopped}, "", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: 10, lostMM2: v, standMM: 0.3}, 10
		}, false},
		{"the area that is lost, where nothing stops", "thin-wall", 1, [3]string{asked, asked, asked}, "", func(f *figures, b *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: 10, lostMM2: v, standMM: 0.3}, 10
			c := b.limits["thin-wall"]
			c.StopAt = 0
			b.limits["thin-wall"] = c
		}, false},
		{"the share below a layer", "thin-wall", 5, [3]string{asked, stopped, stopped}, "", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{sheetMM2: 100, layerMM2: v, lieMM: 0.1}, 100
		}, false},
		{"a little of the whole", "thin-wall", 2, [3]string{noted, asked, asked}, "", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: v, standMM: 0.7}, 400
		}, false},
		{"a little that is nearly thick enough", "thin-wall", 0.7 * limit("thin-wall"), [3]string{asked, asked, noted}, "", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: 2, standMM: v}, 4000
		}, false},
		{"a little that stands", "thin-wall", 0, [3]string{noted, noted, asked}, "", func(f *figures, _ *bounds, v float64) {
			f.thin, f.areaMM2 = thin{wallMM2: max(0, v), sheetMM2: 2, standMM: 0.5, lieMM: 0.5}, 4000
		}, false},
		{"detail", "fine-detail", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.thin.detailMM = v }, false},
		{"steps", "fine-detail", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.step.count = int(v) }, true},
		{"gap", "narrow-gap", 0, [3]string{none, none, asked}, "", func(f *figures, _ *bounds, v float64) { f.thin.gapMM = v }, false},
		{"stiff", "narrow-gap", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.thin.looseMM = v }, false},

		{"lean", "tips-over", limit("tips-over"), [3]string{asked, asked, noted}, "", func(f *figures, _ *bounds, v float64) { f.contact.tipDeg = v }, false},
		{"milder lean", "tips-over", noteAt("tips-over"), [3]string{noted, noted, none}, "", func(f *figures, _ *bounds, v float64) { f.contact.tipDeg = v }, false},
		{"by itself", "tips-over", 0, [3]string{yes, yes, none}, "tips-over-itself", func(f *figures, _ *bounds, v float64) { f.contact.tipDeg = v }, false},
		{"share", "small-footprint", limit("small-footprint") / 100, [3]string{noted, none, none}, "", func(f *figures, _ *bounds, v float64) { f.contact.share = v }, false},
		{"height", "small-footprint", 2, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.contact.share, f.height = 0.01, v }, false},

		{"area", "overhang", limit("overhang"), [3]string{none, noted, noted}, "", func(f *figures, _ *bounds, v float64) { f.overhang.areaMM2 = v }, false},
		{"area where no hand reaches", "overhang", hardMM2, [3]string{none, none, yes}, "overhang-hidden", func(f *figures, _ *bounds, v float64) {
			f.overhang = overhang{areaMM2: 100, lockedMM2: v + 20, voidMM2: 20}
		}, false},
		{"share where no hand reaches", "overhang", 100, [3]string{none, none, yes}, "overhang-hidden", func(f *figures, _ *bounds, v float64) {
			f.overhang = overhang{areaMM2: 1000, lockedMM2: v}
		}, false},
		{"span", "long-bridge", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) { f.overhang.bridgeMM = v }, false},

		{"the thirtieth piece", "small-part-hazard", 30, [3]string{noted, none, noted}, "", func(f *figures, _ *bounds, v float64) {
			f.components = slices.Repeat([]component{block(100, 0)}, 61)
			f.components[int(v)] = block(20, 0)
		}, true},
		{"volume", "small-part-hazard", 0, [3]string{none, none, noted}, "", func(f *figures, _ *bounds, v float64) {
			small := block(20, 0)
			small.volume = v
			f.components = append(f.components, small)
		}, false},
		{"a speck", "small-part-hazard", line, [3]string{none, noted, noted}, "", func(f *figures, _ *bounds, v float64) { f.components = append(f.components, block(v, 0)) }, false},
		{"number of pieces", "small-part-hazard", 1, [3]string{none, none, yes}, "hazard-piece", func(f *figures, _ *bounds, v float64) {
			f.components = slices.Repeat([]component{block(20, 0)}, int(v))
		}, true},
	}
}

// slow gives a part that takes too long.
func slow(put func(f *figures, v float64)) func(*figures, *bounds, float64) {
	return func(f *figures, _ *bounds, v float64) { f.estimate.PlateTimeS = 1e6; put(f, v) }
}

func (b *bounds) move(code string, limit float64) {
	c := b.limits[code]
	c.Limit = limit
	b.limits[code] = c
}

// Each comparison is right at its very figure, not only near it.
func TestJudgeAtEachBound(t *testing.T) {
	if fs := judge(sound(), newBounds(rules.Default(), job.Settings{})); len(fs) > 0 {
		t.Fatalf("of a sound part it says %+v", fs)
	}
	house := rules.Default()
	for _, e := range edges() {
		hair := max(1e-9, 1e-9*e.at)
		if e.unit {
			hair = 1
		}
		for i, v := range []float64{e.at - hair, e.at, e.at + hair} {
			its := *house
			f, b := sound(), newBounds(&its, job.Settings{})
			e.set(&f, &b, v)
			if got := e.found(judge(f, b)); got != e.want[i] {
				t.Errorf("%s, %s: %q at %.12g, want %q (the bound is %g)", e.code, e.name, got, v, e.want[i], e.at)
			}
		}
	}
}

func (e edge) found(fs []job.Finding) string {
	i := slices.IndexFunc(fs, func(f job.Finding) bool { return f.Code == e.code })
	switch {
	case i < 0:
		return none
	case e.told == "":
		return string(fs[i].Level)
	case strings.Contains(words(fs[i].Text)+words(fs[i].Question), e.told):
		return yes
	}
	return none
}

// While the size is in doubt, what depends on it is not asked about.
func TestDoubtfulSizeMakesDetailsNotes(t *testing.T) {
	for size, want := range map[float64]job.Level{5: job.Note, 50: job.Ask} {
		f, b := sound(), newBounds(rules.Default(), job.Settings{})
		f.topo.Shape.SizeMM = [3]float64{size, size, size}
		f.thin = thin{wallMM2: 1000, standMM: 0.6, gapMM: 0.1, detailMM: 0.1}
		for _, code := range []string{"thin-wall", "narrow-gap", "fine-detail"} {
			c := b.limits[code]
			c.Level = "ask"
			b.limits[code] = c
		}
		seen := 0
		for _, x := range judge(f, b) {
			if x.Code == "thin-wall" || x.Code == "narrow-gap" || x.Code == "fine-detail" {
				seen++
				if x.Level != want || (!x.Question.IsZero()) != (want == job.Ask) {
					t.Errorf("of %g mm: %+v, want %s", size, x, want)
				}
			}
		}
		if seen != 3 {
			t.Errorf("of %g mm: %d of 3 found", size, seen)
		}
	}
}

// What holds a part to the plate, at each bound.
func TestAdhesionAtEachBound(t *testing.T) {
	r := rules.Default()
	tips, small := r.Checks.Check["tips-over"], r.Checks.Check["small-footprint"]
	at := func(share, bed, tip, height, long float64) string {
		f := contactPatch{share: share, bedMM2: bed, tipDeg: tip}
		return newBounds(r, job.Settings{}).adhesion(f, height, mesh.Vec{long, 10, height}).grip
	}
	base := at(1, 1000, 45, 50, 50)
	less, more := math.Nextafter, func(x float64) float64 { return math.Nextafter(x, math.Inf(1)) }
	for _, c := range []struct{ got, want string }{
		{at(0.01, 29, 45, 2, 50), base}, {at(0.01, 29, 45, more(2), 50), "raft"},
		{at(0.01, less(30, 0), 45, 50, 50), "raft"}, {at(0.01, 30, 45, 50, 50), "brim"},
		{at(less(0.05, 0), 29, 45, 50, 50), "raft"}, {at(0.05, 29, 45, 50, 50), base},
		{at(small.Limit/100*(1-1e-9), 1000, 45, 50, 50), "brim"}, {at(small.Limit/100, 1000, 45, 50, 50), base},
		{at(1, 1000, max(tips.Limit, tips.NoteAt), 50, 50), "brim"}, {at(1, 1000, more(max(tips.Limit, tips.NoteAt)), 50, 50), base},
		{at(1, 1000, 45, 50, 150), base}, {at(1, 1000, 45, 50, more(150)), "brim"},
		{at(0.5, 1000, 45, 50, 200), base}, {at(more(0.5), 1000, 45, 50, 200), "brim"},
	} {
		if c.got != c.want {
			t.Errorf("%s, want %s", c.got, c.want)
		}
	}
}

// The figures that the built-in rules start from. Sources as in VALUES beside the
// print services' practice: a wall of two 0.4 mm lines, 0.8 mm; clearance 0.3 least,
// 0.5 loose; overhangs up to 45 degrees (Mazlan 2020); bridges up to 10 mm (guides:
// 5 to 20); a job of 8 hours at most; 16 CFR 1501.4: 31.7 mm wide. The others are
// common practice, no source.
func TestBuiltInBounds(t *testing.T) {
	want := map[string]float64{
		"thin-wall.limit": 0.8, "thin-wall.stop_at": 0.4, "fine-detail.limit": 0.4, "narrow-gap.limit": 0.3, "narrow-gap.note_at": 0.5,
		"support_angle_deg": 45, "bridge_mm": 10, "job_hours": 8, "16 CFR 1501.4": 31.7,
		"units-doubtful.limit": 10, "holes.limit": 15, "several-parts.limit": 1, "floating-part.limit": 0.3, "sealed-void.limit": 1, "overhang.limit": 5,
		"tips-over.limit": 3, "tips-over.note_at": 7, "small-footprint.limit": 5, "coarse-facets.limit": 0.1,
		"self-crossing.limit": 0, "nonmanifold.limit": 0, "flipped.limit": 0, "layer_mm": 0.2,
	}
	house := rules.Default()
	for _, e := range catalogue() {
		for _, b := range e.bounds {
			w, ok := want[b.key]
			if got := b.value(house); b.key != "build_mm" && (!ok || math.Abs(got-w) > 1e-9) {
				t.Errorf("%s %s is %g, want %g", e.code, b.key, got, w)
			}
		}
	}
}
