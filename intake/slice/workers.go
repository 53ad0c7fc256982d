package slice

import (
	"context"
	"sync"

	"meshclerk/intake/parallel"
)

// sharers is the number of parts that simple work is divided into.
const sharers = 4

// shared divides 0..n into a few runs, which are done side by side, each with its number.
func shared(n int, work func(k, from, to int)) {
	parallel.Do(sharers, func(k int) { work(k, k*n/sharers, (k+1)*n/sharers) })
}

// runsAhead is how far behind a run that gave up others are still done.
const runsAhead = 16

// inRuns hands out runs of 0..n to workers until all are done or the context is.
// A run that gives up, whose work reports false, lets no run begin that lies
// runsAhead or more behind it; all before are done. So it depends on the work
// alone, and not on the workers, which runs are done.
func inRuns(ctx context.Context, n, run, workers int, work func(worker, from, to int) bool) error {
	r := newRuns((n + run - 1) / run)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for ctx.Err() == nil {
				k, ok := r.next()
				if !ok {
					return
				}
				r.end(k, work(w, k*run, min((k+1)*run, n)))
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}

// runs are handed out in order.
type runs struct {
	sync.Mutex
	more   *sync.Cond
	given  int
	ended  []bool
	front  int // the first that has not ended
	gaveUp int // the first that gave up
}

func newRuns(n int) *runs {
	r := &runs{ended: make([]bool, n), gaveUp: n + runsAhead}
	r.more = sync.NewCond(r)
	return r
}

// next gives the next run, once it is known of all that lie runsAhead before it
// whether they gave up.
func (r *runs) next() (k int, ok bool) {
	r.Lock()
	defer r.Unlock()
	if r.given >= len(r.ended) {
		return 0, false
	}
	k = r.given
	r.given++
	for r.front <= k-runsAhead {
		r.more.Wait()
	}
	if r.gaveUp <= k-runsAhead {
		r.given = len(r.ended)
		r.finish(k)
		return 0, false
	}
	return k, true
}

func (r *runs) end(k int, good bool) {
	r.Lock()
	defer r.Unlock()
	if !good {
		r.gaveUp = min(r.gaveUp, k)
	}
	r.finish(k)
}

func (r *runs) finish(k int) {
	r.ended[k] = true
	for r.front < len(r.ended) && r.ended[r.front] {
		r.front++
	}
	r.more.Broadcast()
}
