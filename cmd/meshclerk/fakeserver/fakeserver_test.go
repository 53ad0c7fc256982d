package fakeserver_test

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"meshclerk/cmd/meshclerk/fakeserver"
	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox"
)

func start(t *testing.T) *fakeserver.Servers {
	t.Helper()
	p, err := fakeserver.Start(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	})
	return p
}

func dial(t *testing.T, p *fakeserver.Servers) *mailbox.Client {
	t.Helper()
	host, port, _ := net.SplitHostPort(p.IMAPAddr)
	n, _ := strconv.Atoi(port)
	src, err := credential.New(credential.Config{Kind: "password", User: p.User, Env: "PW"},
		func(k string) string { return map[string]string{"PW": p.Password}[k] }, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	c, err := mailbox.Dial(t.Context(), mailbox.Config{Host: host, Port: n, TLS: "none", CommandTimeout: 20 * time.Second}, src, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func letter(id string) []byte {
	return fmt.Appendf(nil, "From: ana@example.org\r\nTo: print@larkfield.example\r\nSubject: x\r\nMessage-ID: <%s@example.org>\r\n\r\nHello\r\n", id)
}

// What the robot asks of a mailbox works here as it does on a real server.
func TestRobotsPath(t *testing.T) {
	p := start(t)
	ctx := t.Context()
	if err := p.Deliver(letter("a")); err != nil {
		t.Fatal(err)
	}
	c := dial(t, p)
	if made, err := c.Ensure(ctx, "INBOX", "To approve", "Approved", "Sent/2026"); err != nil || len(made) != 3 {
		t.Fatalf("%q %v", made, err)
	}
	b, err := c.New(ctx, "INBOX", mailbox.Cursor{}, time.Now().AddDate(0, 0, -3))
	if err != nil || len(b.Items) != 1 || b.Cursor.UIDValidity == 0 {
		t.Fatalf("%+v %v", b, err)
	}
	var got bytes.Buffer
	if _, err := c.Fetch(ctx, b.Items[0].Ref, &got, 1<<20); err != nil || !bytes.Equal(got.Bytes(), letter("a")) {
		t.Fatalf("%q %v", got.Bytes(), err)
	}
	if again, err := c.New(ctx, "INBOX", mailbox.Cursor{}, time.Time{}); err != nil || len(again.Items[0].Flags) != 0 {
		t.Fatalf("the letter was changed: %+v %v", again, err)
	}
	draft, err := c.AppendOnce(ctx, "To approve", []string{`\Draft`}, time.Now(), letter("draft"), "<draft@example.org>")
	if err != nil || draft.UID == 0 {
		t.Fatalf("%v %v", draft, err)
	}
	if same, err := c.AppendOnce(ctx, "To approve", nil, time.Now(), letter("draft"), "<draft@example.org>"); err != nil || same != draft {
		t.Fatalf("stored twice: %v %v", same, err)
	}
	moved, err := c.Move(ctx, draft, "Approved")
	if err != nil || moved.UID == 0 {
		t.Fatalf("%v %v", moved, err)
	}
	if _, err := c.Move(ctx, draft, "Approved"); !errors.Is(err, mailbox.ErrGone) {
		t.Fatalf("moved again: %v", err)
	}
	if err := c.RemoveOwn(ctx, moved, "<draft@example.org>"); err != nil {
		t.Fatal(err)
	}
	if s, err := c.Status(ctx, "Approved"); err != nil || s.Messages != 0 {
		t.Fatalf("%+v %v", s, err)
	}
	if refs, err := c.FindMessageID(ctx, "Approved", "<draft@example.org>"); err != nil || len(refs) != 0 {
		t.Fatalf("%v %v", refs, err)
	}
}

func TestIdleHearsALetter(t *testing.T) {
	p := start(t)
	c := dial(t, p)
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	time.AfterFunc(50*time.Millisecond, func() { p.Deliver(letter("b")) })
	news, err := c.Idle(t.Context(), "INBOX", b.Cursor, time.Minute)
	if err != nil || !news {
		t.Fatalf("%v %v", news, err)
	}
	if b, err = c.New(t.Context(), "INBOX", b.Cursor, time.Time{}); err != nil || len(b.Items) != 1 {
		t.Fatalf("%+v %v", b, err)
	}
}

// Of several clients that move one message, exactly one does it.
func TestOneMessageIsMovedOnce(t *testing.T) {
	p := start(t)
	first := dial(t, p)
	if _, err := first.Ensure(t.Context(), "A", "B"); err != nil {
		t.Fatal(err)
	}
	ref, err := first.Append(t.Context(), "A", nil, time.Now(), letter("m"), "<m@example.org>")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	var won atomic.Int32
	for range 4 {
		c := dial(t, p)
		wg.Go(func() {
			if _, err := c.Move(t.Context(), ref, "B"); err == nil {
				won.Add(1)
			} else if !errors.Is(err, mailbox.ErrGone) {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if s, err := first.Status(t.Context(), "B"); err != nil || s.Messages != 1 || won.Load() != 1 {
		t.Fatalf("%d moves, %+v, %v", won.Load(), s, err)
	}
}

func TestSinkKeepsWhatLeaves(t *testing.T) {
	p := start(t)
	c, err := smtp.Dial(p.SMTPAddr)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	send := func() error {
		return c.SendMail(p.User, []string{"ana@example.org"}, bytes.NewReader(letter("out")))
	}
	if err := send(); err == nil {
		t.Fatal("took mail from a stranger")
	}
	if err := c.Auth(sasl.NewPlainClient("", p.User, p.Password)); err != nil {
		t.Fatal(err)
	}
	if err := send(); err != nil {
		t.Fatal(err)
	}
	got := p.Delivered()
	if len(got) != 1 || !bytes.Equal(got[0].Raw, letter("out")) || got[0].To[0] != "ana@example.org" {
		t.Fatalf("%+v", got)
	}
}
