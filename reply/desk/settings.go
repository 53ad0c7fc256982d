package desk

import (
	"context"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/draft"
)

// changeSettings works out a part under other settings ("try"), or takes them
// over and writes the reply anew ("use").
func (d *Desk) changeSettings(w http.ResponseWriter, r *http.Request, who personal) error {
	ctx, id := r.Context(), job.ID(r.PathValue("job"))
	j, err := d.cfg.Ledger.Job(ctx, id)
	if err != nil {
		return err
	}
	if d.cfg.Recheck == nil || j.Report == nil {
		return wrongf("this job cannot be worked out anew here")
	}
	t := trial{}
	if t.Settings, err = settingsFrom(r, j, d.cfg.Rules.Limits.MaxCopies); err == nil {
		t.Report, err = d.cfg.Recheck(ctx, id, t.Settings)
	}
	if err != nil {
		_, text := d.pages.speech[d.lang(r)].wrong(theirs(err))
		t.Wrong = plain.Capital(text) + "."
		return d.showTrial(w, r, who, j, t)
	}
	if r.PostFormValue("do") != "use" {
		return d.showTrial(w, r, who, j, t)
	}
	return d.useSettings(w, r, who, j, t)
}

func (d *Desk) showTrial(w http.ResponseWriter, r *http.Request, who personal, j job.Job, t trial) error {
	v, err := d.caseForJob(r, who, j.ID)
	if err != nil {
		return err
	}
	for i := range v.Parts {
		if v.Parts[i].ID == j.ID {
			v.Parts[i].Trial = &t
			v.Parts[i].Choices = v.Parts[i].Choices.with(t.Settings)
		}
	}
	status := http.StatusOK
	if t.Wrong != "" {
		status = http.StatusUnprocessableEntity
	}
	return d.showReply(w, r, status, who, v)
}

// caseForJob is the page the form came from: that of a reply, else the job's own.
func (d *Desk) caseForJob(r *http.Request, who personal, id job.ID) (replyView, error) {
	if reply := r.PostFormValue("reply"); reply != "" {
		return d.replyOf(r, who, reply)
	}
	return d.caseOf(r.Context(), d.pages.speech[d.lang(r)], who, nil, []job.ID{id})
}

// useSettings saves settings and report, and the reply that tells of them, in
// one transaction: both or neither.
func (d *Desk) useSettings(w http.ResponseWriter, r *http.Request, who personal, j job.Job, t trial) error {
	ctx, reply := r.Context(), r.PostFormValue("reply")
	changed := j
	changed.Settings, changed.Report = t.Settings, &t.Report
	var m draft.Message
	var jobs []job.Job
	if reply != "" && d.cfg.Redraft != nil {
		dr, err := d.cfg.Ledger.Draft(ctx, reply)
		if err != nil {
			return err
		}
		if !slices.Contains(dr.Jobs, j.ID) {
			return wrongf("reply %s is not about job %s; open the job again", reply, j.ID)
		}
		if jobs, err = d.jobsWith(ctx, dr, changed); err != nil {
			return err
		}
		if m, err = d.cfg.Redraft(ctx, dr.ID, Rewrite{Jobs: jobs}); err != nil {
			return err
		}
	}
	err := d.cfg.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if m.Raw != nil {
			if err := d.replace(ctx, tx, reply, r.PostFormValue("sha"), m, revision{jobs: jobs, who: who.Name, why: "written anew for other settings"}); err != nil {
				return err
			}
		}
		now, err := tx.Job(ctx, j.ID)
		if err != nil {
			return err
		}
		if !job.SameAsked(j, now) {
			return wrongf("this job was changed meanwhile; look at it as it is now, and try again")
		}
		now.Settings, now.Report = t.Settings, &t.Report
		return tx.SaveJob(ctx, now, who.Name, "settings changed on the staff page")
	})
	if err != nil {
		r.SetPathValue("draft", reply)
		return d.refused(w, r, who, err, nil)
	}
	d.say(r, "The settings are taken over, and the reply is written anew.")
	back := "/job/" + string(j.ID)
	if reply != "" {
		back = "/reply/" + reply
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

// jobsWith are the jobs of a draft, one of them as it would be.
func (d *Desk) jobsWith(ctx context.Context, dr ledger.Draft, changed job.Job) ([]job.Job, error) {
	var jobs []job.Job
	for _, id := range dr.Jobs {
		if id == changed.ID {
			jobs = append(jobs, changed)
			continue
		}
		j, err := d.cfg.Ledger.Job(ctx, id)
		if err != nil {
			return nil, err
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

// with shows the settings of a trial in the form.
func (c choices) with(s job.Settings) choices {
	c.Now = s
	if s.Copies > 0 {
		c.Copies = s.Copies
	}
	if s.InfillSet {
		c.Infill = 100 * s.Infill
	}
	if s.Scale > 0 {
		c.Scale = 100 * s.Scale
	}
	if s.Shells > 0 {
		c.Shells = s.Shells
	}
	if s.LayerMM > 0 {
		c.Layer = s.LayerMM
	}
	if s.Material != "" {
		c.Material = s.Material
	}
	c.Colour = s.Colour
	return c
}

// settingsFrom reads the settings form. What it does not hold stays as it is.
func settingsFrom(r *http.Request, j job.Job, maxCopies int) (job.Settings, error) {
	s := j.Settings
	f := fields{r: r}
	s.LayerMM = f.number("layer", "layer height", s.LayerMM, 0.02, 2)
	s.Shells = int(f.number("shells", "walls", float64(s.Shells), 1, 50))
	s.Copies = int(f.number("copies", "copies", float64(s.Copies), 1, float64(maxCopies)))
	if v := f.number("infill", "infill", -1, 0, 100); v >= 0 {
		s.Infill, s.InfillSet = v/100, true
	}
	if v := f.number("scale", "scale", 100, 0.1, 10000); v > 0 {
		s.Scale = v / 100
	}
	s.Material, s.Colour, s.Printer = r.PostFormValue("material"), r.PostFormValue("colour"), r.PostFormValue("printer")
	s.Supports, s.Reoriented = r.PostFormValue("supports"), r.PostFormValue("way") == "advised"
	if !slices.Contains([]string{"", "yes", "no", "soluble"}, s.Supports) {
		f.err = wrongf("supports cannot be %q", s.Supports)
	}
	return s, f.err
}

// fields reads numbers from a form and remembers the first that is wrong.
type fields struct {
	r   *http.Request
	err error
}

func (f *fields) number(field, name string, without, least, most float64) float64 {
	text := strings.Replace(strings.TrimSpace(f.r.PostFormValue(field)), ",", ".", 1)
	if text == "" {
		return without
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < least || v > most {
		if f.err == nil {
			f.err = wrongf("%s is %q; it must be a number from %g to %g", word(name), oneLine(text, 30), least, most)
		}
		return without
	}
	return v
}
