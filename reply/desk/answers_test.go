package desk

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// offered brings a job to where its patron has an offer before them.
func (h *house) offered(id job.ID, draft string) {
	h.t.Helper()
	h.do(func(tx *ledger.Tx) error {
		ctx := h.t.Context()
		j, err := tx.Job(ctx, id)
		if err != nil {
			return err
		}
		terms, ok := j.Terms()
		if !ok {
			h.t.Fatal("the job has no terms")
		}
		d, err := tx.Draft(ctx, draft)
		if err != nil {
			return err
		}
		if err := tx.AddOffer(ctx, ledger.Offer{Draft: draft, Job: id, SHA256: d.SHA256, Terms: &terms, RulesHash: h.rules.Hash}); err != nil {
			return err
		}
		if err := tx.SetAside(ctx, draft, ledger.Robot, job.Plain("")); err != nil { // it has left, as far as the page can tell
			return err
		}
		return tx.Move(ctx, id, job.Quoted, ledger.Robot, job.Plain(""))
	})
}

// left puts in a letter about a job that was left to staff.
func (h *house) left(id job.ID, kind ledger.NoticeKind, text string, w job.Wishes) string {
	h.t.Helper()
	h.n++
	sha, n, err := h.ledger.PutBlob(h.t.Context(), ledger.KindLetter, bytesOf(h.n), 0)
	if err != nil {
		h.t.Fatal(err)
	}
	letter := ""
	h.do(func(tx *ledger.Tx) (err error) {
		ctx := h.t.Context()
		if letter, _, err = tx.Take(ctx, ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: h.n, SHA256: sha, Bytes: n, ReceivedAt: h.clock.Now()}); err != nil {
			return err
		}
		l := job.Letter{From: job.Address{Name: "Amara Okafor", Address: "amara.okafor@example.org"}, Text: text, Wishes: w, Authenticated: job.Pass, Disposition: job.Answer, Language: "en"}
		if err := tx.SaveParsed(ctx, letter, l, ledger.Robot); err != nil {
			return err
		}
		if kind == ledger.NoticeStray {
			return tx.AddNotice(ctx, kind, letter, job.Say("notices.stray", job.Args{"letter": letter, "jobs": []string{string(id)}}))
		}
		if err := tx.Link(ctx, id, letter, ledger.RoleAnswer); err != nil {
			return err
		}
		return tx.AddNotice(ctx, kind, letter, job.Say("notices.left", job.Args{"letter": letter, "jobs": []string{string(id)}, "why": job.Say("notices.why.question", nil)}))
	})
	return letter
}

func (h *house) job(id job.ID) job.Job {
	h.t.Helper()
	j, err := h.ledger.Job(h.t.Context(), id)
	if err != nil {
		h.t.Fatal(err)
	}
	return j
}

func (h *house) openNotices() int {
	h.t.Helper()
	list, err := h.ledger.Notices(h.t.Context(), false)
	if err != nil {
		h.t.Fatal(err)
	}
	return len(list)
}

// Beside a letter that was left to staff stand its words, with what was understood
// marked, and the acts; a yes leads to the print list and says so.
func TestLetterLeftToStaffIsTakenAsYes(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	letter := h.left(id, ledger.NoticeQuestion, "Sure thing! Millbrook <b>suits</b> me, by teatime.", job.Wishes{Pickup: "Millbrook",
		Words: map[string]string{"pickup": "Millbrook"}, Unread: []job.Unread{{Text: "by teatime", About: "date"}}})
	b := h.browser("marisol")
	for _, path := range []string{"/", "/letter/" + letter} {
		_, page := b.get(path)
		holds(t, page, `Sure thing! <mark class="read">Millbrook</mark> &lt;b&gt;suits&lt;/b&gt; me, <mark class="unread">by teatime</mark>.`,
			"Take as yes", "Take as no", "Write to the patron", "Nothing to do", `<option selected>Millbrook</option>`)
	}
	_, page := b.get("/jobs")
	holds(t, page, "<td>us</td>")
	code, page := b.post("/letter/"+letter+"/decide", url.Values{"do": {"yes"}, "back": {"list"}})
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "bracket.stl is on the print list.", "Nothing waits.")
	if j := h.job(id); j.Stage != job.Agreed || h.openNotices() != 0 {
		t.Errorf("%s, %d notices", j.Stage, h.openNotices())
	}
}

// A yes that something else stands in the way of is kept, and the page says of what:
// at once, on the job's page and in the list.
func TestYesThatIsKeptSaysWhatItWaitsFor(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	a := okafor()
	a.Agreement.State = job.AgreementNone
	id, d := h.letter(a)
	h.offered(id, d)
	yes := h.left(id, ledger.NoticeQuestion, "Well, OK.", job.Wishes{})
	other := h.left(id, ledger.NoticeTooLate, "One more thing.", job.Wishes{})
	b := h.browser("marisol")
	_, page := b.post("/letter/"+yes+"/decide", url.Values{"do": {"yes"}, "back": {"list"}})
	holds(t, page, "bracket.stl: the yes is kept, and counts as soon as this is settled: a letter that was left to staff and the signed agreement.")
	_, page = b.get("/job/" + string(id))
	holds(t, page, "The patron has said yes. It counts as soon as this is settled:", `<a href="/letter/`+other+`">Look at it</a>`, "the signed agreement <a href=\"/agreements?address=amara.okafor")
	_, page = b.get("/jobs")
	holds(t, page, "Yes, but first:", `<a href="/letter/`+other+`">a letter that was left to staff</a>`)
	_, page = b.post("/letter/"+other+"/decide", url.Values{"do": {"close"}})
	holds(t, page, "bracket.stl: the yes is kept, and counts as soon as this is settled: the signed agreement.")
	lacks(t, page, "Take as yes")
	if j := h.job(id); j.Stage != job.Quoted {
		t.Error(j.Stage)
	}
}

