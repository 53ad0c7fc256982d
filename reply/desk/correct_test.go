package desk

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// A wrong "collected", "ready" or "printing" is taken back, one after the other: the
// payment and the print stay on record, marked, and count nowhere.
func TestMistakesAtThePrinterAndTheCounterAreTakenBack(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, b := h.agreed(), h.browser("marisol")
	path := "/job/" + string(id)
	move := func(form url.Values) {
		t.Helper()
		if code, page := b.post(path+"/move", form); code != http.StatusOK {
			t.Fatalf("%d\n%s", code, page)
		}
		h.clock.pass(time.Hour)
	}
	move(url.Values{"to": {"printing"}})
	move(url.Values{"to": {"ready"}, "hours": {"3"}, "grams": {"24"}})
	move(url.Values{"to": {"collected"}, "paid": {"3.40"}})
	_, page := b.get(path)
	holds(t, page, "This was recorded by mistake", "Nobody came for it")
	if code, page := b.post(path+"/correct", url.Values{"from": {"collected"}}); code != http.StatusUnprocessableEntity || !strings.Contains(page, "Say what went wrong") {
		t.Errorf("%d\n%s", code, page)
	}
	code, page := b.post(path+"/correct", url.Values{"from": {"collected"}, "wrong": {"it was the neighbour's row"}})
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Taken back. "+string(id)+" is now: ready to collect.", "it was the neighbour&#39;s row")
	paid, err := h.ledger.Payments(t.Context(), id)
	all, err2 := h.ledger.PaymentsOf(t.Context(), id)
	if err != nil || err2 != nil || len(paid) != 0 || len(all) != 1 || all[0].TakenBack.IsZero() {
		t.Errorf("%+v %+v %v %v", paid, all, err, err2)
	}
	if code, _ := b.post(path+"/correct", url.Values{"from": {"collected"}, "wrong": {"again"}}); code != http.StatusConflict {
		t.Errorf("taken back from a page that is out of date: %d", code)
	}
	h.clock.pass(time.Hour)
	_, page = b.post(path+"/correct", url.Values{"from": {"ready"}, "wrong": {"it came loose"}})
	holds(t, page, "is now: printing.")
	prints, err := h.ledger.PrintsOf(t.Context(), id)
	if err != nil || len(prints) != 1 || prints[0].TakenBack.IsZero() {
		t.Errorf("the print is not taken back: %+v %v", prints, err)
	}
	if learnt, err := h.ledger.Prints(t.Context(), "", ""); err != nil || len(learnt) != 0 {
		t.Errorf("it still teaches: %+v %v", learnt, err)
	}
	rep, err := h.ledger.Report(t.Context(), h.clock.Now().AddDate(0, -1, 0), h.clock.Now().AddDate(0, 1, 0))
	if err != nil || rep.Prints != 0 || rep.Hours != 0 || len(rep.Income) != 0 {
		t.Errorf("the month counts it: %+v %v", rep, err)
	}
	_, page = b.post(path+"/correct", url.Values{"from": {"printing"}, "wrong": {"another job"}, "back": {"prints"}})
	holds(t, page, "is now: agreed.", "Printing now")
	if code, _ := b.post(path+"/correct", url.Values{"from": {"agreed"}, "wrong": {"no"}}); code != http.StatusUnprocessableEntity {
		t.Error(code)
	}
}

