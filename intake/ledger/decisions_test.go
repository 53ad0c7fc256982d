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
