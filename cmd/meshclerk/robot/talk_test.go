package robot

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/casework"
)

// approves lets a person approve the only draft that waits, has it sent, and
// gives it back with the message that reached the patron.
func (h *house) approves(kind string) (ledger.Draft, []byte) {
	h.t.Helper()
	d := h.waiting()
	if d.Kind != kind {
		raw, _ := h.Ledger.DraftBytes(h.t.Context(), d.ID)
		h.t.Fatalf("a letter of the kind %q waits, want %q\n%s", d.Kind, kind, raw)
	}
	if err := h.Approve(h.t.Context(), d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
		h.t.Fatal(err)
	}
	before := len(h.smtp.Delivered())
	h.once()
	got := h.smtp.Delivered()
	if len(got) != before+1 {
		h.t.Fatalf("%d messages left, want one\n%s", len(got)-before, h.log)
	}
	return d, got[len(got)-1].Raw
}

// answers sends a patron's answer to a message that reached her.
func (h *house) answers(to []byte, text string, files ...sample.File) {
	h.t.Helper()
	h.answersAs("Amara Okafor", "amara.okafor@example.org", "pass", to, text, files...)
}

func (h *house) answersAs(name, address, dmarc string, to []byte, text string, files ...sample.File) {
	h.t.Helper()
	h.forward(time.Second) // so that no two letters of hers have one Message-ID
	l, err := sample.Letter{Key: fmt.Sprintf("answer-%d", len(h.imap.Messages("INBOX"))), FromName: name, FromAddress: address, DMARC: dmarc, Text: text, Files: files}.Answering(to)
	if err != nil {
		h.t.Fatal(err)
	}
	raw, err := l.Compose(h.now())
	if err != nil {
		h.t.Fatal(err)
	}
	h.imap.Deliver(raw)
	h.once()
}

func (h *house) wantText(raw []byte, words ...string) {
	h.t.Helper()
	text, err := sample.PlainText(raw)
	if err != nil {
		h.t.Fatal(err)
	}
	text = strings.Join(strings.Fields(strings.ReplaceAll(text, "\u00a0", " ")), " ")
	for _, w := range words {
		if !strings.Contains(text, w) {
			h.t.Errorf("the letter does not say %q:\n%s", w, text)
		}
	}
}

// One conversation from the first letter to the counter, on a real server: each
// of the patron's letters is a real answer to the message that reached her.
func TestTenTurns(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.imap.Deliver(request(t, "clip"))
	h.once()
	h.wantStage(job.NeedsAgreement)
	_, got := h.approves("needs-agreement") // 1: her request, 2: sign first

	h.answers(got, "Here is the signed form.", sample.File{Name: "agreement.pdf", MediaType: "application/pdf", Data: []byte("%PDF-1.4\n%%EOF\n")}) // 3
	if n := strings.Join(h.notices(), "\n"); !strings.Contains(n, "may be the signed agreement") {
		t.Errorf("staff are not told of the form: %s", n)
	}
	h.agree(agreement.Entry{Address: "amara.okafor@example.org", Name: "Amara Okafor", Signed: h.now().AddDate(0, 0, -1).Format(time.DateOnly), Version: h.Rules.Agreement.Current})
	h.once()
	quote, got := h.approves("agreement-arrived") // 4: the price
	h.wantStage(job.Quoted)
	h.wantText(got, "can be ready about 1 working day after you say yes")

	h.answers(got, "Is PLA strong enough for a coat?") // 5
	h.wantStage(job.Quoted)
	_, got = h.approves("question") // 6: staff answer
	h.putNoticesAway()              // nothing stands in the way of a yes any more

	h.answers(got, "Thank you. Could I have two of them instead of one?") // 7
	h.wantStage(job.Drafted)
	if n := h.oneJob().Settings.Copies; n != 2 {
		t.Errorf("%d copies, want 2", n)
	}
	again, got := h.approves("changed-quote") // 8: the new price, and what changed
	h.wantText(got, "What has changed")
	one, two := casework.WrittenOf(quote).Jobs, casework.WrittenOf(again).Jobs
	if len(one) != 1 || len(two) != 1 || two[0].Report.Estimate.MassG < 1.9*one[0].Report.Estimate.MassG {
		t.Error("two copies are not estimated as two")
	}

	h.answers(got, "Yes please, go ahead.") // 9
	h.wantStage(job.Agreed)
	h.approves("accepted") // 10: on the print list
	h.wantStage(job.Agreed)

	j := h.oneJob()
	h.act(h.Assign(t.Context(), j.ID, "Bench 1", marisol))
	h.act(h.Start(t.Context(), j.ID, marisol))
	h.once()
	h.noneWaits()
	h.act(h.PrintFailed(t.Context(), j.ID, casework.Spent{Hours: 0.3}, marisol, "it came loose from the plate"))
	h.once()
	_, got = h.approves("failed") // 11
	h.wantText(got, "it came loose from the plate")
	h.act(h.PutOff(t.Context(), j.ID, marisol, "again"))
	h.once()
	h.noneWaits() // no second thanks for the yes
	h.act(h.Start(t.Context(), j.ID, marisol))
	h.act(h.Printed(t.Context(), j.ID, casework.Spent{Hours: 0.9, Grams: 11}, marisol))
	h.once()
	_, got = h.approves("ready") // 12
	h.wantText(got, "Millbrook")
	h.wantStage(job.Ready)
	if _, err := h.Collected(t.Context(), j.ID, "2.35", marisol); err != nil {
		t.Fatal(err)
	}
	h.once()
	h.wantStage(job.Collected)
	h.noneWaits()
	prints, err := h.Ledger.PrintsOf(t.Context(), j.ID)
	if err != nil || len(prints) != 2 || !prints[1].Good || prints[1].Printer != "Bench 1" || prints[1].EstHours <= 0 {
		t.Errorf("prints on record: %+v, %v", prints, err)
	}
	h.inOneThread()
	h.whole()
}

