package desk

import (
	"net/http"

	"meshclerk/intake/job"
)

// join has a part go on as one print with the others that were chosen.
func (d *Desk) join(w http.ResponseWriter, r *http.Request, who personal) error {
	ids := []job.ID{job.ID(r.PathValue("job"))}
	for _, id := range r.PostForm["with"] {
		ids = append(ids, job.ID(oneLine(id, 30)))
	}
	id, err := d.office.Join(r.Context(), ids, who.Name)
	if err != nil {
		return theirs(err)
	}
	d.cfg.Log.Info("joined", "job", id, "by", who.Name)
	d.say(r, job.Say("page.done.joined", nil))
	http.Redirect(w, r, "/job/"+string(id), http.StatusSeeOther)
	return nil
}

// partAgain makes parts of their own of a print of several files.
func (d *Desk) partAgain(w http.ResponseWriter, r *http.Request, who personal) error {
	id := job.ID(r.PathValue("job"))
	if err := d.office.Part(r.Context(), id, who.Name); err != nil {
		return theirs(err)
	}
	d.cfg.Log.Info("parted", "job", id, "by", who.Name)
	d.say(r, job.Say("page.done.parted", nil))
	http.Redirect(w, r, "/job/"+string(id), http.StatusSeeOther)
	return nil
}
