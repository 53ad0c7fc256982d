package preflight

import (
	"context"
	"errors"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/room"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// examined is a file of which the topology is known.
type examined struct {
	file  *mesh.Mesh     // as read, without the scale
	topo  *mesh.Topology // at the asked scale, as it is
	sheet bool           // it is a surface without thickness
	body  *surface       // what is looked at further
}

// examine finds the topology of a file's mesh at the asked scale and readies the body.
// With an error it gives the topology where that is known.
func (c check) examine(ctx context.Context, file, scaled *mesh.Mesh, facts mesh.Facts) (examined, error) {
	var hull envelope
	var beside sync.WaitGroup
	beside.Go(func() { hull = envelopeOf(scaled) })
	topo, err := mesh.Examine(ctx, scaled, facts, examineOptions(len(scaled.Triangles)))
	beside.Wait()
	if err != nil {
		return examined{}, err
	}
	body, bodyTopo := scaled, topo
	if topo.Shape.FlippedEdges > 0 || topo.Shape.InsideOut {
		body, bodyTopo, err = righted(ctx, scaled, topo)
		if err != nil {
			return examined{topo: topo}, err
		}
		hull = envelopeOf(body)
	}
	c.meter.Spend(partCost*len(body.Triangles) + hullCost*len(body.Vertices))
	return examined{file, topo, isSheet(topo), newSurface(body, bodyTopo, hull)}, ctx.Err()
}

// What a facet or a vertex costs in units of work, when all of them are gone through.
const (
	partCost    = 20  // a facet, for its normal and what it adds to the body
	hullCost    = 100 // a vertex, for the hull of the whole and of its pieces
	inspectCost = 12  // a facet, in each way up that is looked at with care
	surveyCost  = 60  // a facet, for curves, steps and pieces
)

// surfaceRays are what rays from places on the surface met.
type surfaceRays struct {
	places []sample
	rays   []raySample
}

// cast casts rays from the surface and joins the bodies that touch into pieces.
func (c check) cast(ctx context.Context, body *surface) (*part, surfaceRays, error) {
	c.say("measuring walls and gaps")
	places, rays := body.castRays(ctx, c.thick, wallPlaces(body.total))
	pieces := findPieces(body.topo, body.touchesOf(places, rays))
	return newPart(body, pieces), surfaceRays{places, rays}, ctx.Err()
}

// stood is how a part stands and overhangs.
type stood struct {
	placed
	sent   way  // as the file puts it
	now    way  // as it would be printed: as sent, or the best way up if that was agreed
	agreed *way // the best way up, if that was agreed
	stick  hold // what holds it to the plate
}

// stand looks at what stands and overhangs, as the part was sent or, if that was
// agreed, in the best way up.
func (c check) stand(ctx context.Context, p *part) stood {
	upright := p.standing(upright)
	rules, price := c.overhangRules(), c.price(p)
	out := stood{placed: c.place(p, upright), sent: p.inspect(ctx, upright, rules, price, overhangPlaces)}
	out.now = out.sent
	if c.set.Reoriented {
		best := c.orient(ctx, p, out.sent, out.placed)
		out.placed, out.agreed = c.place(p, best.orientation), &best
		out.now = p.inspect(ctx, best.orientation, rules, price, overhangPlaces)
	}
	out.stick = c.adhesion(p, out.now)
	return out
}

// surveyed are the figures that need no estimate.
type surveyed struct {
	best       way
	thin       thin
	step       step
	coarse     coarse
	components []component
}

// measure takes estimate and survey, which do not wait for one another, side by side.
func (c check) measure(ctx context.Context, x examined, p *part, walls surfaceRays, st stood) (estimated, surveyed, error) {
	c.say("estimating time and plastic")
	var e estimated
	var s surveyed
	g, inner := errgroup.WithContext(ctx)
	g.Go(func() (err error) { e, err = c.estimate(inner, x, st); return err })
	g.Go(func() (err error) { s, err = c.survey(inner, p, walls, st); return err })
	if err := g.Wait(); err != nil {
		return estimated{}, surveyed{}, err
	}
	return e, s, ctx.Err()
}

func (c check) survey(ctx context.Context, p *part, walls surfaceRays, st stood) (surveyed, error) {
	var out surveyed
	if st.agreed != nil {
		out.best = *st.agreed
	} else {
		out.best = c.orient(ctx, p, st.sent, st.placed)
	}
	c.meter.Spend(surveyCost * len(p.m.Triangles))
	out.thin = p.sum(st.now.orientation, c.thick, walls.places, walls.rays)
	out.step = p.lowSteps(st.now.orientation, c.layer())
	out.coarse = p.coarseness(c.limits[job.CodeCoarseFacets].Limit)
	out.components = p.components(st.now.orientation)
	return out, ctx.Err()
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
func (c check) price(p *part) price {
	pr, layer := c.rules.Printing, c.layer()
	speed := 60.0
	if len(c.rules.Printers) > 0 {
		speed = max(1, c.rules.Printers[0].Speed.Support)
	}
	flow := max(0.1, pr.LineWidthMM*layer*speed)
	volume := 0.0
	for _, b := range p.balances {
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

func (c check) overhangRules() overhangRules { return newOverhangRules(c.rules.Printing, c.layer()) }

// placed is a printer for a part in one way up.
type placed struct {
	fit     job.Fit
	printer rules.Printer
	lying   []mesh.Vec // a way up that fits, when this one does not
}

// place chooses the printer for a way up.
func (c check) place(p *part, s orientation) placed {
	fit, printer, lying := fitting(p.corner, s, machines(c.rules, c.set))
	return placed{fit, printer, lying}
}

// orient looks for the best way up that fits a printer, or, when none does, for
// the best of all.
func (c check) orient(ctx context.Context, p *part, sent way, on placed) way {
	c.say("looking for the best way up")
	printers := machines(c.rules, c.set)
	fits := func(s orientation) bool {
		plan := s.plan(p.few)
		return !on.fit.FitsTurned || slices.ContainsFunc(printers, func(pr rules.Printer) bool {
			return room.Scale(plan, s.high-s.low, pr.BuildMM) >= 1-1e-3
		})
	}
	c.meter.Spend(partCost * len(p.m.Triangles))
	return p.bestWay(ctx, sent, c.overhangRules(), c.price(p), on.lying, fits)
}

// farTooBig is the scale to fit below which no estimate is made: the part will
// not be printed like this, and the layers of a house would take minutes to cut.
const farTooBig = 0.4

// estimated is what the printer would spend.
type estimated struct {
	estimate *job.Estimate // nil when there is none
	why      error         // why there is none
}

// estimate works out time and plastic for the part as it would be printed. A part that
// cannot be estimated is no error: the check goes on without.
func (c check) estimate(ctx context.Context, x examined, st stood) (estimated, error) {
	if x.sheet {
		return without(ctx, job.Refuse(job.Say("findings.slice.encloses-nothing", nil)))
	}
	if st.fit.ScaleToFit < farTooBig {
		return without(ctx, job.Refuse(job.Say("findings.slice.far-too-big", nil)))
	}
	in, err := c.input(x, st.printer, st.stick)
	if err != nil {
		return without(ctx, err)
	}
	in.WithLargestScale = true
	whole := x.turned(st.now.orientation)
	if two := c.set.Second; two != nil && two.FromMM <= 0 {
		whole, in.Second = x.byColour(whole, two.Bodies) // one body is of one colour
	}
	plan, err := slice.NewPlan(ctx, whole, in)
	if err != nil {
		return without(ctx, err)
	}
	e, err := plan.Estimate(ctx)
	if err != nil {
		return without(ctx, err)
	}
	if c.opts.WhatIf {
		if e.WhatIf, err = plan.WhatIf(ctx, e); err != nil {
			return estimated{}, err
		}
	}
	return estimated{estimate: &e}, nil
}

func without(ctx context.Context, why error) (estimated, error) {
	return estimated{why: why}, ctx.Err()
}

// turned is the file's mesh, without the scale, in a way up.
func (x examined) turned(s orientation) *mesh.Mesh {
	r := s.rotation()
	if r == mesh.Upright {
		return x.file
	}
	return x.file.Transformed(r, 1)
}

// input sets up an estimate on a printer.
func (c check) input(x examined, on rules.Printer, stick hold) (slice.Input, error) {
	set := c.set
	set.Printer = on.Name
	in, err := slice.For(c.rules, set, x.topo.Shape.SizeMM)
	if err != nil {
		return in, err
	}
	in.Printing.Adhesion = stick.grip
	if set.Second != nil {
		in.ChangeMM = set.Second.FromMM
	}
	in.EveryLayer = c.opts.EveryLayer
	if c.opts.Calibration != nil {
		in.Calibration = c.opts.Calibration(in.Printer.Name, in.Material.Name)
	}
	return in, nil
}

// righted gives a mended copy of a mesh whose windings are wrong, so that its
// normals point out of the plastic. What cannot be mended is looked at as it is,
// turned as a whole when it is inside out.
func righted(ctx context.Context, m *mesh.Mesh, topo *mesh.Topology) (*mesh.Mesh, *mesh.Topology, error) {
	body, _, err := mesh.Mend(ctx, m, mesh.MendOptions{})
	if errors.Is(err, mesh.ErrUnmendable) {
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
