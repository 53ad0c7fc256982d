package mesh

import (
	"math"
	"slices"
)

// Hit is a facet that a ray meets, T times the ray's direction from its origin.
type Hit struct {
	Facet int
	T     float64
}

// Ray finds the first facet that the ray origin + t*dir meets with t in
// [tmin, tmax]. The direction need not have length 1; t counts in its length.
// Both faces of a facet count, and its edges belong to it: a ray through an edge
// of a closed surface never slips between its facets (Woop, Benthin and Wald 2013).
func (b *BVH) Ray(origin, dir Vec, tmin, tmax float64) (facet int, t float64, ok bool) {
	r := newRay(origin, dir)
	facet, t, ok = b.first(&r, tmin, tmax)
	b.meter.Spend(r.visited)
	return facet, t, ok
}

func (b *BVH) first(r *ray, tmin, tmax float64) (facet int, t float64, ok bool) {
	facet, t = -1, tmax
	b.alongRay(r, tmin, &t, func(f int32, at float64) {
		if at < t || facet < 0 {
			facet, t = int(f), at
		}
	})
	return facet, t, facet >= 0
}

// RayAll appends to hits all facets that the ray meets with t in [tmin, tmax],
// in the order of t, then of the facets' numbers. A ray through an edge or a
// corner meets each facet there.
func (b *BVH) RayAll(origin, dir Vec, tmin, tmax float64, hits []Hit) []Hit {
	n := len(hits)
	r := newRay(origin, dir)
	b.alongRay(&r, tmin, &tmax, func(f int32, at float64) {
		hits = append(hits, Hit{int(f), at})
	})
	b.meter.Spend(r.visited + len(hits) - n)
	slices.SortFunc(hits[n:], func(a, b Hit) int {
		switch {
		case a.T < b.T:
			return -1
		case a.T > b.T:
			return 1
		}
		return a.Facet - b.Facet
	})
	return hits
}

// Visits returns how many nodes and facets RayAll would visit: what it costs.
func (b *BVH) Visits(origin, dir Vec, tmin, tmax float64) int {
	r := newRay(origin, dir)
	b.alongRay(&r, tmin, &tmax, func(int32, float64) {})
	b.meter.Spend(r.visited)
	return r.visited
}

// ray is a ray sheared so that it runs along an axis: kz is the axis of its
// largest component.
type ray struct {
	origin, inv Vec
	kx, ky, kz  int
	sx, sy, sz  float64
	back        [3]bool // the direction is negative, minus zero too
	visited     int     // nodes and facets, over all queries with this ray
}

func newRay(o, d Vec) ray {
	r := ray{origin: o, inv: Vec{1 / d[0], 1 / d[1], 1 / d[2]}}
	for k := range 3 {
		if math.Abs(d[k]) > math.Abs(d[r.kz]) {
			r.kz = k
		}
		r.back[k] = math.Signbit(d[k])
	}
	r.kx, r.ky = (r.kz+1)%3, (r.kz+2)%3
	r.sx, r.sy, r.sz = d[r.kx]/d[r.kz], d[r.ky]/d[r.kz], 1/d[r.kz]
	return r
}

// meet returns t where the ray meets the facet. The products of an edge function
// are the same for both facets at an edge, so both agree on its side; the
// conversions keep the compiler from fusing them.
func (r *ray) meet(a, b, c *Vec) (t float64, ok bool) {
	x, y, z := r.kx, r.ky, r.kz
	ox, oy, oz := r.origin[x], r.origin[y], r.origin[z]
	az, bz, cz := a[z]-oz, b[z]-oz, c[z]-oz
	ax, ay := a[x]-ox-float64(r.sx*az), a[y]-oy-float64(r.sy*az)
	bx, by := b[x]-ox-float64(r.sx*bz), b[y]-oy-float64(r.sy*bz)
	cx, cy := c[x]-ox-float64(r.sx*cz), c[y]-oy-float64(r.sy*cz)
	u := float64(cx*by) - float64(cy*bx)
	v := float64(ax*cy) - float64(ay*cx)
	w := float64(bx*ay) - float64(by*ax)
	if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) {
		return 0, false
	}
	det := u + v + w
	if det == 0 {
		return 0, false // seen edge-on
	}
	return r.sz * (u*az + v*bz + w*cz) / det, true
}

// alongRay calls hit for facets that the ray meets within tmin..*tmax. The
// callee may lower *tmax.
func (b *BVH) alongRay(r *ray, tmin float64, tmax *float64, hit func(f int32, t float64)) {
	if len(b.nodes) == 0 {
		return
	}
	var stack [stackDepth]int32
	top := 0
	for at := int32(0); ; {
		n := &b.nodes[at]
		r.visited++
		if r.crosses(&n.box, tmin, *tmax) {
			if n.inner() {
				near, far := at+1, n.right
				if r.back[-1-n.count] {
					near, far = far, near
				}
				stack[top] = far
				top++
				at = near
				continue
			}
			r.visited += int(n.count)
			for i := range b.leaf(n) {
				f := b.items[int(n.right)+i].id
				c, v := &b.mesh.Triangles[f], b.mesh.Vertices
				if t, ok := r.meet(&v[c[0]], &v[c[1]], &v[c[2]]); ok && t >= tmin && t <= *tmax {
					hit(f, t)
				}
			}
		}
		if top == 0 {
			return
		}
		top--
		at = stack[top]
	}
}

