package mailbox_test

import (
	"context"
	"slices"

	"encoding/json"
	"fmt"
	"github.com/emersion/go-sasl"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
)

var quiet = slog.New(slog.DiscardHandler)

func TestWhatMayGoWrongAtTheDoor(t *testing.T) {
	s := mailtest.Dovecot(t)
	good := s.Config("none")
	closed := mailtest.FreePort(t)
	for name, row := range map[string]struct {
		change    func(*mailbox.Config)
		password  string
		want      string
		temporary bool
	}{
		"wrong password": {func(*mailbox.Config) {}, "wrong",
			`"with":{"key":"servers.with.password-env","args":{"name":"PW","user":"print@larkfield.example"}},"words":"Authentication failed."}`, false},
		"nobody listens": {func(c *mailbox.Config) { c.Port = closed }, s.Password, "servers.nobody-there ", true},
		"unknown authority": {func(c *mailbox.Config) { c.Port, c.TLS, c.CAFile = s.TLSPort, "tls", "" }, s.Password,
			"servers.signed-by-nobody ", false},
		"unknown authority after STARTTLS": {func(c *mailbox.Config) { c.TLS, c.CAFile = "starttls", "" }, s.Password,
			"servers.signed-by-nobody ", false},
		"TLS on the plain port": {func(c *mailbox.Config) { c.TLS = "tls" }, s.Password,
			"servers.not-from-first ", false},
	} {
		t.Run(name, func(t *testing.T) {
			config := good
			row.change(&config)
			_, err := mailbox.Dial(t.Context(), config, mailtest.Password(t, s.User, row.password), quiet)
			if err == nil || !strings.Contains(err.Error(), row.want) || mailbox.Temporary(err) != row.temporary || !strings.Contains(err.Error(), fmt.Sprint(config.Port)) {
				t.Fatalf("%v (temporary %v)", err, mailbox.Temporary(err))
			}
			if strings.Contains(err.Error(), s.Password) {
				t.Fatal("the error holds the password")
			}
		})
	}
}

// scripted is a server that says fixed lines and ignores what it hears.
func scripted(t *testing.T, lines ...string) mailbox.Config {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				for _, line := range lines {
					io.WriteString(c, line+"\r\n")
				}
				io.Copy(io.Discard, c)
			}()
		}
	}()
	return mailbox.Config{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, TLS: "none", CommandTimeout: time.Second}
}

func TestServersThatAreNone(t *testing.T) {
	for name, row := range map[string]struct {
		says []string
		want string
	}{
		"a sending server":    {[]string{"220 mail.example.com ESMTP"}, "servers.no-imap "},
		"a web server":        {[]string{"HTTP/1.1 400 Bad Request", ""}, "servers.no-imap "},
		"goodbye at once":     {[]string{"* BYE too many connections"}, `"words":"too many connections"}`},
		"no mechanisms":       {[]string{"* OK [CAPABILITY IMAP4rev1 LOGINDISABLED] hello"}, "servers.secret.no-way-at-all"},
		"tokens only":         {[]string{"* OK [CAPABILITY IMAP4rev1 AUTH=XOAUTH2] hello"}, "servers.secret.no-passwords"},
		"endless line":        {[]string{"* OK " + strings.Repeat("x", 1<<20)}, "127.0.0.1:"},
		"nonsense after that": {[]string{"* OK hello", "* 4294967296 EXISTS", "*"}, "127.0.0.1:"},
	} {
		t.Run(name, func(t *testing.T) {
			c, err := mailbox.Dial(t.Context(), scripted(t, row.says...), mailtest.Password(t, "u", "p"), quiet)
			if err == nil {
				c.Close()
				t.Fatal("signed in")
			}
			if !strings.Contains(err.Error(), row.want) {
				t.Fatal(err)
			}
		})
	}
}

// introspection is an RFC 7662 endpoint that knows one good token.
func introspection(t *testing.T, good func() string, user string) string {
	t.Helper()
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.ParseForm()
		token := r.Form.Get("token")
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(map[string]any{"active": fmt.Sprint(token == good()), "username": user})
	}))
	t.Cleanup(s.Close)
	return s.URL + "/introspect"
}

// A server that takes tokens only; it refuses the first, as one that was
// withdrawn, and takes the second. Dovecot checks our XOAUTH2 and OAUTHBEARER
// (RFC 7628) as an outside implementation.
func TestSigningInWithTokens(t *testing.T) {
	issued, withdrawn := 0, true
	tokens := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		issued++
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprintf(w, `{"access_token":"token-%d","token_type":"Bearer","expires_in":3600}`, issued)
	}))
	t.Cleanup(tokens.Close)
	good := func() string {
		if withdrawn {
			return "none"
		}
		return fmt.Sprintf("token-%d", issued)
	}
	s := mailtest.Dovecot(t, mailtest.OAuth(introspection(t, good, "print@larkfield.example")))
	secret := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(secret, []byte("app secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	src, err := credential.New(credential.Config{Kind: "oauth-client", User: s.User, TokenURL: tokens.URL, ClientID: "app", ClientSecretFile: secret},
		func(string) string { return "" }, quiet)
	if err != nil {
		t.Fatal(err)
	}
	bearer := onlyMechanism{src, "OAUTHBEARER"}
	if _, err := mailbox.Dial(t.Context(), s.Config("none"), bearer, quiet); err == nil || !strings.Contains(err.Error(), `"with":{"key":"servers.with.token","args":{"url":"`) {
		t.Fatalf("with a withdrawn token: %v", err)
	}
	withdrawn = false
	for _, mech := range []string{"OAUTHBEARER", "XOAUTH2"} {
		c, err := mailbox.Dial(t.Context(), s.Config("none"), onlyMechanism{src, mech}, quiet)
		if err != nil {
			t.Fatalf("%s: %v", mech, err)
		}
		if _, err := c.Status(t.Context(), "INBOX"); err != nil {
			t.Fatal(err)
		}
		c.Close()
	}
	if issued != 2 { // the withdrawn one was not offered again, the second was kept
		t.Fatalf("%d tokens were asked for", issued)
	}
}

// onlyMechanism makes a source choose one mechanism.
type onlyMechanism struct {
	credential.Source
	name string
}

func (o onlyMechanism) SASL(ctx context.Context, host string, port int, mechanisms []string) (sasl.Client, error) {
	if !slices.Contains(mechanisms, o.name) {
		return nil, fmt.Errorf("the server does not offer %s but %v", o.name, mechanisms)
	}
	return o.Source.SASL(ctx, host, port, []string{o.name})
}

// A full server is no wrong password (RFC 5530, LIMIT).
func TestTooManyConnections(t *testing.T) {
	s := mailtest.Dovecot(t, mailtest.Connections(1))
	s.Dial()
	_, err := mailbox.Dial(t.Context(), s.Config("none"), s.Source(), quiet)
	if !mailbox.Temporary(err) || !strings.Contains(err.Error(), `{"key":"servers.mend.fewer"}`) {
		t.Fatal(err)
	}
}
