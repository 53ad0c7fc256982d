package slice

import (
	"context"
	"math"

	"meshclerk/intake/room"
)

// largestScale is the largest scale (of the file, as the settings give it) at
// which one copy keeps within the time limit and in the build volume. Zero if
// there is none. It begins with what is known at the present scale, and takes
// no longer than a few estimates.
func (pr *printed) largestScale(ctx context.Context) (float64, error) {
	most := pr.scale * pr.growth()
	limit := pr.in.Limits.JobHours * 3600
	if limit <= 0 {
		return most, nil
	}
	warm := pr.corrected(pr.printer.WarmUpS)
	s := &search{printed: pr, goal: aim*limit - warm, view: pr.outlook()}
	if s.goal <= 0 {
		return 0, nil
	}
	s.know(pr.scale, pr.alone())
	holds := 0.0
	for range maxPlans {
		next := min(s.guess(), most)
		if next < 1e-3*pr.scale || next <= holds {
			break
		}
		t, err := pr.at(ctx, next)
		if err != nil {
			return 0, err
		}
		s.know(next, t)
		if t+warm <= limit {
			if holds = max(holds, next); t+warm >= just*limit || next >= most {
				return holds, nil
			}
		}
	}
	if holds == 0 {
		return min(s.guess(), most) * unproven, nil
	}
	return holds, nil
}

// The scale that is returned has been planned as closely as a quote is, and keeps within
// the limit.
const (
	maxPlans = 4     // bounds how often the part is planned at another scale
	aim      = 0.994 // of the limit, where the next plan should come out
	just     = 0.985 // of the limit: with more, 1 % more of the size would be too long
	unproven = 0.98  // of the size, where none of these plans kept within the limit
)

// growth is by how much the part could grow until it fills the build volume.
func (pr *printed) growth() float64 {
	return room.Scale(pr.part.outline, pr.part.size[2], pr.printer.BuildMM)
}

// alone is how long one copy takes on a plate of its own, without the warm-up.
func (pr *printed) alone() float64 {
	c := pr.plateCost(pr.ground, plate{}, 1)
	return pr.corrected(c.seconds - pr.printer.WarmUpS)
}

// at is how long one copy takes at another scale, without the warm-up.
func (pr *printed) at(ctx context.Context, scale float64) (float64, error) {
	r := *pr.recipe
	r.scale = scale
	r.in.EveryLayer = false
	other, err := planCopy(ctx, pr.part.scaled(scale/pr.scale), &r)
	if err != nil {
		return 0, err
	}
	return other.alone(), nil
}

// search finds the scale at which a time is reached.
type search struct {
	*printed
	goal   float64
	view   outlook
	scales []float64
	times  []float64
}

func (s *search) know(scale, time float64) {
	s.scales, s.times = append(s.scales, scale), append(s.times, max(time, 1e-3))
}

// guess is the scale at which the time should be the goal: by the outlook, held
// against the known time nearest to the goal.
func (s *search) guess() float64 {
	a := s.nearest()
	off := s.times[a] / s.view.seconds(s.scales[a]/s.scale)
	if len(s.times) == 1 {
		off = s.uncooled() / s.view.seconds(1) // at another size there is less waiting, or more
	}
	lo, hi := 1e-4, 1e4
	for range 60 {
		mid := math.Sqrt(lo * hi)
		if off*s.view.seconds(mid) > s.goal {
			hi = mid
		} else {
			lo = mid
		}
	}
	return s.scale * lo
}

// uncooled is how long one copy would take without waiting for layers to cool.
func (pr *printed) uncooled() float64 {
	sum := 0.0
	for i, p := range pr.paces {
		sum += float64(pr.layers[i].count) * (p.natural + pr.between[i])
	}
	return pr.corrected(sum)
}

// outlook is how the time will roughly grow with the scale: shells and solid faces by
// the second power, what is inside and supports by the third, the layers themselves by the first.
type outlook struct {
	layers, surfaces, insides, supports float64 // s at the present scale
	solid                               float64 // s that the solid faces would take as sparse lines
}

func (pr *printed) outlook() outlook {
	v, line := pr.printer.Speed, pr.width*pr.layerHeight
	flow := func(speed float64) float64 { return min(line*speed, pr.printer.MaxFlow) } // mm3/s
	p := pr.plastic
	solids := p[solidLine] + p[bridge]
	o := outlook{
		surfaces: p[outsideLine]/flow(v.Outside) + (p[shellLine]+p[narrowLine])/flow(v.Shells) + solids/flow(v.Solid),
		supports: p[supports] / flow(v.Support),
	}
	for _, s := range pr.between {
		o.layers += s
	}
	if pr.infill >= solidInfill {
		o.surfaces -= solids / flow(v.Solid)
		o.insides = solids / flow(v.Solid)
		return o
	}
	o.solid = solids * pr.infill / flow(v.Infill)
	o.insides = o.solid + p[sparse]/flow(v.Infill)
	return o
}

func (o outlook) seconds(by float64) float64 {
	return o.layers*by + (o.surfaces-o.solid)*by*by + (o.insides+o.supports)*by*by*by
}

// nearest is the known point whose time is nearest to the goal.
func (s *search) nearest() int {
	best := 0
	for i := range s.times {
		if s.off(i) < s.off(best) {
			best = i
		}
	}
	return best
}

func (s *search) off(i int) float64 { return math.Abs(math.Log(s.times[i] / s.goal)) }
