package preflight

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"testing"

	"meshclerk/intake/budget"
	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// slats are tall boards that stand across each other: every layer is a tangle of outlines.
func slats(n int) *mesh.Mesh {
	rnd := random(10)
	var all []*mesh.Mesh
	for range n {
		board := shapes.Rotated(shapes.Box(60, 0.8, 20), mesh.Vec{0, 0, 1}, 360*rnd.Float64())
		all = append(all, shapes.Moved(board, 12*rnd.Float64(), 12*rnd.Float64(), 0))
	}
	return shapes.Merge(all...)
}

// workloads are files that cost their work in different places of the check.
func workloads() map[string]*mesh.Mesh {
	return map[string]*mesh.Mesh{
		"boards":               slats(12),
		"facets anywhere":      soup(1, 200, 150), // the slicer gives up: a tangle
		"gravel":               dust(60, 6),
		"bodies wound at will": shapes.Flipped(shapes.Merge(cube(20), shapes.Moved(shapes.UVSphere(12, 24, 24), 10, 10, 12)), 1, 5, 40, 41, 90),
	}
}

// underLoad runs f with so many cores of the program's own, while as many others
// of its goroutines keep them busy.
func underLoad(procs int, f func()) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(procs))
	ctx, stop := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	for range procs {
		wg.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				if n%1000 == 0 {
					runtime.Gosched()
				}
			}
		})
	}
	f()
	stop()
	wg.Wait()
}

func asJSON(t *testing.T, r job.Report) string {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestTheSameReportOnABusyMachine: what a check costs is counted in work, so the
// same file takes the same number of units, and gives the same report to the byte,
// on one core of a busy machine and on several.
func TestTheSameReportOnABusyMachine(t *testing.T) {
	for name, m := range workloads() {
		t.Run(name, func(t *testing.T) {
			path := saved(t, m)
			var first string
			for _, procs := range []int{1, 4} {
				underLoad(procs, func() {
					units, report := measured(t, path, 1<<60)
					if got := fmt.Sprint(units, " units: ", report); first == "" {
						first = got
					} else if got != first {
						t.Errorf("with %d busy cores\n%s\nwith one\n%s", procs, got, first)
					}
				})
			}
		})
	}
}

// measured checks a file with so many units and gives what was spent.
func measured(t *testing.T, path string, units int64) (spent int64, report string) {
	t.Helper()
	ctx, cancel := budget.With(t.Context(), units)
	defer cancel()
	r := rules.Default()
	r.Caps.CheckWork = 0 // the context's counts
	report = asJSON(t, Check(ctx, path, r, job.Settings{}, Options{WhatIf: true}))
	return budget.From(ctx).Spent(), report
}

// TestUnfinished: with one unit less than it needs, or with any part of them, a
// check says that it was not finished and nothing else: no finding but that, no
// estimate, no advice to print; with all of them it is finished. Where it ran out
// does not show the machine: the reports are equal to the byte.
func TestUnfinished(t *testing.T) {
	for name, m := range workloads() {
		t.Run(name, func(t *testing.T) {
			path := saved(t, m)
			all, whole := measured(t, path, 1<<60)
			if _, got := measured(t, path, all); got != whole {
				t.Errorf("with just enough units\n%s\nwith more\n%s", got, whole)
			}
			for _, units := range []int64{0, 1000, all / 2, all - 1} {
				_, first := measured(t, path, units)
				var r job.Report
				if err := json.Unmarshal([]byte(first), &r); err != nil {
					t.Fatal(err)
				}
				if !r.Unfinished || r.Estimate != nil || r.Quote != nil || r.Orientation != nil || len(r.Findings) != 1 ||
					r.Findings[0].Code != job.CodeUnfinished || r.Findings[0].Level != job.Stop {
					t.Fatalf("with %d of %d units: %s", units, all, first)
				}
				if units == 0 || units == 1000 {
					continue
				}
				underLoad(2, func() {
					if _, again := measured(t, path, units); again != first {
						t.Errorf("with %d of %d units, first\n%s\nthen\n%s", units, all, first, again)
					}
				})
			}
		})
	}
}

// The rules' own bound counts millions of units, and the report names it. No rule
// takes the sting out of the finding.
func TestCheckWork(t *testing.T) {
	path := saved(t, ball(10_000))
	r := rules.Default()
	r.Caps.CheckWork = 1
	for code, c := range r.Checks.Check {
		c.Level = "off"
		r.Checks.Check[code] = c
	}
	got := Check(t.Context(), path, r, job.Settings{}, Options{})
	if !got.Unfinished || !strings.Contains(words(got.Error), "cut.work") || !strings.Contains(words(got.Error), `"work":1}`) {
		t.Errorf("%+v", got)
	}
	if len(got.Findings) != 1 || got.Findings[0].Level != job.Stop {
		t.Errorf("findings %+v", got.Findings)
	}
}

// A part that nothing stops but of which no time can be told is not finished either.
func TestWithoutEstimateIsUnfinished(t *testing.T) {
	var floors []*mesh.Mesh // more to look up from than the slicer does
	for i := range 60 {
		floors = append(floors, shapes.Moved(shapes.Box(150, 150, 1.25), 0, 0, 2.5*float64(i)))
	}
	r := checked(t, shapes.Merge(floors...), job.Settings{})
	if r.Estimate != nil {
		t.Fatalf("it could be estimated, so this proves nothing: %s", tell(r))
	}
	if !r.Unfinished || r.Error.IsZero() || r.Findings[0].Code != job.CodeUnfinished {
		t.Errorf("%s", tell(r))
	}
}
