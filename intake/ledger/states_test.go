package ledger

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

var errUndone = errors.New("as it was before")

// undone tells how something would end, and leaves all as it was.
func undone(t testing.TB, l *Ledger, do func(tx *Tx) error) error {
	t.Helper()
	var got error
	err := l.Tx(t.Context(), func(tx *Tx) error { got = do(tx); return errUndone })
	if !errors.Is(err, errUndone) {
		t.Fatal(err)
	}
	return got
}

// What may be done with a reply in each of its states, and nothing else.
func TestWhatMayBeDoneWithAReply(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	const bo = "Bo Example"
	at := map[DraftState]Draft{}
	for i, state := range []DraftState{DraftWaiting, DraftApproved, DraftSending, DraftSent, DraftUncertain, DraftFailed, DraftSetAside, DraftSuperseded} {
		j := newJob(t, l, taken(t, l, uint32(i+1), string(state)))
		d := newDraft(t, l, string(state), j.ID)
		do(t, l, func(tx *Tx) error {
			switch state {
			case DraftWaiting:
				return nil
			case DraftSetAside:
				return tx.SetAside(ctx, d.ID, bo, job.Plain(""))
			case DraftSuperseded:
				return tx.moveDraft(ctx, d, DraftSuperseded, Robot, job.Plain(""))
			}
			return tx.Approve(ctx, d.ID, d.SHA256, bo, ViaCommand)
		})
		if outcome := map[DraftState]Outcome{DraftSending: "", DraftSent: Delivered, DraftUncertain: Uncertain, DraftFailed: Refused}; state != DraftApproved {
			if o, sends := outcome[state]; sends {
				s, _, err := l.BeginSend(ctx, d.ID, "robot")
				if err != nil {
					t.Fatal(err)
				}
				if o != "" {
					do(t, l, func(tx *Tx) error { return tx.EndSend(ctx, s, o, job.Plain(""), Robot) })
				}
			}
		}
		got, err := l.Draft(ctx, d.ID)
		if err != nil || got.State != state {
			t.Fatalf("made to be %s: %s, %v", state, got.State, err)
		}
		at[state] = got
	}
	for what, c := range map[string]struct {
		do  func(tx *Tx, d Draft) error
		may []DraftState
	}{
		"approved": {func(tx *Tx, d Draft) error { return tx.Approve(ctx, d.ID, d.SHA256, bo, ViaPage) }, []DraftState{DraftWaiting, DraftFailed}},
		"edited": {func(tx *Tx, d Draft) error {
			_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("x")}, bo, job.Plain(""))
			return err
		}, []DraftState{DraftWaiting, DraftFailed}},
		"set aside": {func(tx *Tx, d Draft) error { return tx.SetAside(ctx, d.ID, bo, job.Plain("")) }, []DraftState{DraftWaiting, DraftApproved, DraftFailed}},
		"reopened":  {func(tx *Tx, d Draft) error { return tx.Reopen(ctx, d.ID, bo, job.Plain("")) }, []DraftState{DraftApproved, DraftFailed, DraftSetAside}},
		"sent":      {func(tx *Tx, d Draft) error { _, _, err := tx.beginSend(ctx, d.ID, "robot"); return err }, []DraftState{DraftApproved}},
		"settled":   {func(tx *Tx, d Draft) error { return tx.Settle(ctx, d.ID, true, bo, job.Plain("")) }, []DraftState{DraftUncertain}},
		"not sent":  {func(tx *Tx, d Draft) error { return tx.Settle(ctx, d.ID, false, bo, job.Plain("")) }, []DraftState{DraftUncertain}},
		"unsettled": {func(tx *Tx, d Draft) error { return tx.Settle(ctx, d.ID, true, Robot, job.Plain("")) }, nil},
		"by nobody": {func(tx *Tx, d Draft) error { return tx.Settle(ctx, d.ID, true, "", job.Plain("")) }, nil},
		"of others": {func(tx *Tx, d Draft) error { return tx.Approve(ctx, d.ID, hashOf([]byte("other")), bo, ViaPage) }, nil},
		"emptied": {func(tx *Tx, d Draft) error {
			_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{}, bo, job.Plain(""))
			return err
		}, nil},
		"overlooked": {func(tx *Tx, d Draft) error {
			_, err := tx.Replace(ctx, d.ID, hashOf(nil), Edit{Raw: []byte("x")}, bo, job.Plain(""))
			return err
		}, nil},
	} {
		for state, d := range at {
			err := undone(t, l, func(tx *Tx) error { return c.do(tx, d) })
			if may := slices.Contains(c.may, state); (err == nil) != may {
				t.Errorf("a reply that is %s is %s: %v, want it done %v", state, what, err, may)
			}
		}
	}
	stale, before := undone(t, l, func(tx *Tx) error { return tx.Approve(ctx, at[DraftWaiting].ID, "", bo, ViaPage) }), undone(t, l, func(tx *Tx) error {
		return tx.Approve(ctx, at[DraftApproved].ID, at[DraftApproved].SHA256, bo, ViaPage)
	})
	if _, ok := errors.AsType[*StaleError](stale); !ok {
		t.Errorf("other bytes: %v", stale)
	}
	if e, ok := errors.AsType[*ApprovedError](before); !ok || e.By != bo {
		t.Errorf("approved before: %v", before)
	}
}

