package desk

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

// leftView is a letter that was left to staff, with what a person may make of it.
type leftView struct {
	Letter string
	Notice ledger.Notice
	Runs   []passage  // the patron's words
	Read   []wish     // what was understood of them
	Jobs   []job.Job  // that it is tied to
	Guess  job.ID     // for a letter that is tied to none
	Form   changeForm // of a change
	Back   string     // "list", or "" for the letter's own page
	Wrong  string
}

// passage is a stretch of a letter: "read" where something was understood of it, "unread"
// where nothing was.
type passage struct{ Text, Kind string }

// Marked reports whether some of the words are marked.
func (v leftView) Marked() bool {
	return slices.ContainsFunc(v.Runs, func(p passage) bool { return p.Kind != "" })
}

// changeForm is what a person read in a letter, as the form holds it.
type changeForm struct {
	Copies, Scale, Colour, Material, Pickup, Supports, NeededBy string

	Colours, Materials, Branches []string // to choose from
}

// mostOfLetter bounds the words that are shown beside the acts, in bytes.
const mostOfLetter = 4000

// leftOf gives the acts beside a letter, or nil where none is open about it.
func (d *Desk) leftOf(ctx context.Context, s *localizer, notices []ledger.Notice, letter string) (*leftView, error) {
	i := slices.IndexFunc(notices, func(n ledger.Notice) bool {
		return slices.Contains(casework.AboutLetter, n.Kind) && n.About(letter)
	})
	if i < 0 {
		return nil, nil
	}
	l, err := d.office.Ledger.Letter(ctx, letter)
	if err != nil || l.Parsed == nil {
		return nil, err
	}
	v := &leftView{Letter: letter, Notice: notices[i], Runs: runs(l.Parsed.Text, l.Parsed.Wishes), Read: wishes(l.Parsed.Wishes, s)}
	if v.Jobs, err = d.office.Ledger.JobsOf(ctx, letter); err != nil {
		return nil, err
	}
	v.Guess = guessOf(v.Notice)
	v.Form = d.changeForm(l.Parsed.Wishes)
	return v, nil
}

// guessOf is the first job that a notice of a letter names.
func guessOf(n ledger.Notice) job.ID {
	if ids := fmt.Sprint(n.Text.Args["jobs"]); ids != "" {
		return job.ID(jobID.FindString(strings.Fields(strings.Trim(ids, "[]") + " -")[0]))
	}
	return ""
}

func (d *Desk) changeForm(w job.Wishes) changeForm {
	f := changeForm{Material: w.Material, Pickup: w.Pickup, Supports: w.Supports, NeededBy: w.NeededBy}
	if w.Copies != nil {
		f.Copies = fmt.Sprint(*w.Copies)
	}
	if w.Scale != nil {
		f.Scale = input(100 * *w.Scale)
	}
	if len(w.Colours) > 0 {
		f.Colour = w.Colours[0]
	}
	all := choicesFor(job.Job{}, d.office.Rules)
	f.Colours, f.Materials = all.Colours, all.Materials
	if f.Colour != "" && !slices.Contains(f.Colours, f.Colour) {
		f.Colours = append(f.Colours, f.Colour)
	}
	for _, b := range d.office.Rules.Library.Branches {
		f.Branches = append(f.Branches, b.Name)
	}
	return f
}

// runs cuts a letter where something was read in it, and where nothing was.
func runs(text string, w job.Wishes) []passage {
	text = plain.Shorten(strings.TrimSpace(visible(text)), mostOfLetter)
	type span struct {
		from, to int
		kind     string
	}
	var spans []span
	mark := func(words, kind string) {
		words = strings.TrimSpace(visible(words))
		from := strings.Index(text, words)
		if words == "" || from < 0 {
			return
		}
		to := from + len(words)
		if !slices.ContainsFunc(spans, func(s span) bool { return from < s.to && s.from < to }) {
			spans = append(spans, span{from, to, kind})
		}
	}
	for _, u := range w.Unread {
		mark(u.Text, "unread")
	}
	keys := make([]string, 0, len(w.Words))
	for key := range w.Words {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		mark(w.Words[key], "read")
	}
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	var out []passage
	at := 0
	for _, s := range spans {
		if s.from > at {
			out = append(out, passage{text[at:s.from], ""})
		}
		out = append(out, passage{text[s.from:s.to], s.kind})
		at = s.to
	}
	if at < len(text) {
		out = append(out, passage{text[at:], ""})
	}
	return out
}

