package mailbox_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

// More letters than one batch holds come in several, each once, in order.
func TestManyLettersComeInBatches(t *testing.T) {
	s := mailtest.Dovecot(t)
	const many = 1203
	for n := range many {
		s.Deliver(letter(fmt.Sprint(n), "Many", "x"))
	}
	c := s.Dial()
	var at mailbox.Cursor
	seen, last, rounds := 0, uint32(0), 0
	for {
		b, err := c.New(t.Context(), "INBOX", at, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		for _, it := range b.Items {
			if it.Ref.UID <= last {
				t.Fatalf("UID %d after %d", it.Ref.UID, last)
			}
			last = it.Ref.UID
			seen++
		}
		if b.Reset != (rounds == 0) {
			t.Fatalf("round %d: reset %v", rounds, b.Reset)
		}
		at = b.Cursor
		rounds++
		if !b.More {
			break
		}
	}
	if seen != many || rounds != 3 {
		t.Fatalf("%d letters in %d rounds", seen, rounds)
	}
}

// What a letter that staff removed leaves behind: "n:*" still names the last
// message (RFC 9051, 6.4.9), which is not new.
func TestLastLetterIsNotNewAgain(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Put("INBOX", letter("one", "One", "x"))
	gone := s.Put("INBOX", letter("two", "Two", "x"))
	c := s.Dial()
	known := mailbox.Cursor{UIDValidity: cursor(t, c).UIDValidity, LastUID: gone - 1}
	s.Remove("INBOX", gone)
	b, err := c.New(t.Context(), "INBOX", known, time.Time{})
	if err != nil || len(b.Items) != 0 || b.Cursor.LastUID != gone {
		t.Fatalf("%+v %v", b, err)
	}
}

func TestOldLettersAreLeftAlone(t *testing.T) {
	s := mailtest.Dovecot(t)
	c := s.Dial()
	for days := range 6 {
		raw, id := draft(days)
		if _, err := c.Append(t.Context(), "INBOX", nil, time.Now().AddDate(0, 0, -days), raw, id); err != nil {
			t.Fatal(err)
		}
	}
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Now().AddDate(0, 0, -3))
	if err != nil || len(b.Items) != 4 {
		t.Fatalf("%d letters, %v", len(b.Items), err)
	}
	if again, err := c.New(t.Context(), "INBOX", b.Cursor, time.Time{}); err != nil || len(again.Items) != 0 {
		t.Fatalf("the old ones came after all: %+v %v", again, err)
	}
}

func TestHeads(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Put("INBOX", []byte("from: Ana\r\n <ana@example.org>\r\nTO: x@example.org\r\nsubject: =?utf-8?q?Gr=C3=B6=C3=9Fe?=\r\nMESSAGE-ID: <a@example.org>\r\n"+
		"References: <1@example.org>\r\n\t<2@example.org>\r\nIn-Reply-To: <2@example.org>\r\n\r\nMessage-ID: <not@this>\r\n"))
	s.Put("INBOX", []byte("Subject: nothing else\r\n\r\n"))
	s.Put("INBOX", []byte("Broken line\r\nMessage-ID: <b@example.org>\r\n\r\n"))
	c := s.Dial()
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil || len(b.Items) != 3 {
		t.Fatalf("%+v %v", b, err)
	}
	heads, err := c.Headers(t.Context(), "INBOX", b.Items[0].Ref, b.Items[1].Ref, b.Items[2].Ref, mailbox.Ref{UID: 99})
	if err != nil || len(heads) != 3 {
		t.Fatalf("%+v %v", heads, err)
	}
	h := heads[0]
	if h.MessageID != "<a@example.org>" || h.From != "Ana <ana@example.org>" || h.To != "x@example.org" || strings.Join(h.References, " ") != "<1@example.org> <2@example.org>" ||
		h.InReplyTo != "<2@example.org>" || h.Subject != "=?utf-8?q?Gr=C3=B6=C3=9Fe?=" || h.Size != b.Items[0].Size || h.Ref != b.Items[0].Ref {
		t.Errorf("%+v", h)
	}
	if heads[1].MessageID != "" || heads[1].Subject != "nothing else" {
		t.Errorf("%+v", heads[1])
	}
}

// HEADER finds substrings (RFC 9051, 6.4.4); a Message-ID must be the whole.
func TestMessageIDIsExact(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Put("Sent", letter("one", "x", "x"))
	s.Put("Sent", letter("anyone", "x", "x"))
	twice := s.Put("Sent", letter("one", "x", "x"))
	c := s.Dial()
	refs, err := c.FindMessageID(t.Context(), "Sent", "<one@example.org>")
	if err != nil || len(refs) != 2 || refs[1].UID != twice {
		t.Fatalf("%v %v", refs, err)
	}
	for _, id := range []string{"one@example.org", "<none@example.org>", "", "a\r\nb", strings.Repeat("x", 2000)} {
		if refs, err := c.FindMessageID(t.Context(), "Sent", id); err != nil || len(refs) != 0 {
			t.Errorf("%q: %v %v", id, refs, err)
		}
	}
}

// Another program's changes of flags arrive between our answers; no letter is
// lost or taken for another.
func TestFlagsChangeWhileWeRead(t *testing.T) {
	s := mailtest.Dovecot(t)
	for n := range 40 {
		s.Deliver(letter(fmt.Sprint(n), "x", "x"))
	}
	c := s.Dial()
	if _, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{}); err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	done := make(chan struct{})
	go func() { defer close(done); s.Flicker("INBOX", stop) }()
	defer func() { close(stop); <-done }()
	for range 10 {
		b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
		if err != nil || len(b.Items) != 40 {
			t.Fatalf("%d letters, %v", len(b.Items), err)
		}
		for _, it := range b.Items {
			var got strings.Builder
			if n, err := c.Fetch(t.Context(), it.Ref, &got, noLimit); err != nil || n != it.Size {
				t.Fatalf("%v: %d of %d octets, %v", it.Ref, n, it.Size, err)
			}
		}
	}
}
