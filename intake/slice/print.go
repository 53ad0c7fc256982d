package slice

import (
	"context"
	"runtime"

	"meshclerk/intake/budget"
)

// perMove is what laying and timing a move costs in units of work.
const perMove = 15

// printed is one copy, planned: how long each layer takes and what it lays.
type printed struct {
	*sliced
	paces    []pace
	between  []float64 // s, up to layer i and over to where it begins
	switches int       // of the nozzle, on one plate
	plastic  plastic
	other    float64 // mm3, of the plastic: what is laid of the part in the second colour
	bedside  bedside
}

// plan plans every layer.
func (s *sliced) plan(ctx context.Context) (*printed, error) {
	n := len(s.layers)
	out := &printed{sliced: s, paces: make([]pace, n), between: make([]float64, n)}
	ends, used := make([][2]spot, n), make([]nozzlesUsed, n)
	workers := runtime.GOMAXPROCS(0)
	sums, others := make([]plastic, n), make([]plastic, n)
	tracks, timers := make([]track, workers), make([]*timer, workers)
	meter := budget.From(ctx)
	err := inRuns(ctx, n, 8, workers, func(w, from, to int) bool {
		if timers[w] == nil {
			timers[w] = newTimer(s.recipe)
		}
		for i := from; i < to && ctx.Err() == nil; i++ {
			if s.layers[i].count == 0 {
				continue
			}
			t := &tracks[w]
			at := s.layLayer(t, i)
			meter.Spend(t.comparisons/comparisonsPerUnit + perMove*len(t.moves))
			ends[i] = [2]spot{t.first, t.at}
			used[i] = s.nozzlesIn(at, len(t.moves))
			others[i] = laid(t.moves[s.otherFrom(i, at):], s.layers[i])
			out.paces[i] = timers[w].pace(t.moves, s.layers[i])
			sums[i] = laid(t.moves, s.layers[i])
		}
		return true
	})
	if err != nil {
		return nil, err
	}
	t := newTimer(s.recipe)
	last := -1
	for i, l := range s.layers {
		if l.count == 0 {
			continue
		}
		out.plastic.add(float64(l.count), sums[i])
		out.other += float64(l.count) * others[i].all()
		if last >= 0 {
			out.between[i] = t.lift(l) + t.hop(ends[last][1].to(ends[i][0]))
		}
		last = i
	}
	out.bedside, out.switches = s.layBedside(), s.switches(used)
	return out, nil
}

// layerStarts tells where in a layer's moves another begins: first the supports, then
// the part, then what the second nozzle lays of it.
type layerStarts struct{ part, second int }

// nozzlesUsed tells which nozzles lay something in a layer. The first lays the part in
// its own colour, and its supports where they are of its material.
type nozzlesUsed struct{ first, second bool }

func (s *sliced) nozzlesIn(at layerStarts, end int) nozzlesUsed {
	held := at.part > 0
	body, other := at.second > at.part, end > at.second
	if s.in.Support != nil {
		return nozzlesUsed{first: body || other, second: held}
	}
	return nozzlesUsed{first: body || held, second: other}
}

// switches counts the changes of nozzle on a plate. The first one begins, and a layer
// begins with the nozzle that the one before it ended with, if it has work for it.
func (s *sliced) switches(used []nozzlesUsed) (n int) {
	second := false
	for i, l := range s.layers {
		switch u := used[i]; {
		case l.count == 0:
		case u.first && u.second:
			n += l.count
			second = second != (l.count%2 == 1)
		case u.first && second, u.second && !second:
			n++
			second = u.second
		}
	}
	return n
}

// otherFrom is where in a layer's moves those of the second colour begin.
func (s *sliced) otherFrom(i int, at layerStarts) int {
	if n := s.changeLayer(); n > 0 && s.layers[i].index >= n {
		return at.part
	}
	return at.second
}

// layLayer draws the nozzle's way through layer i.
func (s *sliced) layLayer(t *track, i int) layerStarts {
	t.reset(s.recipe)
	t.at = spot{0, s.part.size[1]} // shells begin at the back, where the seam shows least
	var at layerStarts
	if s.supports != nil {
		lines := s.supports.frame()
		laid := func(row int) bool { return every(row, s.width/s.printing.SupportDensity, lines.pitch) }
		t.comparisons += len(s.supports.columns) + len(s.supports.starts)
		t.hatch(t.strands(s.supports.at(s.layers[i].middle(), laid), laid), lines, supports, false)
	}
	at.part = len(t.moves)
	s.layBody(t, i)
	at.second = len(t.moves)
	if s.second != nil {
		s.second.layBody(t, i)
	}
	return at
}

// layBody draws the way through shells and filling.
func (s *sliced) layBody(t *track, i int) {
	b, fr := &s.cuts[i], s.frames[s.layers[i].hatch]
	t.layRings(ringsOf(b))
	all := func(int) bool { return true }
	f := s.fillsOf(i)
	t.comparisons += f.comparisons
	t.hatch(t.strands(f.bridge, all), fr, bridge, true)
	t.hatch(t.strands(f.carried, all), fr, solidLine, true)
	if s.infill > 0 {
		pitch := s.width / s.infill
		t.hatch(t.strands(f.sparse, func(row int) bool { return every(row, pitch, fr.pitch) }), fr, sparse, false)
	}
}

func ringsOf(b *cutLayer) []ring {
	var rings []ring
	for k, w := range b.shells {
		f := shellLine
		if k == 0 {
			f = outsideLine
		}
		for _, l := range w.lines {
			rings = append(rings, ring{loop: l, feature: f, width: w.width})
		}
	}
	for _, l := range b.lanes {
		rings = append(rings, ring{loop: l.line, feature: narrowLine, width: l.width, open: true})
	}
	return rings
}

// solid is the volume of the union of the part's bodies. Where no bodies
// overlap it is the mesh's own volume; the layers tell by how much they do.
func (s *sliced) solid() float64 {
	byLayers, overlap := 0.0, 0.0
	for i, l := range s.layers {
		h := max(0, min(l.thick, s.part.size[2]-l.bottom)) * float64(l.count)
		byLayers += s.cuts[i].area * h
		overlap += (s.cuts[i].area - s.cuts[i].signed) * h
	}
	rest := 0.0
	if s.second != nil {
		rest = s.second.solid()
	}
	if !s.part.closed {
		return byLayers + rest // an open mesh has no volume of its own
	}
	return s.part.volume() + overlap + rest
}
