package desk

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// asked is what a page's script is told.
func (b *browser) state(path string) (is, stale string) {
	b.h.t.Helper()
	r, err := http.NewRequest(http.MethodGet, b.h.server.URL+path, nil)
	if err != nil {
		b.h.t.Fatal(err)
	}
	r.Header.Set("X-Desk", "state")
	resp, err := b.Do(r)
	if err != nil {
		b.h.t.Fatal(err)
	}
	code, body := read(b.h.t, resp)
	var s struct{ State, Stale string }
	if err := json.Unmarshal([]byte(body), &s); err != nil || code != http.StatusOK {
		b.h.t.Fatalf("%s: %d, %v\n%s", path, code, err, body)
	}
	return s.State, s.Stale
}

// The word that a page holds is the one it is told while nothing changes, and
// another one after any change, by whomever.
func TestPagesKnowWhenTheyAreStale(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	b := h.browser("marisol")
	for name, c := range map[string]struct {
		page, state string
		change      func(n int) error
	}{
		"waiting": {"/", "/state", func(n int) error { return h.ledger.AddNotice(t.Context(), "odd", fmt.Sprint(n), job.Plain("look")) }},
		"reply":   {"/reply/" + d, "/reply/" + d + "/state", func(int) error { return h.ledger.SetAside(t.Context(), d, "Owen Dufresne", job.Plain("")) }},
		"job":     {"/job/" + string(id), "/job/" + string(id) + "/state", func(int) error { return h.ledger.Move(t.Context(), id, job.Checked, "Owen Dufresne", job.Plain("")) }},
	} {
		is, _ := b.state(c.state)
		if again, _ := b.state(c.state); is == "" || is != again {
			t.Errorf("%s: %q became %q by itself", name, is, again)
		}
		if name != "job" { // a job that has a reply shows that reply, and asks about it
			_, page := b.get(c.page)
			holds(t, page, `data-state="`+c.state+`"`, `data-is="`+is+`"`)
		}
		if err := c.change(1); err != nil {
			t.Fatal(err)
		}
		now, stale := b.state(c.state)
		if now == is || stale == "" {
			t.Errorf("%s: nothing is told of the change (%q, %q)", name, now, stale)
		}
	}
}

// A page that asks by itself does not keep a person signed in who went away.
func TestAskingDoesNotKeepSignedIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	b := h.browser("marisol")
	ends := func() time.Time {
		for _, k := range h.desk.store.items {
			return k.ends
		}
		t.Fatal("nobody is signed in")
		return time.Time{}
	}
	before := ends()
	time.Sleep(5 * time.Millisecond)
	b.state("/state")
	if now := ends(); !now.Equal(before) {
		t.Errorf("asking moved the end of the session from %v to %v", before, now)
	}
	b.get("/jobs")
	if now := ends(); !now.After(before) {
		t.Error("reading a page does not move the end of the session")
	}
}

// Both languages have the errors of every form.
func TestErrorsInFrench(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	b := h.browser("owen")
	b.post("/language", url.Values{"language": {"fr"}})
	_, page := b.get("/reply/" + d)
	fresh := sha(t, page)
	settings := url.Values{"reply": {d}, "sha": {fresh}, "layer": {"0.2"}, "copies": {"deux"}, "do": {"try"}}
	for name, c := range map[string]struct {
		path string
		form url.Values
		want string
	}{
		"settings":    {"/job/" + string(id) + "/settings", settings, "Exemplaires : on lit"},
		"empty note":  {"/reply/" + d + "/note", url.Values{"note": {" "}}, "Le mot est vide"},
		"settle":      {"/reply/" + d + "/settle", url.Values{}, "Dites si la réponse est partie ou non"},
		"empty words": {"/reply/" + d + "/edit", url.Values{"sha": {fresh}, "do": {"save"}}, "L’objet ou le texte est vide."},
		"reopen":      {"/reply/D-999999/reopen", url.Values{}, "Il n’y a rien sous ce numéro"},
		"stage":       {"/job/" + string(id) + "/move", url.Values{"to": {"printing"}}, "ne peut pas devenir en impression"},
		"agreement":   {"/agreements", url.Values{"address": {"nobody"}}, "L’adresse n’est pas une adresse"},
		"no text":     {"/texts/fr/nothing", url.Values{}, "Il n’y a pas de texte de réponse nothing"},
		"stale":       {"/reply/" + d + "/approve", url.Values{"sha": {"0"}}, "cette page n’était plus à jour"},
	} {
		code, page := b.post(c.path, c.form)
		if code < 400 || code >= 500 {
			t.Errorf("%s: %d", name, code)
		}
		holds(t, page, c.want)
	}
	h.do(func(tx *ledger.Tx) error { return tx.Approve(t.Context(), d, fresh, "Owen Dufresne", ledger.ViaPage) })
	_, page = b.post("/reply/"+d+"/approve", url.Values{"sha": {fresh}})
	holds(t, page, "Owen Dufresne", "a approuvé la réponse")
}
