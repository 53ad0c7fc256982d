package robot

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/reply/outbox"
)

// A letter becomes a draft in the to-approve folder, and after an approval by
// command the very bytes of the draft leave; Sent gets a copy, the inbox stays
// as it was.
func TestFromLetterToReplyByCommand(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	letter := request(t, "clip")
	h.imap.Deliver(letter)
	h.once()
	h.wantStage(job.Drafted)
	d := h.waiting()
	posted := h.imap.Messages(h.Rules.Mailbox.ToApprove)
	if len(posted) != 1 || !posted[0].Has(`\Draft`) {
		t.Fatalf("the to-approve folder holds %d messages, want one marked as a draft", len(posted))
	}
	text, err := plain(posted[0].Raw)
	if err != nil || !strings.Contains(text, "Amara") || !strings.Contains(text, "clip.stl") {
		t.Errorf("the posted draft does not read like a reply (%v):\n%s", err, text)
	}
	if refs := header(posted[0].Raw, "In-Reply-To"); !strings.Contains(refs, "clip.") {
		t.Errorf("the draft is in no thread: In-Reply-To %q", refs)
	}
	h.wantDelivered(0) // promise 1: nothing leaves without an approval
	if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	h.once()
	sent := h.wantDelivered(1)
	if !bytes.Equal(sent[0].Raw, posted[0].Raw) {
		t.Error("what left is not what was approved, byte for byte")
	}
	if got := h.folders(); got != "INBOX:1 Sent:1" {
		t.Errorf("folders: %s", got)
	}
	if in := h.imap.Messages("INBOX")[0]; in.Has(`\Seen`) || in.Has(`\Deleted`) || !bytes.Equal(in.Raw, letter) {
		t.Errorf("the patron's letter was touched: %v", in.Flags)
	}
	h.wantStage(job.Quoted)
	h.whole()
}

// Moving the draft into an approved folder sends it, as the person named in the rules.
func TestApprovedByMovingTheDraft(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "hook"))
	h.once()
	box := h.Rules.Mailbox
	posted := h.imap.Messages(box.ToApprove)[0]
	if n := h.imap.MoveAs(box.ToApprove, "hook", box.Approved[0].Folder); n != 1 {
		t.Fatalf("%d drafts moved", n)
	}
	h.once()
	if sent := h.wantDelivered(1); !bytes.Equal(sent[0].Raw, posted.Raw) {
		t.Error("what left is not what lay in the folder")
	}
	d := h.drafts(ledger.DraftSent)
	if len(d) != 1 || d[0].Approval.By != box.Approved[0].By || d[0].Approval.Via != ledger.ViaFolder {
		t.Errorf("approval on record: %+v", d)
	}
	if got := h.folders(); got != "INBOX:1 Sent:1" {
		t.Errorf("folders: %s", got)
	}
	h.whole()
}

// A person edits the draft in a mail program, which writes a new message with a
// Message-ID of its own and headers that are nobody's business: the edited
// words leave, once.
func TestApprovedAsEdited(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "vase"))
	h.once()
	box := h.Rules.Mailbox
	posted := h.imap.Messages(box.ToApprove)[0].Raw
	changed := bytes.ReplaceAll(posted, []byte("Kind regards"), []byte("With best wishes from Marisol"))
	changed = replaceHeader(changed, "Message-ID", "<edited.1@mail.larkfield.example>")
	changed = append([]byte("X-Mailer: Any Mail Program\r\nBcc: someone@larkfield.example\r\n"), changed...)
	h.imap.Put(box.Approved[0].Folder, changed, `\Draft`)
	h.once()
	sent := h.wantDelivered(1)[0]
	if !bytes.Contains(sent.Raw, []byte("With best wishes from Marisol")) {
		t.Error("the edited words did not leave")
	}
	if bytes.Contains(sent.Raw, []byte("Bcc:")) {
		t.Error("a blind copy's address left with the message")
	}
	if len(sent.To) != 1 || sent.To[0] != "amara.okafor@example.org" {
		t.Errorf("it went to %v", sent.To)
	}
	h.once() // the old draft is still in to-approve or was removed: either way nothing more leaves
	h.wantDelivered(1)
	if got := h.folders(); strings.Contains(got, box.ToApprove) {
		t.Errorf("the old draft still waits: %s", got)
	}
	h.whole()
}

