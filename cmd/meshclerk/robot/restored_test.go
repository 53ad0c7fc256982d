package robot

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// backup copies the ledger; restore puts a copy in its place, as OPERATING says.
func (h *house) backup() string {
	h.t.Helper()
	to := filepath.Join(h.t.TempDir(), "copy")
	if err := h.Ledger.Backup(h.t.Context(), to); err != nil {
		h.t.Fatal(err)
	}
	return to
}

// reopened is the house after a restart on another data folder.
func (h *house) reopened(dir string) {
	h.t.Helper()
	l, err := ledger.Open(h.t.Context(), dir, nil, h.now)
	if err != nil {
		h.t.Fatal(err)
	}
	h.t.Cleanup(func() { l.Close() })
	old := h.Robot
	h.Robot = underDefaults(l, old.Log, h.now)
	h.Dial, h.Send, h.Elapsed = old.Dial, old.Send, old.Elapsed
}

// An approved reply left after the backup was made. Restored, the ledger still
// has it as approved, and does not send it again: Sent has it. Nothing is sent
// until a person has looked, and then it counts as sent.
func TestRestoredLedgerSendsNothingAgain(t *testing.T) {
	t.Parallel()
	for name, approvedBefore := range map[string]bool{"approved before the backup": true, "approved after it": false} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.agree()
			h.imap.Deliver(request(t, "once"))
			h.once()
			if approvedBefore {
				h.approve()
			}
			copied := h.backup()
			if !approvedBefore {
				h.approve()
			}
			h.once()
			h.wantDelivered(1)

			h.reopened(copied)
			h.once()
			h.forward(time.Hour)
			h.once()
			h.wantDelivered(1)
			if n := len(h.noticesOf(ledger.NoticeRestored)); n != 1 {
				t.Fatalf("%d notices that the ledger was restored; all: %q", n, h.notices())
			}
			if n := len(h.imap.Messages(h.Rules.Mailbox.ToApprove)); n != 0 {
				t.Errorf("%d drafts were posted by a ledger that is held", n)
			}
			sent, err := h.GoOn(t.Context(), marisol)
			if err != nil || len(sent) != 1 {
				t.Fatalf("goes on with %v sent, %v", sent, err)
			}
			h.once()
			h.wantDelivered(1)
			h.wantStage(job.Quoted)
			if n := len(h.noticesOf(ledger.NoticeRestored)); n != 0 {
				t.Errorf("notices %q", h.notices())
			}
			h.reopened(copied) // of the ledger that went on: a second start asks nothing more
			h.once()
			if since, err := h.Ledger.HeldSince(t.Context()); err != nil || !since.IsZero() {
				t.Errorf("held again since %v, %v", since, err)
			}
			h.whole()
		})
	}
}

// A letter that came and was answered after the backup is taken again. Its new
// draft is not laid before staff as if nothing had been said.
func TestLetterAnsweredSinceTheBackupIsNotAnsweredTwice(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "before"))
	h.once()
	copied := h.backup()
	h.imap.Deliver(request(t, "since"))
	h.once()
	for _, d := range h.drafts(ledger.DraftWaiting) {
		if strings.Contains(d.Subject, "since") {
			if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
				t.Fatal(err)
			}
		}
	}
	h.once()
	h.wantDelivered(1)

	h.reopened(copied)
	h.once()
	for _, d := range h.drafts(ledger.DraftWaiting) { // somebody approves all without reading
		if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaPage); err != nil {
			t.Fatal(err)
		}
	}
	h.once()
	h.wantDelivered(1)
	if _, err := h.GoOn(t.Context(), marisol); err != nil {
		t.Fatal(err)
	}
	h.forward(time.Minute)
	h.once()
	if got := h.wantDelivered(2); strings.Contains(string(got[1].Raw), "since.stl") {
		t.Error("the letter that was answered before was answered again")
	}
	for _, m := range h.imap.Messages(h.Rules.Mailbox.ToApprove) {
		if strings.Contains(string(m.Raw), "since.stl") {
			t.Error("the second answer was laid into the mailbox")
		}
	}
	if d := h.waiting(); !strings.Contains(d.Subject, "since") {
		t.Errorf("%s waits, want the second answer", d.Subject)
	}
}

// A new data folder on a used mailbox is held too; a usual restart is not, also
// where a patron was forgotten meanwhile.
func TestOnlyAnOlderLedgerIsHeld(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "usual"))
	h.once()
	h.approve()
	h.once()
	h.act(h.Ledger.Move(t.Context(), h.oneJob().ID, job.Declined, marisol, job.Plain("test")))
	if _, err := h.Ledger.ForgetAddress(t.Context(), "amara.okafor@example.org", marisol); err != nil {
		t.Fatal(err)
	}
	h.reopened(h.backup())
	h.imap.Deliver(request(t, "later"))
	h.once()
	if since, err := h.Ledger.HeldSince(t.Context()); err != nil || !since.IsZero() {
		t.Errorf("after a usual restart it is held since %v, %v: %q", since, err, h.notices())
	}
	h.reopened(t.TempDir())
	h.once()
	if since, err := h.Ledger.HeldSince(t.Context()); err != nil || since.IsZero() {
		t.Errorf("a new ledger on a used mailbox is not held: %v", err)
	}
	h.wantDelivered(1)
}

// Somebody sent the draft from a mail program, which filed it in Sent: it is not
// posted as new and not sent again.
func TestFoundInSentIsNotSentAgain(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "byhand"))
	h.once()
	d := h.approve()
	raw, err := h.Ledger.DraftBytes(t.Context(), d.ID)
	if err != nil {
		t.Fatal(err)
	}
	h.imap.Put(h.Rules.Mailbox.Sent, raw, `\Seen`)
	h.once()
	h.wantDelivered(0)
	h.wantStage(job.Quoted)
	h.whole()
}

// The search for what left comes before the send is begun, also when the
// mailbox cannot be asked: then the letter waits.
func TestNothingIsSentWhileSentCannotBeAsked(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "blind"))
	h.once()
	h.approve()
	dial := h.Dial
	h.Dial = func(context.Context) (Mail, error) { return nil, os.ErrDeadlineExceeded }
	if err := h.Work(t.Context()); err != nil {
		t.Fatal(err)
	}
	h.wantDelivered(0)
	h.Dial = dial
	h.forward(time.Minute)
	h.once()
	h.wantDelivered(1)
}
