package ledger

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// beside is a moment, and a millisecond before and after it.
var beside = []time.Duration{-time.Millisecond, 0, time.Millisecond}

// A span of time takes in its first moment and not its last, in the report, the list
// and the approvals alike.
func TestSpanTakesInItsFirstMoment(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	declined := newJob(t, l, taken(t, l, 2, "b"))
	d := newDraft(t, l, "x", j.ID)
	do(t, l, func(tx *Tx) error {
		if err := tx.RecordPrint(ctx, j.ID, "Bench 1", 1, 9, true, "Bo Example"); err != nil {
			return err
		}
		if err := tx.RecordPayment(ctx, j.ID, "1.50", "CAD", "Bo Example"); err != nil {
			return err
		}
		if err := tx.MoveFor(ctx, declined.ID, job.Declined, "size", "Bo Example", job.Plain("")); err != nil {
			return err
		}
		return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand)
	})
	s, _, err := l.BeginSend(ctx, d.ID, "x")
	if err != nil {
		t.Fatal(err)
	}
	do(t, l, func(tx *Tx) error {
		return tx.EndSend(ctx, s, Delivered, job.Plain(""), Robot)
	})
	now := clock.Now()
	counts := func(from, to time.Time) string {
		rep, err := l.Report(ctx, from, to)
		if err != nil {
			t.Fatal(err)
		}
		letters := 0
		for _, n := range rep.Letters {
			letters += n
		}
		rows, err := l.Jobs(ctx, Filter{Since: from, Until: to})
		if err != nil {
			t.Fatal(err)
		}
		audit, err := l.Audit(ctx, AuditFilter{Since: from, Until: to})
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintln(letters, rep.Patrons, len(rep.Stages), rep.Refusals["size"], rep.Prints, rep.Income["CAD"], rep.FirstAnswer.N, len(rows), len(audit) > 0)
	}
	const all, none = "2 1 2 1 1 1.50 1 2 true", "0 0 0 0 0 0 0 false"
	for _, off := range beside {
		for _, c := range []struct {
			what     string
			from, to time.Time
			in       bool
		}{
			{"from", now.Add(off), now.AddDate(0, 0, 1), off <= 0},
			{"to", now.AddDate(0, 0, -1), now.Add(off), off > 0},
		} {
			want := none
			if c.in {
				want = all
			}
			if got := strings.Join(strings.Fields(counts(c.from, c.to)), " "); got != want {
				t.Errorf("%s %v: %s, want %s", c.what, off, got, want)
			}
		}
	}
}

// What ended at the moment up to which all is removed stays; what ended before it goes.
func TestExpireKeepsItsMoment(t *testing.T) {
	for _, off := range beside {
		l, clock := newLedger(t)
		ctx := t.Context()
		j := newJob(t, l, taken(t, l, 1, "a"))
		stray := taken(t, l, 2, "b")
		do(t, l, func(tx *Tx) error {
			if err := tx.Move(ctx, j.ID, job.Withdrawn, "patron", job.Plain("")); err != nil {
				return err
			}
			return tx.SetLetter(ctx, stray, LetterLeftAlone, Robot, job.Plain(""))
		})
		for range 2 { // the first steps of both letters
			s, err := l.Lease(ctx, "x", time.Hour)
			if err != nil || s == nil {
				t.Fatalf("%+v, %v", s, err)
			}
			do(t, l, func(tx *Tx) error { return tx.Done(ctx, s) })
		}
		before := clock.Now().Add(off)
		clock.pass(time.Hour)
		got, err := l.Expire(ctx, before, Robot)
		want := Forgotten{}
		if off > 0 {
			want = Forgotten{Letters: 2, Jobs: 1}
		}
		if err != nil || got != want {
			t.Errorf("ended %v from the moment: %+v, want %+v, %v", -off, got, want, err)
		}
	}
}

