package slice

import "math"

// fills is what is laid inside the walls of one layer, by rows of its frame.
type fills struct {
	skin   *rows // solid, on something
	bridge *rows // solid, across air
	sparse *rows // every row; which are laid depends on the density
}

// fillsOf divides what the walls of level i leave: skin where one of the next
// layers above or below does not cover it, sparse lines elsewhere.
func (s *sliced) fillsOf(i int) fills {
	inside := s.slabs[i].inside
	if s.infill >= solidInfill {
		return s.parted(i, inside, &rows{})
	}
	var cover builder
	cover.begin(inside.first)
	covers := s.covers(i)
	var a, b, scratch []float32
	for k := range inside.len() {
		row := inside.first + k
		a = append(a[:0], inside.of(row)...)
		for _, c := range covers {
			if len(a) == 0 {
				break
			}
			over := c.shape.of(row)
			if c.slope < 1 || c.shelf < 1 {
				scratch = c.over(scratch[:0], s.slabs[i].shape[i%2].of(row), over)
				over = scratch
			}
			b = both(b[:0], a, over)
			a, b = b, a
		}
		cover.ends = append(cover.ends, a...)
		cover.endRow()
	}
	return s.parted(i, inside, &cover.rows)
}

// cover is a layer that must cover a place for it to be no skin. When layers
// were left out it is known only from one further away, and so is only part of
// what that one leaves bare.
type cover struct {
	shape *rows
	slope float64 // the part left bare where the outline moves steadily from layer to layer
	shelf float64 // and where it jumps, which it does between the two levels
	steps float64 // mm: the outline jumps when it moves by more
}

func whole(r *rows) cover { return cover{r, 1, 1, 0} }

// covers lists the layers around level i as far as a skin is thick.
func (s *sliced) covers(i int) []cover {
	out := s.coversTo(nil, i, -1)
	if s.printing.TopSkin {
		out = s.coversTo(out, i, 1)
	}
	return out
}

// coversTo appends the layers to one side of level i. The last may lie further
// away than a skin is thick; there is none beyond the part.
func (s *sliced) coversTo(out []cover, i, step int) []cover {
	skins, away := float64(s.printing.SkinLayers), 0.0
	for k := i + step; away < skins; k += step {
		if k < 0 || k >= len(s.slabs) {
			return append(out, whole(&rows{}))
		}
		away += s.apart(k, k-step)
		out = append(out, s.coverAt(i, k, skins, away))
	}
	return out
}

// coverAt is level k as it covers level i from so many layers away, for a
// skin of so many.
func (s *sliced) coverAt(i, k int, skins, away float64) cover {
	shape := s.slabs[k].shape[i%2]
	if s.levels[i].count == 1 && away <= skins {
		return whole(shape)
	}
	const shallow = 5 // widths to a height, from which a slope is as good as a shelf
	return cover{shape, math.Min(1, skins/away), math.Min(1, skins/float64(s.levels[i].count)), shallow * away * s.layer}
}

// apart is how many layers lie from the middle of one level to that of the next.
func (s *sliced) apart(i, k int) float64 {
	return float64(s.levels[i].count+s.levels[k].count) / 2
}

// under is the layer that carries level i; the plate carries the first.
func (s *sliced) under(i int) cover {
	if i == 0 {
		return whole(s.slabs[0].shape[0])
	}
	return s.coverAt(i, i-1, 1, s.apart(i, i-1))
}

// over appends what the cover covers of a row of a shape. What is left bare
// grows from the ends of the row's spans, or from the middle of a hole.
func (c cover) over(out, shape, known []float32) []float32 {
	for i := 0; i+1 < len(shape); i += 2 {
		lo, hi := shape[i], shape[i+1]
		at := lo
		for _, u := range bare(lo, hi, known) {
			n := u[1] - u[0]
			if inner := u[0] > lo && u[1] < hi; inner || u[0] == lo && u[1] == hi || float64(n) > c.steps {
				n *= float32(c.shelf)
			} else {
				n *= float32(c.slope)
			}
			switch {
			case u[0] == lo && u[1] == hi:
				out = append(out, lo+n/2, hi-n/2)
				at = hi
			case u[0] == lo:
				at = lo + n
			case u[1] == hi:
				out = append(out, at, hi-n)
				at = hi
			default:
				mid := (u[0] + u[1]) / 2
				out = append(out, at, mid-n/2)
				at = mid + n/2
			}
		}
		if at < hi {
			out = append(out, at, hi)
		}
	}
	return out
}

// bare lists what of a span is not covered.
func bare(lo, hi float32, cover []float32) [][2]float32 {
	var out [][2]float32
	ends := without(nil, []float32{lo, hi}, cover)
	for i := 0; i+1 < len(ends); i += 2 {
		out = append(out, [2]float32{ends[i], ends[i+1]})
	}
	return out
}

// solidInfill is the density from which the inside is laid like a skin.
const solidInfill = 0.99

// parted takes the sparse part from the inside, and tells skins on something
// from those across air.
func (s *sliced) parted(i int, inside, sparse *rows) fills {
	under := s.under(i)
	var skin, bridge builder
	skin.begin(inside.first)
	bridge.begin(inside.first)
	var solid, scratch []float32
	for k := range inside.len() {
		row := inside.first + k
		solid = without(solid[:0], inside.of(row), sparse.of(row))
		below := under.shape.of(row)
		if under.slope < 1 || under.shelf < 1 {
			scratch = under.over(scratch[:0], s.slabs[i].shape[i%2].of(row), below)
			below = scratch
		}
		n := len(bridge.ends)
		bridge.ends = without(bridge.ends, solid, below)
		air := bridge.ends[n:]
		if len(air) > 0 {
			skin.ends = without(skin.ends, solid, air)
		} else {
			skin.ends = append(skin.ends, solid...)
		}
		bridge.endRow()
		skin.endRow()
	}
	return fills{&skin.rows, &bridge.rows, sparse}
}

// every tells whether a row is laid when lines are a pitch apart and rows are
// closer: so many that the density comes out exactly in the long run.
func every(row int, pitch, rowPitch float64) bool {
	a := math.Floor(float64(row) * rowPitch / pitch)
	b := math.Floor(float64(row-1) * rowPitch / pitch)
	return a != b
}

// line is one line of a filling, along a row.
type line struct {
	row      int
	from, to float32
}

// strand is a run of lines, each over the one before, laid to and fro.
type strand []line

// strands joins the spans of the rows that are laid to runs that the nozzle
// can lay to and fro without leaving the region.
func strands(r *rows, laid func(row int) bool) []strand {
	var done, open, next []strand
	for k := range r.len() {
		row := r.first + k
		if !laid(row) {
			continue
		}
		spans := r.of(row)
		next = next[:0]
		for i := 0; i+1 < len(spans); i += 2 {
			l := line{row, spans[i], spans[i+1]}
			at := -1
			for j, o := range open {
				if o != nil && o.under(l) {
					at = j
					break
				}
			}
			if at < 0 {
				next = append(next, strand{l})
				continue
			}
			next = append(next, append(open[at], l))
			open[at] = nil
		}
		for _, o := range open {
			if o != nil {
				done = append(done, o)
			}
		}
		open, next = next, open
	}
	return append(done, open...)
}

// under tells whether the strand's last line lies under another.
func (s strand) under(l line) bool {
	last := s[len(s)-1]
	return last.from < l.to && l.from < last.to
}
