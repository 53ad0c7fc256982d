package slice

import (
	"math"
	"testing"
)

// legsAlong makes moves through points at one speed and acceleration.
func legsAlong(speed, accel float64, xy ...float64) []leg {
	var legs []leg
	for i := 2; i+1 < len(xy); i += 2 {
		legs = append(legs, leg{xy[i] - xy[i-2], xy[i+1] - xy[i-1], speed, accel})
	}
	return legs
}

func squarePath(side float64) []float64 {
	return []float64{0, 0, side, 0, side, side, 0, side, 0, 0}
}

func hatching() []float64 {
	var xy []float64
	for i := range 50 {
		y := 0.4 * float64(i)
		if i%2 == 0 {
			xy = append(xy, 0, y, 20, y)
		} else {
			xy = append(xy, 20, y, 0, y)
		}
	}
	return xy
}

func polygonPath(n int, r float64) []float64 {
	var xy []float64
	for i := range n + 1 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		xy = append(xy, r*c, r*s)
	}
	return xy
}

// The reference planner's values: a=1000 mm/s2, v=60 mm/s, square-corner speed 5 mm/s.
func TestPlannerAgainstReference(t *testing.T) {
	cases := []struct {
		name  string
		path  []float64
		accel float64
		want  float64
	}{
		{"20 mm square, one loop", squarePath(20), 1000, 1.544583},
		{"5 mm square, one loop", squarePath(5), 1000, 0.544583},
		{"50 lines of 20 mm at pitch 0.4", hatching(), 1000, 20.727405},
		{"72-gon of radius 10", polygonPath(72, 10), 1000, 1.106865},
		{"20 mm square at 3000 mm/s2", squarePath(20), 3000, 1.403750},
	}
	for _, c := range cases {
		p := planner{corner: 5}
		got := p.seconds(legsAlong(60, c.accel, c.path...))
		near(t, c.name, got, c.want, 1e-6)
	}
}

// Closed forms: rest to rest, L/v + v/a if L >= v^2/a, else 2 sqrt(L/a); at
// 3000 mm/s2 it takes 0.1 s and 15 mm to reach 300 mm/s.
func TestPlannerClosedForms(t *testing.T) {
	p := planner{corner: 5}
	near(t, "long", p.seconds(legsAlong(60, 1000, 0, 0, 100, 0)), 100.0/60+0.06, 1e-12)
	near(t, "short", p.seconds(legsAlong(60, 1000, 0, 0, 1, 0)), 2*math.Sqrt(1.0/1000), 1e-12)
	near(t, "30 mm at 300 mm/s", p.seconds(legsAlong(300, 3000, 0, 0, 30, 0)), 0.2, 1e-12)
	near(t, "cut in five", p.seconds(legsAlong(60, 1000, 0, 0, 3, 0, 3, 0, 7, 0, 50, 0, 99, 0, 100, 0)), 100.0/60+0.06, 1e-12)
	near(t, "there and back", p.seconds(legsAlong(60, 1000, 0, 0, 100, 0, 0, 0)), 2*(100.0/60+0.06), 1e-12)
	near(t, "nothing", p.seconds(nil), 0, 0)
}

// Every corner is passed, and every end met, without more than the asked
// acceleration: speeds integrated in small steps give the same time.
func TestPlannerBySmallSteps(t *testing.T) {
	for name, xy := range map[string][]float64{
		"zigzag":      {0, 0, 3, 0.2, 3.1, 0.9, 2, 5, 2.05, 5, 2.1, 5.01, 9, 9, 9, 9.3, 1, 1, 1.2, 1.1},
		"slight turn": polygonPath(24, 10), // 15 degrees at each corner
		"round":       polygonPath(90, 10),
	} {
		legs := legsAlong(80, 700, xy...)
		p := planner{corner: 6}
		got := p.seconds(legs)
		near(t, name, got, steppedBy(legs, 6, 20000), 0.001*got)
	}
}

// steppedBy plans by brute force: the highest speed at each of many points (per
// for each leg) along the path that respects the corners, the speeds and the
// acceleration both ways.
func steppedBy(legs []leg, corner float64, per int) float64 {
	var v, ds, accel []float64
	for i, l := range legs {
		n := math.Hypot(l.x, l.y)
		for range per {
			v = append(v, l.speed)
			ds = append(ds, n/float64(per))
			accel = append(accel, l.accel)
		}
		if i > 0 {
			k := legs[i-1]
			v[i*per] = min(v[i*per], k.speed)
			theta := math.Acos(max(-1, min(1, -(k.x*l.x+k.y*l.y)/(math.Hypot(k.x, k.y)*n))))
			if s := math.Sin(theta / 2); s < 1 {
				v[i*per] = min(v[i*per], math.Sqrt(corner*corner*(math.Sqrt2-1)*s/(1-s)))
			}
		}
	}
	v[0] = 0
	v = append(v, 0)
	for i := len(ds) - 1; i >= 0; i-- {
		v[i] = min(v[i], math.Sqrt(v[i+1]*v[i+1]+2*accel[i]*ds[i]))
	}
	t := 0.0
	for i := range ds {
		v[i+1] = min(v[i+1], math.Sqrt(v[i]*v[i]+2*accel[i]*ds[i]))
		t += step(v[i], v[i+1], ds[i], accel[i])
	}
	return t
}

// step is the time of a short way: at one rate of change if the speeds differ
// by just that, else up or down first and then even.
func step(in, out, length, accel float64) float64 {
	if length == 0 {
		return 0
	}
	ramp := math.Abs(out-in) / accel
	way := (in + out) / 2 * ramp
	return ramp + max(0, length-way)/max(in, out)
}
