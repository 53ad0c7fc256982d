package desk

import (
	"bytes"
	"image/png"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

func TestWaitingListsWhatNeedsAPerson(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	h.letter(okafor())
	h.clock.pass(3 * time.Hour)
	other := okafor()
	other.Name, other.Address, other.Auth, other.Agreement.State = "Tomas Lindgren", "tomas.lindgren@example.net", job.Fail, job.AgreementUnproven
	h.letter(other)
	h.do(func(tx *ledger.Tx) error {
		return tx.AddNotice(t.Context(), "odd", "L-000001", job.Plain("look at this letter"))
	})
	h.do(func(tx *ledger.Tx) error { return tx.SavePoll(t.Context(), h.rules.Mailbox.Inbox, 1, 2) })
	code, page := h.browser("marisol").get("/")
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Amara Okafor", "bracket.stl", "3 h", "Tomas Lindgren", "sender not proven", "Look at this letter", `href="/letter/L-000001"`)
	lacks(t, page, "The mailbox was last looked at")
	if strings.Index(page, "Amara") > strings.Index(page, "Tomas") {
		t.Error("the longest waiting is not first")
	}
}

// Approving from the page records the person, the exact hash, and the robot's work.
func TestApproveExactBytes(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	b := h.browser("marisol")
	code, page := b.get("/reply/" + d)
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Amara", string(id), "in blue PLA", "collect it at Millbrook", "Approve and send", "About 3 cm²", "on file")
	raw, err := h.ledger.DraftBytes(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	if code, page = b.post("/reply/"+d+"/approve", url.Values{"sha": {sha(t, page)}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Approved. The reply to Amara Okafor is on its way.", "On their way")
	got, err := h.ledger.Draft(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	if got.State != ledger.DraftApproved || got.Approval.By != "Marisol Teague" || got.Approval.Via != ledger.ViaPage || got.Approval.SHA256 != got.SHA256 {
		t.Errorf("recorded: %+v %+v", got, got.Approval)
	}
	steps, err := h.ledger.OpenSteps(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for _, s := range steps {
		found = found || s.Kind == "send" && s.Subject == d
	}
	if !found {
		t.Errorf("no step sends the reply: %+v", steps)
	}
	send, out, err := h.ledger.BeginSend(t.Context(), d, "test")
	if err != nil || !bytes.Equal(raw, out) {
		t.Errorf("what would be sent (%v, %v) is not what was shown", send, err)
	}
}

// Two people have a reply open; one edits it, the other's approval is refused,
// and the second is shown what changed and by whom.
func TestStaleApprovalIsRefusedWithWhatChanged(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	first, second := h.browser("marisol"), h.browser("owen")
	_, mine := first.get("/reply/" + d)
	_, theirs := second.get("/reply/" + d)
	holds(t, theirs, "Marisol Teague has this open too.")
	doc := docOf(t, h, d)
	code, page := second.post("/reply/"+d+"/edit", url.Values{"sha": {sha(t, theirs)}, "subject": {"Your bracket"}, "do": {"save"},
		"markdown": {doc.Markdown + "\n\nWe close early on Friday.\n"}})
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "We close early on Friday.", "Saved. Read it once more")
	code, page = first.post("/reply/"+d+"/approve", url.Values{"sha": {sha(t, mine)}})
	if code != http.StatusConflict {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Not done: this page was out of date", "Owen Dufresne", "<ins>We close early on Friday.</ins>", "<del>Subject:", "Subject: Your bracket")
	if got, err := h.ledger.Draft(t.Context(), d); err != nil || got.Approval != nil {
		t.Errorf("approved all the same: %+v %v", got, err)
	}
	// The second try of the first person, from the page as it is now, goes through.
	if code, page = first.post("/reply/"+d+"/approve", url.Values{"sha": {sha(t, page)}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	// And the other's approval afterwards does not approve twice.
	if code, page = second.post("/reply/"+d+"/approve", url.Values{"sha": {sha(t, theirs)}}); code != http.StatusConflict {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Marisol Teague")
}

func docOf(t *testing.T, h *house, d string) casework.Written {
	t.Helper()
	got, err := h.ledger.Draft(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	doc := casework.WrittenOf(got)
	if doc.Markdown == "" {
		t.Fatal("the draft has no source")
	}
	return doc
}

// An edit that began with other bytes never overwrites, and keeps the person's words.
func TestStaleEditKeepsWords(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	a, b := h.browser("marisol"), h.browser("owen")
	_, pageA := a.get("/reply/" + d)
	_, pageB := b.get("/reply/" + d)
	edit := func(who *browser, page, words string) (int, string) {
		return who.post("/reply/"+d+"/edit", url.Values{"sha": {sha(t, page)}, "subject": {"S"}, "do": {"save"}, "markdown": {words}})
	}
	if code, page := edit(a, pageA, "First words."); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	code, page := edit(b, pageB, "Second words.")
	if code != http.StatusConflict {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Second words.", "First words.")
	if raw, err := h.ledger.DraftBytes(t.Context(), d); err != nil || !bytes.Contains(raw, []byte("First words.")) {
		t.Errorf("overwritten: %v", err)
	}
}

func TestEmptyEditIsRefused(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.get("/reply/" + d)
	code, page := b.post("/reply/"+d+"/edit", url.Values{"sha": {sha(t, page)}, "subject": {"Kept"}, "do": {"save"}, "markdown": {"  "}})
	if code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", code)
	}
	holds(t, page, "The subject or the text is empty.", `value="Kept"`)
}

// Working out other settings saves nothing; using them saves job and reply together.
func TestSettingsAreWorkedOutAndUsed(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.get("/reply/" + d)
	form := url.Values{"reply": {d}, "sha": {sha(t, page)}, "layer": {"0.2"}, "shells": {"2"}, "infill": {"10"}, "copies": {"3"}, "scale": {"100"},
		"material": {"PLA"}, "colour": {"blue"}, "supports": {""}, "way": {"sent"}, "printer": {""}, "do": {"try"}}
	before, err := h.ledger.Draft(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	asked := job.Settings{Material: "PLA", Colour: "blue", LayerMM: 0.2, Shells: 2, Infill: 0.1, Scale: 1, Copies: 3}
	want, err := h.desk.office.Recheck(t.Context(), id, asked)
	if err != nil {
		t.Fatal(err)
	}
	code, page := b.post("/job/"+string(id)+"/settings", form)
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	locale := h.desk.pages.localizers["en"]
	holds(t, page, "Worked out, not saved", "3 hours", string(locale.Exact(want.Estimate.PrintTimeS)), string(locale.Mass(want.Estimate.MassG)), want.Quote.Total)
	if after, err := h.ledger.Draft(t.Context(), d); err != nil || after.SHA256 != before.SHA256 {
		t.Error("a trial changed the reply")
	}
	form.Set("do", "use")
	if code, page = b.post("/job/"+string(id)+"/settings", form); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "The settings are taken over")
	j, err := h.ledger.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := h.ledger.DraftBytes(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	if j.Settings.Copies != 3 || j.Report.Estimate.PrintTimeS != want.Estimate.PrintTimeS || !bytes.Contains(raw, []byte("Copies: 3")) {
		t.Errorf("saved: %+v, %v s; the reply:\n%s", j.Settings, j.Report.Estimate.PrintTimeS, raw)
	}
	// The same form once more comes from a page that is out of date: neither job nor reply change.
	form.Set("copies", "5")
	if code, page = b.post("/job/"+string(id)+"/settings", form); code != http.StatusConflict {
		t.Fatalf("%d\n%s", code, page)
	}
	if j, err = h.ledger.Job(t.Context(), id); err != nil || j.Settings.Copies != 3 {
		t.Errorf("a stale page changed the job: %+v, %v", j.Settings, err)
	}
	form.Set("copies", "many")
	if code, page = b.post("/job/"+string(id)+"/settings", form); code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", code)
	}
	holds(t, page, "Copies is &#34;many&#34;; it must be a number from 1 to 20")
}

// Whom a reply went to before an edit changed that stands beside whom it
// goes to now, before anybody approves it.
func TestChangedRecipientsAreShown(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, id := h.letter(okafor())
	d, err := h.ledger.Draft(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := h.ledger.DraftBytes(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	other := bytes.ReplaceAll(raw, []byte(d.To.Address), []byte("else@example.net"))
	h.do(func(tx *ledger.Tx) error {
		_, err := tx.Replace(t.Context(), id, d.SHA256, ledger.Edit{Raw: other, To: job.Address{Address: "else@example.net"}, AddressedBefore: d.To.Address}, "Owen Dufresne", job.Plain("edited"))
		return err
	})
	b := h.browser("marisol")
	_, page := b.get("/reply/" + id)
	holds(t, page, "An edit changed whom this reply goes to: before "+d.To.Address+", now ", "else@example.net")
	if code, page := b.post("/reply/"+id+"/approve", url.Values{"sha": {sha(t, page)}}); code != http.StatusOK {
		t.Errorf("%d\n%s", code, page)
	}
	if d, err = h.ledger.Draft(t.Context(), id); err != nil || d.State != ledger.DraftApproved {
		t.Errorf("%s %v", d.State, err)
	}
}

func TestAsideNoteReopen(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	b := h.browser("marisol")
	if code, page := b.post("/reply/"+d+"/note", url.Values{"note": {"Owen, is blue in stock?"}}); code != http.StatusOK || !strings.Contains(page, "Marisol Teague: Owen, is blue in stock?") {
		t.Errorf("%d\n%s", code, page)
	}
	if code, page := b.post("/reply/"+d+"/aside", url.Values{"why": {"a joke"}}); code != http.StatusOK || !strings.Contains(page, "Put aside. Nothing was sent.") {
		t.Errorf("%d\n%s", code, page)
	}
	if got, _ := h.ledger.Draft(t.Context(), d); got.State != ledger.DraftSetAside || got.Why.Text != "a joke" {
		t.Errorf("%+v", got)
	}
	if code, page := b.post("/reply/"+d+"/reopen", nil); code != http.StatusOK || !strings.Contains(page, "Approve and send") {
		t.Errorf("%d\n%s", code, page)
	}
}

func TestUncertainIsOnTopAndSettled(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	h.letter(okafor())
	_, d := h.letter(okafor())
	got, err := h.ledger.Draft(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.ledger.Approve(t.Context(), d, got.SHA256, "Marisol Teague", ledger.ViaPage); err != nil {
		t.Fatal(err)
	}
	s, _, err := h.ledger.BeginSend(t.Context(), d, "robot")
	if err != nil {
		t.Fatal(err)
	}
	if err := h.ledger.EndSend(t.Context(), s, ledger.Uncertain, job.Plain("no answer"), ledger.Robot); err != nil {
		t.Fatal(err)
	}
	b := h.browser("owen")
	_, page := b.get("/")
	holds(t, page, "Needs you now", "nobody knows whether it was sent")
	if strings.Index(page, "Needs you now") > strings.Index(page, "Replies to read") {
		t.Error("what is urgent is not on top")
	}
	if code, page := b.post("/reply/"+d+"/settle", url.Values{"sent": {"yes"}}); code != http.StatusOK || !strings.Contains(page, "Settled.") {
		t.Errorf("%d\n%s", code, page)
	}
	if got, _ := h.ledger.Draft(t.Context(), d); got.State != ledger.DraftSent {
		t.Errorf("%s", got.State)
	}
}

func TestPictures(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, _ := h.letter(okafor())
	b := h.browser("marisol")
	for _, view := range []string{"corner", "front", "side", "top", "below", "turned", "inside"} {
		for _, dark := range []string{"", "?dark=1"} {
			r, err := b.Get(h.server.URL + "/job/" + string(id) + "/picture/" + view + ".png" + dark)
			if err != nil {
				t.Fatal(err)
			}
			img, err := png.Decode(r.Body)
			r.Body.Close()
			if err != nil || r.Header.Get("Content-Type") != "image/png" || img.Bounds().Dx() != 640 {
				t.Errorf("%s%s: %v", view, dark, err)
			}
		}
	}
	if code, _ := b.get("/job/" + string(id) + "/picture/secret.png"); code != http.StatusNotFound {
		t.Errorf("an unknown view gives %d", code)
	}
	code, body := b.get("/job/" + string(id) + "/shape")
	if code != http.StatusOK || len(body) == 0 || len(body)%36 != 0 {
		t.Errorf("shape: %d, %d bytes", code, len(body))
	}
}

func TestAlarmWhenThePollIsOld(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	h.clock.pass(2 * time.Hour)
	_, page := h.browser("marisol").get("/")
	holds(t, page, `role="alert"`, "The mailbox was last looked at 2 h ago")
}
