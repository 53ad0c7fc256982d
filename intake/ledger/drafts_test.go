package ledger

import (
	"errors"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

func TestNewDraftSupersedes(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	one, two, other := newJob(t, l, letter), newJob(t, l, letter), newJob(t, l, letter)
	both := newDraft(t, l, "about both", one.ID, two.ID)
	apart := newDraft(t, l, "about another", other.ID)
	do(t, l, func(tx *Tx) error {
		return tx.PlaceDraft(ctx, both.ID, Place{"To approve", 1, 5})
	})
	do(t, l, func(tx *Tx) error {
		_, old, err := tx.NewDraft(ctx, Draft{Jobs: []job.ID{two.ID}, To: job.Address{Address: "ada@example.org"}}, []byte("newer"), Robot, job.Plain(""))
		if len(old) != 1 || old[0].ID != both.ID || old[0].Place.UID != 5 || len(old[0].Jobs) != 2 {
			t.Errorf("superseded %+v", old)
		}
		return err
	})
	if d, _ := l.Draft(ctx, both.ID); d.State != DraftSuperseded || d.Why.Key != "history.superseded" || d.Why.Args["draft"] == both.ID {
		t.Errorf("%+v", d)
	}
	if d, _ := l.Draft(ctx, apart.ID); d.State != DraftWaiting {
		t.Errorf("%+v", d)
	}
	err := l.Approve(ctx, both.ID, both.SHA256, "Bo Example", ViaCommand)
	if bad, ok := errors.AsType[*DraftStateError](err); !ok || bad.State != DraftSuperseded {
		t.Errorf("approving the old one: %v", err)
	}
	list, err := l.Drafts(ctx, DraftFilter{States: []DraftState{DraftWaiting}, Job: two.ID})
	if err != nil || len(list) != 1 || list[0].ID == both.ID {
		t.Errorf("%+v, %v", list, err)
	}
}

// A person's decision is not undone by a newer draft.
func TestNewDraftLeavesApprovedOnes(t *testing.T) {
	l, _ := newLedger(t)
	d := approved(t, l)
	newDraft(t, l, "newer", d.Jobs...)
	if got, _ := l.Draft(t.Context(), d.ID); got.State != DraftApproved {
		t.Errorf("%+v", got)
	}
}

func TestDraftIDsAreSetAside(t *testing.T) {
	l, _ := newLedger(t)
	a, err := l.NextDraftID(t.Context())
	if err != nil || a != "D-000001" {
		t.Fatalf("%q, %v", a, err)
	}
	j := newJob(t, l, taken(t, l, 1, "a"))
	if d := newDraft(t, l, "x", j.ID); d.ID != "D-000002" {
		t.Errorf("%q", d.ID)
	}
}

func TestMessageIDIsOneDrafts(t *testing.T) {
	l, _ := newLedger(t)
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "x", j.ID)
	err := l.Tx(t.Context(), func(tx *Tx) error {
		_, _, err := tx.NewDraft(t.Context(), Draft{MessageID: d.MessageID, To: job.Address{Address: "ada@example.org"}}, []byte("y"), Robot, job.Plain(""))
		return err
	})
	if err == nil || !strings.Contains(err.Error(), "Message-ID") {
		t.Errorf("two drafts with one Message-ID: %v", err)
	}
}

func TestSetAsideAndReopen(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	d := approved(t, l)
	if err := l.SetAside(ctx, d.ID, "Bo Example", job.Plain("on second thoughts")); err != nil {
		t.Fatal(err)
	}
	got, err := l.Draft(ctx, d.ID)
	if err != nil || got.State != DraftSetAside || got.Approval != nil || got.Why.Text != "on second thoughts" {
		t.Errorf("%+v, %v", got, err)
	}
	if _, _, err := l.BeginSend(ctx, d.ID, "robot"); err == nil {
		t.Error("a draft that was set aside was sent")
	}
	do(t, l, func(tx *Tx) error { return tx.Reopen(ctx, d.ID, "Bo Example", job.Plain("")) })
	if got, _ = l.Draft(ctx, d.ID); got.State != DraftWaiting {
		t.Errorf("%+v", got)
	}
}

func moved(uid uint32, d Draft, raw string) Moved {
	return Moved{Draft: d.ID, Place: Place{"Approved", 1, uid}, By: "Bo Example", Edit: Edit{Raw: []byte(raw)}}
}

