package preflight

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// examine finds the topology at the asked scale and readies the body.
func (c *checker) examine(ctx context.Context, m *mesh.Mesh, facts mesh.Facts) error {
	c.say(fmt.Sprintf("looking at the surface (%d facets)", facts.Facets))
	c.file = m
	scaled := m
	if c.scale != 1 {
		scaled = m.Transformed(mesh.Upright, c.scale)
	}
	// Should the budget run out, at least the size is known.
	c.report.Mesh = &job.Shape{Triangles: facts.Facets, Vertices: len(m.Vertices), SizeMM: scaled.Bounds().Size()}
	var hull envelope
	var beside sync.WaitGroup
	beside.Go(func() { hull = envelopeOf(scaled) })
	topo, err := mesh.Examine(ctx, scaled, facts, examineOptions(len(scaled.Triangles)))
	beside.Wait()
	if err != nil {
		return err
	}
	c.topo, c.report.Mesh = topo, &topo.Shape
	c.sheet = isSheet(topo)
	body, bodyTopo := scaled, topo
	if topo.Shape.FlippedEdges > 0 || topo.Shape.InsideOut {
		body, bodyTopo, err = righted(ctx, scaled, topo)
		if err != nil {
			return err
		}
		hull = envelopeOf(body)
	}
	c.meter.Spend(partCost*len(body.Triangles) + hullCost*len(body.Vertices))
	c.part = newPart(body, bodyTopo, hull)
	return ctx.Err()
}

// What a facet or a vertex costs in units of work, when all of them are gone through.
const (
	partCost    = 20  // a facet, for its normal and what it adds to the body
	hullCost    = 100 // a vertex, for the hull of the whole and of its pieces
	inspectCost = 12  // a facet, in each way up that is looked at with care
	surveyCost  = 60  // a facet, for curves, steps and pieces
)

// measure takes every figure that the findings need.
func (c *checker) measure(ctx context.Context) error {
	walls, err := c.stand(ctx)
	if err != nil {
		return err
	}
	c.say("estimating time and plastic")
	g, inner := errgroup.WithContext(ctx)
	g.Go(func() error { return c.estimate(inner) })
	g.Go(func() error { return c.survey(inner, walls) })
	if err := g.Wait(); err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return c.advise(ctx)
}

// surfaceRays are what rays from places on the surface met.
type surfaceRays struct {
	places []sample
	rays   []raySample
}

// stand casts rays from the surface and looks at what stands and overhangs, as the part was sent
// or, if that was agreed, in the best way up.
func (c *checker) stand(ctx context.Context) (surfaceRays, error) {
	p := c.part
	c.overhangRules = newOverhangRules(c.rules.Printing, c.layer())
	upright := p.standing(upright)

	c.say("measuring walls and gaps")
	places, rays := p.castRays(ctx, c.thick, wallPlaces(p.total))
	p.pieces = findPieces(p.topo, p.touchesOf(places, rays))
	p.balances = p.balance()
	if err := ctx.Err(); err != nil {
		return surfaceRays{}, err
	}
	c.findPrinter(upright)
	c.sent = p.inspect(ctx, upright, c.overhangRules, c.price(), overhangPlaces)
	c.now, c.best = c.sent, c.sent
	if c.set.Reoriented {
		c.orient(ctx)
		c.findPrinter(c.best.orientation)
		c.now = p.inspect(ctx, c.best.orientation, c.overhangRules, c.price(), overhangPlaces)
	}
	c.stick = c.adhesion(c.now)
	if p.castShare < 1 {
		c.report.Advice = append(c.report.Advice, job.Advice{About: "check", Do: job.Say("findings.do.look-walls", nil), Why: job.Say("findings.why.tangled", nil)})
	}
	return surfaceRays{places, rays}, nil
}

// survey takes the figures that need no estimate.
func (c *checker) survey(ctx context.Context, walls surfaceRays) error {
	if !c.set.Reoriented {
		c.orient(ctx)
	}
	p := c.part
	c.meter.Spend(surveyCost * len(p.m.Triangles))
	c.thin = p.sum(c.now.orientation, c.thick, walls.places, walls.rays)
	c.step = p.lowSteps(c.now.orientation, c.layer())
	c.coarse = p.coarseness(c.limits["coarse-facets"].Limit)
	c.components = p.components(c.now.orientation)
	return ctx.Err()
}

