package robot

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
)

// posted takes a letter and gives the draft that lies in the to-approve folder.
func (h *house) posted(key string) []byte {
	h.t.Helper()
	h.agree()
	h.imap.Deliver(request(h.t, key))
	h.once()
	h.waiting()
	all := h.imap.Messages(h.Rules.Mailbox.ToApprove)
	if len(all) != 1 {
		h.t.Fatalf("%d drafts lie in the to-approve folder, want one\n%s", len(all), h.log)
	}
	return all[0].Raw
}

// looks lets the robot look some more times.
func (h *house) looks(n int) {
	h.t.Helper()
	for range n {
		h.once()
	}
}

// noticesOf gives the open notices of a kind.
func (h *house) noticesOf(kind ledger.NoticeKind) []ledger.Notice {
	h.t.Helper()
	all, err := h.Ledger.Notices(h.t.Context(), false)
	if err != nil {
		h.t.Fatal(err)
	}
	return slices.DeleteFunc(all, func(n ledger.Notice) bool { return n.Kind != kind })
}

// wantTold proves that staff were told once, in these words.
func (h *house) wantTold(kind ledger.NoticeKind, words string) {
	h.t.Helper()
	all := h.noticesOf(kind)
	if len(all) != 1 || all[0].Times != 1 || !strings.Contains(h.Say(all[0].Text), words) {
		h.t.Errorf("told of %s: %+v; want once, with %q", kind, all, words)
	}
}

// A message that is marked as deleted is none: a copy that somebody undid
// without expunging it (RFC 9051, 2.3.2) neither approves nor declines, and is
// not an approval later either.
func TestMarkedMessageIsNoApproval(t *testing.T) {
	t.Parallel()
	for _, folder := range []string{"Approved by Marisol", "Set aside"} {
		t.Run(folder, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			raw := h.posted("undone")
			uid := h.imap.Put(folder, raw, `\Deleted`)
			h.looks(2)
			h.wantDelivered(0)
			h.wantStage(job.Drafted)
			h.waiting()
			h.imap.Unmark(folder, uid)
			h.looks(2)
			h.wantDelivered(0)
			h.wantStage(job.Drafted)
			if n := h.notices(); len(n) > 0 {
				t.Errorf("notices %q", n)
			}
			h.whole()
		})
	}
}

// editedCopy is a draft as a mail program stores it again: with a Message-ID and a
// date of its own.
func editedCopy(raw []byte, id string, at time.Time) []byte {
	raw = replaceHeader(raw, "Message-ID", id)
	return replaceHeader(raw, "Date", at.Format(time.RFC1123Z))
}

// What stood in an approved folder before the draft was posted is nobody's word
// on that draft: with a new data folder on a used mailbox, and after an older
// backup was restored.
func TestWhatStoodThereBeforeApprovesNothing(t *testing.T) {
	t.Parallel()
	for name, older := range map[string]bool{"new data folder": false, "older backup": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			approved := h.Rules.Mailbox.Approved[0].Folder
			h.once()
			backup := t.TempDir() + "/before"
			if err := h.Ledger.Backup(t.Context(), backup); err != nil {
				t.Fatal(err)
			}
			raw := h.posted("used")
			h.imap.MoveAs(h.Rules.Mailbox.ToApprove, "used", approved)
			h.once()
			h.wantDelivered(1)
			// What such a mailbox is left with: the copy that was approved, marked where
			// the server cannot expunge one message, and one that was edited.
			h.imap.Put(approved, raw, `\Deleted`)
			h.imap.Put(approved, editedCopy(raw, "<old.edit@mail.larkfield.example>", h.now()), `\Draft`)
			h.once()

			dir := t.TempDir()
			if older {
				dir = backup
			}
			h.reopened(dir)
			h.forward(2 * time.Second)
			h.agree()
			h.once()
			h.waiting()
			h.looks(2)
			h.wantDelivered(1)
			h.whole()
		})
	}
}

// A copy that came when no draft waited is judged then, once, and approves no
// later one.
func TestEarlierCopyApprovesNoLaterDraft(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	raw := h.posted("early")
	d := h.waiting()
	h.act(h.SetAside(t.Context(), d.ID, marisol, "not now"))
	h.once()
	approved := h.Rules.Mailbox.Approved[0].Folder
	h.imap.Put(approved, editedCopy(raw, "<early.edit@mail.larkfield.example>", h.now().Add(time.Hour)), `\Draft`)
	h.looks(3)
	h.wantTold("not-a-draft", approved)
	h.act(h.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
		if err := tx.Reopen(t.Context(), d.ID, marisol, job.Plain("again")); err != nil {
			return err
		}
		return tx.Enqueue(t.Context(), ledger.StepPost, d.ID, time.Time{})
	}))
	h.looks(2)
	h.waiting()
	h.wantDelivered(0)
	h.whole()
}

