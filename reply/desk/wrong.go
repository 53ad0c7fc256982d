package desk

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

// theirs is an error of another room that came of what a person asked for. One whose
// words are not in the book is put into a sentence that says what it means.
func theirs(err error) error {
	var stage *ledger.StageError
	var changed *casework.ChangedError
	var fault *job.Fault
	if errors.As(err, &stage) || errors.As(err, &changed) || errors.As(err, &fault) || errors.Is(err, ledger.ErrNotFound) || errors.Is(err, ledger.ErrDiskFull) || errors.Is(err, context.Canceled) {
		return err
	}
	return job.Refuse(job.Say("page.wrong.not-done", job.Args{"why": job.Why(err)}))
}

// status and words for an error, in a person's language. What the ledger refuses
// is said as it is; what nobody foresaw is worded by whoever found it.
func (s *localizer) wrong(err error) (status int, text string) {
	var stage *ledger.StageError
	var state *ledger.DraftStateError
	var approved *ledger.ApprovedError
	var changed *casework.ChangedError
	var fault *job.Fault
	switch {
	case errors.As(err, &fault):
		return http.StatusUnprocessableEntity, s.Say(fault.Message)
	case errors.Is(err, ledger.ErrNotFound):
		return http.StatusNotFound, s.Word("page.wrong.not-here")
	case errors.As(err, &changed):
		return http.StatusUnprocessableEntity, s.Word("page.wrong.job-changed")
	case errors.As(err, &stage):
		return http.StatusConflict, s.stageWrong(stage)
	case errors.As(err, &approved):
		return http.StatusConflict, s.Say(job.Say("page.wrong.approved-already", job.Args{"draft": approved.Draft, "by": approved.By, "moment": s.moment(approved.At)}))
	case errors.As(err, &state):
		return http.StatusConflict, s.Say(job.Say("page.wrong.reply-state", job.Args{"draft": state.Draft, "state": s.code("draft", state.State)}))
	case errors.Is(err, ledger.ErrNoticeGrew):
		return http.StatusConflict, s.Word("page.wrong.notice-grew")
	case errors.Is(err, ledger.ErrDiskFull):
		return http.StatusInsufficientStorage, s.Word("page.wrong.disk-full")
	}
	return http.StatusInternalServerError, s.Say(job.Say("page.wrong.unforeseen", job.Args{"why": job.Why(err)}))
}

func (s *localizer) stageWrong(e *ledger.StageError) string {
	var next []string
	for _, st := range job.Stages() {
		if job.MayGo(e.From, st) {
			next = append(next, s.code("stage", st))
		}
	}
	if len(next) == 0 {
		return s.Say(job.Say("page.wrong.job-ended", job.Args{"job": string(e.Job), "stage": s.code("stage", e.From), "wanted": s.code("stage", e.To)}))
	}
	return s.Say(job.Say("page.wrong.stage", job.Args{"job": string(e.Job), "stage": s.code("stage", e.From), "wanted": s.code("stage", e.To), "next": strings.Join(next, ", ")}))
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