// Two mail programs move one draft at the same moment; on some servers both
// succeed. One message leaves.
func TestTwoMovesOfOneDraftSendOnce(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "race"))
	h.once()
	box := h.Rules.Mailbox
	raw := h.imap.Messages(box.ToApprove)[0].Raw
	h.imap.Put(box.Approved[0].Folder, raw)
	h.imap.Put(box.Approved[0].Folder, raw)
	h.imap.Put(box.Approved[1].Folder, raw)
	h.once()
	h.once()
	h.wantDelivered(1)
	if n := len(h.drafts(ledger.DraftSent)); n != 1 {
		t.Errorf("%d drafts count as sent", n)
	}
	h.whole()
}

// What is moved into the set-aside folder is put off, and says no to nobody.
func TestSetAsideByMovingPutsOff(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "no"))
	h.once()
	h.imap.MoveAs(h.Rules.Mailbox.ToApprove, "no.stl", h.Rules.Mailbox.SetAside)
	h.once()
	h.wantDelivered(0)
	h.wantStage(job.Drafted)
	h.noneWaits()
	h.whole()
}

// The server numbers the inbox anew, e.g. after a repair: the letter is known by its bytes.
func TestRenumberedInboxIsNotTakenAgain(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "old"))
	h.once()
	h.imap.Renumber()
	h.once()
	h.oneJob()
	h.imap.Deliver(request(t, "new"))
	h.once()
	if n := len(h.jobs()); n != 2 {
		t.Errorf("%d jobs after a new letter, want 2", n)
	}
	h.whole()
}

// A double-delivered letter makes one job.
func TestSameLetterTwiceIsOneJob(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	raw := request(t, "twice")
	h.imap.Deliver(raw)
	h.imap.Deliver(raw)
	h.once()
	h.imap.Deliver(raw)
	h.once()
	h.oneJob()
	h.waiting()
	h.whole()
}

// The connection breaks inside the letter's bytes: nothing half is kept, and the
// next look takes it whole.
func TestCutInsideAFetch(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	raw := request(t, "cut")
	raw = append(raw, bytes.Repeat([]byte("and so on, at length\r\n"), 20_000)...)
	h.imap.Deliver(raw)
	proxy := mailtest.NewProxy(t, h.imap.Port)
	c := h.imap.Config("none")
	c.Port, c.CommandTimeout = proxy.Port, 2*time.Second
	h.Dial = h.dialAt(c)
	proxy.CutAfter(100_000)
	if err := h.Once(t.Context()); err == nil {
		t.Fatal("the cut went unnoticed")
	}
	if n := len(h.jobs()); n != 0 {
		t.Fatalf("%d jobs from half a letter", n)
	}
	proxy.Heal()
	h.once()
	h.oneJob()
	h.whole()
}

// Letters that were fetched before the connection was cut are taken, though
// they were to be taken together with the one that was cut.
func TestCutAmongLetters(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	for _, key := range []string{"one", "two"} {
		h.imap.Deliver(request(t, key))
	}
	long := append(request(t, "three"), bytes.Repeat([]byte("and so on, at length\r\n"), 20_000)...)
	h.imap.Deliver(long)
	proxy := mailtest.NewProxy(t, h.imap.Port)
	c := h.imap.Config("none")
	c.Port, c.CommandTimeout = proxy.Port, 2*time.Second
	h.Dial = h.dialAt(c)
	proxy.CutAfter(200_000)
	if err := h.Once(t.Context()); err == nil {
		t.Fatal("the cut went unnoticed")
	}
	taken, err := h.Ledger.Letters(t.Context(), 10)
	if err != nil || len(taken) != 2 {
		t.Fatalf("%d letters are taken (%v), want the two that came whole", len(taken), err)
	}
	proxy.Heal()
	h.once()
	if jobs := h.jobs(); len(jobs) != 3 {
		t.Errorf("%d jobs, want one for each letter", len(jobs))
	}
	h.whole()
}

// A server that says nothing more ends in a clear error, not in silence of ours.
func TestSilentServer(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	proxy := mailtest.NewProxy(t, h.imap.Port)
	c := h.imap.Config("none")
	c.Port, c.CommandTimeout = proxy.Port, 300*time.Millisecond
	h.Dial = h.dialAt(c)
	h.once()
	proxy.Stall()
	err := h.Poll(t.Context())
	if err == nil || !strings.Contains(err.Error(), "127.0.0.1") {
		t.Errorf("a silent server gives: %v", err)
	}
	if when, why := h.LastGoodPoll(); when.IsZero() || why == nil {
		t.Errorf("last good poll %v, error %v; want both", when, why)
	}
}

