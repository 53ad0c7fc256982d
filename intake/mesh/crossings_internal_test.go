package mesh

import (
	"math/big"
	"math/rand/v2"
	"testing"
)

// exact is orient3d by rational numbers.
func exact(a, b, c, d *Vec) int {
	var p [3][3]*big.Rat
	for i, v := range [3]*Vec{a, b, c} {
		for k := range 3 {
			x, y := new(big.Rat).SetFloat64(v[k]), new(big.Rat).SetFloat64(d[k])
			p[i][k] = x.Sub(x, y)
		}
	}
	det := new(big.Rat)
	for i := range 3 {
		u, v := p[(i+1)%3], p[(i+2)%3]
		m := new(big.Rat).Mul(u[0], v[1])
		m.Sub(m, new(big.Rat).Mul(v[0], u[1]))
		det.Add(det, m.Mul(m, p[i][2]))
	}
	return det.Sign()
}

// corner draws from few values, so that corners often coincide and lie in planes.
func corner(r *rand.Rand, kind int) Vec {
	var v Vec
	for k := range 3 {
		switch kind {
		case 0:
			v[k] = float64(r.IntN(4))
		case 1:
			v[k] = float64(float32(r.NormFloat64()))
		case 2:
			v[k] = 1e6 + float64(r.IntN(3))*0x1p-30
		case 3:
			v[k] = r.NormFloat64() * []float64{1, 1e-30, 1e30}[r.IntN(3)]
		case 4:
			v[k] = float64(r.IntN(3)) * 0.1
		}
	}
	return v
}

// TestOrientExact: the sign is that of rational arithmetic, also for points in
// one plane and numbers of very different size.
func TestOrientExact(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	flat := 0
	for i := range 15_000 {
		kind := i % 5
		a, b, c, d := corner(r, kind), corner(r, kind), corner(r, kind), corner(r, kind)
		if i%3 == 0 { // nearly in the plane of the others
			d = a.Add(b.Sub(a).Mul(r.Float64())).Add(c.Sub(a).Mul(r.Float64()))
		}
		want := exact(&a, &b, &c, &d)
		if got := orient3d(&a, &b, &c, &d); got != want {
			t.Fatalf("%v %v %v %v: %d, want %d", a, b, c, d, got, want)
		}
		if got := orientBig(&a, &b, &c, &d); got != want {
			t.Fatalf("whole numbers: %v %v %v %v: %d, want %d", a, b, c, d, got, want)
		}
		if want == 0 {
			flat++
		}
	}
	if flat < 500 {
		t.Errorf("only %d of the cases are flat", flat)
	}
}

// rat is a point of rational numbers.
type rat [3]*big.Rat

func toRat(v Vec) (r rat) {
	for k := range 3 {
		r[k] = new(big.Rat).SetFloat64(v[k])
	}
	return r
}

func (a rat) sub(b rat) (r rat) {
	for k := range 3 {
		r[k] = new(big.Rat).Sub(a[k], b[k])
	}
	return r
}

func (a rat) cross(b rat) (r rat) {
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		r[k] = new(big.Rat).Sub(new(big.Rat).Mul(a[i], b[j]), new(big.Rat).Mul(a[j], b[i]))
	}
	return r
}

func (a rat) dot(b rat) *big.Rat {
	s := new(big.Rat)
	for k := range 3 {
		s.Add(s, new(big.Rat).Mul(a[k], b[k]))
	}
	return s
}

// crossSlowly finds the interval that each facet cuts out of the line that the
// planes share, in rational numbers: the definition of a crossing, as it stands.
func crossSlowly(p, q [3]Vec) bool {
	var ps, qs [3]rat
	for k := range 3 {
		ps[k], qs[k] = toRat(p[k]), toRat(q[k])
	}
	n1 := ps[1].sub(ps[0]).cross(ps[2].sub(ps[0]))
	n2 := qs[1].sub(qs[0]).cross(qs[2].sub(qs[0]))
	dir := n1.cross(n2)
	lo1, hi1, ok1 := interval(ps, qs[0], n2, dir)
	lo2, hi2, ok2 := interval(qs, ps[0], n1, dir)
	return ok1 && ok2 && lo1.Cmp(hi2) < 0 && lo2.Cmp(hi1) < 0
}

func interval(p [3]rat, on, n, dir rat) (lo, hi *big.Rat, straddles bool) {
	var side [3]*big.Rat
	var up, down bool
	for k := range 3 {
		side[k] = p[k].sub(on).dot(n)
		up, down = up || side[k].Sign() > 0, down || side[k].Sign() < 0
	}
	add := func(x *big.Rat) {
		if lo == nil || x.Cmp(lo) < 0 {
			lo = x
		}
		if hi == nil || x.Cmp(hi) > 0 {
			hi = x
		}
	}
	for k := range 3 {
		a, b := k, (k+1)%3
		if side[a].Sign() == 0 {
			add(p[a].dot(dir))
		}
		if side[a].Sign()*side[b].Sign() < 0 {
			t := new(big.Rat).Quo(side[a], new(big.Rat).Sub(side[a], side[b]))
			x := p[b].sub(p[a]).dot(dir)
			add(x.Add(x.Mul(x, t), p[a].dot(dir)))
		}
	}
	return lo, hi, up && down
}

// TestFacetsCross holds the test of orientations against its definition, also
// where corners are shared or lie in the other's plane.
func TestFacetsCross(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	n := 0
	for i := range 6_000 {
		kind := []int{0, 1, 4}[i%3]
		m := &Mesh{Triangles: [][3]int32{{0, 1, 2}, {3, 4, 5}}}
		for range 6 {
			m.Vertices = append(m.Vertices, corner(r, kind))
		}
		if i%4 == 0 { // share a corner
			m.Triangles[1][r.IntN(3)] = int32(r.IntN(3))
		}
		var p, q [3]Vec
		p[0], p[1], p[2] = m.Corners(0)
		q[0], q[1], q[2] = m.Corners(1)
		if area(p) == 0 || area(q) == 0 {
			continue
		}
		if s := [3]int{exact(&p[0], &p[1], &p[2], &q[0]), exact(&p[0], &p[1], &p[2], &q[1]), exact(&p[0], &p[1], &p[2], &q[2])}; s == [3]int{} {
			continue // in one plane: another test
		}
		want := crossSlowly(p, q)
		if m.facetsCross(0, 1) != want || m.facetsCross(1, 0) != want {
			t.Fatalf("%d: %v and %v: want %v", i, p, q, want)
		}
		if want {
			n++
		}
	}
	if n < 300 {
		t.Errorf("only %d pairs cross", n)
	}
}

func area(p [3]Vec) float64 { return p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Len() }
