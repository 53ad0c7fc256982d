package desk

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/draft"
)

// stepSend is the robot's step that hands an approved draft to the mail server.
const stepSend = "send"

// acts fills in the ledger's own changes where the configuration names none.
func (d *Desk) acts() Acts {
	a, l := d.cfg.Acts, d.cfg.Ledger
	if a.Approve == nil {
		a.Approve = func(ctx context.Context, id, sha, by string) error {
			return l.Tx(ctx, func(tx *ledger.Tx) error {
				if err := tx.Approve(ctx, id, sha, by, ledger.ViaPage); err != nil {
					return err
				}
				return tx.Enqueue(ctx, stepSend, id, time.Time{})
			})
		}
	}
	if a.SetAside == nil {
		a.SetAside = l.SetAside
	}
	if a.Settle == nil {
		a.Settle = func(ctx context.Context, id string, sent bool, by string) error {
			return l.Settle(ctx, id, sent, by, "settled on the staff page")
		}
	}
	if a.GoOn == nil {
		a.GoOn = func(ctx context.Context, by string) error {
			return l.Tx(ctx, func(tx *ledger.Tx) error { _, err := tx.GoOn(ctx, by); return err })
		}
	}
	if a.Replaced == nil {
		a.Replaced = func(context.Context, *ledger.Tx, string) error { return nil }
	}
	if a.Press == nil {
		a.Press = func(ctx context.Context, id job.ID, p Press) error { return l.Move(ctx, id, p.To, p.By, p.Why) }
	}
	if a.Assign == nil {
		a.Assign = d.assignHere
	}
	return a
}

// approve records that this person approves exactly the bytes the page showed.
func (d *Desk) approve(w http.ResponseWriter, r *http.Request, who personal) error {
	ctx, id, sha := r.Context(), r.PathValue("draft"), r.PostFormValue("sha")
	if err := d.cfg.Acts.Approve(ctx, id, sha, who.Name); err != nil {
		return d.refused(w, r, who, err, nil)
	}
	d.wake()
	d.cfg.Log.Info("approved", "draft", id, "by", who.Name)
	dr, err := d.cfg.Ledger.Draft(ctx, id)
	if err != nil {
		return err
	}
	d.say(r, "Approved. The reply to %s is on its way.", addressee(dr.To))
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
	s := d.pages.speech[d.lang(r)]
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
func (d *Desk) onDraft(w http.ResponseWriter, r *http.Request, who personal, back, said string, change func(ctx context.Context, id string) error) error {
	if err := change(r.Context(), r.PathValue("draft")); err != nil {
		return d.refused(w, r, who, err, nil)
	}
	d.wake()
	d.say(r, said)
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

func (d *Desk) setAside(w http.ResponseWriter, r *http.Request, who personal) error {
	return d.onDraft(w, r, who, "/", "Put aside. Nothing was sent.", func(ctx context.Context, id string) error {
		return d.cfg.Acts.SetAside(ctx, id, who.Name, oneLine(r.PostFormValue("why"), 500))
	})
}

func (d *Desk) reopen(w http.ResponseWriter, r *http.Request, who personal) error {
	return d.onDraft(w, r, who, "/reply/"+r.PathValue("draft"), "The reply waits again.", func(ctx context.Context, id string) error {
		return d.cfg.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
			if err := tx.Reopen(ctx, id, who.Name, oneLine(r.PostFormValue("why"), 500)); err != nil {
				return err
			}
			return d.cfg.Acts.Replaced(ctx, tx, id) // its copy in the mailbox waits again too
		})
	})
}

// sendBack leaves a reply for a colleague, with a note.
func (d *Desk) sendBack(w http.ResponseWriter, r *http.Request, who personal) error {
	note := strings.TrimSpace(visible(r.PostFormValue("note")))
	if note == "" {
		return wrongf("the note is empty; write what a colleague should know")
	}
	if len(note) > 2000 {
		return wrongf("the note is longer than 2000 characters; shorten it")
	}
	return d.onDraft(w, r, who, "/", "Sent back with your note.", func(ctx context.Context, id string) error {
		return d.cfg.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
			if _, err := tx.Draft(ctx, id); err != nil {
				return err
			}
			if err := tx.AddNotice(ctx, ledger.NoticeColleague, id, who.Name+": "+note); err != nil {
				return err
			}
			return tx.Note(ctx, id, string(ledger.NoticeColleague), who.Name, "")
		})
	})
}

