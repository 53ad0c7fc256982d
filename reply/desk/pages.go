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

	"meshclerk/rules"
	"meshclerk/templates"
)

//go:embed pages/*.html static/* words/*.toml
var files embed.FS

// pages are the parsed templates of every page in every language of the desk.
type pages struct {
	byName map[string]map[string]*template.Template // language -> page
	speech map[string]*speech
	static map[string]asset
}

type asset struct {
	body  []byte
	media string
	tag   string // changes with the content
}

var media = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}

func loadPages(r *rules.Rules, book *templates.Book) (*pages, error) {
	p := &pages{byName: map[string]map[string]*template.Template{}, speech: map[string]*speech{}, static: map[string]asset{}}
	if err := p.readStatic(); err != nil {
		return nil, err
	}
	names, err := fs.Glob(files, "pages/*.html")
	if err != nil {
		return nil, err
	}
	for _, lang := range languages {
		s, err := newSpeech(lang, r, book)
		if err != nil {
			return nil, err
		}
		p.speech[lang], p.byName[lang] = s, map[string]*template.Template{}
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
		d.fail(w, r, http.StatusNotFound, "there is no such page")
		return
	}
	w.Header().Set("Content-Type", a.media)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable") // the address holds a hash of the content
	w.Write(a.body)
}

// frame is what every page has.
type frame struct {
	Title, Lang, Path, Library string
	Page                       string // the template's name
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
	if c, err := r.Cookie(langCookie); err == nil && slices.Contains(languages, c.Value) {
		return c.Value
	}
	for part := range strings.SplitSeq(r.Header.Get("Accept-Language"), ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(strings.ToLower(part)), ";")
		tag, _, _ = strings.Cut(tag, "-")
		for _, l := range languages {
			if l == tag {
				return l
			}
		}
	}
	return languages[0]
}

func (d *Desk) setLanguage(w http.ResponseWriter, r *http.Request) {
	if l := r.PostFormValue("language"); slices.Contains(languages, l) {
		// A cookie of its own: who only chooses a language needs no session.
		http.SetCookie(w, &http.Cookie{Name: langCookie, Value: l, Path: "/", MaxAge: 365 * 24 * 3600, HttpOnly: true, Secure: d.cfg.Secure, SameSite: http.SameSiteLaxMode})
	}
	http.Redirect(w, r, inside(r.PostFormValue("back")), http.StatusSeeOther)
}

// say leaves a line for the next page: a sentence of the word list and its figures.
func (d *Desk) say(r *http.Request, sentence string, args ...any) {
	d.sessions.Put(r.Context(), keySaid, d.pages.speech[d.lang(r)].t(sentence, args...))
}

// show writes a page. It is made whole first, so that an error never leaves half of one.
func (d *Desk) show(w http.ResponseWriter, r *http.Request, status int, name, title string, who personal, body any) {
	lang := d.lang(r)
	s := d.pages.speech[lang]
	f := frame{Title: s.t(title), Lang: lang, Path: r.URL.RequestURI(), Library: d.office.Rules.Library.Name, Page: name, Who: who,
		Demo: d.cfg.Auth.Demo != "", Proxy: d.cfg.Auth.Named != nil, Now: d.office.Now(), Body: body}
	if who.Name != "" {
		f.Said = d.sessions.PopString(r.Context(), keySaid)
		f.Poll, f.Alarm = d.poll(r, s)
	}
	var b bytes.Buffer
	if err := d.pages.byName[lang][name].ExecuteTemplate(&b, "frame", f); err != nil {
		d.cfg.Log.Error("page cannot be made", "page", name, "why", err)
		http.Error(w, s.t("This page could not be made; the log says why."), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Add("Vary", "Cookie, Accept-Language")
	w.WriteHeader(status)
	w.Write(b.Bytes())
}

// poll tells the last good look at the mailbox, and an alarm when it is old.
func (d *Desk) poll(r *http.Request, s *speech) (time.Time, string) {
	when, err := d.office.Ledger.LastGoodPoll(r.Context())
	box := d.office.Rules.Mailbox
	switch late := 5*box.Poll + box.Command; {
	case when.IsZero():
		return when, s.t("The mailbox has not been looked at yet.")
	case d.office.Now().Sub(when) > late:
		return when, s.t("The mailbox was last looked at %s ago. New letters are not coming in; tell whoever runs the mail server.", s.age(when, d.office.Now()))
	case err != nil:
		return when, s.t("The mailbox cannot be reached at the moment; it was last looked at %s ago.", s.age(when, d.office.Now()))
	}
	return when, ""
}
