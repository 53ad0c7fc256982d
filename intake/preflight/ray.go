package preflight

import (
	"math"

	"meshclerk/intake/mesh"
)

// hit is where a ray meets the surface.
type hit struct {
	far   float64 // mm from the ray's start
	facet int
}

// tiny is a step that leaves a surface without going anywhere, mm.
func (p *surface) tiny() float64 { return 1e-5 * (1 + p.box.Size().Len()/100) }

// first gives the nearest hit within a distance.
func (p *surface) first(from, dir mesh.Vec, within float64) (hit, bool) {
	f, t, ok := p.tree.Ray(from, dir, 0, within)
	return hit{t, f}, ok
}

// crossings gives the hits within a distance in order, each way through a
// surface once: a ray through an edge meets both its facets.
func (p *surface) crossings(from, dir mesh.Vec, within float64) []hit {
	var out []hit
	for _, h := range p.tree.RayAll(from, dir, 0, within, nil) {
		if n := len(out); n > 0 {
			last := out[n-1]
			same := p.topo.ShellOf[last.facet] == p.topo.ShellOf[h.Facet] && p.leaves(last.facet, dir) == p.leaves(h.Facet, dir)
			if same && h.T-last.far <= 1e-9*(1+h.T) {
				continue
			}
		}
		out = append(out, hit{h.T, h.Facet})
	}
	return out
}

// leaves says that a ray along dir comes out of the plastic at a facet.
func (p *surface) leaves(facet int, dir mesh.Vec) bool { return p.normal[facet].Dot(dir) > 0 }

// exit follows a ray that starts in the plastic to where it comes out of all
// bodies, through those that overlap.
func (p *surface) exit(from, dir mesh.Vec, within float64) (hit, bool) {
	if !p.mixed {
		h, ok := p.first(from, dir, within)
		return h, ok && p.leaves(h.facet, dir)
	}
	depth := 1
	for _, h := range p.crossings(from, dir, within) {
		if p.leaves(h.facet, dir) {
			depth--
		} else {
			depth++
		}
		if depth <= 0 {
			return h, true
		}
	}
	return hit{}, false
}

// buried says whether a place is inside the plastic: more ways out than in
// along a line that follows no axis. It is asked only where bodies can overlap.
func (p *surface) buried(at mesh.Vec) bool {
	if !p.mixed {
		return false
	}
	dir := mesh.Vec{0.36742346, 0.51834937, 0.77215273}
	depth := 0
	for _, h := range p.crossings(at, dir, math.Inf(1)) {
		if p.leaves(h.facet, dir) {
			depth++
		} else {
			depth--
		}
	}
	return depth > 0
}
