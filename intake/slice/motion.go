package slice

import "math"

// leg is one straight move as the planner sees it.
type leg struct {
	x, y  float64 // mm, from its beginning to its end
	speed float64 // mm/s, at most
	accel float64 // mm/s2, of speeding up and of slowing down
}

// planner works out how long a chain of moves takes, from rest to rest.
//
// Each move speeds up, holds its speed and slows down at its acceleration (a
// trapezoid, or a triangle if it is too short to reach its speed). It is begun
// and left at the highest speeds from which the corner, and every later stop,
// can still be met.
type planner struct {
	corner float64 // mm/s, the speed kept through a right-angled corner

	lens  []float64
	entry []float64 // speed at the start of each leg; one more for the end
}

// seconds is the time a chain of legs takes.
func (p *planner) seconds(legs []leg) float64 {
	n := len(legs)
	p.lens = append(p.lens[:0], make([]float64, n)...)
	p.entry = append(p.entry[:0], make([]float64, n+1)...)
	p.limit(legs)
	for i := n - 1; i >= 0; i-- {
		p.entry[i] = min(p.entry[i], reach(p.entry[i+1], legs[i].accel, p.lens[i]))
	}
	sum := 0.0
	for i, l := range legs {
		p.entry[i+1] = min(p.entry[i+1], reach(p.entry[i], l.accel, p.lens[i]))
		sum += trapezoid(p.lens[i], p.entry[i], p.entry[i+1], l.speed, l.accel)
	}
	return sum
}

// limit sets the speed at which each corner may be passed; the ends are at rest.
// A leg of no length passes on the corner before it.
func (p *planner) limit(legs []leg) {
	last := -1
	for i, l := range legs {
		p.lens[i] = math.Sqrt(l.x*l.x + l.y*l.y)
		if p.lens[i] == 0 {
			p.entry[i] = math.Inf(1)
			continue
		}
		if last >= 0 {
			k := legs[last]
			cos := (k.x*l.x + k.y*l.y) / (p.lens[last] * p.lens[i])
			p.entry[i] = min(p.cornering(cos), min(k.speed, l.speed))
		}
		last = i
	}
}

// cornering is the speed through a corner, by the cosine of its turn: as if a
// circle were followed that leaves the corner by the junction deviation
// jd = scv^2 (sqrt2 - 1) / a, which makes v^2 = a jd s / (1 - s) with s the sine
// of half the angle between the moves.
func (p *planner) cornering(cos float64) float64 {
	s := math.Sqrt(max(0, (1+cos)/2))
	if s > 0.999999 {
		return math.Inf(1)
	}
	return p.corner * math.Sqrt((math.Sqrt2-1)*s/(1-s))
}

// reach is the speed that can be had from another within a distance.
func reach(from, accel, length float64) float64 {
	return math.Sqrt(from*from + 2*accel*length)
}

// trapezoid is the time of one move: t = L/v + v/a from rest to rest if the
// speed is reached, else 2 sqrt(L/a); here with speeds at either end.
func trapezoid(length, in, out, speed, accel float64) float64 {
	if length == 0 {
		return 0
	}
	top := min(speed, math.Sqrt(accel*length+(in*in+out*out)/2))
	top = max(top, max(in, out))
	ramps := (2*top*top - in*in - out*out) / (2 * accel)
	return (2*top-in-out)/accel + max(0, length-ramps)/top
}
