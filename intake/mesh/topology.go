package mesh

import (
	"context"
	"math"

	"meshclerk/intake/budget"
	"meshclerk/intake/job"
)

// Options say how thorough Examine is. A zero field takes its default.
type Options struct {
	SkipCrossings bool // leave self-intersections out: Shape.IntersectionsExact is then false
	CrossingWork  int  // pairs of boxes that the search for self-intersections compares at most; 2,000,000,000
	Places        int  // of each kind of defect to keep; 100
}

func (o Options) orDefault() Options {
	if o.CrossingWork <= 0 {
		o.CrossingWork = 2_000_000_000
	}
	if o.Places <= 0 {
		o.Places = 100
	}
	return o
}

// Topology is what Examine finds out about a mesh. Lengths are mm.
//
// Closed means three things, and Shape has each: Watertight, every edge has
// exactly two facets; ConsistentlyWound, the facets at every edge run opposite
// ways; EnclosesVolume, both of these and a volume that is not zero.
type Topology struct {
	Shape   job.Shape
	Holes   []Hole
	Shells  []Shell // by their first facet
	ShellOf []int32 // by facet

	Edges         *Edges
	OpenAt        []Vec // middles of open edges, at most Options.Places of them
	NonmanifoldAt []Vec // middles of edges with more than two facets
	FlippedAt     []Vec // middles of edges whose two facets run the same way
	Crossings     []Crossing
	Touching      int  // vertices at which a surface touches itself or another in that point alone; 0 beside non-manifold edges
	NestingUnsure bool // there were too many shells to find out which lie inside which

	meter    *budget.Meter
	reversed []bool // facets wound against the most of their shell; nil when there are none
	bvh      *BVH
	mesh     *Mesh
	sums     []sums // by shell, while they are being measured
	rims     int    // boundaries of the surface; a hole more where one touches itself in a corner
	box      Box
}

// Shell is a part of the surface that is connected by edges.
type Shell struct {
	Facets      int
	Open        int     // edges with one facet
	NonManifold int     // edges with more than two
	Volume      float64 // mm3, as wound by the most of its facets: negative when its inside is out; holes closed flat
	Area        float64 // mm2
	Box         Box
	Closed      bool // no open and no non-manifold edge
	Outer       bool // a body: it counts as a part
	Void        bool // a cavity inside a body
	InsideOut   bool // wound the wrong way for what it is
	Inside      int  // the smallest shell around it, or -1

	moment Vec // integral of the position, relative to the middle of the mesh's box, over the volume
	anchor int // first facet
}

// Hole is a loop of open edges.
type Hole struct {
	Edges    int
	LengthMM float64
	AreaMM2  float64 // of the loop, seen from where it is largest
	At       Vec     // mean of its corners
	Closed   bool    // false for a chain that ends at an edge with more than two facets
	Loop     []int32 // vertices in order; a closed loop does not repeat the first
	Shell    int
}

// Crossing is a pair of facets that pass through each other.
type Crossing struct {
	A, B int // facets, A < B
	At   Vec // a point on both
}

// examineCost is what a facet costs in units of work, its place in the tree included.
const examineCost = 60

// Examine measures a mesh. The facts are those of Read; for a mesh from
// elsewhere they may be zero. The mesh must be clean as Read leaves it.
func Examine(ctx context.Context, m *Mesh, f Facts, opts Options) (*Topology, error) {
	opts = opts.orDefault()
	t := &Topology{mesh: m, box: m.Bounds(), Edges: f.edges, meter: budget.From(ctx)}
	t.meter.Spend(examineCost * len(m.Triangles))
	if !t.Edges.of(m) {
		t.Edges = FindEdges(m)
	}
	t.findShells()
	t.findTurned()
	t.findPlaces(opts.Places)
	t.findHoles()
	t.measure()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := t.findContainment(ctx); err != nil {
		return nil, err
	}
	t.summarise(f)
	if !opts.SkipCrossings {
		if err := t.findCrossings(ctx, opts); err != nil {
			return nil, err
		}
	}
	return t, ctx.Err()
}

// BVH returns the tree over the mesh's facets; it is built once.
// It must not be called side by side.
func (t *Topology) BVH() *BVH {
	if t.bvh == nil {
		t.bvh = NewBVH(t.mesh)
		t.bvh.meter = t.meter
	}
	return t.bvh
}

