package ledger

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"meshclerk/intake/job"
)

// Promise 1: no message leaves without a recorded approval, by a named person,
// of the exact bytes that leave.

func TestSendNeedsApproval(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	_, raw, err := l.BeginSend(t.Context(), d.ID, "robot")
	if bad, ok := errors.AsType[*DraftStateError](err); !ok || bad.State != DraftWaiting || raw != nil {
		t.Fatalf("an unapproved draft was handed out: %q, %v", raw, err)
	}
	sends, err := l.Sends(t.Context(), d.ID)
	if err != nil || len(sends) != 0 {
		t.Errorf("sends are %+v, %v", sends, err)
	}
}

func TestSchemaRefusesSendingWithoutApproval(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	for _, state := range []DraftState{DraftApproved, DraftSending, DraftSent, DraftUncertain} {
		err := l.Tx(t.Context(), func(tx *Tx) error {
			return tx.exec(t.Context(), `UPDATE drafts SET state = ? WHERE id = ?`, string(state), d.ID)
		})
		if err == nil || !strings.Contains(err.Error(), "CHECK") {
			t.Errorf("state %s without an approval: %v", state, err)
		}
	}
}

func TestApprovalNamesAPerson(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	for _, by := range []string{"", "  ", Robot, "Meshclerk"} {
		if err := l.Approve(t.Context(), d.ID, d.SHA256, by, ViaCommand); err == nil {
			t.Errorf("%q could approve", by)
		}
	}
	if got, _ := l.Draft(t.Context(), d.ID); got.State != DraftWaiting {
		t.Errorf("draft is %s", got.State)
	}
}

func TestApprovalOfOtherBytesIsStale(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	do(t, l, func(tx *Tx) error {
		_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("Dear Ms Example")}, "Bo Example", job.Plain("kinder"))
		return err
	})
	err := l.Approve(ctx, d.ID, d.SHA256, "Cleo Example", ViaPage)
	if stale, ok := errors.AsType[*StaleError](err); !ok || stale.Now == d.SHA256 {
		t.Fatalf("approval of bytes that are no longer there: %v", err)
	}
	now, err := l.Draft(ctx, d.ID)
	if err != nil || now.Revision != 2 || now.State != DraftWaiting {
		t.Fatalf("draft is %+v, %v", now, err)
	}
	if err := l.Approve(ctx, d.ID, now.SHA256, "Cleo Example", ViaPage); err != nil {
		t.Fatal(err)
	}
	_, raw, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil || string(raw) != "Dear Ms Example" {
		t.Errorf("sent would be %q, %v", raw, err)
	}
}

func TestApprovedDraftIsNotEdited(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	err := l.Tx(ctx, func(tx *Tx) error {
		_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("something else")}, "Cleo Example", job.Plain(""))
		return err
	})
	if bad, ok := errors.AsType[*DraftStateError](err); !ok || bad.State != DraftApproved {
		t.Errorf("an approved draft was edited: %v", err)
	}
}

