package ledger

import (
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// A reply that may go, or has gone, has an approval of its very bytes; one that waits
// needs none.
func TestVerifyHoldsApprovalsAgainstStates(t *testing.T) {
	same, other := &Approval{SHA256: "a", By: "Bo Example"}, &Approval{SHA256: "b", By: "Bo Example"}
	needs := map[DraftState]bool{DraftApproved: true, DraftSending: true, DraftSent: true, DraftUncertain: true,
		DraftWaiting: false, DraftFailed: false, DraftSetAside: false, DraftSuperseded: false}
	for state, needed := range needs {
		for name, c := range map[string]struct {
			approval *Approval
			found    string
		}{"none": {nil, map[bool]string{true: "without an approval"}[needed]}, "of these bytes": {same, ""}, "of others": {other, "is not what Bo Example approved"}} {
			v := &verifier{}
			v.draft(Draft{ID: "D-000001", State: state, SHA256: "a", Approval: c.approval})
			if got := fmt.Sprint(v.found); (len(v.found) > 0) != (c.found != "") || !strings.Contains(got, c.found) {
				t.Errorf("%s, approval %s: %s, want %q", state, name, got, c.found)
			}
		}
	}
}

// What is on the print list was agreed to by a yes that counts and is to these very terms,
// or to an offer of before terms were kept. What was forgotten, or has none, is left out.
func TestVerifyHoldsThePrintListAgainstYeses(t *testing.T) {
	for name, c := range map[string]struct {
		harm  string
		found bool
	}{
		"as agreed":               {``, false},
		"a yes that is only kept": {`UPDATE yeses SET state = 'kept'`, true},
		"a yes taken back":        {`UPDATE yeses SET state = 'void'`, true},
		"a yes to other terms":    {`UPDATE yeses SET terms = '{"copies":9}'`, true},
		"a yes of before":         {`UPDATE yeses SET terms = ''`, false},
		"no yes":                  {`DELETE FROM yeses`, true},
		"no yes, printing":        {`DELETE FROM yeses; UPDATE jobs SET stage = 'printing'`, true},
		"no yes, not listed":      {`DELETE FROM yeses; UPDATE jobs SET stage = 'ready'`, false},
		"no yes, forgotten":       {`DELETE FROM yeses; UPDATE jobs SET forgotten = '2026-11-25T09:00:00.000Z'`, false},
		"no yes, no terms":        {`DELETE FROM yeses; UPDATE jobs SET terms = ''`, false},
		"a yes to another job":    {`DELETE FROM yeses WHERE job = 'LP-000001'`, true},
	} {
		l, _ := newLedger(t)
		j, _ := offeredJob(t, l, taken(t, l, 1, "first"))
		if name == "a yes to another job" {
			k, _ := offeredJob(t, l, taken(t, l, 2, "second"))
			if err := sayYes(t, l, k.ID); err != nil {
				t.Fatal(err)
			}
		}
		if err := sayYes(t, l, j.ID); err != nil {
			t.Fatal(err)
		}
		if err := l.Move(t.Context(), j.ID, job.Agreed, Robot, job.Plain("")); err != nil {
			t.Fatal(err)
		}
		triggers, err := l.words(t.Context(), `SELECT name FROM sqlite_master WHERE type = 'trigger'`)
		if err != nil {
			t.Fatal(err)
		}
		for _, trigger := range triggers {
			harm(t, l, `DROP TRIGGER `+trigger)
		}
		for q := range strings.SplitSeq(c.harm, ";") {
			if strings.TrimSpace(q) != "" {
				harm(t, l, q)
			}
		}
		v := &verifier{l: l, ctx: t.Context()}
		if err := v.agreed(); err != nil || (len(v.found) > 0) != c.found {
			t.Errorf("%s: found %+v, %v", name, v.found, err)
		}
	}
}

// Who wrote a letter is read from its From and Sender fields, folded lines too, and from
// nothing else of it (RFC 5322, 2.2.3 and 3.6.2).
func TestWhoWroteALetter(t *testing.T) {
	for raw, want := range map[string]string{
		"From: Ada <ada@example.org>\r\n\r\nx":                                              "[ada@example.org]",
		"from : ada@example.org\nSENDER: bo@example.org\n\n":                                "[ada@example.org bo@example.org]",
		"From: ada@example.org\r\nSender: Ada@Example.org\r\n\r\n":                          "[ada@example.org]",
		"From: Ada\r\n <ada@example.org>,\r\n\tbo@example.org\r\nTo: c@example.org\r\n\r\n": "[ada@example.org bo@example.org]",
		"To: x\r\n ada@example.org\r\n\r\n":                                                 "[]",
		"Reply-To: ada@example.org\r\nX-From: bo@example.org\r\n\r\n":                       "[]",
		"Subject: hello\r\n\r\nFrom: ada@example.org":                                       "[]",
		"From: ada@example.org":                                                             "[ada@example.org]",
		"From: ada\r\n\r\n":                                                                 "[]",
		"":                                                                                  "[]",
	} {
		got, err := sendersOf(strings.NewReader(raw))
		if err != nil || fmt.Sprint(got) != want {
			t.Errorf("%q: %v, %v, want %s", raw, got, err, want)
		}
	}
}

// What was handed over is what was approved, and of the draft that was.
func TestVerifyHoldsSendsAgainstApprovals(t *testing.T) {
	for name, c := range map[string]struct {
		harm  string
		found bool
	}{
		"as approved":           {`UPDATE sends SET sha256 = sha256`, false},
		"other bytes":           {`UPDATE sends SET sha256 = '` + strings.Repeat("ab", 32) + `'`, true},
		"another's approval":    {`UPDATE sends SET approval = (SELECT id FROM approvals WHERE draft <> sends.draft)`, true},
		"approved, other bytes": {`UPDATE approvals SET sha256 = '` + strings.Repeat("ab", 32) + `' WHERE id = (SELECT approval FROM sends)`, true},
	} {
		l, _ := newLedger(t)
		letter := taken(t, l, 1, "first")
		var all []Draft
		for range 2 { // of the same bytes
			d := newDraft(t, l, "Dear Ada", newJob(t, l, letter).ID)
			if err := l.Approve(t.Context(), d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
				t.Fatal(err)
			}
			all = append(all, d)
		}
		if _, _, err := l.BeginSend(t.Context(), all[0].ID, "robot"); err != nil {
			t.Fatal(err)
		}
		triggers, err := l.words(t.Context(), `SELECT name FROM sqlite_master WHERE type = 'trigger'`)
		if err != nil {
			t.Fatal(err)
		}
		for _, trigger := range triggers {
			harm(t, l, `DROP TRIGGER `+trigger)
		}
		harm(t, l, c.harm)
		v := &verifier{l: l, ctx: t.Context()}
		if err := v.drafts(); err != nil || strings.Contains(fmt.Sprint(v.found), "was sent with other bytes") != c.found {
			t.Errorf("%s: found %+v, %v", name, v.found, err)
		}
	}
}

// The sender of a letter that is set aside unread is recorded where it names one, and
// where none is on record yet.
func TestSenderOfAnUnreadLetter(t *testing.T) {
	for name, c := range map[string]struct {
		raw, known, want string
	}{
		"one": {"From: ada@example.org\r\n\r\nx", "", "ada@example.org"}, "two": {"From: ada@example.org, bo@example.org\r\n\r\nx", "", ""}, "none": {"Subject: x\r\n\r\nx", "", ""},
		"known already": {"From: ada@example.org\r\n\r\nx", "bo@example.org", "bo@example.org"},
	} {
		l, _ := newLedger(t)
		id := taken(t, l, 1, c.raw)
		harm(t, l, `UPDATE letters SET from_address = ? WHERE id = ?`, c.known, id)
		do(t, l, func(tx *Tx) error { return tx.knowSender(t.Context(), id) })
		got, err := l.words(t.Context(), `SELECT from_address FROM letters`)
		if err != nil || fmt.Sprint(got) != "["+c.want+"]" {
			t.Errorf("%s: %v, %v, want %q", name, got, err, c.want)
		}
		is := func(a string) bool { return a == "ada@example.org" }
		unread, err := l.unreadFrom(t.Context(), is)
		if want := name == "two"; err != nil || (len(unread) == 1) != want {
			t.Errorf("%s: unread by her %v, %v", name, unread, err)
		}
	}
	l, _ := newLedger(t)
	do(t, l, func(tx *Tx) error { return tx.knowSender(t.Context(), "L-999999") })
}