// summarise fills in the shape from what was found.
func (t *Topology) summarise(f Facts) {
	e, s := t.Edges, &t.Shape
	s.Triangles = f.Facets
	if f.Facets == 0 {
		s.Triangles = len(t.mesh.Triangles)
	}
	s.Vertices = len(t.mesh.Vertices)
	s.SizeMM, s.AtMM = t.box.Size(), t.box.Min
	s.DegenerateTris, s.DuplicateTris, s.WeldToleranceMM = f.Degenerate, f.Duplicate, f.WeldTolerance
	s.OpenEdges, s.NonmanifoldEdges, s.FlippedEdges = e.Open, e.NonManifold, e.Flipped
	s.Shells, s.Holes = len(t.Shells), len(t.Holes)
	s.Watertight = e.Open == 0 && e.NonManifold == 0
	s.ConsistentlyWound = e.Flipped == 0 && e.Lopsided == 0
	var moment Vec
	for _, sh := range t.Shells {
		s.AreaMM2 += sh.Area
		sign := sh.sign()
		s.VolumeMM3 += sign * sh.Volume
		moment = moment.Add(sh.moment.Mul(sign))
		if sh.Outer {
			s.Parts++
			s.InsideOut = s.InsideOut || sh.InsideOut
		}
	}
	s.EnclosesVolume = s.Watertight && s.ConsistentlyWound && hasVolume(s.VolumeMM3, s.AreaMM2, 1e-9)
	s.CentroidMM = t.centroid(moment)
	s.Genus = t.genus()
}

// sign is what the volume of a shell counts with, so that bodies count in full
// and voids are taken off, whichever way they are wound.
func (s *Shell) sign() float64 {
	if s.Outer == (s.Volume < 0) {
		return -1
	}
	return 1
}

// hasVolume compares a volume with that of the sphere of the same area.
func hasVolume(v, area, share float64) bool {
	return math.Abs(v) > share*math.Pow(area, 1.5)/(6*math.Sqrt(math.Pi))
}

// centroid is that of the volume, or of the surface's box where there is none.
func (t *Topology) centroid(moment Vec) Vec {
	mid := t.box.Min.Add(t.box.Max).Mul(0.5)
	if !hasVolume(t.Shape.VolumeMM3, t.Shape.AreaMM2, 1e-6) {
		return mid
	}
	return mid.Add(moment.Mul(1 / t.Shape.VolumeMM3))
}

// genus counts handles by Euler's formula V - E + F + rims = 2 (shells - genus),
// with a vertex for each fan of facets around it. It is 0 where edges have more
// than two facets, since the formula does not hold there.
func (t *Topology) genus() int {
	e := t.Edges
	if e.NonManifold > 0 {
		return 0
	}
	euler := len(t.mesh.Vertices) - e.Count + len(t.mesh.Triangles) + t.rims
	if euler == 2*len(t.Shells) {
		return 0 // more fans than vertices would make it larger than it can be
	}
	t.Touching = e.fanCount() - len(t.mesh.Vertices)
	return len(t.Shells) - (euler+t.Touching)/2
}

// fanCount counts the fans of facets around all vertices: one a vertex, unless
// surfaces touch there. No edge may be non-manifold.
func (e *Edges) fanCount() int {
	seen := make([]bool, len(e.mate))
	n := 0
	for c := range e.mate {
		if seen[c] {
			continue
		}
		n++
		e.walkFan(int32(c), seen)
	}
	return n
}

// walkFan marks the corners of the fan that corner c belongs to. Corner 3f+k
// lies between the sides 3f+k, which leaves it, and 3f+(k+2)%3, which comes in.
func (e *Edges) walkFan(c int32, seen []bool) {
	v := e.tris[c/3][c%3]
	for _, start := range [2]int32{c, c - c%3 + (c+2)%3} {
		seen[c] = true
		for side := start; ; {
			m := e.mate[side]
			if m < 0 {
				break
			}
			corner, across := e.across(m, v)
			if seen[corner] {
				break
			}
			seen[corner] = true
			side = across
		}
	}
}

// across returns the corner at v of the facet of side m, where m is a side at v, and
// the facet's other side at v.
func (e *Edges) across(m, v int32) (corner, across int32) {
	base, k := m-m%3, m%3
	if e.tris[m/3][k] == v {
		return m, base + (k+2)%3
	}
	k = next3[k]
	return base + k, base + k
}

// findPlaces keeps the middles of some edges of each defect.
func (t *Topology) findPlaces(most int) {
	e := t.Edges
	middle := func(h int32) Vec {
		a, b := e.ends(h)
		return t.mesh.Vertices[a].Add(t.mesh.Vertices[b]).Mul(0.5)
	}
	for i := 0; i < len(e.fans) && i < most; i++ {
		t.NonmanifoldAt = append(t.NonmanifoldAt, middle(e.fans[i][0]))
	}
	if e.Open == 0 && e.Flipped == 0 {
		return
	}
	for h, m := range e.mate {
		switch h := int32(h); {
		case m == open && len(t.OpenAt) < most:
			t.OpenAt = append(t.OpenAt, middle(h))
		case m > h && e.forward(h) == e.forward(m) && len(t.FlippedAt) < most:
			t.FlippedAt = append(t.FlippedAt, middle(h))
		}
	}
}