func TestApproveMoved(t *testing.T) {
	for _, c := range []struct {
		name, text string
		edited     bool
	}{{"as it was", "Dear Ada", false}, {"edited", "Dear Ms Example", true}} {
		t.Run(c.name, func(t *testing.T) {
			l, _ := newLedger(t)
			ctx := t.Context()
			j := newJob(t, l, taken(t, l, 1, "a"))
			d := newDraft(t, l, "Dear Ada", j.ID)
			// Two programs move one message at once: the server lets both succeed.
			for uid, want := range []MoveOutcome{MoveApproved, MoveKnown, MoveKnown} {
				var got MoveOutcome
				do(t, l, func(tx *Tx) (err error) {
					got, err = tx.ApproveMoved(ctx, moved(uint32(min(uid, 1)), d, c.text))
					return err
				})
				if got != want {
					t.Errorf("move %d came out as %s, want %s", uid, got, want)
				}
			}
			_, raw, err := l.BeginSend(ctx, d.ID, "robot")
			if err != nil || string(raw) != c.text {
				t.Fatalf("%q, %v", raw, err)
			}
			now, err := l.Draft(ctx, d.ID)
			if err != nil || now.Approval.Via != ViaFolder || now.Approval.By != "Bo Example" || (now.Revision == 2) != c.edited {
				t.Errorf("%+v, %v", now, err)
			}
			if open, _ := l.Notices(ctx, false); len(open) != 0 {
				t.Errorf("%+v", open)
			}
		})
	}
}

// Two people move one draft, each with a text of their own: the first counts,
// staff are told of the second.
func TestApproveMovedTwiceWithOtherWords(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	var first, second MoveOutcome
	do(t, l, func(tx *Tx) (err error) { first, err = tx.ApproveMoved(ctx, moved(1, d, "Dear Ada")); return err })
	do(t, l, func(tx *Tx) (err error) { second, err = tx.ApproveMoved(ctx, moved(2, d, "Hello Ada")); return err })
	if first != MoveApproved || second != MoveRefused {
		t.Errorf("%s, %s", first, second)
	}
	_, raw, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil || string(raw) != "Dear Ada" {
		t.Errorf("%q, %v", raw, err)
	}
	open, err := l.Notices(ctx, false)
	if err != nil || len(open) != 1 || open[0].Text.Key != "notices.move-late-approved" {
		t.Errorf("%+v, %v", open, err)
	}
	if o, seen, err := l.SeenMove(ctx, Place{"Approved", 1, 2}); err != nil || !seen || o != MoveRefused {
		t.Errorf("%s %v %v", o, seen, err)
	}
}

func TestSetAsideMoved(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	m := moved(1, d, "Dear Ada")
	m.Place.Folder = "Set aside"
	var got MoveOutcome
	// Set aside on the page, filed there by the program, and waiting again: nobody moved it.
	do(t, l, func(tx *Tx) (err error) { got, err = tx.SetAsideMoved(ctx, m); return err })
	if now, _ := l.Draft(ctx, d.ID); got != MoveKnown || now.State != DraftWaiting {
		t.Errorf("%s, %+v", got, now)
	}
	do(t, l, func(tx *Tx) error { return tx.PlaceDraft(ctx, d.ID, Place{"To approve", 1, 7}) })
	m.Place.UID = 3
	do(t, l, func(tx *Tx) (err error) { got, err = tx.SetAsideMoved(ctx, m); return err })
	if now, _ := l.Draft(ctx, d.ID); got != MoveSetAside || now.State != DraftSetAside {
		t.Errorf("%s, %+v", got, now)
	}
	// Moved on into the approved folder: the person changed their mind.
	do(t, l, func(tx *Tx) (err error) { got, err = tx.ApproveMoved(ctx, moved(2, d, "Dear Ada")); return err })
	if now, _ := l.Draft(ctx, d.ID); got != MoveApproved || now.State != DraftApproved {
		t.Errorf("%s, %+v", got, now)
	}
}

