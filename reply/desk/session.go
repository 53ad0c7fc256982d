package desk

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/argon2id"
)

// person is who asks for a page.
type personal struct {
	Name string
	Role Role
}

// page is a handler that knows who asks and may fail.
type page func(w http.ResponseWriter, r *http.Request, who personal) error

const (
	keyName = "name"
	keySaid = "said" // one line to be shown on the next page
)

// person lets through those who are signed in and may see the page.
func (d *Desk) person(need Role, h page) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who, ok := d.who(r)
		switch {
		case !ok && d.cfg.Auth.Proxy != nil:
			d.fail(w, r, http.StatusForbidden, "the proxy in front of this page did not say who you are; ask whoever runs it")
		case !ok && r.Method == http.MethodGet && r.Header.Get("X-Desk") == "":
			to := "/sign-in"
			if r.URL.Path != "/" {
				to += "?" + url.Values{"back": {r.URL.RequestURI()}}.Encode()
			}
			http.Redirect(w, r, to, http.StatusSeeOther)
		case !ok:
			d.fail(w, r, http.StatusForbidden, "you are no longer signed in, so nothing was done; sign in and do it again")
		case need == RoleAdmin && who.Role != RoleAdmin:
			d.fail(w, r, http.StatusForbidden, "only an admin may do this; ask one of them")
		default:
			if err := h(w, r, who); err != nil {
				d.failed(w, r, err)
			}
		}
	})
}

// who tells who is signed in.
func (d *Desk) who(r *http.Request) (personal, bool) {
	switch a := d.cfg.Auth; {
	case a.Demo != "":
		return personal{a.Demo, RoleAdmin}, true
	case a.Proxy != nil:
		name := a.Proxy.name(r)
		return personal{name, a.Proxy.role(name)}, name != ""
	}
	name := d.sessions.GetString(r.Context(), keyName)
	if name == "" {
		return personal{}, false
	}
	for _, a := range d.cfg.Auth.Accounts { // a person taken off the list is out at once
		if a.Name == name {
			return personal{a.Name, a.Role}, true
		}
	}
	return personal{}, false
}

type signInView struct {
	SignIn, Wrong string
	Back          string // where the person wanted to go
}

func (d *Desk) signInPage(w http.ResponseWriter, r *http.Request) {
	if _, ok := d.who(r); ok {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	d.show(w, r, http.StatusOK, "sign-in", "Sign in", personal{}, signInView{Back: inside(r.URL.Query().Get("back"))})
}

func (d *Desk) signIn(w http.ResponseWriter, r *http.Request) {
	back := inside(r.PostFormValue("back"))
	name, password := strings.TrimSpace(r.PostFormValue("sign-in")), r.PostFormValue("password")
	keys := []string{"name " + strings.ToLower(name), "from " + remote(r)}
	if wait := d.throttle.wait(d.cfg.Now(), keys...); wait > 0 {
		d.cfg.Log.Warn("sign-in held back", "from", remote(r))
		w.Header().Set("Retry-After", "60")
		d.show(w, r, http.StatusTooManyRequests, "sign-in", "Sign in", personal{},
			signInView{name, "Too many tries. Wait a few minutes, then try again.", back})
		return
	}
	a, ok := d.verify(r.Context(), name, password)
	if !ok {
		d.throttle.missed(d.cfg.Now(), keys...)
		d.cfg.Log.Warn("sign-in refused", "from", remote(r))
		d.show(w, r, http.StatusUnauthorized, "sign-in", "Sign in", personal{}, signInView{name, "That name and password do not belong together.", back})
		return
	}
	d.throttle.forget(keys...)
	if err := d.sessions.RenewToken(r.Context()); err != nil { // a token from before sign-in must not live on
		d.failed(w, r, err)
		return
	}
	d.sessions.Put(r.Context(), keyName, a.Name)
	d.cfg.Log.Info("signed in", "who", a.Name)
	http.Redirect(w, r, back, http.StatusSeeOther)
}

// inside is an address of this site, or "/": a link must not lead people away.
func inside(to string) string {
	if !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n\t") {
		return "/"
	}
	return to
}

// verify compares a password in the same time whether the name is known or not.
func (d *Desk) verify(ctx context.Context, name, password string) (Account, bool) {
	var found Account
	hash := nobody()
	for _, a := range d.cfg.Auth.Accounts {
		if strings.EqualFold(a.SignIn, name) {
			found, hash = a, a.Password
		}
	}
	if len(password) > 1000 || !d.throttle.enter(ctx) {
		return Account{}, false
	}
	defer d.throttle.leave()
	ok, err := argon2id.ComparePasswordAndHash(password, hash)
	return found, err == nil && ok && found.Name != ""
}

// nobody is a hash that no password is known for.
var nobody = sync.OnceValue(func() string {
	h, err := argon2id.CreateHash("no account has this name", argonParams)
	if err != nil {
		return ""
	}
	return h
})

func (d *Desk) signOut(w http.ResponseWriter, r *http.Request) {
	if err := d.sessions.Destroy(r.Context()); err != nil {
		d.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

func remote(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// throttle holds back whoever guesses passwords: after five misses under one
// name or from one address within a quarter of an hour, further tries wait.
// At most two passwords are tried at a time, since each takes 64 MiB.
type throttle struct {
	mu     sync.Mutex
	misses map[string][]time.Time
	swept  time.Time // when old ones were last forgotten
	doors  chan struct{}
}

const (
	missWindow  = 15 * time.Minute
	missesAName = 5
	missesAHost = 20 // a library's staff share one address
	maxMissKeys = 10000
)

func newThrottle() *throttle {
	return &throttle{misses: map[string][]time.Time{}, doors: make(chan struct{}, 2)}
}

func (t *throttle) enter(ctx context.Context) bool {
	select {
	case t.doors <- struct{}{}:
		return true
	case <-ctx.Done():
		return false
	}
}

func (t *throttle) leave() { <-t.doors }

// wait is how long the next try under any of the keys must wait.
func (t *throttle) wait(now time.Time, keys ...string) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	longest := time.Duration(0)
	for _, k := range keys {
		most := missesAName
		if strings.HasPrefix(k, "from ") {
			most = missesAHost
		}
		if l := t.recent(now, k); len(l) >= most {
			longest = max(longest, missWindow-now.Sub(l[len(l)-most]))
		}
	}
	return longest
}

func (t *throttle) recent(now time.Time, key string) []time.Time {
	l := t.misses[key]
	for len(l) > 0 && now.Sub(l[0]) >= missWindow {
		l = l[1:]
	}
	return l
}

func (t *throttle) missed(now time.Time, keys ...string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.misses) > maxMissKeys && now.Sub(t.swept) > time.Minute { // not at every miss: that would be dear
		t.swept = now
		for k := range t.misses {
			if len(t.recent(now, k)) == 0 {
				delete(t.misses, k)
			}
		}
	}
	for _, k := range keys {
		if _, known := t.misses[k]; known || len(t.misses) <= maxMissKeys {
			t.misses[k] = append(t.recent(now, k), now)
		}
	}
}

func (t *throttle) forget(keys ...string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, k := range keys {
		if strings.HasPrefix(k, "name ") {
			delete(t.misses, k)
		}
	}
}
