package robot

import (
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// A clock that is ten days ahead at the first look hides no later letter.
func TestFirstLookWithAClockAhead(t *testing.T) {
	t.Parallel()
	for name, before := range map[string]int{"empty inbox": 0, "used inbox": 2} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.agree()
			for range before {
				h.imap.Deliver(request(t, "old"))
			}
			h.misset(10 * aDay)
			h.once()
			had := len(h.jobs())
			h.imap.Deliver(request(t, "while-wrong"))
			h.once()
			h.misset(0)
			h.imap.Deliver(request(t, "later"))
			h.once()
			h.once()
			if n := len(h.jobs()); n != had+2 {
				t.Errorf("%d jobs, want the two letters that came later too (%d before)", n, had)
			}
		})
	}
}

// A letter that somebody answered by hand is left alone at the first look, and
// only then: RFC 9051, 2.3.2, \Answered.
func TestAnsweredLettersAreLeftAloneAtTheFirstLook(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Put("INBOX", request(t, "answered"), `\Answered`, `\Seen`)
	h.imap.Put("INBOX", request(t, "open"), `\Seen`)
	h.once()
	if j := h.oneJob(); !strings.HasPrefix(j.File, "open") {
		t.Errorf("the job is about %s", j.File)
	}
	h.imap.Put("INBOX", request(t, "quick"), `\Answered`) // between two looks
	h.once()
	if n := len(h.jobs()); n != 2 {
		t.Errorf("%d jobs, want the one that came later too", n)
	}
}

// A clock that jumps ahead lapses, reminds and removes nothing, and staff are
// told once; put right, all goes on by itself.
func TestClockAheadLapsesNothing(t *testing.T) {
	t.Parallel()
	for name, restart := range map[string]bool{"while it runs": false, "across a restart": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h, _ := quoted(t, "jump")
			if restart {
				h.reopened(h.Ledger.Dir())
			}
			h.misset(60 * aDay)
			h.once()
			h.once()
			h.wantStage(job.Quoted)
			h.noneWaits()
			if j := h.oneJob(); j.Blob == "" {
				t.Error("the file was removed")
			}
			if n := len(h.noticesOf(ledger.NoticeClock)); n != 1 {
				t.Errorf("%d notices of the clock: %q", n, h.notices())
			}
			h.misset(0)
			h.once()
			if n := len(h.noticesOf(ledger.NoticeClock)); n != 0 {
				t.Errorf("notices when the clock is right again: %q", h.notices())
			}
			h.days(h.Rules.Limits.ReminderDays)
			if d := h.waiting(); d.Kind != "reminder" {
				t.Errorf("a %s waits, want the reminder", d.Kind)
			}
		})
	}
}

// After a long time off the clock is right and seems not to be: a person says so.
func TestPersonSaysTheClockIsRight(t *testing.T) {
	t.Parallel()
	h, _ := quoted(t, "summer")
	h.reopened(h.Ledger.Dir())
	h.forward(40 * aDay) // no clock of this run knows of it: the program was off
	h.once()
	h.wantStage(job.Quoted)
	if n := len(h.noticesOf(ledger.NoticeClock)); n != 1 {
		t.Fatalf("notices %q", h.notices())
	}
	h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error { return tx.SayClockRight(t.Context(), marisol) }))
	h.once()
	h.wantStage(job.Lapsed)
	if n := len(h.noticesOf(ledger.NoticeClock)); n != 0 {
		t.Errorf("notices %q", h.notices())
	}
}

// A clock that is put back does not keep what waits from being done.
func TestClockPutBackStallsNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.once()
	h.misset(2 * aDay) // believed: a machine may sleep over a weekend
	h.imap.Deliver(request(t, "stalled"))
	if err := h.Poll(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.misset(0)
	if err := h.Poll(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := h.Work(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.wantStage(job.Drafted)
	if n := len(h.noticesOf(ledger.NoticeClock)); n != 1 {
		t.Errorf("notices %q, want that the clock went back", h.notices())
	}
}

// The clock is believed up to each bound, and not a second over it: three days ahead
// while the program runs, fourteen across a stop, ten minutes back.
func TestClockAtEachBound(t *testing.T) {
	const day = 24 * time.Hour
	seen := time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		alive    bool
		off      time.Duration
		believed bool
	}{
		{true, 3 * day, true}, {true, 3*day + time.Second, false},
		{false, 14 * day, true}, {false, 14*day + time.Second, false},
		{true, -10 * time.Minute, true}, {true, -10*time.Minute - time.Second, false},
		{false, -10 * time.Minute, true}, {false, -10*time.Minute - time.Second, false},
	} {
		g := clockGuard{seen: seen, ran: time.Hour, alive: c.alive}
		now := seen.Add(c.off)
		if c.alive { // an hour has gone by since
			now = now.Add(time.Hour)
		}
		g.judge(now, 2*time.Hour)
		if got := g.doubt.IsZero(); got != c.believed {
			t.Errorf("running %v, off by %v: believed %v, %s", c.alive, c.off, got, g.doubt)
		}
	}
}

// What the clock says is kept for the next start while it is believed, and not while it is
// doubted: else a wrong clock would be held against itself.
func TestDoubtedClockIsNotKept(t *testing.T) {
	for _, doubt := range []job.Message{{}, job.Say("notices.clock-ahead", nil)} {
		now := noon
		r := robotBy(t, func() time.Time { return now })
		keep := func() {
			if err := r.saveCursor(t.Context(), mailbox.Cursor{UIDValidity: 1, LastUID: 7}); err != nil {
				t.Fatal(err)
			}
		}
		keep()
		r.clock.doubt = doubt
		now = noon.Add(aDay)
		keep()
		want := noon
		if doubt.IsZero() {
			want = now
		}
		if got, err := r.Ledger.ClockBelieved(t.Context()); err != nil || !got.Equal(want) {
			t.Errorf("doubted %v: kept %v, want %v, %v", !doubt.IsZero(), got, want, err)
		}
	}
}
