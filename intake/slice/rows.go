package slice

import (
	"math"
	"slices"
)

// frame is a direction in which a layer is hatched: rows run along the unit
// vector (cos, sin), a pitch (mm) apart, at (k + 1/2) pitch across.
type frame struct {
	cos, sin float64
	pitch    float64
}

// toMM turns a place along and across the rows back into x and y.
func (f frame) toMM(along, across float64) (x, y float64) {
	return along*f.cos - across*f.sin, along*f.sin + across*f.cos
}

func (f frame) across(row int) float64 { return (float64(row) + 0.5) * f.pitch }

// rows is a region as spans along the rows of a frame: exact along the rows,
// sampled across them, just as a printer fills it. The spans of a row are from,
// to, from, to … in mm, rising.
type rows struct {
	first  int // row of starts[0]
	starts []int32
	ends   []float32
}

func (r *rows) len() int { return max(0, len(r.starts)-1) }

// of returns the spans of a row, none outside.
func (r *rows) of(row int) []float32 {
	if k := row - r.first; k >= 0 && k < r.len() {
		return r.ends[r.starts[k]:r.starts[k+1]]
	}
	return nil
}

// hatched cuts outlines of a region, inside to the left and without crossings, into rows.
func hatched(region []loop, f frame) *rows {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range region {
		for _, p := range l {
			v := f.v(p)
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if lo > hi {
		return &rows{}
	}
	out := &rows{first: rowAbove(lo)}
	n := rowAbove(hi) - out.first
	out.starts = make([]int32, n+2)
	eachCrossing(region, f, func(row int, _ float64) { out.starts[row-out.first+2]++ })
	for i := 2; i < len(out.starts); i++ {
		out.starts[i] += out.starts[i-1]
	}
	out.ends = make([]float32, out.starts[n+1])
	eachCrossing(region, f, func(row int, u float64) {
		at := &out.starts[row-out.first+1]
		out.ends[*at] = float32(u)
		*at++
	})
	out.starts = out.starts[:n+1]
	for k := range n {
		slices.Sort(out.ends[out.starts[k]:out.starts[k+1]])
	}
	return out
}

func (f frame) u(p point) float64 {
	return (float64(p.x)*f.cos + float64(p.y)*f.sin) / perMM
}

// v is across the rows, in rows.
func (f frame) v(p point) float64 {
	return (float64(p.y)*f.cos - float64(p.x)*f.sin) / (perMM * f.pitch)
}

// rowAbove is the first row whose middle lies above v (in rows).
func rowAbove(v float64) int { return int(math.Floor(v + 0.5)) }

// eachCrossing calls at for every row that an outline crosses, with the place along it.
func eachCrossing(region []loop, f frame, at func(row int, u float64)) {
	for _, l := range region {
		p := l[len(l)-1]
		pu, pv := f.u(p), f.v(p)
		for _, q := range l {
			qu, qv := f.u(q), f.v(q)
			a, b := rowAbove(pv), rowAbove(qv)
			if a != b {
				slope := (qu - pu) / (qv - pv)
				for row := min(a, b); row < max(a, b); row++ {
					at(row, pu+(float64(row)+0.5-pv)*slope)
				}
			}
			pu, pv = qu, qv
		}
	}
}

// length is the total length of all spans, mm.
func (r *rows) length() float64 {
	sum := 0.0
	for i := 0; i+1 < len(r.ends); i += 2 {
		sum += float64(r.ends[i+1] - r.ends[i])
	}
	return sum
}

// builder makes rows one after the other.
type builder struct{ rows }

func (b *builder) begin(first int) {
	b.rows = rows{first: first, starts: []int32{0}}
}

func (b *builder) endRow() { b.starts = append(b.starts, int32(len(b.ends))) }

// both appends what two rows share.
func both(out, a, b []float32) []float32 {
	for i, k := 0, 0; i+1 < len(a) && k+1 < len(b); {
		lo, hi := max(a[i], b[k]), min(a[i+1], b[k+1])
		if lo < hi {
			out = append(out, lo, hi)
		}
		if a[i+1] < b[k+1] {
			i += 2
		} else {
			k += 2
		}
	}
	return out
}

// without appends what of a is not in b.
func without(out, a, b []float32) []float32 {
	k := 0
	for i := 0; i+1 < len(a); i += 2 {
		lo, hi := a[i], a[i+1]
		for k+1 < len(b) && b[k+1] <= lo {
			k += 2
		}
		for j := k; j+1 < len(b) && b[j] < hi; j += 2 {
			if b[j] > lo {
				out = append(out, lo, b[j])
			}
			lo = max(lo, b[j+1])
		}
		if lo < hi {
			out = append(out, lo, hi)
		}
	}
	return out
}