// A message that a person moved does to its reply, in each of its states, what the folder
// stands for, and once; other bytes than were approved do nothing, and staff are told.
func TestMovedMessageInEachState(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	for i, c := range []struct {
		prepare func(tx *Tx, d Draft) error
		bytes   string
		before  string // who it was addressed to, where the edit goes to others
		aside   bool
		want    MoveOutcome
		then    DraftState
	}{
		{nil, "words", "", false, MoveApproved, DraftApproved},
		{nil, "other words", "", false, MoveApproved, DraftApproved},
		{nil, "words", "", true, MoveSetAside, DraftSetAside},
		{nil, "other words", "ada@example.org", false, MoveReaddressed, DraftWaiting},
		{func(tx *Tx, d Draft) error { return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage) }, "words", "", false, MoveKnown, DraftApproved},
		{func(tx *Tx, d Draft) error { return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage) }, "other words", "", false, MoveRefused, DraftApproved},
		{func(tx *Tx, d Draft) error { return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage) }, "words", "", true, MoveSetAside, DraftSetAside},
		{func(tx *Tx, d Draft) error { return tx.SetAside(ctx, d.ID, "Bo Example", job.Plain("")) }, "words", "", false, MoveApproved, DraftApproved},
		{func(tx *Tx, d Draft) error { return tx.SetAside(ctx, d.ID, "Bo Example", job.Plain("")) }, "words", "", true, MoveKnown, DraftSetAside},
		{func(tx *Tx, d Draft) error { return tx.moveDraft(ctx, d, DraftSuperseded, Robot, job.Plain("")) }, "words", "", false, MoveRefused, DraftSuperseded},
		{func(tx *Tx, d Draft) error { return tx.moveDraft(ctx, d, DraftSuperseded, Robot, job.Plain("")) }, "words", "", true, MoveKnown, DraftSuperseded},
		{func(tx *Tx, d Draft) error { return tx.PlaceDraft(ctx, d.ID, Place{}) }, "words", "", true, MoveKnown, DraftWaiting},
	} {
		d := newDraft(t, l, "words", newJob(t, l, taken(t, l, uint32(i+1), fmt.Sprint(i))).ID)
		do(t, l, func(tx *Tx) error {
			if err := tx.PlaceDraft(ctx, d.ID, Place{"To approve", 1, uint32(i + 1)}); err != nil || c.prepare == nil {
				return err
			}
			return c.prepare(tx, d)
		})
		m := Moved{Draft: d.ID, Place: Place{"Approved", 1, uint32(i + 1)}, By: "Cy Example", Edit: Edit{Raw: []byte(c.bytes), AddressedBefore: c.before}}
		act := (*Tx).ApproveMoved
		if c.aside {
			act = (*Tx).SetAsideMoved
		}
		for _, want := range []MoveOutcome{c.want, MoveKnown} {
			do(t, l, func(tx *Tx) error {
				if got, err := act(tx, ctx, m); err != nil || got != want {
					t.Errorf("%d: %s, %v, want %s", i, got, err, want)
				}
				return nil
			})
		}
		if got, err := l.Draft(ctx, d.ID); err != nil || got.State != c.then {
			t.Errorf("%d: the reply is %s, %v, want %s", i, got.State, err, c.then)
		}
	}
	// What was readdressed is approved by no folder, unmoved or edited back by nobody.
	d := newDraft(t, l, "words", newJob(t, l, taken(t, l, 99, "99")).ID)
	do(t, l, func(tx *Tx) (err error) {
		d, err = tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("to Eve"), AddressedBefore: "ada@example.org"}, "Cy Example", job.Plain(""))
		return err
	})
	do(t, l, func(tx *Tx) error {
		if got, err := tx.ApproveMoved(ctx, Moved{Draft: d.ID, Place: Place{"Approved", 1, 99}, By: "Cy Example", Edit: Edit{Raw: []byte("to Eve")}}); err != nil || got != MoveRefused {
			t.Errorf("readdressed, and moved: %s, %v", got, err)
		}
		if err := tx.Approve(ctx, d.ID, d.SHA256, "Cy Example", ViaFolder); err == nil {
			t.Error("a folder approved what goes to others")
		}
		return tx.Approve(ctx, d.ID, d.SHA256, "Cy Example", ViaPage)
	})
}

