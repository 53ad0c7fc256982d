package credential

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-sasl"
	"golang.org/x/oauth2"
	"golang.org/x/oauth2/clientcredentials"

	"meshclerk/intake/job"
)

// tokenTimeout bounds one visit to the token server.
const tokenTimeout = 30 * time.Second

// tokens signs in with OAuth 2.0 access tokens, and keeps one until shortly
// before it runs out.
type tokens struct {
	config Config
	files  folder
	log    *slog.Logger
	http   *http.Client

	mu      sync.Mutex
	now     *oauth2.Token // nil when none is known to be good
	unsaved secret        // a new refresh token that could not be stored yet
	refresh *oauth2.Config
	client  *clientcredentials.Config
}

func newTokens(c Config, files folder, log *slog.Logger) *tokens {
	return &tokens{
		config: c, files: files, log: log,
		http: &http.Client{
			Timeout: tokenTimeout,
			// The request carries secrets: it goes where the configuration says and nowhere else.
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		},
		refresh: &oauth2.Config{ClientID: c.ClientID, Scopes: c.Scopes, Endpoint: oauth2.Endpoint{TokenURL: c.TokenURL}},
		client:  &clientcredentials.Config{ClientID: c.ClientID, Scopes: c.Scopes, TokenURL: c.TokenURL},
	}
}

func (t *tokens) With() job.Message {
	return job.Say("servers.with.token", job.Args{"user": t.config.User, "url": t.config.TokenURL})
}

// Rejected forgets the access token; the next exchange asks for a new one.
func (t *tokens) Rejected() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.now = nil
}

func (t *tokens) SASL(ctx context.Context, host string, port int, mechanisms []string) (sasl.Client, error) {
	useBearer := offers(mechanisms, sasl.OAuthBearer)
	switch {
	case useBearer, offers(mechanisms, xoauth2Name):
	case len(mechanisms) == 0:
		return nil, wrong(job.Say("servers.secret.no-tokens-at-all", nil))
	default:
		return nil, wrong(job.Say("servers.secret.no-tokens", job.Args{"offers": mechanisms}))
	}
	token, err := t.access(ctx)
	if err != nil {
		return nil, err
	}
	if useBearer {
		return bearer{sasl.NewOAuthBearerClient(&sasl.OAuthBearerOptions{
			Username: t.config.User, Token: string(token), Host: host, Port: port,
		})}, nil
	}
	return &xoauth2{user: t.config.User, token: token}, nil
}

// access returns a token that is good for a while.
func (t *tokens) access(ctx context.Context) (secret, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.now.Valid() {
		return secret(t.now.AccessToken), nil
	}
	ctx, cancel := context.WithTimeout(context.WithValue(ctx, oauth2.HTTPClient, t.http), tokenTimeout)
	defer cancel()
	fetch := t.fromClient
	if t.config.Kind == KindRefresh {
		fetch = t.fromRefresh
	}
	token, err := fetch(ctx)
	if err != nil {
		return "", err
	}
	t.now = token
	return secret(token.AccessToken), nil
}

func (t *tokens) clientSecret() (secret, oauth2.AuthStyle, error) {
	if t.config.ClientSecretFile == "" {
		return "", oauth2.AuthStyleInParams, nil // RFC 6749, 2.3.1: a public client only names itself
	}
	s, err := t.files.read(t.config.ClientSecretFile)
	return s, oauth2.AuthStyleAutoDetect, err
}

// fromClient is the client credentials grant (RFC 6749, 4.4).
func (t *tokens) fromClient(ctx context.Context) (*oauth2.Token, error) {
	word, style, err := t.clientSecret()
	if err != nil {
		return nil, err
	}
	t.client.ClientSecret, t.client.AuthStyle = string(word), style
	token, err := t.client.Token(ctx)
	if err != nil {
		return nil, t.refused(err, word)
	}
	return token, nil
}

// fromRefresh is the refresh grant (RFC 6749, 6). The refresh token is read,
// used and replaced under one lock, since the server may take each only once.
func (t *tokens) fromRefresh(ctx context.Context) (*oauth2.Token, error) {
	word, style, err := t.clientSecret()
	if err != nil {
		return nil, err
	}
	path := t.files.path(t.config.RefreshTokenFile)
	unlock, err := lock(ctx, path)
	if err != nil {
		return nil, passing(job.Say("servers.secret.in-use", job.Args{"file": path}), err)
	}
	defer unlock()
	old, err := t.refreshToken()
	if err != nil {
		return nil, err
	}
	t.refresh.ClientSecret, t.refresh.Endpoint.AuthStyle = string(word), style
	token, err := t.refresh.TokenSource(ctx, &oauth2.Token{RefreshToken: string(old)}).Token()
	if err != nil {
		return nil, t.refused(err, word, old)
	}
	if next := secret(token.RefreshToken); next != "" && next != old || t.unsaved != "" {
		t.store(path, next)
	}
	return token, nil
}

func (t *tokens) refreshToken() (secret, error) {
	if t.unsaved != "" {
		return t.unsaved, nil
	}
	return t.files.read(t.config.RefreshTokenFile)
}

// store keeps the new refresh token. When the disk refuses, the token goes on
// in memory and is stored at the next refresh: to drop it would lock us out.
func (t *tokens) store(path string, next secret) {
	if err := replaceFile(path, next); err != nil {
		t.unsaved = next
		t.log.Error("new refresh token not stored; after a restart we may be locked out: make the file writable", "file", path, "cause", err)
		return
	}
	t.unsaved = ""
	t.log.Info("new refresh token stored", "file", path)
}

// refused turns the token server's answer into an error without secrets.
func (t *tokens) refused(err error, secrets ...secret) *Error {
	answer, ok := errors.AsType[*oauth2.RetrieveError](err)
	if !ok {
		return passing(job.Say("servers.secret.token-silent", job.Args{"url": t.config.TokenURL}), errors.New(scrub(err.Error(), secrets)))
	}
	status := answer.Response.StatusCode
	words := short(scrub(strings.TrimSpace(answer.ErrorCode+" "+answer.ErrorDescription), secrets))
	e := &Error{Temporary: status >= 500 || status == http.StatusTooManyRequests || status == http.StatusRequestTimeout}
	todo := mend(answer.ErrorCode)
	if e.Temporary {
		todo = job.Say("servers.secret.try-later", nil)
	}
	e.Fault = job.Fault{Err: fmt.Errorf("status %d: %s", status, words), Message: job.Say("servers.secret.token-refused",
		job.Args{"url": t.config.TokenURL, "status": strconv.Itoa(status), "words": words, "mend": todo})}
	return e
}

// mend returns what the error codes of RFC 6749, 5.2 ask for.
func mend(code string) job.Message {
	switch code {
	case "invalid_grant":
		return job.Say("servers.secret.invalid-grant", nil)
	case "invalid_client", "unauthorized_client":
		return job.Say("servers.secret.invalid-client", nil)
	case "invalid_scope":
		return job.Say("servers.secret.invalid-scope", nil)
	}
	return job.Say("servers.secret.handbook", nil)
}

func scrub(s string, secrets []secret) string {
	for _, w := range secrets {
		if w != "" {
			s = strings.ReplaceAll(s, string(w), "***")
		}
	}
	return s
}

func short(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if len(s) > 200 {
		s = strings.ToValidUTF8(s[:200], "") + "…"
	}
	return s
}
