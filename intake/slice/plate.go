package slice

import (
	"math"
	"math/bits"

	"meshclerk/intake/mesh"
)

// plate is how many copies lie on one plate, and where.
type plate struct {
	places []place
}

// place is where a copy's grid lies on the plate: turned by right angles, its
// corner at x, y (mm).
type place struct {
	turn int
	x, y float64
}

// stamp is a footprint as a bitmap, for packing: rows of bits.
type stamp struct {
	w, h  int
	words int
	rows  []uint64
}

func newStamp(w, h int) *stamp {
	s := &stamp{w: w, h: h, words: (w + 63) / 64}
	s.rows = make([]uint64, s.words*h)
	return s
}

func (s *stamp) set(x, y int) {
	if x >= 0 && y >= 0 && x < s.w && y < s.h {
		s.rows[y*s.words+x/64] |= 1 << (x % 64)
	}
}

func (s *stamp) get(x, y int) bool {
	return x >= 0 && y >= 0 && x < s.w && y < s.h && s.rows[y*s.words+x/64]>>(x%64)&1 != 0
}

// packCell is the size of a packing cell, mm.
const packCell = 1.0

// footprint draws what a copy covers of the plate, turned by right angles, and
// room around it: half the spacing, since the next copy brings the other half.
func (g *supportGrid) footprint(turn int, room float64) *stamp {
	w, h := float64(g.nx)*g.cell, float64(g.ny)*g.cell
	if turn%2 == 1 {
		w, h = h, w
	}
	rim := int(math.Ceil(room / packCell))
	bare := newStamp(int(math.Ceil(w/packCell))+2*rim, int(math.Ceil(h/packCell))+2*rim)
	for c, used := range g.used {
		if !used {
			continue
		}
		q := g.turned(spot{(float64(c%g.nx) + 0.5) * g.cell, (float64(c/g.nx) + 0.5) * g.cell}, turn)
		bare.set(int(q.x/packCell)+rim, int(q.y/packCell)+rim)
	}
	return bare.grown(room / packCell)
}

// turned is where a place on the grid (from its corner) comes to lie when the
// grid is turned by right angles.
func (g *supportGrid) turned(q spot, turn int) spot {
	w, h := float64(g.nx)*g.cell, float64(g.ny)*g.cell
	switch turn {
	case 1:
		return spot{h - q.y, q.x}
	case 2:
		return spot{w - q.x, h - q.y}
	case 3:
		return spot{q.y, w - q.x}
	}
	return q
}

// grown spreads every bit to a disc, by rows.
func (s *stamp) grown(radius float64) *stamp {
	out := newStamp(s.w, s.h)
	n := int(radius)
	for dy := -n; dy <= n; dy++ {
		reach := int(math.Sqrt(radius*radius - float64(dy*dy)))
		for y := range s.h {
			if y+dy < 0 || y+dy >= s.h {
				continue
			}
			for x := range s.w {
				if !s.get(x, y) {
					continue
				}
				for k := -reach; k <= reach; k++ {
					out.set(x+k, y+dy)
				}
			}
		}
	}
	return out
}

// clashes reports whether the stamp, put with its corner at x, y, meets a set bit.
func (s *stamp) clashes(o *stamp, x, y int) bool {
	shift, first := uint(x%64), x/64
	for r := range o.h {
		row := s.rows[(y+r)*s.words : (y+r+1)*s.words]
		for k, v := range o.rows[r*o.words : (r+1)*o.words] {
			if v == 0 {
				continue
			}
			if row[first+k]&(v<<shift) != 0 {
				return true
			}
			if high := v >> (64 - shift); shift > 0 && high != 0 && row[first+k+1]&high != 0 {
				return true
			}
		}
	}
	return false
}

func (s *stamp) press(o *stamp, x, y int) {
	for r := range o.h {
		for k, v := range o.rows[r*o.words : (r+1)*o.words] {
			for ; v != 0; v &= v - 1 {
				s.set(x+k*64+bits.TrailingZeros64(v), y+r)
			}
		}
	}
}

