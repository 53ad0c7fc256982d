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
	dissolve   bool           // supports are hard to break off, and a printer has such as dissolve
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
		wall: b.limits[job.CodeThinWall].Limit, line: b.limits[job.CodeThinWall].StopAt, detail: b.limits[job.CodeFineDetail].Limit,
		layer: b.layer(), gap: b.limits[job.CodeNarrowGap].Limit, loose: b.limits[job.CodeNarrowGap].NoteAt,
	}
	return b
}

func (b bounds) layer() float64 { return b.rules.Printing.Fill(b.set).LayerMM }

// gather puts what was measured into one value.
func gather(x examined, p *part, st stood, s surveyed, e estimated, a advisory, became job.Message) figures {
	return figures{
		topo: x.topo, areaMM2: p.total, sheet: x.sheet, components: s.components, hollows: p.voids(), thin: s.thin, step: s.step, coarse: s.coarse,
		fit: st.fit, height: st.now.orientation.high - st.now.orientation.low, lowestAt: p.lowest(st.now.orientation), contact: st.now.contact, overhang: st.now.overhang,
		estimate: e.estimate, orientation: a.orientation, tilt: tilt(a.best), became: became,
	}
}

func (p *surface) voids() hollows {
	var out hollows
	largest := 0.0
	for _, s := range p.topo.Shells {
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
func (p *surface) lowest(s orientation) mesh.Vec {
	best, at := math.Inf(1), mesh.Vec{}
	for _, v := range p.m.Vertices {
		if h := v.Dot(s.up); h < best {
			best, at = h, v
		}
	}
	return at
}

// judgeOwn runs the checks that the house added.
func (c check) judgeOwn(m Measures) (found []job.Finding, advice []job.Advice) {
	checks, faults := compile(c.rules)
	for range faults {
		advice = append(advice, job.Advice{About: "rules", Do: job.Say("findings.do.rules-check", nil), Why: job.Say("findings.why.check-wrong", nil)})
	}
	found, more := runOwn(checks, m)
	return found, append(advice, more...)
}

// measures gathers the figures for the house's own checks; size is the outer size of
// the part as it would be printed.
func (f figures) measures(size mesh.Vec, b bounds) Measures {
	var m Measures
	m.shape(f.topo.Shape)
	m.size(size)
	m.FootprintMM2, m.BedMM2 = f.contact.seenMM2, f.contact.bedMM2
	m.Fits = f.fit.Fits
	m.ThinMM2, m.ThinnestMM, m.GapMM = f.thin.wallMM2+f.thin.sheetMM2, thinnest(f.thin.standMM, f.thin.lieMM), f.thin.gapMM
	m.VoidMM3 = f.hollows.volume
	m.OverhangMM2, m.BridgeMM, m.TipDeg = f.overhang.areaMM2, f.overhang.bridgeMM, f.contact.tipDeg
	m.Copies, m.Scale = float64(max(1, b.set.Copies)), b.scale
	m.estimate(f.estimate)
	return m
}

// thinnest is the smaller of two figures, where 0 means there is none.
func thinnest(a, b float64) float64 {
	if a == 0 || b == 0 {
		return max(a, b)
	}
	return min(a, b)
}

// sizeIn is the outer size of the part in a way up.
func (p *surface) sizeIn(s orientation) mesh.Vec {
	r := s.rotation()
	if r == mesh.Upright {
		return p.box.Size()
	}
	return p.m.Transformed(r, 1).Bounds().Size()
}
