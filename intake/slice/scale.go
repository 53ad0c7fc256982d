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
	most := pr.scale * pr.room()
	limit := pr.in.Limits.JobHours * 3600
	if limit <= 0 {
		return most, nil
	}
	// Looking through fewer cuts may be half a per cent off.
	const margin = 0.993
	goal := limit*margin - pr.corrected(pr.printer.WarmUpS)
	if goal <= 0 {
		return 0, nil
	}
	s := &search{printed: pr, goal: goal}
	s.know(pr.scale, pr.alone())
	for range 5 {
		next := math.Min(s.guess(), most)
		if next < 1e-3*pr.scale || s.settled(next) {
			break
		}
		t, err := pr.at(ctx, next)
		if err != nil {
			return 0, err
		}
		s.know(next, t)
	}
	return math.Min(s.best(), most), nil
}

// room is by how much the part could grow until it fills the build volume.
func (pr *printed) room() float64 {
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

// at is how long one copy takes at another scale, without the warm-up.
func (pr *printed) at(ctx context.Context, scale float64) (float64, error) {
	r := *pr.recipe
	by := scale / r.scale
	r.scale = scale
	r.grain = math.Min(math.Max(by, 1), 3)
	// A layer costs about as much more as it is longer, so that many fewer are cut.
	n := int(float64(len(pr.levels)) / math.Max(1, by))
	other, err := print(ctx, pr.part.scaled(by), &r, pr.marks(max(n, fewestCuts)))
	if err != nil {
		return 0, err
	}
	return other.alone(), nil
}

// fewestCuts is how few cuts still tell the time to within about half a per cent.
const fewestCuts = 60

// marks divides the layers, at most as often as asked, into runs whose middle
// layer stands for the run: again and again the run that its middle tells least of.
func (pr *printed) marks(most int) []float64 {
	n := len(pr.paces)
	sums := make([]float64, n+1)
	for i, p := range pr.paces {
		sums[i+1] = sums[i] + p.natural
	}
	runs := stretches{{0, n, pr.misjudged(sums, 0, n)}}
	for len(runs) < most && runs[0].off > 1e-4*sums[n]/float64(most) {
		r := runs[0]
		mid := (r.from + r.to) / 2
		runs[0] = stretch{r.from, mid, pr.misjudged(sums, r.from, mid)}
		heap.Fix(&runs, 0)
		heap.Push(&runs, stretch{mid, r.to, pr.misjudged(sums, mid, r.to)})
	}
	marks := make([]float64, len(runs))
	for i, r := range runs {
		marks[i] = float64(r.to) / float64(n)
	}
	slices.Sort(marks)
	return marks
}

// misjudged is how far off the time of a run is when its middle stands for it,
// and a little of how much its layers differ, since chance may hide that.
func (pr *printed) misjudged(sums []float64, from, to int) float64 {
	if to-from < 2 {
		return 0
	}
	mid := pr.paces[(from+to)/2].natural
	off := math.Abs(sums[to] - sums[from] - float64(to-from)*mid)
	for _, p := range pr.paces[from:to] {
		off += 0.2 * math.Abs(p.natural-mid)
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

// search looks for the scale at which a time is reached, by the logarithms:
// time grows nearly as a power of the scale.
type search struct {
	*printed
	goal   float64
	scales []float64
	times  []float64
}

func (s *search) know(scale, time float64) {
	s.scales, s.times = append(s.scales, scale), append(s.times, math.Max(time, 1e-3))
}

// guess is the scale at which the time should be the goal: on the line through
// the two nearest known points, or with a usual slope from a single one.
func (s *search) guess() float64 {
	a := s.nearest(-1)
	slope := 2.4 // between that of walls and skins (2) and that of the inside (3)
	if b := s.nearest(a); b >= 0 && s.scales[a] != s.scales[b] {
		slope = math.Log(s.times[a]/s.times[b]) / math.Log(s.scales[a]/s.scales[b])
		slope = math.Min(math.Max(slope, 1), 3.2)
	}
	return s.scales[a] * math.Pow(s.goal/s.times[a], 1/slope)
}

// nearest is the known point whose time is nearest to the goal, other than one; -1 for none.
func (s *search) nearest(but int) int {
	best := -1
	for i := range s.times {
		if i != but && (best < 0 || s.off(i) < s.off(best)) {
			best = i
		}
	}
	return best
}

func (s *search) off(i int) float64 { return math.Abs(math.Log(s.times[i] / s.goal)) }

// settled tells whether a guess is as good as known: so near to a known scale
// that its time follows.
func (s *search) settled(scale float64) bool {
	a := s.nearest(-1)
	return math.Abs(scale/s.scales[a]-1) < 0.004
}

// best is the largest scale whose time is known, or follows, to be within the goal.
func (s *search) best() float64 {
	a := s.nearest(-1)
	if s.times[a] > s.goal || s.off(a) < 0.02 {
		return s.guess()
	}
	return s.scales[a]
}
