package desk

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"
)

const proxySecret = "blue-kettle-orchard-seven-lanterns"

// proxied is a house behind a proxy that says who asks.
func proxied(t *testing.T, client string) *house {
	return newHouse(t, func(c *Config) {
		c.Proxy = &Proxy{From: []string{"127.0.0.1", "10.1.0.0/16"}, Secret: proxySecret, Client: client}
	})
}

// tryFrom tries to sign in as the proxy would pass it on from an address.
func (b *browser) tryFrom(from, name, word string) (int, http.Header) {
	b.h.t.Helper()
	r, err := http.NewRequestWithContext(b.h.t.Context(), http.MethodPost, b.h.server.URL+"/sign-in", strings.NewReader(url.Values{"sign-in": {name}, "password": {word}}.Encode()))
	if err != nil {
		b.h.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set(SecretHeader, proxySecret)
	r.Header.Set(ForwardedFor, from)
	resp, err := b.Do(r)
	if err != nil {
		b.h.t.Error(err)
		return 0, nil
	}
	resp.Body.Close()
	return resp.StatusCode, resp.Header
}

// Of sixty tries at once no more are compared than are allowed.
func TestBurstOfTriesIsHeldBack(t *testing.T) {
	h := proxied(t, ForwardedFor)
	count := func(name, from func(i int) string) map[int]int {
		var mu sync.Mutex
		var wg sync.WaitGroup
		codes := map[int]int{}
		b := h.browser("")
		for i := range 60 {
			wg.Go(func() {
				code, _ := b.tryFrom(from(i), name(i), "wrong")
				mu.Lock()
				defer mu.Unlock()
				codes[code]++
			})
		}
		wg.Wait()
		return codes
	}
	always := func(s string) func(int) string { return func(int) string { return s } }
	each := func(form string) func(int) string { return func(i int) string { return fmt.Sprintf(form, i) } }
	for what, c := range map[string]struct {
		name, from func(int) string
		most       int
	}{
		"one name from one address":  {always("marisol"), always("192.0.2.1"), triesAPair},
		"many names from one place":  {each("somebody%d"), always("192.0.2.2"), triesAnAddr},
		"one name from many places":  {always("owen"), each("198.51.100.%d"), triesAName},
		"one network of one house":   {always("nobody"), each("2001:db8:1:2::%x"), triesAPair},
		"a name that is not there":   {always("not there"), always("192.0.2.3"), triesAPair},
		"in front of what is proven": {always("x"), each("192.0.2.99, 203.0.113.%d, 203.0.114.1"), triesAPair},
	} {
		codes := count(c.name, c.from)
		// Where many wait, some are sent away before their password is looked at.
		if n := codes[http.StatusUnauthorized]; n > c.most || n == 0 || n+codes[http.StatusTooManyRequests]+codes[http.StatusServiceUnavailable] != 60 {
			t.Errorf("%s: %v, want at most %d compared", what, codes, c.most)
		}
	}
}

// Wrong tries from outside keep nobody out who works here: neither who is signed
// in, nor a browser in which they signed in before, nor another address.
func TestGuessingLocksNobodyOut(t *testing.T) {
	h := proxied(t, ForwardedFor)
	here, known := h.browser(""), h.browser("")
	for _, b := range []*browser{here, known} {
		if code, _ := b.tryFrom("192.0.2.10", "marisol", password); code != http.StatusOK {
			t.Fatal(code)
		}
	}
	known.post("/sign-out", nil)
	outside := h.browser("")
	held := 0
	for i := range 400 { // from one place, and then from many, under both names
		from := "203.0.113.9"
		if i > 40 {
			from = fmt.Sprintf("203.0.113.%d", i%200)
		}
		if code, head := outside.tryFrom(from, []string{"marisol", "owen"}[i%2], "wrong"); code == http.StatusTooManyRequests {
			held++
			if s := head.Get("Retry-After"); s == "" || s == "0" || len(s) > 3 {
				t.Fatalf("to be tried again after %q seconds", s)
			}
		}
	}
	if held < 400-2*triesAName {
		t.Errorf("only %d of 400 were held back", held)
	}
	if code, page := here.get("/"); code != http.StatusOK || !strings.Contains(page, "Signed in: Marisol") {
		t.Errorf("who is signed in: %d", code)
	}
	// A browser that is known gets in, even from the address of the guesser.
	for _, from := range []string{"192.0.2.10", "203.0.113.9"} {
		if code, _ := known.tryFrom(from, "marisol", password); code != http.StatusOK {
			t.Errorf("a known browser from %s: %d", from, code)
		}
		known.post("/sign-out", nil)
	}
	// It is known for one person only, and has no endless tries either.
	if code, _ := known.tryFrom("203.0.113.9", "owen", password); code != http.StatusTooManyRequests {
		t.Errorf("as another person: %d", code)
	}
	codes := map[int]int{}
	for range 30 {
		code, _ := known.tryFrom("203.0.113.9", "marisol", "wrong")
		codes[code]++
	}
	if codes[http.StatusUnauthorized] != triesADevice || codes[http.StatusTooManyRequests] != 30-triesADevice {
		t.Errorf("guessing in a known browser: %v", codes)
	}
	h.clock.pass(tryWindow)
	if code, _ := h.browser("").tryFrom("192.0.2.77", "owen", password); code != http.StatusOK {
		t.Errorf("a new browser after a quarter of an hour: %d", code)
	}
}

// Without a proxy to tell addresses apart, staff still get in where they did before.
func TestGuessingBehindAnUnknownProxy(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	known := h.browser("marisol")
	known.post("/sign-out", nil)
	for i := range 2 * triesAnAddr {
		h.browser("").post("/sign-in", url.Values{"sign-in": {fmt.Sprint("n", i)}, "password": {"wrong"}})
	}
	if code, _ := h.browser("").post("/sign-in", url.Values{"sign-in": {"owen"}, "password": {password}}); code != http.StatusTooManyRequests {
		t.Errorf("a new browser: %d", code)
	}
	if code, _ := known.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {password}}); code != http.StatusOK {
		t.Errorf("a known one: %d", code)
	}
}

