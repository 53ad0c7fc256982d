package credential_test

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"meshclerk/intake/credential"
)

func noEnv(string) string { return "" }

func write(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func source(t *testing.T, c credential.Config, getenv func(string) string) (credential.Source, *strings.Builder) {
	t.Helper()
	var log strings.Builder
	s, err := credential.New(c, getenv, slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	return s, &log
}

// RFC 4616, 2: message = [authzid] UTF8NUL authcid UTF8NUL passwd.
func TestPasswordFileGivesPlain(t *testing.T) {
	file := write(t, "pw", "tanstaaftanstaaf\r\n")
	s, _ := source(t, credential.Config{Kind: "password", User: "tim", File: file}, noEnv)
	c, err := s.SASL(t.Context(), "h", 993, []string{"LOGIN", "plain"})
	if err != nil {
		t.Fatal(err)
	}
	mech, ir, err := c.Start()
	if mech != "PLAIN" || string(ir) != "\x00tim\x00tanstaaftanstaaf" || err != nil {
		t.Fatalf("%s %q %v", mech, ir, err) // the worked example of RFC 4616, 4
	}
}

func TestLoginAnswersByOrder(t *testing.T) {
	file := write(t, "pw", "geheim")
	s, _ := source(t, credential.Config{Kind: "password", User: "tim", File: file}, noEnv)
	c, err := s.SASL(t.Context(), "h", 587, []string{"LOGIN"})
	if err != nil {
		t.Fatal(err)
	}
	if mech, ir, _ := c.Start(); mech != "LOGIN" || ir != nil {
		t.Fatalf("%s %q", mech, ir)
	}
	for i, want := range []string{"tim", "geheim"} {
		if got, err := c.Next([]byte("any prompt")); string(got) != want || err != nil {
			t.Fatalf("answer %d: %q %v", i, got, err)
		}
	}
	if _, err := c.Next(nil); err == nil {
		t.Fatal("a third prompt was answered")
	}
}

func TestPasswordIsReadAnew(t *testing.T) {
	file := write(t, "pw", "old")
	s, _ := source(t, credential.Config{Kind: "password", User: "u", File: file}, noEnv)
	for _, want := range []string{"old", "new"} {
		if err := os.WriteFile(file, []byte(want), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, got, err := s.(credential.Passworder).Password(); got != want || err != nil {
			t.Fatalf("%q %v, want %q", got, err, want)
		}
	}
}

func TestBareNameComesFromTheServiceManager(t *testing.T) {
	dir := filepath.Dir(write(t, "imap-password", "from systemd"))
	env := func(k string) string { return map[string]string{"CREDENTIALS_DIRECTORY": dir}[k] }
	s, _ := source(t, credential.Config{Kind: "password", User: "u", File: "imap-password"}, env)
	if _, got, err := s.(credential.Passworder).Password(); got != "from systemd" || err != nil {
		t.Fatalf("%q %v", got, err)
	}
	s, _ = source(t, credential.Config{Kind: "password", User: "u", File: "imap-password", Dir: dir}, noEnv)
	if _, got, err := s.(credential.Passworder).Password(); got != "from systemd" || err != nil {
		t.Fatalf("beside the configuration: %q %v", got, err)
	}
}

func TestPasswordFromEnvironment(t *testing.T) {
	env := func(k string) string { return map[string]string{"PW": "abc"}[k] }
	s, _ := source(t, credential.Config{Kind: "password", User: "u", Env: "PW"}, env)
	if _, got, err := s.(credential.Passworder).Password(); got != "abc" || err != nil {
		t.Fatalf("%q %v", got, err)
	}
	s, _ = source(t, credential.Config{Kind: "password", User: "u", Env: "PW"}, noEnv)
	if _, err := s.SASL(t.Context(), "h", 1, []string{"PLAIN"}); err == nil || !strings.Contains(err.Error(), `servers.secret.empty {"where":{"key":"servers.secret.in-env","args":{"name":"PW"}}}`) {
		t.Fatal(err)
	}
}

func TestWrongConfigurationIsSaidPlainly(t *testing.T) {
	oauth := credential.Config{Kind: "oauth-refresh", User: "u", TokenURL: "https://login.example.net/t", ClientID: "c", RefreshTokenFile: "r"}
	change := func(f func(*credential.Config)) credential.Config { c := oauth; f(&c); return c }
	for _, row := range []struct {
		want string
		c    credential.Config
	}{
		{`servers.secret.no-such-kind {"given":"passwort"}`, credential.Config{Kind: "passwort", User: "u"}},
		{"servers.secret.no-user", credential.Config{Kind: "password", File: "f"}},
		{"servers.secret.no-place", credential.Config{Kind: "password", User: "u"}},
		{"servers.secret.no-client", change(func(c *credential.Config) { c.ClientID = "" })},
		{"servers.secret.no-refresh", change(func(c *credential.Config) { c.RefreshTokenFile = "" })},
		{"servers.secret.no-client-secret", change(func(c *credential.Config) { c.Kind = "oauth-client" })},
		{"servers.secret.in-the-clear", change(func(c *credential.Config) { c.TokenURL = "http://login.example.net/t" })},
		{"servers.secret.no-address", change(func(c *credential.Config) { c.TokenURL = "login" })},
		{"servers.secret.user-control", change(func(c *credential.Config) { c.User = "a\x01b" })},
		{"servers.secret.no-address", change(func(c *credential.Config) { c.TokenURL = "https://a:b@login.example.net/t" })},
	} {
		_, err := credential.New(row.c, noEnv, slog.New(slog.DiscardHandler))
		if err == nil || err.Error() != row.want {
			t.Errorf("got  %v\nwant %s", err, row.want)
		}
	}
	if err := oauth.Check(); err != nil {
		t.Error(err)
	}
}

func TestSecretFilesThatCannotServe(t *testing.T) {
	for want, content := range map[string]string{
		"servers.secret.empty ":     " \n",
		"servers.secret.lines ":     "one\ntwo\n",
		"servers.secret.too-large ": strings.Repeat("x", 70000),
	} {
		s, _ := source(t, credential.Config{Kind: "password", User: "u", File: write(t, "pw", content)}, noEnv)
		_, err := s.SASL(t.Context(), "h", 1, []string{"PLAIN"})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", want, err)
		}
	}
	s, _ := source(t, credential.Config{Kind: "password", User: "u", File: "/nonexistent/pw"}, noEnv)
	if _, err := s.SASL(t.Context(), "h", 1, []string{"PLAIN"}); err == nil ||
		err.Error() != `servers.secret.missing {"file":"/nonexistent/pw"}` {
		t.Error(err)
	}
}

func TestServerWithoutAFittingMechanism(t *testing.T) {
	pw, _ := source(t, credential.Config{Kind: "password", User: "u", File: write(t, "pw", "x")}, noEnv)
	if _, err := pw.SASL(t.Context(), "h", 1, []string{"XOAUTH2"}); err == nil || !strings.Contains(err.Error(), "servers.secret.no-passwords") {
		t.Error(err)
	}
	if _, err := pw.SASL(t.Context(), "h", 1, nil); err == nil || !strings.Contains(err.Error(), "servers.secret.no-way-at-all") {
		t.Error(err)
	}
}

func TestReadableSecretsAreNamed(t *testing.T) {
	file := write(t, "pw", "x")
	c := credential.Config{Kind: "password", User: "u", File: file}
	if w := credential.Warnings(c, noEnv); len(w) != 0 {
		t.Fatalf("%q", w)
	}
	if err := os.Chmod(file, 0o640); err != nil {
		t.Fatal(err)
	}
	w := credential.Warnings(c, noEnv)
	if len(w) != 1 || w[0].String() != `servers.secret.open {"file":"`+file+`","mode":"0640"}` {
		t.Fatalf("%q", w)
	}
}

// tokenServer is a token endpoint (RFC 6749, 3.2) that takes each refresh token once.
type tokenServer struct {
	*httptest.Server
	mu      sync.Mutex
	good    string // the refresh token it takes next
	issued  int
	status  int
	answer  string
	expires int
	seen    []map[string]string
}

func newTokenServer(t *testing.T) *tokenServer {
	s := &tokenServer{good: "refresh-0", expires: 3600}
	s.Server = httptest.NewServer(s)
	t.Cleanup(s.Close)
	return s
}

func (s *tokenServer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	r.ParseForm()
	id, secret, basic := r.BasicAuth()
	if !basic {
		id, secret = r.PostForm.Get("client_id"), r.PostForm.Get("client_secret")
	}
	s.seen = append(s.seen, map[string]string{"id": id, "secret": secret, "grant": r.PostForm.Get("grant_type"), "scope": r.PostForm.Get("scope")})
	w.Header().Set("Content-Type", "application/json")
	if s.status != 0 {
		w.WriteHeader(s.status)
		fmt.Fprint(w, s.answer)
		return
	}
	got := r.PostForm.Get("refresh_token")
	if r.PostForm.Get("grant_type") == "refresh_token" && got != s.good {
		w.WriteHeader(400)
		fmt.Fprintf(w, `{"error":"invalid_grant","error_description":"token %s was used"}`, got)
		return
	}
	s.issued++
	out := map[string]any{"access_token": fmt.Sprintf("access-%d", s.issued), "token_type": "Bearer", "expires_in": s.expires}
	if got != "" {
		s.good = fmt.Sprintf("refresh-%d", s.issued)
		out["refresh_token"] = s.good
	}
	json.NewEncoder(w).Encode(out)
}

func (s *tokenServer) config(t *testing.T, kind string) credential.Config {
	return credential.Config{Kind: kind, User: "print@larkfield.example", TokenURL: s.URL, ClientID: "app",
		ClientSecretFile: write(t, "client", "s3cret\n"), RefreshTokenFile: write(t, "refresh", "refresh-0\n"),
		Scopes: []string{"mail"}}
}

func initial(t *testing.T, s credential.Source, mechanisms ...string) string {
	t.Helper()
	c, err := s.SASL(t.Context(), "imap.example.com", 993, mechanisms)
	if err != nil {
		t.Fatal(err)
	}
	mech, ir, err := c.Start()
	if err != nil {
		t.Fatal(err)
	}
	return mech + " " + string(ir)
}

// RFC 7628, 4.1: the shape of the initial client response.
func TestClientCredentialsGiveBearer(t *testing.T) {
	srv := newTokenServer(t)
	s, _ := source(t, srv.config(t, "oauth-client"), noEnv)
	want := "OAUTHBEARER n,a=print@larkfield.example,\x01host=imap.example.com\x01port=993\x01auth=Bearer access-1\x01\x01"
	for range 2 { // the second comes from memory
		if got := initial(t, s, "XOAUTH2", "OAUTHBEARER"); got != want {
			t.Fatalf("%q", got)
		}
	}
	if len(srv.seen) != 1 || srv.seen[0]["grant"] != "client_credentials" || srv.seen[0]["secret"] != "s3cret" || srv.seen[0]["scope"] != "mail" {
		t.Fatalf("%v", srv.seen)
	}
	s.Rejected()
	if got := initial(t, s, "OAUTHBEARER"); !strings.Contains(got, "access-2") {
		t.Fatalf("a refused token was offered again: %q", got)
	}
}

func TestErrorChallengeIsAnswered(t *testing.T) {
	srv := newTokenServer(t)
	s, _ := source(t, srv.config(t, "oauth-client"), noEnv)
	for mech, want := range map[string]string{"OAUTHBEARER": "\x01", "XOAUTH2": ""} {
		c, err := s.SASL(t.Context(), "h", 993, []string{mech})
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Next([]byte(`{"status":"401"}`))
		if string(got) != want || got == nil || err != nil {
			t.Errorf("%s: %q %v", mech, got, err)
		}
	}
}

func TestNewRefreshTokenIsStored(t *testing.T) {
	srv := newTokenServer(t)
	c := srv.config(t, "oauth-refresh")
	s, log := source(t, c, noEnv)
	want := "XOAUTH2 user=print@larkfield.example\x01auth=Bearer access-1\x01\x01"
	if got := initial(t, s, "XOAUTH2"); got != want {
		t.Fatalf("%q", got)
	}
	stored, err := os.ReadFile(c.RefreshTokenFile)
	if string(stored) != "refresh-1\n" || err != nil {
		t.Fatalf("%q %v", stored, err)
	}
	if info, _ := os.Stat(c.RefreshTokenFile); info.Mode().Perm() != 0o600 {
		t.Fatalf("mode %v", info.Mode())
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(c.RefreshTokenFile), ".secret-*")); len(left) != 0 {
		t.Fatalf("left behind: %v", left)
	}
	// A second source over the same file, and a new start of the first.
	other, _ := source(t, c, noEnv)
	initial(t, other, "XOAUTH2")
	s.Rejected()
	initial(t, s, "XOAUTH2")
	for _, leak := range []string{"refresh-", "access-", "s3cret"} {
		if strings.Contains(log.String(), leak) {
			t.Fatalf("the log holds a secret: %s", log)
		}
	}
}

// Many sources over one file, each refreshing: the server takes each refresh
// token once, so any lost update would show as invalid_grant.
func TestSourcesShareOneRefreshToken(t *testing.T) {
	srv := newTokenServer(t)
	c := srv.config(t, "oauth-refresh")
	var wg sync.WaitGroup
	for range 8 {
		s, _ := source(t, c, noEnv)
		wg.Go(func() {
			if _, err := s.SASL(t.Context(), "h", 1, []string{"XOAUTH2"}); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if srv.issued != 8 {
		t.Fatalf("%d tokens", srv.issued)
	}
}

func TestUnstorableRefreshTokenIsKeptInMemory(t *testing.T) {
	srv := newTokenServer(t)
	c := srv.config(t, "oauth-refresh")
	s, log := source(t, c, noEnv)
	// A folder in the file's place can be read by nobody and renamed over by
	// nobody, also not by root: the store fails after the read has succeeded.
	srv.Config.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		os.Remove(c.RefreshTokenFile)
		os.MkdirAll(filepath.Join(c.RefreshTokenFile, "in-the-way"), 0o700)
		srv.ServeHTTP(w, r)
	})
	initial(t, s, "XOAUTH2")
	if !strings.Contains(log.String(), "new refresh token not stored") {
		t.Fatalf("log: %s", log)
	}
	srv.Config.Handler = srv
	os.RemoveAll(c.RefreshTokenFile)
	s.Rejected()
	initial(t, s, "XOAUTH2") // only works with refresh-1, from memory
	if stored, err := os.ReadFile(c.RefreshTokenFile); string(stored) != "refresh-2\n" {
		t.Fatalf("%q %v", stored, err)
	}
}

func TestTokenServerErrors(t *testing.T) {
	for _, c := range []struct {
		status    int
		answer    string
		want      string
		temporary bool
	}{
		{400, `{"error":"invalid_grant","error_description":"gone: refresh-0"}`, `{"mend":{"key":"servers.secret.invalid-grant"},"status":"400","url":"`, false},
		{401, `{"error":"invalid_client"}`, `{"mend":{"key":"servers.secret.invalid-client"},"status":"401"`, false},
		{400, `{"error":"invalid_scope"}`, `{"key":"servers.secret.invalid-scope"}`, false},
		{503, `busy s3cret`, `{"mend":{"key":"servers.secret.try-later"},"status":"503"`, true},
		{429, `{}`, `{"key":"servers.secret.try-later"}`, true},
		{302, `elsewhere`, `{"mend":{"key":"servers.secret.handbook"},"status":"302"`, false},
	} {
		srv := newTokenServer(t)
		srv.status, srv.answer = c.status, c.answer
		s, log := source(t, srv.config(t, "oauth-refresh"), noEnv)
		_, err := s.SASL(t.Context(), "h", 1, []string{"XOAUTH2"})
		if err == nil || !strings.Contains(err.Error(), c.want) || credential.Temporary(err) != c.temporary {
			t.Errorf("%d: %v (temporary %v)", c.status, err, credential.Temporary(err))
		}
		for e := err; e != nil; {
			if all := e.Error() + log.String(); strings.Contains(all, "refresh-0") || strings.Contains(all, "s3cret") {
				t.Errorf("secret in %q", all)
			}
			u, ok := e.(interface{ Unwrap() error })
			if !ok {
				break
			}
			e = u.Unwrap()
		}
	}
	srv := newTokenServer(t)
	c := srv.config(t, "oauth-client")
	srv.Close()
	s, _ := source(t, c, noEnv)
	if _, err := s.SASL(t.Context(), "h", 1, []string{"XOAUTH2"}); !credential.Temporary(err) || !strings.Contains(err.Error(), "servers.secret.token-silent ") {
		t.Error(err)
	}
}

func TestNoSignIn(t *testing.T) {
	s, _ := source(t, credential.Config{Kind: "none"}, noEnv)
	if !credential.Anonymous(s) {
		t.Fatal("not anonymous")
	}
	if _, err := s.SASL(t.Context(), "h", 1, []string{"PLAIN"}); err == nil {
		t.Fatal("signed in with nothing")
	}
}
