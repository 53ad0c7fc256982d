package casework

import (
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// The wait told in a quote grows with what is ahead on the printer's list.
func TestWaitGrowsWithTheList(t *testing.T) {
	q := queue{now: time.Now(), perDay: 10 * 3600}
	job8 := func(s job.Stage, printer string) ledger.Row {
		return ledger.Row{ID: job.ID(s), Stage: s, Printer: printer, PrintTimeS: 8 * 3600, Since: q.now.Add(-2 * time.Hour)}
	}
	late := func(hours float64) ledger.Row { // longer under way than was estimated
		return ledger.Row{ID: "late", Stage: job.Printing, Printer: "A", PrintTimeS: hours * 3600, Since: q.now.Add(-48 * time.Hour)}
	}
	own := span{2 * 3600, 3 * 3600}
	for _, c := range []struct {
		rows      []ledger.Row
		count     float64
		low, high int
	}{
		{nil, 1, 1, 1}, // 2 to 3 of 10 hours a day
		{[]ledger.Row{job8(job.Agreed, "A")}, 1, 1, 2},                          // 8 + 2 = 10; 8 + 3 = 11
		{[]ledger.Row{job8(job.Agreed, "B")}, 1, 1, 1},                          // another printer's
		{[]ledger.Row{job8(job.Agreed, "A"), job8(job.Failed, "A")}, 1, 2, 2},   // 18; 19
		{[]ledger.Row{job8(job.Agreed, "A"), job8(job.Failed, "A")}, 2, 1, 2},   // shared by two: 10; 11
		{[]ledger.Row{job8(job.Printing, "A")}, 1, 1, 1},                        // 6 of 8 are left: 8; 9
		{[]ledger.Row{late(28)}, 1, 1, 1},                                       // a quarter of it may still go on: 2; 7 + 3 = 10
		{[]ledger.Row{late(28.1)}, 1, 1, 2},                                     // 2; a little over 10
		{[]ledger.Row{job8(job.Quoted, "A")}, 1, 1, 2},                          // may be accepted first: 2; 11
		{[]ledger.Row{job8(job.Ready, "A"), job8(job.Collected, "A")}, 1, 1, 1}, // done with
	} {
		q.rows = c.rows
		if got := q.days("A", own, c.count); got.Low != c.low || got.High != c.high {
			t.Errorf("%v on %g machines: %d to %d days, want %d to %d", c.rows, c.count, got.Low, got.High, c.low, c.high)
		}
	}
}

// The machines of a kind share what is ahead, and none of them the job itself: a print of
// twenty-five hours takes three days of ten hours however many machines there are.
func TestOwnTimeIsNotSharedAmongMachines(t *testing.T) {
	q := queue{now: time.Now(), perDay: 10 * 3600}
	ahead := []ledger.Row{{ID: "ahead", Stage: job.Agreed, Printer: "A", PrintTimeS: 40 * 3600, Since: q.now}}
	for _, c := range []struct {
		rows      []ledger.Row
		count     float64
		low, high int
	}{
		{nil, 1, 3, 4}, {nil, 2, 3, 4}, {nil, 4, 3, 4}, // 25 to 35
		{ahead, 1, 7, 8}, // 65 to 75
		{ahead, 2, 5, 6}, // 20 + 25 to 20 + 35
		{ahead, 4, 4, 5}, // 10 + 25 to 10 + 35
	} {
		q.rows = c.rows
		if got := q.days("A", span{25 * 3600, 35 * 3600}, c.count); got.Low != c.low || got.High != c.high {
			t.Errorf("%d ahead on %g machines: %d to %d days, want %d to %d", len(c.rows), c.count, got.Low, got.High, c.low, c.high)
		}
	}
}
