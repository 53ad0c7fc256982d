package preflight

import (
	"fmt"
	"math"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// judgePieces leaves specks thinner than a line out of the count: they are lost.
func (j *judging) judgePieces() {
	parts, bodies, specks := j.topo.Shape.Parts, []component{}, 0
	for _, l := range j.components {
		if j.speck(l) {
			specks++
		} else if l.bodies > 0 {
			bodies = append(bodies, l)
		}
	}
	lost := ""
	if specks > 0 {
		lost = fmt.Sprintf(", and %s too small to print", job.Count(specks, "speck", "specks"))
	}
	switch n := len(bodies); {
	case n > max(1, int(j.limits["several-parts"].Limit)):
		j.add("several-parts", job.Finding{Amount: float64(n), Unit: "pieces", At: place(bodies[1].middle()),
			Text:     fmt.Sprintf("The file holds %d separate pieces%s.", n, lost),
			Question: fmt.Sprintf("Should all %d pieces be printed?", n)})
	case n == 0 && specks > 0:
		j.add("several-parts", job.Finding{Amount: float64(specks), Unit: "pieces",
			Text:     fmt.Sprintf("The file holds nothing but %s too small to print.", job.Count(specks, "speck", "specks")),
			Question: "Is the part to be larger?"})
	case n <= 1 && parts > 1:
		text := fmt.Sprintf("The file holds %d bodies that touch or overlap; they are printed as one piece.", parts)
		if lost != "" {
			text = "The file holds one piece" + lost + "."
		}
		j.add("several-parts", job.Finding{Level: j.milder("several-parts", job.Note), Amount: float64(parts), Unit: "pieces", Text: text})
	}
	j.judgeFloating()
	if v := j.hollows; v.count > 0 && v.volume >= j.limits["sealed-void"].Limit {
		f := job.Finding{Amount: v.volume, Unit: "mm3", At: place(v.at),
			Text:     fmt.Sprintf("It has %s inside (%s), and the supports needed in there could never be taken out.", hollowWords(v.count), volumes(v.volume)),
			Question: "May the supports stay inside the hollow, or should we print it filled?"}
		if j.overhang.voidMM2 < j.limits["overhang"].Limit {
			f.Level = j.milder("sealed-void", job.Note)
			f.Text = fmt.Sprintf("It has %s inside (%s); nothing that is in there can come out.", hollowWords(v.count), volumes(v.volume))
		}
		j.add("sealed-void", f)
	}
}

// speck says that a piece is smaller than a line is wide in every direction.
func (j *judging) speck(l component) bool {
	s := boxOf(l.corners).Size()
	return max(s[0], s[1], s[2]) < j.rules.Printing.LineWidthMM
}

// judgeFloating finds pieces that start above the plate. A piece inside a hollow
// of another is no less in the air.
func (j *judging) judgeFloating() {
	count, gap, at := 0, 0.0, mesh.Vec{}
	for _, l := range j.components {
		if l.low > j.limits["floating-part"].Limit && l.volume > 0 && !j.speck(l) {
			count++
			if l.low > gap {
				gap, at = l.low, l.middle()
			}
		}
	}
	if count == 0 {
		return
	}
	text := fmt.Sprintf("One piece starts %s above the plate and touches nothing", mm(gap))
	if count > 1 {
		text = fmt.Sprintf("%d pieces start above the plate, up to %s, and touch nothing", count, mm(gap))
	}
	j.add("floating-part", job.Finding{Amount: float64(count), Unit: "pieces", At: place(at), Text: sentence(text),
		Question: "Is it meant to hang there, held by supports that are broken off, or should it lie on the plate?"})
}

// hollows are the sealed voids.
type hollows struct {
	count  int
	volume float64
	at     mesh.Vec
}

func hollowWords(n int) string {
	if n == 1 {
		return "a closed hollow"
	}
	return fmt.Sprintf("%d closed hollows", n)
}

func (j *judging) judgeWalls() {
	t := j.thin
	if area := t.wallMM2 + t.sheetMM2; area > 0 {
		j.add("thin-wall", j.thinWall(area))
	}
	if t.detailMM > 0 || j.step.count > 0 {
		j.add("fine-detail", j.fineDetail())
	}
	if t.gapMM > 0 {
		f := job.Finding{Amount: t.gapMM, Unit: "mm", At: place(t.gapAt)}
		if t.between {
			f.Text = fmt.Sprintf("Pieces come as near as %s to each other; below %s they stick together when printed.", mm(t.gapMM), mm(j.thick.gap))
			f.Question = "Are these pieces meant to move against each other?"
		} else {
			f.Text = fmt.Sprintf("A slot is only %s wide; below %s its sides stick together when printed.", mm(t.gapMM), mm(j.thick.gap))
			f.Question = "Must the slot stay open?"
		}
		j.add("narrow-gap", f)
	} else if t.looseMM > 0 {
		j.add("narrow-gap", job.Finding{Level: j.milder("narrow-gap", job.Note), Amount: t.looseMM, Unit: "mm", At: place(t.looseAt),
			Text: fmt.Sprintf("Pieces come as near as %s to each other; they may move stiffly, %s is loose.", mm(t.looseMM), mm(j.thick.loose))})
	}
}

// thinWall words walls below two lines, below one, and lying sheets, which are
// laid layer by layer and so can be thinner than a line is wide.
func (j *judging) thinWall(area float64) job.Finding {
	t, wall := j.thin, j.thick.wall
	f := job.Finding{Amount: t.sheetMM2, Unit: "mm2", At: place(t.lieAt)}
	f.Question = "May we print it all the same, or will you make the walls thicker?"
	stands := t.wallMM2 > 0.2*area
	if stands {
		f.Amount, f.At = t.wallMM2, place(t.standAt)
	}
	enough := max(1, 0.05*area)
	switch {
	case t.lostMM2 >= enough:
		f.Level, f.Amount, f.At = job.Stop, t.wallMM2, place(t.standAt)
		f.Text = fmt.Sprintf("Walls are as thin as %s (about %s of them); the printer lays lines of %s, so they would be missing.",
			mm(t.standMM), areas(t.wallMM2), mm(j.rules.Printing.LineWidthMM))
	case t.layerMM2 >= enough:
		f.Level, f.Amount, f.At = job.Stop, t.sheetMM2, place(t.lieAt)
		f.Text = fmt.Sprintf("A sheet of about %s is only %s thick, less than one layer, so it would be missing.", areas(t.sheetMM2), mm(t.lieMM))
	case stands:
		f.Text = fmt.Sprintf("About %s of wall is thinner than %s (the thinnest is %s), less than two lines of plastic; it may bend or break.",
			areas(t.wallMM2), mm(wall), mm(t.standMM))
	default:
		f.Text = fmt.Sprintf("About %s of it is a sheet only %s thick, about %s; it may bend or tear.",
			areas(t.sheetMM2), mm(t.lieMM), job.Count(int(math.Round(t.lieMM/j.thick.layer)), "layer", "layers"))
	}
	little := area < j.areaMM2/200 && (t.wallMM2 == 0 || t.standMM > 0.7*wall)
	if f.Level == "" && little {
		f.Level = j.milder("thin-wall", job.Note)
	}
	if f.Level == job.Stop && j.limits["thin-wall"].StopAt == 0 {
		f.Level = ""
	}
	return f
}

func (j *judging) fineDetail() job.Finding {
	t, s := j.thin, j.step
	f := job.Finding{Unit: "mm", Question: "May these details be lost?"}
	if t.detailMM > 0 {
		f.Amount, f.At = t.detailMM, place(t.detailAt)
		f.Text = fmt.Sprintf("Some ribs, pins or letters are only %s thick, thinner than a line of plastic, and will be lost.", mm(t.detailMM))
		return f
	}
	f.Amount, f.At = s.riseMM, place(s.at)
	f.Text = fmt.Sprintf("Some steps or letters are only %s high, lower than a layer of %s, and will hardly show.", mm(s.riseMM), mm(j.thick.layer))
	return f
}

func (j *judging) judgeStand() {
	contact, height := j.contact, j.height
	tips, small := j.limits["tips-over"], j.limits["small-footprint"]
	if contact.tipDeg <= max(tips.Limit, tips.NoteAt) {
		f := job.Finding{Amount: contact.tipDeg, Unit: "deg", At: place(contact.tipAt)}
		f.Question = "May we lay it down or add a flat rim, which is cut off afterwards?"
		f.Text = fmt.Sprintf("It stands on a narrow base: leaning by %s degrees is enough to tip it over.", figure(contact.tipDeg))
		if contact.tipDeg <= 0 {
			f.Text = "Its weight does not rest over its base, so it would tip over by itself."
		}
		if contact.tipDeg > tips.Limit {
			f.Level = j.milder("tips-over", job.Note)
		}
		j.add("tips-over", f)
	}
	if height > 2 && contact.share*100 < small.Limit {
		j.add("small-footprint", job.Finding{Amount: contact.bedMM2, Unit: "mm2", At: place(j.lowestAt),
			Text:     fmt.Sprintf("Only %s of it touches the plate, so it could come loose while printing.", areas(contact.bedMM2)),
			Question: "May we add a flat rim, which is cut off afterwards?"})
	}
}

func (j *judging) judgeOverhang() {
	h, pr := j.overhang, j.rules.Printing
	if h.areaMM2 >= j.limits["overhang"].Limit {
		f := job.Finding{Amount: h.areaMM2, Unit: "mm2", At: place(h.at)}
		f.Text = fmt.Sprintf("About %s hangs over nothing and needs supports, which are broken off and leave rough spots", areas(h.areaMM2))
		switch {
		case j.set.Supports == "no":
			f.Text = fmt.Sprintf("About %s hangs over nothing; without supports, as you wish, it will sag", areas(h.areaMM2))
		case hardToReach(h):
			f.Text += "; some of them stand where they are hard to reach"
		}
		if j.set.Supports != "" {
			f.Level = j.milder("overhang", job.Note)
		}
		f.Text, f.Question = sentence(f.Text), "May we print it with supports?"
		j.add("overhang", f)
	}
	if h.bridgeMM > 0 {
		j.add("long-bridge", job.Finding{Amount: h.bridgeMM, Unit: "mm", At: place(h.bridgeAt),
			Text:     fmt.Sprintf("At one place plastic has to span %s through the air; beyond %s it sags without a support.", mm(h.bridgeMM), mm(pr.BridgeMM)),
			Question: "May we put a support there?"})
	}
}

// judgeHazard looks at every piece; the smallest that could be swallowed is told.
func (j *judging) judgeHazard() {
	const mostPieces = 30
	least, at, found := math.Inf(1), mesh.Vec{}, 0
	for i, l := range j.components {
		if i >= mostPieces && i < len(j.components)-mostPieces || l.volume <= 0 || j.speck(l) || !swallowed(l.corners) {
			continue
		}
		found++
		if s := boxOf(l.corners).Size(); max(s[0], s[1], s[2]) < least {
			least, at = max(s[0], s[1], s[2]), l.middle()
		}
	}
	if found == 0 {
		return
	}
	what := "It is"
	if len(j.components) > 1 {
		what = "A piece is"
	}
	j.add("small-part-hazard", job.Finding{Amount: least, Unit: "mm", At: place(at),
		Text:     what + " small enough for a young child to swallow (it fits the small parts cylinder of 16 CFR 1501.4): keep it from children under three.",
		Question: "Is it meant for a child?"})
}