// No agreement: the draft asks for it. When it comes on file, the job goes on by
// itself, and a new draft takes the place of the old one.
func TestAgreementArrives(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.imap.Deliver(request(t, "later"))
	h.once()
	h.wantStage(job.NeedsAgreement)
	first := h.waiting()
	if first.Kind != "needs-agreement" {
		t.Errorf("the draft is %q", first.Kind)
	}
	h.agree(agreement.Entry{Address: "amara.okafor@example.org", Name: "Amara Okafor", Signed: h.now().AddDate(0, -1, 0).Format(time.DateOnly), Version: h.Rules.Agreement.Current})
	h.once()
	h.wantStage(job.Drafted)
	if second := h.waiting(); second.ID == first.ID || second.Kind != "quote" {
		t.Errorf("after the agreement %s (%s) waits, before it %s", second.ID, second.Kind, first.ID)
	}
	if n := len(h.imap.Messages(h.Rules.Mailbox.ToApprove)); n != 1 {
		t.Errorf("%d drafts lie in to-approve, want the new one only", n)
	}
	h.whole()
}

// A sender that the mail server did not prove is never matched to the register.
func TestUnprovenSenderIsNotMatched(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(bytes.Replace(request(t, "forged"), []byte("dmarc=pass"), []byte("dmarc=fail"), 1))
	h.once()
	j := h.oneJob()
	if j.Stage != job.NeedsAgreement || j.Agreement.State != job.AgreementUnproven {
		t.Errorf("stage %s, agreement %+v", j.Stage, j.Agreement)
	}
	if err := h.Confirm(t.Context(), j.ID, marisol); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.wantStage(job.Drafted)
	h.whole()
}

// One letter that cannot be read is set aside after three tries, with its bytes
// and a notice; the letter behind it is not held up.
func TestBadLetterIsSetAside(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver([]byte("\x00\x01\x02 this is no mail at all\r\n"))
	h.imap.Deliver(request(t, "good"))
	h.once()
	h.waiting()
	for range 3 {
		h.forward(time.Hour)
		h.once()
	}
	aside, err := h.Ledger.Letters(t.Context(), 10, ledger.LetterSetAside)
	if err != nil || len(aside) != 1 || !aside[0].Raw {
		t.Fatalf("set aside: %+v, %v\n%s", aside, err, h.log)
	}
	if n := h.notices(); len(n) != 1 || !strings.Contains(n[0], aside[0].ID) {
		t.Errorf("notices: %q", n)
	}
	h.whole()
}

// The server takes the message and its answer is lost: nobody sends again until
// a person has settled it.
func TestUncertainIsLeftToAPerson(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "lost"))
	h.once()
	d := h.waiting()
	h.smtp.Behave(mailtest.CutAfterDot)
	if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.smtp.Behave(mailtest.Accept)
	for range 3 {
		h.forward(time.Hour)
		h.once()
	}
	if n := len(h.smtp.Delivered()); n > 1 {
		t.Fatalf("it left %d times", n)
	}
	if got := h.drafts(ledger.DraftUncertain); len(got) != 1 {
		t.Fatalf("%d uncertain drafts, want one\n%s", len(got), h.log)
	}
	if err := h.Settle(t.Context(), d.ID, true, marisol); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.wantStage(job.Quoted)
	h.whole()
}

// A server that is busy is tried again; one that refuses is not.
func TestBusyAndRefusing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "busy"))
	h.once()
	d := h.waiting()
	h.smtp.Behave(mailtest.BusyRcpt)
	if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.wantDelivered(0)
	h.smtp.Behave(mailtest.BusyData)
	h.forward(time.Hour)
	h.once()
	h.smtp.Behave(mailtest.Accept)
	h.forward(time.Hour)
	h.once()
	h.wantDelivered(1)

	h.imap.Deliver(request(t, "refused"))
	h.once()
	d = h.waiting()
	h.smtp.Behave(mailtest.RefuseRcpt)
	if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.smtp.Behave(mailtest.Accept)
	h.forward(time.Hour)
	h.once()
	h.wantDelivered(1)
	if failed := h.drafts(ledger.DraftFailed); len(failed) != 1 {
		t.Errorf("%d failed drafts, want one", len(failed))
	}
	if n := h.notices(); len(n) != 1 || !strings.Contains(n[0], "refused") {
		t.Errorf("notices: %q", n)
	}
	h.whole()
}

