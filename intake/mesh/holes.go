package mesh

import "slices"

// findHoles follows the open edges into loops. Where a loop comes to a vertex
// for the second time it is taken apart there, so that holes which touch in a
// corner are two.
func (t *Topology) findHoles() {
	e := t.Edges
	if e.Open == 0 {
		return
	}
	done := make([]bool, len(e.mate))
	for h, m := range e.mate {
		if m != open || done[h] {
			continue
		}
		hole := t.follow(int32(h), done)
		t.rims++
		if !hole.Closed {
			t.addHole(hole)
			continue
		}
		for _, loop := range simpleLoops(hole.Loop) {
			t.addHole(Hole{Closed: true, Edges: len(loop), Loop: loop, Shell: hole.Shell})
		}
	}
}

func (t *Topology) addHole(h Hole) {
	t.sizeHole(&h)
	t.Holes = append(t.Holes, h)
}

// simpleLoops takes a loop apart at the vertices that it passes more than once.
func simpleLoops(loop []int32) (loops [][]int32) {
	if !passesTwice(loop) {
		return [][]int32{loop}
	}
	at := make(map[int32]int, len(loop)) // where a vertex stands in way, plus one
	var way []int32
	for _, v := range loop {
		if i := at[v]; i > 0 {
			for _, w := range way[i-1:] {
				delete(at, w)
			}
			loops = append(loops, append([]int32(nil), way[i-1:]...))
			way = way[:i-1]
		}
		way = append(way, v)
		at[v] = len(way)
	}
	return append(loops, way)
}

func passesTwice(loop []int32) bool {
	if len(loop) <= 16 {
		for i, v := range loop {
			if slices.Contains(loop[:i], v) {
				return true
			}
		}
		return false
	}
	sorted := slices.Clone(loop)
	slices.Sort(sorted)
	return len(slices.Compact(sorted)) < len(loop)
}

// follow collects the loop or chain of open sides that h belongs to, in the
// direction in which most facets of its shell run.
func (t *Topology) follow(h int32, done []bool) Hole {
	e := t.Edges
	done[h] = true
	from, to := e.ends(h)
	if t.reversed != nil && t.reversed[h/3] {
		from, to = to, from
	}
	hole := Hole{Shell: int(t.ShellOf[h/3])}
	hole.Loop, hole.Closed = e.trail([]int32{from, to}, h, done)
	if hole.Closed {
		hole.Loop = hole.Loop[:len(hole.Loop)-1]
		hole.Edges = len(hole.Loop)
		return hole
	}
	slices.Reverse(hole.Loop) // a chain: it may go on at its other end
	hole.Loop, _ = e.trail(hole.Loop, h, done)
	slices.Reverse(hole.Loop)
	hole.Edges = len(hole.Loop) - 1
	return hole
}

// trail appends to verts the vertices that follow its last one on the way along
// open sides, of which h is the one before. It is closed when it comes back to h.
func (e *Edges) trail(verts []int32, h int32, done []bool) (way []int32, closed bool) {
	for first := h; ; {
		v := verts[len(verts)-1]
		next, ok := e.nextOpen(h, v)
		if !ok || done[next] {
			return verts, ok && next == first
		}
		done[next] = true
		a, b := e.ends(next)
		if a == v {
			a = b
		}
		verts = append(verts, a)
		h = next
	}
}

// nextOpen turns around vertex v from the open side h until the next open side.
// There is none where an edge with more than two facets is in the way.
func (e *Edges) nextOpen(h, v int32) (int32, bool) {
	for {
		_, across := e.across(h, v)
		switch m := e.mate[across]; m {
		case open:
			return across, true
		case nonManifold:
			return 0, false
		default:
			h = m
		}
	}
}

func (t *Topology) sizeHole(h *Hole) {
	for _, v := range h.Loop {
		h.At = h.At.Add(t.mesh.Vertices[v])
	}
	h.At = h.At.Mul(1 / float64(len(h.Loop)))
	var area Vec
	for i := range h.Edges {
		a := t.mesh.Vertices[h.Loop[i]].Sub(h.At)
		b := t.mesh.Vertices[h.Loop[(i+1)%len(h.Loop)]].Sub(h.At)
		h.LengthMM += b.Sub(a).Len()
		area = area.Add(a.Cross(b))
	}
	h.AreaMM2 = area.Len() / 2
}