func TestLetterLeftToStaffIsTakenAsNo(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	letter := h.left(id, ledger.NoticeQuestion, "Hmm, rather not.", job.Wishes{})
	_, page := h.browser("marisol").post("/letter/"+letter+"/decide", url.Values{"do": {"no"}})
	holds(t, page, "bracket.stl is now: withdrawn.")
	if j := h.job(id); j.Stage != job.Withdrawn {
		t.Error(j.Stage)
	}
}

// The form of a change holds what was read. What the person corrects counts instead,
// what they empty is unsaid, and what cannot be is shown again with their words.
func TestChangeBesideALetter(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	n := 24
	letter := h.left(id, ledger.NoticeQuestion, "Bus 24 brings me. Red?", job.Wishes{Copies: &n, Colours: []string{"red"}, Words: map[string]string{"copies": "24", "colours": "Red"}})
	b := h.browser("marisol")
	_, page := b.get("/letter/" + letter)
	holds(t, page, `name="copies" inputmode="numeric" value="24"`, `<option value="red" selected>red</option>`)
	form := url.Values{"do": {"change"}, "copies": {"3"}, "colour": {"red"}, "material": {"PLA"}, "scale": {"tiny"}, "pickup": {"Fernhill"}, "supports": {""}, "needed": {""}}
	code, page := b.post("/letter/"+letter+"/decide", form)
	if code != http.StatusUnprocessableEntity {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "is &#34;tiny&#34;; it must be a number from", `value="tiny"`, `name="copies" inputmode="numeric" value="3"`, `<option selected>Fernhill</option>`)
	form.Set("scale", "150")
	_, page = b.post("/letter/"+letter+"/decide", form)
	holds(t, page, "bracket.stl is being checked; the letter about it is drafted then.")
	j := h.job(id)
	if j.Stage != job.Taken || j.Settings.Copies != 3 || j.Settings.Colour != "red" || j.Wishes.Pickup != "Fernhill" || j.Wishes.Scale == nil || *j.Wishes.Scale != 1.5 {
		t.Errorf("%s %+v %+v", j.Stage, j.Settings, j.Wishes)
	}
	again := h.left(id, ledger.NoticeQuestion, "Bus 24 brings me.", job.Wishes{Copies: &n, Words: map[string]string{"copies": "24"}})
	b.post("/letter/"+again+"/decide", url.Values{"do": {"noted"}, "copies": {""}, "colour": {""}, "material": {""}, "scale": {""}, "pickup": {"Central"}, "supports": {""}, "needed": {""}})
	if j := h.job(id); j.Settings.Copies != 3 || j.Wishes.Pickup != "Central" {
		t.Errorf("what the person emptied counts: %+v %+v", j.Settings, j.Wishes)
	}
}

// A letter that is tied to no job has a guess to confirm; then it is read as an answer.
func TestStrayBelongsToAJob(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	letter := h.left(id, ledger.NoticeStray, "Yes please, go ahead.", job.Wishes{Answer: job.Accept, Words: map[string]string{"answer": "Yes please"}})
	b := h.browser("marisol")
	_, page := b.get("/")
	holds(t, page, `name="job" value="`+string(id)+`"`, "It belongs to this job")
	lacks(t, page, "Take as yes")
	if code, page := b.post("/letter/"+letter+"/decide", url.Values{"do": {"belongs"}, "job": {"that one"}}); code != http.StatusUnprocessableEntity || !strings.Contains(page, "is no number of a job") {
		t.Errorf("%d\n%s", code, page)
	}
	_, page = b.post("/letter/"+letter+"/decide", url.Values{"do": {"belongs"}, "job": {string(id)}})
	holds(t, page, "The letter is tied to "+string(id))
	if j := h.job(id); j.Stage != job.Agreed || h.openNotices() != 0 {
		t.Errorf("%s, %d notices", j.Stage, h.openNotices())
	}
}

func TestAskAboutALetterAndUnknownActs(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	letter := h.left(id, ledger.NoticeQuestion, "What do you think?", job.Wishes{})
	b := h.browser("marisol")
	_, page := b.post("/letter/"+letter+"/decide", url.Values{"do": {"ask"}, "back": {"list"}})
	holds(t, page, "A letter to the patron is begun", "Take as yes")
	steps, err := h.ledger.OpenSteps(t.Context())
	if err != nil || len(steps) == 0 || steps[len(steps)-1].Kind != ledger.StepQuestion {
		t.Errorf("%+v %v", steps, err)
	}
	if code, _ := b.post("/letter/"+letter+"/decide", url.Values{"do": {"dance"}}); code != http.StatusUnprocessableEntity {
		t.Error(code)
	}
	if code, _ := b.post("/letter/L-999999/decide", url.Values{"do": {"yes"}}); code != http.StatusNotFound {
		t.Error(code)
	}
}
