package mesh

import (
	"math"
	"runtime"
	"sync"
)

// gridSteps is how finely the builder divides the longest side of everything.
const gridSteps = 1 << 28

// newTree builds a tree over items, which it reorders.
func newTree(items []item) tree {
	t := tree{items: items}
	if len(items) == 0 {
		return t
	}
	b := newBuilder(items)
	t.nodes = b.build(nil, 0, len(items), 0, b.bounds(0, len(items)))
	ordered := make([]item, len(items))
	for i := range b.primitives {
		ordered[i] = items[b.primitives[i].at]
	}
	t.items = ordered
	spread(len(t.nodes), 1<<14, func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			if n := &t.nodes[i]; n.count > 0 {
				n.box = t.hull(n)
			}
		}
	})
	for i := len(t.nodes) - 1; i >= 0; i-- { // children come after their parent
		if n := &t.nodes[i]; n.inner() {
			n.box = t.nodes[i+1].box
			n.box.join(&t.nodes[n.right].box)
		}
	}
	return t
}

// hull is the box around the items of a leaf.
func (t *tree) hull(n *node) box32 {
	leaf := t.leaf(n)
	box := leaf[0].box
	for i := range leaf[1:] {
		box.join(&leaf[i+1].box)
	}
	return box
}

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

// builder works on whole numbers, whose least and greatest need no branches.
type builder struct {
	primitives []primitive
	free       chan struct{} // has room while another goroutine may be started
}

// primitive is an item while the tree is built: its box on the builder's grid.
type primitive struct {
	box gridBox
	at  int32 // in the items
}

type gridBox struct{ min, max [3]int32 }

func newBuilder(items []item) *builder {
	all := items[0].box
	for i := range items {
		all.join(&items[i].box)
	}
	side := float32(0)
	for k := range 3 {
		side = max(side, all.max[k]-all.min[k])
	}
	scale := float32(gridSteps) / side
	if side == 0 || math.IsInf(float64(scale), 0) {
		scale = 0
	}
	b := &builder{primitives: make([]primitive, len(items)), free: make(chan struct{}, runtime.GOMAXPROCS(0)-1)}
	spread(len(items), 1<<14, func(_, lo, hi int) {
		for i := lo; i < hi; i++ {
			s, box := &b.primitives[i], &items[i].box
			s.at = int32(i)
			for k := range 3 {
				s.box.min[k] = int32((box.min[k] - all.min[k]) * scale)
				s.box.max[k] = int32((box.max[k] - all.min[k]) * scale)
			}
		}
	})
	return b
}

func (b *builder) bounds(lo, hi int) gridBox {
	box := b.primitives[lo].box
	for i := lo + 1; i < hi; i++ {
		box.join(&b.primitives[i].box)
	}
	return box
}

func (b *gridBox) join(o *gridBox) {
	b.min[0] = min(b.min[0], o.min[0])
	b.min[1] = min(b.min[1], o.min[1])
	b.min[2] = min(b.min[2], o.min[2])
	b.max[0] = max(b.max[0], o.max[0])
	b.max[1] = max(b.max[1], o.max[1])
	b.max[2] = max(b.max[2], o.max[2])
}

// halfArea is half the surface, the measure of the heuristic.
func (b *gridBox) halfArea() float32 {
	x, y, z := float32(b.max[0]-b.min[0]), float32(b.max[1]-b.min[1]), float32(b.max[2]-b.min[2])
	return x*y + y*z + z*x
}

func (b *gridBox) longest() (axis int) {
	for k := 1; k < 3; k++ {
		if b.max[k]-b.min[k] > b.max[axis]-b.min[axis] {
			axis = k
		}
	}
	return axis
}

// build appends the subtree over primitives lo..hi, which box surrounds, to nodes.
// Only leaves know where their items are; boxes are filled in later.
func (b *builder) build(nodes []node, lo, hi, depth int, box gridBox) []node {
	self := len(nodes)
	nodes = append(nodes, node{right: int32(lo), count: int32(hi - lo)})
	if hi-lo <= leafFacets {
		return nodes
	}
	mid, left, right := b.split(lo, hi, depth, box)
	nodes[self].count = int32(-1 - box.longest())
	if hi-lo > parallelSize {
		select {
		case b.free <- struct{}{}:
			return b.buildBoth(nodes, self, lo, mid, hi, depth, left, right)
		default:
		}
	}
	nodes = b.build(nodes, lo, mid, depth+1, left)
	nodes[self].right = int32(len(nodes))
	return b.build(nodes, mid, hi, depth+1, right)
}

