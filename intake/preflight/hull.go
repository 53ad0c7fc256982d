package preflight

import (
	"math"

	"meshclerk/intake/mesh"
)

// binsPerSide is the fineness of the direction cube that thins out vertices;
// clouds of up to fewEnough are not thinned.
const (
	binsPerSide = 32
	fewEnough   = 4000
)

// extremes thins a cloud of vertices out to those that can matter to its convex
// hull: seen from the middle of the box, with the box made a cube, the farthest
// in each of 6 x 32 x 32 directions. Small clouds are kept whole.
func extremes(vertices []mesh.Vec, box mesh.Box) []mesh.Vec {
	if len(vertices) <= fewEnough {
		return vertices
	}
	size := box.Size()
	middle := box.Min.Add(size.Mul(0.5))
	var inverse mesh.Vec
	for k := range 3 {
		if size[k] > 0 {
			inverse[k] = 2 / size[k]
		}
	}
	best := make([]int32, 6*binsPerSide*binsPerSide)
	far := make([]float64, len(best))
	for i, v := range vertices {
		d := v.Sub(middle)
		d = mesh.Vec{d[0] * inverse[0], d[1] * inverse[1], d[2] * inverse[2]}
		bin, reach := directionBin(d)
		if reach > far[bin] {
			far[bin], best[bin] = reach, int32(i)
		}
	}
	var out []mesh.Vec
	for bin, reach := range far {
		if reach > 0 {
			out = append(out, vertices[best[bin]])
		}
	}
	return out
}

// hullOf is the convex hull of a cloud that may be large.
func hullOf(cloud []mesh.Vec) (corners []mesh.Vec, flats []flat) {
	box := boxOf(cloud)
	return convexHull(extremes(cloud, box), box)
}

// directionBin gives the cell of the direction cube and the squared length.
func directionBin(d mesh.Vec) (bin int, reach float64) {
	side := 0
	for k := 1; k < 3; k++ {
		if math.Abs(d[k]) > math.Abs(d[side]) {
			side = k
		}
	}
	big := math.Abs(d[side])
	if big == 0 {
		return 0, 0
	}
	cell := func(x float64) int { return min(int((x/big+1)/2*binsPerSide), binsPerSide-1) }
	u, v := cell(d[(side+1)%3]), cell(d[(side+2)%3])
	face := 2 * side
	if d[side] < 0 {
		face++
	}
	return (face*binsPerSide+u)*binsPerSide + v, d.Dot(d)
}

// hullFace is a triangle of the hull with the points still outside it.
type hullFace struct {
	corner  [3]int
	next    [3]int // the face across the edge from corner k to k+1
	normal  mesh.Vec
	offset  float64
	outside []int
	gone    bool
}

func (f *hullFace) above(p *mesh.Vec) float64 {
	return f.normal[0]*p[0] + f.normal[1]*p[1] + f.normal[2]*p[2] - f.offset
}

// hull is a convex hull under construction (quickhull: Barber, Dobkin,
// Huhdanpaa 1996).
type hull struct {
	points []mesh.Vec
	faces  []hullFace
	eps    float64
	broken bool // rounding has got the better of it
}

// convexHull gives the corners of the hull and the outward unit normals of its
// faces with their areas. Flat or empty clouds give the points back, no faces.
func convexHull(points []mesh.Vec, box mesh.Box) (corners []mesh.Vec, flats []flat) {
	h := &hull{points: points, faces: make([]hullFace, 0, 8*len(points)), eps: 1e-9 * (1 + box.Size().Len())}
	if !h.start() {
		return points, nil
	}
	for i := 0; i < len(h.faces); i++ {
		if !h.faces[i].gone && len(h.faces[i].outside) > 0 {
			h.grow(i)
		}
		if h.broken || len(h.faces) > 40*len(points)+1000 {
			return points, nil
		}
	}
	return h.result()
}

func (h *hull) result() (corners []mesh.Vec, flats []flat) {
	used := make([]bool, len(h.points))
	for _, f := range h.faces {
		if f.gone {
			continue
		}
		for _, c := range f.corner {
			if !used[c] {
				used[c] = true
				corners = append(corners, h.points[c])
			}
		}
		a, b, c := h.points[f.corner[0]], h.points[f.corner[1]], h.points[f.corner[2]]
		flats = append(flats, flat{normal: f.normal, area: b.Sub(a).Cross(c.Sub(a)).Len() / 2})
	}
	return corners, flats
}

