package slice

import (
	"context"
	"sync"
	"sync/atomic"
)

// sharers is among how many workers simple work is divided.
const sharers = 4

// shared divides 0..n among a few workers, each getting its number and one run.
func shared(n int, work func(k, from, to int)) {
	var wg sync.WaitGroup
	for k := range sharers {
		wg.Go(func() { work(k, k*n/sharers, (k+1)*n/sharers) })
	}
	wg.Wait()
}

// inRuns hands out runs of 0..n to workers until all are done or the context is.
func inRuns(ctx context.Context, n, run, workers int, work func(worker, from, to int)) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for ctx.Err() == nil {
				from := int(next.Add(int64(run))) - run
				if from >= n {
					return
				}
				work(w, from, min(from+run, n))
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}