// A folder whose messages were numbered anew, or that was deleted and made
// again, approves nothing by what lies in it at that moment; staff are told of a
// draft that lies there.
func TestFolderMadeAnewApprovesNothingByItself(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	raw := h.posted("anew")
	approved := h.Rules.Mailbox.Approved[0].Folder
	h.imap.Delete(approved)
	h.imap.Put(approved, raw)
	h.looks(3)
	h.wantDelivered(0)
	h.wantTold("move-refused", "move it out and in again")
	h.imap.MoveAs(approved, "anew", h.Rules.Mailbox.ToApprove)
	h.imap.MoveAs(h.Rules.Mailbox.ToApprove, "anew", approved)
	h.once()
	h.wantDelivered(1)
	h.whole()
}

// An approval by folder is a person's act: what was delivered, what is from
// somebody else, what is tied by the token alone, which every patron knows, and
// what is older than the draft stays where it is, with one notice that says why.
func TestWhatNoPersonMovedApprovesNothing(t *testing.T) {
	t.Parallel()
	ahead := func(line string) func([]byte) []byte {
		return func(raw []byte) []byte { return append([]byte(line+"\r\n"), raw...) }
	}
	newID := func(raw []byte) []byte { return replaceHeader(raw, "Message-ID", "<new@mail.larkfield.example>") }
	for name, c := range map[string]struct {
		change     func([]byte) []byte
		kind, told string
	}{
		"received":     {ahead("Received: from mx.example.net by mx.larkfield.example; Fri, 1 May 2026 10:00:00 +0000"), "move-refused", "Received"},
		"return path":  {ahead("Return-Path: <amara.okafor@example.org>"), "move-refused", "Return-Path"},
		"delivered to": {ahead("Delivered-To: print+approved@larkfield.example"), "move-refused", "Delivered-To"},
		"original to":  {ahead("X-Original-To: print@larkfield.example"), "move-refused", "X-Original-To"},
		"results":      {ahead("Authentication-Results: mx.larkfield.example; dmarc=pass"), "move-refused", "Authentication-Results"},
		"signed":       {ahead("ARC-Seal: i=1; a=rsa-sha256; cv=none"), "move-refused", "ARC-Seal"},
		"new and received": {func(raw []byte) []byte {
			return ahead("Received: from a by b; Fri, 1 May 2026 10:00:00 +0000")(newID(raw))
		},
			"move-refused", "Received"},
		"from another": {func(raw []byte) []byte { return replaceHeader(raw, "From", "Amara Okafor <amara.okafor@example.org>") },
			"move-refused", "own address"},
		"by its token alone": {func(raw []byte) []byte {
			raw = newID(raw)
			raw = replaceHeader(raw, "In-Reply-To", "<nothing@mail.larkfield.example>")
			return replaceHeader(raw, "References", "<nothing@mail.larkfield.example>")
		}, "not-a-draft", "none of our drafts"},
		"older": {func(raw []byte) []byte {
			return editedCopy(raw, "<new@mail.larkfield.example>", time.Now().Add(-time.Hour))
		}, "move-refused", "older than the draft"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			raw := h.posted("strange")
			approved := h.Rules.Mailbox.Approved[0].Folder
			h.imap.Put(approved, c.change(raw))
			h.looks(3)
			h.wantDelivered(0)
			h.waiting()
			if n := len(h.imap.Messages(approved)); n != 1 {
				t.Errorf("%d messages lie in the approved folder, want the one, left alone", n)
			}
			h.wantTold(ledger.NoticeKind(c.kind), c.told)
			h.whole()
		})
	}
}

// The same holds for declining: a delivered message sets nothing aside.
func TestDeliveredMessageDeclinesNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	raw := h.posted("aside")
	h.imap.Put(h.Rules.Mailbox.SetAside, append([]byte("Received: from a by b; Fri, 1 May 2026 10:00:00 +0000\r\n"), raw...))
	h.looks(2)
	h.waiting()
	h.wantStage(job.Drafted)
	h.wantTold("move-refused", "Received")
}