// A patron is one within a month, whatever they ask for; who has no address is nobody
// else.
func TestPatronsOfAMonth(t *testing.T) {
	l, clock := newLedger(t) // on 25 November
	ctx := t.Context()
	from := clock.Now().AddDate(0, 0, -20)
	for i, address := range []string{"ada@example.org", "ada@example.org", "bo@example.org", "", ""} {
		do(t, l, func(tx *Tx) error {
			_, err := tx.NewJob(ctx, job.Job{Patron: job.Address{Address: address}, File: fmt.Sprint(i)}, "", Robot, job.Plain(""))
			return err
		})
	}
	count := func(want int) {
		t.Helper()
		if r, err := l.Report(ctx, from, clock.Now().Add(time.Hour)); err != nil || r.Patrons != want {
			t.Errorf("%d patrons, want %d, %v", r.Patrons, want, err)
		}
	}
	count(4)
	clock.pass(10 * 24 * time.Hour) // the next month
	newJob(t, l, taken(t, l, 1, "a"))
	count(5)
}

// Only who was taken for one speaks for a patron.
func TestWhoSpeaksForAPatron(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	parent, other := taken(t, l, 2, "b"), taken(t, l, 3, "c")
	do(t, l, func(tx *Tx) error {
		for letter, from := range map[string]string{parent: "bo@example.org", other: "eve@example.org"} {
			if err := tx.SaveParsed(ctx, letter, job.Letter{From: job.Address{Address: from}, Disposition: job.Answer}, Robot); err != nil {
				return err
			}
			if err := tx.Link(ctx, j.ID, letter, RoleAnswer); err != nil {
				return err
			}
		}
		return tx.SpeaksFor(ctx, j.ID, parent, "Bo Example", job.Plain(""))
	})
	if got, err := l.Guardians(ctx, j.Thread); err != nil || !slices.Equal(got, []string{"bo@example.org"}) {
		t.Errorf("%q speak for the patron, %v", got, err)
	}
	for from, want := range map[string]bool{"ada@example.org": true, "bo@example.org": true, "BO@Example.org": true, "eve@example.org": false, "": false} {
		got, err := l.FindThreads(ctx, job.Letter{From: job.Address{Address: from}, Subject: j.Thread})
		if err != nil || len(got) != 1 || got[0].SameSender != want || got[0].Guess {
			t.Errorf("%q: %+v, %v", from, got, err)
		}
	}
}