// start makes the first tetrahedron; false when the points lie in one plane.
func (h *hull) start() bool {
	if len(h.points) < 4 {
		return false
	}
	a := h.farthest(func(p mesh.Vec) float64 { return -p[0] - 1e-3*p[1] - 1e-6*p[2] })
	pa := h.points[a]
	b := h.farthest(func(p mesh.Vec) float64 { return p.Sub(pa).Len() })
	line := h.points[b].Sub(pa)
	c := h.farthest(func(p mesh.Vec) float64 { return p.Sub(pa).Cross(line).Len() })
	normal := line.Cross(h.points[c].Sub(pa))
	d := h.farthest(func(p mesh.Vec) float64 { return math.Abs(normal.Dot(p.Sub(pa))) })
	high := normal.Dot(h.points[d].Sub(pa))
	if normal.Len() <= h.eps*h.eps || math.Abs(high)/normal.Len() <= h.eps {
		return false
	}
	if high > 0 {
		b, c = c, b
	}
	corners := [][3]int{{a, b, c}, {a, d, b}, {b, d, c}, {c, d, a}}
	links := [][3]int{{1, 2, 3}, {3, 2, 0}, {1, 3, 0}, {2, 1, 0}}
	for i := range corners {
		h.add(corners[i], links[i])
	}
	for i := range h.points {
		h.assign(i, []int{0, 1, 2, 3})
	}
	return true
}

func (h *hull) farthest(measure func(mesh.Vec) float64) int {
	best, at := math.Inf(-1), 0
	for i, p := range h.points {
		if m := measure(p); m > best {
			best, at = m, i
		}
	}
	return at
}

func (h *hull) add(corner, next [3]int) int {
	a, b, c := h.points[corner[0]], h.points[corner[1]], h.points[corner[2]]
	n := b.Sub(a).Cross(c.Sub(a))
	if l := n.Len(); l > 0 {
		n = n.Mul(1 / l)
	}
	h.faces = append(h.faces, hullFace{corner: corner, next: next, normal: n, offset: n.Dot(a)})
	return len(h.faces) - 1
}

// assign hands a point to the first of the faces that it lies outside of.
func (h *hull) assign(p int, faces []int) {
	for _, f := range faces {
		if h.faces[f].above(&h.points[p]) > h.eps {
			h.faces[f].outside = append(h.faces[f].outside, p)
			return
		}
	}
}

// rim is an edge of the horizon: its ends and the face that stays.
type rim struct{ from, to, beyond int }

// grow takes the farthest point outside a face into the hull.
func (h *hull) grow(face int) {
	f := &h.faces[face]
	apex, high := f.outside[0], 0.0
	for _, p := range f.outside {
		if a := f.above(&h.points[p]); a > high {
			apex, high = p, a
		}
	}
	horizon, orphans := h.carve(face, &h.points[apex])
	first := len(h.faces)
	n := len(horizon)
	made := make([]int, n)
	for i, e := range horizon {
		h.broken = h.broken || e.to != horizon[(i+1)%n].from
		made[i] = h.add([3]int{e.from, e.to, apex}, [3]int{e.beyond, first + (i+1)%n, first + (i+n-1)%n})
		b := &h.faces[e.beyond]
		for k := range 3 {
			if b.corner[k] == e.to && b.corner[(k+1)%3] == e.from {
				b.next[k] = made[i]
			}
		}
	}
	for _, p := range orphans {
		if p != apex {
			h.assign(p, made)
		}
	}
}

// carve removes the faces that see the apex; it gives the horizon in order
// around and the points that lost their face.
func (h *hull) carve(face int, apex *mesh.Vec) (horizon []rim, orphans []int) {
	type step struct{ face, edge, left int }
	h.faces[face].gone = true
	orphans = append(orphans, h.faces[face].outside...)
	stack := []step{{face, 0, 3}}
	for len(stack) > 0 {
		s := &stack[len(stack)-1]
		if s.left == 0 {
			stack = stack[:len(stack)-1]
			continue
		}
		at, k := s.face, s.edge
		s.edge, s.left = (k+1)%3, s.left-1
		from, to, over := h.faces[at].corner[k], h.faces[at].corner[(k+1)%3], h.faces[at].next[k]
		g := &h.faces[over]
		switch {
		case g.gone:
		case g.above(apex) <= h.eps:
			horizon = append(horizon, rim{from, to, over})
		default:
			g.gone = true
			orphans = append(orphans, g.outside...)
			entry := 0
			for e := range 3 {
				if g.corner[e] == to {
					entry = e
				}
			}
			stack = append(stack, step{over, (entry + 1) % 3, 2})
		}
	}
	return horizon, orphans
}

// flat is a direction in which much surface faces: a way the part could lie.
type flat struct {
	normal mesh.Vec
	area   float64
}

// merge joins flats whose normals differ by less than about two degrees; the
// largest come first.
func merge(flats []flat) []flat {
	byArea(flats)
	var out []flat
	for _, f := range flats {
		if i := alike(out, f.normal); i >= 0 {
			out[i].area += f.area
		} else if len(out) < 200 {
			out = append(out, f)
		}
	}
	byArea(out)
	return out
}

// alike finds the first of some flats that faces nearly in a direction, or -1.
func alike(flats []flat, d mesh.Vec) int {
	for i := range flats {
		n := &flats[i].normal
		if n[0]*d[0]+n[1]*d[1]+n[2]*d[2] > 0.9994 {
			return i
		}
	}
	return -1
}
