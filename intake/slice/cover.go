package slice

import "math"

// cover is a layer that must cover a place for it to be no skin. When layers
// were left out it is known only from one further away, and so is only part of
// what that one leaves bare beyond those before it.
type cover struct {
	shape *rows
	whole bool    // it is the layer itself
	slope float64 // the part left bare where the outline moves steadily from layer to layer
	shelf float64 // and where it jumps, which it does between two levels
	jump  float64 // mm: the outline jumps when it moves by more
}

// covers are the layers on one side of a level as far as a skin is thick, the nearest first.
type covers []cover

// covers lists the layers below (step -1) or above (1) level i. The last may
// lie further away than a skin is thick; there is none beyond the part.
func (s *sliced) covers(i, step int) covers {
	skins, between := s.printing.SkinLayers, 0
	var out covers
	for k := i + step; between < skins; k += step {
		if k < 0 || k >= len(s.slabs) {
			return append(out, cover{shape: &rows{}, whole: true})
		}
		out = append(out, s.coverAt(i, k, skins, between))
		between += s.levels[k].count
	}
	return out
}

// coverAt is level k as it covers level i, with so many layers between the two,
// for a skin of so many.
func (s *sliced) coverAt(i, k, skins, between int) cover {
	own, other := float64(s.levels[i].count), float64(s.levels[k].count)
	away := own/2 + float64(between) + other/2 // from middle to middle
	before := 0.0                              // to the middle of the level before it
	if between > 0 {
		step := 1
		if k < i {
			step = -1
		}
		before = away - (other+float64(s.levels[k-step].count))/2
	}
	if own == 1 && away <= float64(skins) {
		return cover{shape: s.slabs[k].shape[i%2], whole: true}
	}
	const shallow = 8 // widths to a height, from which a slope is as good as a shelf
	return cover{
		shape: s.slabs[k].shape[i%2],
		slope: share(float64(skins)-before, away-before),
		shelf: share(float64(skins-between), own),
		jump:  shallow * (away - before) * s.layer,
	}
}

// share is a part of a whole, from 0 to 1.
func share(part, whole float64) float64 { return math.Min(math.Max(part/whole, 0), 1) }

// under is the layer that carries level i; the plate carries the first.
func (s *sliced) under(i int) cover {
	if i == 0 {
		return cover{shape: s.slabs[0].shape[0], whole: true}
	}
	return s.coverAt(i, i-1, 1, 0)
}

// rowCover works out what of a row is covered.
type rowCover struct {
	left           []float32 // what is still covered
	known, a, b, c []float32
}

// narrow takes from left what covers leave bare of a shape's row.
func (r *rowCover) narrow(cs covers, shape []float32, row int) {
	r.known = append(r.known[:0], shape...)
	for i, c := range cs {
		if len(r.left) == 0 {
			return
		}
		next := c.shape.of(row)
		over := next
		if !c.whole {
			r.a = c.over(r.a[:0], r.known, next)
			over = r.a
		}
		r.b = both(r.b[:0], r.left, over)
		r.left, r.b = r.b, r.left
		if i+1 < len(cs) && !cs[i+1].whole {
			r.c = both(r.c[:0], r.known, next)
			r.known, r.c = r.c, r.known
		}
	}
}

// over appends what the cover covers of a row of a shape. What is left bare
// grows from the ends of the row's spans, or from the middle of a hole.
func (c cover) over(out, shape, known []float32) []float32 {
	for i := 0; i+1 < len(shape); i += 2 {
		lo, hi := shape[i], shape[i+1]
		at := lo
		for _, u := range bare(lo, hi, known) {
			n := u[1] - u[0]
			if inner := u[0] > lo && u[1] < hi; inner || u[0] == lo && u[1] == hi || float64(n) > c.jump {
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
