package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"hash/fnv"
	"net/http"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// replyState tells the page whether it is still right, for the script that asks
// every second.
func (d *Desk) replyState(w http.ResponseWriter, r *http.Request, who personal) error {
	dr, err := d.office.Ledger.Draft(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	s := d.localizer(r)
	state := struct {
		State  string `json:"state"`
		Others string `json:"others"`
		Stale  string `json:"stale"`
	}{State: string(dr.State) + " " + dr.SHA256}
	if others := d.here.see(dr.ID, who.Name, d.office.Now()); len(others) > 0 {
		state.Others = s.Say(job.Say("page.word.open-too", job.Args{"who": strings.Join(others, ", ")}))
	}
	state.Stale = d.whatHappened(r.Context(), s, dr)
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(state)
}

// jobState and waitingState do the same for the pages of a job and of what waits:
// what they show is told by a word that changes with it.
func (d *Desk) jobState(w http.ResponseWriter, r *http.Request, _ personal) error {
	id := job.ID(r.PathValue("job"))
	now, err := d.jobMark(r.Context(), id)
	if err != nil {
		return err
	}
	events, err := d.office.Ledger.Events(r.Context(), string(id))
	if err != nil {
		return err
	}
	return tellState(w, now, d.latest(d.localizer(r), events, "page.changed.job"))
}

func (d *Desk) waitingState(w http.ResponseWriter, r *http.Request, _ personal) error {
	now, err := d.waitingMark(r.Context())
	if err != nil {
		return err
	}
	return tellState(w, now, d.localizer(r).Word("page.changed.list"))
}

func tellState(w http.ResponseWriter, now, words string) error {
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(map[string]string{"state": now, "stale": words})
}

// jobMark changes with a job and with the replies about it.
func (d *Desk) jobMark(ctx context.Context, id job.ID) (string, error) {
	events, err := d.office.Ledger.History(ctx, id)
	if err != nil || len(events) == 0 {
		return "", err
	}
	return strconv.FormatInt(events[len(events)-1].Seq, 10), nil
}

// waitingMark changes with the list of what waits.
func (d *Desk) waitingMark(ctx context.Context) (string, error) {
	drafts, err := d.office.Ledger.Drafts(ctx, ledger.DraftFilter{States: onList})
	if err != nil {
		return "", err
	}
	notices, err := d.office.Ledger.Notices(ctx, false)
	if err != nil {
		return "", err
	}
	h := fnv.New64a()
	for _, dr := range drafts {
		fmt.Fprintln(h, dr.ID, dr.State, dr.SHA256)
	}
	for _, n := range notices {
		fmt.Fprintln(h, n.ID, n.Times)
	}
	return strconv.FormatUint(h.Sum64(), 36), nil
}

// whatHappened says in a sentence who changed a draft last.
func (d *Desk) whatHappened(ctx context.Context, s *localizer, dr ledger.Draft) string {
	events, err := d.office.Ledger.Events(ctx, dr.ID)
	if err != nil {
		events = nil
	}
	return d.latest(s, events, "page.changed.reply")
}

// latest says who did what last, or the sentence of a key where nothing is recorded.
func (d *Desk) latest(s *localizer, events []ledger.Event, otherwise string) string {
	if len(events) == 0 {
		return s.Word(otherwise)
	}
	e := events[len(events)-1]
	return s.Say(job.Say("page.changed.event", job.Args{"who": s.actor(e.Who), "age": s.age(e.At, d.office.Now()), "event": s.code("event", e.What)}))
}

// replyHTML shows the HTML part of a reply in a frame that may run and fetch
// nothing. The frame keeps our origin only so that the page can give it its
// height; without allow-scripts nothing in it can use that.
func (d *Desk) replyHTML(w http.ResponseWriter, r *http.Request, _ personal) error {
	raw, err := d.office.Ledger.DraftBytes(r.Context(), r.PathValue("draft"))
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
	raw, err := d.office.Ledger.DraftBytes(r.Context(), r.PathValue("draft"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Security-Policy", "sandbox; default-src 'none'")
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+r.PathValue("draft")+`.eml.txt"`)
	_, err = w.Write(raw)
	return err
}

// letterShown is a letter, with the replies to it and what a person may make of it.
type letterShown struct {
	replyView
	Drafts []ledger.Draft
	Left   *leftView // nil where nothing is open about it
}

func (d *Desk) letterPage(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.letterOf(r, r.PathValue("id"))
	if err != nil {
		return err
	}
	d.show(w, r, http.StatusOK, "letter", "page.title.letter", who, v)
	return nil
}

func (d *Desk) letterOf(r *http.Request, id string) (letterShown, error) {
	var v letterShown
	ctx := r.Context()
	l, err := d.office.Ledger.Letter(ctx, id)
	if err != nil {
		return v, err
	}
	v.Letters = []letterView{{l, true}}
	if v.History, err = d.office.Ledger.Events(ctx, l.ID); err != nil {
		return v, err
	}
	if v.Drafts, err = d.office.Ledger.Drafts(ctx, ledger.DraftFilter{Letter: l.ID}); err != nil {
		return v, err
	}
	notices, err := d.office.Ledger.Notices(ctx, false)
	if err != nil {
		return v, err
	}
	v.Left, err = d.leftOf(ctx, d.localizer(r), notices, l.ID)
	return v, err
}

func (d *Desk) letterAgain(w http.ResponseWriter, r *http.Request, who personal) error {
	id := r.PathValue("id")
	err := d.office.Ledger.Tx(r.Context(), func(tx *ledger.Tx) error {
		return tx.Again(r.Context(), id, who.Name, job.Say("history.asked-on-page", nil))
	})
	if err != nil {
		return err
	}
	d.say(r, job.Say("page.done.read-again", nil))
	http.Redirect(w, r, "/letter/"+id, http.StatusSeeOther)
	return nil
}
