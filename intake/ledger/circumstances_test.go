package ledger

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
)

// Where something is asked with several conditions at once, each row here differs in one
// of them.

// draftIn makes a draft about a job of its own, and brings it to a state.
func draftIn(t *testing.T, l *Ledger, n uint32, state DraftState) Draft {
	t.Helper()
	ctx := t.Context()
	d := newDraft(t, l, fmt.Sprint("reply ", n), newJob(t, l, taken(t, l, n, fmt.Sprint("letter ", n))).ID)
	do(t, l, func(tx *Tx) error { return tx.PlaceDraft(ctx, d.ID, Place{"To approve", 1, n}) })
	switch state {
	case DraftWaiting:
	case DraftSetAside:
		do(t, l, func(tx *Tx) error { return tx.SetAside(ctx, d.ID, "Bo Example", job.Plain("later")) })
	case DraftSuperseded:
		newDraft(t, l, "instead", d.Jobs...)
	default:
		if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage); err != nil {
			t.Fatal(err)
		}
	}
	if outcome, ok := map[DraftState]Outcome{DraftSent: Delivered, DraftFailed: Refused, DraftUncertain: Uncertain, DraftSending: ""}[state]; ok {
		s, _, err := l.BeginSend(ctx, d.ID, "robot")
		if err == nil && outcome != "" {
			err = l.EndSend(ctx, s, outcome, job.Plain("550"), Robot)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	d, err := l.Draft(ctx, d.ID)
	if err != nil || d.State != state {
		t.Fatalf("%s, %v; want it %s", d.State, err, state)
	}
	return d
}

// What a copy in an approved folder does, by the state of its draft and by whether it is
// the same to the byte.
func TestMovedIntoAnApprovedFolder(t *testing.T) {
	l, _ := newLedger(t)
	for i, c := range []struct {
		state   DraftState
		same    bool
		before  string // whom the edit says that it was addressed to
		outcome MoveOutcome
		then    DraftState
	}{
		{DraftWaiting, true, "", MoveApproved, DraftApproved}, {DraftWaiting, false, "", MoveApproved, DraftApproved},
		{DraftWaiting, false, "ada@example.org", MoveReaddressed, DraftWaiting},
		{DraftSetAside, true, "", MoveApproved, DraftApproved}, {DraftSetAside, false, "", MoveApproved, DraftApproved},
		{DraftApproved, true, "", MoveKnown, DraftApproved}, {DraftApproved, false, "", MoveRefused, DraftApproved},
		{DraftFailed, true, "", MoveRefused, DraftFailed}, {DraftFailed, false, "", MoveApproved, DraftApproved},
		{DraftSending, true, "", MoveKnown, DraftSending}, {DraftSending, false, "", MoveRefused, DraftSending},
		{DraftSent, true, "", MoveKnown, DraftSent}, {DraftSent, false, "", MoveRefused, DraftSent},
		{DraftUncertain, true, "", MoveKnown, DraftUncertain}, {DraftUncertain, false, "", MoveRefused, DraftUncertain},
		{DraftSuperseded, true, "", MoveRefused, DraftSuperseded}, {DraftSuperseded, false, "", MoveRefused, DraftSuperseded},
	} {
		d := draftIn(t, l, uint32(i+1), c.state)
		m := Moved{Draft: d.ID, Place: Place{"Approved", 1, uint32(i + 1)}, By: "Bo Example", Edit: Edit{Raw: []byte(fmt.Sprint("reply ", i+1)), AddressedBefore: c.before}}
		if !c.same {
			m.Edit.Raw = append(m.Edit.Raw, ", edited"...)
		}
		for _, want := range []MoveOutcome{c.outcome, MoveKnown} { // the same message is dealt with once
			var got MoveOutcome
			do(t, l, func(tx *Tx) (err error) { got, err = tx.ApproveMoved(t.Context(), m); return err })
			now, err := l.Draft(t.Context(), d.ID)
			if err != nil || got != want || now.State != c.then {
				t.Errorf("%s, the same %v: %s, then %s, %v; want %s, %s", c.state, c.same, got, now.State, err, want, c.then)
			}
		}
	}
}

// What a copy in the set-aside folder does, by the state of its draft.
func TestMovedIntoTheSetAsideFolder(t *testing.T) {
	l, _ := newLedger(t)
	for i, c := range []struct {
		state   DraftState
		placed  bool
		outcome MoveOutcome
		then    DraftState
	}{
		{DraftWaiting, true, MoveSetAside, DraftSetAside}, {DraftWaiting, false, MoveKnown, DraftWaiting},
		{DraftApproved, true, MoveSetAside, DraftSetAside}, {DraftApproved, false, MoveSetAside, DraftSetAside},
		{DraftFailed, true, MoveSetAside, DraftSetAside}, {DraftFailed, false, MoveSetAside, DraftSetAside},
		{DraftSetAside, true, MoveKnown, DraftSetAside}, {DraftSuperseded, true, MoveKnown, DraftSuperseded},
		{DraftSending, true, MoveRefused, DraftSending}, {DraftSent, true, MoveRefused, DraftSent}, {DraftUncertain, true, MoveRefused, DraftUncertain},
	} {
		d := draftIn(t, l, uint32(i+1), c.state)
		var got MoveOutcome
		do(t, l, func(tx *Tx) (err error) {
			if !c.placed {
				if err := tx.PlaceDraft(t.Context(), d.ID, Place{}); err != nil {
					return err
				}
			}
			got, err = tx.SetAsideMoved(t.Context(), Moved{Draft: d.ID, Place: Place{"Set aside", 1, uint32(i + 1)}, By: "Bo Example"})
			return err
		})
		if now, err := l.Draft(t.Context(), d.ID); err != nil || got != c.outcome || now.State != c.then {
			t.Errorf("%s, placed %v: %s, then %s, %v; want %s, %s", c.state, c.placed, got, now.State, err, c.outcome, c.then)
		}
	}
}

// A message is known by its folder, its numbering and its number, all three.
func TestPlaceThatWasSeen(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	moved, passed := Place{"Approved", 1, 7}, Place{"Approved", 2, 8}
	d := draftIn(t, l, 1, DraftWaiting)
	do(t, l, func(tx *Tx) error {
		if _, err := tx.ApproveMoved(ctx, Moved{Draft: d.ID, Place: moved, By: "Bo Example", Edit: Edit{Raw: []byte("reply 1")}}); err != nil {
			return err
		}
		first, err := tx.PassOver(ctx, passed, "carried")
		again, err2 := tx.PassOver(ctx, passed, "carried")
		if !first || again {
			t.Errorf("passed over first %v, then %v", first, again)
		}
		return errors.Join(err, err2)
	})
	for _, c := range []struct {
		at   Place
		want MoveOutcome
	}{
		{moved, MoveApproved}, {Place{"Set aside", 1, 7}, ""}, {Place{"Approved", 2, 7}, ""}, {Place{"Approved", 1, 8}, ""},
		{passed, MoveRefused}, {Place{"Set aside", 2, 8}, ""}, {Place{"Approved", 2, 9}, ""},
	} {
		got, seen, err := l.SeenMove(ctx, c.at)
		if err != nil || got != c.want || seen != (c.want != "") {
			t.Errorf("%v: seen %v, %q, %v; want %q", c.at, seen, got, err, c.want)
		}
	}
}

// Up to where a folder is known goes back in a new numbering only, and is each folder's own.
func TestWatchedGoesBackInANewNumberingOnly(t *testing.T) {
	l, _ := newLedger(t)
	for _, c := range []struct{ save, want Watched }{
		{Watched{}, Watched{}}, {Watched{1, 5}, Watched{1, 5}}, {Watched{1, 3}, Watched{1, 5}}, {Watched{1, 5}, Watched{1, 5}}, {Watched{1, 6}, Watched{1, 6}},
		{Watched{2, 1}, Watched{2, 1}}, {Watched{2, 4}, Watched{2, 4}},
	} {
		do(t, l, func(tx *Tx) error {
			if c.save == (Watched{}) {
				return nil
			}
			return errors.Join(tx.SaveWatched(t.Context(), "Approved", c.save), tx.SavePoll(t.Context(), "INBOX", c.save.UIDValidity, c.save.HighestUID))
		})
		if got, err := l.Watched(t.Context(), "Approved"); err != nil || got != c.want {
			t.Errorf("after %+v: %+v, %v, want %+v", c.save, got, err, c.want)
		}
		if got, err := l.Poll(t.Context(), "INBOX"); err != nil || (Watched{got.UIDValidity, got.HighestUID}) != c.want {
			t.Errorf("inbox after %+v: %+v, %v, want %+v", c.save, got, err, c.want)
		}
		if got, err := l.Watched(t.Context(), "Set aside"); err != nil || got != (Watched{}) {
			t.Errorf("another folder: %+v, %v", got, err)
		}
	}
}

// What waits for a trouble is due once it is over, and nothing else is.
func TestWhatATroubleThatIsOverLetsGo(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	waits := map[string]Trouble{"D-1": SendingAway, "D-2": MailboxAway, "D-3": NoTrouble}
	for subject, trouble := range waits {
		if err := l.Enqueue(ctx, StepSend, subject, time.Time{}); err != nil {
			t.Fatal(err)
		}
		s, err := l.Lease(ctx, "robot", time.Minute)
		if err != nil || s == nil {
			t.Fatalf("%+v, %v", s, err)
		}
		do(t, l, func(tx *Tx) error {
			if trouble == NoTrouble {
				return tx.Retry(ctx, s, errors.New("no"), time.Hour)
			}
			if err := tx.AddNotice(ctx, NoticeTrouble, string(trouble), job.Plain("away")); err != nil {
				return err
			}
			return tx.Wait(ctx, s, trouble, errors.New("away"), time.Hour)
		})
	}
	do(t, l, func(tx *Tx) error { return tx.AddNotice(ctx, NoticeSendDoubt, "D-9", job.Plain("another kind")) })
	left := func(tx *Tx) (out bool) {
		out, err := tx.EndTrouble(ctx, Robot)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	do(t, l, func(tx *Tx) error {
		if !left(tx) {
			t.Error("both troubles last, and none is told of")
		}
		return tx.Resume(ctx, SendingAway)
	})
	clock.pass(time.Millisecond)
	s, err := l.Lease(ctx, "robot", time.Minute)
	if err != nil || s == nil || s.Subject != "D-1" || s.Waits != 0 {
		t.Fatalf("what waited for the sending server: %+v, %v", s, err)
	}
	if other, err := l.Lease(ctx, "robot", time.Minute); err != nil || other != nil {
		t.Errorf("what waits for something else is due: %+v, %v", other, err)
	}
	do(t, l, func(tx *Tx) error {
		if err := tx.Done(ctx, s); err != nil {
			return err
		}
		if !left(tx) {
			t.Error("the other trouble lasts, and is not told of")
		}
		return nil
	})
	open := openNotices(t, l)
	kinds := map[string]bool{}
	for _, n := range open {
		kinds[string(n.Kind)+" "+n.Subject] = true
	}
	if len(open) != 2 || !kinds[string(NoticeTrouble)+" "+string(MailboxAway)] || !kinds[string(NoticeSendDoubt)+" D-9"] {
		t.Errorf("open: %+v", open)
	}
}

// What the Sent folder holds is news only where the ledger takes it for not sent.
func TestWhatIsKnownOfTheSentFolder(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	for i, state := range []DraftState{DraftWaiting, DraftApproved, DraftFailed, DraftSetAside, DraftSending, DraftSent, DraftUncertain, DraftSuperseded} {
		d := draftIn(t, l, uint32(i+1), state)
		known, waiting, err := l.KnowsSent(ctx, d.MessageID, d.ID)
		if want := i >= 4; err != nil || known != want || waiting != d.ID {
			t.Errorf("%s: known %v, %q, %v", state, known, waiting, err)
		}
		found := FoundSent{Draft: d.ID, MessageID: d.MessageID, Place: Place{"Sent", 1, uint32(i + 1)}, Sent: l.clock()}
		var counts bool
		do(t, l, func(tx *Tx) (err error) { counts, err = tx.sentBefore(ctx, found, "Bo Example"); return err })
		now, err := l.Draft(ctx, d.ID)
		if want := i < 4; err != nil || counts != want || counts != (now.State == DraftSent && state != DraftSent) || !counts && now.State != state {
			t.Errorf("%s, found in Sent: counts %v, then %s, %v", state, counts, now.State, err)
		}
	}
	if known, waiting, err := l.KnowsSent(ctx, "<D-009999.x@larkfield.example>", "D-009999"); err != nil || known || waiting != "" {
		t.Errorf("one that is not ours: known %v, %q, %v", known, waiting, err)
	}
	stranger := FoundSent{MessageID: "<D-009999.x@larkfield.example>", Place: Place{"Sent", 1, 99}, Sent: l.clock()}
	do(t, l, func(tx *Tx) error { return tx.Hold(ctx, []FoundSent{stranger}, job.Plain("restored")) })
	if known, _, err := l.KnowsSent(ctx, stranger.MessageID, "D-009999"); err != nil || !known {
		t.Errorf("one that was found before: known %v, %v", known, err)
	}
	for _, f := range []FoundSent{stranger, {Draft: "D-009999"}} {
		do(t, l, func(tx *Tx) error {
			if counts, err := tx.sentBefore(ctx, f, "Bo Example"); err != nil || counts {
				t.Errorf("a draft that is not there counts as sent: %v, %v", counts, err)
			}
			return nil
		})
	}
}

// Only a person lets a held ledger go on, and only one that is held. An approval of a
// reply to a letter that was answered before is taken back then.
func TestWhoLetsAHeldLedgerGoOn(t *testing.T) {
	for name, c := range map[string]struct {
		change func(f *FoundSent)
		again  bool // the reply needs a new approval
	}{
		"an answer":        {func(*FoundSent) {}, true},
		"of a known draft": {func(f *FoundSent) { f.Draft = "D-009999" }, false},
		"of no sent copy":  {func(f *FoundSent) { f.Sent = time.Time{} }, false},
		"to another":       {func(f *FoundSent) { f.Answers = "<another@example.org>" }, false},
		"to nothing":       {func(f *FoundSent) { f.Answers = "" }, false},
	} {
		l, clock := newLedger(t)
		ctx := t.Context()
		letter := taken(t, l, 1, "a")
		d := draftIn(t, l, 2, DraftWaiting)
		do(t, l, func(tx *Tx) error { return tx.exec(ctx, `UPDATE drafts SET letter = ? WHERE id = ?`, letter, d.ID) })
		if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaPage); err != nil {
			t.Fatal(err)
		}
		goOn := func(by string) error {
			return l.Tx(ctx, func(tx *Tx) error { _, err := tx.GoOn(ctx, by); return err })
		}
		if err := goOn("Bo Example"); err == nil {
			t.Errorf("%s: nothing is held, and it goes on", name)
		}
		f := FoundSent{MessageID: "<D-008888.x@larkfield.example>", Answers: "<letter-1@example.org>", Place: Place{"Sent", 1, 9}, Sent: clock.Now()}
		c.change(&f)
		do(t, l, func(tx *Tx) error { return tx.Hold(ctx, []FoundSent{f}, job.Plain("restored")) })
		for _, by := range []string{"", Robot} {
			if err := goOn(by); err == nil {
				t.Errorf("%s: %q lets it go on", name, by)
			}
		}
		if err := goOn("Bo Example"); err != nil {
			t.Fatal(err)
		}
		if since, err := l.HeldSince(ctx); err != nil || !since.IsZero() {
			t.Errorf("%s: held still, %v", name, err)
		}
		if now, err := l.Draft(ctx, d.ID); err != nil || (now.State == DraftWaiting) != c.again || (now.State == DraftApproved) == c.again {
			t.Errorf("%s: the reply is %s, %v", name, now.State, err)
		}
	}
}

// What only a person settles is not settled by nobody, nor by the robot.
func TestWhatOnlyAPersonSettles(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	doubt, waits := draftIn(t, l, 1, DraftUncertain), draftIn(t, l, 2, DraftWaiting)
	for name, act := range map[string]func(tx *Tx, by string) error{
		"an uncertain send": func(tx *Tx, by string) error { return tx.Settle(ctx, doubt.ID, true, by, job.Plain("")) },
		"that it was sent":  func(tx *Tx, by string) error { return tx.WasSent(ctx, waits.ID, by, job.Plain("")) },
		"the clock":         func(tx *Tx, by string) error { return tx.SayClockRight(ctx, by) },
	} {
		for by, want := range map[string]bool{"": false, Robot: false, "Bo Example": true} {
			undone := errors.New("undone")
			err := l.Tx(ctx, func(tx *Tx) error {
				if err := act(tx, by); err != nil {
					return err
				}
				return undone
			})
			if errors.Is(err, undone) != want {
				t.Errorf("%s by %q: %v", name, by, err)
			}
		}
	}
}

// A letter that was dealt with leaves the notice that it shares with others, and closes
// one of its own; notices of another kind, or about another letter, stay.
func TestLetterLeavesItsNotice(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	from := func(uid uint32, address string) string {
		id := taken(t, l, uid, fmt.Sprint(uid))
		do(t, l, func(tx *Tx) error {
			return tx.SaveParsed(ctx, id, job.Letter{From: job.Address{Address: address}}, Robot)
		})
		clock.pass(time.Minute)
		return id
	}
	a, b, other := from(1, "ada@example.org"), from(2, "ada@example.org"), from(3, "cleo@example.org")
	tell := func(kind NoticeKind, letter string) {
		do(t, l, func(tx *Tx) error { return tx.AddNotice(ctx, kind, letter, job.Plain("look at it")) })
		clock.pass(time.Minute)
	}
	tell(NoticeStray, a)
	tell(NoticeStray, b)
	tell(NoticeStray, other)
	tell(NoticeQuestion, a)
	want := func(what string, want ...string) {
		t.Helper()
		var got []string
		for _, n := range openNotices(t, l) {
			got = append(got, string(n.Kind)+" "+n.Subject)
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: open %q, want %q", what, got, want)
		}
	}
	stray, question := string(NoticeStray)+" ", string(NoticeQuestion)+" "
	want("told", stray+b, stray+other, question+a)
	settle := func(letter string) {
		do(t, l, func(tx *Tx) error { return tx.SettleLetter(ctx, NoticeStray, letter, "Bo Example") })
	}
	settle("L-none")
	want("none of them", stray+b, stray+other, question+a)
	settle(b)
	want("the one it is named for", stray+a, stray+other, question+a)
	settle(a)
	want("the last of it", stray+other, question+a)
}

// A notice is put away as it was read, and where it is open.
func TestNoticeIsPutAwayAsItWasRead(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	do(t, l, func(tx *Tx) error { return tx.AddNotice(ctx, NoticeSendDoubt, "D-1", job.Plain("")) })
	n := openNotices(t, l)[0]
	closed := func(times int) error {
		return l.Tx(ctx, func(tx *Tx) error { return tx.CloseNoticeSeen(ctx, n.ID, times, "Bo Example") })
	}
	if err := closed(n.Times + 1); !errors.Is(err, ErrNoticeGrew) {
		t.Errorf("read otherwise than it is: %v", err)
	}
	if err := closed(n.Times); err != nil {
		t.Errorf("as it was read: %v", err)
	}
	if err := closed(n.Times + 1); err == nil || errors.Is(err, ErrNoticeGrew) {
		t.Errorf("put away already: %v", err)
	}
	if _, err := l.Notice(ctx, "N-none"); !errors.Is(err, ErrNotFound) {
		t.Errorf("one that is not there: %v", err)
	}
}

// An entry of the register is brought up to date where any of its columns differs.
func TestEntryThatChanged(t *testing.T) {
	was := agreement.Entry{Address: "ada@example.org", Others: []string{"a@example.org"}, Name: "Ada Example", Card: "1", Signed: "2026-01-02", Version: "1", Expires: "2027-01-02", Guardian: "Kim Example", Born: "2012-01-02", Minor: true}
	if !sameEntry(was, was) {
		t.Error("an entry differs from itself")
	}
	for f := range reflect.TypeFor[agreement.Entry]().Fields() {
		now := was
		switch v := reflect.ValueOf(&now).Elem().FieldByIndex(f.Index); v.Kind() {
		case reflect.String:
			v.SetString(v.String() + "x")
		case reflect.Bool:
			v.SetBool(!v.Bool())
		default:
			v.Set(reflect.ValueOf([]string{"b@example.org"}))
		}
		if sameEntry(was, now) {
			t.Errorf("another %s goes unnoticed", f.Name)
		}
	}
}

// Only a yes that is kept comes to count, and only for a job that has terms.
func TestWhichYesComesToCount(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(l *Ledger, j job.Job) error
		want bool
	}{
		"kept": {func(l *Ledger, j job.Job) error { return nil }, true},
		"none": {func(l *Ledger, j job.Job) error {
			return l.Tx(t.Context(), func(tx *Tx) error { return tx.VoidYes(t.Context(), j.ID, job.Plain("")) })
		}, false},
		"counting already": {func(l *Ledger, j job.Job) error {
			return l.Tx(t.Context(), func(tx *Tx) error { return tx.CountYes(t.Context(), j.ID) })
		}, false},
		"without a price": {func(l *Ledger, j job.Job) error {
			j.Report.Quote = nil
			return l.Tx(t.Context(), func(tx *Tx) error { return tx.SaveJob(t.Context(), j, Robot, job.Plain("")) })
		}, false},
	} {
		l, _ := newLedger(t)
		j, _ := offeredJob(t, l, taken(t, l, 1, "a"))
		do(t, l, func(tx *Tx) error {
			o, _, err := tx.LastOffer(t.Context(), j.ID)
			if err != nil {
				return err
			}
			return tx.KeepYes(t.Context(), o, "", "patron")
		})
		if err := c.do(l, j); err != nil {
			t.Fatal(err)
		}
		err := l.Tx(t.Context(), func(tx *Tx) error { return tx.CountYes(t.Context(), j.ID) })
		if (err == nil) != c.want {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Only who was said to speak for the patron does, in that conversation.
func TestWhoSpeaksForThePatron(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j, other := newJob(t, l, taken(t, l, 1, "a")), newJob(t, l, taken(t, l, 2, "b"))
	var letters []string
	for i, address := range []string{"kim@example.org", "dee@example.org", ""} {
		id := taken(t, l, uint32(i+3), address)
		do(t, l, func(tx *Tx) error {
			if err := tx.SaveParsed(ctx, id, job.Letter{From: job.Address{Address: address}}, Robot); err != nil {
				return err
			}
			return tx.Link(ctx, j.ID, id, RoleAnswer)
		})
		letters = append(letters, id)
	}
	for _, i := range []int{0, 2} {
		do(t, l, func(tx *Tx) error { return tx.SpeaksFor(ctx, j.ID, letters[i], "Bo Example", job.Plain("")) })
	}
	if got, err := l.Guardians(ctx, j.Thread); err != nil || !slices.Equal(got, []string{"kim@example.org"}) {
		t.Errorf("%q, %v", got, err)
	}
	if got, err := l.Guardians(ctx, other.Thread); err != nil || len(got) != 0 {
		t.Errorf("in another conversation: %q, %v", got, err)
	}
	for address, want := range map[string]bool{"kim@example.org": true, "ada@example.org": true, "dee@example.org": false, "": false} {
		found, err := l.FindThreads(ctx, job.Letter{From: job.Address{Address: address}, Subject: "Re: [" + j.Thread + "]"})
		if err != nil || len(found) != 1 || found[0].SameSender != want || found[0].Guess {
			t.Errorf("%q: %+v, %v", address, found, err)
		}
	}
}

// What may be made of a letter, by what it is.
func TestWhatALetterCanBeMade(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	first := taken(t, l, 1, "a")
	copied, fresh, err := take(ctx, l, 2, 2, "a")
	if err != nil || fresh {
		t.Fatalf("%q, %v", copied, err)
	}
	for _, c := range []struct {
		state LetterState
		want  bool
	}{{LetterDone, true}, {LetterLeftAlone, true}, {LetterSetAside, true}, {LetterTaken, false}, {LetterDuplicate, false}} {
		err := l.Tx(ctx, func(tx *Tx) error { return tx.SetLetter(ctx, first, c.state, Robot, job.Plain("")) })
		if (err == nil) != c.want {
			t.Errorf("made %s: %v", c.state, err)
		}
	}
	for _, c := range []struct {
		state LetterState
		want  bool
	}{{LetterDone, false}, {LetterLeftAlone, true}, {LetterSetAside, true}} {
		do(t, l, func(tx *Tx) error { return tx.SetLetter(ctx, first, c.state, Robot, job.Plain("")) })
		err := l.Tx(ctx, func(tx *Tx) error { return tx.Again(ctx, first, "Bo Example", job.Plain("")) })
		if (err == nil) != c.want {
			t.Errorf("%s, read again: %v", c.state, err)
		}
	}
	if some, err := l.Letters(ctx, 10, LetterTaken); err != nil || len(some) != 1 {
		t.Errorf("of one state: %d, %v", len(some), err)
	}
	if none, err := l.Letters(ctx, 10, LetterDone); err != nil || len(none) != 0 {
		t.Errorf("of another: %d, %v", len(none), err)
	}
}

// A sweep takes what nobody knows, and no file that has a row, or is not ours by its name.
func TestFilesThatASweepLeaves(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	known, _, err := l.PutBlob(ctx, KindLetter, strings.NewReader("a letter"), 0)
	if err != nil {
		t.Fatal(err)
	}
	kept := taken(t, l, 1, "another")
	lost := hashOf([]byte("lost"))
	write := func(name string) {
		t.Helper()
		if err := l.root.MkdirAll(strings.TrimSuffix(name, "/"+name[strings.LastIndex(name, "/")+1:]), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := l.root.WriteFile(name, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	strangers := []string{"blobs/ab/notes.txt", "blobs/00/" + lost}
	if blobName(lost) == strangers[1] {
		t.Fatal("choose another folder")
	}
	ours := []string{blobName(lost), "incoming/half"}
	for _, name := range append(strangers, ours...) {
		write(name)
	}
	do(t, l, func(tx *Tx) error {
		return tx.exec(ctx, `UPDATE blobs SET made = ? WHERE sha256 = ?`, stamp(clock.Now().AddDate(1, 0, 0)), known)
	}) // too young to go
	if _, err := l.sweepFiles(ctx, time.Now().Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	there := func(name string) bool { _, err := l.root.Stat(name); return err == nil }
	for _, name := range append(strangers, blobName(known)) {
		if !there(name) {
			t.Errorf("%s is gone", name)
		}
	}
	for _, name := range ours {
		if there(name) {
			t.Errorf("%s is still there", name)
		}
	}
	if rec, err := l.Letter(ctx, kept); err != nil || !there(blobName(rec.SHA256)) {
		t.Errorf("the bytes of a letter are gone, %v", err)
	}
}

// A reply that goes to others by an edit is approved by no folder as it then stands; a
// further edit in a mail program that leaves its recipients is.
func TestReaddressedIsApprovedByNoFolder(t *testing.T) {
	for name, c := range map[string]struct {
		raw     string
		outcome MoveOutcome
		then    DraftState
	}{"as it stands": {"to eve", MoveRefused, DraftWaiting}, "edited once more": {"to eve, mended", MoveApproved, DraftApproved}} {
		l, _ := newLedger(t)
		d := draftIn(t, l, 1, DraftWaiting)
		move := func(uid uint32, raw, before string) (out MoveOutcome) {
			do(t, l, func(tx *Tx) (err error) {
				out, err = tx.ApproveMoved(t.Context(), Moved{Draft: d.ID, Place: Place{"Approved", 1, uid}, By: "Bo Example", Edit: Edit{Raw: []byte(raw), AddressedBefore: before}})
				return err
			})
			return out
		}
		if got := move(1, "to eve", "ada@example.org"); got != MoveReaddressed {
			t.Fatalf("%s: %s", name, got)
		}
		got := move(2, c.raw, "")
		now, err := l.Draft(t.Context(), d.ID)
		if err != nil || got != c.outcome || now.State != c.then {
			t.Errorf("%s: %s, then %s, %v; want %s", name, got, now.State, err, c.outcome)
		}
		if told := len(openNotices(t, l)); (told == 1) != (c.then == DraftWaiting) {
			t.Errorf("%s: %d notices", name, told)
		}
	}
}

// What a new version of a reply changes: its bytes, and of the rest what is given.
func TestWhatANewVersionChanges(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	for i, state := range []DraftState{DraftWaiting, DraftFailed, DraftApproved, DraftSetAside, DraftSent} {
		was := draftIn(t, l, uint32(i+1), state)
		raw := []byte(fmt.Sprint("version two of ", i))
		err := l.Tx(ctx, func(tx *Tx) error {
			_, err := tx.Replace(ctx, was.ID, was.SHA256, Edit{Raw: raw}, "Bo Example", job.Plain(""))
			return err
		})
		now, err2 := l.Draft(ctx, was.ID)
		if want := i < 2; (err == nil) != want || err2 != nil || want && (now.State != DraftWaiting || now.SHA256 != hashOf(raw) || now.Revision != was.Revision+1) || !want && now.State != was.State {
			t.Errorf("%s: %s, version %d, %v, %v", state, now.State, now.Revision, err, err2)
		}
		if now.To != was.To || now.Subject != was.Subject || now.MessageID != was.MessageID {
			t.Errorf("%s: what was not given changed: %+v", state, now)
		}
	}
	d := draftIn(t, l, 9, DraftWaiting)
	for name, c := range map[string]struct{ base, raw string }{"of other bytes": {"ab", "x"}, "of nothing": {d.SHA256, ""}} {
		if err := l.Tx(ctx, func(tx *Tx) error {
			_, err := tx.Replace(ctx, d.ID, c.base, Edit{Raw: []byte(c.raw)}, "Bo Example", job.Plain(""))
			return err
		}); err == nil {
			t.Errorf("a version %s is taken", name)
		}
	}
	do(t, l, func(tx *Tx) error {
		_, err := tx.Replace(ctx, d.ID, d.SHA256, Edit{Raw: []byte("x"), To: job.Address{Address: "kim@example.org"}, Subject: "s", MessageID: "<m@larkfield.example>"}, "Bo Example", job.Plain(""))
		return err
	})
	if now, err := l.Draft(ctx, d.ID); err != nil || now.To.Address != "kim@example.org" || now.Subject != "s" || now.MessageID != "<m@larkfield.example>" {
		t.Errorf("%+v, %v", now, err)
	}
}

// Which replies are listed, by each of the ways to ask.
func TestWhichRepliesAreListed(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	a, b := draftIn(t, l, 1, DraftWaiting), draftIn(t, l, 2, DraftSetAside)
	do(t, l, func(tx *Tx) error { return tx.PlaceDraft(ctx, b.ID, Place{}) })
	if err := l.Tx(ctx, func(tx *Tx) error { return tx.PlaceDraft(ctx, "D-none", Place{}) }); !errors.Is(err, ErrNotFound) {
		t.Errorf("one that is not there has a place: %v", err)
	}
	j, err := l.Job(ctx, a.Jobs[0])
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		ask  DraftFilter
		want []string
	}{
		"all": {DraftFilter{}, []string{a.ID, b.ID}}, "of a job": {DraftFilter{Job: b.Jobs[0]}, []string{b.ID}}, "of a conversation": {DraftFilter{Thread: j.Thread}, []string{a.ID}},
		"with a copy": {DraftFilter{Placed: true}, []string{a.ID}}, "of a state": {DraftFilter{States: []DraftState{DraftSetAside}}, []string{b.ID}},
		"to somebody": {DraftFilter{To: "ada@example.org"}, []string{a.ID, b.ID}}, "to nobody": {DraftFilter{To: "kim@example.org"}, nil}, "one": {DraftFilter{Limit: 1}, []string{a.ID}},
	} {
		list, err := l.Drafts(ctx, c.ask)
		var got []string
		for _, d := range list {
			got = append(got, d.ID)
		}
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q, %v", name, got, c.want, err)
		}
	}
	all, err := l.Audit(ctx, AuditFilter{})
	if err != nil || len(all) < 1 {
		t.Fatalf("%d acts, %v", len(all), err)
	}
	draftIn(t, l, 3, DraftSent)
	if some, err := l.Audit(ctx, AuditFilter{}); err != nil || len(some) <= len(all) {
		t.Errorf("of the audit: %d, then %d, %v", len(all), len(some), err)
	}
	if one, err := l.Audit(ctx, AuditFilter{Limit: 1}); err != nil || len(one) != 1 {
		t.Errorf("of the audit up to one: %d, %v", len(one), err)
	}
}

// A file that is younger than what a sweep looks at stays: it may still be written.
func TestSweepLeavesWhatIsYoung(t *testing.T) {
	l, _ := newLedger(t)
	name := "incoming/half"
	if err := l.root.WriteFile(name, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		before time.Time
		gone   int
	}{{time.Now().Add(-time.Hour), 0}, {time.Now().Add(time.Hour), 1}} {
		if n, err := l.sweepFiles(t.Context(), c.before); err != nil || n != c.gone {
			t.Errorf("%d removed, want %d, %v", n, c.gone, err)
		}
	}
}

// What is exported about a person holds the files that came with their letters.
func TestExportHoldsTheFilesOfALetter(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	paper, _, err := l.PutBlob(ctx, KindFile, strings.NewReader("a signed form"), 0)
	if err != nil {
		t.Fatal(err)
	}
	letter, unread := taken(t, l, 1, "From: ada@example.org\r\n\r\nhello"), taken(t, l, 2, "From: ada@example.org\r\n\r\nnever read")
	do(t, l, func(tx *Tx) error {
		return tx.SaveParsed(ctx, letter, job.Letter{From: job.Address{Address: "ada@example.org"}, Attachments: []job.Attachment{{Name: "form.pdf", Kind: job.KindDocument, SHA256: paper}, {Name: "lost.pdf", Kind: job.KindDocument}}}, Robot)
	})
	x, err := l.ExportAddress(ctx, "ada@example.org")
	if err != nil {
		t.Fatal(err)
	}
	held := map[string]bool{}
	for _, f := range x.Files {
		held[f.SHA256] = true
	}
	if !held[paper] || len(x.Letters) != 2 || len(x.Files) != 3 {
		t.Errorf("%d letters (one is %s), files %+v", len(x.Letters), unread, x.Files)
	}
}
