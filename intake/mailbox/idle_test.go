package mailbox_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

func cursor(t *testing.T, c *mailbox.Client) mailbox.Cursor {
	t.Helper()
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	return b.Cursor
}

func TestIdleHearsALetter(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Deliver(letter("old", "Old", "x"))
	c := s.Dial()
	known := cursor(t, c)
	go func() { // a second program stores it, so that the server need not look at the disk
		time.Sleep(100 * time.Millisecond)
		s.Put("INBOX", letter("new", "New", "x"))
	}()
	news, err := c.Idle(t.Context(), "INBOX", known, time.Minute)
	if err != nil || !news {
		t.Fatalf("%v %v", news, err)
	}
	b, err := c.New(t.Context(), "INBOX", known, time.Time{})
	if err != nil || len(b.Items) != 1 {
		t.Fatalf("%+v %v", b, err)
	}
}

// A letter that came between the last look and the listening is news at once.
func TestIdleMissesNothing(t *testing.T) {
	s := mailtest.Dovecot(t)
	c := s.Dial()
	known := cursor(t, c)
	s.Put("INBOX", letter("new", "New", "x"))
	if news, err := c.Idle(t.Context(), "INBOX", known, time.Hour); err != nil || !news {
		t.Fatalf("%v %v", news, err)
	}
}

func TestIdleEnds(t *testing.T) {
	s := mailtest.Dovecot(t)
	c := s.Dial()
	known := cursor(t, c)
	if news, err := c.Idle(t.Context(), "INBOX", known, 50*time.Millisecond); err != nil || news || !c.Alive() {
		t.Fatalf("after its time: %v %v", news, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	if _, err := c.Idle(ctx, "INBOX", known, time.Hour); !errors.Is(err, context.Canceled) || !c.Alive() {
		t.Fatalf("told to stop: %v, alive %v", err, c.Alive())
	}
	if _, err := c.Status(t.Context(), "INBOX"); err != nil {
		t.Fatalf("the connection is in order after listening: %v", err)
	}
	c, p := through(t, s, 20*time.Second)
	time.AfterFunc(50*time.Millisecond, p.Cut)
	if _, err := c.Idle(t.Context(), "INBOX", known, time.Hour); !mailbox.Temporary(err) || c.Alive() {
		t.Fatalf("cut: %v", err)
	}
}

// A connection that goes dead while we listen is noticed when the time is over.
func TestIdleOnADeadConnection(t *testing.T) {
	s := mailtest.Dovecot(t)
	c, p := through(t, s, time.Second)
	known := cursor(t, c)
	time.AfterFunc(100*time.Millisecond, p.Stall)
	if _, err := c.Idle(t.Context(), "INBOX", known, 200*time.Millisecond); !mailbox.Temporary(err) {
		t.Fatal(err)
	}
}

func TestServerWithoutIdle(t *testing.T) {
	s := mailtest.Dovecot(t, mailtest.Hide("IDLE"))
	c := s.Dial()
	if _, err := c.Idle(t.Context(), "INBOX", cursor(t, c), time.Hour); !errors.Is(err, mailbox.ErrNoIdle) {
		t.Fatal(err)
	}
}