// decideLetter records what a person makes of a letter that was left to staff, and
// says what follows from it.
func (d *Desk) decideLetter(w http.ResponseWriter, r *http.Request, who personal) error {
	ctx, id, do := r.Context(), r.PathValue("id"), r.PostFormValue("do")
	said, err := d.actOnLetter(r, who, id, do)
	if err != nil {
		return d.letterAct(w, r, who, id, theirs(err))
	}
	if said == "" {
		if said, err = d.nowAfter(ctx, d.localizer(r), id); err != nil {
			return err
		}
	}
	d.cfg.Log.Info("letter dealt with", "letter", id, "as", do, "by", who.Name)
	d.sessions.Put(ctx, keySaid, said)
	back := "/letter/" + id
	if r.PostFormValue("back") == "list" && do != "belongs" {
		back = "/"
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

// as is what each button takes a letter for.
var as = map[string]job.Reply{"yes": job.Accept, "no": job.Decline, "change": job.Change, "noted": ""}

// actOnLetter does what a button says. It gives what is to be said, or "" where that
// is how the jobs stand now.
func (d *Desk) actOnLetter(r *http.Request, who personal, id, do string) (string, error) {
	ctx, s := r.Context(), d.localizer(r)
	switch do {
	case "ask":
		return s.Word("page.answers.asked"), d.office.AskAbout(ctx, id)
	case "belongs":
		to := job.ID(strings.ToUpper(strings.TrimSpace(r.PostFormValue("job"))))
		if !jobID.MatchString(string(to)) {
			return "", job.Refuse(job.Say("page.wrong.no-job", job.Args{"given": oneLine(string(to), 30)}))
		}
		return s.Say(job.Say("page.answers.tied", job.Args{"job": string(to)})), d.office.Belongs(ctx, id, to, who.Name)
	case "close":
		return "", d.office.CloseLetter(ctx, id, who.Name)
	}
	reply, known := as[do]
	if !known {
		return "", job.Refuse(job.Say("page.wrong.no-act", nil))
	}
	decision := casework.Decision{Letter: id, As: reply, By: who.Name}
	if do == "change" || do == "noted" {
		read, err := d.readByPerson(r, id)
		if err != nil {
			return "", err
		}
		decision.Read = read
	}
	return "", d.office.Decide(ctx, decision)
}

// readByPerson is what was read in a letter, as the form of a change corrects it. A
// field that the form lacks is left as it was read.
func (d *Desk) readByPerson(r *http.Request, id string) (*job.Wishes, error) {
	l, err := d.office.Ledger.Letter(r.Context(), id)
	if err != nil {
		return nil, err
	}
	if l.Parsed == nil {
		return nil, job.Refuse(job.Say("faults.letter-unread", job.Args{"letter": id}))
	}
	read := l.Parsed.Wishes
	was := d.changeForm(read)
	f := fields{r: r}
	read.Words = maps.Clone(read.Words)
	changed := func(name, before string, words ...string) (string, bool) {
		now := oneLine(r.PostFormValue(name), 60)
		if !r.PostForm.Has(name) || now == before {
			return before, false
		}
		for _, key := range words { // it is the person's word now
			delete(read.Words, key)
		}
		return now, true
	}
	if v, ok := changed("copies", was.Copies, "copies"); ok {
		read.Copies, read.Items = nil, nil
		if v != "" {
			n := int(f.number("copies", "page.reply.copies", 1, 1, 1000))
			read.Copies = &n
		}
	}
	if v, ok := changed("scale", was.Scale, "scale", "size"); ok {
		read.Scale, read.Size = nil, nil
		if v != "" {
			n := f.number("scale", "page.reply.scale", 100, 0.1, 10000) / 100
			read.Scale = &n
		}
	}
	if v, ok := changed("colour", was.Colour, "colours"); ok {
		read.Colours, read.Items = []string{}, nil
		if v != "" {
			read.Colours = []string{v}
		}
	}
	for _, text := range []struct {
		name, words, was string
		into             *string
	}{{"material", "material", was.Material, &read.Material}, {"pickup", "pickup", was.Pickup, &read.Pickup}, {"supports", "supports", was.Supports, &read.Supports}, {"needed", "needed_by", was.NeededBy, &read.NeededBy}} {
		if v, ok := changed(text.name, text.was, text.words); ok {
			*text.into = v
		}
	}
	if _, err := time.Parse(time.DateOnly, read.NeededBy); err != nil && read.NeededBy != "" && f.err == nil {
		f.err = job.Refuse(job.Say("page.wrong.no-day", job.Args{"given": read.NeededBy}))
	}
	return &read, f.err
}

// letterAct shows a letter again whose act could not be done, with why and what was
// filled in.
func (d *Desk) letterAct(w http.ResponseWriter, r *http.Request, who personal, id string, cause error) error {
	v, err := d.letterOf(r, id)
	if err != nil {
		return err
	}
	status, text := d.localizer(r).wrong(cause)
	if v.Left == nil || status >= http.StatusInternalServerError {
		return cause
	}
	v.Left.Wrong = plain.Capital(text) + "."
	if r.PostForm.Has("copies") {
		f := &v.Left.Form
		for name, into := range map[string]*string{"copies": &f.Copies, "scale": &f.Scale, "colour": &f.Colour, "material": &f.Material, "pickup": &f.Pickup, "supports": &f.Supports, "needed": &f.NeededBy} {
			*into = oneLine(r.PostFormValue(name), 60)
		}
	}
	d.show(w, r, status, "letter", "page.title.letter", who, v)
	return nil
}

// nowAfter says how the jobs of a letter stand now, each in a sentence.
func (d *Desk) nowAfter(ctx context.Context, s *localizer, letter string) (string, error) {
	jobs, err := d.office.Ledger.JobsOf(ctx, letter)
	if err != nil {
		return "", err
	}
	var out []string
	for _, j := range jobs {
		m, err := d.standsNow(ctx, j)
		if err != nil {
			return "", err
		}
		if text := s.Say(m); !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return strings.Join(append([]string{s.Word("page.answers.done")}, out...), " "), nil
}

// standsView is what a job waits for: a sentence, or what a yes that is kept waits for.
type standsView struct {
	Text  string
	Kept  bool
	Ahead []casework.Ahead
}

func (d *Desk) standsOf(ctx context.Context, s *localizer, j job.Job) (standsView, error) {
	ahead, kept, err := d.office.Ahead(ctx, j)
	if err != nil {
		return standsView{}, err
	}
	if len(ahead) > 0 {
		return standsView{Kept: kept, Ahead: ahead}, nil
	}
	m, err := d.standsNow(ctx, j)
	return standsView{Text: s.Say(m)}, err
}

// standsNow says in a sentence what a job waits for.
func (d *Desk) standsNow(ctx context.Context, j job.Job) (job.Message, error) {
	file := oneLine(cmp.Or(j.File, string(j.ID)), 60)
	ahead, kept, err := d.office.Ahead(ctx, j)
	if err != nil {
		return job.Message{}, err
	}
	if kept && len(ahead) > 0 {
		return job.Say("page.stands.kept", job.Args{"file": file, "what": aheadWords(ahead)}), nil
	}
	waits, err := d.office.WaitsFor(ctx, j)
	if err != nil {
		return job.Message{}, err
	}
	switch {
	case j.Stage == job.Taken:
		return job.Say("page.stands.check", job.Args{"file": file}), nil
	case j.Stage == job.Checked:
		return job.Say("page.stands.offer", job.Args{"file": file}), nil
	case j.Stage == job.Agreed || j.Stage == job.Failed:
		return job.Say("page.stands.list", job.Args{"file": file}), nil
	case j.Stage == job.Printing || j.Stage == job.Ready || j.Stage.Over():
		return job.Say("page.stands.stage", job.Args{"file": file, "stage": j.Stage.Word()}), nil
	case waits == casework.ForPatron:
		return job.Say("page.stands.patron", job.Args{"file": file}), nil
	case waits == casework.ForRobot:
		return job.Say("page.stands.robot", job.Args{"file": file}), nil
	}
	return job.Say("page.stands.staff", job.Args{"file": file}), nil
}

// aheadWords are what stands in the way of a yes, as a sentence says it.
func aheadWords(list []casework.Ahead) []job.Message {
	out := make([]job.Message, 0, len(list))
	for _, a := range list {
		out = append(out, job.Say("codes.ahead."+a.What, nil))
	}
	return out
}
