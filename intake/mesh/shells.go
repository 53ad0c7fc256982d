package mesh

import "math"

// findShells numbers the parts of the surface that are connected by edges.
func (t *Topology) findShells() {
	e := t.Edges
	s := newSets(len(t.mesh.Triangles))
	for h, m := range e.mate {
		if m > int32(h) {
			s.union(int32(h/3), m/3)
		}
	}
	for _, fan := range e.fans {
		for _, h := range fan[1:] {
			s.union(fan[0]/3, h/3)
		}
	}
	var n int
	t.ShellOf, n = s.number()
	t.Shells = make([]Shell, n)
	for i := range t.Shells {
		t.Shells[i] = Shell{Inside: -1, Box: emptyBox()}
	}
}

// findTurned finds, shell by shell, the facets whose winding disagrees with the
// most of the shell. Across a non-manifold edge nothing is concluded.
func (t *Topology) findTurned() {
	e := t.Edges
	if e.Flipped == 0 {
		return
	}
	n := len(t.mesh.Triangles)
	t.reversed = make([]bool, n)
	seen := make([]bool, n)
	var patch []int32
	for f := range n {
		if seen[f] {
			continue
		}
		seen[f] = true
		patch = append(patch[:0], int32(f))
		against := 0
		for i := 0; i < len(patch); i++ {
			g := patch[i]
			if t.reversed[g] {
				against++
			}
			for h := 3 * g; h < 3*g+3; h++ {
				m := e.mate[h]
				if m < 0 || seen[m/3] {
					continue
				}
				seen[m/3] = true
				t.reversed[m/3] = t.reversed[g] != (e.forward(h) == e.forward(m))
				patch = append(patch, m/3)
			}
		}
		if 2*against > len(patch) {
			for _, g := range patch {
				t.reversed[g] = !t.reversed[g]
			}
		}
	}
}

// sums are the integrals over some facets, times six, two and twenty-four: so
// that whole numbers stay whole.
type sums struct {
	volume6, area2 float64
	moment24       Vec
}

// add takes in a facet: its area, and the tetrahedron between it and ref.
//
// It is written out because it runs once a facet, and the compiler keeps arrays
// such as Vec in memory.
func (s *sums) add(a, b, c, ref *Vec) {
	ax, ay, az := a[0]-ref[0], a[1]-ref[1], a[2]-ref[2]
	bx, by, bz := b[0]-ref[0], b[1]-ref[1], b[2]-ref[2]
	cx, cy, cz := c[0]-ref[0], c[1]-ref[1], c[2]-ref[2]
	ux, uy, uz := bx-ax, by-ay, bz-az
	vx, vy, vz := cx-ax, cy-ay, cz-az
	nx, ny, nz := uy*vz-uz*vy, uz*vx-ux*vz, ux*vy-uy*vx
	v := ax*nx + ay*ny + az*nz
	s.volume6 += v
	s.area2 += math.Sqrt(nx*nx + ny*ny + nz*nz)
	s.moment24[0] += (ax + bx + cx) * v
	s.moment24[1] += (ay + by + cy) * v
	s.moment24[2] += (az + bz + cz) * v
}

func (s *sums) join(o *sums) {
	s.volume6 += o.volume6
	s.area2 += o.area2
	s.moment24 = s.moment24.Add(o.moment24)
}

// measure integrates volume, area and moment of each shell, relative to the
// middle of the box, which keeps the terms small. Holes are closed by a cone of
// facets to the mean of their corners, so that the volume does not depend on
// where the model lies.
func (t *Topology) measure() {
	b := t.box
	t.sums = make([]sums, len(t.Shells))
	defer func() { t.sums = nil }()
	mid := b.Min.Add(b.Max).Mul(0.5)
	if len(t.Shells) == 1 && t.reversed == nil {
		t.measureOne(mid, b)
	} else {
		t.measureMany(mid)
	}
	t.countDefects()
	for i := range t.Holes {
		t.cap(&t.Holes[i], &mid)
	}
	for i := range t.Shells {
		s := &t.Shells[i]
		s.Closed = s.Open == 0 && s.NonManifold == 0
		sum := &t.sums[i]
		s.Volume, s.Area, s.moment = sum.volume6/6, sum.area2/2, sum.moment24.Mul(1.0/24)
	}
}

func (t *Topology) measureOne(mid Vec, b Box) {
	const grain = 1 << 14
	n, v := len(t.mesh.Triangles), t.mesh.Vertices
	parts := make([]sums, n/grain+1)
	spread(n, grain, func(part, lo, hi int) {
		var s sums
		for f := lo; f < hi; f++ {
			f := &t.mesh.Triangles[f]
			s.add(&v[f[0]], &v[f[1]], &v[f[2]], &mid)
		}
		parts[part] = s
	})
	s := &t.Shells[0]
	s.Facets, s.Box = n, b
	for i := range parts {
		t.sums[0].join(&parts[i])
	}
}

func (t *Topology) measureMany(mid Vec) {
	for f, shell := range t.ShellOf {
		s := &t.Shells[shell]
		if s.Facets == 0 {
			s.anchor = f
		}
		s.Facets++
		a, b, c := t.mesh.Corners(f)
		s.Box.add(&a)
		s.Box.add(&b)
		s.Box.add(&c)
		if t.reversed != nil && t.reversed[f] {
			b, c = c, b
		}
		t.sums[shell].add(&a, &b, &c, &mid)
	}
}

func (t *Topology) countDefects() {
	e := t.Edges
	for _, fan := range e.fans {
		t.Shells[t.ShellOf[fan[0]/3]].NonManifold++
	}
	if e.Open == 0 {
		return
	}
	for h, m := range e.mate {
		if m == open {
			t.Shells[t.ShellOf[h/3]].Open++
		}
	}
}

// cap adds the cone over a hole to the volume of its shell, not to its area.
func (t *Topology) cap(h *Hole, mid *Vec) {
	if !h.Closed {
		return
	}
	s := &t.sums[h.Shell]
	area := s.area2
	for i, v := range h.Loop {
		next := h.Loop[(i+1)%len(h.Loop)]
		s.add(&h.At, &t.mesh.Vertices[next], &t.mesh.Vertices[v], mid)
	}
	s.area2 = area
}