// Places looked at: for walls one for every half mm2, within bounds.
const (
	fewestPlaces   = 2000
	mostPlaces     = 16000
	overhangPlaces = 1600
)

func wallPlaces(area float64) int {
	return int(min(mostPlaces, max(fewestPlaces, 2*area)))
}

// price puts the house's printing into terms for comparing ways up.
func (c *checker) price() price {
	pr, layer := c.rules.Printing, c.layer()
	speed := 60.0
	if len(c.rules.Printers) > 0 {
		speed = max(1, c.rules.Printers[0].Speed.Support)
	}
	flow := max(0.1, pr.LineWidthMM*layer*speed)
	volume := 0.0
	for _, b := range c.part.balances {
		volume += max(0, b.volume)
	}
	return price{
		perLayer: 4, layer: layer,
		perSupport: 1.5 * pr.SupportDensity / flow,
		perMark:    0.5,
		shaky:      0.6,
		slow:       300 + 0.3*volume/flow,
	}
}

// findPrinter chooses the printer for a way up.
func (c *checker) findPrinter(s orientation) {
	c.fit, c.printer, c.lying = fitting(c.part.corner, s, machines(c.rules, c.set))
	c.report.Fit = &c.fit
}

// orient looks for the best way up that fits a printer, or, when none does, for
// the best of all.
func (c *checker) orient(ctx context.Context) {
	c.say("looking for the best way up")
	printers := machines(c.rules, c.set)
	fits := func(s orientation) bool {
		plan := s.plan(c.part.few)
		return !c.fit.FitsTurned || slices.ContainsFunc(printers, func(p rules.Printer) bool {
			return room(plan, s.high-s.low, p.BuildMM) >= 1-1e-3
		})
	}
	c.meter.Spend(partCost * len(c.part.m.Triangles))
	c.best = c.part.bestWay(ctx, c.sent, c.overhangRules, c.price(), c.lying, fits)
}

// farTooBig is the scale to fit below which no estimate is made: the part will
// not be printed like this, and the layers of a house would take minutes to cut.
const farTooBig = 0.4

// estimate works out time and plastic for the part as it would be printed.
func (c *checker) estimate(ctx context.Context) error {
	if c.sheet {
		return c.withoutEstimate(ctx, job.Refuse(job.Say("findings.slice.encloses-nothing", nil)))
	}
	if c.fit.ScaleToFit < farTooBig {
		return c.withoutEstimate(ctx, job.Refuse(job.Say("findings.slice.far-too-big", nil)))
	}
	in, err := c.input(c.stick.grip)
	if err != nil {
		return c.withoutEstimate(ctx, err)
	}
	in.WithLargestScale = true
	plan, err := slice.NewPlan(ctx, c.turned(c.now.orientation), in)
	if err != nil {
		return c.withoutEstimate(ctx, err)
	}
	e, err := plan.Estimate(ctx)
	if err != nil {
		return c.withoutEstimate(ctx, err)
	}
	if c.opts.WhatIf {
		if e.WhatIf, err = plan.WhatIf(ctx, e); err != nil {
			return err
		}
	}
	c.report.Estimate = &e
	return nil
}

// withoutEstimate lets the check go on when the part itself cannot be estimated.
func (c *checker) withoutEstimate(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	c.report.Advice = append(c.report.Advice, job.Advice{About: "check", Do: job.Say("findings.do.estimate", nil), Why: job.Why(err)})
	c.noEstimate = err
	return nil
}

// turned is the file's mesh, without the scale, in a way up.
func (c *checker) turned(s orientation) *mesh.Mesh {
	r := s.rotation()
	if r == mesh.Upright {
		return c.file
	}
	return c.file.Transformed(r, 1)
}

