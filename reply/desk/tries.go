package desk

import (
	"container/list"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"net/http"
	"strings"
	"sync"
	"time"
)

// tries holds back whoever guesses passwords. A try is counted before the
// password is compared, and given back when it was the right one: however many
// come at once, no more are compared than are allowed.
//
// Nobody can lock out those who work here by guessing: a browser in which a
// person has signed in before has tries of its own, and is let in beside the
// others (OWASP, Slow Down Online Guessing Attacks with Device Cookies). Other
// browsers share the tries of their address and of the name.
type tries struct {
	mu     sync.Mutex
	made   map[tryKey]*list.Element
	order  *list.List // of *tried, the latest in front
	doors  chan struct{}
	known  chan struct{} // a door for browsers that are known
	queued chan struct{} // who waits before the doors
}

// tryKey is what tries are counted under, of one size whatever was typed.
type tryKey struct {
	most int
	of   [sha256.Size]byte
}

type tried struct {
	key tryKey
	at  []time.Time // at most key.most
}

const (
	tryWindow     = 15 * time.Minute
	triesADevice  = 10 // under one name, in a browser that is known for it
	triesAPair    = 5  // under one name from one address
	triesAnAddr   = 20 // a library's staff share one address
	triesAName    = 50 // under one name, in browsers that are not known
	maxTryKeys    = 20_000
	maxDoors      = 2 // each comparison takes 64 MiB
	maxQueue      = 16
	maxBeforeDoor = 5 * time.Second
)

func newTries() *tries {
	return &tries{made: map[tryKey]*list.Element{}, order: list.New(), doors: make(chan struct{}, maxDoors), known: make(chan struct{}, 1), queued: make(chan struct{}, maxQueue)}
}

func tryUnder(most int, what ...string) tryKey {
	return tryKey{most, sha256.Sum256([]byte(strings.Join(what, "\x00")))}
}

// begin counts a try under every key, or none where one of them has had its
// share, and tells how long until it is allowed.
func (t *tries) begin(now time.Time, keys ...tryKey) (wait time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, k := range keys {
		if at := t.recent(now, k); len(at) >= k.most {
			wait = max(wait, tryWindow-now.Sub(at[0]))
		}
	}
	if wait > 0 {
		return wait
	}
	for _, k := range keys {
		t.count(now, k)
	}
	return 0
}

func (t *tries) recent(now time.Time, k tryKey) []time.Time {
	e, ok := t.made[k]
	if !ok {
		return nil
	}
	made := e.Value.(*tried)
	for len(made.at) > 0 && now.Sub(made.at[0]) >= tryWindow {
		made.at = made.at[1:]
	}
	return made.at
}

func (t *tries) count(now time.Time, k tryKey) {
	e, ok := t.made[k]
	if !ok {
		e = t.order.PushFront(&tried{key: k})
		t.made[k] = e
	}
	made := e.Value.(*tried)
	made.at = append(made.at, now)
	t.order.MoveToFront(e)
	for len(t.made) > maxTryKeys { // the one that was used longest ago
		last := t.order.Remove(t.order.Back()).(*tried)
		delete(t.made, last.key)
	}
}

// succeeded gives a try back under every key, and all of them under the first:
// it is the one of this person in this place.
func (t *tries) succeeded(keys ...tryKey) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i, k := range keys {
		e, ok := t.made[k]
		if !ok {
			continue
		}
		made := e.Value.(*tried)
		if n := len(made.at); i > 0 && n > 1 {
			made.at = made.at[:n-1]
			continue
		}
		t.order.Remove(e)
		delete(t.made, k)
	}
}

// enter waits for a door, not long and not behind many.
func (t *tries) enter(ctx context.Context, known bool) (leave func(), ok bool) {
	if known {
		select {
		case t.known <- struct{}{}:
			return func() { <-t.known }, true
		default: // then like anybody
		}
	}
	select {
	case t.queued <- struct{}{}:
		defer func() { <-t.queued }()
	default:
		return nil, false
	}
	late := time.NewTimer(maxBeforeDoor)
	defer late.Stop()
	select {
	case t.doors <- struct{}{}:
		return func() { <-t.doors }, true
	case <-late.C:
	case <-ctx.Done():
	}
	return nil, false
}

// A browser in which a person has signed in keeps a word of ours that says so. It
// opens nothing. It is good until the person's password is changed, since it is
// keyed with what the password is compared with.

const knownFor = 365 * 24 * time.Hour

func knownCookie(signIn string) string {
	sum := sha256.Sum256([]byte(strings.ToLower(signIn)))
	return "desk-known-" + hex.EncodeToString(sum[:6])
}

func (a Account) knownWord(nonce string) string {
	h := hmac.New(sha256.New, []byte("known browser\x00"+a.Password))
	h.Write([]byte(strings.ToLower(a.SignIn) + "\x00" + nonce))
	return nonce + "." + base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}

// knownAs gives the nonce of a browser that is known for an account.
func knownAs(r *http.Request, a Account) (nonce string, ok bool) {
	c, err := r.Cookie(knownCookie(a.SignIn))
	if err != nil || a.Name == "" {
		return "", false
	}
	nonce, _, _ = strings.Cut(c.Value, ".")
	return nonce, hmac.Equal([]byte(c.Value), []byte(a.knownWord(nonce)))
}

// remember has the browser known for an account.
func (d *Desk) remember(w http.ResponseWriter, r *http.Request, a Account) {
	if _, ok := knownAs(r, a); ok {
		return
	}
	http.SetCookie(w, &http.Cookie{Name: knownCookie(a.SignIn), Value: a.knownWord(rand.Text()), Path: "/sign-in", MaxAge: int(knownFor.Seconds()),
		HttpOnly: true, Secure: d.cfg.Secure, SameSite: http.SameSiteLaxMode})
}

// seldom keeps what a stranger can cause at will from filling the log: it is told
// once a minute, with how often it came.
type seldom struct {
	mu   sync.Mutex
	last time.Time
	n    int
}

// times tells how often it came since it was told last; 0 is not to be told now.
func (s *seldom) times(now time.Time) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.n++
	if !s.last.IsZero() && now.Sub(s.last) < time.Minute {
		return 0
	}
	n := s.n
	s.last, s.n = now, 0
	return n
}
