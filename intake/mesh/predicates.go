package mesh

import (
	"math"
	"math/big"
)

// orient3d returns the sign of the volume of the tetrahedron a, b, c, d: positive
// when d lies below the plane of a, b, c seen counter-clockwise from above.
// It is exact: rounding is bounded first, and where the bound does not decide,
// the sum is carried out without rounding (Shewchuk, Adaptive Precision
// Floating-Point Arithmetic and Fast Robust Geometric Predicates, 1997).
func orient3d(a, b, c, d *Vec) int {
	adx, ady, adz := a[0]-d[0], a[1]-d[1], a[2]-d[2]
	bdx, bdy, bdz := b[0]-d[0], b[1]-d[1], b[2]-d[2]
	cdx, cdy, cdz := c[0]-d[0], c[1]-d[1], c[2]-d[2]
	bc1, bc2 := bdx*cdy, cdx*bdy
	ca1, ca2 := cdx*ady, adx*cdy
	ab1, ab2 := adx*bdy, bdx*ady
	det := adz*(bc1-bc2) + bdz*(ca1-ca2) + cdz*(ab1-ab2)
	size := (math.Abs(bc1)+math.Abs(bc2))*math.Abs(adz) +
		(math.Abs(ca1)+math.Abs(ca2))*math.Abs(bdz) +
		(math.Abs(ab1)+math.Abs(ab2))*math.Abs(cdz)
	if bound := orientBound * size; det > bound {
		return 1
	} else if det < -bound {
		return -1
	} else if size == 0 {
		return 0 // each product has a factor that is exactly zero
	}
	return orientExact(a, b, c, d)
}

// orientBound is Shewchuk's o3derrboundA, (7 + 56 eps) eps with eps = 2^-53.
const orientBound = (7 + 56*0x1p-53) * 0x1p-53

func orientExact(a, b, c, d *Vec) int {
	var p [3]Vec
	for i, v := range [3]*Vec{a, b, c} {
		for k := range 3 {
			var lost float64
			if p[i][k], lost = twoDiff(v[k], d[k]); lost != 0 {
				return orientBig(a, b, c, d)
			}
		}
	}
	if !midSized(&p) {
		return orientBig(a, b, c, d)
	}
	return orientDifferences(&p)
}

// midSized reports whether products of three differences neither overflow nor lose
// bits below the smallest number.
func midSized(p *[3]Vec) bool {
	for i := range p {
		for _, v := range p[i] {
			if v = math.Abs(v); v > 1e100 || v != 0 && v < 1e-60 {
				return false
			}
		}
	}
	return true
}

// orientDifferences returns the sign of the determinant of exact differences.
func orientDifferences(p *[3]Vec) int {
	var sum, next expansion
	for i := range 3 {
		u, v := &p[(i+1)%3], &p[(i+2)%3]
		h1, l1 := twoProduct(u[0], v[1])
		h2, l2 := twoProduct(-v[0], u[1])
		for _, term := range [4]float64{l1, l2, h1, h2} {
			hi, lo := twoProduct(term, p[i][2])
			next.grow(&sum, lo)
			sum.grow(&next, hi)
		}
	}
	return sum.sign()
}

// expansion is a sum of numbers that do not overlap, smallest first.
type expansion struct {
	part [32]float64
	n    int
}

// grow sets e to o + b (Shewchuk's Grow-Expansion, zeros left out).
func (e *expansion) grow(o *expansion, b float64) {
	e.n = 0
	for _, v := range o.part[:o.n] {
		var lost float64
		b, lost = twoSum(b, v)
		if lost != 0 {
			e.part[e.n] = lost
			e.n++
		}
	}
	if b != 0 {
		e.part[e.n] = b
		e.n++
	}
}

func (e *expansion) sign() int {
	switch {
	case e.n == 0:
		return 0
	case e.part[e.n-1] > 0:
		return 1
	}
	return -1
}

func twoSum(a, b float64) (sum, lost float64) {
	sum = a + b
	bv := sum - a
	return sum, (a - (sum - bv)) + (b - bv)
}

func twoDiff(a, b float64) (diff, lost float64) {
	diff = a - b
	bv := a - diff
	return diff, (a - (diff + bv)) + (bv - b)
}

func twoProduct(a, b float64) (product, lost float64) {
	product = a * b
	return product, math.FMA(a, b, -product)
}

// orientBig is for numbers so far apart that their differences are rounded. It
// takes them as whole multiples of a common power of two.
func orientBig(a, b, c, d *Vec) int {
	low := math.MaxInt
	for _, v := range [4]*Vec{a, b, c, d} {
		for _, x := range v {
			if _, exp := math.Frexp(x); x != 0 {
				low = min(low, exp)
			}
		}
	}
	whole := func(x float64) *big.Int {
		frac, exp := math.Frexp(x)
		n := big.NewInt(int64(math.Ldexp(frac, 53)))
		return n.Lsh(n, uint(max(0, exp-low)))
	}
	var p [3][3]*big.Int
	for i, v := range [3]*Vec{a, b, c} {
		for k := range 3 {
			p[i][k] = whole(v[k])
			p[i][k].Sub(p[i][k], whole(d[k]))
		}
	}
	var det, minor, t big.Int
	for i := range 3 {
		u, v := &p[(i+1)%3], &p[(i+2)%3]
		minor.Mul(u[0], v[1])
		minor.Sub(&minor, t.Mul(v[0], u[1]))
		det.Add(&det, t.Mul(&minor, p[i][2]))
	}
	return det.Sign()
}

// orient2d returns the sign of the area of the triangle a, b, c in the plane:
// positive when they run counter-clockwise. It is exact, as orient3d is.
func orient2d(ax, ay, bx, by, cx, cy float64) int {
	l, r := (ax-cx)*(by-cy), (ay-cy)*(bx-cx)
	det, bound := l-r, (3+16*0x1p-53)*0x1p-53*(math.Abs(l)+math.Abs(r))
	if det > bound {
		return 1
	} else if det < -bound {
		return -1
	}
	return orient3d(&Vec{ax, ay, 0}, &Vec{bx, by, 0}, &Vec{cx, cy, 0}, &Vec{cx, cy, -1})
}
