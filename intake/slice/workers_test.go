package slice

import (
	"runtime"
	"slices"
	"sync"
	"testing"
)

// TestRunsDoNotDependOnWorkers: which runs are done after one gave up is the same for
// one worker and for many, and nobody waits for ever.
func TestRunsDoNotDependOnWorkers(t *testing.T) {
	for _, fails := range [][]int{nil, {0}, {5}, {7, 3, 90}, {60, 61, 62}, {99}} {
		var first []int
		for _, workers := range []int{1, 2, 5, 40, 200} {
			var mu sync.Mutex
			var done []int
			err := inRuns(t.Context(), 1000, 10, workers, func(_, from, to int) bool {
				runtime.Gosched()
				mu.Lock()
				defer mu.Unlock()
				done = append(done, from/10)
				return !slices.Contains(fails, from/10)
			})
			if err != nil {
				t.Fatal(err)
			}
			slices.Sort(done)
			if first == nil {
				first = done
			}
			if !slices.Equal(done, first) {
				t.Errorf("%d workers, failing at %v: runs %v; one worker: %v", workers, fails, done, first)
			}
		}
		if want := 100; fails != nil {
			want = min(100, slices.Min(fails)+runsAhead)
			if len(first) != want {
				t.Errorf("failing at %v: %d runs are done, want %d", fails, len(first), want)
			}
		} else if len(first) != want {
			t.Errorf("%d of %d runs are done", len(first), want)
		}
	}
}
