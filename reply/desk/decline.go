package desk

import (
	"net/http"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
	"meshclerk/rules"
)

// declineView is the page on which a request is declined: a reason of the house's list
// or in own words, and the letter that would go.
type declineView struct {
	Job     job.Job
	Reasons []listed
	Code    string // chosen
	Words   string
	Letter  *mailView // nil before it was asked for
	In      string    // the letter's language
	Wrong   string
}

// listed is a reason of the house's list, in the page's language.
type listed struct{ Code, Text string }

func (d *Desk) declineOf(r *http.Request) (declineView, error) {
	j, err := d.office.Ledger.Job(r.Context(), job.ID(r.PathValue("job")))
	if err != nil {
		return declineView{}, err
	}
	v := declineView{Job: j, Code: oneLine(r.FormValue("as"), 30), Words: oneLine(r.FormValue("why"), 500)}
	for _, f := range d.office.Rules.Refusals {
		v.Reasons = append(v.Reasons, listed{f.Code, plain.Capital(f.In(d.lang(r), d.office.Rules.Library))})
	}
	v.Reasons = append(v.Reasons, listed{rules.RefusedOther, d.localizer(r).Word("page.decline.other")})
	return v, nil
}

func (d *Desk) declinePage(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.declineOf(r)
	if err != nil {
		return err
	}
	d.show(w, r, http.StatusOK, "decline", "page.title.decline", who, v)
	return nil
}

// decline shows the letter that would go ("show"), or declines the request.
func (d *Desk) decline(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.declineOf(r)
	if err != nil {
		return err
	}
	ctx, refusal := r.Context(), casework.Refusal{Code: v.Code, Words: v.Words}
	if r.PostFormValue("do") == "decline" {
		if err := d.office.Refuse(ctx, v.Job.ID, refusal, who.Name); err != nil {
			return d.declineAgain(w, r, who, v, theirs(err))
		}
		d.cfg.Log.Info("declined", "job", v.Job.ID, "as", v.Code, "by", who.Name)
		d.say(r, job.Say("page.done.declined", nil))
		http.Redirect(w, r, "/job/"+string(v.Job.ID), http.StatusSeeOther)
		return nil
	}
	m, err := d.office.RefusalLetter(ctx, v.Job.ID, refusal)
	if err != nil {
		return d.declineAgain(w, r, who, v, theirs(err))
	}
	mail := readMail(m.Raw)
	v.Letter, v.In = &mail, m.Language
	d.show(w, r, http.StatusOK, "decline", "page.title.decline", who, v)
	return nil
}

func (d *Desk) declineAgain(w http.ResponseWriter, r *http.Request, who personal, v declineView, cause error) error {
	status, text := d.localizer(r).wrong(cause)
	if status >= http.StatusInternalServerError {
		return cause
	}
	v.Wrong = plain.Capital(text) + "."
	d.show(w, r, status, "decline", "page.title.decline", who, v)
	return nil
}

// takeUp lets a request go on that was declined or ended.
func (d *Desk) takeUp(w http.ResponseWriter, r *http.Request, who personal) error {
	id := job.ID(r.PathValue("job"))
	if err := d.office.TakeUp(r.Context(), id, who.Name); err != nil {
		return theirs(err)
	}
	d.say(r, job.Say("page.done.taken-up", nil))
	http.Redirect(w, r, "/job/"+string(id), http.StatusSeeOther)
	return nil
}
