package mesh

import (
	"math"

	"meshclerk/intake/budget"
)

const (
	leafFacets   = 4
	smallNode    = 12 // facets up to which a node is simply halved in space
	bins         = 16
	medianDepth  = 40      // below it nodes are halved by count, so that no tree is deeper than stackDepth
	stackDepth   = 80      // medianDepth, and a level for each bit of a facet's number
	parallelSize = 1 << 14 // facets from which a subtree is worth a goroutine
)

// BVH is a bounding volume hierarchy over a mesh's facets. It is read-only once
// built, so any number of goroutines may query it.
//
// Nodes lie in depth-first order: the left child of an inner node follows it.
// Boxes are single precision, rounded outward.
type BVH struct {
	mesh  *Mesh
	meter *budget.Meter // counts the nodes and facets that queries visit
	tree
}

// tree holds things that have boxes; in a BVH they are facets.
type tree struct {
	nodes []node
	items []item // leaf by leaf
}

type node struct {
	box   box32
	right int32 // inner: the right child; leaf: its first item
	count int32 // leaf: its items; inner: -1 less the axis along which it is split, lower part left
}

func (n *node) inner() bool { return n.count < 0 }

type box32 struct{ min, max [3]float32 }

// item is a thing in a leaf.
type item struct {
	box box32
	id  int32
}

// NewBVH builds the tree by the surface area heuristic (MacDonald and Booth
// 1990) over bins (Wald 2007), on all cores.
func NewBVH(m *Mesh) *BVH {
	items := make([]item, len(m.Triangles))
	spread(len(items), 1<<14, func(_, lo, hi int) {
		for f := lo; f < hi; f++ {
			t := &m.Triangles[f]
			items[f] = item{outward(&m.Vertices[t[0]], &m.Vertices[t[1]], &m.Vertices[t[2]]), int32(f)}
		}
	})
	return &BVH{mesh: m, tree: newTree(items)}
}

// outward is the smallest single-precision box around three points.
func outward(a, b, c *Vec) (out box32) {
	for k := range 3 {
		lo, hi := a[k], a[k]
		if b[k] < lo {
			lo = b[k]
		} else if b[k] > hi {
			hi = b[k]
		}
		if c[k] < lo {
			lo = c[k]
		} else if c[k] > hi {
			hi = c[k]
		}
		out.min[k], out.max[k] = roundDown(lo), -roundDown(-hi)
	}
	return out
}

// roundDown returns the largest single-precision number that is not above v.
func roundDown(v float64) float32 {
	f := float32(v)
	if float64(f) > v {
		f = math.Nextafter32(f, float32(math.Inf(-1)))
	}
	return f
}

// leaf returns the items of a leaf.
func (t *tree) leaf(n *node) []item { return t.items[n.right : n.right+n.count] }

// meets reports whether a box and a double-precision one have a point in common.
func (b *box32) meets(o *Box) bool {
	for k := range 3 {
		if float64(b.min[k]) > o.Max[k] || float64(b.max[k]) < o.Min[k] {
			return false
		}
	}
	return true
}

// encloses reports whether no part of o is outside b.
func (b *box32) encloses(o *Box) bool {
	for k := range 3 {
		if float64(b.min[k]) > o.Min[k] || float64(b.max[k]) < o.Max[k] {
			return false
		}
	}
	return true
}

// near reports whether two boxes are at most margin apart along each axis.
func (b *box32) near(o *box32, margin float32) bool {
	return b.min[0]-o.max[0] <= margin && o.min[0]-b.max[0] <= margin &&
		b.min[1]-o.max[1] <= margin && o.min[1]-b.max[1] <= margin &&
		b.min[2]-o.max[2] <= margin && o.min[2]-b.max[2] <= margin
}

// distance returns the square of the distance from p to the box.
func (b *box32) distance(p *Vec) float64 {
	sum := 0.0
	for k, v := range p {
		if d := float64(b.min[k]) - v; d > 0 {
			sum += d * d
		} else if d := v - float64(b.max[k]); d > 0 {
			sum += d * d
		}
	}
	return sum
}

// halfArea is half the surface.
func (b *box32) halfArea() float32 {
	x, y, z := b.max[0]-b.min[0], b.max[1]-b.min[1], b.max[2]-b.min[2]
	return x*y + y*z + z*x
}
