package preflight

import (
	"math"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// judging is one pass from figures to findings.
type judging struct {
	figures
	bounds
	findings []job.Finding
}

// add files a finding at the level of the rules, or at the milder or harder one
// that the finding brings along. Only what is asked keeps its question.
func (j *judging) add(code string, f job.Finding) {
	level := job.Level(j.limits[code].Level)
	if level == levelOff {
		return
	}
	f.Code = code
	if math.IsNaN(f.Amount) || math.IsInf(f.Amount, 0) {
		f.Amount = 0 // JSON has no word for it
	}
	if f.Level == "" {
		f.Level = level
	}
	if f.Level != job.Ask {
		f.Question = job.Message{}
	}
	j.findings = append(j.findings, f)
}

// milder gives the level of the rules, but no harder than most.
func (j *judging) milder(code string, most job.Level) job.Level {
	level := job.Level(j.limits[code].Level)
	if level == job.Stop || level == job.Ask && most == job.Note {
		return most
	}
	return level
}

// place makes an optional place of a finding.
func place(v mesh.Vec) *[3]float64 {
	at := [3]float64(v)
	return &at
}

// judge turns figures into findings, in the order of the catalogue. It looks at
// nothing else: the same figures and bounds give the same findings.
func judge(f figures, b bounds) []job.Finding {
	j := judging{figures: f, bounds: b, findings: []job.Finding{}}
	j.judgeSize()
	j.judgeSurface()
	j.judgePieces()
	if !j.sheet { // nothing of it would be printed
		j.judgeWalls()
		j.judgeStand()
		j.judgeOverhang()
		j.judgeHazard()
	}
	if !j.became.IsZero() {
		j.add(job.CodeAlreadyPrinted, job.Finding{Text: job.Say("findings.already-printed", job.Args{"became": j.became}),
			Question: job.Say("findings.ask.already-printed", nil)})
	}
	j.calm()
	order := Codes()
	slices.SortStableFunc(j.findings, func(a, b job.Finding) int {
		return slices.Index(order, a.Code) - slices.Index(order, b.Code)
	})
	return j.findings
}

// calm makes notes of what would not be so at another size, when the size itself
// is in question: the patron is asked about that first.
func (j *judging) calm() {
	fs := j.findings
	if !slices.ContainsFunc(fs, func(f job.Finding) bool { return f.Code == job.CodeUnitsDoubtful && f.Level != job.Note }) {
		return
	}
	for i, f := range fs {
		if f.Code == job.CodeThinWall || f.Code == job.CodeFineDetail || f.Code == job.CodeNarrowGap {
			fs[i].Level, fs[i].Question = job.Note, job.Message{}
		}
	}
}

// guess is a unit that the file could have been drawn in.
type guess struct {
	unit   job.Message
	factor float64 // to millimetres
}

// The units that drawings come in, and the slip of converting inches twice. An
// inch is 25.4 mm by definition (international yard and pound agreement, 1959).
func guesses() []guess {
	return []guess{
		{job.Say("findings.unit-inches", nil), 25.4}, {job.Say("findings.unit-centimetres", nil), 10}, {job.Say("findings.unit-metres", nil), 1000},
		{job.Say("findings.unit-microns", nil), 0.001}, {job.Say("findings.unit-twice", nil), 1 / 25.4},
	}
}

func (j *judging) judgeSize() {
	size := j.topo.Shape.SizeMM
	longest, largest := max(size[0], size[1], size[2]), largestBuild(j.rules)
	doubtful := longest < j.limits[job.CodeUnitsDoubtful].Limit || longest > oddlyLarge*largest
	if doubtful && (j.set.Scale == 0 || j.set.Scale == 1) {
		j.judgeUnits(size, longest, largest)
	}
	if !j.fit.Fits {
		j.judgeFit(size, longest)
	}
	limit := j.rules.Limits.JobHours
	if e := j.estimate; e != nil && limit > 0 && e.PlateTimeS > limit*3600 {
		j.add(job.CodeTooLong, job.Finding{Text: j.tooLong(e, limit), Amount: e.PlateTimeS / 3600, Unit: "h",
			Question: job.Say("findings.ask.too-long", nil)})
	}
}

// tooLong says what would make the time shorter: less of a part, or another way up.
func (j *judging) tooLong(e *job.Estimate, limit float64) job.Message {
	var time any = duration(e.PlateTimeS)
	most := duration(limit * 3600)
	if time == most {
		time = job.Say("findings.little-more", job.Args{"most": most})
	}
	var smaller, turned job.Message
	if largest := e.LargestScale / j.scale; largest > 0.05 && largest < 1 {
		smaller = job.Say("findings.too-long-smaller", job.Args{"percent": int(largest * 100)})
	}
	if o := j.orientation; !o.AsSent && e.Plates == 1 && o.PrintTimeS <= limit*3600 {
		turned = job.Say("findings.too-long-turned", job.Args{"tilt": j.tilt, "time": duration(o.PrintTimeS)})
	}
	return job.Say("findings.too-long", job.Args{"time": time, "most": most, "smaller": smaller, "turned": turned})
}

// judgeUnits lists the units that would make sense of the size.
func (j *judging) judgeUnits(size mesh.Vec, longest, largest float64) {
	would := []job.Message{}
	for _, g := range guesses() {
		if l := longest * g.factor; l >= j.limits[job.CodeUnitsDoubtful].Limit && l <= largest {
			would = append(would, job.Say("findings.would-be", job.Args{"size": dimensions(size.Mul(g.factor)), "unit": g.unit}))
		}
	}
	f := job.Finding{Amount: longest, Unit: "mm", Question: job.Say("findings.ask.units", nil)}
	f.Text = job.Say("findings.units-doubtful", job.Args{"size": dimensions(size), "would": would})
	if longest > largest {
		if len(would) == 0 {
			return // no unit makes sense of it: it is simply too big
		}
		f.Text = job.Say("findings.units-doubtful-large", job.Args{"size": dimensions(size), "would": would})
	}
	if len(would) > 0 {
		f.Question = job.Say("findings.ask.units-would", job.Args{"size": dimensions(size), "would": would})
	}
	j.add(job.CodeUnitsDoubtful, f)
}

func (j *judging) judgeFit(size mesh.Vec, longest float64) {
	f := job.Finding{Amount: longest, Unit: "mm", Text: job.Say("findings.too-big", job.Args{"size": dimensions(size)})}
	share := j.fit.ScaleToFit
	if e := j.estimate; e != nil && e.LargestScale > 0 {
		share = min(share, e.LargestScale/j.scale) // what is offered keeps the time limit too
	}
	switch percent := int(share*100 + 1e-9); {
	case j.fit.FitsTurned:
		f.Text = job.Say("findings.too-big-turned", job.Args{"size": dimensions(size)})
		f.Question = job.Say("findings.ask.too-big-turned", nil)
		f.Level = j.milder(job.CodeTooBig, job.Ask)
	case percent >= 1:
		f.Text = job.Say("findings.too-big-scaled", job.Args{"size": dimensions(size), "percent": percent, "printer": j.fit.Printer})
		f.Question = job.Say("findings.ask.too-big-scaled", job.Args{"percent": percent})
	}
	j.add(job.CodeTooBig, f)
}

func (j *judging) judgeSurface() {
	s, t := j.topo.Shape, j.topo
	if s.Holes > 0 || s.OpenEdges > 0 {
		j.judgeHoles()
	}
	if n := s.NonmanifoldEdges; float64(n) > j.limits[job.CodeNonmanifold].Limit {
		f := job.Finding{Amount: float64(n), Unit: "edges",
			Text: job.Say("findings.nonmanifold", job.Args{"n": n})}
		if len(t.NonmanifoldAt) > 0 {
			f.At = place(t.NonmanifoldAt[0])
		}
		j.add(job.CodeNonmanifold, f)
	}
	if n := s.FlippedEdges; float64(n) > j.limits[job.CodeFlipped].Limit {
		f := job.Finding{Amount: float64(n), Unit: "edges",
			Text: job.Say("findings.flipped", job.Args{"n": n})}
		if len(t.FlippedAt) > 0 {
			f.At = place(t.FlippedAt[0])
		}
		j.add(job.CodeFlipped, f)
	}
	if s.InsideOut {
		j.add(job.CodeInsideOut, job.Finding{Amount: 1, Text: job.Say("findings.inside-out", nil)})
	}
	if n := s.SelfIntersections; float64(n) > j.limits[job.CodeSelfCrossing].Limit {
		f := job.Finding{Amount: float64(n), Unit: "places", Text: job.Say("findings.self-crossing", job.Args{"n": n})}
		if !s.IntersectionsExact {
			f.Text = job.Say("findings.self-crossing-least", job.Args{"n": n})
		}
		if len(t.Crossings) > 0 {
			f.At = place(t.Crossings[0].At)
		}
		j.add(job.CodeSelfCrossing, f)
	}
	if j.coarse.errorMM > 0 {
		j.add(job.CodeCoarseFacets, job.Finding{Amount: j.coarse.errorMM, Unit: "mm", At: place(j.coarse.at),
			Text:     job.Say("findings.coarse-facets", job.Args{"off": length(j.coarse.errorMM)}),
			Question: job.Say("findings.ask.coarse-facets", nil)})
	}
}

// judgeHoles tells small holes, which are closed, from openings, and both from
// a surface that has no inside at all.
func (j *judging) judgeHoles() {
	s, t := j.topo.Shape, j.topo
	open, worst := 0, -1
	for i, h := range t.Holes {
		if h.LengthMM > j.limits[job.CodeHoles].Limit {
			open++
		}
		if worst < 0 || h.LengthMM > t.Holes[worst].LengthMM {
			worst = i
		}
	}
	f := job.Finding{Amount: float64(s.Holes), Unit: "holes"}
	if worst >= 0 {
		f.At = place(t.Holes[worst].At)
	} else if len(t.OpenAt) > 0 {
		f.At = place(t.OpenAt[0])
	}
	switch {
	case j.sheet:
		f.Level = job.Stop
		f.Text = job.Say("findings.holes-sheet", nil)
	case open > 0:
		f.Text = job.Say("findings.holes", job.Args{"n": s.Holes, "width": length(t.Holes[worst].LengthMM / 3)})
		f.Question = job.Say("findings.ask.holes", nil)
	default:
		f.Level = j.milder(job.CodeHoles, job.Note)
		f.Text = job.Say("findings.holes-small", job.Args{"n": max(1, s.Holes)})
	}
	j.add(job.CodeHoles, f)
}

// isSheet says that a surface is open and encloses next to nothing: its volume,
// with the holes closed flat, is small beside that of a ball of its area, and the
// holes are a good part of it.
func isSheet(t *mesh.Topology) bool {
	holes := 0.0
	for _, h := range t.Holes {
		holes += h.AreaMM2
	}
	ball := math.Pow(t.Shape.AreaMM2, 1.5) / (6 * math.Sqrt(math.Pi))
	return t.Shape.OpenEdges > 0 && math.Abs(t.Shape.VolumeMM3) < 0.03*ball && holes > 0.2*t.Shape.AreaMM2
}
