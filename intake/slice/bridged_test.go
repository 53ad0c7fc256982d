package slice

import (
	"context"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// Counting flat runs first saves comparisons, and changes nothing.
func TestLevelRuns(t *testing.T) {
	long, short := 0, 0
	for _, m := range append(manyParts(), joined(box(0, 0, 0, 3, 3, 30), box(30, 0, 0, 3, 3, 30), box(0, 0, 29, 33, 12, 4)), shapes.Mushroom(80, 8, 30, 50), box(0, 0, 5, 9, 40, 3),
		shapes.OnBed(shapes.Rotated(shapes.OpenBox(40, 40, 30, 2), mesh.Vec{1, 0, 0}, 180))) {
		p, part := prepared(t, m, inputFor(t, m, job.Settings{}))
		g := newSupportGrid(p, part)
		all, err := g.hits(context.Background(), p, part)
		if err != nil {
			t.Fatal(err)
		}
		hits, starts := g.sortHits(all)
		under := g.gaps(hits, starts)
		s := g.spannerOf(context.Background(), p, under, hits, starts)
		got, runs := s.bridged(), s.flatRuns(1)
		for i := range under {
			if want := s.spans(&under[i], 1, new(uncounted)) || s.spans(&under[i], g.nx, new(uncounted)); got[i] != want {
				t.Fatalf("gap %d: bridged is %t", i, got[i])
			}
			if int(runs[i]) > s.longest {
				long++
			} else {
				short++
			}
		}
	}
	if long < 1000 || short < 1000 {
		t.Errorf("%d long and %d short runs prove little", long, short)
	}
}
