package robot

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

const aDay = 24 * time.Hour

// days puts the clock ahead and looks once.
func (h *house) days(n int) {
	h.t.Helper()
	h.forward(time.Duration(n) * aDay)
	h.once()
}

// quoted brings one request to its quote, which has been sent.
func quoted(t *testing.T, key string) (*house, []byte) {
	t.Helper()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, key))
	h.once()
	_, got := h.approves("quote")
	h.wantStage(job.Quoted)
	return h, got
}

// Silence after a quote: one reminder, then the request is closed and its
// patron told; then everything personal goes, and the figures stay.
func TestSilenceAfterAQuote(t *testing.T) {
	t.Parallel()
	h, _ := quoted(t, "silent")
	l := h.Rules.Limits
	h.days(l.ReminderDays - 1)
	h.noneWaits()
	h.days(1)
	_, got := h.approves("reminder")
	h.wantText(got, "we have not heard from you", "If we hear nothing, we will close the request on")
	h.wantStage(job.Quoted)
	h.days(1)
	h.once()
	h.noneWaits() // the only reminder
	h.days(l.LapseDays - l.ReminderDays - 2)
	h.wantStage(job.Quoted)
	h.days(1)
	h.wantStage(job.Lapsed)
	_, got = h.approves("lapsed")
	h.wantText(got, "Nothing was printed")
	h.days(1)
	h.noneWaits()
	if j := h.oneJob(); j.Blob == "" {
		t.Error("the file was removed at once")
	}

	h.days(l.KeepDays + 1)
	j := h.oneJob()
	if j.Blob != "" || j.Patron.Address != "" || j.File != "" {
		t.Errorf("after %d days there still is %+v", l.KeepDays, j.Patron)
	}
	letters, err := h.Ledger.Letters(t.Context(), 10)
	if err != nil || len(letters) != 1 || letters[0].Raw || letters[0].Parsed != nil {
		t.Errorf("the letter was kept: %+v, %v", letters, err)
	}
	if n := len(h.imap.Messages("INBOX")); n != 1 {
		t.Errorf("the inbox holds %d letters; the robot never deletes one", n)
	}
	h.once() // what was forgotten is not taken in again
	h.oneJob()
	h.whole()
}

// While it is our turn, no time runs against the patron.
func TestNoReminderWhileStaffOweAnAnswer(t *testing.T) {
	t.Parallel()
	h, got := quoted(t, "asks")
	h.answers(got, "Is PLA strong enough for a coat?")
	h.waiting() // the frame of an answer
	h.days(h.Rules.Limits.LapseDays + 5)
	h.wantStage(job.Quoted)
	if d := h.waiting(); d.Kind != "question" {
		t.Errorf("a %s waits instead of the answer", d.Kind)
	}
	h.approves("question")
	h.days(h.Rules.Limits.ReminderDays) // from the answer on, it is her turn
	if d := h.waiting(); d.Kind != "reminder" {
		t.Errorf("a %s waits, want the reminder", d.Kind)
	}
	h.whole()
}

// A quote that nobody approved never lapses, and nobody is reminded of it.
func TestUnsentQuoteNeverLapses(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "unsent"))
	h.once()
	h.days(100)
	h.wantStage(job.Drafted)
	if d := h.waiting(); d.Kind != "quote" {
		t.Errorf("a %s waits", d.Kind)
	}
}

// A part that waits: one reminder, then the job is closed after the last day.
func TestPartIsNotCollected(t *testing.T) {
	t.Parallel()
	h, got := quoted(t, "left")
	h.answers(got, "Yes please.")
	h.approves("accepted")
	h.act(h.Printed(t.Context(), h.oneJob().ID, casework.Spent{Hours: 1, Grams: 9}, marisol))
	h.once()
	l := h.Rules.Limits
	h.days(l.PickupDays + 5) // nobody has told her yet
	h.wantStage(job.Ready)
	h.approves("ready")
	h.days(l.PickupReminderDays)
	h.approves("pickup-reminder")
	h.days(l.PickupDays - l.PickupReminderDays) // the last day
	h.wantStage(job.Ready)
	h.noneWaits()
	h.days(1)
	h.wantStage(job.Lapsed)
	_, got = h.approves("not-collected")
	h.wantText(got, "was not collected by")
	if _, err := h.Collected(t.Context(), h.oneJob().ID, "1.50", marisol); err != nil {
		t.Errorf("she comes after all: %v", err)
	}
	h.whole()
}

// Whatever moves a job by hand, its patron is told once.
func TestMovedElsewhereIsTold(t *testing.T) {
	t.Parallel()
	h, got := quoted(t, "desk")
	h.answers(got, "Yes please.")
	h.approves("accepted")
	id := h.oneJob().ID
	h.act(h.Ledger.Move(t.Context(), id, job.Printing, marisol, job.Plain("on the staff page")))
	h.act(h.Ledger.Move(t.Context(), id, job.Ready, marisol, job.Plain("on the staff page")))
	h.once()
	h.approves("ready")
	h.once()
	h.noneWaits()
}

