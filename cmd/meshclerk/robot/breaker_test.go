package robot

import (
	"testing"
	"time"

	"meshclerk/intake/ledger"
)

// After each silence in a row the wait is longer, as between tries; an answer ends it.
func TestBreakerWaitsLongerAfterEachSilence(t *testing.T) {
	var b breaker
	now := time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)
	want := func(what string, wait, probe bool) {
		t.Helper()
		if w, p := b.open(now); w != wait || p != probe {
			t.Errorf("%s: wait %v, probe %v; want %v, %v", what, w, p, wait, probe)
		}
	}
	want("before any", false, false)
	for i, d := range []time.Duration{10 * time.Second, time.Minute, 6 * time.Minute, 30 * time.Minute, 30 * time.Minute} {
		b.note(true, now)
		now = now.Add(d - time.Second)
		want("a second before the end of the wait", true, true)
		now = now.Add(time.Second)
		want("at its end", false, true)
		if b.silent != i+1 {
			t.Errorf("%d silences counted, want %d", b.silent, i+1)
		}
	}
	b.note(false, now)
	want("after an answer", false, false)
	b.note(true, now)
	now = now.Add(10 * time.Second)
	want("counted from one again", false, true)
}

// A mail server that is away a little while is no news. Staff are told at the fourth
// wait, seven minutes after the first, and once.
func TestStaffAreToldWhenAServerStaysAway(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	ctx := t.Context()
	if err := h.Ledger.Enqueue(ctx, ledger.StepDraft, "no-thread", time.Time{}); err != nil {
		t.Fatal(err)
	}
	for i := range 6 {
		s, err := h.Ledger.Lease(ctx, owner, lease, ledger.StepDraft)
		if err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
		if err := h.applyRetryPolicy(ctx, s, houseError{ledger.SendingAway, errSilentServer}); err != nil {
			t.Fatal(err)
		}
		want := 0
		if i >= 3 {
			want = 1
		}
		if n := len(h.noticesOf(ledger.NoticeTrouble)); n != want {
			t.Errorf("after %d waits: %d notices, want %d", i+1, n, want)
		}
		h.forward(backoff(i + 1))
	}
}
