package mailbox_test

import (
	"errors"
	"io"
	"testing"
	"time"

	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

// What the robot does with a mailbox, on servers of other makes: Cyrus has MOVE
// and starts with STARTTLS, Courier has no MOVE and refuses APPEND into a folder
// that is open for reading only; both keep folders under "INBOX.".
func TestOtherMakes(t *testing.T) {
	t.Parallel()
	for name, start := range map[string]func(testing.TB) *mailtest.Box{"cyrus": mailtest.Cyrus, "courier": mailtest.Courier} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := start(t)
			c := b.Dial()
			ctx := t.Context()
			if made, err := c.Ensure(ctx, "To approve", "Approved", "Printing/Genehmigt für Zoë"); err != nil || len(made) != 3 {
				t.Fatalf("made %q, %v", made, err)
			}
			b.Deliver(letter("one", "One", "x"))
			batch, err := c.New(ctx, "INBOX", mailbox.Cursor{}, time.Time{})
			if err != nil || len(batch.Items) != 1 {
				t.Fatalf("%+v %v", batch, err)
			}
			if _, err := c.Fetch(ctx, batch.Items[0].Ref, io.Discard, noLimit); err != nil {
				t.Fatal(err)
			}
			if left := b.Messages("INBOX"); len(left) != 1 || left[0].Has(`\Seen`) {
				t.Errorf("the letter was touched: %+v", left)
			}
			id := "<draft@example.org>"
			ref, err := c.AppendOnce(ctx, "To approve", []string{`\Draft`}, time.Now(), letter("draft", "Draft", "x"), id)
			if err != nil || ref.UID == 0 {
				t.Fatalf("%v %v", ref, err)
			}
			again, err := c.AppendOnce(ctx, "To approve", []string{`\Draft`}, time.Now(), letter("draft", "Draft", "x"), id)
			if err != nil || again != ref {
				t.Errorf("stored again at %v (%v), first at %v", again, err, ref)
			}
			ref = watched(t, b, c)
			moved, err := c.Move(ctx, ref, "Printing/Genehmigt für Zoë")
			if err != nil || len(b.Messages("To approve")) != 0 {
				t.Fatalf("moved to %v, %v", moved, err)
			}
			if err := c.RemoveOwn(ctx, moved, id); err != nil {
				t.Fatal(err)
			}
			if err := c.RemoveOwn(ctx, moved, id); !errors.Is(err, mailbox.ErrGone) {
				t.Errorf("removed twice: %v", err)
			}
			want := mailbox.Wanted{Inbox: "INBOX", Folders: []string{"To approve", "Set aside"}, Sent: "Sent"}
			for _, check := range mailbox.Probe(ctx, b.Config(""), b.Source(), want, quiet) {
				if !check.OK {
					t.Error(check.Text)
				}
			}
		})
	}
}

// watched proves that a connection that looks into a folder again and again sees
// what another one moves there, and returns where it lies.
func watched(t *testing.T, b *mailtest.Box, c *mailbox.Client) mailbox.Ref {
	t.Helper()
	var at mailbox.Cursor
	for range 3 {
		batch, err := c.New(t.Context(), "Approved", at, time.Time{})
		if err != nil || len(batch.Items) > 0 {
			t.Fatalf("%+v %v", batch, err)
		}
		at = batch.Cursor
	}
	if n := b.MoveAs("To approve", "draft@example.org", "Approved"); n != 1 {
		t.Fatalf("%d moved", n)
	}
	batch, err := c.New(t.Context(), "Approved", at, time.Time{})
	if err != nil || len(batch.Items) != 1 || batch.Reset {
		t.Fatalf("%+v %v", batch, err)
	}
	return batch.Items[0].Ref
}
