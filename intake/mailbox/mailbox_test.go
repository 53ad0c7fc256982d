package mailbox_test

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const noLimit = 1 << 30

func letter(id, subject, body string) []byte {
	return fmt.Appendf(nil, "From: Ana Brook <ana@example.org>\r\nTo: print@larkfield.example\r\nSubject: %s\r\nMessage-ID: <%s@example.org>\r\nDate: Wed, 25 Nov 2026 10:00:00 +0000\r\n\r\n%s\r\n", subject, id, body)
}

// A letter is listed once, read as it is, and left as it was.
func TestNewLetterIsReadAndLeftAlone(t *testing.T) {
	s := mailtest.Dovecot(t)
	c := s.Dial()
	raw := letter("one", "Please print", "..dots\r\n.\r\nand æ raw octets \xff\xfe")
	s.Deliver(raw)
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if !b.Reset || b.More || len(b.Items) != 1 || b.Items[0].Size != int64(len(raw)) || b.Items[0].Received.IsZero() {
		t.Fatalf("%+v", b)
	}
	var got bytes.Buffer
	n, err := c.Fetch(t.Context(), b.Items[0].Ref, &got, noLimit)
	if err != nil || n != int64(len(raw)) || !bytes.Equal(got.Bytes(), raw) {
		t.Fatalf("%d octets, %v:\n%q\n%q", n, err, got.Bytes(), raw)
	}
	again, err := c.New(t.Context(), "INBOX", b.Cursor, time.Time{})
	if err != nil || again.Reset || len(again.Items) != 0 || again.Cursor != b.Cursor {
		t.Fatalf("%+v %v", again, err)
	}
	left := s.Messages("INBOX")
	if len(left) != 1 || left[0].Has(`\Seen`) || left[0].Has(`\Deleted`) {
		t.Fatalf("the letter was changed: %+v", left)
	}
	s.Deliver(letter("two", "Another", "x"))
	next, err := c.New(t.Context(), "INBOX", b.Cursor, time.Time{})
	if err != nil || len(next.Items) != 1 || next.Items[0].Ref.UID <= b.Items[0].Ref.UID {
		t.Fatalf("%+v %v", next, err)
	}
}

func TestEncryptedConnections(t *testing.T) {
	s := mailtest.Dovecot(t)
	for _, way := range []string{"tls", "starttls", "none"} {
		c, err := mailbox.Dial(t.Context(), s.Config(way), s.Source(), slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatalf("%s: %v", way, err)
		}
		if _, err := c.Status(t.Context(), "INBOX"); err != nil {
			t.Fatalf("%s: %v", way, err)
		}
		c.Close()
	}
}

// The same folders of the rules, on servers that separate and prefix differently.
func TestFoldersOnDifferentServers(t *testing.T) {
	folders := []string{"To approve", "Approved/Marisol", "Print desk/À approuver/Größe & Maß 鳥", "INBOX/Below"}
	for name, opts := range map[string][]mailtest.Option{
		"slash":  nil,
		"dot":    {mailtest.Separator(".")},
		"prefix": {mailtest.Separator("."), mailtest.Prefix("INBOX.")},
	} {
		t.Run(name, func(t *testing.T) {
			s := mailtest.Dovecot(t, opts...)
			c := s.Dial()
			made, err := c.Ensure(t.Context(), append(folders, "INBOX")...)
			if err != nil || !slices.Equal(made, folders) {
				t.Fatalf("%q %v", made, err)
			}
			if made, err := c.Ensure(t.Context(), folders...); err != nil || len(made) != 0 {
				t.Fatalf("again: %q %v", made, err)
			}
			all, err := c.Folders(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range folders {
				if name == "prefix" {
					f = strings.TrimPrefix(f, "INBOX/")
				}
				if !slices.Contains(all, mailbox.Folder{Name: f}) {
					t.Errorf("%q is not among %q", f, all)
				}
			}
			if !slices.Contains(all, mailbox.Folder{Name: "Outgoing archive", Use: "sent"}) {
				t.Errorf("RFC 6154 \\Sent is not told: %q", all)
			}
			ref, err := c.Append(t.Context(), folders[2], []string{`\Draft`}, time.Now(), letter("d", "Draft", "x"), "<d@example.org>")
			if err != nil || ref.UID == 0 || ref.UIDValidity == 0 {
				t.Fatalf("%v %v", ref, err)
			}
			moved, err := c.Move(t.Context(), ref, folders[1])
			if err != nil || moved.UID == 0 {
				t.Fatalf("%v %v", moved, err)
			}
		})
	}
}

// RFC 9051, 2.3.1.1: with a new UIDVALIDITY the old numbers mean nothing.
func TestFolderNumberedAnew(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Deliver(letter("one", "One", "x"))
	c := s.Dial()
	before, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil || len(before.Items) != 1 {
		t.Fatalf("%+v %v", before, err)
	}
	s.Renumber()
	c = s.Dial()
	if _, err := c.Fetch(t.Context(), before.Items[0].Ref, &bytes.Buffer{}, noLimit); !errors.Is(err, mailbox.ErrRenumbered) {
		t.Fatalf("read under an old number: %v", err)
	}
	after, err := c.New(t.Context(), "INBOX", before.Cursor, time.Time{})
	if err != nil || !after.Reset || len(after.Items) != 1 || after.Cursor.UIDValidity == before.Cursor.UIDValidity {
		t.Fatalf("%+v %v", after, err)
	}
	var got bytes.Buffer
	if _, err := c.Fetch(t.Context(), after.Items[0].Ref, &got, noLimit); err != nil || !strings.Contains(got.String(), "<one@example.org>") {
		t.Fatalf("%q %v", got.String(), err)
	}
}
