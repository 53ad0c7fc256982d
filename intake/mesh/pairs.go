package mesh

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// SelfPairs calls visit once for each pair of facets whose boxes come within
// margin of each other along every axis. Work is shared out among goroutines;
// visit is called by several of them at a time, with the number of the task,
// from 0 to tasks-1, that a pair belongs to. Tasks and the order of pairs in
// each do not depend on the number of cores. It stops early when ctx ends.
func (b *BVH) SelfPairs(ctx context.Context, margin float64, prepare func(tasks int), visit func(task int, f, g int32)) error {
	if len(b.nodes) == 0 {
		prepare(0)
		return ctx.Err()
	}
	tasks := b.pairTasks(float32(margin))
	prepare(len(tasks))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(tasks)) {
		wg.Go(func() {
			w := pairWalk{tree: &b.tree, margin: float32(margin), visit: visit}
			for i := int(next.Add(1) - 1); i < len(tasks) && ctx.Err() == nil; i = int(next.Add(1) - 1) {
				w.task = i
				w.run(ctx, tasks[i])
			}
		})
	}
	wg.Wait()
	return ctx.Err()
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

func (w *pairWalk) run(ctx context.Context, p nodePair) {
	w.stack = append(w.stack[:0], p)
	for n := 1; len(w.stack) > 0; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return
		}
		p := w.stack[len(w.stack)-1]
		w.stack = w.stack[:len(w.stack)-1]
		if !w.open(p) {
			w.pairLeaves(p)
		}
	}
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

func (w *pairWalk) pairLeaves(p nodePair) {
	as, bs := w.tree.leaf(&w.tree.nodes[p.a]), w.tree.leaf(&w.tree.nodes[p.b])
	for i := range as {
		if p.a == p.b {
			bs = as[i+1:]
		}
		for j := range bs {
			if as[i].box.near(&bs[j].box, w.margin) {
				w.visit(w.task, as[i].id, bs[j].id)
			}
		}
	}
}
