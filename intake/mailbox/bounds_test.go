package mailbox_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

// through connects by way of a proxy, with a short patience.
func through(t *testing.T, s *mailtest.Server, patience time.Duration) (*mailbox.Client, *mailtest.Proxy) {
	t.Helper()
	p := mailtest.NewProxy(t, s.Port)
	config := s.Config("none")
	config.Port, config.CommandTimeout = p.Port, patience
	c, err := mailbox.Dial(t.Context(), config, s.Source(), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c, p
}

// commands are all that talk to the server.
func commands(ref mailbox.Ref) map[string]func(context.Context, *mailbox.Client) error {
	return map[string]func(context.Context, *mailbox.Client) error{
		"New": func(ctx context.Context, c *mailbox.Client) error {
			_, err := c.New(ctx, "INBOX", mailbox.Cursor{}, time.Time{})
			return err
		},
		"Fetch": func(ctx context.Context, c *mailbox.Client) error {
			_, err := c.Fetch(ctx, ref, io.Discard, noLimit)
			return err
		},
		"Headers": func(ctx context.Context, c *mailbox.Client) error { _, err := c.Headers(ctx, "INBOX", ref); return err },
		"FindMessageID": func(ctx context.Context, c *mailbox.Client) error {
			_, err := c.FindMessageID(ctx, "INBOX", "<one@example.org>")
			return err
		},
		"Append": func(ctx context.Context, c *mailbox.Client) error {
			_, err := c.Append(ctx, "INBOX", nil, time.Now(), letter("x", "x", "x"), "<x@example.org>")
			return err
		},
		"Move": func(ctx context.Context, c *mailbox.Client) error {
			_, err := c.Move(ctx, mailbox.Ref{Folder: "Elsewhere", UID: 1}, "Set aside")
			return err
		},
		"RemoveOwn": func(ctx context.Context, c *mailbox.Client) error {
			return c.RemoveOwn(ctx, mailbox.Ref{Folder: "Elsewhere", UID: 1}, "<x@x>")
		},
		"Ensure":  func(ctx context.Context, c *mailbox.Client) error { _, err := c.Ensure(ctx, "A new one"); return err },
		"Folders": func(ctx context.Context, c *mailbox.Client) error { _, err := c.Folders(ctx); return err },
		"Status":  func(ctx context.Context, c *mailbox.Client) error { _, err := c.Status(ctx, "INBOX"); return err },
		"Idle": func(ctx context.Context, c *mailbox.Client) error {
			_, err := c.Idle(ctx, "INBOX", mailbox.Cursor{}, time.Hour)
			return err
		},
	}
}

// A server that falls silent ends every command with a clear, temporary error.
func TestSilentServer(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Deliver(letter("one", "One", "x"))
	var wg sync.WaitGroup
	for name, command := range commands(mailbox.Ref{Folder: "INBOX", UID: 1}) {
		c, p := through(t, s, 2*time.Second)
		p.Stall()
		wg.Go(func() {
			err := command(t.Context(), c)
			if !mailbox.Temporary(err) || !strings.Contains(err.Error(), "servers.silent ") || c.Alive() {
				t.Errorf("%s: %v, alive %v", name, err, c.Alive())
			}
			if err := command(t.Context(), c); !mailbox.Temporary(err) {
				t.Errorf("%s on a dead connection: %v", name, err)
			}
		})
	}
	wg.Wait()
}

// A context that ends, ends every command, whatever the server's patience.
func TestCancelledCommand(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Deliver(letter("one", "One", "x"))
	for name, command := range commands(mailbox.Ref{Folder: "INBOX", UID: 1}) {
		c, p := through(t, s, time.Hour)
		p.Stall()
		ctx, cancel := context.WithCancel(t.Context())
		time.AfterFunc(20*time.Millisecond, cancel)
		if err := command(ctx, c); !errors.Is(err, context.Canceled) || !mailbox.Temporary(err) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A server that never greets, and one that stops while we sign in.
func TestSilentFromTheStart(t *testing.T) {
	k := mailtest.SMTP(t, mailtest.Silent)
	config := mailbox.Config{Host: k.Host, Port: k.Port, TLS: "none", CommandTimeout: 200 * time.Millisecond}
	_, err := mailbox.Dial(t.Context(), config, mailtest.Password(t, "u", "p"), slog.New(slog.DiscardHandler))
	if !mailbox.Temporary(err) || !strings.Contains(err.Error(), `servers.silent {"doing":{"key":"servers.doing.greeting"}`) {
		t.Fatal(err)
	}
	for _, way := range []string{"tls", "starttls"} {
		config.TLS = way
		if _, err := mailbox.Dial(t.Context(), config, mailtest.Password(t, "u", "p"), slog.New(slog.DiscardHandler)); !mailbox.Temporary(err) {
			t.Fatalf("%s: %v", way, err)
		}
	}
}

// A connection cut inside a letter gives an error and never a short letter
// that looks whole; the next connection reads it all.
func TestCutInsideALetter(t *testing.T) {
	s := mailtest.Dovecot(t)
	raw := letter("big", "Big", strings.Repeat(strings.Repeat("x", 70)+"\r\n", 20000))
	s.Deliver(raw)
	for _, after := range []int64{200, 5000, 1 << 20, int64(len(raw)) - 1} {
		c, p := through(t, s, 20*time.Second)
		b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		p.CutAfter(after)
		var got bytes.Buffer
		n, err := c.Fetch(t.Context(), b.Items[0].Ref, &got, noLimit)
		if !mailbox.Temporary(err) || !strings.Contains(err.Error(), `servers.cut {"doing":{"key":"servers.doing.reading"}`) || n >= int64(len(raw)) || c.Alive() {
			t.Fatalf("cut after %d: %d octets, %v", after, n, err)
		}
		if !bytes.HasPrefix(raw, got.Bytes()) {
			t.Fatalf("cut after %d: what came is not the beginning of the letter", after)
		}
	}
	var got bytes.Buffer
	c := s.Dial()
	if n, err := c.Fetch(t.Context(), mailbox.Ref{Folder: "INBOX", UID: 1}, &got, noLimit); err != nil || n != int64(len(raw)) || !bytes.Equal(got.Bytes(), raw) {
		t.Fatalf("%d octets, %v", n, err)
	}
	if left := s.Messages("INBOX"); len(left) != 1 || left[0].Has(`\Seen`) {
		t.Fatal("the letter was changed")
	}
}

// counter counts, and checks that what comes is what was sent.
type counter struct{ n int64 }

func (c *counter) Write(p []byte) (int, error) { c.n += int64(len(p)); return len(p), nil }

// A letter of 60 MB passes through little memory.
func TestLargeLetterIsStreamed(t *testing.T) {
	const size = 60 << 20
	s := mailtest.Dovecot(t)
	line := strings.Repeat("y", 76) + "\r\n"
	s.Deliver(letter("huge", "Huge", strings.Repeat(line, size/len(line))))
	c := s.Dial()
	b, err := c.New(t.Context(), "INBOX", mailbox.Cursor{}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	var w counter
	n, err := c.Fetch(t.Context(), b.Items[0].Ref, &w, noLimit)
	runtime.ReadMemStats(&after)
	if err != nil || n != b.Items[0].Size || w.n != n || n < size-100 {
		t.Fatalf("%d of %d octets, %v", n, b.Items[0].Size, err)
	}
	if took := after.TotalAlloc - before.TotalAlloc; took > 1<<20 {
		t.Fatalf("%d octets of memory for a letter of %d", took, n)
	}
}

func TestLargerThanTheLimit(t *testing.T) {
	s := mailtest.Dovecot(t)
	raw := letter("l", "L", strings.Repeat("x\r\n", 1000))
	s.Deliver(raw)
	c := s.Dial()
	var got bytes.Buffer
	ref := mailbox.Ref{Folder: "INBOX", UID: 1}
	_, err := c.Fetch(t.Context(), ref, &got, int64(len(raw))-1)
	want := fmt.Sprintf(`servers.larger {"folder":"INBOX","message":"1","most":%d,"octets":%d}`, len(raw)-1, len(raw))
	if !errors.Is(err, mailbox.ErrTooLarge) || err.Error() != want || got.Len() != 0 || !c.Alive() {
		t.Fatalf("%v, %d octets, alive %v", err, got.Len(), c.Alive())
	}
	if _, err := c.Fetch(t.Context(), ref, &got, int64(len(raw))); err != nil || got.Len() != len(raw) {
		t.Fatal(err)
	}
}

// fullDisk takes a little, then no more.
type fullDisk struct{ left int }

var errFull = errors.New("no space left on device")

func (f *fullDisk) Write(p []byte) (int, error) {
	if f.left -= len(p); f.left < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestFullDiskIsNotTheServersFault(t *testing.T) {
	s := mailtest.Dovecot(t)
	s.Deliver(letter("l", "L", strings.Repeat(strings.Repeat("x", 70)+"\r\n", 10000)))
	c := s.Dial()
	_, err := c.Fetch(t.Context(), mailbox.Ref{Folder: "INBOX", UID: 1}, &fullDisk{100000}, noLimit)
	if !errors.Is(err, errFull) || err.Error() != "servers.not-written" {
		t.Fatal(err)
	}
}
