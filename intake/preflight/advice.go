package preflight

import (
	"fmt"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// grips are the ways to hold a part to the plate, the mildest first.
var grips = map[string]int{"none": 0, "skirt": 1, "brim": 2, "raft": 3}

// adhesion advises how to hold a way up to the plate: what the house always
// does, or more where the part asks for it. Practice.
func (c *checker) adhesion(w way) job.Advice {
	return c.bounds.adhesion(w.contact, w.orientation.high-w.orientation.low, c.box(w.orientation))
}

// adhesion advises for what touches the plate, the height and the outer size, mm.
func (b bounds) adhesion(contact contactPatch, height float64, size mesh.Vec) job.Advice {
	out := job.Advice{About: "adhesion", Do: b.rules.Printing.Adhesion, Why: "it is what the house rules say"}
	if _, ok := grips[out.Do]; !ok {
		out.Do = "none"
	}
	need := func(grip, why string) {
		if grips[grip] > grips[out.Do] {
			out.Do, out.Why = grip, why
		}
	}
	switch {
	case height <= 2:
	case contact.bedMM2 < 30 && contact.share < 0.05:
		need("raft", fmt.Sprintf("only %s touch the plate", areas(contact.bedMM2)))
	case contact.share*100 < b.limits["small-footprint"].Limit:
		need("brim", fmt.Sprintf("only %s touch the plate", areas(contact.bedMM2)))
	}
	if tips := b.limits["tips-over"]; contact.tipDeg <= max(tips.Limit, tips.NoteAt) {
		need("brim", fmt.Sprintf("leaning by %s degrees is enough to tip it over", figure(max(0, contact.tipDeg))))
	}
	if long := max(size[0], size[1]); long > 150 && contact.share > 0.5 {
		need("brim", fmt.Sprintf("it lies flat over %s and its ends may curl up", mm(long)))
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
	why := ""
	switch {
	case h.areaMM2 < c.limits["overhang"].Limit || c.set.Supports != "":
		return job.Advice{}, false
	case h.acrossMM2 > hardMM2:
		why = fmt.Sprintf("about %s of one piece would be held up by supports that stand on another", areas(h.acrossMM2))
	case hardToReach(h):
		why = fmt.Sprintf("about %s of the supports stand where no tool reaches them", areas(h.lockedMM2-h.voidMM2))
	default:
		return job.Advice{}, false
	}
	p, ok := c.dissolving()
	if !ok {
		return job.Advice{About: "support", Do: "ask the patron whether supports may stay inside", Why: why + ", and no printer has soluble support"}, true
	}
	return job.Advice{About: "support", Do: "soluble", Why: why + "; " + p.Name + " can lay support that dissolves in water"}, true
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
func (c *checker) why(sent, turned *job.Estimate) string {
	if sent == nil || turned == nil {
		return "it was not compared, since no time could be worked out"
	}
	if c.best.orientation == c.sent.orientation {
		if sent.SupportMM3 < 1 {
			return "as it was sent it needs no supports, and no other way up is clearly better"
		}
		return "no other way up needs clearly less support or time"
	}
	if c.set.Reoriented {
		return c.tilt() + ", as agreed"
	}
	gains := []string{}
	if sent.SupportMM3 >= 1 || turned.SupportMM3 >= 1 {
		gains = append(gains, fmt.Sprintf("needs %s instead of %s", supports(turned.SupportMM3), supports(sent.SupportMM3)))
	}
	if c.sent.contact.shaky() && !c.best.contact.shaky() {
		gains = append(gains, fmt.Sprintf("stands on %s instead of %s", areas(c.best.contact.bedMM2), areas(c.sent.contact.bedMM2)))
	}
	gains = append(gains, fmt.Sprintf("takes %s instead of %s", hours(turned.PrintTimeS), hours(sent.PrintTimeS)))
	if !c.fit.Fits {
		gains = append(gains, "fits the printer")
	}
	return c.tilt() + " it " + list(gains)
}

// list joins clauses: a, b and c.
func list(of []string) string {
	if len(of) < 2 {
		return strings.Join(of, "")
	}
	return strings.Join(of[:len(of)-1], ", ") + " and " + of[len(of)-1]
}

func supports(mm3 float64) string {
	if mm3 < 1 {
		return "no supports"
	}
	return volumes(mm3) + " of supports"
}
