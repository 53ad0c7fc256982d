package preflight

import (
	"math"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// figures are what was measured of a part: all that judge looks at beside the
// bounds. Lengths in mm, areas in mm2, volumes in mm3, angles in degrees.
type figures struct {
	topo       *mesh.Topology // of the file at the asked scale, as it is
	areaMM2    float64        // of the body looked at, its windings made good
	sheet      bool           // the file is a surface without thickness
	components []component
	hollows    hollows
	thin       thin
	step       step
	coarse     coarse

	fit         job.Fit
	height      float64 // as it would be printed
	lowestAt    mesh.Vec
	contact     contactPatch
	overhang    overhang
	estimate    *job.Estimate // nil when there is none
	orientation job.Orientation
	tilt        job.Message // how the best way up differs from the way it was sent
	became      job.Message // of an earlier file with the same bytes; zero: there was none
}

// bounds are what the figures are judged by: the house rules, as they hold for the
// settings of one job.
type bounds struct {
	rules  *rules.Rules
	limits map[string]rules.Check // by code
	set    job.Settings
	scale  float64
	thick  thickness
}

func newBounds(r *rules.Rules, s job.Settings) bounds {
	b := bounds{rules: r, limits: thresholds(r), set: s, scale: 1}
	if s.Scale > 0 {
		b.scale = s.Scale
	}
	b.thick = thickness{
		wall: b.limits["thin-wall"].Limit, line: b.limits["thin-wall"].StopAt, detail: b.limits["fine-detail"].Limit,
		layer: b.layer(), gap: b.limits["narrow-gap"].Limit, loose: b.limits["narrow-gap"].NoteAt,
	}
	return b
}

func (b bounds) layer() float64 { return b.rules.Printing.Fill(b.set).LayerMM }

// figures gathers what was measured.
func (c *checker) figures(became job.Message) figures {
	f := figures{
		topo: c.topo, areaMM2: c.part.total, sheet: c.sheet, components: c.components, hollows: c.voids(), thin: c.thin, step: c.step, coarse: c.coarse,
		fit: c.fit, height: c.now.orientation.high - c.now.orientation.low, lowestAt: c.lowest(), contact: c.now.contact, overhang: c.now.overhang,
		estimate: c.report.Estimate, tilt: c.tilt(), became: became,
	}
	if c.report.Orientation != nil {
		f.orientation = *c.report.Orientation
	}
	return f
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

// lowest is a place where the part touches the plate.
func (c *checker) lowest() mesh.Vec {
	best, at := math.Inf(1), mesh.Vec{}
	for _, v := range c.part.m.Vertices {
		if h := v.Dot(c.now.orientation.up); h < best {
			best, at = h, v
		}
	}
	return at
}

// judgeOwn runs the checks that the house added.
func (c *checker) judgeOwn() {
	checks, faults := compile(c.rules)
	for range faults {
		c.report.Advice = append(c.report.Advice, job.Advice{About: "rules", Do: job.Say("findings.do.rules-check", nil), Why: job.Say("findings.why.check-wrong", nil)})
	}
	found, advice := runOwn(checks, c.measures())
	c.report.Findings = append(c.report.Findings, found...)
	c.report.Advice = append(c.report.Advice, advice...)
}

// measures gathers the figures for the house's own checks.
func (c *checker) measures() Measures {
	var m Measures
	m.shape(c.topo.Shape)
	size := c.box(c.now.orientation)
	m.size(size)
	m.FootprintMM2, m.BedMM2 = c.now.contact.seenMM2, c.now.contact.bedMM2
	m.Fits = c.fit.Fits
	m.ThinMM2, m.ThinnestMM, m.GapMM = c.thin.wallMM2+c.thin.sheetMM2, thinnest(c.thin.standMM, c.thin.lieMM), c.thin.gapMM
	m.VoidMM3 = c.voids().volume
	m.OverhangMM2, m.BridgeMM, m.TipDeg = c.now.overhang.areaMM2, c.now.overhang.bridgeMM, c.now.contact.tipDeg
	m.Copies, m.Scale = float64(max(1, c.set.Copies)), c.scale
	m.estimate(c.report.Estimate)
	return m
}

// thinnest is the smaller of two figures, where 0 means there is none.
func thinnest(a, b float64) float64 {
	if a == 0 || b == 0 {
		return max(a, b)
	}
	return min(a, b)
}

// box is the outer size of the part in a way up.
func (c *checker) box(s orientation) mesh.Vec {
	r := s.rotation()
	if r == mesh.Upright {
		return c.part.box.Size()
	}
	return c.part.m.Transformed(r, 1).Bounds().Size()
}
