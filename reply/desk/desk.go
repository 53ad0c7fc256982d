package desk

import (
	"errors"
	"log/slog"
	"net/http"
	"time"

	"github.com/alexedwards/scs/v2"

	"meshclerk/intake/job"
	"meshclerk/reply/casework"
)

// Config is what the desk works with. Office and Auth are needed.
type Config struct {
	Office *casework.Office

	// TemplatesDir is the folder of the house's own reply texts; "" and they
	// cannot be edited here. Earlier versions are kept in VersionsDir.
	TemplatesDir, VersionsDir string
	// RulesDir is the folder of the house's own rules, to be shown.
	RulesDir string

	Auth   Auth
	Proxy  *Proxy   // a web server in front; nil and no header of one is believed
	Hosts  []string // names that the page answers to, beside localhost and its own address
	Secure bool     // reached over TLS only: cookies never leave without it
	Log    *slog.Logger
}

// Desk is the http.Handler of the staff page.
type Desk struct {
	cfg      Config
	office   *casework.Office
	root     http.Handler
	sessions *scs.SessionManager
	store    *memory
	pages    *pages
	tries    *tries
	here     *presence
	shown    *shownTexts
	pictures *gallery
	heldBack seldom // tries to sign in
	misnamed seldom // requests by another name
}

const (
	idle     = 45 * time.Minute // a shared computer is soon somebody else's
	lifetime = 12 * time.Hour
	maxForm  = 1 << 20
)

// CheckAccess says what is wrong with who may come to the page, and how.
func (c *Config) CheckAccess() error {
	if err := c.Auth.check(); err != nil {
		return err
	}
	if c.Auth.Named != nil && c.Proxy == nil {
		c.Proxy = &Proxy{} // which says what it lacks
	}
	if c.Proxy != nil {
		if err := c.Proxy.check(); err != nil {
			return err
		}
	}
	return checkHosts(c.Hosts)
}

// New makes the desk. Close it when it is no longer served.
func New(cfg Config) (*Desk, error) {
	if cfg.Office == nil {
		return nil, errors.New("the staff page needs the office: ledger, house rules and reply texts")
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	if err := cfg.CheckAccess(); err != nil {
		return nil, err
	}
	p, err := loadPages(cfg.Office.Rules, cfg.Office.Templates.Book())
	if err != nil {
		return nil, err
	}
	d := &Desk{cfg: cfg, office: cfg.Office, pages: p, tries: newTries(), here: newPresence(), shown: newShownTexts(), pictures: newGallery(), store: newMemory()}
	d.sessions = scs.New()
	d.sessions.Store = d.store
	d.sessions.IdleTimeout, d.sessions.Lifetime = idle, lifetime
	d.sessions.HashTokenInStore = true
	d.sessions.Cookie.Name = "desk"
	d.sessions.Cookie.HttpOnly = true
	d.sessions.Cookie.Persist = false
	d.sessions.Cookie.SameSite = http.SameSiteLaxMode
	d.sessions.Cookie.Secure = cfg.Secure
	d.root = d.guard(d.routes())
	return d, nil
}

// Close forgets who is signed in.
func (d *Desk) Close() {
	d.store.mu.Lock()
	defer d.store.mu.Unlock()
	clear(d.store.items)
}

// ServeHTTP implements http.Handler.
func (d *Desk) ServeHTTP(w http.ResponseWriter, r *http.Request) { d.root.ServeHTTP(w, r) }

// guard wraps what holds for every request.
func (d *Desk) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.fail(w, r, http.StatusForbidden, job.Say("page.wrong.other-site", nil))
	}))
	acting, asking := d.sessions.LoadAndSave(cross.Handler(next)), d.onlyLoaded(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
		h.Set("Cache-Control", "no-store")
		if d.cfg.Secure {
			h.Set("Strict-Transport-Security", "max-age=31536000") // RFC 6797
		}
		if r = d.received(r); !d.answersTo(r) {
			d.misdirected(w, r)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		if r.Method == http.MethodGet && r.Header.Get("X-Desk") != "" {
			asking.ServeHTTP(w, r)
			return
		}
		acting.ServeHTTP(w, r)
	})
}

