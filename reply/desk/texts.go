package desk

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

type textsView struct {
	Names     []string
	Pieces    []pieceView
	Languages []string
	CanSave   bool
}

// pieceView is a part that several texts take in.
type pieceView struct {
	Name  string
	Texts int // that take it in
}

func (d *Desk) textsPage(w http.ResponseWriter, r *http.Request, who personal) error {
	set := d.office.Texts()
	v := textsView{Names: set.Names(), Languages: set.Languages(), CanSave: d.canSave(who)}
	for _, name := range set.Pieces() {
		p := pieceView{Name: name}
		if piece, err := set.GetPiece(v.Languages[0], name); err == nil {
			p.Texts = len(piece.UsedBy)
		}
		v.Pieces = append(v.Pieces, p)
	}
	d.show(w, r, http.StatusOK, "texts", "page.title.texts", who, v)
	return nil
}

func (d *Desk) canSave(who personal) bool { return who.Role == RoleAdmin && d.cfg.TemplatesDir != "" }

// builtIn names the wording that came with the program, among the versions.
const builtIn = "built-in"

type textView struct {
	Lang, Name string
	Source     string
	Path       string
	Piece      bool     // it is no text by itself
	UsedBy     []string // the texts that take it in
	In         string   // the text that is shown: its own name, for a piece one of UsedBy
	CanSave    bool
	Samples    []string
	Sample     string
	Job        string // to be tried on, instead of a sample
	CanTry     bool
	Subject    string
	Plain      string
	Wrong      string            // with the text
	NoTry      string            // why it cannot be tried on the job that was asked for
	Names      []templates.Given // what may stand in the text, and what it gives here
	Others     []otherLanguage
	Versions   []version
	BuiltIn    bool // an own wording stands in the place of one that came with the program
}

// otherLanguage is the same letter in another language.
type otherLanguage struct{ Lang, Subject, Plain string }

// version is an earlier wording of a text.
type version struct {
	ID   string // its file's name
	When time.Time
	By   string
}

func (d *Desk) textPage(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.textView(r, who)
	if err != nil {
		return err
	}
	switch id := r.URL.Query().Get("version"); {
	case id == builtIn && v.BuiltIn:
		b, err := templates.Builtin(v.Lang + "/" + v.Name + ".md")
		if err != nil {
			return err
		}
		v.Source = string(b)
	case id != "":
		i := slices.IndexFunc(v.Versions, func(o version) bool { return o.ID == id })
		if i < 0 {
			return job.Refuse(job.Say("page.wrong.no-version", nil))
		}
		b, err := os.ReadFile(filepath.Join(d.versionsOf(v.Lang, v.Name), v.Versions[i].ID))
		if err != nil {
			return err
		}
		v.Source = string(b)
	}
	d.preview(r.Context(), d.localizer(r), &v, d.office.Texts())
	d.show(w, r, http.StatusOK, "text", "page.title.text", who, v)
	return nil
}

func (d *Desk) textView(r *http.Request, who personal) (textView, error) {
	v := textView{Lang: r.PathValue("lang"), Name: r.PathValue("name"), CanSave: d.canSave(who)}
	set := d.office.Texts()
	if !slices.Contains(set.Languages(), v.Lang) {
		return v, job.Refuse(job.Say("page.wrong.language", job.Args{"language": oneLine(v.Lang, 20)}))
	}
	if !v.read(set) {
		return v, job.Refuse(job.Say("page.wrong.no-text", job.Args{"text": oneLine(v.Name, 60)}))
	}
	if in := r.FormValue("in"); slices.Contains(v.UsedBy, in) {
		v.In = in
	}
	for _, s := range set.Samples(v.Lang) {
		v.Samples = append(v.Samples, s.Name)
	}
	v.Sample, v.Job, v.CanTry = r.FormValue("sample"), oneLine(r.FormValue("job"), 20), true
	if !slices.Contains(v.Samples, v.Sample) {
		v.Sample = templates.SampleUsual
	}
	came, err := templates.Builtin(v.Lang + "/" + v.Name + ".md")
	v.BuiltIn = err == nil && strings.TrimSpace(string(came)) != strings.TrimSpace(v.Source)
	v.Versions, err = d.versions(v.Lang, v.Name)
	return v, err
}

// read takes a text, or a piece of texts, as it stands.
func (v *textView) read(set *templates.Set) bool {
	v.In = v.Name
	if t, err := set.Get(v.Lang, v.Name); err == nil {
		v.Source, v.Path = t.Source, t.Path
		return true
	}
	p, err := set.GetPiece(v.Lang, v.Name)
	if err != nil {
		return false
	}
	v.Source, v.Path, v.Piece, v.UsedBy = p.Source, p.Path, true, p.UsedBy
	if len(v.UsedBy) > 0 {
		v.In = v.UsedBy[0]
		if slices.Contains(v.UsedBy, templates.TextQuote) { // the letter that people know best
			v.In = templates.TextQuote
		}
	}
	return true
}

// preview fills a text in with a job that was chosen, else with a sample, lists what
// its names give there, and shows the same letter in the other languages.
func (d *Desk) preview(ctx context.Context, s *localizer, v *textView, set *templates.Set) {
	d.previewOne(ctx, s, v, set)
	d.names(ctx, v, set)
	for _, lang := range set.Languages() {
		other := *v
		if other.Lang, other.Plain = lang, ""; lang == v.Lang {
			continue
		}
		d.previewOne(ctx, s, &other, set)
		if other.Plain != "" {
			v.Others = append(v.Others, otherLanguage{lang, other.Subject, other.Plain})
		}
	}
}

