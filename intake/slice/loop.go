package slice

import "math"

// point is a place in a layer, in micrometres. Outlines live on this grid, so
// that which side of an edge a point lies on is decided exactly.
type point struct{ x, y int32 }

const perMM = 1000 // grid steps in a millimetre

// loop is a closed outline; its last point joins the first.
type loop []point

// straightened leaves out points on a straight run.
func straightened(l loop) loop {
	n := len(l)
	out := make(loop, 0, n)
	for i := range n {
		prev := l[(i+n-1)%n]
		if len(out) > 0 {
			prev = out[len(out)-1]
		}
		if side(prev, l[i], l[(i+1)%n]) != 0 {
			out = append(out, l[i])
		}
	}
	return out
}

// area is the signed area in mm2, positive when counter-clockwise.
func (l loop) area() float64 {
	var sum int64
	if len(l) < 3 {
		return 0
	}
	o := l[0] // near the outline, so that the products stay small
	for i := 1; i+1 < len(l); i++ {
		sum += side(o, l[i], l[i+1])
	}
	return float64(sum) / (2 * perMM * perMM)
}

// length is the closed length in mm.
func (l loop) length() float64 {
	sum := 0.0
	for i, p := range l {
		q := l[(i+1)%len(l)]
		x, y := float64(q.x-p.x), float64(q.y-p.y)
		sum += math.Sqrt(x*x + y*y)
	}
	return sum / perMM
}

func areaOf(ls []loop) float64 {
	sum := 0.0
	for _, l := range ls {
		sum += l.area()
	}
	return sum
}

func lengthOf(ls []loop) float64 {
	sum := 0.0
	for _, l := range ls {
		sum += l.length()
	}
	return sum
}
