package mesh_test

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"meshclerk/intake/mesh"
)

func TestTry(t *testing.T) {
	for _, a := range os.Args {
		if len(a) < 4 || a[0] != '@' {
			continue
		}
		t0 := time.Now()
		m, f, err := mesh.ReadFile(context.Background(), a[1:], mesh.Limits{Facets: 20e6, Bytes: 2e9})
		t1 := time.Now()
		if err != nil {
			fmt.Println(a, "ERR", err)
			continue
		}
		top, err := mesh.Examine(context.Background(), m, f, mesh.Options{SkipCrossings: true})
		t2 := time.Now()
		top2, err := mesh.Examine(context.Background(), m, f, mesh.Options{})
		t3 := time.Now()
		_ = top
		fmt.Printf("%s\n  %s facets %d deg %d dup %d tol %g %q\n  %+v\n  read %v examine %v crossings %v\n", a, f.Format, f.Facets, f.Degenerate, f.Duplicate, f.WeldTolerance, f.Notes, top2.Shape, t1.Sub(t0), t2.Sub(t1), t3.Sub(t2)-t2.Sub(t1))
	}
}