// pack puts as many copies on a plate as there is room for, at most n: in a grid
// of their boxes, or by their outlines row by row, in each of a few sets of
// turns; the best counts.
func (p *recipe) pack(g *supportGrid, size mesh.Vec, n int) plate {
	best := p.packBoxes(size, 0, n)
	if turned := p.packBoxes(size, 1, n); len(turned.places) > len(best.places) {
		best = turned
	}
	if len(best.places) == 0 || len(best.places) >= n {
		return best // where the box does not fit, no right angle helps
	}
	for _, turns := range [][]int{{0}, {1}, {0, 2}, {0, 1, 2, 3}} {
		if got := p.packTurned(g, n, turns); len(got.places) > len(best.places) {
			best = got
		}
	}
	return best
}

// room is what a copy needs around it: half the spacing, since the next copy
// brings the other half, and its brim.
func (p *recipe) room() (own, brim float64) {
	if p.printing.Adhesion == "brim" {
		brim = p.printing.BrimMM
	}
	return p.printing.SpacingMM/2 + brim, brim
}

// packBoxes packs the boxes of the copies in a grid.
func (p *recipe) packBoxes(size mesh.Vec, turn, n int) plate {
	w, d := size[0], size[1]
	if turn == 1 {
		w, d = d, w
	}
	_, brim := p.room()
	stepX, stepY := w+p.printing.SpacingMM+2*brim, d+p.printing.SpacingMM+2*brim
	var out plate
	for y := brim; y+d+brim <= p.printer.BuildMM[1]+1e-6 && len(out.places) < n; y += stepY {
		for x := brim; x+w+brim <= p.printer.BuildMM[0]+1e-6 && len(out.places) < n; x += stepX {
			out.places = append(out.places, place{turn, x, y})
		}
	}
	return out
}

func (p *recipe) packTurned(g *supportGrid, n int, turns []int) plate {
	room, _ := p.room()
	rim := int(math.Ceil(room / packCell))
	// The room between copies may reach over the plate's edge; a brim may not,
	// but then the part is simply packed as if the plate were smaller.
	over := int(p.printing.SpacingMM / 2 / packCell)
	bed := newStamp(int(p.printer.BuildMM[0]/packCell)+2*over, int(p.printer.BuildMM[1]/packCell)+2*over)
	bed.words++ // so that a stamp shifted across the edge stays in its row
	bed.rows = make([]uint64, bed.words*bed.h)
	var out plate
	stamps := make([]*stamp, len(turns))
	for i, t := range turns {
		stamps[i] = g.footprint(t, room)
	}
	for y := 0; y < bed.h && len(out.places) < n; y++ {
		for x := 0; x < bed.w && len(out.places) < n; x++ {
			for i, st := range stamps {
				if x+st.w > bed.w || y+st.h > bed.h || bed.clashes(st, x, y) {
					continue
				}
				bed.press(st, x, y)
				out.places = append(out.places, place{turns[i], float64(x-over+rim) * packCell, float64(y-over+rim) * packCell})
				break
			}
		}
	}
	return out
}

// outlinePoints are the corners of the copies' footprints on the plate, for the hull.
func (g *supportGrid) outlinePoints(pl plate) []point {
	var own []point
	for j := range g.ny {
		lo, hi := -1, -1
		for i := range g.nx {
			if g.used[j*g.nx+i] {
				if lo < 0 {
					lo = i
				}
				hi = i
			}
		}
		if lo >= 0 {
			y0, y1 := grid(float64(j)*g.cell), grid(float64(j+1)*g.cell)
			x0, x1 := grid(float64(lo)*g.cell), grid(float64(hi+1)*g.cell)
			own = append(own, point{x0, y0}, point{x1, y0}, point{x0, y1}, point{x1, y1})
		}
	}
	own = hullOf(own)
	var out []point
	for _, at := range pl.places {
		for _, p := range own {
			q := g.turned(p.spot(), at.turn)
			out = append(out, point{grid(q.x + at.x), grid(q.y + at.y)})
		}
	}
	return out
}
