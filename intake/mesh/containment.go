package mesh

import "context"

// containmentWork bounds the work of findContainment: nodes of the tree that its rays may visit,
// less than a second's worth. Shells that are left when it is used up count as bodies
// side by side.
const containmentWork = 10_000_000

// findContainment finds out which shells lie inside others, and from that which are
// bodies, which are voids, and which are inside out.
func (t *Topology) findContainment(ctx context.Context) error {
	if len(t.Shells) > 1 {
		n := containment{t: t, boxes: shellBoxes(t.Shells), work: containmentWork}
		for i := range t.Shells {
			if err := ctx.Err(); err != nil {
				return err
			}
			if n.work > 0 && n.couldBeInside(i) {
				t.Shells[i].Inside = n.container(i)
			}
		}
		t.NestingUnsure = n.work <= 0
		t.meter.Spend(containmentWork - n.work)
	}
	done := make([]bool, len(t.Shells))
	for i := range t.Shells {
		t.findRole(i, done)
	}
	return nil
}

// containment searches for the shell around each shell. A shell counts as inside
// another only if its box is, so shells that cross are side by side.
type containment struct {
	t     *Topology
	boxes tree
	work  int // left
}

// shellBoxes is a tree over the shells that can hold others.
func shellBoxes(shells []Shell) tree {
	var items []item
	for i := range shells {
		if s := &shells[i]; s.reliable() {
			items = append(items, item{outward(&s.Box.Min, &s.Box.Max, &s.Box.Max), int32(i)})
		}
	}
	return newTree(items)
}

// holds reports whether shell j is larger than shell i and its box around that of i.
func (n *containment) holds(j, i int) bool {
	outer, inner := &n.t.Shells[j], &n.t.Shells[i]
	if i == j || outer.Volume*outer.Volume <= inner.Volume*inner.Volume {
		return false
	}
	for k := range 3 {
		if inner.Box.Min[k] < outer.Box.Min[k] || inner.Box.Max[k] > outer.Box.Max[k] {
			return false
		}
	}
	return true
}

// couldBeInside reports whether some shell's box lies around that of shell i.
func (n *containment) couldBeInside(i int) bool {
	if len(n.boxes.nodes) == 0 {
		return false
	}
	own := &n.t.Shells[i].Box
	var stack [stackDepth]int32
	for top := 1; top > 0; n.work-- {
		top--
		at := stack[top]
		node := &n.boxes.nodes[at]
		if !node.box.encloses(own) {
			continue
		}
		if node.inner() {
			stack[top], stack[top+1] = node.right, at+1
			top += 2
			continue
		}
		for _, it := range n.boxes.leaf(node) {
			if n.holds(int(it.id), i) {
				return true
			}
		}
	}
	return false
}

// probes are directions along no axis or diagonal.
var probes = [...]Vec{
	{0.531, 0.297, 0.794}, {-0.621, 0.437, 0.651}, {0.273, -0.812, 0.517},
	{-0.389, -0.281, -0.877}, {0.871, 0.113, -0.477}, {-0.157, 0.922, -0.354},
}

// container returns the innermost shell around shell i, or -1: what two rays
// from a point inside shell i agree on, since one may leave through a hole.
func (n *containment) container(i int) int {
	p := n.within(i)
	votes := map[int]int{}
	for _, dir := range probes {
		j, ok := n.leaves(i, p, dir)
		if !ok {
			continue
		}
		if votes[j]++; votes[j] == 2 {
			return j
		}
	}
	return -1
}

// leaves follows the ray from p until it leaves a shell that it did not enter
// on its way: that one is around p. It gives up where the ray runs through an edge.
func (n *containment) leaves(i int, p, dir Vec) (shell int, ok bool) {
	t := n.t
	entered := map[int]int{}
	ray, at := newRay(p, dir), 0.0
	defer func() { n.work -= ray.visited }()
	for ray.visited < n.work {
		f, next, found := t.BVH().first(&ray, at, 1e30)
		if !found {
			return -1, true
		}
		a, b, c := t.mesh.Corners(f)
		if onRim(p.Add(dir.Mul(next)), a, b, c) {
			return 0, false
		}
		at = next + next*1e-12 + 1e-300
		j := int(t.ShellOf[f])
		if !t.Shells[j].reliable() || !n.holds(j, i) {
			continue
		}
		if t.facesInward(f, dir) {
			entered[j]++
			continue
		}
		if entered[j]--; entered[j] < 0 {
			return j, true
		}
	}
	return 0, false
}