// A reply whose recipients were changed in a mail program waits, as edited, to
// be confirmed on the page or by command; no folder sends it.
func TestChangedRecipientsAreConfirmed(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	raw := h.posted("other")
	before := h.waiting()
	box := h.Rules.Mailbox
	changed := replaceHeader(raw, "To", "Somebody Else <else@example.net>")
	h.imap.Put(box.Approved[0].Folder, editedCopy(changed, "<readdressed@mail.larkfield.example>", h.now()), `\Draft`)
	h.looks(3)
	h.wantDelivered(0)
	d := h.waiting()
	if d.ID != before.ID || d.SHA256 == before.SHA256 || d.To.Address != "else@example.net" || d.AddressedBefore != "amara.okafor@example.org" {
		t.Errorf("the draft is %s to %q, before %q", d.ID, d.To.Address, d.AddressedBefore)
	}
	h.wantTold("readdressed", "drafts approve "+d.ID)
	// Its copy in to-approve is the edited one; moving that is not enough.
	if n := h.imap.MoveAs(box.ToApprove, "else@example.net", box.Approved[1].Folder); n != 1 {
		t.Fatalf("%d copies of the edited draft lie in the to-approve folder", n)
	}
	h.looks(2)
	h.wantDelivered(0)
	h.waiting()
	h.act(h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaPage))
	h.once()
	if sent := h.wantDelivered(1)[0]; len(sent.To) != 1 || sent.To[0] != "else@example.net" {
		t.Errorf("it went to %v", sent.To)
	}
	if n := h.noticesOf("readdressed"); len(n) > 0 {
		t.Errorf("still told: %+v", n)
	}
	h.whole()
}

// Changed recipients stay to be confirmed through an edit of the words, and are
// confirmed too where the edit by command changed them.
func TestCommandEditConfirmsNoRecipients(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	raw := h.posted("keep")
	d := h.waiting()
	for _, change := range []func([]byte) []byte{
		func(b []byte) []byte { return replaceHeader(b, "To", "else@example.net") },
		func(b []byte) []byte { return bytes.ReplaceAll(b, []byte("Kind regards"), []byte("Goodbye")) },
	} {
		raw = change(raw)
		var err error
		if d, err = h.Edit(t.Context(), d.ID, d.SHA256, raw, marisol); err != nil {
			t.Fatal(err)
		}
		if d.AddressedBefore != "amara.okafor@example.org" {
			t.Errorf("addressed before: %q", d.AddressedBefore)
		}
	}
	h.once()
	h.imap.MoveAs(h.Rules.Mailbox.ToApprove, "else@example.net", h.Rules.Mailbox.Approved[0].Folder)
	h.looks(2)
	h.wantDelivered(0)
	h.waiting()
	h.wantTold("readdressed", d.ID)
	d, err := h.Edit(t.Context(), d.ID, d.SHA256, replaceHeader(raw, "To", "amara.okafor@example.org"), marisol)
	if err != nil || d.AddressedBefore != "" {
		t.Errorf("addressed as it was: %q, %v", d.AddressedBefore, err)
	}
}

// An approval acts soon after the move, whenever the next poll is.
func TestApprovalActsBeforeTheNextPoll(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	r := *h.Rules
	r.Mailbox.Poll = time.Hour
	h.Rules = &r
	h.posted("soon")
	ctx, stop := context.WithCancel(t.Context())
	begun, ended := h.now(), make(chan error, 1)
	go func() { ended <- h.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	h.until("the first look", func() bool { when, _ := h.LastGoodPoll(); return when.After(begun) })
	h.imap.MoveAs(r.Mailbox.ToApprove, "soon", r.Mailbox.Approved[0].Folder)
	moved := time.Now()
	h.until("the approval", func() bool { return len(h.drafts(ledger.DraftWaiting)) == 0 })
	t.Logf("acted on after %v", time.Since(moved).Round(10*time.Millisecond))
	h.smtp.Await(t, 1)
}

// A server that lets us in only twice at once keeps the robot at work all the
// same: the look at the folders gives way.
func TestFewConnectionsHoldNothingUp(t *testing.T) {
	t.Parallel()
	h := newHouseIn(t, t.TempDir(), mailtest.Connections(2))
	h.agree()
	r := *h.Rules
	r.Mailbox.Poll = time.Second
	h.Rules = &r
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- h.Run(ctx) }()
	defer func() {
		stop()
		<-ended
	}()
	h.until("the watch over the folders", func() bool { w, _ := h.Ledger.Watched(t.Context(), r.Mailbox.SetAside); return w.UIDValidity != 0 })
	h.imap.Deliver(request(t, "few"))
	h.until("the draft", func() bool {
		all := h.drafts(ledger.DraftWaiting)
		return len(all) == 1 && all[0].Place.Folder != ""
	})
}
