package slice

import "math"

// fills is what is laid inside the shells of one layer, by rows of its frame.
type fills struct {
	carried     *rows // solid, on something
	bridge      *rows // solid, across air
	sparse      *rows // every row; which are laid depends on the density
	comparisons int   // what it cost
}

// fillsOf divides what the shells of layer i leave: solid where one of the next
// layers above or below does not cover it, sparse lines elsewhere.
func (s *sliced) fillsOf(i int) fills {
	inside := s.cuts[i].inside
	if s.infill >= solidInfill {
		return s.parted(i, inside, &rows{})
	}
	covers := s.covers(i, -1)
	if s.printing.SolidTop {
		covers = append(covers, s.covers(i, 1)...)
	}
	out := s.parted(i, inside, covered(inside, covers))
	for _, c := range covers {
		out.comparisons += 3 * (len(c.ends) + inside.len())
	}
	return out
}

// solidInfill is the density from which the inside is laid solid.
const solidInfill = 0.99

// parted takes the sparse part from the inside, and divides solid faces on something
// from those across air.
func (s *sliced) parted(i int, inside, sparse *rows) fills {
	under := s.under(i)
	var carried, bridge builder
	carried.begin(inside.first)
	bridge.begin(inside.first)
	var solid []float32
	for k := range inside.len() {
		row := inside.first + k
		solid = without(solid[:0], inside.of(row), sparse.of(row))
		n := len(bridge.ends)
		bridge.ends = without(bridge.ends, solid, under.of(row))
		air := bridge.ends[n:]
		if len(air) > 0 {
			carried.ends = without(carried.ends, solid, air)
		} else {
			carried.ends = append(carried.ends, solid...)
		}
		bridge.endRow()
		carried.endRow()
	}
	return fills{&carried.rows, &bridge.rows, sparse, 10 * len(inside.ends)}
}

// every reports whether a row is laid when lines are a pitch apart and rows are
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
func (t *track) strands(r *rows, laid func(row int) bool) []strand {
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
				t.comparisons++
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

// under reports whether the strand's last line lies under another.
func (s strand) under(l line) bool {
	last := s[len(s)-1]
	return last.from < l.to && l.from < last.to
}
