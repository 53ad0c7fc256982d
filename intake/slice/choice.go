package slice

import (
	"container/heap"
	"context"
	"math"
	"slices"
)

// All layers are cut where there is little to save: of a part with few of them,
// and of one that takes less than about an hour and a half.
const (
	fewLayers = 40
	shortJob  = 3600 // s, as guessed, which leaves out the ways between and the corners
)

// How far off the time may be, as a share and by a cautious guess, when single
// layers stand for runs of them. Of 510 parts that were cut closely the worst was
// off by 0.8 %, and nine in ten by less than 0.3 %.
const closely = 0.015

// longest is how many layers one may stand for, however alike they are: the ways
// between the lines differ by chance, which evens out over a few.
const longest = 16

// choice is which layers stand for the others.
type choice struct {
	ends   []int // of the runs, in order: the middle layer of each is planned
	layers []guess
}

// runs returns where runs of n layers end; where nothing was chosen, each layer is
// one, or a run is long enough that few are cut.
func (c *choice) runs(n, most int) []int {
	switch {
	case c != nil:
		return c.ends
	case n > most:
		return evenEnds(n, most/4) // up to three more are cut beside each
	}
	return evenEnds(n, n)
}

// choose chooses layers that stand for the rest of a part, whose time is then
// off by no more than a share; nil when each layer is to be cut.
func (p *recipe) choose(ctx context.Context, part *part, g *supportGrid, share float64) *choice {
	if n := p.layerCount(part.size[2]); p.in.EveryLayer || n <= fewLayers || n > p.affordable(part) {
		return nil
	}
	j := newJudge(p.estimateLayers(ctx, part, g).guesses())
	if j.all() < shortJob {
		return nil
	}
	return j.choice(share)
}

// choice parts runs in the middle, again and again the one that its middle
// layer stands for worst, until the time is off by no more than a share.
func (j *judge) choice(share float64) *choice {
	n := len(j.layers)
	var runs stretches
	off := 0.0
	for from := 0; from < n; from += longest {
		r := j.stretch(from, min(from+longest, n))
		heap.Push(&runs, r)
		off += r.off
	}
	for off > share*j.all() && runs[0].to-runs[0].from > 1 {
		r := runs[0]
		mid := (r.from + r.to) / 2
		a, b := j.stretch(r.from, mid), j.stretch(mid, r.to)
		runs[0] = a
		heap.Fix(&runs, 0)
		heap.Push(&runs, b)
		off += a.off + b.off - r.off
	}
	var ends []int
	for _, r := range runs {
		ends = append(ends, r.to)
	}
	for i, g := range j.layers {
		if g.open {
			ends = append(ends, i, i+1)
		}
	}
	slices.Sort(ends)
	return &choice{ends, j.layers}
}

// judge measures how well the middle of a run stands for it.
type judge struct {
	layers []guess
	sums   []guess // of the layers before
}

func newJudge(layers []guess) *judge {
	j := &judge{layers, make([]guess, len(layers)+1)}
	for i, g := range layers {
		j.sums[i+1] = guess{all: j.sums[i].all + g.all, solid: j.sums[i].solid + g.solid}
	}
	return j
}

// all is how long all layers take.
func (j *judge) all() float64 { return j.sums[len(j.layers)].all }

// stretch judges a run: by how far off its time is when its middle stands for
// it, by a little of how much its layers differ, since chance may hide that,
// and by its solid faces, which depend on the layers above and below that are left out.
func (j *judge) stretch(from, to int) stretch {
	n := to - from
	if n < 2 {
		return stretch{from, to, 0}
	}
	mid := j.layers[(from+to)/2].all
	off := math.Abs(j.sums[to].all - j.sums[from].all - float64(n)*mid)
	for _, g := range j.layers[from:to] {
		off += 0.2 * math.Abs(g.all-mid)
	}
	off += 0.1 * (j.sums[to].solid - j.sums[from].solid) * min(1, float64(n-1)/8)
	return stretch{from, to, off}
}

// stretch is a run of layers; stretches is a heap with the worst first.
type stretch struct {
	from, to int
	off      float64 // s
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
