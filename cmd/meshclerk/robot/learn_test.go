package robot

import (
	"math"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/slice"
)

// Five prints that each took 1.4 times as long and 1.1 times the plastic correct
// the estimate of the next job; four do not. What a corrected job then takes is
// compared with the figures before the correction.
func TestPrintsCorrectLaterEstimates(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "first"))
	h.once()
	id := h.oneJob().ID
	before, _, err := h.Examine(t.Context(), h.oneJob())
	if err != nil {
		t.Fatal(err)
	}
	e := before.Estimate
	record := func(j job.ID, hours, grams float64) {
		t.Helper()
		h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
			return tx.RecordPrint(t.Context(), j, "", hours, grams, true, marisol)
		}))
	}
	for range slice.FewestPrints - 1 {
		record(id, 1.4*e.PrintTimeS/3600, 1.1*e.MassG)
	}
	h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
		return tx.RecordPrint(t.Context(), id, "", 9, 1, false, marisol) // a failed one teaches nothing
	}))
	if four, _, err := h.Examine(t.Context(), h.oneJob()); err != nil || four.Estimate.PrintTimeS != e.PrintTimeS {
		t.Fatalf("four prints make %g s of %g s (%v)", four.Estimate.PrintTimeS, e.PrintTimeS, err)
	}
	record(id, 1.4*e.PrintTimeS/3600, 1.1*e.MassG)

	h.imap.Deliver(request(t, "second"))
	h.once()
	second := h.jobs()[1]
	got := second.Report.Estimate
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got/want-1) > 0.02 {
			t.Errorf("%s is %g, want near %g", what, got, want)
		}
	}
	near("the time", got.PrintTimeS, 1.4*e.PrintTimeS)
	near("the plastic", got.MassG, 1.1*e.MassG)
	if !(got.LowS <= got.PrintTimeS && got.PrintTimeS <= got.HighS) {
		t.Errorf("%g s is not within %g to %g s", got.PrintTimeS, got.LowS, got.HighS)
	}
	record(second.ID, got.PrintTimeS/3600, got.MassG)
	prints, err := h.Ledger.PrintsOf(t.Context(), second.ID)
	if err != nil || len(prints) != 1 {
		t.Fatal(err)
	}
	near("the uncorrected time", prints[0].EstHours, e.PrintTimeS/3600)
	near("the uncorrected plastic", prints[0].EstGrams, e.MassG)
}
