package desk

import (
	"bytes"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// agreed is a job on the print list of the first printer.
func (h *house) agreed() job.ID {
	h.t.Helper()
	id, _ := h.letter(okafor())
	h.do(func(tx *ledger.Tx) error {
		for _, to := range []job.Stage{job.Quoted, job.Agreed} {
			if err := h.moves(tx, id, to); err != nil {
				return err
			}
		}
		return nil
	})
	return id
}

// moves brings a job to a stage, with the patron's yes where it needs one.
func (h *house) moves(tx *ledger.Tx, id job.ID, to job.Stage) error {
	ctx := h.t.Context()
	if to != job.Agreed {
		return tx.Move(ctx, id, to, "Owen Dufresne", job.Plain(""))
	}
	j, err := tx.Job(ctx, id)
	if err != nil {
		return err
	}
	terms, ok := j.Terms()
	drafts, err := tx.Drafts(ctx, ledger.DraftFilter{Job: id})
	if err != nil || !ok || len(drafts) == 0 {
		return fmt.Errorf("job %s cannot be agreed to: %d drafts, %w", id, len(drafts), err)
	}
	if err := tx.AddOffer(ctx, ledger.Offer{Draft: drafts[0].ID, Job: id, SHA256: drafts[0].SHA256, Terms: &terms}); err != nil {
		return err
	}
	o, _, err := tx.LastOffer(ctx, id)
	if err != nil {
		return err
	}
	if err := tx.KeepYes(ctx, o, "", "patron"); err != nil {
		return err
	}
	if err := tx.CountYes(ctx, id); err != nil {
		return err
	}
	return tx.Move(ctx, id, job.Agreed, "patron", job.Plain(""))
}

// A job is moved to another printer's list from the print list and from its own
// page; the hours shown are then that printer's, and the price stays.
func TestAssignToAnotherPrinter(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id := h.agreed()
	b := h.browser("marisol")
	_, page := b.get("/prints")
	holds(t, page, `action="/job/`+string(id)+`/assign"`, "<option>Bench 2</option>")
	lacks(t, page, "<option>Bench 1</option>")
	before, err := h.ledger.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	there := before.Settings
	there.Printer = "Bench 2"
	report, err := h.desk.office.Recheck(t.Context(), id, there)
	if err != nil || report.Estimate.PrintTimeS == before.Report.Estimate.PrintTimeS {
		t.Fatalf("%v s on Bench 2, %v", report.Estimate.PrintTimeS, err)
	}
	hours := h.desk.pages.localizers["en"].short(report.Estimate.PrintTimeS)
	code, page := b.post("/job/"+string(id)+"/assign", url.Values{"printer": {"Bench 2"}, "back": {"prints"}})
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, string(id)+" is on the list of Bench 2 now: "+hours+".")
	j, err := h.ledger.Job(t.Context(), id)
	if err != nil || j.Settings.Printer != "Bench 2" || j.Report.Quote.Total != before.Report.Quote.Total {
		t.Errorf("%+v, %v", j, err)
	}
	if code, page = b.post("/job/"+string(id)+"/assign", url.Values{"printer": {"Bench 1"}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "<h3 id=\"part-"+string(id), "is on the list of Bench 1 now")
	code, page = b.post("/job/"+string(id)+"/assign", url.Values{"printer": {"Bench 9"}, "back": {"prints"}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("%d", code)
	}
	holds(t, page, "There is no printer &#34;Bench 9&#34; in the house rules.", "<h1>Print list")
}

// From printing to collected on the job's own page; what is missing is said in
// place, in the person's language, and what was filled in is kept.
func TestPrintedAndCollected(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id := h.agreed()
	b := h.browser("marisol")
	move := "/job/" + string(id) + "/move"
	if code, page := b.post(move, url.Values{"to": {"printing"}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	for name, c := range map[string]struct {
		form url.Values
		want []string
	}{
		"no grams":     {url.Values{"to": {"ready"}, "hours": {"3,5"}, "grams": {""}, "why": {"kept"}}, []string{"A finished print took time and plastic", `value="3,5"`, `value="kept"`}},
		"no reason":    {url.Values{"to": {"failed"}, "hours": {"1"}}, []string{"Say why the print failed"}},
		"no number":    {url.Values{"to": {"ready"}, "hours": {"a while"}, "grams": {"1"}}, []string{`Hours is &#34;a while&#34;; it must be a number from 0 to 1000.`}},
		"on the list":  {url.Values{"to": {"ready"}, "hours": {"x"}, "grams": {"1"}, "back": {"prints"}}, []string{"<h1>Print list", `value="x"`, "must be a number"}},
		"unlawful":     {url.Values{"to": {"collected"}, "paid": {"1.00"}}, []string{"is printing and cannot become collected; it may become agreed, failed, ready to collect"}},
		"no such word": {url.Values{"to": {"flying"}}, []string{"There is no stage"}},
	} {
		code, page := b.post(move, c.form)
		if code != http.StatusUnprocessableEntity && code != http.StatusConflict {
			t.Errorf("%s: %d", name, code)
		}
		holds(t, page, append(c.want, `role="alert"`)...)
	}
	if code, page := b.post(move, url.Values{"to": {"ready"}, "hours": {"3,5"}, "grams": {"25"}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	b.post("/language", url.Values{"language": {"fr"}})
	code, page := b.post(move, url.Values{"to": {"collected"}, "paid": {"trois"}, "back": {"prints"}})
	if code != http.StatusUnprocessableEntity {
		t.Errorf("%d", code)
	}
	holds(t, page, "n’est pas une somme d’argent", `value="trois"`)
	if code, page = b.post(move, url.Values{"to": {"collected"}, "paid": {"3,40"}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "est maintenant : retirée.")
}

func TestCloseUnprinted(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id := h.agreed()
	b := h.browser("marisol")
	_, page := b.get("/job/" + string(id))
	holds(t, page, "Close this job unprinted", "withdrawn by the patron", `href="/job/`+string(id)+`/decline"`)
	lacks(t, page, "nobody answered or came", "declined by us")
	if code, page := b.post("/job/"+string(id)+"/move", url.Values{"to": {"declined"}, "why": {"too large"}}); code != http.StatusUnprocessableEntity {
		t.Errorf("declined without its letter: %d\n%s", code, page)
	}
	code, page := b.post("/job/"+string(id)+"/move", url.Values{"to": {"withdrawn"}, "why": {"by telephone"}})
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "is now: withdrawn.", "by telephone", "Take up again")
	lacks(t, page, "Close this job unprinted")
}

// The job sheet runs and fetches nothing; the part is a file to be saved, and an
// error before it is a page.
func TestSheetAndPart(t *testing.T) {
	t.Parallel()
	part := shapes.OnBed(shapes.Bracket(60, 30))
	h := newHouse(t, nil)
	id := h.agreed()
	b := h.browser("marisol")
	_, page := b.get("/prints")
	holds(t, page, "/job/"+string(id)+"/sheet", "/job/"+string(id)+"/part.stl")
	r, err := b.Get(h.server.URL + "/job/" + string(id) + "/sheet")
	if err != nil {
		t.Fatal(err)
	}
	policy := r.Header.Get("Content-Security-Policy")
	if code, page := read(t, r); code != http.StatusOK || !strings.Contains(page, string(id)) || !strings.Contains(page, "Bench 1") || !strings.HasPrefix(policy, "sandbox") || strings.Contains(policy, "allow-scripts") || !strings.Contains(policy, "default-src 'none'") {
		t.Errorf("%d under %s", code, policy)
	}
	r, err = b.Get(h.server.URL + "/job/" + string(id) + "/part.stl")
	if err != nil {
		t.Fatal(err)
	}
	_, stl := read(t, r)
	m, _, err := mesh.Read(t.Context(), strings.NewReader(stl), int64(len(stl)), mesh.Limits{Bytes: 1 << 20, Facets: 1 << 16, CoordinateMM: 1000})
	if err != nil || len(m.Triangles) != len(part.Triangles) || r.Header.Get("Content-Type") != "model/stl" || !strings.HasPrefix(r.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("%v, %v", r.Header, err)
	}
	j, err := h.ledger.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(h.ledger.BlobPath(j.Blob)); err != nil {
		t.Fatal(err)
	}
	code, page := b.get("/job/" + string(id) + "/part.stl")
	if code != http.StatusUnprocessableEntity {
		t.Errorf("%d", code)
	}
	holds(t, page, "This was not done: ")
	if bytes.Contains([]byte(page), []byte("model/stl")) {
		t.Error("the error is a file")
	}
}

// The record tells who approved which bytes, and can be searched and leafed through.
func TestRecord(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	b := h.browser("marisol")
	_, page := b.get("/record")
	holds(t, page, "Nothing was done yet.")
	_, d := h.letter(okafor())
	_, other := h.letter(okafor())
	_, page = b.get("/reply/" + d)
	approved := sha(t, page)
	b.post("/reply/"+d+"/approve", url.Values{"sha": {approved}})
	h.browser("owen").post("/reply/"+other+"/aside", url.Values{"why": {"twice the same"}})
	_, page = b.get("/record")
	holds(t, page, d, other, "Marisol Teague", "Owen Dufresne", approved[:12], "on this page", "twice the same", "put aside", "2026-11-25")
	if strings.Index(page, other+"<") > strings.Index(page, d+"<") {
		t.Error("the latest is not first")
	}
	_, page = b.get("/record?what=set-aside&who=Owen+Dufresne&since=2026-11-25&until=2026-11-25")
	holds(t, page, other)
	lacks(t, page, "/reply/"+d)
	_, page = b.get("/record?until=2026-11-24")
	holds(t, page, "Nothing was done that is like that.")
	for i := range perPage {
		h.do(func(tx *ledger.Tx) error {
			if i%2 == 0 {
				return tx.Reopen(t.Context(), other, "Owen Dufresne", job.Plain(""))
			}
			return tx.SetAside(t.Context(), other, "Owen Dufresne", job.Plain(""))
		})
	}
	_, page = b.get("/record?who=Owen+Dufresne")
	i := strings.Index(page, `href="/record?before=`)
	if i < 0 {
		t.Fatal("there is no next page")
	}
	next, _, _ := strings.Cut(page[i+len(`href="`):], `"`)
	_, page = b.get(html.UnescapeString(next))
	holds(t, page, "twice the same")
	lacks(t, page, "Marisol Teague</td>")
}
