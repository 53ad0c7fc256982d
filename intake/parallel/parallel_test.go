package parallel_test

import (
	"fmt"
	"runtime"
	"slices"
	"testing"

	"meshclerk/intake/parallel"
)

// Every part is done once, whatever the number of cores.
func TestDo(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, cores := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(cores)
		for _, parts := range []int{0, 1, 2, 7, 100} {
			done := make([]int, parts)
			parallel.Do(parts, func(p int) { done[p]++ })
			if slices.ContainsFunc(done, func(n int) bool { return n != 1 }) {
				t.Errorf("%d cores, %d parts: done %v times", cores, parts, done)
			}
		}
	}
}

func ExampleDo() {
	squares := make([]int, 5)
	parallel.Do(len(squares), func(i int) { squares[i] = i * i })
	fmt.Println(squares)
	// Output: [0 1 4 9 16]
}
