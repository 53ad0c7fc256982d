package preflight

import (
	"math"

	"meshclerk/intake/mesh"
)

// surface is the body under examination: at the asked scale, in the file's own
// coordinates, its winding made good so that normals point out of the plastic.
type surface struct {
	m      *mesh.Mesh
	topo   *mesh.Topology
	tree   *mesh.BVH
	mixed  bool // bodies can overlap: more than one shell, or one that crosses itself
	box    mesh.Box
	normal []mesh.Vec // by facet: unit, or zero for a facet without area
	area   []float64  // by facet, mm2
	total  float64    // mm2
	envelope
	castShare float64 // what part of the usual places rays can be cast from: 1, or less where too many facets overlap
}

// part is a surface of which it is known what comes off the printer as one piece.
type part struct {
	*surface
	pieces   pieces
	balances []balance // by piece
}

func newPart(s *surface, ps pieces) *part {
	return &part{s, ps, balancesOf(s, ps)}
}

// envelope is the convex hull of a part.
type envelope struct {
	corner []mesh.Vec
	few    []mesh.Vec // some of the corners, for a quick look
	flats  []flat     // merged
}

func envelopeOf(m *mesh.Mesh) envelope {
	corners, flats := hullOf(m.Vertices)
	return envelope{corners, thinned(corners, 250), merge(flats)}
}

// newSurface measures what every check needs.
func newSurface(m *mesh.Mesh, topo *mesh.Topology, hull envelope) *surface {
	s := &surface{m: m, topo: topo, tree: topo.BVH(), box: m.Bounds(), envelope: hull}
	s.normal = make([]mesh.Vec, len(m.Triangles))
	s.area = make([]float64, len(m.Triangles))
	both(len(m.Triangles), func(f int) {
		a, b, c := m.Corners(f)
		n := b.Sub(a).Cross(c.Sub(a))
		if twice := n.Len(); twice > 0 {
			s.normal[f], s.area[f] = n.Mul(1/twice), twice/2
		}
	})
	s.total = sum(s.area)
	s.mixed = len(topo.Shells) > 1 || len(topo.Crossings) > 0
	s.castShare = s.castable()
	return s
}

// mostVisits is how many nodes and facets the rays from all places may visit.
const mostVisits = 2e8

// castable tells from a few places what rays cost. Where many facets overlap and
// nearly every one's box lies in the way of every ray, fewer can be cast.
func (p *surface) castable() float64 {
	const probes, shortRays, longRays = 32, 20, 2 // rays that a place takes
	places := p.samples(probes, p.area)
	visits := 0
	for _, s := range places {
		n := p.normal[s.facet]
		visits += shortRays*p.tree.Visits(s.at, n, -probing, probing) + longRays*p.tree.Visits(s.at, n, math.Inf(-1), math.Inf(1))
	}
	if visits == 0 {
		return 1
	}
	return min(1, mostVisits/(mostPlaces*float64(visits)/float64(len(places))))
}

// affordable is how many of n places can be looked at; some always are.
func (p *surface) affordable(n int) int {
	const some = 24
	return min(n, max(some, int(float64(n)*p.castShare)))
}

// standing puts the part on the plate with the given direction up. The lowest
// and highest places are those of all vertices, not of the thinned hull.
func (p *surface) standing(up mesh.Vec) orientation { return standing(up, p.m.Vertices) }

// centre gives the middle of facet f.
func (p *surface) centre(f int) mesh.Vec {
	a, b, c := p.m.Corners(f)
	return a.Add(b).Add(c).Mul(1.0 / 3)
}

// sample is a place on the surface that stands for some of it.
type sample struct {
	at     mesh.Vec
	facet  int
	weight float64 // mm2
}

// samples spreads n places over the facets so that each stands for the same
// area, of which weights tell how much of each facet counts: evenly along the
// running sum, and within a facet by the plastic number's low-discrepancy
// sequence. The same part gives the same places.
func (p *surface) samples(n int, weights []float64) []sample {
	whole := sum(weights)
	if whole <= 0 || n <= 0 {
		return nil
	}
	each := whole / float64(n)
	out := make([]sample, 0, n+1)
	run, next := 0.0, each/2
	for f, w := range weights {
		run += w
		for ; next < run && len(out) < n; next += each {
			out = append(out, sample{p.within(f, len(out)), f, each})
		}
	}
	return out
}

func sum(list []float64) float64 {
	whole := 0.0
	for _, x := range list {
		whole += x
	}
	return whole
}

// within gives the i-th place of a sequence that fills a facet evenly (R2
// sequence, folded into the triangle).
func (p *surface) within(f, i int) mesh.Vec {
	const g, h = 0.7548776662466927, 0.5698402909980532
	u, v := fraction(0.5+g*float64(i+1)), fraction(0.5+h*float64(i+1))
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	a, b, c := p.m.Corners(f)
	return a.Add(b.Sub(a).Mul(u)).Add(c.Sub(a).Mul(v))
}

func fraction(x float64) float64 { return x - float64(int(x)) }
