package mesh

import (
	"runtime"
	"sync"
)

// spread calls f on consecutive ranges that cover 0..n, side by side. The
// ranges depend on n and grain alone, so that sums over them come out the same
// on every machine; part numbers them.
func spread(n, grain int, f func(part, lo, hi int)) {
	parts := (n + grain - 1) / grain
	workers := min(runtime.GOMAXPROCS(0), parts)
	if workers <= 1 {
		for p := range parts {
			f(p, p*grain, min(n, (p+1)*grain))
		}
		return
	}
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for p := w; p < parts; p += workers {
				f(p, p*grain, min(n, (p+1)*grain))
			}
		})
	}
	wg.Wait()
}