// Everything over one transaction's share is removed too.
func TestExpireGoesOnBeyondItsBatch(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	for i := range expireBatch + 1 {
		j := newJob(t, l, taken(t, l, uint32(i+1), fmt.Sprint(i)))
		do(t, l, func(tx *Tx) error { return tx.Move(ctx, j.ID, job.Withdrawn, "patron", job.Plain("")) })
	}
	clock.pass(time.Hour)
	if got, err := l.Expire(ctx, clock.Now(), Robot); err != nil || got.Jobs != expireBatch+1 {
		t.Errorf("%+v, %v", got, err)
	}
}

// A step is done from the moment that it is due, and a lease is lost from its end.
func TestDueAndLeasedToTheMoment(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	if err := l.Enqueue(ctx, StepDraft, "a", clock.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	for _, what := range []string{"due", "lease"} {
		clock.pass(time.Hour - time.Millisecond)
		if s, err := l.Lease(ctx, "x", time.Hour); err != nil || s != nil {
			t.Errorf("%s, a millisecond early: %+v, %v", what, s, err)
		}
		if p, err := l.Pulse(ctx); err != nil || !p.OldestDue.IsZero() {
			t.Errorf("%s, a millisecond early: %+v, %v", what, p, err)
		}
		clock.pass(time.Millisecond)
		if p, err := l.Pulse(ctx); err != nil || p.OldestDue.IsZero() != (what == "lease") {
			t.Errorf("%s: %+v, %v", what, p, err)
		}
		if s, err := l.Lease(ctx, "x", time.Hour); err != nil || s == nil {
			t.Errorf("%s, at its moment: %+v, %v", what, s, err)
		}
	}
}

// A finished job is a guess for thirty days.
func TestGuessForThirtyDays(t *testing.T) {
	l, clock := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	if err := l.Move(t.Context(), j.ID, job.Withdrawn, "patron", job.Plain("")); err != nil {
		t.Fatal(err)
	}
	clock.pass(30 * 24 * time.Hour)
	for _, want := range []int{1, 0} {
		if got, err := l.FindThreads(t.Context(), job.Letter{From: job.Address{Address: "ada@example.org"}}); err != nil || len(got) != want {
			t.Errorf("%d guesses, want %d, %v", len(got), want, err)
		}
		clock.pass(time.Millisecond)
	}
}

// Of a letter's references a hundred are looked up, of its subject's words twenty, and
// of its sender's conversations twenty are guessed at.
func TestHowMuchALetterHasLookedUp(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	var threads []string
	for i := range 21 {
		j := newJob(t, l, taken(t, l, uint32(i+1), fmt.Sprint(i)))
		threads = append(threads, j.Thread)
	}
	refs := func(n int) []string { // the one that is known is the nth, from the last
		out := []string{"<letter-1@example.org>"}
		for i := range n - 1 {
			out = append(out, fmt.Sprintf("<%d@x>", i))
		}
		return out
	}
	for what, c := range map[string]struct {
		l    job.Letter
		want int
	}{
		"ninety-nine references": {job.Letter{References: refs(99)}, 1}, // In-Reply-To is the first
		"a hundred":              {job.Letter{References: refs(100)}, 0},
		"tokens":                 {job.Letter{Subject: strings.Join(threads, " ")}, 20},
		"guesses":                {job.Letter{From: job.Address{Address: "ada@example.org"}}, 20},
	} {
		if got, err := l.FindThreads(ctx, c.l); err != nil || len(got) != c.want {
			t.Errorf("%s: %d conversations, want %d, %v", what, len(got), c.want, err)
		}
	}
}

// A print took less than ten thousand hours and a hundred kilograms, and not less than
// nothing.
func TestPrintAtEachBound(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	for _, c := range []struct {
		hours, grams float64
		want         bool
	}{{0, 0, true}, {-0.01, 0, false}, {0, -0.01, false}, {9999.9, 99999.9, true}, {10000, 0, false}, {0, 100000, false}} {
		err := l.Tx(t.Context(), func(tx *Tx) error {
			return tx.RecordPrint(t.Context(), j.ID, "Bench 1", c.hours, c.grams, true, "Bo Example")
		})
		if (err == nil) != c.want {
			t.Errorf("%v hours and %v g: %v", c.hours, c.grams, err)
		}
	}
}

// What was estimated is taught by without its corrections; none is no division.
func TestUncorrectedAtEachBound(t *testing.T) {
	for _, c := range []struct{ time, mass, hours, grams float64 }{{0, 0, 2, 30}, {2, 3, 1, 10}, {-1, -1, 2, 30}} {
		j := job.Job{Report: &job.Report{Estimate: &job.Estimate{PrintTimeS: 7200, MassG: 30, TimeFactor: c.time, MassFactor: c.mass}}}
		if hours, grams := uncorrected(j, "Bench 1"); hours != c.hours || grams != c.grams {
			t.Errorf("%+v: %v hours, %v g", c, hours, grams)
		}
	}
}

// Only the first 256 KiB of a header are looked through for a sender.
func TestSendersWithinTheHeader(t *testing.T) {
	field := "From: ada@example.org\n"
	for before, want := range map[int]int{256<<10 - len(field): 1, 256 << 10: 0} {
		raw := "X: " + strings.Repeat("x", before-4) + "\n" + field + "\n"
		if got, err := sendersOf(strings.NewReader(raw)); err != nil || len(got) != want {
			t.Errorf("behind %d bytes: %q, %v", before, got, err)
		}
	}
}

// Words that nothing points to are swept away when they are older than asked.
func TestSweepToTheMoment(t *testing.T) {
	for age, want := range map[time.Duration]int{time.Hour: 0, time.Hour - time.Millisecond: 1} {
		l, clock := newLedger(t)
		if _, _, err := l.PutBlob(t.Context(), KindLetter, strings.NewReader("nobody's"), 0); err != nil {
			t.Fatal(err)
		}
		clock.pass(time.Hour)
		if got, err := l.Sweep(t.Context(), age); err != nil || got != want {
			t.Errorf("older than %v: %d swept away, want %d, %v", age, got, want, err)
		}
	}
}

// Who is forgotten takes along the agreements of that very moment.
func TestAgreementOfTheMomentIsForgotten(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	if _, err := l.UpsertAgreements(ctx, []agreement.Entry{{Address: "ada@example.org", Name: "Ada Example", Signed: "2026-11-20", Version: "1"}}, "Bo Example", ""); err != nil {
		t.Fatal(err)
	}
	do(t, l, func(tx *Tx) error {
		if n, err := tx.dropAgreements(ctx, "ada@example.org"); err != nil || n != 1 {
			t.Errorf("%d dropped, %v", n, err)
		}
		return nil
	})
}

// A yes that was void is open no more, and what was closed keeps who closed it.
func TestWhatIsOverStaysSo(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j, _ := offeredJob(t, l, taken(t, l, 1, "a"))
	do(t, l, func(tx *Tx) error {
		o, _, err := tx.LastOffer(ctx, j.ID)
		if err != nil {
			return err
		}
		if err := tx.KeepYes(ctx, o, "", "patron"); err != nil {
			return err
		}
		if _, open, err := tx.OpenYes(ctx, j.ID); err != nil || !open {
			t.Errorf("a yes that is kept: open %v, %v", open, err)
		}
		if err := tx.VoidYes(ctx, j.ID, job.Plain("")); err != nil {
			return err
		}
		if y, open, err := tx.OpenYes(ctx, j.ID); err != nil || open {
			t.Errorf("a void yes is open: %+v, %v", y, err)
		}
		return nil
	})
	do(t, l, func(tx *Tx) error {
		if err := tx.AddNotice(ctx, NoticeClock, "clock", job.Plain("ahead")); err != nil {
			return err
		}
		list, err := tx.Notices(ctx, false)
		if err != nil {
			return err
		}
		if err := tx.CloseNotice(ctx, list[0].ID, "Bo Example"); err != nil {
			return err
		}
		if err := tx.SettleNotices(ctx, NoticeClock, "clock", Robot); err != nil {
			return err
		}
		if list, err = tx.Notices(ctx, true); err != nil || len(list) != 1 || list[0].DoneBy != "Bo Example" {
			t.Errorf("closed by Bo: %+v, %v", list, err)
		}
		return nil
	})
}

// Two replies that one person approves in one moment are two entries, each with the
// hash of its own words.
func TestApprovalsOfOneMoment(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	sha := map[string]string{}
	for i, words := range []string{"one", "other"} {
		d := newDraft(t, l, words, newJob(t, l, taken(t, l, uint32(i+1), words)).ID)
		sha[d.ID] = d.SHA256
	}
	for range 2 { // and each once more, a minute later
		for id, s := range sha {
			do(t, l, func(tx *Tx) error {
				if err := tx.Approve(ctx, id, s, "Bo Example", ViaCommand); err != nil {
					return err
				}
				return tx.Reopen(ctx, id, "Bo Example", job.Plain("wait"))
			})
		}
		clock.pass(time.Minute)
	}
	list, err := l.Audit(ctx, AuditFilter{})
	if err != nil {
		t.Fatal(err)
	}
	approved := 0
	for _, e := range list {
		if e.What == "approved" {
			approved++
			if e.SHA256 != sha[e.Draft] {
				t.Errorf("%s was approved as %s, not %s", e.Draft, e.SHA256, sha[e.Draft])
			}
		}
	}
	if approved != 4 {
		t.Errorf("%d approvals, want 4: %+v", approved, list)
	}
}

// Lengths of time are summed up by their middle and their longest; none is below
// nothing, where a server's clock was ahead of ours.
func TestSpreadOfHours(t *testing.T) {
	l, clock := newLedger(t)
	for _, c := range []struct {
		hours []float64
		want  Spread
	}{
		{nil, Spread{}}, {[]float64{3}, Spread{1, 3, 3}}, {[]float64{4, 1}, Spread{2, 2.5, 4}}, {[]float64{6, 1, 2}, Spread{3, 2, 6}},
		{[]float64{7, 1, 2, 3}, Spread{4, 2.5, 7}}, {[]float64{-2}, Spread{1, 0, 0}},
	} {
		query := `SELECT '', '' WHERE ? = ?`
		for i, h := range c.hours {
			from := clock.Now()
			row := fmt.Sprintf(`SELECT '%s', '%s'`, stamp(from), stamp(from.Add(time.Duration(h*float64(time.Hour)))))
			if i == 0 {
				row += ` WHERE ? <> ?`
			}
			query = strings.Replace(query, `SELECT '', '' WHERE ? = ?`, row, 1)
			if i > 0 {
				query += ` UNION ALL ` + row
			}
		}
		got, err := l.spread(t.Context(), query, &Report{From: clock.Now(), To: clock.Now().AddDate(0, 0, 1)})
		if err != nil || got != c.want {
			t.Errorf("%v: %+v, want %+v, %v", c.hours, got, c.want, err)
		}
	}
}

// A reply is approved by a person with a name, and as it stands: nothing else is.
func TestOnlyAPersonApprovesWhatStands(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	d := newDraft(t, l, "one", newJob(t, l, taken(t, l, 1, "a")).ID)
	for _, c := range []struct {
		by, sha string
		want    bool
	}{
		{"", d.SHA256, false}, {"  ", d.SHA256, false}, {Robot, d.SHA256, false}, {strings.ToUpper(Robot), d.SHA256, false},
		{"Bo Example", hashOf([]byte("other")), false}, {"Bo Example", "", false}, {"Bo Example", d.SHA256, true},
	} {
		err := l.Tx(ctx, func(tx *Tx) error { return tx.Approve(ctx, d.ID, c.sha, c.by, ViaCommand) })
		now, err2 := l.Draft(ctx, d.ID)
		if err2 != nil || (err == nil) != c.want || (now.State == DraftApproved) != c.want {
			t.Errorf("approved by %q as %.8s: %s, %v", c.by, c.sha, now.State, err)
		}
	}
	if now, err := l.Draft(ctx, d.ID); err != nil || now.Approval == nil || now.Approval.By != "Bo Example" || now.Approval.SHA256 != d.SHA256 {
		t.Errorf("%+v, %v", now.Approval, err)
	}
}
