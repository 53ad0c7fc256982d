package slice

import (
	"container/heap"
	"context"
	"math"
	"slices"
)

// largestScale is the largest scale (of the file, as the settings give it) at
// which one copy keeps within the time limit and in the build volume. Zero if
// there is none. It begins with what is already known at the present scale, and
// looks at other scales through fewer cuts, so that it takes no longer than a
// few estimates.
func (pr *printed) largestScale(ctx context.Context) (float64, error) {
	most := pr.scale * pr.growth()
	limit := pr.in.Limits.JobHours * 3600
	if limit <= 0 {
		return most, nil
	}
	// Looking through fewer cuts may be one per cent off.
	const margin = 0.99
	goal := limit*margin - pr.corrected(pr.printer.WarmUpS)
	if goal <= 0 {
		return 0, nil
	}
	s := &search{printed: pr, goal: goal, view: pr.outlook()}
	s.know(pr.scale, pr.alone())
	for _, effort := range []float64{0.8, closeLook, closeLook, closeLook} {
		next := math.Min(s.guess(), most)
		if next < 1e-3*pr.scale || s.settled(next) {
			break
		}
		t, err := pr.at(ctx, next, effort)
		if err != nil {
			return 0, err
		}
		s.know(next, t)
	}
	return math.Min(s.best(), most), nil
}

// growth is by how much the part could grow until it fills the build volume.
func (pr *printed) growth() float64 {
	b, size := pr.printer.BuildMM, pr.part.size
	straight := math.Min(b[0]/size[0], b[1]/size[1])
	turned := math.Min(b[1]/size[0], b[0]/size[1])
	return math.Min(math.Max(straight, turned), b[2]/size[2])
}

// alone is how long one copy takes on a plate of its own, without the warm-up.
func (pr *printed) alone() float64 {
	c := pr.plateCost(pr.ground, plate{}, 1)
	return pr.corrected(c.seconds - pr.printer.WarmUpS)
}

// at is how long one copy takes at another scale, without the warm-up, looked at
// with so much effort.
func (pr *printed) at(ctx context.Context, scale, effort float64) (float64, error) {
	r := *pr.recipe
	by := scale / r.scale
	r.scale = scale
	// A layer costs about as much more as it is longer, so that many fewer are cut.
	n := int(effort * float64(len(pr.levels)) / math.Max(1, by))
	other, err := planCopy(ctx, pr.part.scaled(by), &r, pr.marks(max(n, fewestCuts)))
	if err != nil {
		return 0, err
	}
	return other.alone(), nil
}

// fewestCuts is how few cuts still tell the time to within one per cent.
const fewestCuts = 60

// closeLook is how much effort a look at a scale near the goal is worth, where 1
// is about that of the first estimate.
const closeLook = 2

// marks divides the layers, at most as often as asked, into runs whose middle
// layer stands for the run: again and again the run that its middle tells least of.
func (pr *printed) marks(most int) []float64 {
	n := len(pr.paces)
	j := judge{make([]float64, n), make([]float64, n+1)}
	for i, p := range pr.paces {
		// Layers are hatched one way and the other: only two together compare.
		j.times[i] = (p.natural + pr.paces[max(i-1, 0)].natural) / 2
		j.sums[i+1] = j.sums[i] + j.times[i]
	}
	runs := stretches{{0, n, j.off(0, n)}}
	for len(runs) < most && runs[0].off*float64(most) > 0.0005*j.sums[n] {
		r := runs[0]
		mid := (r.from + r.to) / 2
		runs[0] = stretch{r.from, mid, j.off(r.from, mid)}
		heap.Fix(&runs, 0)
		heap.Push(&runs, stretch{mid, r.to, j.off(mid, r.to)})
	}
	marks := make([]float64, len(runs))
	for i, r := range runs {
		marks[i] = float64(r.to) / float64(n)
	}
	slices.Sort(marks)
	return marks
}

// judge tells how well the middle of a run stands for it.
type judge struct {
	times []float64 // by layer
	sums  []float64 // of the layers before
}

// off is how far off the time of a run is when its middle stands for it,
// and a little of how much its layers differ, since chance may hide that.
func (j *judge) off(from, to int) float64 {
	if to-from < 2 {
		return 0
	}
	mid := j.times[(from+to)/2]
	off := math.Abs(j.sums[to] - j.sums[from] - float64(to-from)*mid)
	for _, t := range j.times[from:to] {
		off += 0.2 * math.Abs(t-mid)
	}
	return off
}

// stretch is a run of layers; stretches is a heap with the worst first.
type stretch struct {
	from, to int
	off      float64
}

type stretches []stretch

func (s stretches) Len() int           { return len(s) }
func (s stretches) Less(i, k int) bool { return s[i].off > s[k].off }
func (s stretches) Swap(i, k int)      { s[i], s[k] = s[k], s[i] }
func (s *stretches) Push(x any)        { *s = append(*s, x.(stretch)) }
func (s *stretches) Pop() any {
	last := (*s)[len(*s)-1]
	*s = (*s)[:len(*s)-1]
	return last
}

// search looks for the scale at which a time is reached.
type search struct {
	*printed
	goal   float64
	view   outlook
	scales []float64
	times  []float64
}

func (s *search) know(scale, time float64) {
	s.scales, s.times = append(s.scales, scale), append(s.times, math.Max(time, 1e-3))
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
		sum += float64(pr.levels[i].count) * (p.natural + pr.between[i])
	}
	return pr.corrected(sum)
}

// outlook is how the time will roughly grow with the scale: walls and skins by
// the second power, what is inside and supports by the third, the layers themselves by the first.
type outlook struct {
	layers, surfaces, insides, posts float64 // s at the present scale
	skins                            float64 // s that the skins would take as sparse lines
}

func (pr *printed) outlook() outlook {
	v, line := pr.printer.Speed, pr.width*pr.layer
	flow := func(speed float64) float64 { return math.Min(line*speed, pr.printer.MaxFlow) } // mm3/s
	p := pr.plastic
	skins := p[skin] + p[bridge]
	o := outlook{
		surfaces: p[outerWall]/flow(v.OuterWall) + (p[innerWall]+p[gapFill])/flow(v.InnerWall) + skins/flow(v.Skin),
		posts:    p[supports] / flow(v.Support),
	}
	for _, s := range pr.between {
		o.layers += s
	}
	if pr.infill >= solidInfill {
		o.surfaces -= skins / flow(v.Skin)
		o.insides = skins / flow(v.Skin)
		return o
	}
	o.skins = skins * pr.infill / flow(v.Infill)
	o.insides = o.skins + p[sparse]/flow(v.Infill)
	return o
}

func (o outlook) seconds(by float64) float64 {
	return o.layers*by + (o.surfaces-o.skins)*by*by + (o.insides+o.posts)*by*by*by
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

// settled tells whether a guess is as good as known: near enough to a known
// scale that its time follows, or no better than a scale known to be within the goal.
func (s *search) settled(guess float64) bool {
	a := s.nearest()
	return math.Abs(guess/s.scales[a]-1) < 0.004 || s.times[a] <= s.goal && s.off(a) < 0.012
}

// best is the largest scale whose time is known, or follows, to be within the goal.
func (s *search) best() float64 {
	a := s.nearest()
	if s.times[a] > s.goal || s.off(a) < 0.03 && s.off(a) > 0.012 {
		return s.guess()
	}
	return s.scales[a]
}
