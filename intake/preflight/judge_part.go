package preflight

import (
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
	switch n := len(bodies); {
	case n > max(1, int(j.limits[job.CodeSeveralParts].Limit)):
		text := job.Say("findings.several-parts", job.Args{"pieces": n})
		if specks > 0 {
			text = job.Say("findings.several-parts-specks", job.Args{"pieces": n, "specks": specks})
		}
		j.add(job.CodeSeveralParts, job.Finding{Amount: float64(n), Unit: "pieces", At: place(bodies[1].middle()), Text: text,
			Question: job.Say("findings.ask.several-parts", job.Args{"pieces": n})})
	case n == 0 && specks > 0:
		j.add(job.CodeSeveralParts, job.Finding{Amount: float64(specks), Unit: "pieces",
			Text:     job.Say("findings.several-parts-only-specks", job.Args{"specks": specks}),
			Question: job.Say("findings.ask.only-specks", nil)})
	case n <= 1 && parts > 1:
		text := job.Say("findings.several-parts-joined", job.Args{"bodies": parts})
		if specks > 0 {
			text = job.Say("findings.several-parts-one", job.Args{"specks": specks})
		}
		j.add(job.CodeSeveralParts, job.Finding{Level: j.milder(job.CodeSeveralParts, job.Note), Amount: float64(parts), Unit: "pieces", Text: text})
	}
	j.judgeFloating()
	if v := j.hollows; v.count > 0 && v.volume >= j.limits[job.CodeSealedVoid].Limit {
		f := job.Finding{Amount: v.volume, Unit: "mm3", At: place(v.at),
			Text:     job.Say("findings.sealed-void", job.Args{"n": v.count, "volume": volume(v.volume)}),
			Question: job.Say("findings.ask.sealed-void", nil)}
		if j.overhang.voidMM2 < j.limits[job.CodeOverhang].Limit {
			f.Level = j.milder(job.CodeSealedVoid, job.Note)
			f.Text = job.Say("findings.sealed-void-empty", job.Args{"n": v.count, "volume": volume(v.volume)})
		}
		j.add(job.CodeSealedVoid, f)
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
		if l.low > j.limits[job.CodeFloatingPart].Limit && l.volume > 0 && !j.speck(l) {
			count++
			if l.low > gap {
				gap, at = l.low, l.middle()
			}
		}
	}
	if count == 0 {
		return
	}
	j.add(job.CodeFloatingPart, job.Finding{Amount: float64(count), Unit: "pieces", At: place(at),
		Text:     job.Say("findings.floating-part", job.Args{"n": count, "height": length(gap)}),
		Question: j.askFloating()})
}

// askFloating asks about a piece in the air, and says of its supports what becomes of them.
func (j *judging) askFloating() job.Message {
	if j.set.Supports == "soluble" {
		return job.Say("findings.ask.floating-dissolving", nil)
	}
	return job.Say("findings.ask.floating-part", nil)
}

// hollows are the sealed voids.
type hollows struct {
	count  int
	volume float64
	at     mesh.Vec
}

func (j *judging) judgeWalls() {
	t := j.thin
	if thin := t.wallMM2 + t.sheetMM2; thin > 0 {
		j.add(job.CodeThinWall, j.thinWall(thin))
	}
	if t.detailMM > 0 || j.step.count > 0 || t.edgeMM >= edgeNoted {
		j.add(job.CodeFineDetail, j.fineDetail())
	}
	if t.gapMM > 0 {
		f := job.Finding{Amount: t.gapMM, Unit: "mm", At: place(t.gapAt)}
		if t.between {
			f.Text = job.Say("findings.narrow-gap-pieces", job.Args{"gap": length(t.gapMM), "least": length(j.thick.gap)})
			f.Question = job.Say("findings.ask.pieces-move", nil)
		} else {
			f.Text = job.Say("findings.narrow-gap-slot", job.Args{"gap": length(t.gapMM), "least": length(j.thick.gap)})
			f.Question = job.Say("findings.ask.slot-open", nil)
		}
		j.add(job.CodeNarrowGap, f)
	} else if t.looseMM > 0 {
		j.add(job.CodeNarrowGap, job.Finding{Level: j.milder(job.CodeNarrowGap, job.Note), Amount: t.looseMM, Unit: "mm", At: place(t.looseAt),
			Text: job.Say("findings.narrow-gap-stiff", job.Args{"gap": length(t.looseMM), "loose": length(j.thick.loose)})})
	}
}

// thinWall words walls below two lines, below one, and lying sheets, which are
// laid layer by layer and so can be thinner than a line is wide.
func (j *judging) thinWall(thin float64) job.Finding {
	t, wall := j.thin, j.thick.wall
	f := job.Finding{Amount: t.sheetMM2, Unit: "mm2", At: place(t.lieAt)}
	f.Question = job.Say("findings.ask.thin-wall", nil)
	stands := t.wallMM2 > 0.2*thin
	if stands {
		f.Amount, f.At = t.wallMM2, place(t.standAt)
	}
	enough := max(1, 0.05*thin)
	switch {
	case t.lostMM2 >= enough:
		f.Level, f.Amount, f.At = job.Stop, t.lostMM2, place(t.standAt)
		f.Text = j.wallLost(enough)
	case t.layerMM2 >= enough:
		f.Level, f.Amount, f.At = job.Stop, t.layerMM2, place(t.lieAt)
		f.Text = job.Say("findings.thin-wall-sheet-lost", job.Args{"area": area(t.layerMM2), "thick": length(t.lieMM)})
	case stands:
		f.Text = job.Say("findings.thin-wall", job.Args{"area": area(t.wallMM2), "bound": length(wall), "thinnest": length(t.standMM)})
	default:
		layers := int(math.Round(t.lieMM / j.thick.layer))
		f.Text = job.Say("findings.thin-wall-sheet", job.Args{"area": area(t.sheetMM2), "thick": length(t.lieMM), "n": layers})
	}
	little := thin < j.areaMM2/200 && (t.wallMM2 == 0 || t.standMM > 0.7*wall)
	if f.Level == "" && little {
		f.Level = j.milder(job.CodeThinWall, job.Note)
	}
	if f.Level == job.Stop && j.limits[job.CodeThinWall].StopAt == 0 {
		f.Level = ""
	}
	return f
}