// putNoticesAway lets a person say that what they were told of is dealt with.
func (h *house) putNoticesAway() {
	h.t.Helper()
	open, err := h.Ledger.Notices(h.t.Context(), false)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, n := range open {
		h.act(h.CloseNotice(h.t.Context(), n.ID, 0, marisol))
	}
}

func (h *house) act(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

func (h *house) noneWaits() {
	h.t.Helper()
	for _, d := range h.drafts(ledger.DraftWaiting) {
		h.t.Errorf("%s (%s) waits, want none", d.ID, d.Kind)
	}
}

// inOneThread proves that every message that left answers a letter that came
// (RFC 5322, 3.6.4) and carries the conversation's token.
func (h *house) inOneThread() {
	h.t.Helper()
	var came [][]byte
	for _, m := range h.imap.Messages("INBOX") {
		came = append(came, []byte(header(m.Raw, "Message-ID")))
	}
	token := "[" + h.oneJob().Thread + "]"
	for _, d := range h.smtp.Delivered() {
		answers := header(d.Raw, "In-Reply-To")
		known := false
		for _, id := range came {
			known = known || bytes.Equal(id, []byte(answers))
		}
		if !known {
			h.t.Errorf("%q answers no letter that came: %q", header(d.Raw, "Subject"), answers)
		}
		if !strings.Contains(header(d.Raw, "Subject"), token) {
			h.t.Errorf("subject without the token: %q", header(d.Raw, "Subject"))
		}
	}
}

// A corrected file takes the place of the first one: the same job is checked and
// priced anew, and the new letter says what changed.
func TestCorrectedFileTakesItsPlace(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.agree(agreement.Entry{Address: "amara.okafor@example.org", Name: "Amara Okafor", Signed: h.now().AddDate(0, 0, -1).Format(time.DateOnly), Version: h.Rules.Agreement.Current})
	h.imap.Deliver(request(t, "clip"))
	h.once()
	_, got := h.approves("quote")
	first := h.oneJob()

	var file bytes.Buffer
	if err := mesh.WriteSTL(&file, shapes.Box(60, 40, 30)); err != nil {
		t.Fatal(err)
	}
	h.answers(got, "Sorry, here is the corrected file.", sample.File{Name: "clip-v2.stl", MediaType: "model/stl", Data: file.Bytes()})
	j := h.oneJob()
	if j.ID != first.ID || j.Blob == first.Blob || j.File != "clip-v2.stl" {
		t.Errorf("job %s has %s (%s), was %s with %s", j.ID, j.File, j.Blob, first.ID, first.File)
	}
	if size := j.Report.Mesh.SizeMM; size != [3]float64{60, 40, 30} {
		t.Errorf("the new file was not checked: %v", size)
	}
	_, got = h.approves("changed-quote")
	h.wantText(got, "What has changed", "6 × 4 × 3 cm")
	h.wantStage(job.Quoted)
}
