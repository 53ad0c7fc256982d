package desk

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/argon2id"

	"meshclerk/intake/job"
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
		case !ok && d.cfg.Auth.Named != nil:
			d.fail(w, r, http.StatusForbidden, job.Say("page.wrong.proxy", nil))
		case !ok && r.Method == http.MethodGet && r.Header.Get("X-Desk") == "":
			to := "/sign-in"
			if r.URL.Path != "/" {
				to += "?" + url.Values{"back": {r.URL.RequestURI()}}.Encode()
			}
			http.Redirect(w, r, to, http.StatusSeeOther)
		case !ok:
			d.fail(w, r, http.StatusForbidden, job.Say("page.wrong.signed-out", nil))
		case need == RoleAdmin && who.Role != RoleAdmin:
			d.fail(w, r, http.StatusForbidden, job.Say("page.wrong.only-admin", nil))
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
	case a.Named != nil:
		name := a.Named.name(r)
		return personal{name, a.Named.role(name)}, name != ""
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
	d.show(w, r, http.StatusOK, "sign-in", "page.title.sign-in", personal{}, signInView{Back: inside(r.URL.Query().Get("back"))})
}

func (d *Desk) signIn(w http.ResponseWriter, r *http.Request) {
	back := inside(r.PostFormValue("back"))
	name, password := strings.TrimSpace(r.PostFormValue("sign-in")), r.PostFormValue("password")
	from := visitorOf(r).place()
	refuse := func(status int, wrong string) {
		if status == http.StatusUnauthorized {
			d.cfg.Log.Warn("sign-in refused", "from", from)
		} else if n := d.heldBack.times(d.office.Now()); n > 0 {
			d.cfg.Log.Warn("sign-in held back", "from", from, "times", n)
		}
		d.show(w, r, status, "sign-in", "page.title.sign-in", personal{}, signInView{name, d.localizer(r).Word(wrong), back})
	}
	a := d.account(name)
	keys, known, wait := d.allowed(r, a, name, from)
	if wait > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(wait.Seconds())+1))
		refuse(http.StatusTooManyRequests, "page.wrong.too-many-tries")
		return
	}
	leave, ok := d.tries.enter(r.Context(), known)
	if !ok {
		w.Header().Set("Retry-After", "10")
		refuse(http.StatusServiceUnavailable, "page.wrong.too-many-people")
		return
	}
	ok = a.matches(password)
	leave()
	if !ok {
		refuse(http.StatusUnauthorized, "page.wrong.password")
		return
	}
	d.tries.succeeded(keys...)
	d.remember(w, r, a)
	if err := d.sessions.RenewToken(r.Context()); err != nil { // a token from before sign-in must not live on
		d.failed(w, r, err)
		return
	}
	d.sessions.Put(r.Context(), keyName, a.Name)
	d.cfg.Log.Info("signed in", "who", a.Name)
	http.Redirect(w, r, back, http.StatusSeeOther)
}

// allowed counts a try to sign in, or tells how long it must wait. A browser that
// is known for the account has tries of its own; when they are used up it is like
// any other.
func (d *Desk) allowed(r *http.Request, a Account, name, from string) (keys []tryKey, known bool, wait time.Duration) {
	now, name := d.office.Now(), strings.ToLower(name)
	if nonce, ok := knownAs(r, a); ok {
		keys = []tryKey{tryUnder(triesADevice, "device", name, nonce)}
		if d.tries.begin(now, keys...) == 0 {
			return keys, true, 0
		}
	}
	keys = []tryKey{tryUnder(triesAPair, "pair", name, from), tryUnder(triesAnAddr, "address", from), tryUnder(triesAName, "name", name)}
	return keys, false, d.tries.begin(now, keys...)
}

// inside is an address of this site, or "/": a link must not lead people away.
func inside(to string) string {
	if !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n\t") {
		return "/"
	}
	return to
}

// account is the one of that name, or the zero Account.
func (d *Desk) account(name string) Account {
	for _, a := range d.cfg.Auth.Accounts {
		if strings.EqualFold(a.SignIn, name) {
			return a
		}
	}
	return Account{}
}

// matches compares a password, in the same time whether there is such an account or not.
func (a Account) matches(password string) bool {
	hash := a.Password
	if a.Name == "" {
		hash = nobody()
	}
	if len(password) > 1000 {
		return false
	}
	ok, err := argon2id.ComparePasswordAndHash(password, hash)
	return err == nil && ok && a.Name != ""
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
