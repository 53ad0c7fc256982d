package preflight

import (
	"fmt"
	"math"
	"slices"
	"strings"

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
		f.Question = ""
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

// sentence makes a clause a sentence.
func sentence(s string) string { return strings.TrimRight(s, " .") + "." }

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
	if j.became != "" {
		j.add("already-printed", job.Finding{Text: sentence("We have had this very file before: " + j.became),
			Question: "Should we print it once more?"})
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
	if !slices.ContainsFunc(fs, func(f job.Finding) bool { return f.Code == "units-doubtful" && f.Level != job.Note }) {
		return
	}
	for i, f := range fs {
		if f.Code == "thin-wall" || f.Code == "fine-detail" || f.Code == "narrow-gap" {
			fs[i].Level, fs[i].Question = job.Note, ""
		}
	}
}

// guess is a unit that the file could have been drawn in.
type guess struct {
	clause string
	factor float64 // to millimetres
}

// The units that drawings come in, and the slip of converting inches twice. An
// inch is 25.4 mm by definition (international yard and pound agreement, 1959).
func guesses() []guess {
	return []guess{
		{"if it was drawn in inches", 25.4}, {"if it was drawn in centimetres", 10}, {"if it was drawn in metres", 1000},
		{"if it was drawn in microns", 0.001}, {"if inches were converted twice", 1 / 25.4},
	}
}

func (j *judging) judgeSize() {
	size := j.topo.Shape.SizeMM
	longest, largest := max(size[0], size[1], size[2]), largestBuild(j.rules)
	doubtful := longest < j.limits["units-doubtful"].Limit || longest > oddlyLarge*largest
	if doubtful && (j.set.Scale == 0 || j.set.Scale == 1) {
		j.judgeUnits(size, longest, largest)
	}
	if !j.fit.Fits {
		j.judgeFit(size, longest)
	}
	limit := j.rules.Limits.JobHours
	if e := j.estimate; e != nil && limit > 0 && e.PlateTimeS > limit*3600 {
		time, most := hours(e.PlateTimeS), hours(limit*3600)
		if time == most {
			time = "a little more than " + most
		}
		text := fmt.Sprintf("It would take %s to print, and a job may take %s at most", time, most)
		if largest := e.LargestScale / j.scale; largest > 0.05 && largest < 1 {
			text += fmt.Sprintf("; at %d%% of its size it would fit into that time", int(largest*100))
		}
		if o := j.orientation; !o.AsSent && e.Plates == 1 && o.PrintTimeS <= limit*3600 {
			text += fmt.Sprintf("; %s it would take %s", j.tilt, hours(o.PrintTimeS))
		}
		j.add("too-long", job.Finding{Text: sentence(text), Amount: e.PlateTimeS / 3600, Unit: "h",
			Question: "Should it be smaller, or printed with thicker layers?"})
	}
}

// judgeUnits lists the units that would make sense of the size.
func (j *judging) judgeUnits(size mesh.Vec, longest, largest float64) {
	var would []string
	for _, g := range guesses() {
		if l := longest * g.factor; l >= j.limits["units-doubtful"].Limit && l <= largest {
			would = append(would, sizes(size.Mul(g.factor))+" "+g.clause)
		}
	}
	text := "Taken as millimetres, it would be " + sizes(size)
	if longest > largest {
		text = "Taken as millimetres, it would be " + sizes(size) + ", far larger than any printer"
	}
	if len(would) > 0 {
		text += "; it would be " + strings.Join(would, ", or ")
	} else if longest > largest {
		return // no unit makes sense of it: it is simply too big
	}
	question := "How large should it be?"
	if len(would) > 0 {
		question = "How large should it be: " + strings.Join(would, ", ") + ", or really " + sizes(size) + "?"
	}
	j.add("units-doubtful", job.Finding{Text: sentence(text), Amount: longest, Unit: "mm", Question: question})
}

func (j *judging) judgeFit(size mesh.Vec, longest float64) {
	text := fmt.Sprintf("At %s it is too big for our printers", sizes(size))
	f := job.Finding{Amount: longest, Unit: "mm"}
	switch {
	case j.fit.FitsTurned:
		text += " as it stands, but it would fit if it was laid down in another way"
		f.Question = "May we lay it down in another way, so that it fits?"
		f.Level = j.milder("too-big", job.Ask)
	case j.fit.ScaleToFit >= 0.01:
		text += fmt.Sprintf("; at %d%% of its size it would fit %s", int(j.fit.ScaleToFit*100), j.fit.Printer)
		f.Question = fmt.Sprintf("May we make it smaller, to %d%% of its size?", int(j.fit.ScaleToFit*100))
	}
	f.Text = sentence(text)
	j.add("too-big", f)
}

func (j *judging) judgeSurface() {
	s, t := j.topo.Shape, j.topo
	if s.Holes > 0 || s.OpenEdges > 0 {
		j.judgeHoles()
	}
	if n := s.NonmanifoldEdges; float64(n) > j.limits["nonmanifold"].Limit {
		f := job.Finding{Amount: float64(n), Unit: "edges",
			Text: fmt.Sprintf("At %s more than two faces meet, which no real object can have; it usually prints all the same.", job.Count(n, "edge", "edges"))}
		if len(t.NonmanifoldAt) > 0 {
			f.At = place(t.NonmanifoldAt[0])
		}
		j.add("nonmanifold", f)
	}
	if n := s.FlippedEdges; float64(n) > j.limits["flipped"].Limit {
		f := job.Finding{Amount: float64(n), Unit: "edges",
			Text: fmt.Sprintf("Part of the surface faces the wrong way (along %s); we turn it round before printing.", job.Count(n, "edge", "edges"))}
		if len(t.FlippedAt) > 0 {
			f.At = place(t.FlippedAt[0])
		}
		j.add("flipped", f)
	}
	if s.InsideOut {
		j.add("inside-out", job.Finding{Amount: 1, Text: "The surface faces inwards, as if the part was a hollow in a block; we turn it round before printing."})
	}
	if n := s.SelfIntersections; float64(n) > j.limits["self-crossing"].Limit {
		count := job.Count(n, "place", "places")
		if !s.IntersectionsExact {
			count = "at least " + count
		}
		f := job.Finding{Amount: float64(n), Unit: "places",
			Text: fmt.Sprintf("The surface passes through itself at %s; what it encloses altogether is printed as one.", count)}
		if len(t.Crossings) > 0 {
			f.At = place(t.Crossings[0].At)
		}
		j.add("self-crossing", f)
	}
	if j.coarse.errorMM > 0 {
		j.add("coarse-facets", job.Finding{Amount: j.coarse.errorMM, Unit: "mm", At: place(j.coarse.at),
			Text:     fmt.Sprintf("Curves are made of flat facets that lie up to %s off the curve and will show; a finer export would be smoother.", mm(j.coarse.errorMM)),
			Question: "Are the facets meant to be seen, or can you send a finer file?"})
	}
}

// judgeHoles tells small holes, which are closed, from openings, and both from
// a surface that has no inside at all.
func (j *judging) judgeHoles() {
	s, t := j.topo.Shape, j.topo
	open, worst := 0, -1
	for i, h := range t.Holes {
		if h.LengthMM > j.limits["holes"].Limit {
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
		f.Text = "The model is a surface without thickness, like paper, so there is nothing solid to print; it has to be given a thickness in the drawing program."
	case open > 0:
		f.Text = fmt.Sprintf("The surface has %s, the largest about %s across, so it is not clear what is inside and what is outside.",
			job.Count(s.Holes, "hole", "holes"), mm(t.Holes[worst].LengthMM/3))
		f.Question = "We would close the surface flat over each hole. Is that right, or is a part of the model missing?"
	default:
		f.Level = j.milder("holes", job.Note)
		f.Text = fmt.Sprintf("The surface has %s; we close them before printing.", job.Count(max(1, s.Holes), "small hole", "small holes"))
	}
	j.add("holes", f)
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
