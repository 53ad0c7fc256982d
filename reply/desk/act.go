package desk

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

// approve records that this person approves exactly the bytes the page showed.
func (d *Desk) approve(w http.ResponseWriter, r *http.Request, who personal) error {
	ctx, id, sha := r.Context(), r.PathValue("draft"), r.PostFormValue("sha")
	if err := d.office.Approve(ctx, id, sha, who.Name, ledger.ViaPage); err != nil {
		return d.refused(w, r, who, err, nil)
	}
	d.cfg.Log.Info("approved", "draft", id, "by", who.Name)
	dr, err := d.office.Ledger.Draft(ctx, id)
	if err != nil {
		return err
	}
	d.say(r, job.Say("page.done.approved", job.Args{"to": addressee(dr.To)}))
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

func addressee(a job.Address) string {
	if n := oneLine(a.Name, 60); n != "" {
		return n
	}
	return a.Address
}

// refused shows the reply as it is now, why what the person asked was not done,
// and what changed since the page was made.
func (d *Desk) refused(w http.ResponseWriter, r *http.Request, who personal, cause error, mine *editing) error {
	var stale *ledger.StaleError
	var state *ledger.DraftStateError
	var approved *ledger.ApprovedError
	if !errors.As(cause, &stale) && !errors.As(cause, &state) && !errors.As(cause, &approved) {
		return cause
	}
	s := d.localizer(r)
	v, err := d.replyOf(r, who, r.PathValue("draft"))
	if err != nil {
		return err
	}
	no := refusal{Text: d.whatHappened(r.Context(), s, *v.Draft)}
	if before, ok := d.shown.find(r.PostFormValue("sha")); ok {
		no.Known, no.Changes = true, diff(before, v.Mail.asText())
	}
	v.Refusal, v.Editing = &no, mine
	return d.showReply(w, r, http.StatusConflict, who, v)
}

// onDraft makes a small change of a draft and goes back to a page.
func (d *Desk) onDraft(w http.ResponseWriter, r *http.Request, who personal, back string, said job.Message, change func(ctx context.Context, id string) error) error {
	if err := change(r.Context(), r.PathValue("draft")); err != nil {
		return d.refused(w, r, who, err, nil)
	}
	d.say(r, said)
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

func (d *Desk) setAside(w http.ResponseWriter, r *http.Request, who personal) error {
	return d.onDraft(w, r, who, "/", job.Say("page.done.set-aside", nil), func(ctx context.Context, id string) error {
		return d.office.SetAside(ctx, id, who.Name, oneLine(r.PostFormValue("why"), 500))
	})
}

func (d *Desk) reopen(w http.ResponseWriter, r *http.Request, who personal) error {
	return d.onDraft(w, r, who, "/reply/"+r.PathValue("draft"), job.Say("page.done.waits-again", nil), func(ctx context.Context, id string) error {
		return d.office.Reopen(ctx, id, who.Name, oneLine(r.PostFormValue("why"), 500))
	})
}

// sendBack leaves a reply for a colleague, with a note.
func (d *Desk) sendBack(w http.ResponseWriter, r *http.Request, who personal) error {
	note := strings.TrimSpace(visible(r.PostFormValue("note")))
	if note == "" {
		return job.Refuse(job.Say("page.wrong.note-empty", nil))
	}
	if len(note) > 2000 {
		return job.Refuse(job.Say("page.wrong.note-long", nil))
	}
	return d.onDraft(w, r, who, "/", job.Say("page.done.sent-back", nil), func(ctx context.Context, id string) error {
		return d.office.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
			if _, err := tx.Draft(ctx, id); err != nil {
				return err
			}
			if err := tx.AddNotice(ctx, ledger.NoticeColleague, id, job.Plain(who.Name+": "+note)); err != nil {
				return err
			}
			return tx.Note(ctx, id, string(ledger.NoticeColleague), who.Name, job.Message{})
		})
	})
}

func (d *Desk) settle(w http.ResponseWriter, r *http.Request, who personal) error {
	sent := r.PostFormValue("sent")
	if sent != "yes" && sent != "no" {
		return job.Refuse(job.Say("page.wrong.sent-or-not", nil))
	}
	return d.onDraft(w, r, who, "/reply/"+r.PathValue("draft"), job.Say("page.done.settled", nil), func(ctx context.Context, id string) error {
		return d.office.Settle(ctx, id, sent == "yes", who.Name)
	})
}

// edit puts a person's text in the place of a reply's, or writes it anew from
// its template.
func (d *Desk) edit(w http.ResponseWriter, r *http.Request, who personal) error {
	ctx, id := r.Context(), r.PathValue("draft")
	mine := editing{Subject: oneLine(r.PostFormValue("subject"), 300), Markdown: visible(r.PostFormValue("markdown"))}
	rewrite := casework.Rewrite{Subject: mine.Subject, Markdown: mine.Markdown}
	anew := r.PostFormValue("do") == "anew"
	if anew {
		rewrite = casework.Rewrite{Note: strings.TrimSpace(visible(r.PostFormValue("note")))}
	} else if strings.TrimSpace(mine.Markdown) == "" || mine.Subject == "" {
		return d.again(w, r, who, mine, job.Refuse(job.Say("page.wrong.words-empty", nil)))
	}
	m, err := d.office.Redraft(ctx, id, rewrite)
	if err != nil {
		return d.again(w, r, who, mine, theirs(err))
	}
	why := job.Say("history.edited-on-page", nil)
	if anew {
		why = job.Say("history.written-from-text", nil)
	}
	if err := d.office.Revise(ctx, id, m, casework.Revision{Base: r.PostFormValue("sha"), Edited: !anew, By: who.Name, Why: why}); err != nil {
		return d.refused(w, r, who, err, &mine)
	}
	d.say(r, job.Say("page.done.reply-saved", nil))
	http.Redirect(w, r, "/reply/"+id+"#words", http.StatusSeeOther)
	return nil
}

// again shows the form with the person's words and what is wrong with them.
func (d *Desk) again(w http.ResponseWriter, r *http.Request, who personal, mine editing, wrong error) error {
	v, err := d.replyOf(r, who, r.PathValue("draft"))
	if err != nil {
		return err
	}
	_, text := d.localizer(r).wrong(wrong)
	mine.Wrong = plain.Capital(text) + "."
	v.Editing = &mine
	return d.showReply(w, r, http.StatusUnprocessableEntity, who, v)
}

// confirm records that a person made sure of a job's sender.
func (d *Desk) confirm(w http.ResponseWriter, r *http.Request, who personal) error {
	id := job.ID(r.PathValue("job"))
	if err := d.office.Confirm(r.Context(), id, who.Name); err != nil {
		return theirs(err)
	}
	d.say(r, job.Say("page.done.sender-confirmed", nil))
	http.Redirect(w, r, "/job/"+string(id), http.StatusSeeOther)
	return nil
}
