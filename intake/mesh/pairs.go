package mesh

import (
	"context"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"meshclerk/intake/budget"
)

// SelfPairs calls visit once for each pair of facets whose boxes come within
// margin of each other along every axis. Work is shared out among goroutines;
// visit is called by several of them at a time, with the number of the task,
// from 0 to tasks-1, that a pair belongs to. Tasks and the order of pairs in
// each do not depend on the number of cores, nor does where the search ends when
// it has compared about most pairs (0 is no bound); complete is false then. It
// stops early when ctx ends.
func (b *BVH) SelfPairs(ctx context.Context, margin float64, most int, prepare func(tasks int), visit func(task int, f, g int32)) (complete bool, err error) {
	if len(b.nodes) == 0 {
		prepare(0)
		return true, ctx.Err()
	}
	tasks := b.pairTasks(float32(margin))
	prepare(len(tasks))
	s := pairSearch{meter: budget.From(ctx)}
	for i, p := range tasks {
		s.walks = append(s.walks, &pairWalk{tree: &b.tree, margin: float32(margin), task: i, stack: []nodePair{p}, visit: visit})
	}
	for left := most; len(s.walks) > 0 && ctx.Err() == nil; {
		quota := math.MaxInt
		if most > 0 {
			if quota = left / len(s.walks); quota < 1 {
				return false, ctx.Err()
			}
		}
		left -= s.round(ctx, quota)
	}
	return true, ctx.Err()
}

// pairSearch is the walks that are not at their end. They go on in rounds, in each
// of which every one may make as many comparisons: so it depends on the mesh alone
// what has been compared when there may be no more.
type pairSearch struct {
	meter *budget.Meter
	walks []*pairWalk
}

// round takes every walk on by a quota and returns the comparisons that took.
func (s *pairSearch) round(ctx context.Context, quota int) (made int) {
	var next, sum atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(s.walks)) {
		wg.Go(func() {
			for i := int(next.Add(1) - 1); i < len(s.walks) && ctx.Err() == nil; i = int(next.Add(1) - 1) {
				sum.Add(int64(s.walks[i].run(ctx, s.meter, quota)))
			}
		})
	}
	wg.Wait()
	s.walks = slices.DeleteFunc(s.walks, func(w *pairWalk) bool { return len(w.stack) == 0 })
	return int(sum.Load())
}

// nodePair is two nodes whose facets are to be paired; the same node twice for
// the pairs within it.
type nodePair struct{ a, b int32 }

// pairTasks opens the pair of the root with itself into some hundred.
func (t *tree) pairTasks(margin float32) []nodePair {
	tasks := []nodePair{{0, 0}}
	w := pairWalk{tree: t, margin: margin}
	for range 9 {
		var finer []nodePair
		for _, p := range tasks {
			w.stack = w.stack[:0]
			if !w.open(p) {
				finer = append(finer, p)
			}
			finer = append(finer, w.stack...)
		}
		tasks = finer
	}
	return tasks
}

type pairWalk struct {
	tree   *tree
	margin float32
	task   int
	stack  []nodePair
	visit  func(task int, f, g int32)
}

// visitCost is what a visit counts beside the comparison of two boxes, which is one.
const visitCost = 16

// run goes on until a quota of comparisons is made, or a little more, and gives
// their number.
func (w *pairWalk) run(ctx context.Context, meter *budget.Meter, quota int) (made int) {
	const piece = 4096
	counted := 0
	for len(w.stack) > 0 && made < quota {
		p := w.stack[len(w.stack)-1]
		w.stack = w.stack[:len(w.stack)-1]
		if made++; !w.open(p) {
			made += w.pairLeaves(p)
		}
		if made-counted >= piece {
			meter.Spend(made - counted)
			if counted = made; ctx.Err() != nil {
				return made
			}
		}
	}
	meter.Spend(made - counted)
	return made
}

// open pushes the pairs that a pair of nodes consists of; false for leaves.
func (w *pairWalk) open(p nodePair) bool {
	a, b := &w.tree.nodes[p.a], &w.tree.nodes[p.b]
	switch {
	case p.a == p.b:
		if a.count > 0 {
			return false
		}
		w.push(p.a+1, a.right)
		w.stack = append(w.stack, nodePair{a.right, a.right}, nodePair{p.a + 1, p.a + 1})
	case a.count > 0 && b.count > 0:
		return false
	case b.count > 0 || a.inner() && a.box.halfArea() >= b.box.halfArea():
		w.push(p.a+1, p.b)
		w.push(a.right, p.b)
	default:
		w.push(p.a, p.b+1)
		w.push(p.a, b.right)
	}
	return true
}

func (w *pairWalk) push(a, b int32) {
	if w.tree.nodes[a].box.near(&w.tree.nodes[b].box, w.margin) {
		w.stack = append(w.stack, nodePair{a, b})
	}
}

// pairLeaves returns what it cost, in comparisons of boxes.
func (w *pairWalk) pairLeaves(p nodePair) (cost int) {
	as, bs := w.tree.leaf(&w.tree.nodes[p.a]), w.tree.leaf(&w.tree.nodes[p.b])
	for i := range as {
		if p.a == p.b {
			bs = as[i+1:]
		}
		cost += len(bs)
		for j := range bs {
			if as[i].box.near(&bs[j].box, w.margin) {
				cost += visitCost
				w.visit(w.task, as[i].id, bs[j].id)
			}
		}
	}
	return cost
}
