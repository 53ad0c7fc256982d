package preflight

import (
	"context"
	"math"
	"sync"

	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// angleSlack keeps surfaces drawn exactly at the limit out of it, degrees.
const angleSlack = 0.25

// overhang is what a part needs support for in one way up.
type overhang struct {
	areaMM2   float64 // down-facing, beyond the angle, neither on the plate nor bridged
	columnMM3 float64 // between that surface and what is below it
	onPartMM2 float64 // of the area: what stands on the part itself
	lockedMM2 float64 // of the area: where a support could hardly be reached
	voidMM2   float64 // of the area: inside sealed voids
	acrossMM2 float64 // of the area: on another piece than it holds
	at        mesh.Vec
	bridgeMM  float64 // the longest span held at both ends that is too long
	bridgeAt  mesh.Vec
}

// overhangRules are the figures of printing.toml that decide what overhangs.
type overhangRules struct {
	sine   float64 // of the steepest overhang that prints without support
	first  float64 // below this height the surface is on the plate
	layer  float64
	line   float64
	bridge float64
}

func newOverhangRules(p rules.Printing, layer float64) overhangRules {
	return overhangRules{
		sine:   math.Sin((p.SupportAngleDeg + angleSlack) * math.Pi / 180),
		first:  p.FirstLayerMM / 2,
		layer:  layer,
		line:   p.LineWidthMM,
		bridge: p.BridgeMM,
	}
}

// verdict is what becomes of one place on a down-facing surface.
type verdict struct {
	held   bool    // needs no support
	across spans   // lines to walls on both sides, for what is not held otherwise
	column float64 // down to what is below
	onto   int     // facet below, or -1 for the plate
}

// overhangAt judges up to n places on the surfaces that face down, one for each mm2.
// The more places, the finer; a surface that hangs as a whole is counted exactly.
func (p *part) overhangAt(ctx context.Context, s orientation, r overhangRules, n int) overhang {
	steep := make([]float64, len(p.area)) // mm2 of each facet
	both(len(steep), func(f int) {
		if -p.normal[f].Dot(s.up) > r.sine {
			steep[f] = p.area[f] * (1 - p.below(s, f, r.first))
		}
	})
	places := p.samples(p.affordable(min(n, max(250, int(sum(steep))))), steep)
	verdicts := make([]verdict, len(places))
	both(len(places), func(i int) {
		if ctx.Err() == nil {
			verdicts[i] = p.judge(s, r, places[i], i)
		}
	})
	var h overhang
	p.bridge(s, r, places, verdicts, &h)
	locked := make([]bool, len(places))
	both(len(places), func(i int) {
		if v := verdicts[i]; !v.held && v.onto >= 0 && ctx.Err() == nil {
			locked[i] = p.lockedIn(s, places[i].at.Sub(s.up.Mul(v.column/2)))
		}
	})
	for i, v := range verdicts {
		if !v.held {
			h.add(p, s, places[i], v, locked[i])
		}
	}
	h.at = nearestMiddle(places, func(i int) bool { return !verdicts[i].held })
	return h
}

func (h *overhang) add(p *part, s orientation, at sample, v verdict, locked bool) {
	h.areaMM2 += at.weight
	h.columnMM3 += at.weight * -p.normal[at.facet].Dot(s.up) * v.column
	if v.onto >= 0 {
		h.onPartMM2 += at.weight
		if p.pieceOf(v.onto) != p.pieceOf(at.facet) {
			h.acrossMM2 += at.weight
		}
	}
	if locked {
		h.lockedMM2 += at.weight
	}
	if p.inVoid(at.facet) {
		h.voidMM2 += at.weight
	}
}

// below is the share of a facet that lies lower than h above the plate.
func (p *part) below(s orientation, f int, h float64) float64 {
	x, y, z := p.m.Corners(f)
	a, b, c := s.height(x), s.height(y), s.height(z)
	if a > b {
		a, b = b, a
	}
	if b > c {
		b, c = c, b
	}
	if a > b {
		a, b = b, a
	}
	switch {
	case h <= a:
		return 0
	case h >= c:
		return 1
	case h < b:
		return (h - a) * (h - a) / ((b - a) * (c - a))
	}
	return 1 - (c-h)*(c-h)/((c-a)*(c-b))
}

// judge follows one place: is it in the open, what is below, is it held from
// the sides.
func (p *part) judge(s orientation, r overhangRules, at sample, i int) verdict {
	for k := 1; s.height(at.at) < r.first && k < 6; k++ { // the part of the facet on the plate was left out
		at.at = p.within(at.facet, i+k*7919)
	}
	tiny := p.tiny()
	down := s.up.Mul(-1)
	from := at.at.Add(down.Mul(tiny))
	v := verdict{column: max(0, s.height(at.at)), onto: -1}
	if hit, ok := p.first(from, down, math.Inf(1)); ok {
		if p.normal[hit.facet].Dot(down) > 0 { // the way out of plastic: this surface is inside another body
			return verdict{held: true}
		}
		v.column, v.onto = hit.far, hit.facet
		if hit.far <= r.layer {
			return verdict{held: true} // lies on it
		}
	}
	if p.buried(at.at.Add(p.normal[at.facet].Mul(tiny))) {
		return verdict{held: true}
	}
	v.held, v.across = p.fromSides(s, r, at)
	return v
}

// lockedIn says that nearly all ways out to the sides are closed.
func (p *part) lockedIn(s orientation, at mesh.Vec) bool {
	open := 0
	for k := range 10 {
		if _, ok := p.first(at, s.side(2*math.Pi*float64(k)/10+0.1), math.Inf(1)); !ok {
			if open++; open > 1 {
				return false
			}
		}
	}
	return true
}

// nearestMiddle gives the wanted place that is nearest to the middle of all of them.
func nearestMiddle(places []sample, want func(i int) bool) mesh.Vec {
	var sum mesh.Vec
	n := 0.0
	for i, s := range places {
		if want(i) {
			sum, n = sum.Add(s.at), n+1
		}
	}
	if n == 0 {
		return mesh.Vec{}
	}
	middle := sum.Mul(1 / n)
	best, near := mesh.Vec{}, math.Inf(1)
	for i, s := range places {
		if d := s.at.Sub(middle).Len(); want(i) && d < near {
			best, near = s.at, d
		}
	}
	return best
}

// both runs f for 0..n on two cores, in interleaved blocks.
func both(n int, f func(i int)) {
	const block = 64
	var wg sync.WaitGroup
	for w := range 2 {
		wg.Go(func() {
			for from := w * block; from < n; from += 2 * block {
				for i := from; i < min(from+block, n); i++ {
					f(i)
				}
			}
		})
	}
	wg.Wait()
}
