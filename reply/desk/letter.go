package desk

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"

	"meshclerk/intake/ledger"
)

// replyState tells the page whether it is still right, for the script that asks
// every few seconds.
func (d *Desk) replyState(w http.ResponseWriter, r *http.Request, who personal) error {
	dr, err := d.cfg.Ledger.Draft(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	s := d.pages.speech[d.lang(r)]
	state := struct {
		SHA    string `json:"sha"`
		State  string `json:"state"`
		Others string `json:"others"`
		Stale  string `json:"stale"`
	}{SHA: dr.SHA256, State: string(dr.State)}
	if others := d.here.see(dr.ID, who.Name, d.cfg.Now()); len(others) > 0 {
		state.Others = s.t("%s has this open too.", strings.Join(others, ", "))
	}
	state.Stale = d.whatHappened(r.Context(), s, dr)
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(state)
}

// whatHappened says in a sentence who changed a draft last.
func (d *Desk) whatHappened(ctx context.Context, s *speech, dr ledger.Draft) string {
	events, err := d.cfg.Ledger.Events(ctx, dr.ID)
	if err != nil || len(events) == 0 {
		return s.t("This reply was changed meanwhile.")
	}
	e := events[len(events)-1]
	return s.t("%s, %s ago: %s.", e.Who, s.age(e.At, d.cfg.Now()), s.code("event", e.What))
}

// replyHTML shows the HTML part of a reply in a frame that may run and fetch
// nothing. The frame keeps our origin only so that the page can give it its
// height; without allow-scripts nothing in it can use that.
func (d *Desk) replyHTML(w http.ResponseWriter, r *http.Request, _ personal) error {
	raw, err := d.cfg.Ledger.DraftBytes(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Security-Policy", "sandbox allow-same-origin; default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'self'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err = w.Write([]byte(readMail(raw).framed()))
	return err
}

// replySource hands out the exact bytes, as plain text.
func (d *Desk) replySource(w http.ResponseWriter, r *http.Request, _ personal) error {
	raw, err := d.cfg.Ledger.DraftBytes(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Security-Policy", "sandbox; default-src 'none'")
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+r.PathValue("draft")+`.eml.txt"`)
	_, err = w.Write(raw)
	return err
}

func (d *Desk) letterPage(w http.ResponseWriter, r *http.Request, who personal) error {
	l, err := d.cfg.Ledger.Letter(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	v := replyView{Letters: []letterView{{l, true}}}
	if v.History, err = d.cfg.Ledger.Events(r.Context(), l.ID); err != nil {
		return err
	}
	drafts, err := d.cfg.Ledger.Drafts(r.Context(), ledger.DraftFilter{Letter: l.ID})
	if err != nil {
		return err
	}
	d.show(w, r, http.StatusOK, "letter", "Letter", who, struct {
		replyView
		Drafts []ledger.Draft
	}{v, drafts})
	return nil
}

func (d *Desk) letterAgain(w http.ResponseWriter, r *http.Request, who personal) error {
	id := r.PathValue("id")
	err := d.cfg.Ledger.Tx(r.Context(), func(tx *ledger.Tx) error { return tx.Again(r.Context(), id, who.Name, "asked for on the staff page") })
	if err != nil {
		return err
	}
	d.wake()
	d.say(r, "The letter is read once more.")
	http.Redirect(w, r, "/letter/"+id, http.StatusSeeOther)
	return nil
}

func (d *Desk) wake() {
	if d.cfg.Wake != nil {
		d.cfg.Wake()
	}
}
