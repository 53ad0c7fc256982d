package ledger

import (
	"errors"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

func lease(t *testing.T, l *Ledger, owner string) *Step {
	t.Helper()
	s, err := l.Lease(t.Context(), owner, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestLeaseExpires(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	taken(t, l, 1, "a")
	first := lease(t, l, "one")
	if again := lease(t, l, "two"); again != nil {
		t.Fatalf("two workers have the same step: %+v", again)
	}
	clock.pass(59 * time.Second)
	if again := lease(t, l, "two"); again != nil {
		t.Fatal("the lease ended early")
	}
	clock.pass(time.Second) // the minute is over to the moment: what is told as lease_until
	second := lease(t, l, "two")
	if second == nil || second.ID != first.ID || second.Attempts != 2 {
		t.Fatalf("after the lease ran out: %+v", second)
	}
	// The late worker's results are dropped with its step.
	err := l.Tx(ctx, func(tx *Tx) error {
		if err := tx.SetMeta(ctx, "result", "late"); err != nil {
			return err
		}
		return tx.Done(ctx, first)
	})
	if !errors.Is(err, ErrLeaseLost) {
		t.Fatalf("a late worker ended the step: %v", err)
	}
	if v, _ := l.Meta(ctx, "result"); v != "" {
		t.Error("the late worker's result was kept")
	}
	if err := l.Done(ctx, second); err != nil {
		t.Fatal(err)
	}
	if next := lease(t, l, "two"); next != nil {
		t.Errorf("a step that is done came again: %+v", next)
	}
}

func TestReleaseOwned(t *testing.T) {
	l, _ := newLedger(t)
	taken(t, l, 1, "a")
	taken(t, l, 2, "b")
	lease(t, l, "robot")
	lease(t, l, "other")
	n, err := l.ReleaseOwned(t.Context(), "robot")
	if err != nil || n != 1 {
		t.Fatalf("released %d, %v", n, err)
	}
	again := lease(t, l, "robot")
	if again == nil || again.Attempts != 2 || again.LastError.IsZero() {
		t.Errorf("after a crash: %+v; the attempt must stay counted", again)
	}
	if lease(t, l, "robot") != nil {
		t.Error("the other worker's step was released too")
	}
}

func TestRetryPostponeGiveUp(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	s := lease(t, l, "robot")
	if err := l.Wait(ctx, s, MailboxAway, errors.New("the server is down"), time.Minute); err != nil {
		t.Fatal(err)
	}
	if lease(t, l, "robot") != nil {
		t.Fatal("tried again before its time")
	}
	open, err := l.OpenSteps(ctx)
	if err != nil || len(open) != 1 || !open[0].Due.Equal(clock.Now().Add(time.Minute)) || open[0].Trouble != MailboxAway || open[0].Waits != 1 {
		t.Errorf("waits: %+v, %v", open, err)
	}
	for attempt := 1; attempt <= 3; attempt++ {
		clock.pass(2 * time.Minute)
		s = lease(t, l, "robot")
		if s == nil || s.Attempts != attempt {
			t.Fatalf("attempt %d: %+v; a postponed one must not count", attempt, s)
		}
		if attempt < 3 {
			if err := l.Retry(ctx, s, errors.New("the mesh is odd"), time.Minute); err != nil {
				t.Fatal(err)
			}
		}
	}
	if s.LastError.Text != "the mesh is odd" {
		t.Errorf("last error %q", s.LastError)
	}
	if err := l.GiveUp(ctx, s, errors.New("the mesh is odd"), Robot); err != nil {
		t.Fatal(err)
	}
	got, err := l.Letter(ctx, letter)
	if err != nil || got.State != LetterSetAside || !got.Raw {
		t.Errorf("letter is %+v, %v", got, err)
	}
	notices, err := l.Notices(ctx, false)
	if err != nil || len(notices) != 1 || notices[0].Text.Key != "notices.step-failed" || notices[0].Text.Args["times"] != 3.0 || !strings.Contains(notices[0].Text.String(), "the mesh is odd") {
		t.Fatalf("notices %+v, %v", notices, err)
	}
	do(t, l, func(tx *Tx) error {
		if err := tx.Again(ctx, letter, "Bo Example", job.Plain("mended")); err != nil {
			return err
		}
		return tx.CloseNotice(ctx, notices[0].ID, "Bo Example")
	})
	if s = lease(t, l, "robot"); s == nil || s.Subject != letter || s.Attempts != 1 {
		t.Errorf("tried again by a person: %+v", s)
	}
}

func TestEnqueueIsOnce(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	for _, wait := range []time.Duration{time.Hour, time.Minute, 2 * time.Hour} {
		if err := l.Enqueue(ctx, "check", "LP-000001", clock.Now().Add(wait)); err != nil {
			t.Fatal(err)
		}
	}
	open, err := l.OpenSteps(ctx)
	if err != nil || len(open) != 1 || !open[0].Due.Equal(clock.Now().Add(time.Minute)) {
		t.Fatalf("%+v, %v; want one step at the earliest time", open, err)
	}
	clock.pass(time.Minute)
	s := lease(t, l, "robot")
	// Something changed while the work was under way: it must be done once more.
	if err := l.Enqueue(ctx, "check", "LP-000001", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if err := l.Done(ctx, s); err != nil {
		t.Fatal(err)
	}
	again := lease(t, l, "robot")
	if again == nil || again.ID != s.ID || again.Attempts != 1 {
		t.Fatalf("asked for again while leased: %+v", again)
	}
	if err := l.Done(ctx, again); err != nil {
		t.Fatal(err)
	}
	if lease(t, l, "robot") != nil {
		t.Error("done once too often")
	}
	if err := l.Enqueue(ctx, "check", "LP-000001", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if next := lease(t, l, "robot"); next == nil || next.ID == s.ID {
		t.Errorf("a new piece of work: %+v", next)
	}
}

func TestLeaseOfSomeKinds(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	for _, kind := range []StepKind{"check", "send"} {
		if err := l.Enqueue(ctx, kind, "X-1", time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	s, err := l.Lease(ctx, "sender", time.Minute, "send", "file")
	if err != nil || s == nil || s.Kind != "send" {
		t.Fatalf("%+v, %v", s, err)
	}
	if s, err = l.Lease(ctx, "sender", time.Minute, "send", "file"); err != nil || s != nil {
		t.Fatalf("%+v, %v", s, err)
	}
	if s = lease(t, l, "robot"); s == nil || s.Kind != "check" {
		t.Errorf("of all kinds: %+v", s)
	}
}

// The second of two steps at once overtakes none, and is one that cannot have
// ended the program before.
func TestLeaseFresh(t *testing.T) {
	l, clock := newLedger(t)
	fresh := func() *Step {
		t.Helper()
		s, err := l.LeaseFresh(t.Context(), "robot", time.Minute, StepRead)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	letter := taken(t, l, 1, "a")
	s := fresh()
	if s == nil || s.Subject != letter || s.Attempts != 1 {
		t.Fatalf("the step of a new letter: %+v", s)
	}
	if err := l.Retry(t.Context(), s, errors.New("trouble"), time.Second); err != nil {
		t.Fatal(err)
	}
	clock.pass(2 * time.Second)
	taken(t, l, 2, "b")
	if s := fresh(); s != nil {
		t.Errorf("the letter that was tried before was passed by: %+v", s)
	}
	if s := lease(t, l, "robot"); s == nil || s.Subject != letter || s.Attempts != 2 {
		t.Fatalf("an ordinary lease: %+v", s)
	}
	if s := fresh(); s == nil || s.Subject == letter {
		t.Errorf("with the tried one in hand: %+v", s)
	}
}

// After the clock was wrong, nothing waits and no lease lasts beyond the bound; what is
// within it stays as it is.
func TestBoundOfWaitsAndLeases(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	const bound = time.Hour
	latest := clock.Now().Add(bound)
	for i, due := range []time.Duration{bound, bound + time.Second} {
		do(t, l, func(tx *Tx) error {
			return tx.Enqueue(ctx, StepCheck, []string{"within", "beyond"}[i], clock.Now().Add(due))
		})
	}
	for i, d := range []time.Duration{time.Minute, 240 * time.Hour} {
		do(t, l, func(tx *Tx) error { return tx.Enqueue(ctx, StepRead, []string{"short", "long"}[i], time.Time{}) })
		if s, err := l.Lease(ctx, "robot", d, StepRead); err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
	}
	do(t, l, func(tx *Tx) error { _, err := tx.Bound(ctx, latest); return err })
	steps, err := l.OpenSteps(ctx)
	if err != nil || len(steps) != 4 {
		t.Fatalf("%+v, %v", steps, err)
	}
	for _, s := range steps {
		got := s.Due
		if s.Kind == StepRead {
			got = s.Until
		}
		want := map[string]time.Time{"within": latest, "beyond": clock.Now(), "short": clock.Now().Add(time.Minute), "long": latest}[s.Subject]
		if !got.Equal(want) {
			t.Errorf("%s: %v, want %v", s.Subject, got, want)
		}
	}
}
