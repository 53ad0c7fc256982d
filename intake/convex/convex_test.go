package convex_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"meshclerk/intake/convex"
)

type point struct{ x, y int64 }

func compare(a, b point) int        { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) }
func side(a, b, c point) int64      { return (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) }
func hullOf(points []point) []point { return convex.Hull(points, compare, side) }

// By the definition: the corners turn left, and no point lies outside an edge.
func TestHull(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := range 60 {
		points := make([]point, n)
		for i := range points {
			points[i] = point{r.Int64N(20), r.Int64N(20)}
		}
		before := slices.Clone(points)
		got := hullOf(points)
		if !slices.Equal(points, before) {
			t.Fatal("the points were changed")
		}
		if len(got) < 3 {
			continue // all on a line, or too few: there is no edge
		}
		for i, a := range got {
			b, c := got[(i+1)%len(got)], got[(i+2)%len(got)]
			if side(a, b, c) <= 0 {
				t.Errorf("%v: no left turn at %v", points, b)
			}
			for _, p := range points {
				if side(a, b, p) < 0 {
					t.Errorf("%v: %v is outside", points, p)
				}
			}
		}
	}
}

func TestFewPoints(t *testing.T) {
	for _, c := range []struct{ points, want []point }{
		{nil, nil},
		{[]point{{1, 1}, {1, 1}}, []point{{1, 1}}},
		{[]point{{2, 0}, {0, 0}, {2, 0}}, []point{{0, 0}, {2, 0}}},
		{[]point{{2, 2}, {0, 0}, {1, 1}}, []point{{0, 0}, {2, 2}}},
	} {
		if got := hullOf(c.points); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.points, got, c.want)
		}
	}
}

func ExampleHull() {
	square := []point{{0, 0}, {2, 0}, {1, 1}, {2, 2}, {0, 2}}
	fmt.Println(convex.Hull(square, compare, side))
	// Output: [{0 0} {2 0} {2 2} {0 2}]
}