// facesInward reports whether a ray along dir enters the shell of facet f there.
func (t *Topology) facesInward(f int, dir Vec) bool {
	return t.outwardNormal(f).Dot(dir) < 0
}

// outwardNormal points out of what the facet's shell encloses, whichever way
// the facet and the shell are wound. Its length is twice the area.
func (t *Topology) outwardNormal(f int) Vec {
	a, b, c := t.mesh.Corners(f)
	n := b.Sub(a).Cross(c.Sub(a))
	if (t.reversed != nil && t.reversed[f]) != (t.Shells[t.ShellOf[f]].Volume < 0) {
		return n.Mul(-1)
	}
	return n
}

// onRim reports whether a point of a facet is so near its rim that rounding decides.
func onRim(p, a, b, c Vec) bool {
	n := b.Sub(a).Cross(c.Sub(a))
	whole := n.Dot(n)
	for _, e := range [3][2]Vec{{a, b}, {b, c}, {c, a}} {
		if e[1].Sub(e[0]).Cross(p.Sub(e[0])).Dot(n) < 1e-9*whole {
			return true
		}
	}
	return false
}

// within returns a point inside shell i: half way from the middle of its first
// facet with some area to the shell's facet across; of an open one, the middle.
func (n *containment) within(i int) Vec {
	t := n.t
	for f := t.Shells[i].anchor; f < len(t.ShellOf); f++ {
		if int(t.ShellOf[f]) != i {
			continue
		}
		normal := t.outwardNormal(f)
		if normal.Len() == 0 {
			continue
		}
		a, b, c := t.mesh.Corners(f)
		middle := a.Add(b).Add(c).Mul(1.0 / 3)
		if !t.Shells[i].Closed {
			return middle
		}
		return n.halfWay(i, middle, normal.Mul(-1/normal.Len()))
	}
	return t.Shells[i].Box.Min
}

func (n *containment) halfWay(i int, p, dir Vec) Vec {
	ray, at := newRay(p, dir), 1e-9*n.t.Shells[i].Box.Size().Len()
	defer func() { n.work -= ray.visited }()
	for ray.visited < n.work {
		f, next, ok := n.t.BVH().first(&ray, at, 1e30)
		if !ok {
			break
		}
		if int(n.t.ShellOf[f]) == i {
			return p.Add(dir.Mul(next / 2))
		}
		at = next + next*1e-12
	}
	return p
}

// findRole tells bodies from voids. A shell that lies in no other is a body; if
// its volume is negative it is inside out. A shell directly inside a body is a
// void when it is wound the other way than the body, and also when both are
// wound inward, since then the body alone was turned. A shell wound outward
// inside a body that is wound outward is a body again, which a printer merges.
func (t *Topology) findRole(i int, done []bool) {
	var chain []int // from i outward as far as not done; each is larger than the last
	for ; i >= 0 && !done[i]; i = t.Shells[i].Inside {
		done[i] = true
		chain = append(chain, i)
	}
	for k := len(chain) - 1; k >= 0; k-- {
		s := &t.Shells[chain[k]]
		outward := s.Volume >= 0
		switch {
		case s.Inside < 0 || t.Shells[s.Inside].Void:
			s.Outer = true
			s.InsideOut = !outward && s.reliable()
		case t.Shells[s.Inside].InsideOut:
			s.Void = true
			s.InsideOut = outward
		default:
			s.Void = !outward && s.Closed
			s.Outer = !s.Void
		}
	}
}

// reliable reports whether the sign of the shell's volume means something: that of a
// sheet does not.
func (s *Shell) reliable() bool {
	if s.Closed {
		return hasVolume(s.Volume, s.Area, 1e-9)
	}
	return hasVolume(s.Volume, s.Area, 0.02)
}
