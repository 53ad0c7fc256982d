package desk

import (
	"context"
	"errors"
	"net/http"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// theirs is an error of another room that came of what a person asked for. One whose
// words are not in the book is put into a sentence that says what it means.
func theirs(err error) error {
	var fault *job.Fault
	if errors.As(err, &fault) || errors.Is(err, context.Canceled) {
		return err
	}
	return job.Refuse(job.Say("page.wrong.not-done", job.Args{"why": job.Why(err)}))
}

// status and words for an error, in a person's language. What the ledger refuses
// is said as it is; what nobody foresaw is worded by whoever found it.
func (s *localizer) wrong(err error) (status int, text string) {
	var approved *ledger.ApprovedError
	var fault *job.Fault
	switch {
	case errors.Is(err, ledger.ErrNotFound):
		return http.StatusNotFound, s.Word("page.wrong.not-here")
	case errors.Is(err, ledger.ErrDiskFull):
		return http.StatusInsufficientStorage, s.Word("page.wrong.disk-full")
	case errors.As(err, &approved):
		return http.StatusConflict, s.Say(approved.Said(s.moment(approved.At)))
	case errors.As(err, &fault) && overtaken(err):
		return http.StatusConflict, s.Say(fault.Message)
	case errors.As(err, &fault):
		return http.StatusUnprocessableEntity, s.Say(fault.Message)
	}
	return http.StatusInternalServerError, s.Say(job.Say("page.wrong.unforeseen", job.Args{"why": job.Why(err)}))
}

// overtaken reports whether a thing stands otherwise than the person saw it.
func overtaken(err error) bool {
	var stage *ledger.StageError
	var state *ledger.DraftStateError
	var stale *ledger.StaleError
	return errors.As(err, &stage) || errors.As(err, &state) || errors.As(err, &stale) || errors.Is(err, ledger.ErrNoticeGrew)
}

// failed tells a person of an error on a page of its own.
func (d *Desk) failed(w http.ResponseWriter, r *http.Request, err error) {
	status, text := d.localizer(r).wrong(err)
	if status == http.StatusInternalServerError {
		d.cfg.Log.Error("request failed", "path", r.URL.Path, "why", err)
	}
	d.failWith(w, r, status, text)
}

// fail shows in one sentence what went wrong.
func (d *Desk) fail(w http.ResponseWriter, r *http.Request, status int, m job.Message) {
	d.failWith(w, r, status, d.localizer(r).Say(m))
}

func (d *Desk) failWith(w http.ResponseWriter, r *http.Request, status int, text string) {
	who, _ := d.who(r)
	d.show(w, r, status, "failure", "page.title.failure", who, failure{Status: status, Text: oneLine(text, 1000)})
}

type failure struct {
	Status int
	Text   string
}
