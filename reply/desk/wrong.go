package desk

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

// wrongInput is what a person asked for that cannot be done: a sentence of the
// word list and its figures.
type wrongInput struct {
	sentence string
	args     []any
}

// word is a figure of a sentence that is itself in the word list.
type word string

func (e wrongInput) Error() string { return fmt.Sprintf(e.sentence, e.args...) }

func (e wrongInput) in(s *speech) string {
	args := make([]any, len(e.args))
	for i, a := range e.args {
		if w, ok := a.(word); ok {
			a = s.t(string(w))
		}
		args[i] = a
	}
	return s.t(e.sentence, args...)
}

func wrongf(format string, args ...any) error { return wrongInput{format, args} }

// theirs is an error of another room that a person can mend. Its own words are
// English; the sentence around them says in the person's language what it means.
func theirs(err error) error {
	var stage *ledger.StageError
	var changed *casework.ChangedError
	var wrong wrongInput
	if errors.As(err, &stage) || errors.As(err, &changed) || errors.As(err, &wrong) || errors.Is(err, ledger.ErrNotFound) || errors.Is(err, ledger.ErrDiskFull) || errors.Is(err, context.Canceled) {
		return err
	}
	return wrongf("this was not done: %s", err)
}

// status and words for an error, in a person's language. What the ledger refuses
// is said as it is; what nobody foresaw is worded by whoever found it.
func (s *speech) wrong(err error) (status int, text string) {
	var stage *ledger.StageError
	var state *ledger.DraftStateError
	var approved *ledger.ApprovedError
	var changed *casework.ChangedError
	var wrong wrongInput
	switch {
	case errors.As(err, &wrong):
		return http.StatusUnprocessableEntity, wrong.in(s)
	case errors.Is(err, ledger.ErrNotFound):
		return http.StatusNotFound, s.t("there is nothing of this number here; it may have been forgotten, or the address is mistyped")
	case errors.As(err, &changed):
		return http.StatusUnprocessableEntity, s.t(changed.Error())
	case errors.As(err, &stage):
		return http.StatusConflict, s.stageWrong(stage)
	case errors.As(err, &approved):
		return http.StatusConflict, s.t("reply %s was approved already, by %s, %s", approved.Draft, approved.By, s.moment(approved.At))
	case errors.As(err, &state):
		return http.StatusConflict, s.t("reply %s cannot be changed so; where it stands now: %s", state.Draft, s.code("draft", state.State))
	case errors.Is(err, ledger.ErrNoticeGrew):
		return http.StatusConflict, s.t("more came in about this since you read it, so it was not put away; read it again")
	case errors.Is(err, ledger.ErrDiskFull):
		return http.StatusInsufficientStorage, s.t("the disk is full, so nothing was changed; tell whoever runs the server")
	}
	return http.StatusInternalServerError, s.t("something went wrong that nobody foresaw, and the log has it: %s", err)
}

func (s *speech) stageWrong(e *ledger.StageError) string {
	var next []string
	for _, st := range job.Stages() {
		if job.MayGo(e.From, st) {
			next = append(next, s.code("stage", st))
		}
	}
	if len(next) == 0 {
		return s.t("job %s is %s and cannot become %s; it has come to its end", e.Job, s.code("stage", e.From), s.code("stage", e.To))
	}
	return s.t("job %s is %s and cannot become %s; it may become %s", e.Job, s.code("stage", e.From), s.code("stage", e.To), strings.Join(next, ", "))
}

// failed tells a person of an error on a page of its own.
func (d *Desk) failed(w http.ResponseWriter, r *http.Request, err error) {
	status, text := d.pages.speech[d.lang(r)].wrong(err)
	if status == http.StatusInternalServerError {
		d.cfg.Log.Error("request failed", "path", r.URL.Path, "why", err)
	}
	d.failWith(w, r, status, text)
}

// fail shows in one sentence of the word list what went wrong.
func (d *Desk) fail(w http.ResponseWriter, r *http.Request, status int, text string) {
	d.failWith(w, r, status, d.pages.speech[d.lang(r)].t(text))
}

func (d *Desk) failWith(w http.ResponseWriter, r *http.Request, status int, text string) {
	who, _ := d.who(r)
	d.show(w, r, status, "failure", "This did not work", who, failure{Status: status, Text: oneLine(text, 1000)})
}

type failure struct {
	Status int
	Text   string
}