// The word of a known browser is nobody else's, and ends with the password.
func TestKnownBrowserWord(t *testing.T) {
	a := accounts(t)
	now := a[0].knownWord("NONCE")
	changed := a[0]
	changed.Password = cheapHash(t)
	for name, c := range map[string]struct {
		account Account
		word    string
		ok      bool
	}{"as given": {a[0], now, true}, "another nonce": {a[0], strings.Replace(now, "NONCE", "NONCF", 1), false}, "another person": {a[1], now, false},
		"another password": {changed, now, false}, "empty": {a[0], "", false}, "a point": {a[0], ".", false}, "nobody": {Account{}, now, false}} {
		r, err := http.NewRequest(http.MethodPost, "/sign-in", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.AddCookie(&http.Cookie{Name: knownCookie(c.account.SignIn), Value: c.word})
		if _, ok := knownAs(r, c.account); ok != c.ok {
			t.Errorf("%s: %v", name, ok)
		}
	}
}

// What is remembered of tries is bounded, whatever is typed and from wherever.
func TestTriesAreForgotten(t *testing.T) {
	tr := newTries()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	for i := range 3 * maxTryKeys {
		tr.begin(now.Add(time.Duration(i)*time.Millisecond), tryUnder(triesAPair, "pair", strings.Repeat("x", i%1000), fmt.Sprint(i)))
	}
	if n := len(tr.made); n != maxTryKeys || tr.order.Len() != n {
		t.Errorf("%d are remembered, %d in order", n, tr.order.Len())
	}
	last := tryUnder(triesAPair, "pair", "x", "y")
	for range triesAPair {
		if wait := tr.begin(now, last); wait != 0 {
			t.Error(wait)
		}
	}
	if wait := tr.begin(now.Add(time.Minute), last); wait != tryWindow-time.Minute {
		t.Errorf("the next waits %v", wait)
	}
	if n := len(tr.made[last].Value.(*tried).at); n != triesAPair {
		t.Errorf("%d moments of one key", n)
	}
}

// What a stranger can cause at will does not fill the log.
func TestLogIsNotFilledByStrangers(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	h := newHouse(t, func(c *Config) { c.Log = slog.New(slog.NewTextHandler(&log, nil)) })
	b := h.browser("")
	for range 200 {
		b.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {"wrong"}})
	}
	h.clock.pass(time.Minute)
	b.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {"wrong"}})
	for range 200 {
		r, err := http.NewRequest(http.MethodGet, h.server.URL, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = "evil.example"
		resp, err := b.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
	}
	if n := strings.Count(log.String(), "\n"); n != triesAPair+3 || !strings.Contains(log.String(), "times=195") {
		t.Errorf("%d lines:\n%s", n, log.String())
	}
}

// Few passwords are compared at a time, and few wait for it.
func TestDoorsAreFew(t *testing.T) {
	tr := newTries()
	var leaves []func()
	for range maxDoors {
		leave, ok := tr.enter(t.Context(), false)
		if !ok {
			t.Fatal("no door")
		}
		leaves = append(leaves, leave)
	}
	var waiting sync.WaitGroup
	through := make(chan bool, maxQueue)
	for range maxQueue {
		waiting.Go(func() {
			leave, ok := tr.enter(t.Context(), false)
			if ok {
				leave()
			}
			through <- ok
		})
	}
	for len(tr.queued) < maxQueue {
		time.Sleep(time.Millisecond)
	}
	if _, ok := tr.enter(t.Context(), false); ok {
		t.Error("one more waits")
	}
	leave, ok := tr.enter(t.Context(), true)
	if !ok {
		t.Error("a known browser has no door of its own")
	} else {
		leave()
	}
	for _, leave := range leaves {
		leave()
	}
	waiting.Wait()
	for range maxQueue {
		if !<-through {
			t.Error("one who waited was sent away")
		}
	}
}