// A send that a person settles is the one that nobody knows the end of; earlier tries
// keep theirs, and an end is recorded once.
func TestOnlyTheUncertainTryIsSettled(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	d := newDraft(t, l, "words", newJob(t, l, taken(t, l, 1, "a")).ID)
	do(t, l, func(tx *Tx) error { return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage) })
	for _, o := range []Outcome{Later, Uncertain} {
		s, _, err := l.BeginSend(ctx, d.ID, "robot")
		if err != nil {
			t.Fatal(err)
		}
		do(t, l, func(tx *Tx) error { return tx.EndSend(ctx, s, o, job.Plain(""), Robot) })
		if err := undone(t, l, func(tx *Tx) error { return tx.EndSend(ctx, s, o, job.Plain(""), Robot) }); err == nil {
			t.Errorf("%s is recorded twice", o)
		}
	}
	do(t, l, func(tx *Tx) error { return tx.Settle(ctx, d.ID, true, "Bo Example", job.Plain("")) })
	sends, err := l.Sends(ctx, d.ID)
	if err != nil || len(sends) != 2 || sends[0].Outcome != string(Later) || sends[1].Outcome != string(Delivered) {
		t.Errorf("%+v, %v", sends, err)
	}
}

// Bytes are kept up to their limit, to the byte, and a word that is no hash opens nothing.
func TestBlobToItsLimit(t *testing.T) {
	l, _ := newLedger(t)
	for n, fits := range map[int]bool{10: true, 11: false} {
		if _, _, err := l.PutBlob(t.Context(), KindFile, strings.NewReader(strings.Repeat("x", n)), 10); errors.Is(err, ErrTooLarge) == fits {
			t.Errorf("%d bytes of at most 10: %v", n, err)
		}
	}
	w, err := l.NewBlob(KindFile, 10)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Abort()
	for i, fits := range []bool{true, true, false, false} { // in pieces of five, and what follows is not taken either
		if _, err := w.Write([]byte("xxxxx")[:5-i/3*4]); (err == nil) != fits {
			t.Errorf("piece %d: %v", i, err)
		}
	}
	hash := hashOf([]byte("x"))
	for word, want := range map[string]bool{hash: true, hash[1:]: false, hash + "0": false, strings.ToUpper(hash): false, "../../" + hash[6:]: false, "": false} {
		if isSHA(word) != want || (l.BlobPath(word) != "") != want {
			t.Errorf("%q: taken for a hash %v", word, !want)
		}
	}
}

// What was taken back counts in no sum, and a letter that came twice is one.
func TestReportCountsEachOnce(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	if _, fresh, err := take(ctx, l, 2, 9, "a"); err != nil || fresh { // numbered anew: the same letter
		t.Fatal(fresh, err)
	}
	do(t, l, func(tx *Tx) error {
		if err := tx.RecordPrint(ctx, j.ID, "Bench 1", 1.006, 2.06, true, "Bo Example"); err != nil {
			return err
		}
		return tx.RecordPayment(ctx, j.ID, "1.50", "CAD", "Bo Example")
	})
	first := clock.Now()
	clock.pass(time.Hour)
	for range 2 { // taken back once
		do(t, l, func(tx *Tx) error { return tx.TakeBack(ctx, j.ID, first) })
		clock.pass(time.Hour)
	}
	r, err := l.Report(ctx, first.Add(-time.Hour), clock.Now())
	letters := 0
	for _, n := range r.Letters {
		letters += n
	}
	if err != nil || letters != 1 || r.Prints != 0 || len(r.Income) != 0 {
		t.Errorf("%+v, %v", r, err)
	}
	list, err := l.PrintsOf(ctx, j.ID)
	if err != nil || len(list) != 1 || !list[0].TakenBack.Equal(first.Add(time.Hour)) {
		t.Errorf("%+v, %v", list, err)
	}
	events, err := l.Events(ctx, string(j.ID))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if e.What == "printed" && (e.Why.Args["hours"] != 1.01 || e.Why.Args["grams"] != 2.1) {
			t.Errorf("told as %v", e.Why.Args)
		}
	}
}

