package ledger

import (
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
)

func TestFindThreads(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 1, "a")
	one, two := newJob(t, l, letter), newJob(t, l, letter)
	other := newJob(t, l, taken(t, l, 2, "b"))
	do(t, l, func(tx *Tx) error { // two files of one letter are one conversation
		return tx.exec(ctx, `UPDATE jobs SET thread = ? WHERE id = ?`, one.Thread, string(two.ID))
	})
	d := newDraft(t, l, "x", one.ID, two.ID)
	ada := job.Address{Address: "ada@example.org"}
	eve := job.Address{Address: "eve@example.net"}
	for _, c := range []struct {
		name       string
		l          job.Letter
		how        string
		jobs       []job.ID
		guess, own bool
	}{
		{"answers our reply", job.Letter{From: ada, InReplyTo: d.MessageID}, ByReference, []job.ID{one.ID, two.ID}, false, true},
		{"names our reply among others", job.Letter{From: ada, InReplyTo: "<x@example.org>", References: []string{d.MessageID, "<y@example.org>"}}, ByReference, []job.ID{one.ID, two.ID}, false, true},
		{"answers the patron's own letter", job.Letter{From: ada, InReplyTo: "<letter-2@example.org>"}, ByReference, []job.ID{other.ID}, false, true},
		{"the nearest reference wins", job.Letter{From: ada, InReplyTo: "<letter-2@example.org>", References: []string{d.MessageID}}, ByReference, []job.ID{other.ID}, false, true},
		{"somebody else answers", job.Letter{From: eve, InReplyTo: d.MessageID}, ByReference, []job.ID{one.ID, two.ID}, false, false},
		{"token in the subject", job.Letter{From: eve, Subject: "AW: your print [" + strings.ToUpper(other.Thread) + "]"}, ByToken, []job.ID{other.ID}, false, false},
		{"a wrong token is no token", job.Letter{From: eve, Subject: "[0123456789ab] hello"}, "", nil, false, false},
		{"nothing but the sender", job.Letter{From: job.Address{Address: "ADA@example.org"}, Subject: "my print"}, BySender, nil, true, true},
		{"nothing at all", job.Letter{From: eve}, "", nil, false, false},
	} {
		got, err := l.FindThreads(ctx, c.l)
		if err != nil {
			t.Fatal(err)
		}
		if c.how == BySender {
			if len(got) != 2 || !got[0].Guess || !got[1].Guess || got[0].How != BySender || !got[0].SameSender {
				t.Errorf("%s: %+v", c.name, got)
			}
			continue
		}
		if c.how == "" {
			if len(got) != 0 {
				t.Errorf("%s: %+v", c.name, got)
			}
			continue
		}
		if len(got) != 1 || got[0].How != c.how || !slices.Equal(got[0].Jobs, c.jobs) || got[0].Guess != c.guess || got[0].SameSender != c.own {
			t.Errorf("%s: %+v", c.name, got)
		}
	}

	// A job that ended long ago is no guess any more.
	for _, id := range []job.ID{one.ID, two.ID, other.ID} {
		if err := l.Move(ctx, id, job.Withdrawn, "patron", job.Plain("")); err != nil {
			t.Fatal(err)
		}
	}
	if got, _ := l.FindThreads(ctx, job.Letter{From: ada}); len(got) != 2 {
		t.Errorf("just ended: %+v", got)
	}
	clock.pass(31 * 24 * time.Hour)
	if got, _ := l.FindThreads(ctx, job.Letter{From: ada}); len(got) != 0 {
		t.Errorf("ended a month ago: %+v", got)
	}
}

func TestThreadTokens(t *testing.T) {
	seen := map[string]bool{}
	for range 1000 {
		token := NewThread()
		if seen[token] || tokenForm.FindString("Re: ["+token+"] vase") != token || strings.ContainsAny(token, "ilou") {
			t.Fatalf("token %q", token)
		}
		seen[token] = true
	}
}

// The letters of a job come in the order in which they came.
func TestLettersOfAConversation(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "a"))
	clock.pass(time.Hour)
	answer := taken(t, l, 2, "yes")
	do(t, l, func(tx *Tx) error { return tx.Link(ctx, j.ID, answer, RoleAnswer) })
	if list, err := l.LettersOf(ctx, j.ID); err != nil || len(list) != 2 || list[0].ID != "L-000001" || list[1].ID != answer {
		t.Errorf("%+v, %v", list, err)
	}
}