// A header of the proxy counts only from its address and with its secret.
func TestProxyIsBelievedWithItsSecretOnly(t *testing.T) {
	t.Parallel()
	get := func(from string, header http.Header) (int, string) {
		h := newHouse(t, func(c *Config) {
			c.Auth = Auth{Named: &Named{Header: "X-Remote-Name", Admins: []string{"Owen Dufresne"}}}
			c.Proxy = &Proxy{From: []string{from}, Secret: proxySecret}
		})
		r, err := http.NewRequest(http.MethodGet, h.server.URL+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header = header
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		return read(t, resp)
	}
	owen, secret := []string{"Owen Dufresne"}, []string{proxySecret}
	if code, page := get("127.0.0.1", http.Header{"X-Remote-Name": owen, SecretHeader: secret}); code != http.StatusOK || !strings.Contains(page, "Signed in: Owen Dufresne (admin)") {
		t.Errorf("through the proxy: %d", code)
	} else {
		lacks(t, page, proxySecret)
	}
	if code, page := get("127.0.0.0/8", http.Header{"X-Remote-Name": {"Marisol Teague"}, SecretHeader: secret}); code != http.StatusOK || strings.Contains(page, "(admin)") {
		t.Errorf("staff through the proxy: %d", code)
	}
	for name, c := range map[string]struct {
		from   string
		header http.Header
	}{
		"no secret":          {"127.0.0.1", http.Header{"X-Remote-Name": owen}},
		"another secret":     {"127.0.0.1", http.Header{"X-Remote-Name": owen, SecretHeader: {proxySecret + "x"}}},
		"two secrets":        {"127.0.0.1", http.Header{"X-Remote-Name": owen, SecretHeader: {proxySecret, "x"}}},
		"no name":            {"127.0.0.1", http.Header{SecretHeader: secret}},
		"two names":          {"127.0.0.1", http.Header{"X-Remote-Name": {"Owen Dufresne", "Eve"}, SecretHeader: secret}},
		"not from the proxy": {"192.0.2.7", http.Header{"X-Remote-Name": owen, SecretHeader: secret}},
	} {
		if code, page := get(c.from, c.header); code != http.StatusForbidden || strings.Contains(page, "Owen") {
			t.Errorf("%s: %d", name, code)
		}
	}
	// Where no proxy is configured, its headers say nothing.
	h := newHouse(t, nil)
	r, err := http.NewRequest(http.MethodGet, h.server.URL+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header = http.Header{"X-Remote-Name": owen, SecretHeader: secret}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if _, page := read(t, resp); !strings.Contains(page, "Password") {
		t.Error("a header that was not switched on signs in")
	}
}

// Who asked the proxy is the last address that is not the proxy's own. The
// elements of Forwarded are those of RFC 7239, 4 and 6 (from memory).
func TestVisitorsAddress(t *testing.T) {
	for _, c := range []struct {
		client string
		lines  []string
		want   string
	}{
		{"", []string{"203.0.113.5"}, "127.0.0.1"},
		{ForwardedFor, nil, "invalid IP"},
		{ForwardedFor, []string{"203.0.113.5"}, "203.0.113.5"},
		{ForwardedFor, []string{"192.0.2.66, 203.0.113.5"}, "203.0.113.5"},
		{ForwardedFor, []string{"192.0.2.66", "203.0.113.5 , 10.1.2.3"}, "203.0.113.5"},
		{ForwardedFor, []string{"203.0.113.5:4711"}, "203.0.113.5"},
		{ForwardedFor, []string{"::ffff:203.0.113.5"}, "203.0.113.5"},
		{ForwardedFor, []string{"[2001:db8::1]:80"}, "2001:db8::/64"},
		{ForwardedFor, []string{"2001:db8:0:0:9::1"}, "2001:db8::/64"},
		{ForwardedFor, []string{"203.0.113.5, unknown"}, "invalid IP"},
		{ForwardedFor, []string{"203.0.113.5,"}, "invalid IP"},
		{ForwardedFor, []string{"10.1.0.9, 10.1.0.8"}, "10.1.0.9"},
		{ForwardedFor, []string{"203.0.113.5" + strings.Repeat(", 10.1.0.8", 100)}, "10.1.0.8"},
		{Forwarded, []string{`for=192.0.2.43, for=198.51.100.17`}, "198.51.100.17"},
		{Forwarded, []string{`for=192.0.2.43`, `for=198.51.100.17;by=203.0.113.60;proto=http;host=example.com`}, "198.51.100.17"},
		{Forwarded, []string{`For="[2001:db8:cafe::17]:4711"`}, "2001:db8:cafe::/64"},
		{Forwarded, []string{`for="_gazonk"`}, "invalid IP"},
		{Forwarded, []string{`for=unknown`}, "invalid IP"},
		{Forwarded, []string{`for=192.0.2.43;host="a, for=198.51.100.9"`}, "192.0.2.43"},
		{Forwarded, []string{`for=192.0.2.43;host="a\", for=198.51.100.9"`}, "192.0.2.43"},
		{Forwarded, []string{`for=192.0.2.43, for="10.1.0.4"`}, "192.0.2.43"},
		{Forwarded, []string{`by=192.0.2.43`}, "invalid IP"},
	} {
		p := &Proxy{From: []string{"127.0.0.1", "10.1.0.0/16"}, Secret: proxySecret, Client: c.client}
		if err := p.check(); err != nil {
			t.Fatal(err)
		}
		head := http.Header{}
		for _, l := range c.lines {
			head.Add(ForwardedFor, l)
			head.Add(Forwarded, l)
		}
		if got := (visitor{from: p.client(head, hop("127.0.0.1:999"))}).place(); got != c.want {
			t.Errorf("%s %q: %s, want %s", c.client, c.lines, got, c.want)
		}
	}
}

// A page that is asked by a name nobody gave it answers nothing: that name may be
// another site's, led here (DNS rebinding).
func TestHostIsChecked(t *testing.T) {
	t.Parallel()
	h := newHouse(t, func(c *Config) {
		c.Auth = Auth{Demo: "Marisol Teague"} // nobody needs to sign in, so the name is all that keeps others out
		c.Hosts = []string{"Print.larkfield.example"}
	})
	_, port, _ := strings.Cut(strings.TrimPrefix(h.server.URL, "http://"), ":")
	ask := func(method, host, lang string) (int, string) {
		r, err := http.NewRequest(method, h.server.URL+"/", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = host
		r.Header.Set("Accept-Language", lang)
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		return read(t, resp)
	}
	for _, host := range []string{"127.0.0.1:" + port, "127.0.0.1", "localhost:" + port, "LOCALHOST", "desk.localhost", "[::1]:" + port, "127.8.9.1", "print.larkfield.example", "PRINT.larkfield.example.:443"} {
		if code, page := ask(http.MethodGet, host, "en"); code != http.StatusOK || !strings.Contains(page, "Marisol") {
			t.Errorf("%s: %d", host, code)
		}
	}
	for _, host := range []string{"evil.example:" + port, "evil.example", "localhost.evil.example", "127.0.0.1.evil.example", "192.0.2.1", "print.larkfield.example.evil.example"} {
		for _, method := range []string{http.MethodGet, http.MethodPost} {
			code, page := ask(method, host, "en")
			if code != http.StatusMisdirectedRequest || strings.Contains(page, "Marisol") || !strings.Contains(page, "does not answer to the name "+host) || !strings.Contains(page, "hosts under [staff_page]") {
				t.Errorf("%s %q: %d\n%s", method, host, code, page)
			}
		}
	}
	if _, page := ask(http.MethodGet, "evil.example", "fr"); !strings.Contains(page, "ne répond pas au nom evil.example") {
		t.Error(page)
	}
}

// Whatever a visitor sends along, the address that counts is the one that the
// proxy itself put last.
func FuzzVisitorsAddress(f *testing.F) {
	for _, s := range []string{"", "192.0.2.66", `for="x`, `for="a\", for=1.2.3.4"`, "unknown", ",,;;", `for=_x;for=y`} {
		f.Add(s)
	}
	p := map[string]*Proxy{}
	for _, client := range []string{ForwardedFor, Forwarded} {
		p[client] = &Proxy{From: []string{"127.0.0.1"}, Secret: proxySecret, Client: client}
		if err := p[client].check(); err != nil {
			f.Fatal(err)
		}
	}
	f.Fuzz(func(t *testing.T, sent string) {
		for client, last := range map[string]string{ForwardedFor: "203.0.113.5", Forwarded: "for=203.0.113.5"} {
			head := http.Header{client: {sent, last}} // proxies add a line of their own: RFC 7239, 4
			if got := p[client].client(head, hop("127.0.0.1:1")); got.String() != "203.0.113.5" {
				t.Errorf("%s %q: %s", client, sent, got)
			}
		}
	})
}
