package ledger

import (
	"testing"
	"time"
)

// What is taken back stays on record, marked, and counts nowhere; what was recorded
// before, and of other jobs, stays as it is.
func TestTakenBackCountsNowhere(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j, other := newJob(t, l, taken(t, l, 1, "a")), newJob(t, l, taken(t, l, 2, "b"))
	record := func(hours float64, paid string) {
		do(t, l, func(tx *Tx) error {
			if err := tx.RecordPrint(ctx, j.ID, "Bench 1", hours, 9, true, "Bo Example"); err != nil {
				return err
			}
			return tx.RecordPayment(ctx, j.ID, paid, "CAD", "Bo Example")
		})
	}
	record(1, "1.50")
	do(t, l, func(tx *Tx) error { return tx.RecordPayment(ctx, other.ID, "2.00", "CAD", "Bo Example") })
	clock.pass(time.Hour)
	since := clock.Now()
	record(2, "3.40")
	clock.pass(time.Hour)
	do(t, l, func(tx *Tx) error { return tx.TakeBack(ctx, j.ID, since) })

	prints, err := l.PrintsOf(ctx, j.ID)
	if err != nil || len(prints) != 2 || !prints[0].TakenBack.IsZero() || prints[1].TakenBack.IsZero() {
		t.Errorf("%+v, %v", prints, err)
	}
	if counted, err := l.Prints(ctx, "Bench 1", ""); err != nil || len(counted) != 1 || counted[0].Hours != 1 {
		t.Errorf("what teaches: %+v, %v", counted, err)
	}
	if paid, err := l.Payments(ctx, j.ID); err != nil || len(paid) != 1 || paid[0].Amount != "1.50" {
		t.Errorf("what was paid: %+v, %v", paid, err)
	}
	if all, err := l.PaymentsOf(ctx, j.ID); err != nil || len(all) != 2 || all[1].TakenBack.IsZero() {
		t.Errorf("what is on record: %+v, %v", all, err)
	}
	if theirs, err := l.Payments(ctx, other.ID); err != nil || len(theirs) != 1 {
		t.Errorf("another job: %+v, %v", theirs, err)
	}
	rep, err := l.Report(ctx, clock.Now().AddDate(0, 0, -1), clock.Now().AddDate(0, 0, 1))
	if err != nil || rep.Prints != 1 || rep.Hours != 1 {
		t.Errorf("the report counts %d prints of %g hours, %v", rep.Prints, rep.Hours, err)
	}
	do(t, l, func(tx *Tx) error { return tx.TakeBack(ctx, j.ID, since) })
	if again, err := l.PrintsOf(ctx, j.ID); err != nil || !again[1].TakenBack.Equal(prints[1].TakenBack) {
		t.Errorf("taken back once more: %+v, %v", again, err)
	}
}
