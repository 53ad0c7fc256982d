package preflight

import (
	"fmt"
	"math"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// judgePieces leaves specks thinner than a line out of the count: they are lost.
func (c *checker) judgePieces() {
	parts, bodies, specks := c.topo.Shape.Parts, []lump{}, 0
	for _, l := range c.lumps {
		if c.speck(l) {
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
	case n > 1:
		c.add("several-parts", job.Finding{Amount: float64(n), Unit: "pieces", At: place(bodies[1].middle()),
			Text:     fmt.Sprintf("The file holds %d separate pieces%s.", n, lost),
			Question: fmt.Sprintf("Should all %d pieces be printed?", n)})
	case n == 0 && specks > 0:
		c.add("several-parts", job.Finding{Amount: float64(specks), Unit: "pieces",
			Text:     fmt.Sprintf("The file holds nothing but %s too small to print.", job.Count(specks, "speck", "specks")),
			Question: "Is the part to be larger?"})
	case parts > 1:
		text := fmt.Sprintf("The file holds %d bodies that touch or overlap; they are printed as one piece.", parts)
		if lost != "" {
			text = "The file holds one piece" + lost + "."
		}
		c.add("several-parts", job.Finding{Level: c.milder("several-parts", job.Note), Amount: float64(parts), Unit: "pieces", Text: text})
	}
	c.judgeFloating()
	if v := c.voids(); v.count > 0 && v.volume >= c.limits["sealed-void"].Limit {
		f := job.Finding{Amount: v.volume, Unit: "mm3", At: place(v.at),
			Text:     fmt.Sprintf("It has %s inside (%s), and the supports needed in there could never be taken out.", hollowWords(v.count), volumes(v.volume)),
			Question: "May the supports stay inside the hollow, or should we print it filled?"}
		if c.now.hang.voidMM2 < c.limits["overhang"].Limit {
			f.Level = c.milder("sealed-void", job.Note)
			f.Text = fmt.Sprintf("It has %s inside (%s); nothing that is in there can come out.", hollowWords(v.count), volumes(v.volume))
		}
		c.add("sealed-void", f)
	}
}

// speck says that a piece is smaller than a line is wide in every direction.
func (c *checker) speck(l lump) bool {
	s := boxOf(l.corners).Size()
	return max(s[0], s[1], s[2]) < c.rules.Printing.LineWidthMM
}

// judgeFloating finds pieces that start above the plate. A piece inside a hollow
// of another is no less in the air.
func (c *checker) judgeFloating() {
	count, gap, at := 0, 0.0, mesh.Vec{}
	for _, l := range c.lumps {
		if l.low > c.limits["floating-part"].Limit && l.volume > 0 && !c.speck(l) {
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
	c.add("floating-part", job.Finding{Amount: float64(count), Unit: "pieces", At: place(at), Text: sentence(text),
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

func (c *checker) voids() hollows {
	var out hollows
	largest := 0.0
	for _, s := range c.part.topo.Shells {
		if v := math.Abs(s.Volume); s.Void {
			out.count++
			out.volume += v
			if v > largest {
				largest, out.at = v, s.Box.Min.Add(s.Box.Max).Mul(0.5)
			}
		}
	}
	return out
}

func (c *checker) judgeWalls() {
	t := c.thin
	if area := t.wallMM2 + t.sheetMM2; area > 0 {
		c.add("thin-wall", c.thinWall(area))
	}
	if t.detailMM > 0 || c.step.count > 0 {
		c.add("fine-detail", c.fineDetail())
	}
	if t.gapMM > 0 {
		f := job.Finding{Amount: t.gapMM, Unit: "mm", At: place(t.gapAt)}
		if t.between {
			f.Text = fmt.Sprintf("Pieces come as near as %s to each other; below %s they stick together when printed.", mm(t.gapMM), mm(c.thick.gap))
			f.Question = "Are these pieces meant to move against each other?"
		} else {
			f.Text = fmt.Sprintf("A slot is only %s wide; below %s its sides stick together when printed.", mm(t.gapMM), mm(c.thick.gap))
			f.Question = "Must the slot stay open?"
		}
		c.add("narrow-gap", f)
	} else if t.looseMM > 0 {
		c.add("narrow-gap", job.Finding{Level: c.milder("narrow-gap", job.Note), Amount: t.looseMM, Unit: "mm", At: place(t.looseAt),
			Text: fmt.Sprintf("Pieces come as near as %s to each other; they may move stiffly, %s is loose.", mm(t.looseMM), mm(c.thick.loose))})
	}
}

// thinWall words walls below two lines, below one, and lying sheets, which are
// laid layer by layer and so can be thinner than a line is wide.
func (c *checker) thinWall(area float64) job.Finding {
	t, wall := c.thin, c.thick.wall
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
			mm(t.standMM), areas(t.wallMM2), mm(c.rules.Printing.LineWidthMM))
	case t.layerMM2 >= enough:
		f.Level, f.Amount, f.At = job.Stop, t.sheetMM2, place(t.lieAt)
		f.Text = fmt.Sprintf("A sheet of about %s is only %s thick, less than one layer, so it would be missing.", areas(t.sheetMM2), mm(t.lieMM))
	case stands:
		f.Text = fmt.Sprintf("About %s of wall is thinner than %s (the thinnest is %s), less than two lines of plastic; it may bend or break.",
			areas(t.wallMM2), mm(wall), mm(t.standMM))
	default:
		f.Text = fmt.Sprintf("About %s of it is a sheet only %s thick, about %s; it may bend or tear.",
			areas(t.sheetMM2), mm(t.lieMM), job.Count(int(math.Round(t.lieMM/c.thick.layer)), "layer", "layers"))
	}
	little := area < c.part.total/200 && (t.wallMM2 == 0 || t.standMM > 0.7*wall)
	if f.Level == "" && little {
		f.Level = c.milder("thin-wall", job.Note)
	}
	if f.Level == job.Stop && c.limits["thin-wall"].StopAt == 0 {
		f.Level = ""
	}
	return f
}

func (c *checker) fineDetail() job.Finding {
	t, s := c.thin, c.step
	f := job.Finding{Unit: "mm", Question: "May these details be lost?"}
	if t.detailMM > 0 {
		f.Amount, f.At = t.detailMM, place(t.detailAt)
		f.Text = fmt.Sprintf("Some ribs, pins or letters are only %s thick, thinner than a line of plastic, and will be lost.", mm(t.detailMM))
		return f
	}
	f.Amount, f.At = s.riseMM, place(s.at)
	f.Text = fmt.Sprintf("Some steps or letters are only %s high, lower than a layer of %s, and will hardly show.", mm(s.riseMM), mm(c.thick.layer))
	return f
}

func (c *checker) judgeStand() {
	foot, height := c.now.foot, c.now.stance.high-c.now.stance.low
	tips, small := c.limits["tips-over"], c.limits["small-footprint"]
	if foot.tipDeg <= max(tips.Limit, tips.NoteAt) {
		f := job.Finding{Amount: foot.tipDeg, Unit: "deg", At: place(foot.tipAt)}
		f.Question = "May we lay it down or add a flat rim, which is cut off afterwards?"
		f.Text = fmt.Sprintf("It stands on a narrow base: leaning by %s degrees is enough to tip it over.", figure(foot.tipDeg))
		if foot.tipDeg <= 0 {
			f.Text = "Its weight does not rest over its base, so it would tip over by itself."
		}
		if foot.tipDeg > tips.Limit {
			f.Level = c.milder("tips-over", job.Note)
		}
		c.add("tips-over", f)
	}
	if height > 2 && foot.share*100 < small.Limit {
		at := c.lowest()
		c.add("small-footprint", job.Finding{Amount: foot.bedMM2, Unit: "mm2", At: &at,
			Text:     fmt.Sprintf("Only %s of it touches the plate, so it could come loose while printing.", areas(foot.bedMM2)),
			Question: "May we add a flat rim, which is cut off afterwards?"})
	}
}

// lowest is a place where the part touches the plate.
func (c *checker) lowest() [3]float64 {
	best, at := math.Inf(1), mesh.Vec{}
	for _, v := range c.part.m.Vertices {
		if h := v.Dot(c.now.stance.up); h < best {
			best, at = h, v
		}
	}
	return at
}

func (c *checker) judgeHanging() {
	h, pr := c.now.hang, c.rules.Printing
	if h.areaMM2 >= c.limits["overhang"].Limit {
		f := job.Finding{Amount: h.areaMM2, Unit: "mm2", At: place(h.at)}
		f.Text = fmt.Sprintf("About %s hangs over nothing and needs supports, which are broken off and leave rough spots", areas(h.areaMM2))
		switch {
		case c.set.Supports == "no":
			f.Text = fmt.Sprintf("About %s hangs over nothing; without supports, as you wish, it will sag", areas(h.areaMM2))
		case c.hardToReach():
			f.Text += "; some of them stand where they are hard to reach"
		}
		if c.set.Supports != "" {
			f.Level = c.milder("overhang", job.Note)
		}
		f.Text, f.Question = sentence(f.Text), "May we print it with supports?"
		c.add("overhang", f)
	}
	if h.bridgeMM > 0 {
		c.add("long-bridge", job.Finding{Amount: h.bridgeMM, Unit: "mm", At: place(h.bridgeAt),
			Text:     fmt.Sprintf("At one place plastic has to span %s through the air; beyond %s it sags without a support.", mm(h.bridgeMM), mm(pr.BridgeMM)),
			Question: "May we put a support there?"})
	}
}

// judgeHazard looks at every piece; the smallest that could be swallowed is told.
func (c *checker) judgeHazard() {
	const mostPieces = 30
	least, at, found := math.Inf(1), mesh.Vec{}, 0
	for i, l := range c.lumps {
		if i >= mostPieces && i < len(c.lumps)-mostPieces || l.volume <= 0 || c.speck(l) || !swallowed(l.corners) {
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
	if len(c.lumps) > 1 {
		what = "A piece is"
	}
	c.add("small-part-hazard", job.Finding{Amount: least, Unit: "mm", At: place(at),
		Text:     what + " small enough for a young child to swallow (it fits the small parts cylinder of 16 CFR 1501.4): keep it from children under three.",
		Question: "Is it meant for a child?"})
}