// wallLost tells what is thinner than a line, and apart from it what only is thinner
// than two.
func (j *judging) wallLost(enough float64) job.Message {
	t := j.thin
	thinnest, lost, line := length(t.standMM), area(t.lostMM2), length(j.rules.Printing.LineWidthMM)
	if rest := t.wallMM2 - t.lostMM2; rest >= enough {
		return job.Say("findings.thin-wall-lost-and-thin", job.Args{"thinnest": thinnest, "area": lost, "line": line, "rest": area(rest), "bound": length(j.thick.wall)})
	}
	return job.Say("findings.thin-wall-lost", job.Args{"thinnest": thinnest, "area": lost, "line": line})
}

// edgeNoted is how much of a sharp edge may be lost without a word, mm: its last tenths.
const edgeNoted = 0.5

func (j *judging) fineDetail() job.Finding {
	t, s := j.thin, j.step
	f := job.Finding{Unit: "mm", Question: job.Say("findings.ask.fine-detail", nil)}
	if t.detailMM > 0 {
		f.Amount, f.At = t.detailMM, place(t.detailAt)
		f.Text = job.Say("findings.fine-detail", job.Args{"thick": length(t.detailMM)})
		return f
	}
	if s.count == 0 {
		f.Level, f.Amount, f.At = j.milder(job.CodeFineDetail, job.Note), t.edgeMM, place(t.edgeAt)
		f.Text = job.Say("findings.fine-detail-edge", job.Args{"far": length(t.edgeMM)})
		return f
	}
	f.Amount, f.At = s.riseMM, place(s.at)
	f.Text = job.Say("findings.fine-detail-low", job.Args{"high": length(s.riseMM), "layer": length(j.thick.layer)})
	return f
}

func (j *judging) judgeStand() {
	contact, height := j.contact, j.height
	tips, small := j.limits[job.CodeTipsOver], j.limits[job.CodeSmallFootprint]
	if contact.tipDeg <= max(tips.Limit, tips.NoteAt) {
		f := job.Finding{Amount: contact.tipDeg, Unit: "deg", At: place(contact.tipAt)}
		f.Question = job.Say("findings.ask.tips-over", nil)
		f.Text = job.Say("findings.tips-over", job.Args{"degrees": bare(contact.tipDeg)})
		if contact.tipDeg <= 0 {
			f.Text = job.Say("findings.tips-over-itself", nil)
		}
		if contact.tipDeg > tips.Limit {
			f.Level = j.milder(job.CodeTipsOver, job.Note)
		}
		j.add(job.CodeTipsOver, f)
	}
	if height > 2 && contact.share*100 < small.Limit {
		j.add(job.CodeSmallFootprint, job.Finding{Amount: contact.bedMM2, Unit: "mm2", At: place(j.lowestAt),
			Text:     job.Say("findings.small-footprint", job.Args{"area": area(contact.bedMM2)}),
			Question: job.Say("findings.ask.small-footprint", nil)})
	}
}

func (j *judging) judgeOverhang() {
	h, pr := j.overhang, j.rules.Printing
	if h.areaMM2 >= j.limits[job.CodeOverhang].Limit {
		f := job.Finding{Amount: h.areaMM2, Unit: "mm2", At: place(h.at), Question: job.Say("findings.ask.overhang", nil)}
		f.Text = job.Say("findings.overhang", job.Args{"area": area(h.areaMM2)})
		switch {
		case j.set.Supports == "soluble":
			f.Text = job.Say("findings.overhang-dissolving", job.Args{"area": area(h.areaMM2)})
		case j.set.Supports == "no":
			f.Text = job.Say("findings.overhang-unheld", job.Args{"area": area(h.areaMM2)})
		case j.dissolve:
			f.Text = job.Say("findings.overhang-either", job.Args{"area": area(h.areaMM2)})
		case hardToReach(h):
			f.Text = job.Say("findings.overhang-hidden", job.Args{"area": area(h.areaMM2)})
		}
		if j.set.Supports != "" {
			f.Level = j.milder(job.CodeOverhang, job.Note)
		}
		j.add(job.CodeOverhang, f)
	}
	if h.bridgeMM > 0 {
		j.add(job.CodeLongBridge, job.Finding{Amount: h.bridgeMM, Unit: "mm", At: place(h.bridgeAt),
			Text:     job.Say("findings.long-bridge", job.Args{"span": length(h.bridgeMM), "most": length(pr.BridgeMM)}),
			Question: job.Say("findings.ask.long-bridge", nil)})
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
	text := job.Say("findings.small-part-hazard", nil)
	if len(j.components) > 1 {
		text = job.Say("findings.small-part-hazard-piece", nil)
	}
	j.add(job.CodeSmallPartHazard, job.Finding{Amount: least, Unit: "mm", At: place(at), Text: text,
		Question: job.Say("findings.ask.small-part-hazard", nil)})
}
