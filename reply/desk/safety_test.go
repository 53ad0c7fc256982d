package desk

import (
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"golang.org/x/net/html"

	"meshclerk/intake/job"
)

const evil = `"><script>document.title='owned'</script><img src=x onerror=alert(1)>{{.Lang}}` + "\u202egnp.exe\x00\x1b[2J"

// Whatever a letter holds is text on the page: no element, attribute or address of the page
// comes from it. The pages are parsed as a browser would (x/net/html follows the HTML standard).
func TestHostileLetterIsText(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	a := okafor()
	a.Name, a.Subject, a.File, a.Text = "Eve "+evil, "Subject "+evil, "part"+evil+".stl", "Body "+evil+"\njavascript:alert(1)"
	a.Agreement = job.Agreement{State: job.AgreementUnproven, Why: job.Plain("why " + evil)}
	a.Findings = []job.Finding{{Code: "x" + evil, Level: job.Stop, Text: job.Plain("found " + evil), Question: job.Plain(evil)}}
	id, d := h.letter(a)
	b := h.browser("owen")
	for _, path := range []string{"/", "/reply/" + d, "/job/" + string(id), "/letter/L-000001", "/jobs", "/jobs?text=" + url.QueryEscape(evil), "/prints",
		"/agreements?text=" + url.QueryEscape(evil) + "&address=" + url.QueryEscape(evil), "/texts/en/" + url.PathEscape(evil), "/reply/" + url.PathEscape(evil), "/" + url.PathEscape(evil)} {
		_, page := b.get(path)
		inert(t, path, page)
		if strings.ContainsAny(page, "\u202e\x00\x1b") {
			t.Errorf("%s shows hidden characters", path)
		}
	}
	_, page := b.get("/reply/" + d)
	holds(t, page, "&lt;script&gt;document.title=&#39;owned&#39;")
}

// inert parses a page and fails on any script or handler that is not ours.
func inert(t *testing.T, path, page string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		src := ""
		for _, at := range n.Attr {
			if strings.HasPrefix(at.Key, "on") || at.Key == "style" || at.Key == "srcdoc" {
				t.Errorf("%s: <%s> has %s=%q", path, n.Data, at.Key, at.Val)
			}
			if at.Key == "src" || at.Key == "href" || at.Key == "action" {
				src = at.Val
				if !strings.HasPrefix(src, "/") && !strings.HasPrefix(src, "#") {
					t.Errorf("%s: <%s> leads to %q", path, n.Data, src)
				}
			}
		}
		if n.Data == "script" && (!strings.HasPrefix(src, "/static/") || n.FirstChild != nil) || n.Data == "style" {
			t.Errorf("%s: a script or style that is not ours: %v", path, n.Attr)
		}
	}
}

func TestHeaders(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	b := h.browser("marisol")
	header := func(path string) http.Header {
		r, err := b.Get(h.server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		return r.Header
	}
	page := header("/")
	for _, bad := range []string{"unsafe-inline", "unsafe-eval", "http:", "*", "data:"} {
		if strings.Contains(page.Get("Content-Security-Policy"), bad) {
			t.Errorf("the policy allows %s: %s", bad, page.Get("Content-Security-Policy"))
		}
	}
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store", "Referrer-Policy": "same-origin"} {
		if page.Get(name) != want {
			t.Errorf("%s: %q", name, page.Get(name))
		}
	}
	frame := header("/reply/" + d + "/html").Get("Content-Security-Policy")
	if !strings.HasPrefix(frame, "sandbox") || strings.Contains(frame, "allow-scripts") || !strings.Contains(frame, "default-src 'none'") {
		t.Errorf("the frame's policy: %s", frame)
	}
	source := header("/reply/" + d + "/source")
	if !strings.HasPrefix(source.Get("Content-Type"), "text/plain") || !strings.HasPrefix(source.Get("Content-Disposition"), "attachment") {
		t.Errorf("the source is served as %v", source)
	}
}

