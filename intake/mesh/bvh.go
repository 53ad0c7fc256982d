package mesh

import (
	"math"
	"runtime"
	"sync"
)

const (
	leafFacets   = 4
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
	mesh *Mesh
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
	count int32 // leaf: its items; inner: 0
}

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
			a, b, c := m.Corners(f)
			items[f] = item{outward(a, b, c), int32(f)}
		}
	})
	return &BVH{mesh: m, tree: plant(items)}
}

func plant(items []item) tree {
	t := tree{items: items}
	if len(items) > 0 {
		b := builder{items: items, free: make(chan struct{}, runtime.GOMAXPROCS(0)-1)}
		t.nodes = b.build(nil, 0, len(items), 0)
	}
	return t
}

// leaf gives the items of a leaf.
func (t *tree) leaf(n *node) []item { return t.items[n.right : n.right+n.count] }

// outward is the smallest single-precision box around three points.
func outward(a, b, c Vec) (out box32) {
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
		out.min[k], out.max[k] = float32(lo), float32(hi)
		if float64(out.min[k]) > lo {
			out.min[k] = math.Nextafter32(out.min[k], float32(math.Inf(-1)))
		}
		if float64(out.max[k]) < hi {
			out.max[k] = math.Nextafter32(out.max[k], float32(math.Inf(1)))
		}
	}
	return out
}

type builder struct {
	items []item
	free  chan struct{} // has room while another goroutine may be started
}

// build appends the subtree over items lo..hi to nodes.
func (b *builder) build(nodes []node, lo, hi, depth int) []node {
	self := len(nodes)
	box, centres := b.bounds(lo, hi)
	nodes = append(nodes, node{box: box, right: int32(lo), count: int32(hi - lo)})
	if hi-lo <= leafFacets {
		return nodes
	}
	mid := lo
	if depth < medianDepth {
		mid = b.split(lo, hi, centres)
	}
	if mid == lo || mid == hi {
		mid = (lo + hi) / 2
	}
	nodes[self].count = 0
	if hi-lo > parallelSize {
		select {
		case b.free <- struct{}{}:
			return b.buildBoth(nodes, self, lo, mid, hi, depth)
		default:
		}
	}
	nodes = b.build(nodes, lo, mid, depth+1)
	nodes[self].right = int32(len(nodes))
	return b.build(nodes, mid, hi, depth+1)
}

// buildBoth builds the right subtree in a goroutine of its own.
func (b *builder) buildBoth(nodes []node, self, lo, mid, hi, depth int) []node {
	var right []node
	var wg sync.WaitGroup
	wg.Go(func() {
		right = b.build(nil, mid, hi, depth+1)
		<-b.free
	})
	nodes = b.build(nodes, lo, mid, depth+1)
	wg.Wait()
	base := int32(len(nodes))
	nodes[self].right = base
	for _, n := range right {
		if n.count == 0 {
			n.right += base
		}
		nodes = append(nodes, n)
	}
	return nodes
}

var empty32 = func() box32 {
	inf := float32(math.Inf(1))
	return box32{[3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}}
}()

func (b *box32) join(o *box32) {
	for k := range 3 {
		if o.min[k] < b.min[k] {
			b.min[k] = o.min[k]
		}
		if o.max[k] > b.max[k] {
			b.max[k] = o.max[k]
		}
	}
}

// halfArea is half the surface, the measure of the heuristic.
func (b *box32) halfArea() float32 {
	x, y, z := b.max[0]-b.min[0], b.max[1]-b.min[1], b.max[2]-b.min[2]
	return x*y + y*z + z*x
}

// bounds gives the box around items and the box around their middles, doubled.
func (b *builder) bounds(lo, hi int) (all, centres box32) {
	all, centres = empty32, empty32
	for i := lo; i < hi; i++ {
		it := &b.items[i].box
		all.join(it)
		for k := range 3 {
			c := it.min[k] + it.max[k]
			if c < centres.min[k] {
				centres.min[k] = c
			}
			if c > centres.max[k] {
				centres.max[k] = c
			}
		}
	}
	return all, centres
}

// split reorders items lo..hi about the cheapest plane between bins along the
// longest axis, and returns where the right part begins; lo when there is none.
func (b *builder) split(lo, hi int, centres box32) int {
	axis, length := 0, float32(0)
	for k := range 3 {
		if l := centres.max[k] - centres.min[k]; l > length {
			axis, length = k, l
		}
	}
	scale := bins * (1 - 1e-6) / length
	if length == 0 || math.IsInf(float64(scale), 0) {
		return lo
	}
	start := centres.min[axis]
	var count [bins]int
	var boxes [bins]box32
	for i := range boxes {
		boxes[i] = empty32
	}
	for i := lo; i < hi; i++ {
		it := &b.items[i].box
		bin := int((it.min[axis] + it.max[axis] - start) * scale)
		count[bin]++
		boxes[bin].join(it)
	}
	cut := cheapest(&count, &boxes)
	i, j := lo, hi
	for i < j {
		it := &b.items[i].box
		if int((it.min[axis]+it.max[axis]-start)*scale) <= cut {
			i++
			continue
		}
		j--
		b.items[i], b.items[j] = b.items[j], b.items[i]
	}
	return i
}

// cheapest gives the last bin of the left part.
func cheapest(count *[bins]int, boxes *[bins]box32) int {
	var rightCost [bins]float32
	box, n := empty32, 0
	for i := bins - 1; i > 0; i-- {
		if count[i] > 0 {
			box.join(&boxes[i])
			n += count[i]
		}
		if n > 0 {
			rightCost[i] = box.halfArea() * float32(n)
		}
	}
	best, cut := float32(math.Inf(1)), 0
	box, n = empty32, 0
	for i := range bins - 1 {
		if count[i] > 0 {
			box.join(&boxes[i])
			n += count[i]
		}
		if n == 0 {
			continue
		}
		if c := box.halfArea()*float32(n) + rightCost[i+1]; c < best {
			best, cut = c, i
		}
	}
	return cut
}
