package slice

import (
	"context"
	"math"
)

// roughly estimates from outline lengths and areas alone.
func roughly(ctx context.Context, part *part, p *recipe) (totals, error) {
	n := int(math.Max(1, math.Round((part.size[2]-p.first)/p.layer)+1))
	t := totals{layers: n}
	area, length := make([]float64, n), make([]float64, n)
	for f, tri := range part.triangles {
		if f%4096 == 0 && ctx.Err() != nil {
			return t, ctx.Err()
		}
		a, b, c := part.vertices[tri[0]], part.vertices[tri[1]], part.vertices[tri[2]]
		lo, hi := min(a[2], b[2], c[2]), max(a[2], b[2], c[2])
		for i := max(0, int((lo-p.first)/p.layer)-1); i < n; i++ {
			z := p.first + (float64(i)-0.5)*p.layer
			if i == 0 {
				z = p.first / 2
			}
			if z > hi {
				break
			}
			var at [2][2]float64
			k := 0
			for _, e := range [3][2][3]float64{{a, b}, {b, c}, {c, a}} {
				u, v := e[0], e[1]
				if (u[2] >= z) != (v[2] >= z) && k < 2 {
					s := (z - u[2]) / (v[2] - u[2])
					j := k
					if (v[2] >= z) != (k == 1) {
						j = 1 - k
					}
					at[j] = [2]float64{u[0] + s*(v[0]-u[0]), u[1] + s*(v[1]-u[1])}
					k++
				}
			}
			if k == 2 {
				area[i] += (at[0][0]*at[1][1] - at[1][0]*at[0][1]) / 2
				length[i] += math.Hypot(at[1][0]-at[0][0], at[1][1]-at[0][1])
			}
		}
	}
	for i := range n {
		h := p.layer
		if i == 0 {
			h = p.first
		}
		a := math.Abs(area[i])
		walls := math.Min(a, length[i]*p.width*float64(p.shells))
		density := p.infill
		if i < p.printing.SkinLayers || i >= n-p.printing.SkinLayers {
			density = 1
		}
		inside := (a - walls) * density
		t.solid += a * h
		t.model += (walls + inside) * h
		lay := walls/p.width/p.printer.Speed.OuterWall + inside/p.width/p.printer.Speed.Infill
		t.seconds += math.Max(lay, p.printer.MinLayerS)
	}
	return t, nil
}
