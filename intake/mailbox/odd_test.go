package mailbox_test

import (
	"bytes"
	"fmt"
	"io"
	"log"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-imap/v2/imapserver/imapmemserver"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

// odd is an in-memory server with habits that Dovecot does not have: it knows
// the first IMAP4rev1 only, tells of no new UIDs, and, for a while, answers
// each FETCH with a change of flags first, as if another program made one.
type odd struct {
	*imapmemserver.UserSession
	user    *imapmemserver.User
	flicker *atomic.Int32 // so many answers are to be crossed
}

func (o *odd) Login(user, password string) error {
	if err := o.user.Login(user, password); err != nil {
		return err
	}
	o.UserSession = imapmemserver.NewUserSession(o.user)
	return nil
}

func (o *odd) Append(folder string, r imap.LiteralReader, options *imap.AppendOptions) (*imap.AppendData, error) {
	_, err := o.UserSession.Append(folder, r, options)
	return nil, err
}

func (o *odd) Copy(set imap.NumSet, dest string) (*imap.CopyData, error) {
	_, err := o.UserSession.Copy(set, dest)
	return nil, err
}

func (o *odd) Fetch(w *imapserver.FetchWriter, set imap.NumSet, options *imap.FetchOptions) error {
	if o.flicker.Add(-1) >= 0 {
		m := w.CreateMessage(1)
		m.WriteUID(1)
		m.WriteFlags([]imap.Flag{imap.FlagFlagged})
		if err := m.Close(); err != nil {
			return err
		}
	}
	return o.UserSession.Fetch(w, set, options)
}

func startOdd(t *testing.T) (*mailbox.Client, *imapmemserver.User, *atomic.Int32) {
	t.Helper()
	user := imapmemserver.NewUser("u", "p")
	if err := user.Create("INBOX", nil); err != nil {
		t.Fatal(err)
	}
	var flicker atomic.Int32
	server := imapserver.New(&imapserver.Options{
		NewSession: func(*imapserver.Conn) (imapserver.Session, *imapserver.GreetingData, error) {
			return &odd{user: user, flicker: &flicker}, nil, nil
		},
		InsecureAuth: true, Logger: log.New(io.Discard, "", 0),
	})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { server.Close() })
	go server.Serve(l)
	c, err := mailbox.Dial(t.Context(), mailbox.Config{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, TLS: "none", CommandTimeout: 20 * time.Second},
		mailtest.Password(t, "u", "p"), quiet)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c, user, &flicker
}

// Another program's change of a flag crosses our answer: the letter is neither
// passed over nor taken to be gone.
func TestCrossedAnswers(t *testing.T) {
	c, user, flicker := startOdd(t)
	raw := letter("a", "A", "x")
	if _, err := user.Append("INBOX", bytes.NewReader(raw), &imap.AppendOptions{}); err != nil {
		t.Fatal(err)
	}
	flicker.Store(1)
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil || len(b.Items) != 1 || b.Items[0].Size != int64(len(raw)) {
		t.Fatalf("listing: %+v %v", b, err)
	}
	for crossed := range int32(4) {
		flicker.Store(crossed)
		var got bytes.Buffer
		if _, err := c.Fetch(t.Context(), b.Items[0].Ref, &got, noLimit); err != nil || !bytes.Equal(got.Bytes(), raw) {
			t.Fatalf("reading, %d answers crossed: %q %v", crossed, got.Bytes(), err)
		}
	}
	flicker.Store(1)
	if heads, err := c.Headers(t.Context(), "INBOX", b.Items[0].Ref); err != nil || len(heads) != 1 || heads[0].MessageID != "<a@example.org>" {
		t.Fatalf("heads: %+v %v", heads, err)
	}
	// Crossed for ever: an error that says so, and the cursor stays.
	flicker.Store(1000)
	if b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{}); !mailbox.Temporary(err) || !strings.Contains(err.Error(), `servers.not-given {"folder":"INBOX","message":"1"`) {
		t.Fatalf("%+v %v", b, err)
	}
	if _, err := c.Fetch(t.Context(), b.Items[0].Ref, io.Discard, noLimit); !mailbox.Temporary(err) {
		t.Fatal(err)
	}
}

// A server of the first kind: no APPENDUID, no COPYUID, no MOVE, no UID
// EXPUNGE, no NAMESPACE.
func TestOldestServer(t *testing.T) {
	c, _, _ := startOdd(t)
	if _, err := c.Ensure(t.Context(), "To approve", "Approved/Owen"); err != nil {
		t.Fatal(err)
	}
	for n := range 3 {
		if ref, _ := put(t, c, "To approve", n); ref.UID != uint32(n+1) || ref.UIDValidity == 0 {
			t.Fatalf("%v", ref)
		}
	}
	moved, err := c.Move(t.Context(), mailbox.Ref{Folder: "To approve", UID: 2}, "Approved/Owen")
	if err != nil || moved.UID != 0 {
		t.Fatalf("%v %v", moved, err)
	}
	refs, err := c.FindMessageID(t.Context(), "Approved/Owen", "<draft-1@larkfield.example>")
	if err != nil || len(refs) != 1 {
		t.Fatalf("%v %v", refs, err)
	}
	b, err := c.New(t.Context(), "To approve", mailbox.Cursor{}, time.Time{})
	if err != nil || len(b.Items) != 3 || fmt.Sprint(b.Items[1].Flags) == fmt.Sprint(b.Items[0].Flags) {
		t.Fatalf("the moved one stays, marked: %+v %v", b, err)
	}
}
