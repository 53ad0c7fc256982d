package desk

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/language"

	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

//go:embed pages/*.html static/*
var files embed.FS

// pages are the parsed templates of every page in every language of the desk.
type pages struct {
	byName     map[string]map[string]*template.Template // language -> page
	languages  []string                                 // the fallback first
	localizers map[string]*localizer
	matcher    language.Matcher // of the browser's languages to ours
	static     map[string]asset
}

type asset struct {
	body  []byte
	media string
	tag   string // changes with the content
}

var media = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}

func loadPages(r *rules.Rules, book *templates.Book) (*pages, error) {
	p := &pages{languages: book.LanguagesOf(pageFile), byName: map[string]map[string]*template.Template{}, localizers: map[string]*localizer{}, static: map[string]asset{}}
	p.matcher = language.NewMatcher(tagsOf(p.languages))
	if err := p.readStatic(); err != nil {
		return nil, err
	}
	names, err := fs.Glob(files, "pages/*.html")
	if err != nil {
		return nil, err
	}
	for _, lang := range p.languages {
		s, err := newLocalizer(lang, r, book)
		if err != nil {
			return nil, err
		}
		p.localizers[lang], p.byName[lang] = s, map[string]*template.Template{}
		frame := template.New("frame").Option("missingkey=error").Funcs(s.funcs(p))
		if frame, err = frame.ParseFS(files, "pages/_*.html"); err != nil {
			return nil, err
		}
		for _, name := range names {
			base := strings.TrimSuffix(path.Base(name), ".html")
			if strings.HasPrefix(base, "_") {
				continue
			}
			t, err := template.Must(frame.Clone()).ParseFS(files, name)
			if err != nil {
				return nil, err
			}
			p.byName[lang][base] = t
		}
	}
	return p, nil
}

func tagsOf(languages []string) []language.Tag {
	out := make([]language.Tag, len(languages))
	for i, lang := range languages {
		out[i] = language.Make(lang)
	}
	return out
}

func (p *pages) readStatic() error {
	entries, err := fs.ReadDir(files, "static")
	if err != nil {
		return err
	}
	for _, e := range entries {
		b, err := files.ReadFile("static/" + e.Name())
		if err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		p.static[e.Name()] = asset{b, media[path.Ext(e.Name())], hex.EncodeToString(sum[:6])}
	}
	return nil
}

func (d *Desk) static(w http.ResponseWriter, r *http.Request) {
	a, ok := d.pages.static[r.PathValue("name")]
	if !ok {
		d.fail(w, r, http.StatusNotFound, job.Say("page.wrong.no-page", nil))
		return
	}
	w.Header().Set("Content-Type", a.media)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable") // the address holds a hash of the content
	w.Write(a.body)
}

// frame is what every page has.
type frame struct {
	Title, Lang, Path, Library string
	Others                     []string // the languages that the page can be read in beside this one
	Page                       string   // the template's name
	Who                        personal
	Demo, Proxy                bool
	Said                       string // what was just done
	Alarm                      string // the mailbox is not being looked at
	Poll                       time.Time
	Now                        time.Time
	Body                       any
}

const langCookie = "desk-language"

// lang is the reader's language: chosen, else the browser's, else English.
func (d *Desk) lang(r *http.Request) string {
	if c, err := r.Cookie(langCookie); err == nil && slices.Contains(d.pages.languages, c.Value) {
		return c.Value
	}
	asked, _, err := language.ParseAcceptLanguage(r.Header.Get("Accept-Language")) // RFC 9110, 12.5.4
	if err != nil {
		return fallback
	}
	_, i, sure := d.pages.matcher.Match(asked...)
	if sure < language.High { // a language that many who read the other one know
		return fallback
	}
	return d.pages.languages[i]
}

func (d *Desk) localizer(r *http.Request) *localizer { return d.pages.localizers[d.lang(r)] }

func (d *Desk) setLanguage(w http.ResponseWriter, r *http.Request) {
	if l := r.PostFormValue("language"); slices.Contains(d.pages.languages, l) {
		// A cookie of its own: who only chooses a language needs no session.
		http.SetCookie(w, &http.Cookie{Name: langCookie, Value: l, Path: "/", MaxAge: 365 * 24 * 3600, HttpOnly: true, Secure: d.cfg.Secure, SameSite: http.SameSiteLaxMode})
	}
	http.Redirect(w, r, inside(r.PostFormValue("back")), http.StatusSeeOther)
}

// say leaves a line for the next page.
func (d *Desk) say(r *http.Request, m job.Message) {
	d.sessions.Put(r.Context(), keySaid, d.localizer(r).Say(m))
}

// show writes a page; title is a key of the book. It is made whole first, so that an error never leaves half of one.
func (d *Desk) show(w http.ResponseWriter, r *http.Request, status int, name, title string, who personal, body any) {
	lang := d.lang(r)
	s := d.pages.localizers[lang]
	f := frame{Title: s.Word(title), Lang: lang, Others: others(d.pages.languages, lang), Path: r.URL.RequestURI(), Library: d.office.Rules.Library.Name, Page: name, Who: who,
		Demo: d.cfg.Auth.Demo != "", Proxy: d.cfg.Auth.Named != nil, Now: d.office.Now(), Body: body}
	if who.Name != "" {
		f.Said = d.sessions.PopString(r.Context(), keySaid)
		f.Poll, f.Alarm = d.poll(r, s)
	}
	var b bytes.Buffer
	if err := d.pages.byName[lang][name].ExecuteTemplate(&b, "frame", f); err != nil {
		d.cfg.Log.Error("page cannot be made", "page", name, "why", err)
		http.Error(w, s.Word("page.wrong.page-not-made"), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Add("Vary", "Cookie, Accept-Language")
	w.WriteHeader(status)
	w.Write(b.Bytes())
}

// others are all but one.
func others(all []string, but string) []string {
	return slices.DeleteFunc(slices.Clone(all), func(s string) bool { return s == but })
}

// poll tells the last good look at the mailbox, and an alarm when it is old.
func (d *Desk) poll(r *http.Request, s *localizer) (time.Time, string) {
	when, err := d.office.Ledger.LastGoodPoll(r.Context())
	box := d.office.Rules.Mailbox
	switch late := 5*box.Poll + box.Command; {
	case when.IsZero():
		return when, s.Word("page.frame.no-poll-yet")
	case d.office.Now().Sub(when) > late:
		return when, s.Say(job.Say("page.frame.poll-late", job.Args{"age": s.age(when, d.office.Now())}))
	case err != nil:
		return when, s.Say(job.Say("page.frame.unreachable", job.Args{"age": s.age(when, d.office.Now())}))
	}
	return when, ""
}