func TestApproveMovedAfterARefusal(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	d := approved(t, l)
	s, _, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil {
		t.Fatal(err)
	}
	if err := l.EndSend(ctx, s, Refused, job.Plain("550 no"), Robot); err != nil {
		t.Fatal(err)
	}
	var got MoveOutcome
	do(t, l, func(tx *Tx) (err error) { got, err = tx.ApproveMoved(ctx, moved(1, d, "Dear Ada")); return err })
	if got != MoveRefused {
		t.Errorf("the very bytes the server refused: %s", got)
	}
	do(t, l, func(tx *Tx) (err error) { got, err = tx.ApproveMoved(ctx, moved(2, d, "Dear Ada, mended")); return err })
	if got != MoveApproved {
		t.Errorf("mended: %s", got)
	}
}

func TestDraftByMessageIDAndPlace(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	do(t, l, func(tx *Tx) error {
		if err := tx.PlaceDraft(ctx, d.ID, Place{"To approve", 3, 9}); err != nil {
			return err
		}
		_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("x"), MessageID: "<new@example.org>", Doc: []byte(`{"questions":["colour"]}`)}, "Bo Example", job.Plain(""))
		return err
	})
	for _, id := range []string{d.MessageID, "<new@example.org>"} {
		if got, err := l.DraftByMessageID(ctx, id); err != nil || got.ID != d.ID || string(got.Doc) != `{"questions":["colour"]}` {
			t.Errorf("%s: %+v, %v", id, got, err)
		}
	}
	if got, err := l.Draft(ctx, d.ID); err != nil || got.Place != (Place{"To approve", 3, 9}) {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := l.DraftByMessageID(ctx, "<nobody@example.org>"); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
}

// A newer reply supersedes an older one about any of its jobs that nobody approved, or that
// the server refused: either could still be approved. What is on its way, left or was ended
// by a person stays as it is, and so does a reply about other jobs.
func TestWhichRepliesANewerOneSupersedes(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	ends := map[DraftState]Outcome{DraftSending: "", DraftSent: Delivered, DraftUncertain: Uncertain, DraftFailed: Refused}
	for i, c := range []struct {
		state DraftState
		about string // which of the older reply's two jobs the newer one is about
		gone  bool
	}{
		{DraftWaiting, "first", true}, {DraftWaiting, "second", true}, {DraftWaiting, "other", false}, {DraftWaiting, "none", false},
		{DraftFailed, "first", true}, {DraftFailed, "second", true}, {DraftFailed, "other", false}, {DraftFailed, "none", false},
		{DraftApproved, "first", false}, {DraftSending, "first", false}, {DraftSent, "first", false}, {DraftUncertain, "first", false}, {DraftSetAside, "first", false},
	} {
		letter := taken(t, l, uint32(i+1), strings.Repeat("a", i+1))
		of := map[string]job.ID{"first": newJob(t, l, letter).ID, "second": newJob(t, l, letter).ID, "other": newJob(t, l, letter).ID}
		old := newDraft(t, l, "older", of["first"], of["second"])
		outcome, sends := ends[c.state]
		switch {
		case c.state == DraftSetAside:
			do(t, l, func(tx *Tx) error { return tx.SetAside(ctx, old.ID, "Bo Example", job.Plain("")) })
		case c.state != DraftWaiting:
			do(t, l, func(tx *Tx) error { return tx.Approve(ctx, old.ID, old.SHA256, "Bo Example", ViaCommand) })
		}
		if sends {
			s, _, err := l.BeginSend(ctx, old.ID, "robot")
			if err != nil {
				t.Fatal(err)
			}
			if outcome != "" {
				do(t, l, func(tx *Tx) error { return tx.EndSend(ctx, s, outcome, job.Plain(""), Robot) })
			}
		}
		newer := Draft{To: job.Address{Address: "ada@example.org"}}
		if id, ok := of[c.about]; ok {
			newer.Jobs = []job.ID{id}
		}
		var given []Draft
		do(t, l, func(tx *Tx) (err error) {
			_, given, err = tx.NewDraft(ctx, newer, []byte("newer"), Robot, job.Plain(""))
			return err
		})
		want := c.state
		if c.gone {
			want = DraftSuperseded
		}
		if got, err := l.Draft(ctx, old.ID); err != nil || got.State != want || (len(given) == 1) != c.gone {
			t.Errorf("one that is %s, and a newer one about the %s job: %s, %d given back, %v; want %s", c.state, c.about, got.State, len(given), err, want)
		}
	}
}