// names lists what may stand in a text.
func (d *Desk) names(ctx context.Context, v *textView, set *templates.Set) {
	data, err := set.SampleFor(v.Lang, v.Sample, v.In)
	if v.CanTry && v.Job != "" && v.NoTry == "" {
		data, err = d.office.PreviewData(ctx, set, job.ID(v.Job), v.In, v.Lang)
	}
	if err == nil {
		v.Names, err = set.Fields(v.Lang, v.Name, data)
	}
	if err != nil {
		d.cfg.Log.Warn("the names of a reply text cannot be listed", "text", v.Lang+"/"+v.Name, "error", err)
	}
}

func (d *Desk) previewOne(ctx context.Context, s *localizer, v *textView, set *templates.Set) {
	if v.CanTry && v.Job != "" {
		m, err := d.office.Preview(ctx, set, job.ID(v.Job), v.In, v.Lang)
		if err != nil {
			_, text := s.wrong(theirs(err))
			v.NoTry = plain.Capital(text) + "."
			return
		}
		v.Subject, v.Plain = m.Subject, m.Plain
		return
	}
	t, err := set.Get(v.Lang, v.In)
	if err != nil {
		if !v.Piece { // a piece that no text takes in cannot be shown
			v.Wrong = s.Error(err)
		}
		return
	}
	data, err := set.SampleFor(v.Lang, v.Sample, v.In)
	if err == nil {
		var markdown string
		if v.Subject, markdown, err = t.Render(data); err == nil {
			v.Plain, _ = draft.Render(markdown, v.Lang, v.Subject)
		}
	}
	if err != nil {
		v.Wrong = s.Error(err)
	}
}

// saveText checks a new wording ("check"), or saves it ("save"). Nothing is
// saved that would not load.
func (d *Desk) saveText(w http.ResponseWriter, r *http.Request, who personal) error {
	v, err := d.textView(r, who)
	if err != nil {
		return err
	}
	v.Source = strings.ReplaceAll(r.PostFormValue("source"), "\r\n", "\n")
	set, err := d.tryText(v)
	if err == nil {
		err = set.Check()
	}
	if err != nil {
		v.Wrong = d.localizer(r).Error(err)
	}
	if v.Wrong != "" {
		d.show(w, r, http.StatusUnprocessableEntity, "text", "page.title.text", who, v)
		return nil
	}
	if r.PostFormValue("do") != "save" {
		d.preview(r.Context(), d.localizer(r), &v, set)
		d.show(w, r, http.StatusOK, "text", "page.title.text", who, v)
		return nil
	}
	if err := d.storeText(v, who); err != nil {
		return err
	}
	d.office.SetTemplates(set)
	d.cfg.Log.Info("reply text saved", "text", v.Lang+"/"+v.Name, "by", who.Name)
	d.say(r, job.Say("page.done.text-saved", nil))
	http.Redirect(w, r, "/texts/"+v.Lang+"/"+v.Name, http.StatusSeeOther)
	return nil
}

// tryText loads all texts as they would be with this one in place.
func (d *Desk) tryText(v textView) (*templates.Set, error) {
	if d.cfg.TemplatesDir == "" {
		return nil, job.Refuse(job.Say("page.wrong.no-own-folder", nil))
	}
	dir, err := os.MkdirTemp("", "texts-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := os.CopyFS(dir, os.DirFS(d.cfg.TemplatesDir)); err != nil {
		return nil, job.Refuse(job.Say("page.wrong.not-copied", job.Args{"why": job.Why(err)}))
	}
	if err := os.MkdirAll(filepath.Join(dir, v.Lang), 0o755); err != nil {
		return nil, err
	}
	if err := os.WriteFile(filepath.Join(dir, v.Lang, v.Name+".md"), []byte(v.Source), 0o644); err != nil {
		return nil, err
	}
	set, err := templates.LoadHouse(dir, d.office.Rules)
	if problems, ok := errors.AsType[rules.Problems](err); ok {
		for i := range problems { // a person knows the folder by its own name
			problems[i].File = strings.TrimPrefix(strings.TrimPrefix(problems[i].File, dir), "/")
		}
	}
	return set, err
}

// storeText keeps the wording that was, then puts the new one in place.
func (d *Desk) storeText(v textView, who personal) error {
	old := textView{Lang: v.Lang, Name: v.Name}
	if !old.read(d.office.Texts()) {
		return job.Refuse(job.Say("page.wrong.no-text", job.Args{"text": v.Lang + "/" + v.Name}))
	}
	if d.cfg.VersionsDir != "" {
		dir := d.versionsOf(v.Lang, v.Name)
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
		name := d.office.Now().UTC().Format("20060102T150405.000") + " until " + safeName(who.Name) + " changed it.md"
		if err := writeFile(filepath.Join(dir, name), []byte(old.Source), 0o644); err != nil {
			return err
		}
	}
	dir := filepath.Join(d.cfg.TemplatesDir, v.Lang)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, v.Name+".md"), []byte(v.Source), 0o644)
}

func safeName(s string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune(`/\:*?"<>|.`, r) {
			return '-'
		}
		return r
	}, oneLine(s, 60))
}

func (d *Desk) versionsOf(lang, name string) string {
	return filepath.Join(d.cfg.VersionsDir, lang, name)
}

// versions lists the earlier wordings, newest first.
func (d *Desk) versions(lang, name string) ([]version, error) {
	if d.cfg.VersionsDir == "" {
		return nil, nil
	}
	entries, err := os.ReadDir(d.versionsOf(lang, name))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	var out []version
	for _, e := range entries {
		stamp, rest, _ := strings.Cut(e.Name(), " until ")
		when, errStamp := time.Parse("20060102T150405.000", stamp)
		if errStamp == nil {
			out = append(out, version{e.Name(), when, strings.TrimSuffix(rest, " changed it.md")})
		}
	}
	slices.Reverse(out)
	return out, err
}
