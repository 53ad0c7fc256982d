package slice

import (
	"context"
	"math"
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
	// Where layers stand for others, a time may be one per cent off, or a little more.
	const margin = 0.985
	goal := limit*margin - pr.corrected(pr.printer.WarmUpS)
	if goal <= 0 {
		return 0, nil
	}
	s := &search{printed: pr, goal: goal, view: pr.outlook()}
	s.know(pr.scale, pr.alone())
	for range maxPlans {
		next := min(s.guess(), most)
		if next < 1e-3*pr.scale || s.near(next) {
			break
		}
		t, err := pr.at(ctx, next)
		if err != nil {
			return 0, err
		}
		s.know(next, t)
	}
	return min(s.guess(), most), nil
}

// maxPlans bounds how often the part is planned at another scale.
const maxPlans = 4

// growth is by how much the part could grow until it fills the build volume.
func (pr *printed) growth() float64 {
	b, size := pr.printer.BuildMM, pr.part.size
	straight := min(b[0]/size[0], b[1]/size[1])
	turned := min(b[1]/size[0], b[0]/size[1])
	return min(max(straight, turned), b[2]/size[2])
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
	other, err := planCopy(ctx, pr.part.scaled(scale/pr.scale), &r, roughly)
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

// near reports whether a scale is so near to a known one that its time follows.
func (s *search) near(scale float64) bool {
	return math.Abs(scale/s.scales[s.nearest()]-1) < 0.01
}
