package slice

import "math"

// pace is how long one layer of one copy takes.
type pace struct {
	natural float64 // s, as fast as the printer may
	floor   float64 // s, as slow as it may for cooling
}

// plastic is what is laid, mm3 by feature.
type plastic [features]float64

func (p *plastic) add(times float64, o plastic) {
	for i, v := range o {
		p[i] += times * v
	}
}

func (p *plastic) support() float64 { return p[supports] }

func (p *plastic) bedside() float64 { return p[skirt] + p[brim] + p[raft] }

func (p *plastic) all() float64 {
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	return sum
}

func (p *plastic) model() float64 { return p.all() - p.support() - p.bedside() }

// timer times tracks. One worker uses one timer.
type timer struct {
	*recipe
	planner planner
	legs    []leg
}

func newTimer(r *recipe) *timer {
	return &timer{recipe: r, planner: planner{corner: r.printer.CornerSpeed}}
}

// speed is how fast a move may go: by what it lays, at most 'first layer' speed
// on the plate, never more than the nozzle melts, and never more than slow.
func (t *timer) speed(m move, l layer, slow float64) float64 {
	s := t.printer.Speed
	if m.feature == travel {
		return s.Travel
	}
	v := [features]float64{
		bridge: s.Bridge, outsideLine: s.Outside, solidLine: s.Solid, shellLine: s.Shells, narrowLine: s.Shells,
		supports: s.Support, sparse: s.Infill, skirt: s.FirstLayer, brim: s.FirstLayer, raft: s.Support,
	}[m.feature]
	if l.bottom == 0 {
		v = min(v, s.FirstLayer)
	}
	if area := float64(m.width) * l.thick; area > 0 && t.printer.MaxFlow > 0 {
		v = min(v, t.printer.MaxFlow/area)
	}
	return min(v, max(slow, 0.01))
}

// time is how long the moves take when nothing is laid faster than slow.
func (t *timer) time(moves []move, l layer, slow float64) float64 {
	sum := 0.0
	t.legs = t.legs[:0]
	flush := func() {
		sum += t.planner.seconds(t.legs)
		t.legs = t.legs[:0]
	}
	for _, m := range moves {
		if m.hop {
			flush()
			sum += t.hop(m.from.to(m.to))
			continue
		}
		a := t.printer.Acceleration
		if m.feature == travel {
			a = t.printer.TravelAcceleration
		}
		t.legs = append(t.legs, leg{m.to.x - m.from.x, m.to.y - m.from.y, t.speed(m, l, slow), a})
	}
	flush()
	return sum
}

// hop is a travel with the filament pulled back before and pushed on after.
func (t *timer) hop(mm float64) float64 {
	p := t.printer
	sum := trapezoid(mm, 0, 0, p.Speed.Travel, p.TravelAcceleration)
	if p.RetractSpeed > 0 {
		sum += 2 * p.RetractMM / p.RetractSpeed
	}
	return sum
}

// lift is the step up to a layer.
func (t *timer) lift(l layer) float64 {
	if t.printer.ZSpeed <= 0 {
		return 0
	}
	return l.thick / t.printer.ZSpeed
}

// pace times a layer's track.
func (t *timer) pace(moves []move, l layer) pace {
	p := pace{natural: t.time(moves, l, math.Inf(1))}
	p.floor = p.natural
	if p.natural < t.printer.MinLayerS {
		p.floor = max(p.natural, t.time(moves, l, t.printer.SlowestSpeed))
	}
	return p
}

// slowedFor is the speed that nothing in a layer may be laid faster than for it
// to take the least time of a layer: infinite if it takes that anyway, the
// slowest speed if even that is too fast.
func (t *timer) slowedFor(moves []move, l layer, p pace) float64 {
	least := t.printer.MinLayerS
	switch {
	case p.natural >= least:
		return math.Inf(1)
	case p.floor <= least:
		return t.printer.SlowestSpeed
	}
	lo, hi := t.printer.SlowestSpeed, 2000.0
	for hi-lo > 0.01 {
		mid := (lo + hi) / 2
		if t.time(moves, l, mid) > least {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// laid sums the plastic of a layer's moves.
func laid(moves []move, l layer) plastic {
	var p plastic
	for _, m := range moves {
		if m.feature != travel {
			p[m.feature] += m.from.to(m.to) * float64(m.width) * l.thick
		}
	}
	return p
}