// onlyLoaded knows who asks and leaves the session as it is: what the scripts of a
// page ask for by themselves must not keep a person signed in who went away.
func (d *Desk) onlyLoaded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		token := ""
		if c, err := r.Cookie(d.sessions.Cookie.Name); err == nil {
			token = c.Value
		}
		ctx, err := d.sessions.Load(r.Context(), token)
		if err != nil {
			http.Error(w, "the session cannot be read", http.StatusInternalServerError)
			return
		}
		next.ServeHTTP(w, r.WithContext(ctx))
	})
}

// policy lets pages use what we serve ourselves, and nothing written into them.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; frame-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

func (d *Desk) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /static/{name}", d.static)
	mux.HandleFunc("GET /sign-in", d.signInPage)
	mux.HandleFunc("POST /sign-in", d.signIn)
	mux.HandleFunc("POST /sign-out", d.signOut)
	mux.HandleFunc("POST /language", d.setLanguage)

	staff := func(pattern string, h page) { mux.Handle(pattern, d.person(RoleStaff, h)) }
	admin := func(pattern string, h page) { mux.Handle(pattern, d.person(RoleAdmin, h)) }
	staff("GET /{$}", d.waiting)
	staff("GET /state", d.waitingState)
	staff("POST /notice/{id}/done", d.noticeDone)
	staff("POST /go-on", d.goOn)

	staff("GET /reply/{draft}", d.replyPage)
	staff("GET /reply/{draft}/state", d.replyState)
	staff("GET /reply/{draft}/html", d.replyHTML)
	staff("GET /reply/{draft}/source", d.replySource)
	staff("POST /reply/{draft}/approve", d.approve)
	staff("POST /reply/{draft}/aside", d.setAside)
	staff("POST /reply/{draft}/reopen", d.reopen)
	staff("POST /reply/{draft}/note", d.sendBack)
	staff("POST /reply/{draft}/settle", d.settle)
	staff("POST /reply/{draft}/edit", d.edit)
	staff("GET /letter/{id}", d.letterPage)
	staff("POST /letter/{id}/again", d.letterAgain)
	staff("POST /letter/{id}/decide", d.decideLetter)
	staff("GET /letter/{id}/file/{n}", d.saveForm)
	staff("GET /letter/{id}/picture/{n}", d.showForm)

	staff("GET /job/{job}", d.jobPage)
	staff("POST /job/{job}/settings", d.changeSettings)
	staff("GET /job/{job}/picture/{view}", d.picture)
	staff("GET /job/{job}/shape", d.shape)
	staff("POST /job/{job}/move", d.moveJob)
	staff("GET /job/{job}/decline", d.declinePage)
	staff("POST /job/{job}/decline", d.decline)
	staff("POST /job/{job}/reopen", d.takeUp)
	staff("POST /job/{job}/join", d.join)
	staff("POST /job/{job}/part", d.partAgain)
	staff("POST /job/{job}/correct", d.correct)
	staff("POST /job/{job}/assign", d.assign)
	staff("POST /job/{job}/confirm", d.confirm)
	staff("GET /job/{job}/state", d.jobState)
	staff("GET /job/{job}/sheet", d.sheetPage)
	staff("GET /job/{job}/part.stl", d.part)

	staff("GET /jobs", d.jobsPage)
	staff("GET /prints", d.printsPage)
	staff("GET /agreements", d.agreementsPage)
	staff("POST /agreements", d.addAgreement)
	staff("GET /report", d.reportPage)
	staff("GET /record", d.recordPage)
	staff("GET /texts", d.textsPage)
	staff("GET /texts/{lang}/{name}", d.textPage)
	admin("POST /texts/{lang}/{name}", d.saveText)
	staff("GET /rules", d.rulesPage)
	staff("GET /keys", d.keysPage)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		d.fail(w, r, http.StatusNotFound, job.Say("page.wrong.no-page", nil))
	})
	return mux
}