// Whoever collects a part before the letter about it has left gets none.
func TestCollectedBeforeTheLetter(t *testing.T) {
	t.Parallel()
	h, got := quoted(t, "quick")
	h.answers(got, "Yes please.")
	h.approves("accepted")
	id := h.oneJob().ID
	h.act(h.Printed(t.Context(), id, casework.Spent{Hours: 1, Grams: 9}, marisol))
	h.once()
	ready := h.waiting()
	if _, err := h.Collected(t.Context(), id, "0", marisol); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.noneWaits()
	if err := h.Approve(t.Context(), ready.ID, ready.SHA256, marisol, ledger.ViaCommand); err == nil {
		t.Error("the letter about a part that is gone could still be approved")
	}
	if n := len(h.imap.Messages(h.Rules.Mailbox.ToApprove)); n != 0 {
		t.Errorf("%d drafts are left in to-approve", n)
	}
	h.whole()
}

// A declined request is told why; one whose reply was set aside is put off, and told nothing.
func TestDeclined(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "quiet"))
	h.once()
	h.act(h.SetAside(t.Context(), h.waiting().ID, marisol, "a prank"))
	h.once()
	h.noneWaits()
	h.wantStage(job.Drafted)

	h.imap.Deliver(request(t, "told"))
	h.once()
	d := h.waiting()
	h.act(h.Close(t.Context(), d.Jobs[0], job.Declined, marisol, "it is a part of a weapon"))
	h.once()
	_, got := h.approves("declined")
	h.wantText(got, "it is a part of a weapon")
	if n := len(h.imap.Messages(h.Rules.Mailbox.ToApprove)); n != 0 {
		t.Errorf("%d drafts are left in to-approve, the price of a declined job among them", n)
	}
	h.whole()
}

// A letter that somebody else writes into the conversation never becomes the
// one that replies go to.
func TestRepliesGoToThePatronOnly(t *testing.T) {
	t.Parallel()
	h, got := quoted(t, "mine")
	h.answers(got, "Yes please.")
	h.approves("accepted")
	h.answersAs("Somebody Else", "somebody.else@example.net", "pass", got, "What is this about?")
	h.answersAs("Amara Okafor", "amara.okafor@example.org", "fail", got, "Send it to my new place.")
	h.act(h.Printed(t.Context(), h.oneJob().ID, casework.Spent{Hours: 1, Grams: 9}, marisol))
	h.once()
	d, raw := h.approves("ready")
	if d.To.Address != "amara.okafor@example.org" {
		t.Errorf("the part is told of to %s", d.To.Address)
	}
	if in := header(raw, "In-Reply-To"); !strings.HasPrefix(in, "<answer-1.") {
		t.Errorf("it answers %s, not her own last letter", in)
	}
}

// Two parts of one letter that are ready one after the other make one letter
// while the first has not left, and another only about the second afterwards.
func TestTwoPartsReady(t *testing.T) {
	t.Parallel()
	for _, sent := range []bool{false, true} {
		h := newHouse(t)
		h.agree()
		h.imap.Deliver(twoParts(t))
		h.once()
		_, got := h.approves("several")
		h.answers(got, "Yes please, both.")
		h.approves("accepted")
		jobs := h.jobs()
		h.act(h.Printed(t.Context(), jobs[0].ID, casework.Spent{Hours: 1, Grams: 9}, marisol))
		h.once()
		if sent {
			h.approves("ready")
		}
		h.act(h.Printed(t.Context(), jobs[1].ID, casework.Spent{Hours: 1, Grams: 9}, marisol))
		h.once()
		d := h.waiting()
		if want := map[bool]int{false: 2, true: 1}[sent]; len(d.Jobs) != want || d.Kind != "ready" {
			t.Errorf("the first letter was sent: %t; the one that waits is a %s about %v", sent, d.Kind, d.Jobs)
		}
		h.whole()
	}
}

// twoParts is a letter with two files.
func twoParts(t *testing.T) []byte {
	t.Helper()
	raw := string(request(t, "pair"))
	at := strings.LastIndex(raw, "Content-Disposition: attachment")
	boundary := raw[strings.LastIndex(raw[:at], "\r\n--")+2:]
	part := boundary[:strings.LastIndex(boundary, "\r\n--")]
	end := strings.LastIndex(raw, "\r\n--")
	return []byte(raw[:end] + "\r\n" + strings.ReplaceAll(part, "pair.stl", "other.stl") + raw[end:])
}

// Nothing that time brings about happens twice when the robot looks often.
func TestLookingOftenChangesNothing(t *testing.T) {
	t.Parallel()
	h, _ := quoted(t, "often")
	h.forward(time.Duration(h.Rules.Limits.ReminderDays) * aDay)
	for range 4 {
		h.forward(between)
		h.once()
	}
	if n := len(h.drafts()); n != 2 {
		t.Errorf("%d drafts, want the quote and one reminder", n)
	}
	if n := bytes.Count(h.log.Bytes(), []byte("as=reminder")); n != 1 {
		t.Errorf("%d reminders were written", n)
	}
}