// An approval binds to the hash: once the draft was edited, the old word counts no more.
func TestApprovalOfOldBytesIsRefused(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "stale"))
	h.once()
	d := h.waiting()
	raw, err := h.Ledger.DraftBytes(t.Context(), d.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := h.Edit(t.Context(), d.ID, d.SHA256, bytes.ReplaceAll(raw, []byte("Kind regards"), []byte("Goodbye")), marisol); err != nil {
		t.Fatal(err)
	}
	err = h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand)
	if _, stale := errors.AsType[*ledger.StaleError](err); !stale {
		t.Errorf("the old hash was approved: %v", err)
	}
	h.once()
	h.wantDelivered(0)
	if posted := h.imap.Messages(h.Rules.Mailbox.ToApprove); len(posted) != 1 || !bytes.Contains(posted[0].Raw, []byte("Goodbye")) {
		t.Errorf("the copy in the mailbox did not follow the edit: %d messages", len(posted))
	}
	h.whole()
}

// The log names no patron and holds no word of a letter.
func TestLogIsMasked(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree()
	h.imap.Deliver(request(t, "private"))
	h.once()
	d := h.waiting()
	h.smtp.Behave(mailtest.RefuseRcpt)
	if err := h.Approve(t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		t.Fatal(err)
	}
	h.once()
	if h.log.Len() == 0 {
		t.Fatal("nothing was logged")
	}
	for _, word := range []string{"amara.okafor@", "Amara", "private.stl", "Millbrook"} {
		if strings.Contains(h.log.String(), word) {
			t.Errorf("the log holds %q:\n%s", word, h.log)
		}
	}
}

func header(raw []byte, name string) string {
	head, _, _ := strings.Cut(string(raw), "\r\n\r\n")
	for line := range strings.SplitSeq(strings.ReplaceAll(head, "\r\n ", " "), "\r\n") {
		if k, v, ok := strings.Cut(line, ":"); ok && strings.EqualFold(k, name) {
			return strings.TrimSpace(v)
		}
	}
	return ""
}

// replaceHeader gives a field another value, also where it was folded.
func replaceHeader(raw []byte, name, value string) []byte {
	field := regexp.MustCompile(`(?im)^` + name + `:.*\r\n([ \t].*\r\n)*`)
	at := field.FindIndex(raw)
	return slices.Concat(raw[:at[0]], []byte(name+": "+value+"\r\n"), raw[at[1]:])
}

func plain(raw []byte) (string, error) {
	if err := outbox.Ready(raw); err != nil {
		return "", err
	}
	return string(raw), nil
}

// A form that comes with the request itself is told of too.
func TestFormWithTheRequest(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	raw := request(t, "signed")
	form := "--%s\r\nContent-Type: application/pdf; name=form.pdf\r\nContent-Disposition: attachment; filename=form.pdf\r\n\r\n%%PDF-1.4\r\n%%%%EOF\r\n"
	boundary := regexp.MustCompile(`boundary="?([^"\r\n;]+)`).FindSubmatch(raw)
	if boundary == nil {
		t.Fatal("the request has no parts")
	}
	last := bytes.LastIndex(raw, []byte("--"+string(boundary[1])+"--"))
	raw = slices.Concat(raw[:last], fmt.Appendf(nil, form, boundary[1]), raw[last:])
	h.imap.Deliver(raw)
	h.once()
	h.wantStage(job.NeedsAgreement)
	if n := h.notices(); len(n) != 1 || !strings.Contains(n[0], "agreements add --job "+string(h.oneJob().ID)) {
		t.Errorf("notices %q", n)
	}
	h.whole()
}

// A form that comes in a letter of its own, not as an answer, is told of as well.
func TestFormInALetterOfItsOwn(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.imap.Deliver(request(t, "unsigned"))
	h.once()
	h.wantStage(job.NeedsAgreement)
	for _, dmarc := range []string{"fail", "pass"} {
		l := sample.Letter{Key: "form-" + dmarc, FromName: "Amara Okafor", FromAddress: "amara.okafor@example.org", DMARC: dmarc, Subject: "My form",
			Text:  "Hello,\n\nhere it is, signed.\n\nAmara\n",
			Files: []sample.File{{Name: "form.pdf", MediaType: "application/pdf", Data: []byte("%PDF-1.4\n%%EOF\n")}}}
		raw, err := l.Compose(time.Now())
		if err != nil {
			t.Fatal(err)
		}
		h.imap.Deliver(raw)
		h.once()
		want := map[string]int{"fail": 0, "pass": 1}[dmarc] // anybody can write any sender
		if n := h.notices(); len(n) != want {
			t.Errorf("%s: notices %q", dmarc, n)
		}
	}
	if n := h.notices(); !strings.Contains(strings.Join(n, " "), "agreements form "+string(h.oneJob().ID)) {
		t.Errorf("notices %q", n)
	}
	h.whole()
}