func (d *Desk) settle(w http.ResponseWriter, r *http.Request, who personal) error {
	sent := r.PostFormValue("sent")
	if sent != "yes" && sent != "no" {
		return wrongf("say whether the reply was sent or not")
	}
	return d.onDraft(w, r, who, "/reply/"+r.PathValue("draft"), "Settled.", func(ctx context.Context, id string) error {
		return d.cfg.Acts.Settle(ctx, id, sent == "yes", who.Name)
	})
}

// edit puts a person's text in the place of a reply's, or writes it anew from
// its template.
func (d *Desk) edit(w http.ResponseWriter, r *http.Request, who personal) error {
	if d.cfg.Redraft == nil {
		return wrongf("replies cannot be edited here; edit the draft in the mail program")
	}
	ctx, id := r.Context(), r.PathValue("draft")
	mine := editing{Subject: oneLine(r.PostFormValue("subject"), 300), Markdown: visible(r.PostFormValue("markdown"))}
	rewrite := Rewrite{Subject: mine.Subject, Markdown: mine.Markdown}
	anew := r.PostFormValue("do") == "anew"
	if anew {
		rewrite = Rewrite{Note: strings.TrimSpace(visible(r.PostFormValue("note")))}
	} else if strings.TrimSpace(mine.Markdown) == "" || mine.Subject == "" {
		return d.again(w, r, who, mine, wrongf("the subject or the text is empty"))
	}
	m, err := d.cfg.Redraft(ctx, id, rewrite)
	if err != nil {
		return d.again(w, r, who, mine, theirs(err))
	}
	why := "edited on the staff page"
	if anew {
		why = "written anew from its template"
	}
	err = d.cfg.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		return d.replace(ctx, tx, id, r.PostFormValue("sha"), m, revision{edited: !anew, who: who.Name, why: why})
	})
	if err != nil {
		return d.refused(w, r, who, err, &mine)
	}
	d.say(r, "Saved. Read it once more, then approve.")
	http.Redirect(w, r, "/reply/"+id+"#words", http.StatusSeeOther)
	return nil
}

// again shows the form with the person's words and what is wrong with them.
func (d *Desk) again(w http.ResponseWriter, r *http.Request, who personal, mine editing, wrong error) error {
	v, err := d.replyOf(r, who, r.PathValue("draft"))
	if err != nil {
		return err
	}
	_, text := d.pages.speech[d.lang(r)].wrong(wrong)
	mine.Wrong = plain.Capital(text) + "."
	v.Editing = &mine
	return d.showReply(w, r, http.StatusUnprocessableEntity, who, v)
}

// revision says whose new version of a draft it is, and of what.
type revision struct {
	edited   bool // the text is a person's own
	jobs     []job.Job
	who, why string
}

func (d *Desk) replace(ctx context.Context, tx *ledger.Tx, id, base string, m draft.Message, v revision) error {
	old, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	doc, err := docWith(old.Doc, m, v)
	if err != nil {
		return err
	}
	e := ledger.Edit{Raw: m.Raw, Subject: m.Subject, MessageID: m.MessageID, To: m.To, Doc: doc}
	if _, err = tx.Replace(ctx, id, base, e, v.who, v.why); err != nil {
		return err
	}
	return d.cfg.Acts.Replaced(ctx, tx, id)
}

// confirm records that a person made sure of a job's sender.
func (d *Desk) confirm(w http.ResponseWriter, r *http.Request, who personal) error {
	id := job.ID(r.PathValue("job"))
	if d.cfg.Acts.Confirm == nil {
		return wrongf("the sender cannot be confirmed here")
	}
	if err := d.cfg.Acts.Confirm(r.Context(), id, who.Name); err != nil {
		return theirs(err)
	}
	d.wake()
	d.say(r, "You have made sure of the sender. The job is checked anew, and a new reply is written.")
	http.Redirect(w, r, "/job/"+string(id), http.StatusSeeOther)
	return nil
}
