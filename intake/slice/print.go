package slice

import (
	"context"
	"math"
	"runtime"
)

// printed is one copy, planned: how long each layer takes and what it lays.
type printed struct {
	*sliced
	paces   []pace
	between []float64 // s, up to layer i and over to where it begins
	propped []bool    // layers that have supports
	plastic plastic
	bedside bedside
}

// plan plans every layer.
func (s *sliced) plan(ctx context.Context) (*printed, error) {
	n := len(s.levels)
	out := &printed{sliced: s, paces: make([]pace, n), between: make([]float64, n), propped: make([]bool, n)}
	ends := make([][2]spot, n)
	workers := runtime.GOMAXPROCS(0)
	sums := make([]plastic, n)
	tracks, timers := make([]track, workers), make([]*timer, workers)
	err := inRuns(ctx, n, 8, workers, func(w, from, to int) {
		if timers[w] == nil {
			timers[w] = newTimer(s.recipe)
		}
		for i := from; i < to && ctx.Err() == nil; i++ {
			t := &tracks[w]
			out.propped[i] = s.layLayer(t, i)
			ends[i] = [2]spot{t.first, t.at}
			out.paces[i] = timers[w].pace(t.moves, s.levels[i])
			sums[i] = laid(t.moves, s.levels[i])
		}
	})
	if err != nil {
		return nil, err
	}
	t := newTimer(s.recipe)
	for i, l := range s.levels {
		out.plastic.add(float64(l.count), sums[i])
		if i > 0 {
			out.between[i] = t.lift(l) + t.hop(ends[i-1][1].to(ends[i][0]))
		}
	}
	out.bedside = s.layBedside()
	return out, nil
}

// layLayer draws the nozzle's way through level i, and tells whether there are
// supports in it.
func (s *sliced) layLayer(t *track, i int) (propped bool) {
	b, fr := &s.slabs[i], s.frames[i%2]
	t.reset(s.recipe)
	t.at = spot{0, s.part.size[1]} // walls begin at the back, where the seam shows least
	if s.posts != nil {
		post := s.posts.frame()
		laid := func(row int) bool { return every(row, s.width/s.printing.SupportDensity, post.pitch) }
		props := strands(s.posts.at(s.levels[i].middle(), laid), laid)
		propped = len(props) > 0
		t.hatch(props, post, supports, false)
	}
	t.layRings(ringsOf(b))
	all := func(int) bool { return true }
	f := s.fillsOf(i)
	t.hatch(strands(f.bridge, all), fr, bridge, true)
	t.hatch(strands(f.skin, all), fr, skin, true)
	if s.infill > 0 {
		pitch := s.width / s.infill
		t.hatch(strands(f.sparse, func(row int) bool { return every(row, pitch, fr.pitch) }), fr, sparse, false)
	}
	return propped
}

func ringsOf(b *slab) []ring {
	var rings []ring
	for k, w := range b.walls {
		f := innerWall
		if k == 0 {
			f = outerWall
		}
		for _, l := range w.lines {
			rings = append(rings, ring{loop: l, feature: f, width: w.width})
		}
	}
	for _, l := range b.lanes {
		rings = append(rings, ring{loop: l.line, feature: gapFill, width: l.width, open: true})
	}
	return rings
}

// solid is the volume of the union of the part's bodies. Where no bodies
// overlap it is the mesh's own volume; the layers tell by how much they do.
func (s *sliced) solid() float64 {
	byLayers, overlap := 0.0, 0.0
	for i, l := range s.levels {
		h := math.Max(0, math.Min(l.thick, s.part.size[2]-l.bottom)) * float64(l.count)
		byLayers += s.slabs[i].area * h
		overlap += (s.slabs[i].area - s.slabs[i].signed) * h
	}
	if !s.part.closed {
		return byLayers // an open mesh has no volume of its own
	}
	return s.part.volume() + overlap
}
