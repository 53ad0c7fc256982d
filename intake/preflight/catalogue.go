package preflight

import (
	"meshclerk/intake/job"
	"meshclerk/rules"
)

// row is what is known of one finding. Which of its sentences is said is decided in
// one function of this room; the words stand in templates/<language>/findings.toml.
type row struct {
	code   string
	levels []job.Level // that it can have under the built-in rules
	bounds []bound     // by which it is judged; none: it is there or not
}

// bound is one figure of the house by which a finding is given or its level changes.
type bound struct {
	file, key string // where it stands; no file: it is a published standard's
	unit      string
	measure   string // what it judges
	value     func(r *rules.Rules) float64
}

// catalogue lists all findings, worst first. To add one: its row here, its level and
// limit in rules/checks.toml, its judge function, its texts, and in
// catalogue_test.go the meshes on both sides of each bound. A test fails on any gap.
func catalogue() []row {
	stop, ask, note := job.Stop, job.Ask, job.Note
	build := func(measure string, times float64) bound {
		return bound{"printers.toml", "build_mm", "mm", measure, func(r *rules.Rules) float64 { return times * largestBuild(r) }}
	}
	layer := func(measure string) bound {
		return bound{"printing.toml", "layer_mm", "mm", measure, func(r *rules.Rules) float64 { return r.Printing.LayerMM }}
	}
	return []row{
		{"unfinished", []job.Level{stop}, nil}, // no rule makes it milder
		{"unreadable", []job.Level{stop}, nil},
		{"not-stl", []job.Level{stop}, nil},
		{"too-big", []job.Level{stop, ask}, []bound{build("outer size", 1)}},
		{"too-long", []job.Level{stop}, []bound{{"limits.toml", "job_hours", "h", "time of the longest plate",
			func(r *rules.Rules) float64 { return r.Limits.JobHours }}}},
		{"units-doubtful", []job.Level{ask}, []bound{limit("units-doubtful", "mm", "longest side"), build("longest side", oddlyLarge)}},
		{"holes", []job.Level{stop, ask, note}, []bound{limit("holes", "mm", "rim of a hole")}},
		{"thin-wall", []job.Level{stop, ask, note}, []bound{limit("thin-wall", "mm", "thickness of walls and sheets"),
			stopAt("thin-wall", "mm", "thickness of standing walls"), layer("thickness of lying sheets")}},
		{"narrow-gap", []job.Level{ask, note}, []bound{limit("narrow-gap", "mm", "width of gaps"), noteAt("narrow-gap", "mm", "distance of pieces")}},
		{"several-parts", []job.Level{ask, note}, []bound{limit("several-parts", "pieces", "number of pieces")}},
		{"floating-part", []job.Level{ask}, []bound{limit("floating-part", "mm", "height of a piece above the plate")}},
		{"sealed-void", []job.Level{ask, note}, []bound{limit("sealed-void", "mm3", "volume of the hollows"),
			{"checks.toml", "overhang.limit", "mm2", "surface in the hollows that needs supports", limit("overhang", "", "").value}}},
		{"tips-over", []job.Level{ask, note}, []bound{limit("tips-over", "deg", "least lean that tips a piece over"),
			noteAt("tips-over", "deg", "least lean that tips a piece over")}},
		{"small-footprint", []job.Level{note}, []bound{limit("small-footprint", "%", "share of what is seen from above that touches the plate")}},
		{"overhang", []job.Level{note}, []bound{limit("overhang", "mm2", "surface that needs supports"),
			{"printing.toml", "support_angle_deg", "deg", "angle of a surface from vertical",
				func(r *rules.Rules) float64 { return r.Printing.SupportAngleDeg }}}},
		{"long-bridge", []job.Level{note}, []bound{{"printing.toml", "bridge_mm", "mm", "span held at both ends",
			func(r *rules.Rules) float64 { return r.Printing.BridgeMM }}}},
		{"fine-detail", []job.Level{note}, []bound{limit("fine-detail", "mm", "thickness of ribs, pins and letters"), layer("height of steps")}},
		{"self-crossing", []job.Level{note}, []bound{limit("self-crossing", "places", "number of crossings")}},
		{"inside-out", []job.Level{note}, nil},
		{"nonmanifold", []job.Level{note}, []bound{limit("nonmanifold", "edges", "number of edges with more than two facets")}},
		{"flipped", []job.Level{note}, []bound{limit("flipped", "edges", "number of edges whose facets face opposite ways")}},
		{"coarse-facets", []job.Level{note}, []bound{limit("coarse-facets", "mm", "distance of facets from the curve")}},
		{"small-part-hazard", []job.Level{note}, []bound{{"", "16 CFR 1501.4", "mm", "width of a piece",
			func(*rules.Rules) float64 { return 2 * cylinderRadius }}}},
		{"already-printed", []job.Level{note}, nil},
	}
}

func limit(code, unit, measure string) bound {
	return bound{"checks.toml", code + ".limit", unit, measure, func(r *rules.Rules) float64 { return r.Checks.Check[code].Limit }}
}

func noteAt(code, unit, measure string) bound {
	return bound{"checks.toml", code + ".note_at", unit, measure, func(r *rules.Rules) float64 { return r.Checks.Check[code].NoteAt }}
}

func stopAt(code, unit, measure string) bound {
	return bound{"checks.toml", code + ".stop_at", unit, measure, func(r *rules.Rules) float64 { return r.Checks.Check[code].StopAt }}
}

// oddlyLarge is how many times larger than every printer a part is for its unit to be doubted.
const oddlyLarge = 3

// largestBuild is the longest side of any printer's room, mm.
func largestBuild(r *rules.Rules) float64 {
	largest := 0.0
	for _, p := range r.Printers {
		largest = max(largest, p.BuildMM[0], p.BuildMM[1], p.BuildMM[2])
	}
	return largest
}