// A letter about the mistake that has not left is set aside; the one that was set aside
// by the mistake waits again; one that has left is told of.
func TestLettersOfAMistake(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, b := h.agreed(), h.browser("marisol")
	path := "/job/" + string(id)
	write := func(kind string) string {
		t.Helper()
		d, err := h.ledger.NextDraftID(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		h.clock.pass(time.Minute)
		h.do(func(tx *ledger.Tx) error {
			_, _, err := tx.NewDraft(t.Context(), ledger.Draft{ID: d, Jobs: []job.ID{id}, Kind: kind, Language: "en", To: job.Address{Address: "a@example.org"}, MessageID: "<" + d + "@x.example>"}, []byte("From: a\r\n\r\n"+kind), ledger.Robot, job.Plain(""))
			return err
		})
		return d
	}
	state := func(d string) ledger.DraftState {
		t.Helper()
		got, err := h.ledger.Draft(t.Context(), d)
		if err != nil {
			t.Fatal(err)
		}
		return got.State
	}
	b.post(path+"/move", url.Values{"to": {"printing"}})
	b.post(path+"/move", url.Values{"to": {"ready"}, "hours": {"3"}, "grams": {"24"}})
	ready := write("ready")
	b.post(path+"/move", url.Values{"to": {"collected"}, "paid": {"0"}})
	thanks := write("collected")
	if state(ready) != ledger.DraftSetAside {
		t.Fatal(state(ready))
	}
	h.clock.pass(time.Minute)
	b.post(path+"/correct", url.Values{"from": {"collected"}, "wrong": {"x"}})
	if state(ready) != ledger.DraftWaiting || state(thanks) != ledger.DraftSetAside {
		t.Errorf("ready %s, thanks %s", state(ready), state(thanks))
	}
	b.post(path+"/correct", url.Values{"from": {"ready"}, "wrong": {"x"}})
	if state(ready) != ledger.DraftSetAside {
		t.Errorf("ready %s", state(ready))
	}
	_, page := b.get("/")
	lacks(t, page, "These were put off.") // nobody put them off
	b.post(path+"/move", url.Values{"to": {"ready"}, "hours": {"3"}, "grams": {"24"}})
	ready = write("ready")
	h.do(func(tx *ledger.Tx) error { return tx.WasSent(t.Context(), ready, "Owen Dufresne", job.Plain("")) })
	_, page = b.post(path+"/correct", url.Values{"from": {"ready"}, "wrong": {"x"}})
	holds(t, page, "A letter about the mistake has left already, so tell the patron.")
}

// One machine prints one thing at a time: a second job is refused with what runs there,
// and a way to say what became of that.
func TestOneMachinePrintsOneThing(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	first, second := h.agreed(), h.agreed()
	b := h.browser("marisol")
	b.post("/job/"+string(first)+"/move", url.Values{"to": {"printing"}, "back": {"prints"}})
	code, page := b.post("/job/"+string(second)+"/move", url.Values{"to": {"printing"}, "back": {"prints"}})
	if code != http.StatusUnprocessableEntity {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "Bench 1 is printing "+string(first)+" (bracket.stl); first say that it is done", `<a href="/job/`+string(first)+`#action-`+string(first)+`">Say what became of it`)
	if j := h.job(second); j.Stage != job.Agreed {
		t.Error(j.Stage)
	}
	b.post("/job/"+string(first)+"/move", url.Values{"to": {"ready"}, "hours": {"3"}, "grams": {"20"}})
	if code, _ = b.post("/job/"+string(second)+"/move", url.Values{"to": {"printing"}}); code != http.StatusOK {
		t.Error(code)
	}
	if code, _ = b.post("/job/"+string(first)+"/move", url.Values{"to": {"printing"}}); code != http.StatusConflict {
		t.Errorf("what is ready goes back onto the printer without a correction: %d", code)
	}
}

// A job that an earlier version let onto the print list without what the house wants
// says what is missing, and does not go onto a printer.
func TestPrintListSaysWhatIsMissing(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, b := h.agreed(), h.browser("marisol")
	h.do(func(tx *ledger.Tx) error {
		j, err := tx.Job(t.Context(), id)
		if err != nil {
			return err
		}
		j.Wishes.Pickup, j.Agreement = "", &job.Agreement{State: job.AgreementNone}
		return tx.SaveJob(t.Context(), j, ledger.Robot, job.Plain(""))
	})
	_, page := b.get("/prints")
	holds(t, page, "Not to be printed yet. Missing: the branch, the signed agreement")
	code, page := b.post("/job/"+string(id)+"/move", url.Values{"to": {"printing"}, "back": {"prints"}})
	if code != http.StatusUnprocessableEntity {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, string(id)+" is not to be printed yet; what is missing: the branch and the signed agreement.")
}
