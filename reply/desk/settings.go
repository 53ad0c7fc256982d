package desk

import (
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

// changeSettings works out a part under other settings ("try"), or takes them
// over and writes the reply anew ("use").
func (d *Desk) changeSettings(w http.ResponseWriter, r *http.Request, who personal) error {
	ctx, id := r.Context(), job.ID(r.PathValue("job"))
	j, err := d.office.Ledger.Job(ctx, id)
	if err != nil {
		return err
	}
	if j.Report == nil {
		return job.Refuse(job.Say("page.wrong.not-worked-out", nil))
	}
	t := trial{}
	if t.Settings, err = settingsFrom(r, j, d.office.Rules.Limits.MaxCopies); err == nil {
		t.Report, err = d.office.Recheck(ctx, id, t.Settings)
	}
	if err == nil && casework.Undivided(t.Settings, &t.Report) {
		err = job.Refuse(job.Say("page.wrong.nothing-second", nil))
	}
	if err == nil && t.Settings.Reoriented && t.Report.Estimate != nil && t.Report.Estimate.ChangeMM > 0 {
		err = job.Refuse(job.Say("page.wrong.turned-second", nil))
	}
	if err != nil {
		_, text := d.localizer(r).wrong(theirs(err))
		t.Wrong = plain.Capital(text) + "."
		return d.showTrial(w, r, who, j, t)
	}
	t.Effect = wouldSay[newSettings(r, who, j, t).Effect()]
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
	return d.caseOf(r.Context(), d.localizer(r), who, nil, []job.ID{id})
}

// wouldSay and didSay tell what other settings do to what the patron was told.
var (
	wouldSay = map[casework.Effect]job.Message{
		casework.EffectRewritten: job.Say("page.effect.would-rewrite", nil), casework.EffectOffered: job.Say("page.effect.would-offer", nil),
		casework.EffectOffList: job.Say("page.effect.would-leave-list", nil), casework.EffectLater: job.Say("page.effect.would-tell-later", nil),
		casework.EffectNone: job.Say("page.effect.would-change-nothing", nil),
	}
	didSay = map[casework.Effect]job.Message{
		casework.EffectRewritten: job.Say("page.done.settings", nil), casework.EffectOffered: job.Say("page.effect.offered", nil),
		casework.EffectOffList: job.Say("page.effect.off-list", nil), casework.EffectLater: job.Say("page.effect.later", nil),
		casework.EffectNone: job.Say("page.effect.nothing", nil),
	}
)

func newSettings(r *http.Request, who personal, j job.Job, t trial) casework.NewSettings {
	return casework.NewSettings{Seen: j, Settings: t.Settings, Report: t.Report, Draft: r.PostFormValue("reply"), Base: r.PostFormValue("sha"), By: who.Name}
}

// useSettings takes settings and report over, and the reply that tells of them. It
// says what that does to what the patron was told.
func (d *Desk) useSettings(w http.ResponseWriter, r *http.Request, who personal, j job.Job, t trial) error {
	reply, n := r.PostFormValue("reply"), newSettings(r, who, j, t)
	err := d.office.TakeOver(r.Context(), n)
	if err != nil {
		r.SetPathValue("draft", reply)
		return d.refused(w, r, who, err, nil)
	}
	d.say(r, didSay[n.Effect()])
	back := "/job/" + string(j.ID)
	if reply != "" {
		back = "/reply/" + reply
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
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
	s.LayerMM = f.number("layer", "page.field.layer", s.LayerMM, 0.02, 2)
	s.Shells = int(f.number("shells", "page.field.shells", float64(s.Shells), 1, 50))
	s.Copies = int(f.number("copies", "page.field.copies", float64(s.Copies), 1, float64(maxCopies)))
	if v := f.number("infill", "page.field.infill", -1, 0, 100); v >= 0 {
		s.Infill, s.InfillSet = v/100, true
	}
	if v := f.number("scale", "page.field.scale", 100, 0.1, 10000); v > 0 {
		s.Scale = v / 100
	}
	s.Material, s.Colour, s.Printer = r.PostFormValue("material"), r.PostFormValue("colour"), r.PostFormValue("printer")
	s.Supports, s.Reoriented = r.PostFormValue("supports"), r.PostFormValue("way") == "advised"
	s.Second = secondFrom(&f, s)
	if s.Copies != j.Settings.Copies || s.Colour != j.Settings.Colour {
		s.Colours = nil // the form knows one colour for all
	}
	if !slices.Contains([]string{"", "yes", "no", "soluble"}, s.Supports) {
		f.err = job.Refuse(job.Say("page.wrong.supports", job.Args{"given": s.Supports}))
	}
	return s, f.err
}

// secondFrom reads the second colour and what is printed in it. A form without the field
// leaves it as it is.
func secondFrom(f *fields, s job.Settings) *job.SecondColour {
	if !f.r.PostForm.Has("second") {
		return s.Second
	}
	two := &job.SecondColour{Colour: f.r.PostFormValue("second")}
	if two.Colour == "" {
		return nil
	}
	if two.Colour == s.Colour || s.Colour == "" {
		f.wrong(job.Say("page.wrong.second-colour", nil))
	}
	if two.FromMM = f.number("second-height", "page.reply.second-height", 0, 0.1, 2000); two.FromMM > 0 {
		return two
	}
	for _, text := range f.r.PostForm["body"] {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > mostBodies {
			f.wrong(job.Say("page.wrong.body", job.Args{"given": oneLine(text, 30)}))
			continue
		}
		two.Bodies = append(two.Bodies, n)
	}
	slices.Sort(two.Bodies)
	two.Bodies = slices.Compact(two.Bodies)
	return two
}

// mostBodies bounds what a form may choose.
const mostBodies = 1000

// fields reads numbers from a form and remembers the first that is wrong.
type fields struct {
	r   *http.Request
	err error
}

func (f *fields) wrong(m job.Message) {
	if f.err == nil {
		f.err = job.Refuse(m)
	}
}

func (f *fields) number(field, name string, without, least, most float64) float64 {
	text := strings.Replace(strings.TrimSpace(f.r.PostFormValue(field)), ",", ".", 1)
	if text == "" {
		return without
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || v < least || v > most {
		if f.err == nil {
			f.err = job.Refuse(job.Say("page.wrong.no-number", job.Args{"field": job.Say(name, nil), "given": oneLine(text, 30), "least": least, "most": most}))
		}
		return without
	}
	return v
}
