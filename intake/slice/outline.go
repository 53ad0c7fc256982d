package slice

import "slices"

// leftOf counts the winding number just left of (for a horizontal piece: above) the
// middle of piece i, along a ray to -x.
func (r *overlay) leftOf(i int) int32 {
	p := r.pieces[i]
	a, b := r.points[p.a], r.points[p.b]
	mx, my := int64(a.x)+int64(b.x), int64(a.y)+int64(b.y) // twice the middle
	w := int32(0)
	in := r.strips.of(int((my/2 - int64(r.bounds.lo)) >> r.shift))
	for _, k := range in {
		r.comparisons++
		o := r.pieces[k]
		u, v := r.points[o.a], r.points[o.b]
		if len(in) > sortFrom && 2*int64(min(u.x, v.x)) > mx {
			break
		}
		if 2*int64(u.y) > my || my >= 2*int64(v.y) || int(k) == i {
			continue // horizontal pieces are never met
		}
		if int64(v.x-u.x)*(my-2*int64(u.y))-int64(v.y-u.y)*(mx-2*int64(u.x)) < 0 {
			w -= o.winding
		}
	}
	return w
}

// windings counts the winding number left of every piece. Along a line of
// pieces with nothing branching off it stays the same, and is counted once.
func (r *overlay) windings() {
	n := len(r.pieces)
	r.left = append(r.left[:0], make([]int32, n)...)
	r.known = append(r.known[:0], make([]bool, n)...)
	r.meets = append(r.meets[:0], make([]meeting, len(r.points))...)
	for i, p := range r.pieces {
		r.meets[p.a].add(int32(i))
		r.meets[p.b].add(int32(i))
	}
	for i, p := range r.pieces {
		if r.known[i] {
			continue
		}
		r.left[i], r.known[i] = r.leftOf(i), true
		r.spread(int32(i), p.b)
		r.spread(int32(i), p.a)
	}
}

// meeting is the pieces that meet in a point: how many, and the first two.
type meeting struct {
	count  int32
	pieces [2]int32
}

func (m *meeting) add(piece int32) {
	if m.count < 2 {
		m.pieces[m.count] = piece
	}
	m.count++
}

// spread carries the winding number from piece i on beyond point v, as far as
// only one piece goes on.
func (r *overlay) spread(i, v int32) {
	for r.meets[v].count == 2 {
		p := r.pieces[i]
		ahead := r.left[i] // left of the way, which leads to v
		if v == p.a {
			ahead -= p.winding
		}
		i = r.meets[v].pieces[0] + r.meets[v].pieces[1] - i
		if r.known[i] {
			return
		}
		p = r.pieces[i]
		r.left[i], r.known[i] = ahead, true
		if v == p.b {
			r.left[i] += p.winding
		}
		v = p.a + p.b - v
	}
}

// link keeps the pieces that bound the inside and joins them to outlines.
func (r *overlay) link(inside fillRule) []loop {
	r.windings()
	r.edges = r.edges[:0]
	for i, p := range r.pieces {
		left := r.left[i]
		in, out := inside(left), inside(left-p.winding)
		switch {
		case in && !out:
			r.edges = append(r.edges, span2{p.a, p.b})
		case out && !in:
			r.edges = append(r.edges, span2{p.b, p.a})
		}
	}
	r.indexStarts()
	r.used = append(r.used[:0], make([]bool, len(r.edges))...)
	var loops []loop
	for i := range r.edges {
		if !r.used[i] {
			if l := r.walk(int32(i)); len(l) >= 3 {
				loops = append(loops, l)
			}
		}
	}
	return loops
}

// indexStarts lists the edges that begin at each point.
func (r *overlay) indexStarts() {
	n := len(r.points)
	r.starts = append(r.starts[:0], make([]int32, n+1)...)
	for _, e := range r.edges {
		r.starts[e.a+1]++
	}
	for i := range n {
		r.starts[i+1] += r.starts[i]
	}
	r.outs = append(r.outs[:0], make([]int32, len(r.edges))...)
	for i := len(r.edges) - 1; i >= 0; i-- {
		a := r.edges[i].a
		r.outs[r.starts[a]] = int32(i)
		r.starts[a]++
	}
	copy(r.starts[1:], r.starts[:n])
	r.starts[0] = 0
}

// walk follows edges from one until it comes back to where it began.
func (r *overlay) walk(first int32) loop {
	var l loop
	for e := first; e >= 0; {
		r.used[e] = true
		l = append(l, r.points[r.edges[e].a])
		if r.edges[e].b == r.edges[first].a {
			return straightened(l)
		}
		e = r.turnLeft(e)
	}
	return nil // came to a dead end: not part of an outline
}

// turnLeft is the unused edge that goes on from e the furthest to the left, so
// that outlines that touch in a point stay apart; -1 if there is none.
func (r *overlay) turnLeft(e int32) int32 {
	at := r.edges[e].b
	best := int32(-1)
	r.comparisons += int(r.starts[at+1] - r.starts[at])
	for _, o := range r.outs[r.starts[at]:r.starts[at+1]] {
		if r.used[o] {
			continue
		}
		if best < 0 || leftMore(r.points[r.edges[e].a], r.points[at], r.points[r.edges[o].b], r.points[r.edges[best].b]) {
			best = o
		}
	}
	return best
}

// leftMore reports whether, coming from p to q, going on to u is more to the left than to v.
func leftMore(p, q, u, v point) bool {
	su, sv := side(p, q, u), side(p, q, v)
	if (su > 0) != (sv > 0) {
		return su > 0
	}
	if su == 0 && sv == 0 {
		return false
	}
	return side(q, v, u) > 0
}

// untouched is the outlines when none that was added touches itself or another:
// those that have the inside on one side, turned so that it lies to the left.
func (r *overlay) untouched(inside fillRule) []loop {
	for _, e := range r.edges {
		a, b, winding := r.upward(e.a, e.b)
		r.pieces = append(r.pieces, piece{a, b, winding})
	}
	var loops []loop
	for k, from := range r.rounds {
		to := len(r.edges)
		if k+1 < len(r.rounds) {
			to = int(r.rounds[k+1])
		}
		if to-int(from) < 3 {
			continue
		}
		p := r.pieces[from]
		left := r.leftOf(int(from))
		in, out := inside(left), inside(left-p.winding)
		if in == out {
			continue
		}
		l := make(loop, 0, to-int(from))
		for _, e := range r.edges[from:to] {
			l = append(l, r.points[e.a])
		}
		if in != (p.winding > 0) {
			slices.Reverse(l)
		}
		if l = straightened(l); len(l) >= 3 {
			loops = append(loops, l)
		}
	}
	return loops
}
