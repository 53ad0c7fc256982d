package mailbox_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

func draft(n int) ([]byte, string) {
	id := fmt.Sprintf("<draft-%d@larkfield.example>", n)
	return []byte("From: print@larkfield.example\r\nTo: ana@example.org\r\nSubject: Re: x\r\nMessage-ID: " + id + "\r\n\r\n..Hello\r\n"), id
}

func put(t *testing.T, c *mailbox.Client, folder string, n int) (mailbox.Ref, string) {
	t.Helper()
	raw, id := draft(n)
	ref, err := c.Append(t.Context(), folder, []string{`\Draft`, `\Seen`}, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC), raw, id)
	if err != nil {
		t.Fatal(err)
	}
	return ref, id
}

// servers that can less: what is done instead must come out the same.
var servers = map[string][]mailtest.Option{
	"full":            nil,
	"without MOVE":    {mailtest.Hide("MOVE")},
	"without UIDPLUS": {mailtest.Hide("UIDPLUS")},
	"without either":  {mailtest.Hide("MOVE", "UIDPLUS", "NAMESPACE", "ESEARCH")},
}

func TestDraftsLife(t *testing.T) {
	for name, opts := range servers {
		t.Run(name, func(t *testing.T) {
			s := mailtest.Dovecot(t, opts...)
			c := s.Dial()
			if _, err := c.Ensure(t.Context(), "To approve", "Approved"); err != nil {
				t.Fatal(err)
			}
			other, _ := put(t, c, "To approve", 0)
			ref, id := put(t, c, "To approve", 1)
			if ref.UID != other.UID+1 || ref.UIDValidity == 0 {
				t.Fatalf("%v after %v", ref, other)
			}
			raw, _ := draft(1)
			stored := s.Messages("To approve")
			if len(stored) != 2 || string(stored[1].Raw) != string(raw) || !stored[1].Has(`\Draft`) || !stored[1].Has(`\Seen`) {
				t.Fatalf("%+v", stored)
			}
			if same, err := c.AppendOnce(t.Context(), "To approve", nil, time.Now(), raw, id); err != nil || same != ref {
				t.Fatalf("stored twice: %v %v", same, err)
			}
			moved, err := c.Move(t.Context(), ref, "Approved")
			if err != nil || moved.Folder != "Approved" {
				t.Fatalf("%v %v", moved, err)
			}
			if got := s.Messages("Approved"); len(got) != 1 || string(got[0].Raw) != string(raw) || !got[0].Has(`\Draft`) {
				t.Fatalf("%+v", got)
			}
			if n := visible(s, "To approve"); n != 1 {
				t.Fatalf("%d drafts are left, not the other one", n)
			}
			refs, err := c.FindMessageID(t.Context(), "Approved", id)
			if err != nil || len(refs) != 1 {
				t.Fatalf("%v %v", refs, err)
			}
			if err := c.RemoveOwn(t.Context(), refs[0], id); err != nil {
				t.Fatal(err)
			}
			if n := visible(s, "Approved"); n != 0 {
				t.Fatalf("%d are left", n)
			}
		})
	}
}

// visible counts what a mail program shows: without UIDPLUS, what we removed
// is only marked.
func visible(s *mailtest.Server, folder string) int {
	n := 0
	for _, m := range s.Messages(folder) {
		if !m.Has(`\Deleted`) {
			n++
		}
	}
	return n
}

// Other people's messages that are marked as deleted are not ours to expunge.
func TestOthersDeletedMessagesStay(t *testing.T) {
	for name, opts := range servers {
		t.Run(name, func(t *testing.T) {
			s := mailtest.Dovecot(t, opts...)
			c := s.Dial()
			if _, err := c.Ensure(t.Context(), "To approve", "Approved"); err != nil {
				t.Fatal(err)
			}
			s.Put("To approve", letter("theirs", "Theirs", "x"), `\Deleted`)
			ref, _ := put(t, c, "To approve", 1)
			if _, err := c.Move(t.Context(), ref, "Approved"); err != nil {
				t.Fatal(err)
			}
			ref, id := put(t, c, "To approve", 2)
			if err := c.RemoveOwn(t.Context(), ref, id); err != nil {
				t.Fatal(err)
			}
			found := false
			for _, m := range s.Messages("To approve") {
				found = found || strings.Contains(string(m.Raw), "<theirs@")
			}
			if !found {
				t.Fatal("a message that staff had marked was expunged by us")
			}
		})
	}
}

