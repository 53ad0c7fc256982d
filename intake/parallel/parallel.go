// Package parallel shares work out among the cores. It decides only who does a
// part, never what the parts are: a caller that divides its work by the input
// alone gets the same result on every machine.
package parallel

import (
	"runtime"
	"sync"
)

// Do calls f for each part from 0 to parts-1, several at a time, at most as many
// as there are cores, and returns when all are done. With one core, or one part,
// they are done in order by the caller.
func Do(parts int, f func(part int)) {
	workers := min(runtime.GOMAXPROCS(0), parts)
	if workers <= 1 {
		for p := range parts {
			f(p)
		}
		return
	}
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for p := w; p < parts; p += workers {
				f(p)
			}
		})
	}
	wg.Wait()
}
