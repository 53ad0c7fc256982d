// Package slice works out how long a part takes to print and how much plastic
// it needs, the way a printer would spend them.
//
// The part is cut into layers. In each layer the outlines of all bodies are
// joined into one region (nonzero winding), shells are laid along it, solid
// faces where it faces up or down, sparse lines inside, and supports under what
// would print on air. The resulting path goes through a motion planner with
// trapezoid speed profiles, and the plastic is what the path lays down.
//
// In a long job many layers are alike. An estimate of each layer, summed up from the facets alone,
// guesses what each layer takes; from it follow the few layers that are planned,
// each for itself or for a run of others, and the few more that are cut only to
// tell where solid faces are.
//
// Nothing here drives a printer: the path is for counting, and for checking by
// hand (Moves). Lengths are millimetres, times seconds, masses grams.
package slice

import (
	"context"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// Input is what an estimate is made for. Zero fields of Settings follow the rules.
type Input struct {
	Printer  rules.Printer
	Material rules.Material
	Support  *rules.Material // what supports are made of, by a nozzle of its own; nil: the part's material
	Second   *mesh.Mesh      // what the second nozzle lays in another colour, where it lies in the file; nil: one colour
	ChangeMM float64         // height above the plate from which on all is in another colour; 0: none
	Printing rules.Printing
	Limits   rules.Limits
	Settings job.Settings

	Calibration      *Fit // what finished prints taught about this printer and material; nil if nothing yet
	WithLargestScale bool
	EveryLayer       bool // leave no layer out, so that Moves adds up to the estimate
}

// Estimate returns time and plastic for the part as it stands (upright is +z),
// scaled by the settings, for all its copies. It stops with the context's error.
func Estimate(ctx context.Context, m *mesh.Mesh, in Input) (job.Estimate, error) {
	p, err := NewPlan(ctx, m, in)
	if err != nil {
		return job.Estimate{}, err
	}
	return p.Estimate(ctx)
}

// Plan is a part cut and planned once, for its estimate and what would change it.
type Plan struct{ printed *printed }

// NewPlan cuts a part and plans its moves; the rest is as for Estimate.
func NewPlan(ctx context.Context, m *mesh.Mesh, in Input) (*Plan, error) {
	p, err := newRecipe(in)
	if err != nil {
		return nil, err
	}
	part, err := newPart(ctx, m, p)
	if err != nil {
		return nil, err
	}
	pr, err := planCopy(ctx, part, p)
	if err != nil {
		return nil, err
	}
	return &Plan{pr}, nil
}

// Estimate returns what Estimate does.
func (p *Plan) Estimate(ctx context.Context) (job.Estimate, error) {
	pr := p.printed
	e := pr.report(pr.run(pr.ground))
	var err error
	if pr.in.WithLargestScale {
		e.LargestScale, err = pr.largestScale(ctx)
	}
	return e, err
}

// planCopy cuts and plans one copy, from layers that stand for the rest where the
// time is then hardly off.
func planCopy(ctx context.Context, part *part, p *recipe) (*printed, error) {
	whole := part.whole()
	ground, err := placeSupports(ctx, p, whole)
	if err != nil {
		return nil, err
	}
	return planOn(ctx, part, p, ground, p.choose(ctx, whole, p.propped(ground), closely))
}

// planOn cuts and plans a copy in the layers that were chosen; nil for all.
func planOn(ctx context.Context, part *part, p *recipe, ground *supportGrid, c *choice) (*printed, error) {
	s, err := sliceAll(ctx, part, p, c)
	if err != nil {
		return nil, err
	}
	if part.second != nil {
		if s.second, err = sliceAll(ctx, part.second, p, c); err != nil {
			return nil, err
		}
	}
	s.ground, s.supports = ground, p.propped(ground)
	pr, err := s.plan(ctx)
	if err == nil && pr.plastic.model() == 0 {
		return nil, job.Refuse(job.Say("findings.slice.nothing-to-fill", nil))
	}
	return pr, err
}

// propped is the supports that are printed: nil when none are wanted.
func (p *recipe) propped(ground *supportGrid) *supportGrid {
	if p.in.Settings.Supports == "no" {
		return nil
	}
	return ground
}
