package desk

import (
	"context"
	"net/http"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// heldView is what the mailbox knows and a restored ledger does not. Nothing is
// posted or sent until somebody has looked at it.
type heldView struct {
	Since time.Time
	Found []ledger.FoundSent
}

// heldView gives nil while nothing is held.
func (d *Desk) heldView(ctx context.Context) (*heldView, error) {
	since, err := d.office.Ledger.HeldSince(ctx)
	if err != nil || since.IsZero() {
		return nil, err
	}
	found, err := d.office.Ledger.FoundSent(ctx)
	return &heldView{since, found}, err
}

// goOn records that this person has looked, and lets the service go on.
func (d *Desk) goOn(w http.ResponseWriter, r *http.Request, who personal) error {
	if r.PostFormValue("looked") == "" {
		return job.Refuse(job.Say("page.wrong.not-looked", nil))
	}
	if _, err := d.office.GoOn(r.Context(), who.Name); err != nil {
		return err
	}
	d.cfg.Log.Info("goes on after a restore", "by", who.Name)
	d.say(r, job.Say("page.done.goes-on", nil))
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}