// Without signing in nothing is shown or done.
func TestNothingWithoutSigningIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	b := h.browser("")
	b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	for _, path := range []string{"/", "/reply/" + d, "/reply/" + d + "/html", "/reply/" + d + "/source", "/reply/" + d + "/state", "/job/" + string(id), "/job/" + string(id) + "/picture/corner.png",
		"/job/" + string(id) + "/shape", "/letter/L-000001", "/jobs", "/prints", "/agreements", "/report", "/texts", "/texts/en/quote", "/rules", "/keys"} {
		code, page := b.get(path)
		if code != http.StatusSeeOther || strings.Contains(page, "Amara") {
			t.Errorf("%s gives %d", path, code)
		}
	}
	got, err := h.ledger.Draft(t.Context(), d)
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/reply/" + d + "/approve", "/reply/" + d + "/aside", "/reply/" + d + "/edit", "/job/" + string(id) + "/move", "/job/" + string(id) + "/settings", "/agreements", "/texts/en/quote", "/letter/L-000001/again"} {
		if code, _ := b.post(path, url.Values{"sha": {got.SHA256}, "to": {"declined"}}); code != http.StatusForbidden {
			t.Errorf("POST %s gives %d", path, code)
		}
	}
	if now, err := h.ledger.Draft(t.Context(), d); err != nil || now.State != got.State || now.SHA256 != got.SHA256 {
		t.Errorf("something was done: %+v %v", now, err)
	}
}

// A form on another site cannot act for a person who is signed in here.
func TestOtherSitesCannotAct(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.get("/reply/" + d)
	for name, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://evil.example"} {
		r, err := http.NewRequest(http.MethodPost, h.server.URL+"/reply/"+d+"/approve", strings.NewReader(url.Values{"sha": {sha(t, page)}}.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set(name, value)
		resp, err := b.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusForbidden {
			t.Errorf("%s: %s gives %d", name, value, resp.StatusCode)
		}
	}
	u, err := url.Parse(h.server.URL)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range b.Jar.Cookies(u) {
		if strings.Contains(page, c.Value) {
			t.Error("the session's token stands in the page")
		}
	}
}

func TestSessionCookie(t *testing.T) {
	t.Parallel()
	for _, secure := range []bool{false, true} {
		h := newHouse(t, func(c *Config) { c.Secure = secure })
		b := h.browser("")
		b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
		r, err := b.PostForm(h.server.URL+"/sign-in", url.Values{"sign-in": {"marisol"}, "password": {password}})
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		c := r.Cookies() // that the browser is known, for the sign-in alone; and the session
		if len(c) != 2 || c[0].Path != "/sign-in" || c[0].MaxAge <= 0 || c[1].Name != "desk" || c[1].MaxAge != 0 {
			t.Errorf("cookies: %+v", c)
		}
		for _, c := range c {
			if !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Secure != secure {
				t.Errorf("cookie: %+v", c)
			}
		}
	}
}

func TestSigningIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	b := h.browser("")
	code, page := b.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {"wrong"}})
	if code != http.StatusUnauthorized {
		t.Fatalf("%d", code)
	}
	holds(t, page, "That name and password do not belong together.")
	for range triesAPair - 1 {
		b.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {"wrong"}})
	}
	// Now even the right one waits, and another person's does not.
	if code, page = b.post("/sign-in", url.Values{"sign-in": {"MARISOL"}, "password": {password}}); code != http.StatusTooManyRequests {
		t.Errorf("after five misses: %d\n%s", code, page)
	}
	if code, _ = h.browser("").post("/sign-in", url.Values{"sign-in": {"owen"}, "password": {password}}); code != http.StatusOK {
		t.Errorf("another person: %d", code)
	}
	h.clock.pass(tryWindow)
	if code, _ = b.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {password}}); code != http.StatusOK {
		t.Errorf("after a quarter of an hour: %d", code)
	}
	if code, page = b.post("/sign-out", nil); code != http.StatusOK || !strings.Contains(page, "Password") {
		t.Errorf("signing out: %d", code)
	}
	if _, page = b.get("/"); !strings.Contains(page, "Password") {
		t.Error("still signed in")
	}
}

// After signing in a person is where they wanted to be, and nowhere else.
func TestBackAfterSigningIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	b := h.browser("")
	_, page := b.get("/report?month=2026-10")
	holds(t, page, `name="back" value="/report?month=2026-10"`)
	_, page = b.post("/sign-in", url.Values{"sign-in": {"marisol"}, "password": {password}, "back": {"/report?month=2026-10"}})
	holds(t, page, "<h1>Report")
	for _, away := range []string{"//evil.example/", `/\evil.example`, "https://evil.example/"} {
		b.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
		r, err := b.PostForm(h.server.URL+"/language", url.Values{"language": {"fr"}, "back": {away}})
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if to := r.Header.Get("Location"); to != "/" {
			t.Errorf("%q leads to %q", away, to)
		}
		r, err = b.PostForm(h.server.URL+"/sign-in", url.Values{"sign-in": {"marisol"}, "password": {password}, "back": {away}})
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if to := r.Header.Get("Location"); to != "/" {
			t.Errorf("after signing in %q leads to %q", away, to)
		}
	}
}