// crosses reports whether the ray is inside the box for some t in tmin..tmax. Where
// it runs in the plane of a face the product is NaN, which decides nothing: hence
// the near face is chosen by the sign of the direction and not by comparing. The
// axes are written out: as a loop, rays take an eighth longer (BenchmarkBVH/ray).
func (r *ray) crosses(b *box32, tmin, tmax float64) bool {
	const outward = 1 + 4e-16 // more than rounding may have taken off
	near, far := b.min[0], b.max[0]
	if r.back[0] {
		near, far = far, near
	}
	if t := (float64(near) - r.origin[0]) * r.inv[0]; t > tmin {
		tmin = t
	}
	if t := (float64(far) - r.origin[0]) * r.inv[0] * outward; t < tmax {
		tmax = t
	}
	near, far = b.min[1], b.max[1]
	if r.back[1] {
		near, far = far, near
	}
	if t := (float64(near) - r.origin[1]) * r.inv[1]; t > tmin {
		tmin = t
	}
	if t := (float64(far) - r.origin[1]) * r.inv[1] * outward; t < tmax {
		tmax = t
	}
	near, far = b.min[2], b.max[2]
	if r.back[2] {
		near, far = far, near
	}
	if t := (float64(near) - r.origin[2]) * r.inv[2]; t > tmin {
		tmin = t
	}
	if t := (float64(far) - r.origin[2]) * r.inv[2] * outward; t < tmax {
		tmax = t
	}
	return tmin <= tmax
}

// Nearest finds the point of the surface nearest to p; facet is -1 for a mesh
// without facets.
func (b *BVH) Nearest(p Vec) (facet int, point Vec, dist float64) {
	return b.NearestWithin(p, math.Inf(1), nil)
}

// NearestWithin finds the point of the surface nearest to p, no farther than
// most, leaving out facets that skip names; skip may be nil. facet is -1 when
// there is none.
func (b *BVH) NearestWithin(p Vec, most float64, skip func(facet int) bool) (facet int, point Vec, dist float64) {
	facet = -1
	if len(b.nodes) == 0 {
		return facet, point, math.Inf(1)
	}
	best := most * most
	type visit struct {
		node int32
		dist float64
	}
	var stack [stackDepth]visit
	stack[0] = visit{0, b.nodes[0].box.distance(&p)}
	visited := 0
	defer func() { b.meter.Spend(visited) }()
	for top := 1; top > 0; {
		top--
		visited++
		if stack[top].dist > best {
			continue
		}
		n := &b.nodes[stack[top].node]
		if n.inner() {
			near, far := visit{node: stack[top].node + 1}, visit{node: n.right}
			near.dist, far.dist = b.nodes[near.node].box.distance(&p), b.nodes[far.node].box.distance(&p)
			if near.dist > far.dist {
				near, far = far, near
			}
			stack[top], stack[top+1] = far, near
			top += 2
			continue
		}
		visited += int(n.count)
		for _, it := range b.leaf(n) {
			if it.box.distance(&p) > best || skip != nil && skip(int(it.id)) {
				continue
			}
			q := closest(p, b.mesh, int(it.id))
			d := q.Sub(p)
			if dd := d.Dot(d); dd < best || dd == best && facet < 0 {
				best, facet, point = dd, int(it.id), q
			}
		}
	}
	if facet < 0 {
		return facet, point, math.Inf(1)
	}
	return facet, point, math.Sqrt(best)
}

// closest returns the point of a facet nearest to p (Ericson, Real-Time Collision
// Detection, 5.1.5).
func closest(p Vec, m *Mesh, f int) Vec {
	a, b, c := m.Corners(f)
	ab, ac, ap := b.Sub(a), c.Sub(a), p.Sub(a)
	d1, d2 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && d2 <= 0 {
		return a
	}
	bp := p.Sub(b)
	d3, d4 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && d4 <= d3 {
		return b
	}
	vc := d1*d4 - d3*d2
	if vc <= 0 && d1 >= 0 && d3 <= 0 {
		return a.Add(ab.Mul(ratio(d1, d1-d3)))
	}
	cp := p.Sub(c)
	d5, d6 := ab.Dot(cp), ac.Dot(cp)
	if d6 >= 0 && d5 <= d6 {
		return c
	}
	vb := d5*d2 - d1*d6
	if vb <= 0 && d2 >= 0 && d6 <= 0 {
		return a.Add(ac.Mul(ratio(d2, d2-d6)))
	}
	va := d3*d6 - d5*d4
	if va <= 0 && d4 >= d3 && d5 >= d6 {
		return b.Add(c.Sub(b).Mul(ratio(d4-d3, d4-d3+d5-d6)))
	}
	sum := va + vb + vc
	return a.Add(ab.Mul(vb / sum)).Add(ac.Mul(vc / sum))
}

func ratio(part, whole float64) float64 {
	if whole == 0 {
		return 0
	}
	return part / whole
}

// In calls visit for each facet whose box meets the given one, until it returns
// false.
func (b *BVH) In(box Box, visit func(facet int) bool) {
	if len(b.nodes) == 0 {
		return
	}
	var stack [stackDepth]int32
	top, visited := 1, 0
	defer func() { b.meter.Spend(visited) }()
	for top > 0 {
		top--
		visited++
		at := stack[top]
		n := &b.nodes[at]
		if !n.box.meets(&box) {
			continue
		}
		if n.inner() {
			stack[top], stack[top+1] = n.right, at+1
			top += 2
			continue
		}
		for _, it := range b.leaf(n) {
			if it.box.meets(&box) && !visit(int(it.id)) {
				return
			}
		}
	}
}
