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
		{job.CodeUnreadable, []job.Level{stop}, nil},
		{job.CodeNotSTL, []job.Level{stop}, nil},
		{job.CodeTooBig, []job.Level{stop, ask}, []bound{build("outer size", 1)}},
		{job.CodeTooLong, []job.Level{stop}, []bound{{"limits.toml", "job_hours", "h", "time of the longest plate",
			func(r *rules.Rules) float64 { return r.Limits.JobHours }}}},
		{job.CodeUnitsDoubtful, []job.Level{ask}, []bound{limit(job.CodeUnitsDoubtful, "mm", "longest side"), build("longest side", oddlyLarge)}},
		{job.CodeHoles, []job.Level{stop, ask, note}, []bound{limit(job.CodeHoles, "mm", "rim of a hole")}},
		{job.CodeThinWall, []job.Level{stop, ask, note}, []bound{limit(job.CodeThinWall, "mm", "thickness of walls and sheets"),
			stopAt(job.CodeThinWall, "mm", "thickness of standing walls"), layer("thickness of lying sheets")}},
		{job.CodeNarrowGap, []job.Level{ask, note}, []bound{limit(job.CodeNarrowGap, "mm", "width of gaps"), noteAt(job.CodeNarrowGap, "mm", "distance of pieces")}},
		{job.CodeSeveralParts, []job.Level{ask, note}, []bound{limit(job.CodeSeveralParts, "pieces", "number of pieces")}},
		{job.CodeFloatingPart, []job.Level{ask}, []bound{limit(job.CodeFloatingPart, "mm", "height of a piece above the plate")}},
		{job.CodeSealedVoid, []job.Level{ask, note}, []bound{limit(job.CodeSealedVoid, "mm3", "volume of the hollows"),
			{"checks.toml", "overhang.limit", "mm2", "surface in the hollows that needs supports", limit(job.CodeOverhang, "", "").value}}},
		{job.CodeTipsOver, []job.Level{ask, note}, []bound{limit(job.CodeTipsOver, "deg", "least lean that tips a piece over"),
			noteAt(job.CodeTipsOver, "deg", "least lean that tips a piece over")}},
		{job.CodeSmallFootprint, []job.Level{note}, []bound{limit(job.CodeSmallFootprint, "%", "share of what is seen from above that touches the plate")}},
		{job.CodeOverhang, []job.Level{note}, []bound{limit(job.CodeOverhang, "mm2", "surface that needs supports"),
			{"printing.toml", "support_angle_deg", "deg", "angle of a surface from vertical",
				func(r *rules.Rules) float64 { return r.Printing.SupportAngleDeg }}}},
		{job.CodeLongBridge, []job.Level{note}, []bound{{"printing.toml", "bridge_mm", "mm", "span held at both ends",
			func(r *rules.Rules) float64 { return r.Printing.BridgeMM }}}},
		{job.CodeFineDetail, []job.Level{note}, []bound{limit(job.CodeFineDetail, "mm", "thickness of ribs, pins and letters"), layer("height of steps")}},
		{job.CodeSelfCrossing, []job.Level{note}, []bound{limit(job.CodeSelfCrossing, "places", "number of crossings")}},
		{job.CodeInsideOut, []job.Level{note}, nil},
		{job.CodeNonmanifold, []job.Level{note}, []bound{limit(job.CodeNonmanifold, "edges", "number of edges with more than two facets")}},
		{job.CodeFlipped, []job.Level{note}, []bound{limit(job.CodeFlipped, "edges", "number of edges whose facets face opposite ways")}},
		{job.CodeCoarseFacets, []job.Level{note}, []bound{limit(job.CodeCoarseFacets, "mm", "distance of facets from the curve")}},
		{job.CodeSmallPartHazard, []job.Level{note}, []bound{{"", "16 CFR 1501.4", "mm", "width of a piece",
			func(*rules.Rules) float64 { return 2 * cylinderRadius }}}},
		{job.CodeAlreadyPrinted, []job.Level{note}, nil},
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