// input sets up an estimate on the printer that was chosen.
func (c *checker) input(stick string) (slice.Input, error) {
	set := c.set
	set.Printer = c.printer.Name
	in, err := slice.For(c.rules, set, c.topo.Shape.SizeMM)
	if err != nil {
		return in, err
	}
	in.Printing.Adhesion = stick
	in.EveryLayer = c.opts.EveryLayer
	if c.opts.Calibration != nil {
		in.Calibration = c.opts.Calibration(in.Printer.Name, in.Material.Name)
	}
	return in, nil
}

// advise compares the best way up with the way it was sent, in the estimate's
// own figures, and keeps the latter when they do not bear the advice out.
func (c *checker) advise(ctx context.Context) error {
	o := &job.Orientation{Rotation: c.best.orientation.rotation(), AsSent: true}
	c.report.Orientation = o
	sent := c.report.Estimate
	if sent == nil {
		c.best = c.sent
	}
	turned := sent
	if sent != nil && c.best.orientation != c.now.orientation {
		e, err := c.estimateTurned(ctx)
		if err != nil {
			return err
		}
		turned = &e
		if !c.worthIt(*sent, e) {
			c.best, turned = c.sent, sent
		}
	}
	o.Rotation = c.best.orientation.rotation()
	o.AsSent = c.best.orientation == c.sent.orientation
	o.HeightMM, o.BedMM2 = c.best.orientation.high-c.best.orientation.low, c.best.contact.bedMM2
	if turned != nil {
		o.SupportMM3, o.PrintTimeS = turned.SupportMM3, turned.PrintTimeS
	}
	o.Why = c.why(sent, turned)
	c.report.Advice = append(c.report.Advice, c.stick.advice())
	if a, ok := c.support(); ok {
		c.report.Advice = append(c.report.Advice, a)
	}
	return nil
}

func (c *checker) estimateTurned(ctx context.Context) (job.Estimate, error) {
	in, err := c.input(c.adhesion(c.best).grip)
	if err != nil {
		return job.Estimate{}, err
	}
	return slice.Estimate(ctx, c.turned(c.best.orientation), in)
}

// worthIt says that turning makes the part fit or stand, or saves support or a
// good part of the time.
func (c *checker) worthIt(sent, turned job.Estimate) bool {
	steadier := c.now.contact.shaky() && !c.best.contact.shaky() && turned.SupportMM3 <= sent.SupportMM3*1.05+20
	lessSupport := turned.SupportMM3 < 0.8*sent.SupportMM3-1 && turned.PrintTimeS < 1.25*sent.PrintTimeS
	lessTime := turned.PrintTimeS < 0.93*sent.PrintTimeS && turned.SupportMM3 <= sent.SupportMM3*1.05+20
	return !c.fit.Fits || steadier || lessSupport || lessTime
}

// tilt says how the best way up differs from the way it was sent.
func (c *checker) tilt() job.Message {
	up := c.best.orientation.up
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

// righted gives a mended copy of a mesh whose windings are wrong, so that its
// normals point out of the plastic. What cannot be mended is looked at as it is,
// turned as a whole when it is inside out.
func righted(ctx context.Context, m *mesh.Mesh, topo *mesh.Topology) (*mesh.Mesh, *mesh.Topology, error) {
	body, _, err := mesh.Mend(ctx, m, mesh.MendOptions{})
	if _, hopeless := errors.AsType[*mesh.Unmendable](err); hopeless {
		if !topo.Shape.InsideOut {
			return m, topo, nil
		}
		body, err = turnedOver(m), nil
	}
	if err != nil {
		return nil, nil, err
	}
	fresh, err := mesh.Examine(ctx, body, mesh.Facts{}, examineOptions(len(body.Triangles)))
	return body, fresh, err
}

func turnedOver(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices, Triangles: make([][3]int32, len(m.Triangles))}
	for f, t := range m.Triangles {
		out.Triangles[f] = [3]int32{t[0], t[2], t[1]}
	}
	return out
}

// examineOptions keeps enough crossings to tell which bodies hang together, and lets
// the search for them make some hundred comparisons a facet: a sound part needs
// about one hundred.
func examineOptions(facets int) mesh.Options {
	return mesh.Options{CrossingWork: max(400_000_000, 300*facets), Places: 5000}
}