// What may be recorded of a letter in each of its states.
func TestWhatMayBecomeOfALetter(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	at := map[LetterState]string{}
	for i, state := range []LetterState{LetterTaken, LetterRead, LetterDone, LetterLeftAlone, LetterSetAside} {
		id := taken(t, l, uint32(i+1), string(state))
		do(t, l, func(tx *Tx) error {
			switch state {
			case LetterTaken:
				return nil
			case LetterRead:
				return tx.SaveParsed(ctx, id, job.Letter{From: job.Address{Address: "ada@example.org"}, Disposition: job.Request}, Robot)
			}
			return tx.SetLetter(ctx, id, state, Robot, job.Plain(""))
		})
		at[state] = id
	}
	sha, n, err := l.PutBlob(ctx, KindLetter, strings.NewReader(string(LetterTaken)), 0)
	if err != nil {
		t.Fatal(err)
	}
	twin, _, err := l.Take(ctx, TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: 99, SHA256: sha, Bytes: n, ReceivedAt: l.clock()})
	if err != nil {
		t.Fatal(err)
	}
	at[LetterDuplicate] = twin
	for state, id := range at {
		for _, to := range []LetterState{LetterDone, LetterLeftAlone, LetterSetAside, LetterTaken, LetterDuplicate} {
			err := undone(t, l, func(tx *Tx) error { return tx.SetLetter(ctx, id, to, Robot, job.Plain("")) })
			if may := state != LetterDuplicate && to != LetterTaken && to != LetterDuplicate; (err == nil) != may {
				t.Errorf("%s becomes %s: %v", state, to, err)
			}
		}
		err := undone(t, l, func(tx *Tx) error { return tx.Again(ctx, id, "Bo Example", job.Plain("")) })
		if may := state == LetterSetAside || state == LetterLeftAlone; (err == nil) != may {
			t.Errorf("%s is read again: %v", state, err)
		}
	}
}

// Only what was given up is tried again: another step of the same subject goes on waiting.
func TestOnlyWhatWasGivenUpIsTriedAgain(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	later := clock.Now().Add(time.Hour)
	if err := l.Enqueue(ctx, StepDraft, "D-000001", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if err := undone(t, l, func(tx *Tx) error { return tx.TryAgain(ctx, "D-000001", "Bo Example") }); !errors.Is(err, ErrNotFound) {
		t.Errorf("nothing was given up: %v", err)
	}
	s := lease(t, l, "robot")
	do(t, l, func(tx *Tx) error { return tx.GiveUp(ctx, s, errors.New("odd"), Robot) })
	if err := l.Enqueue(ctx, StepPost, "D-000001", later); err != nil {
		t.Fatal(err)
	}
	do(t, l, func(tx *Tx) error { return tx.TryAgain(ctx, "D-000001", "Bo Example") })
	open, err := l.OpenSteps(ctx)
	if err != nil || len(open) != 2 || open[0].Kind != StepDraft || open[0].Attempts != 0 || open[1].Kind != StepPost || !open[1].Due.Equal(later) {
		t.Errorf("%+v, %v", open, err)
	}
	if told, err := l.Notices(ctx, false); err != nil || len(told) != 0 {
		t.Errorf("still told of: %+v, %v", told, err)
	}
}

// A list has as many entries as there are, up to its limit.
func TestListsUpToTheirLimit(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	for i := range 3 {
		d := newDraft(t, l, fmt.Sprint(i), newJob(t, l, taken(t, l, uint32(i+1), fmt.Sprint(i))).ID)
		do(t, l, func(tx *Tx) error { return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage) })
	}
	for limit, want := range map[int]int{0: 3, 2: 2, 3: 3, 9: 3} {
		audit, err := l.Audit(ctx, AuditFilter{What: []string{"approved", "sent"}, Limit: limit})
		if err != nil || len(audit) != want {
			t.Errorf("audit up to %d: %d, %v", limit, len(audit), err)
		}
		jobs, err := l.Jobs(ctx, Filter{Limit: limit})
		if err != nil || len(jobs) != want {
			t.Errorf("jobs up to %d: %d, %v", limit, len(jobs), err)
		}
		drafts, err := l.Drafts(ctx, DraftFilter{Limit: limit})
		if err != nil || len(drafts) != want {
			t.Errorf("drafts up to %d: %d, %v", limit, len(drafts), err)
		}
	}
	if (Notice{Subject: ""}).About("") || !(Notice{Subject: "a"}).About("a") || !(Notice{Letters: []string{"b"}}).About("b") || (Notice{Subject: "a"}).About("b") {
		t.Error("what a notice is about")
	}
}