func TestOnlyOurOwnDraftIsRemoved(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Deliver(letter("patron", "Please", "x"))
	c := s.Dial()
	if _, err := c.Ensure(t.Context(), "To approve"); err != nil {
		t.Fatal(err)
	}
	uid := s.Put("To approve", letter("edited", "Edited by staff", "x"))
	for name, row := range map[string]struct {
		ref  mailbox.Ref
		id   string
		want error
	}{
		"a letter, by its own Message-ID": {mailbox.Ref{Folder: "INBOX", UID: 1}, "<patron@example.org>", mailbox.ErrNotOurs},
		"the inbox in other letters":      {mailbox.Ref{Folder: "Inbox", UID: 1}, "<patron@example.org>", mailbox.ErrNotOurs},
		"another Message-ID":              {mailbox.Ref{Folder: "To approve", UID: uid}, "<draft-1@larkfield.example>", mailbox.ErrNotOurs},
		"part of the Message-ID":          {mailbox.Ref{Folder: "To approve", UID: uid}, "<edited@example.org", mailbox.ErrNotOurs},
		"no Message-ID":                   {mailbox.Ref{Folder: "To approve", UID: uid}, "", mailbox.ErrNotOurs},
		"not there":                       {mailbox.Ref{Folder: "To approve", UID: uid + 9}, "<x@x>", mailbox.ErrGone},
	} {
		if err := c.RemoveOwn(t.Context(), row.ref, row.id); !errors.Is(err, row.want) || !c.Alive() {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, inbox := range []string{"INBOX", "inbox"} {
		if _, err := c.Move(t.Context(), mailbox.Ref{Folder: inbox, UID: 1}, "To approve"); !errors.Is(err, mailbox.ErrNotOurs) {
			t.Errorf("a letter was moved: %v", err)
		}
	}
	now, err := c.Status(t.Context(), "To approve")
	if err != nil {
		t.Fatal(err)
	}
	old := mailbox.Ref{Folder: "To approve", UIDValidity: now.UIDValidity - 1, UID: uid}
	if _, err := c.Move(t.Context(), old, "Outgoing archive"); !errors.Is(err, mailbox.ErrRenumbered) {
		t.Errorf("moved under an old number: %v", err)
	}
	if err := c.RemoveOwn(t.Context(), old, "<edited@example.org>"); !errors.Is(err, mailbox.ErrRenumbered) {
		t.Errorf("removed under an old number: %v", err)
	}
	if len(s.Messages("INBOX")) != 1 || len(s.Messages("To approve")) != 1 {
		t.Fatal("something was removed")
	}
}

// Two programs that move one message: on a real server both may be told that
// they did. What must hold is that no message is lost, and that the loser, if
// it is told, is told ErrGone.
func TestMoveRace(t *testing.T) {
	s := mailtest.Dovecot(t)
	a, b := s.Dial(), s.Dial()
	if _, err := a.Ensure(t.Context(), "To approve", "Approved"); err != nil {
		t.Fatal(err)
	}
	doubles := 0
	for n := range 25 {
		ref, id := put(t, a, "To approve", n)
		var wg sync.WaitGroup
		var won atomic.Int32
		for _, c := range []*mailbox.Client{a, b} {
			wg.Go(func() {
				if _, err := c.Move(t.Context(), ref, "Approved"); err == nil {
					won.Add(1)
				} else if !errors.Is(err, mailbox.ErrGone) {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		refs, err := a.FindMessageID(t.Context(), "Approved", id)
		if err != nil || len(refs) == 0 || won.Load() == 0 {
			t.Fatalf("round %d: %d moved, %d there, %v", n, won.Load(), len(refs), err)
		}
		doubles += len(refs) - 1
		if left, err := a.FindMessageID(t.Context(), "To approve", id); err != nil || len(left) != 0 {
			t.Fatalf("round %d: %v left, %v", n, left, err)
		}
	}
	t.Logf("of 25 messages moved by two at once, %d came out double", doubles)
}

func TestGoneAndRefused(t *testing.T) {
	s := mailtest.Dovecot(t)
	c := s.Dial()
	if _, err := c.Ensure(t.Context(), "To approve"); err != nil {
		t.Fatal(err)
	}
	gone := mailbox.Ref{Folder: "To approve", UID: 7}
	if _, err := c.Move(t.Context(), gone, "Outgoing archive"); !errors.Is(err, mailbox.ErrGone) {
		t.Errorf("move: %v", err)
	}
	if _, err := c.Fetch(t.Context(), gone, nil, noLimit); !errors.Is(err, mailbox.ErrGone) || err.Error() != `servers.gone {"folder":"To approve","message":"7"}` {
		t.Errorf("fetch: %v", err)
	}
	raw, id := draft(1)
	_, err := c.Append(t.Context(), "Nowhere", nil, time.Now(), raw, id)
	if !errors.Is(err, mailbox.ErrNoFolder) || !strings.Contains(err.Error(), `{"key":"servers.mend.folder","args":{"folder":"Nowhere"}}`) {
		t.Errorf("append: %v", err)
	}
	c = s.Dial()
	ref, _ := put(t, c, "To approve", 1)
	if _, err := c.Move(t.Context(), ref, "Nowhere"); !errors.Is(err, mailbox.ErrNoFolder) || !c.Alive() {
		t.Errorf("move: %v", err)
	}
	if _, err := c.New(t.Context(), "Nowhere", mailbox.Cursor{}, time.Time{}); !errors.Is(err, mailbox.ErrNoFolder) {
		t.Errorf("new: %v", err)
	}
	if _, err := c.Append(t.Context(), "To approve", nil, time.Now(), []byte("A: b\r\n\r\n\x00\r\n"), ""); err == nil || !strings.Contains(err.Error(), "faults.nul") {
		t.Errorf("append: %v", err)
	}
	for _, folder := range []string{"", "a//b", "a/", "x\r\ny"} {
		if _, err := c.Ensure(t.Context(), folder); err == nil || !strings.Contains(err.Error(), "servers.folder-") {
			t.Errorf("%q: %v", folder, err)
		}
	}
	if !c.Alive() {
		t.Error("a refusal ended the connection")
	}
}
