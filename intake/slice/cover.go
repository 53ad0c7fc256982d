package slice

// covers lists the layers on one side of a layer, below it (step -1) or above
// (1), as far as a solid face is thick, hatched as it is: a place that one of them
// leaves bare is a solid face. Beyond the part there is none.
func (s *sliced) covers(i, step int) []*rows {
	var out []*rows
	l, reach := s.layers[i], s.printing.SolidLayers
	for k := i + step; k >= 0 && k < len(s.layers) && (s.layers[k].index-l.index)*step <= reach; k += step {
		out = append(out, s.cuts[k].shape[l.hatch])
	}
	if end := l.index + step*reach; reach > 0 && (end < 0 || end >= s.total) {
		out = append(out, &rows{})
	}
	return out
}

// under is what carries layer i: the layer below it, or all of its own shape
// where that need not be cut. The plate carries the first.
func (s *sliced) under(i int) *rows {
	l := s.layers[i]
	if i == 0 || s.layers[i-1].index != l.index-1 {
		return s.cuts[i].shape[l.hatch]
	}
	return s.cuts[i-1].shape[l.hatch]
}

// covered is the part of a region over and under which all covers are.
func covered(region *rows, covers []*rows) *rows {
	var out builder
	out.begin(region.first)
	var left, next []float32
	for k := range region.len() {
		row := region.first + k
		left = append(left[:0], region.of(row)...)
		for _, c := range covers {
			if len(left) == 0 {
				break
			}
			next = both(next[:0], left, c.of(row))
			left, next = next, left
		}
		out.ends = append(out.ends, left...)
		out.endRow()
	}
	return &out.rows
}