func TestBytesChangedOnDiskAreNotSent(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	if err := l.Approve(t.Context(), d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(l.BlobPath(d.SHA256), []byte("Dear Eve"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, raw, err := l.BeginSend(t.Context(), d.ID, "robot")
	if err == nil || raw != nil || !strings.Contains(err.Error(), "changed on disk") {
		t.Fatalf("handed out %q, %v", raw, err)
	}
	if got, _ := l.Draft(t.Context(), d.ID); got.State != DraftApproved {
		t.Errorf("draft is %s although nothing was sent", got.State)
	}
}

// Two people, and two processes, approve one draft at the same moment.
func TestOneApprovalWins(t *testing.T) {
	l, clock := newLedger(t)
	other := open(t, l.Dir(), clock) // as another process would
	j := newJob(t, l, taken(t, l, 1, "a"))
	for round := range 10 {
		d := newDraft(t, l, "Dear Ada "+string(rune('a'+round)), j.ID)
		var won, late atomic.Int64
		var wg sync.WaitGroup
		for i := range 8 {
			wg.Go(func() {
				err := []*Ledger{l, other}[i%2].Approve(t.Context(), d.ID, d.SHA256, "Person "+string(rune('A'+i)), ViaPage)
				if approved, ok := errors.AsType[*ApprovedError](err); ok && approved.By != "" {
					late.Add(1)
				} else if err == nil {
					won.Add(1)
				} else {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if won.Load() != 1 || late.Load() != 7 {
			t.Fatalf("%d approvals won, %d were told that somebody was first", won.Load(), late.Load())
		}
	}
}

func TestApprovalsStayOnRecord(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	if err := l.Approve(t.Context(), d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	for _, change := range []string{
		`UPDATE approvals SET approved_by = 'Eve'`, `DELETE FROM approvals`, `DELETE FROM events`,
		`UPDATE events SET who = 'Eve'`, `UPDATE events SET why = 'because'`, `UPDATE events SET to_state = 'sent'`,
	} {
		err := l.Tx(t.Context(), func(tx *Tx) error { return tx.exec(t.Context(), change) })
		if err == nil {
			t.Errorf("%s went through", change)
		}
	}
}

// Promise 2: a letter is either durably taken or still in the mailbox as it was;
// its identity is folder, UIDVALIDITY, UID and raw hash.

func TestLetterNeedsItsBytes(t *testing.T) {
	l, _ := newLedger(t)
	_, _, err := l.Take(t.Context(), TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: 1, SHA256: strings.Repeat("ab", 32), Bytes: 3})
	if err == nil {
		t.Fatal("a letter was taken whose bytes are not stored")
	}
	if list, err := l.Letters(t.Context(), 10); err != nil || len(list) != 0 {
		t.Errorf("letters are %+v, %v", list, err)
	}
}

func TestTakeKnowsALetterAgain(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	first := taken(t, l, 1, "one")
	taken(t, l, 2, "two")
	steps := func() int {
		open, err := l.OpenSteps(ctx)
		if err != nil {
			t.Fatal(err)
		}
		return len(open)
	}
	if steps() != 2 {
		t.Fatalf("%d first steps for two letters", steps())
	}
	for _, c := range []struct {
		name             string
		uidvalidity, uid uint32
	}{
		{"the same place", 1, 1},
		{"after a change of UIDVALIDITY", 2, 40},
		{"the same place of the new numbering", 2, 40},
		{"after another change", 3, 1},
	} {
		id, fresh, err := take(ctx, l, c.uidvalidity, c.uid, "one")
		if err != nil || fresh || id != first {
			t.Errorf("%s: %q, fresh %v, %v; want %q again", c.name, id, fresh, err, first)
		}
	}
	if steps() != 2 {
		t.Errorf("%d first steps after the same letters came again", steps())
	}
}

func TestTakeTellsCopiesApart(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	first := taken(t, l, 1, "one")
	copyID, fresh, err := take(ctx, l, 1, 2, "one")
	if err != nil || fresh || copyID == first {
		t.Fatalf("a second letter with the same bytes: %q, fresh %v, %v", copyID, fresh, err)
	}
	got, err := l.Letter(ctx, copyID)
	if err != nil || got.State != LetterDuplicate || got.DuplicateOf != first {
		t.Errorf("the copy is %+v, %v", got, err)
	}
	// Both come again under a new numbering: each is known, neither is new.
	seen := map[string]bool{}
	for uid := range uint32(2) {
		id, fresh, err := take(ctx, l, 2, uid+1, "one")
		if err != nil || fresh {
			t.Errorf("after a change of UIDVALIDITY: %q, fresh %v, %v", id, fresh, err)
		}
		seen[id] = true
	}
	if !seen[first] || !seen[copyID] {
		t.Errorf("known again were %v, want %s and %s", seen, first, copyID)
	}
	if all, _ := l.Letters(ctx, 10); len(all) != 2 {
		t.Errorf("%d letters on record, want 2", len(all))
	}
}

// RFC 3501, 2.3.1.1 forbids it, but a server restored from a backup does it.
func TestNumberGivenToOtherBytes(t *testing.T) {
	l, _ := newLedger(t)
	first := taken(t, l, 1, "one")
	second, fresh, err := take(t.Context(), l, 1, 1, "quite another letter")
	if err != nil || !fresh || second == first {
		t.Fatalf("another letter under a used number: %q, fresh %v, %v", second, fresh, err)
	}
	notices, err := l.Notices(t.Context(), false)
	if err != nil || len(notices) != 1 || notices[0].Kind != "number-reused" {
		t.Errorf("notices are %+v, %v", notices, err)
	}
	if at, _ := l.SeenAt(t.Context(), "INBOX", 1, 1); at != second {
		t.Errorf("the place belongs to %s", at)
	}
}

func TestSameBytesInAnotherFolderAreAnotherLetter(t *testing.T) {
	l, _ := newLedger(t)
	first := taken(t, l, 1, "one")
	sha := hashOf([]byte("one"))
	id, fresh, err := l.Take(t.Context(), TakenLetter{Folder: "Other", UIDValidity: 1, UID: 1, SHA256: sha, Bytes: 3})
	if err != nil || !fresh || id == first {
		t.Errorf("%q, fresh %v, %v", id, fresh, err)
	}
}

// Promise 3: an approved draft is sent at most once.

func approved(t *testing.T, l *Ledger) Draft {
	t.Helper()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	if err := l.Approve(t.Context(), d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	return d
}

func TestOneSendBegins(t *testing.T) {
	l, clock := newLedger(t)
	other := open(t, l.Dir(), clock)
	d := approved(t, l)
	var won atomic.Int64
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			_, raw, err := []*Ledger{l, other}[i%2].BeginSend(t.Context(), d.ID, "robot")
			if err == nil {
				won.Add(1)
			} else if raw != nil {
				t.Errorf("bytes with the error %v", err)
			}
		})
	}
	wg.Wait()
	if won.Load() != 1 {
		t.Fatalf("%d sends began", won.Load())
	}
}

func TestSchemaRefusesASecondSend(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	d := approved(t, l)
	s, _, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil {
		t.Fatal(err)
	}
	for _, ended := range []string{"open", "uncertain", "sent"} {
		err = l.Tx(ctx, func(tx *Tx) error {
			if err := tx.exec(ctx, `UPDATE sends SET outcome = ? WHERE id = ?`, ended, s.ID); err != nil {
				return err
			}
			return tx.exec(ctx, `INSERT INTO sends (draft, approval, sha256, owner, begun) VALUES (?, ?, ?, 'x', 'now')`, d.ID, s.Approval, s.SHA256)
		})
		if err == nil || !strings.Contains(err.Error(), "UNIQUE") {
			t.Errorf("a second send beside one that is %s: %v", ended, err)
		}
	}
}

func TestCrashWhileSendingIsUncertain(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	d := approved(t, l)
	if _, _, err := l.BeginSend(ctx, d.ID, "robot"); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil { // as a crash would, between BeginSend and EndSend
		t.Fatal(err)
	}
	l = open(t, l.Dir(), clock)
	if got, _ := l.Draft(ctx, d.ID); got.State != DraftSending {
		t.Fatalf("after the crash the draft is %s; sending was not committed", got.State)
	}
	left, err := l.RecoverSends(ctx, "robot")
	if err != nil || len(left) != 1 || left[0].State != DraftUncertain {
		t.Fatalf("recovered %+v, %v", left, err)
	}
	if _, _, err := l.BeginSend(ctx, d.ID, "robot"); err == nil {
		t.Fatal("an uncertain draft was sent again")
	}
	notices, err := l.Notices(ctx, false)
	if err != nil || len(notices) != 1 || notices[0].Subject != d.ID {
		t.Fatalf("notices are %+v, %v", notices, err)
	}
	if err := l.Settle(ctx, d.ID, false, Robot, job.Plain("")); err == nil {
		t.Error("the robot settled it")
	}
	if err := l.Settle(ctx, d.ID, false, "Bo Example", job.Plain("not in the Sent folder")); err != nil {
		t.Fatal(err)
	}
	if _, _, err := l.BeginSend(ctx, d.ID, "robot"); err == nil {
		t.Fatal("sent without a new approval")
	}
	if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	if _, _, err := l.BeginSend(ctx, d.ID, "robot"); err != nil {
		t.Fatal(err)
	}
	if open, _ := l.Notices(ctx, false); len(open) != 0 {
		t.Errorf("still open: %+v", open)
	}
}

func TestEndsOfASend(t *testing.T) {
	for _, c := range []struct {
		end   Outcome
		state DraftState
		again bool // may be sent again without a new approval
	}{
		{Delivered, DraftSent, false}, {Uncertain, DraftUncertain, false}, {Refused, DraftFailed, false}, {Later, DraftApproved, true},
	} {
		t.Run(string(c.end), func(t *testing.T) {
			l, _ := newLedger(t)
			ctx := t.Context()
			d := approved(t, l)
			s, _, err := l.BeginSend(ctx, d.ID, "robot")
			if err != nil {
				t.Fatal(err)
			}
			if err := l.EndSend(ctx, s, c.end, job.Plain("the server's words"), Robot); err != nil {
				t.Fatal(err)
			}
			if err := l.EndSend(ctx, s, Delivered, job.Plain(""), Robot); err == nil {
				t.Error("the same try ended twice")
			}
			got, err := l.Draft(ctx, d.ID)
			if err != nil || got.State != c.state {
				t.Errorf("draft is %s, %v; want %s", got.State, err, c.state)
			}
			if _, _, err := l.BeginSend(ctx, d.ID, "robot"); (err == nil) != c.again {
				t.Errorf("sending again: %v", err)
			}
		})
	}
}

func TestRefusedDraftIsMendedAndApprovedAgain(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	d := approved(t, l)
	s, _, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil {
		t.Fatal(err)
	}
	if err := l.EndSend(ctx, s, Refused, job.Plain("550 no such user"), Robot); err != nil {
		t.Fatal(err)
	}
	do(t, l, func(tx *Tx) error {
		d, err = tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("To another address"), To: job.Address{Address: "ada@example.net"}}, "Bo Example", job.Plain("typing error"))
		if err != nil {
			return err
		}
		return tx.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage)
	})
	s, raw, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil || string(raw) != "To another address" {
		t.Fatalf("%q, %v", raw, err)
	}
	if err := l.EndSend(ctx, s, Delivered, job.Plain("250 ok"), Robot); err != nil {
		t.Fatal(err)
	}
	if problems, err := l.Verify(ctx); err != nil || len(problems) != 0 {
		t.Errorf("%+v, %v", problems, err)
	}
}

// A transaction that fails leaves no trace, whatever it did before.
func TestFailedTransactionLeavesNothing(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	step, err := l.Lease(ctx, "robot", time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	boom := errors.New("the power went")
	err = l.Tx(ctx, func(tx *Tx) error {
		j, err := tx.NewJob(ctx, job.Job{}, letter, Robot, job.Plain(""))
		if err != nil {
			return err
		}
		if _, _, err := tx.NewDraft(ctx, Draft{Jobs: []job.ID{j.ID}, To: job.Address{Address: "ada@example.org"}}, []byte("x"), Robot, job.Plain("")); err != nil {
			return err
		}
		if err := tx.Done(ctx, step); err != nil {
			return err
		}
		return boom
	})
	if !errors.Is(err, boom) {
		t.Fatal(err)
	}
	jobs, _ := l.Jobs(ctx, Filter{})
	drafts, _ := l.Drafts(ctx, DraftFilter{})
	open, _ := l.OpenSteps(ctx)
	if len(jobs) != 0 || len(drafts) != 0 || len(open) != 1 || open[0].State != "leased" {
		t.Errorf("jobs %v, drafts %v, steps %+v", jobs, drafts, open)
	}
	// The bytes of the draft lie there without a row, until they are swept.
	files := 0
	filepath.WalkDir(filepath.Join(l.Dir(), blobsDir), func(_ string, d os.DirEntry, _ error) error {
		if !d.IsDir() {
			files++
		}
		return nil
	})
	if files != 2 {
		t.Fatalf("%d files, want the letter and the leftover", files)
	}
	old := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	if err := os.Chtimes(l.BlobPath(hashOf([]byte("x"))), old, old); err != nil {
		t.Fatal(err)
	}
	if n, err := l.Sweep(context.WithoutCancel(ctx), time.Hour); err != nil || n != 1 {
		t.Errorf("swept %d, %v", n, err)
	}
	if problems, err := l.Verify(ctx); err != nil || len(problems) != 0 {
		t.Errorf("%+v, %v", problems, err)
	}
}

// inEachState makes a draft in every state that there is.
func inEachState(t *testing.T, l *Ledger) map[DraftState]Draft {
	t.Helper()
	ctx := t.Context()
	out := map[DraftState]Draft{}
	approve := func(d Draft) error { return l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand) }
	send := func(d Draft, o Outcome) error {
		s, _, err := l.BeginSend(ctx, d.ID, "robot")
		if err != nil || o == "" {
			return err
		}
		return l.EndSend(ctx, s, o, job.Plain("550 no"), Robot)
	}
	for i, c := range []struct {
		state DraftState
		reach func(d Draft) error
	}{
		{DraftWaiting, func(Draft) error { return nil }},
		{DraftApproved, approve},
		{DraftSending, func(d Draft) error { return errors.Join(approve(d), send(d, "")) }},
		{DraftSent, func(d Draft) error { return errors.Join(approve(d), send(d, Delivered)) }},
		{DraftUncertain, func(d Draft) error { return errors.Join(approve(d), send(d, Uncertain)) }},
		{DraftFailed, func(d Draft) error { return errors.Join(approve(d), send(d, Refused)) }},
		{DraftSetAside, func(d Draft) error {
			return l.Tx(ctx, func(tx *Tx) error { return tx.SetAside(ctx, d.ID, "Bo Example", job.Plain("")) })
		}},
		{DraftSuperseded, func(d Draft) error { newDraft(t, l, "Dear Ada, anew", d.Jobs...); return nil }},
	} {
		d := newDraft(t, l, "Dear Ada", newJob(t, l, taken(t, l, uint32(i+1), string(c.state))).ID)
		if err := c.reach(d); err != nil {
			t.Fatalf("%s: %v", c.state, err)
		}
		d, err := l.Draft(ctx, d.ID)
		if err != nil || d.State != c.state {
			t.Fatalf("%s: %+v, %v", c.state, d, err)
		}
		out[c.state] = d
	}
	return out
}

// A reply that lies in Sent is known to have left where the ledger has tried to send
// it. Where it only waits, was refused or was set aside, the ledger is older.
func TestReplyInSentIsKnownByItsState(t *testing.T) {
	l, _ := newLedger(t)
	want := map[DraftState]bool{DraftWaiting: false, DraftApproved: false, DraftFailed: false, DraftSetAside: false,
		DraftSending: true, DraftSent: true, DraftUncertain: true, DraftSuperseded: true}
	for state, d := range inEachState(t, l) {
		known, id, err := l.KnowsSent(t.Context(), d.MessageID, d.ID)
		if err != nil || known != want[state] || id != d.ID {
			t.Errorf("%s: known %v as %s, %v; want %v as %s", state, known, id, err, want[state], d.ID)
		}
	}
}

// An approval anew settles the notice that the server had refused the reply.
func TestApprovalAnewSettlesTheRefusal(t *testing.T) {
	l, _ := newLedger(t)
	d := inEachState(t, l)[DraftFailed]
	told := func() (n int) {
		all, err := l.Notices(t.Context(), false)
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range all {
			if one.Kind == NoticeSendRefused && one.Subject == d.ID {
				n++
			}
		}
		return n
	}
	if told() != 1 {
		t.Fatalf("%d notices that the reply was refused", told())
	}
	if err := l.Approve(t.Context(), d.ID, d.SHA256, "Bo Example", ViaPage); err != nil || told() != 0 {
		t.Errorf("approved anew: %v; %d notices", err, told())
	}
}
