package slice

import (
	"context"

	"meshclerk/intake/budget"
)

// spanner finds the gaps that are laid across as bridges, without support.
type spanner struct {
	*supportGrid
	ctx     context.Context
	meter   *budget.Meter
	under   []gap
	at      []int32 // per cell, its first gap
	hits    []columnHit
	starts  []int32 // per cell, its first hit
	flat    float32 // mm, how much a span may rise or fall
	longest int     // columns
}

func (g *supportGrid) spannerOf(ctx context.Context, p *recipe, under []gap, hits []columnHit, starts []int32) *spanner {
	at := make([]int32, g.nx*g.ny+1) // first gap of each column
	for _, u := range under {
		at[u.cell+1]++
	}
	for i := range g.nx * g.ny {
		at[i+1] += at[i]
	}
	return &spanner{
		supportGrid: g, ctx: ctx, meter: budget.From(ctx),
		under: under, at: at, hits: hits, starts: starts,
		flat: float32(p.layerHeight), longest: int(p.printing.BridgeMM/g.cell + 1),
	}
}

// bridged reports which gaps are under flat spans that end on something at both
// sides and are short enough, along x or along y.
func (s *spanner) bridged() []bool {
	alongX, alongY := s.flatRuns(1), s.flatRuns(s.nx)
	out := make([]bool, len(s.under))
	shared(len(s.under), func(_, from, to int) {
		var l uncounted
		for i := from; i < to && s.mayGoOn(&l); i++ {
			u := &s.under[i]
			out[i] = int(alongX[i]) <= s.longest && s.spans(u, 1, &l) || int(alongY[i]) <= s.longest && s.spans(u, s.nx, &l)
		}
		s.meter.Spend(int(l) / comparisonsPerUnit)
	})
	return out
}

// uncounted is how many column hits and gaps were looked at and are not counted yet.
type uncounted int

// mayGoOn counts what was compared, now and then, and reports whether more may be.
func (s *spanner) mayGoOn(l *uncounted) bool {
	const piece = 1 << 14
	if *l < piece {
		return true
	}
	s.meter.Spend(int(*l) / comparisonsPerUnit)
	*l %= comparisonsPerUnit
	return s.ctx.Err() == nil
}

// spans reports whether the face over a gap is carried on both sides along one
// axis, whose columns are stride apart.
func (s *spanner) spans(u *gap, stride int, l *uncounted) bool {
	cells, carried := 1, 0
	for _, step := range [2]int{-stride, stride} {
		for cell := int(u.cell) + step; s.sameLine(int(u.cell), cell, stride); cell += step {
			*l += uncounted(s.at[cell+1] - s.at[cell])
			if s.hasGapAt(cell, u.top) {
				if cells++; cells > s.longest {
					return false
				}
				continue
			}
			*l += uncounted(s.starts[cell+1] - s.starts[cell])
			if s.solidAt(cell, u.top-s.flat) {
				carried++
			}
			break
		}
	}
	return carried == 2 && cells <= s.longest
}

// flatRuns counts, for each gap, the columns in line with it along one axis that
// have a gap of the very same height without a break: where they are too many,
// nothing more need be looked at.
func (s *spanner) flatRuns(stride int) []int32 {
	run, counts := make([]int32, len(s.under)), []int32{}
	var l uncounted
	defer func() { s.meter.Spend(int(l) / comparisonsPerUnit) }()
	for i, u := range s.under {
		if !s.mayGoOn(&l) {
			return run
		}
		run[i] = -1
		if before := int(u.cell) - stride; s.sameLine(int(u.cell), before, stride) {
			l += uncounted(s.at[before+1] - s.at[before])
			for k := s.at[before]; k < s.at[before+1]; k++ {
				if s.under[k].top == u.top {
					run[i] = run[k]
				}
			}
		}
		if run[i] < 0 {
			run[i] = int32(len(counts))
			counts = append(counts, 0)
		}
		counts[run[i]]++
	}
	for i, r := range run {
		run[i] = counts[r]
	}
	return run
}

// sameLine reports whether a column is still on the grid, in line with another.
func (s *spanner) sameLine(from, cell, stride int) bool {
	if cell < 0 || cell >= s.nx*s.ny {
		return false
	}
	return stride != 1 || cell/s.nx == from/s.nx
}

// hasGapAt reports whether a column has a gap under a face at about that height.
func (s *spanner) hasGapAt(cell int, z float32) bool {
	for _, u := range s.under[s.at[cell]:s.at[cell+1]] {
		if u.top-z <= s.flat && z-u.top <= s.flat {
			return true
		}
	}
	return false
}

// solidAt reports whether a column is inside the part at a height.
func (s *spanner) solidAt(cell int, z float32) bool {
	w := 0
	for _, t := range s.hits[s.starts[cell]:s.starts[cell+1]] {
		if t.z > z {
			break
		}
		if t.enter {
			w++
		} else {
			w = max(w-1, 0)
		}
	}
	return w > 0
}