// buildBoth builds the right subtree in a goroutine of its own.
func (b *builder) buildBoth(nodes []node, self, lo, mid, hi, depth int, left, right gridBox) []node {
	var other []node
	var wg sync.WaitGroup
	wg.Go(func() {
		other = b.build(nil, mid, hi, depth+1, right)
		<-b.free
	})
	nodes = b.build(nodes, lo, mid, depth+1, left)
	wg.Wait()
	base := int32(len(nodes))
	nodes[self].right = base
	for _, n := range other {
		if n.inner() {
			n.right += base
		}
		nodes = append(nodes, n)
	}
	return nodes
}

// split reorders primitives lo..hi into two parts and returns the boxes of both.
func (b *builder) split(lo, hi, depth int, box gridBox) (mid int, left, right gridBox) {
	axis := box.longest()
	switch {
	case depth >= medianDepth:
		mid = lo
	case hi-lo <= smallNode:
		mid = b.part(lo, hi, axis, box.min[axis]+box.max[axis])
	default:
		if mid, left, right = b.splitBins(lo, hi, axis, box); mid > lo && mid < hi {
			return mid, left, right
		}
	}
	if mid == lo || mid == hi {
		mid = (lo + hi) / 2
	}
	return mid, b.bounds(lo, mid), b.bounds(mid, hi)
}

// part puts the primitives whose doubled middle is below the cut first.
func (b *builder) part(lo, hi, axis int, cut int32) int {
	i, j := lo, hi
	for i < j {
		s := &b.primitives[i]
		if s.box.min[axis]+s.box.max[axis] < cut {
			i++
			continue
		}
		j--
		b.primitives[i], b.primitives[j] = b.primitives[j], b.primitives[i]
	}
	return i
}

// splitBins parts the primitives between two of the bins along an axis, where that
// is cheapest.
func (b *builder) splitBins(lo, hi, axis int, box gridBox) (mid int, left, right gridBox) {
	start, width := 2*box.min[axis], (2*(box.max[axis]-box.min[axis]))/bins+1
	scale := 1 / float32(width)
	var count [bins]int32
	var boxes [bins]gridBox
	for i := range boxes {
		boxes[i] = noGridBox
	}
	for i := lo; i < hi; i++ {
		s := &b.primitives[i].box
		bin := uint(float32(s.min[axis]+s.max[axis]-start) * scale)
		bin = min(bin, bins-1)
		count[bin]++
		boxes[bin].join(s)
	}
	cut, left, right := cheapest(&count, &boxes)
	return b.partBins(lo, hi, axis, start, scale, cut), left, right
}

// partBins puts the primitives of bins up to cut first; rounding is as in splitBins.
func (b *builder) partBins(lo, hi, axis int, start int32, scale float32, cut uint) int {
	i, j := lo, hi
	for i < j {
		s := &b.primitives[i].box
		bin := uint(float32(s.min[axis]+s.max[axis]-start) * scale)
		if min(bin, bins-1) <= cut {
			i++
			continue
		}
		j--
		b.primitives[i], b.primitives[j] = b.primitives[j], b.primitives[i]
	}
	return i
}

var noGridBox = gridBox{[3]int32{math.MaxInt32, math.MaxInt32, math.MaxInt32}, [3]int32{math.MinInt32, math.MinInt32, math.MinInt32}}

// cheapest returns the last bin of the left part, and the boxes of both parts.
func cheapest(count *[bins]int32, boxes *[bins]gridBox) (cut uint, left, right gridBox) {
	var rights [bins]gridBox
	var rightCost [bins]float32
	box, n := noGridBox, int32(0)
	for i := bins - 1; i > 0; i-- {
		if count[i] > 0 {
			box.join(&boxes[i])
			n += count[i]
			rightCost[i] = box.halfArea() * float32(n)
		} else if i < bins-1 {
			rightCost[i] = rightCost[i+1]
		}
		rights[i] = box
	}
	best := float32(math.Inf(1))
	box, n = noGridBox, 0
	for i := range bins - 1 {
		if count[i] == 0 {
			continue
		}
		box.join(&boxes[i])
		n += count[i]
		if c := box.halfArea()*float32(n) + rightCost[i+1]; c < best && rightCost[i+1] >= 0 {
			best, cut, left, right = c, uint(i), box, rights[i+1]
		}
	}
	return cut, left, right
}
