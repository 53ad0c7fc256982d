package desk

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// Declining shows the letter first, in the patron's language, with the reason of the
// house's list or in own words; it is recorded with its code, and undone again.
func TestDeclineShowsTheLetterAndIsUndone(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	a := okafor()
	a.Language = "fr"
	id, d := h.letter(a)
	h.offered(id, d)
	b := h.browser("marisol")
	path := "/job/" + string(id) + "/decline"
	_, page := b.get(path)
	holds(t, page, "It is a weapon or a part of one, or made to look like one", "Another reason, in your own words", "Show the letter")
	lacks(t, page, "Decline with this letter")
	_, page = b.post(path, url.Values{"as": {"weapon"}, "do": {"show"}})
	holds(t, page, "Decline with this letter", "nous ne pouvons pas imprimer", "une arme, une pièce d’arme, ou un objet fait pour y ressembler", `value="weapon" required checked`, `lang="fr"`)
	_, page = b.post(path, url.Values{"as": {"weapon"}, "why": {"une réplique trop fidèle"}, "do": {"show"}})
	holds(t, page, "une réplique trop fidèle")
	lacks(t, page, "nous ne pouvons pas imprimer votre fichier : c’est une arme")
	if j := h.job(id); j.Stage != job.Quoted {
		t.Errorf("showing the letter did something: %s", j.Stage)
	}
	for _, wrong := range []url.Values{{"as": {"other"}}, {"as": {"ugly"}}, {}} {
		wrong.Set("do", "decline")
		if code, _ := b.post(path, wrong); code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", wrong, code)
		}
	}
	_, page = b.post(path, url.Values{"as": {"weapon"}, "do": {"decline"}})
	holds(t, page, "Declined. The letter to the patron is drafted", "Take up again")
	rep, err := h.ledger.Report(t.Context(), h.clock.Now().AddDate(0, -1, 0), h.clock.Now().AddDate(0, 1, 0))
	if j := h.job(id); err != nil || j.Stage != job.Declined || rep.Refusals["weapon"] != 1 || !h.hasStep(ledger.StepDraft, j.Thread) {
		t.Errorf("%s %+v %v", j.Stage, rep.Refusals, err)
	}
	_, page = b.get("/report")
	holds(t, page, "It is a weapon or a part of one")
	_, page = b.post("/job/"+string(id)+"/reopen", nil)
	holds(t, page, "Taken up again.")
	if j := h.job(id); j.Stage != job.Taken || !h.hasStep(ledger.StepCheck, string(id)) {
		t.Error(j.Stage)
	}
	if code, _ := b.post("/job/"+string(id)+"/reopen", nil); code != http.StatusConflict {
		t.Errorf("taken up twice: %d", code)
	}
}

// A job that is declined while its letter is approved and has not left is taken up all
// the same, and that letter does not leave.
func TestTakenUpWhileTheLetterIsApproved(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.do(func(tx *ledger.Tx) error {
		return tx.MoveFor(t.Context(), id, job.Declined, "weapon", "Owen Dufresne", job.Plain("no"))
	})
	dr, err := h.ledger.Draft(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.ledger.Approve(t.Context(), d, dr.SHA256, "Owen Dufresne", ledger.ViaPage); err != nil {
		t.Fatal(err)
	}
	h.browser("marisol").post("/job/"+string(id)+"/reopen", nil)
	if dr, err = h.ledger.Draft(t.Context(), d); err != nil || dr.State != ledger.DraftSetAside {
		t.Errorf("the letter is %s %v", dr.State, err)
	}
}

// Put aside puts off: the job stays as it is, the reply is in a list of its own, and is
// taken up again from there.
func TestPutAsidePutsOff(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.get("/")
	lacks(t, page, "These were put off.")
	_, page = b.post("/reply/"+d+"/aside", url.Values{"why": {"until the blue is back"}})
	holds(t, page, "Put aside. Nothing was sent.", "These were put off.", "until the blue is back", `action="/reply/`+d+`/reopen"`, "Nothing waits.")
	if j := h.job(id); j.Stage != job.Drafted {
		t.Errorf("putting aside made it %s", j.Stage)
	}
	_, page = b.post("/reply/"+d+"/reopen", nil)
	holds(t, page, "Approve and send")
	_, page = b.get("/")
	lacks(t, page, "These were put off.")
	if !strings.Contains(page, `<a href="/reply/`+d+`" data-slip>`) {
		t.Error("the reply does not wait again")
	}
}
