package preflight

import (
	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// grips are the ways to hold a part to the plate, the mildest first.
var grips = map[string]int{"none": 0, "skirt": 1, "brim": 2, "raft": 3}

// adhesion advises how to hold a way up to the plate: what the house always
// does, or more where the part asks for it. Practice.
func (c *checker) adhesion(w way) hold {
	return c.bounds.adhesion(w.contact, w.orientation.high-w.orientation.low, c.box(w.orientation))
}

// hold is how a part is held to the plate.
type hold struct {
	grip string // of grips
	why  job.Message
}

func (h hold) advice() job.Advice {
	return job.Advice{About: "adhesion", Do: job.Say("findings.do."+h.grip, nil), Why: h.why}
}

// adhesion advises for what touches the plate, the height and the outer size, mm.
func (b bounds) adhesion(contact contactPatch, height float64, size mesh.Vec) hold {
	out := hold{b.rules.Printing.Adhesion, job.Say("findings.why.house-rules", nil)}
	if _, ok := grips[out.grip]; !ok {
		out.grip = "none"
	}
	need := func(grip string, why job.Message) {
		if grips[grip] > grips[out.grip] {
			out = hold{grip, why}
		}
	}
	switch {
	case height <= 2:
	case contact.bedMM2 < 30 && contact.share < smallShare:
		need("raft", job.Say("findings.why.little-touches", job.Args{"area": area(contact.bedMM2)}))
	case contact.share*100 < b.limits["small-footprint"].Limit:
		need("brim", job.Say("findings.why.little-touches", job.Args{"area": area(contact.bedMM2)}))
	}
	if tips := b.limits["tips-over"]; contact.tipDeg <= max(tips.Limit, tips.NoteAt) {
		need("brim", job.Say("findings.why.tips", job.Args{"degrees": bare(max(0, contact.tipDeg))}))
	}
	if long := max(size[0], size[1]); long > 150 && contact.share > 0.5 {
		need("brim", job.Say("findings.why.curls", job.Args{"length": length(long)}))
	}
	return out
}

// hardMM2 is the area of support, standing where it is hard to take out, from
// which that is worth a word. Practice.
const hardMM2 = 50

// hardToReach says that much of the support stands in places closed on all
// sides. Supports in sealed voids are another matter: they stay.
func hardToReach(h overhang) bool {
	locked := h.lockedMM2 - h.voidMM2
	return locked > hardMM2 && locked > 0.1*h.areaMM2
}

// support advises support that dissolves where other support could not be taken
// out: in places closed on all sides, and between pieces that are to move.
func (c *checker) support() (job.Advice, bool) {
	h := c.now.overhang
	var why job.Message
	switch {
	case h.areaMM2 < c.limits["overhang"].Limit || c.set.Supports != "":
		return job.Advice{}, false
	case h.acrossMM2 > hardMM2:
		why = job.Say("findings.why.on-another", job.Args{"area": area(h.acrossMM2)})
	case hardToReach(h):
		why = job.Say("findings.why.no-tool", job.Args{"area": area(h.lockedMM2 - h.voidMM2)})
	default:
		return job.Advice{}, false
	}
	p, ok := c.dissolving()
	if !ok {
		return job.Advice{About: "support", Do: job.Say("findings.do.ask-inside", nil), Why: job.Say("findings.why.no-soluble", job.Args{"why": why})}, true
	}
	return job.Advice{About: "support", Do: job.Say("findings.do.soluble", nil), Why: job.Say("findings.why.soluble", job.Args{"why": why, "printer": p.Name})}, true
}

// dissolving finds a printer with a second nozzle for a material that dissolves.
func (c *checker) dissolving() (rules.Printer, bool) {
	for _, p := range c.rules.Printers {
		set := c.set
		set.Printer, set.Supports = p.Name, "soluble"
		if _, err := slice.Pick(c.rules, set, c.topo.Shape.SizeMM); err == nil && (c.set.Printer == "" || c.set.Printer == p.Name) {
			return p, true
		}
	}
	return rules.Printer{}, false
}

// why says what the best way up gains.
func (c *checker) why(sent, turned *job.Estimate) job.Message {
	if sent == nil || turned == nil {
		return job.Say("findings.way.not-compared", nil)
	}
	if c.best.orientation == c.sent.orientation {
		if sent.SupportMM3 < 1 {
			return job.Say("findings.way.no-supports", nil)
		}
		return job.Say("findings.way.not-better", nil)
	}
	if c.set.Reoriented {
		return job.Say("findings.way.agreed", job.Args{"tilt": c.tilt()})
	}
	gains := supports(turned.SupportMM3, sent.SupportMM3)
	if c.sent.contact.shaky() && !c.best.contact.shaky() {
		gains = append(gains, job.Say("findings.way.stand", job.Args{"now": area(c.best.contact.bedMM2), "before": area(c.sent.contact.bedMM2)}))
	}
	gains = append(gains, job.Say("findings.way.time", job.Args{"now": duration(turned.PrintTimeS), "before": duration(sent.PrintTimeS)}))
	if !c.fit.Fits {
		gains = append(gains, job.Say("findings.way.fits", nil))
	}
	return job.Say("findings.way.better", job.Args{"tilt": c.tilt(), "gains": gains})
}

// supports says how the volumes of supports compare, where there are any.
func supports(now, before float64) []job.Message {
	const none = 1 // mm3
	switch {
	case now < none && before < none:
		return nil
	case now < none:
		return []job.Message{job.Say("findings.way.supports-none", job.Args{"before": volume(before)})}
	case before < none:
		return []job.Message{job.Say("findings.way.supports-more", job.Args{"now": volume(now)})}
	}
	return []job.Message{job.Say("findings.way.supports", job.Args{"now": volume(now), "before": volume(before)})}
}