func TestDemoSignsInAndSaysSo(t *testing.T) {
	t.Parallel()
	h := newHouse(t, func(c *Config) { c.Auth = Auth{Demo: "Marisol Teague"} })
	code, page := h.browser("").get("/")
	if code != http.StatusOK {
		t.Fatalf("%d", code)
	}
	holds(t, page, "This is the demo: you are signed in as Marisol Teague by itself.")
}

func TestRoles(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	code, page := h.browser("marisol").post("/texts/en/quote", url.Values{"source": {"Subject: x\n\ny"}, "do": {"save"}})
	if code != http.StatusForbidden || !strings.Contains(page, "Only an admin may do this") {
		t.Errorf("%d\n%s", code, page)
	}
}

func TestAuthConfiguration(t *testing.T) {
	h := cheapHash(t)
	named := Auth{Named: &Named{Header: "X"}}
	for name, c := range map[string]struct {
		conf Config
		want string
	}{
		"nobody":         {Config{}, "nobody could sign in"},
		"two ways":       {Config{Auth: Auth{Demo: "x", Named: &Named{Header: "X"}}}, "not both"},
		"no header":      {Config{Auth: Auth{Named: &Named{}}}, "has no name"},
		"no proxy":       {Config{Auth: named}, "set proxy_from"},
		"no secret":      {Config{Auth: named, Proxy: &Proxy{From: []string{"127.0.0.1"}}}, "set proxy_secret_file"},
		"short secret":   {Config{Auth: named, Proxy: &Proxy{From: []string{"127.0.0.1"}, Secret: "short"}}, "has 5 characters"},
		"bad address":    {Config{Auth: named, Proxy: &Proxy{From: []string{"here"}, Secret: proxySecret}}, "neither an address nor a prefix"},
		"unknown header": {Config{Auth: Auth{Demo: "x"}, Proxy: &Proxy{From: []string{"::1"}, Secret: proxySecret, Client: "X-Client"}}, `client_header is "X-Client"`},
		"host with port": {Config{Auth: Auth{Demo: "x"}, Hosts: []string{"print.example:443"}}, "write only the name"},
		"role":           {Config{Auth: Auth{Accounts: []Account{{"a", "A", "boss", h}}}}, `has the role "boss"`},
		"twice":          {Config{Auth: Auth{Accounts: []Account{{"a", "A", RoleStaff, h}, {"A", "B", RoleStaff, h}}}}, "two accounts"},
		"plain":          {Config{Auth: Auth{Accounts: []Account{{"a", "A", RoleStaff, "secret"}}}}, "is not a hash"},
	} {
		if err := c.conf.CheckAccess(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestAccountsFile(t *testing.T) {
	path := t.TempDir() + "/accounts.toml"
	b, err := toml.Marshal(accountsFile{accounts(t)})
	if err == nil {
		err = os.WriteFile(path, b, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	got, err := LoadAccounts(path)
	if err != nil || len(got) != 2 || got[1].Role != RoleAdmin {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := HashPassword("short"); err == nil {
		t.Error("a short password is taken")
	}
}

// Who is not signed in leaves nothing behind, and who is signed out is forgotten.
func TestSessionsAreOnlyForTheSignedIn(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	for range 50 {
		b := h.browser("")
		b.get("/jobs")
		b.post("/language", url.Values{"language": {"fr"}})
		b.post("/sign-in", url.Values{"sign-in": {"nobody"}, "password": {"x"}})
	}
	if n := len(h.desk.store.items); n != 0 {
		t.Errorf("%d sessions of people who are not signed in", n)
	}
	b := h.browser("marisol")
	if n := len(h.desk.store.items); n != 1 {
		t.Errorf("%d sessions of one person", n)
	}
	b.post("/sign-out", nil)
	if n := len(h.desk.store.items); n != 0 {
		t.Errorf("%d sessions after signing out", n)
	}
}
