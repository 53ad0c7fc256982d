package preflight

import (
	"context"
	"math"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// grips are the ways to hold a part to the plate, the mildest first.
var grips = map[string]int{"none": 0, "skirt": 1, "brim": 2, "raft": 3}

// adhesion advises how to hold a way up to the plate: what the house always
// does, or more where the part asks for it. Practice.
func (c check) adhesion(p *part, w way) hold {
	return c.bounds.adhesion(w.contact, w.orientation.high-w.orientation.low, p.sizeIn(w.orientation))
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
	case contact.share*100 < b.limits[job.CodeSmallFootprint].Limit:
		need("brim", job.Say("findings.why.little-touches", job.Args{"area": area(contact.bedMM2)}))
	}
	if tips := b.limits[job.CodeTipsOver]; contact.tipDeg <= max(tips.Limit, tips.NoteAt) {
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

// support advises support that dissolves where other support could hardly be taken out.
func (c check) support(x examined, h overhang, t thin) (job.Advice, bool) {
	why, hard := c.hardToBreakOff(h, t)
	if !hard {
		return job.Advice{}, false
	}
	p, ok := c.dissolving(x.topo.Shape.SizeMM)
	if !ok {
		return job.Advice{About: "support", Do: job.Say("findings.do.ask-inside", nil), Why: job.Say("findings.why.no-soluble", job.Args{"why": why})}, true
	}
	return job.Advice{About: "support", Do: job.Say("findings.do.soluble", nil), Why: job.Say("findings.why.soluble", job.Args{"why": why, "printer": p.Name})}, true
}

// hardToBreakOff reports whether supports are to be laid, nobody has said of which kind,
// and they could hardly be taken out by hand: between pieces that are to move, in places
// closed on all sides, or off a part that is thin enough to break with them. It says why.
func (c check) hardToBreakOff(h overhang, t thin) (why job.Message, hard bool) {
	if c.set.Supports != "" || h.areaMM2 < c.limits[job.CodeOverhang].Limit {
		return job.Message{}, false
	}
	switch {
	case h.acrossMM2 > hardMM2:
		return job.Say("findings.why.on-another", job.Args{"area": area(h.acrossMM2)}), true
	case hardToReach(h):
		return job.Say("findings.why.no-tool", job.Args{"area": area(h.lockedMM2 - h.voidMM2)}), true
	case t.gapMM > 0 && t.between:
		return job.Say("findings.why.pieces-move", job.Args{"gap": length(t.gapMM)}), true
	case t.looseMM > 0:
		return job.Say("findings.why.pieces-move", job.Args{"gap": length(t.looseMM)}), true
	case t.detailMM > 0:
		return job.Say("findings.why.fragile", job.Args{"thick": length(t.detailMM)}), true
	case t.wallMM2 > hardMM2 && t.standMM > 0:
		return job.Say("findings.why.fragile", job.Args{"thick": length(t.standMM)}), true
	}
	return job.Message{}, false
}

// offerDissolving works out what the part takes with supports that dissolve, where
// others would be hard to break off and a printer can lay them.
func (c check) offerDissolving(ctx context.Context, x examined, st stood, t thin, e *job.Estimate) error {
	if _, hard := c.hardToBreakOff(st.now.overhang, t); !hard || !c.opts.WhatIf || e == nil {
		return nil
	}
	p, ok := c.dissolving(x.topo.Shape.SizeMM)
	if !ok {
		return nil
	}
	c.set.Supports = "soluble"
	in, err := c.input(x, p, st.stick)
	if err != nil {
		return err
	}
	d, err := slice.Estimate(ctx, x.turned(st.now.orientation), in)
	if err != nil {
		return err
	}
	limit := in.Limits.JobHours * 3600
	set := c.set
	set.Printer = p.Name
	e.WhatIf = append(e.WhatIf, job.Choice{Label: job.Say("choices.dissolving", nil), Settings: set, PrintTimeS: d.PrintTimeS, MassG: d.MassG, Plates: d.Plates,
		SupportMassG: d.SupportMassG, SupportMaterial: d.SupportMaterial, Within: limit <= 0 || d.PlateTimeS <= limit})
	return nil
}

// dissolving finds a printer with a second nozzle for a material that dissolves.
func (c check) dissolving(size mesh.Vec) (rules.Printer, bool) {
	for _, p := range c.rules.Printers {
		set := c.set
		set.Printer, set.Supports = p.Name, "soluble"
		if _, err := slice.Pick(c.rules, set, size); err == nil && (c.set.Printer == "" || c.set.Printer == p.Name) {
			return p, true
		}
	}
	return rules.Printer{}, false
}

// advisory is what staff are told beside the findings.
type advisory struct {
	best        way // or the way it was sent, where the estimates do not bear the advice out
	orientation job.Orientation
	advice      []job.Advice
}

// advise compares the best way up with the way it was sent, in the estimate's
// own figures, and keeps the latter when they do not bear the advice out.
func (c check) advise(ctx context.Context, x examined, p *part, st stood, s surveyed, e estimated) (advisory, error) {
	out, sent, turned := advisory{best: s.best}, e.estimate, e.estimate
	switch {
	case sent == nil:
		out.best = st.sent
	case out.best.orientation != st.now.orientation:
		other, err := c.estimateTurned(ctx, x, p, st.printer, out.best)
		if err != nil {
			return advisory{}, err
		}
		turned = &other
		if !worthIt(st, out.best, *sent, other) {
			out.best, turned = st.sent, sent
		}
	}
	o := job.Orientation{Rotation: out.best.orientation.rotation(), AsSent: out.best.orientation == st.sent.orientation,
		HeightMM: out.best.orientation.high - out.best.orientation.low, BedMM2: out.best.contact.bedMM2}
	if turned != nil {
		o.SupportMM3, o.PrintTimeS = turned.SupportMM3, turned.PrintTimeS
	}
	o.Why = c.gain(st, out.best, sent, turned)
	out.orientation, out.advice = o, c.advice(x, p, st, s, e)
	return out, nil
}

// advice lists what staff should know or do, but for the house's own checks.
func (c check) advice(x examined, p *part, st stood, s surveyed, e estimated) (out []job.Advice) {
	if p.castShare < 1 {
		out = append(out, job.Advice{About: "check", Do: job.Say("findings.do.look-walls", nil), Why: job.Say("findings.why.tangled", nil)})
	}
	if e.why != nil {
		out = append(out, job.Advice{About: "check", Do: job.Say("findings.do.estimate", nil), Why: job.Why(e.why)})
	}
	out = append(out, st.stick.advice())
	if a, ok := c.support(x, st.now.overhang, s.thin); ok {
		out = append(out, a)
	}
	return out
}

func (c check) estimateTurned(ctx context.Context, x examined, p *part, on rules.Printer, best way) (job.Estimate, error) {
	in, err := c.input(x, on, c.adhesion(p, best))
	if err != nil {
		return job.Estimate{}, err
	}
	return slice.Estimate(ctx, x.turned(best.orientation), in)
}

// worthIt reports whether turning makes the part fit or stand, or saves support or a
// good part of the time.
func worthIt(st stood, best way, sent, turned job.Estimate) bool {
	steadier := st.now.contact.shaky() && !best.contact.shaky() && turned.SupportMM3 <= sent.SupportMM3*1.05+20
	lessSupport := turned.SupportMM3 < 0.8*sent.SupportMM3-1 && turned.PrintTimeS < 1.25*sent.PrintTimeS
	lessTime := turned.PrintTimeS < 0.93*sent.PrintTimeS && turned.SupportMM3 <= sent.SupportMM3*1.05+20
	return !st.fit.Fits || steadier || lessSupport || lessTime
}

// tilt says how a way up differs from the way the part was sent.
func tilt(best way) job.Message {
	up := best.orientation.up
	switch {
	case up[2] > 0.9999:
		return job.Say("findings.way.as-sent", nil)
	case up[2] < -0.9999:
		return job.Say("findings.way.upside-down", nil)
	case math.Abs(up[2]) < 0.01:
		return job.Say("findings.way.on-its-side", nil)
	}
	return job.Say("findings.way.tilted", job.Args{"degrees": int(math.RoundToEven(math.Acos(up[2]) * 180 / math.Pi))})
}

// gain says what the best way up gains.
func (c check) gain(st stood, best way, sent, turned *job.Estimate) job.Message {
	if sent == nil || turned == nil {
		return job.Say("findings.way.not-compared", nil)
	}
	if best.orientation == st.sent.orientation {
		if sent.SupportMM3 < 1 {
			return job.Say("findings.way.no-supports", nil)
		}
		return job.Say("findings.way.not-better", nil)
	}
	if c.set.Reoriented {
		return job.Say("findings.way.agreed", job.Args{"tilt": tilt(best)})
	}
	gains := supports(turned.SupportMM3, sent.SupportMM3)
	if st.sent.contact.shaky() && !best.contact.shaky() {
		gains = append(gains, job.Say("findings.way.stand", job.Args{"now": area(best.contact.bedMM2), "before": area(st.sent.contact.bedMM2)}))
	}
	gains = append(gains, job.Say("findings.way.time", job.Args{"now": duration(turned.PrintTimeS), "before": duration(sent.PrintTimeS)}))
	if !st.fit.Fits {
		gains = append(gains, job.Say("findings.way.fits", nil))
	}
	return job.Say("findings.way.better", job.Args{"tilt": tilt(best), "gains": gains})
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
