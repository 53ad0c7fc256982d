// Package credential is the source of what we prove ourselves with to a mail
// server: a password, or an OAuth 2.0 access token. The rooms that talk IMAP
// and SMTP ask a Source for a SASL exchange (RFC 4422) and never see where
// the secret came from.
//
// A secret comes from a file or an environment variable, never from the
// configuration itself, a flag or a log. It is read anew for each login, so
// that a changed password needs no restart. Nothing here puts a secret into
// an error: errors name the file, and what a token server says is scrubbed.
//
// A token server may answer with a new refresh token and forget the old one.
// The new one is therefore on disk (temporary file, fsync, rename) before the
// access token beside it is used, and it is read from disk, under a lock that
// other processes see, before each refresh: two sources over one file, or a
// second command beside the running service, do not lock each other out.
package credential

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/url"
	"strings"

	"github.com/emersion/go-sasl"

	"meshclerk/intake/job"
)

// Source returns SASL exchanges for one user.
type Source interface {
	// SASL starts an exchange for the server at host and port with one of the
	// mechanisms it offers. The error is an *Error.
	SASL(ctx context.Context, host string, port int, mechanisms []string) (sasl.Client, error)
	// Rejected tells the source that the server refused what SASL last gave, so that a
	// cached token is not offered again.
	Rejected()
	// With says for a person which credential this is, without the secret.
	With() job.Message
}

// Passworder is a Source that also has the plain words, for IMAP servers that
// know only the LOGIN command (RFC 3501, 6.2.3).
type Passworder interface {
	Password() (user, password string, err error)
}

// The kinds of credential that Config.Kind names.
const (
	KindPassword = "password"
	KindClient   = "oauth-client"
	KindRefresh  = "oauth-refresh"
	KindNone     = "none"
)

// Config is the [imap.credential] or [smtp.credential] table.
type Config struct {
	Kind string `toml:"kind"` // "password", "oauth-client", "oauth-refresh"; "none" for a server on this machine that asks nothing
	User string `toml:"user"` // the mailbox we sign in to
	File string `toml:"file"` // holds the password
	Env  string `toml:"env"`  // name of the environment variable that holds it instead

	TokenURL         string   `toml:"token_url"`
	ClientID         string   `toml:"client_id"`
	ClientSecretFile string   `toml:"client_secret_file"` // empty for a public client
	RefreshTokenFile string   `toml:"refresh_token_file"` // rewritten when the host gives a new one
	Scopes           []string `toml:"scopes"`

	Dir string `toml:"-"` // where relative file names start when the service manager hands over no folder
}

// New checks the configuration and makes its source; nothing is read or
// dialled yet. getenv is asked for the environment.
func New(c Config, getenv func(string) string, log *slog.Logger) (Source, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	files := folder{credentials: getenv("CREDENTIALS_DIRECTORY"), dir: c.Dir}
	switch c.Kind {
	case KindNone:
		return nobody{}, nil
	case KindPassword:
		return &password{config: c, files: files, getenv: getenv}, nil
	default:
		return newTokens(c, files, log), nil
	}
}

// Check returns what is wrong with the configuration as it is written.
func (c Config) Check() error {
	if c.Kind == KindNone {
		return nil
	}
	if strings.TrimSpace(c.User) == "" {
		return wrong(job.Say("servers.secret.no-user", nil))
	}
	if strings.ContainsAny(c.User, "\x00\x01\r\n") {
		return wrong(job.Say("servers.secret.user-control", nil))
	}
	switch c.Kind {
	case KindPassword:
		if (c.File == "") == (c.Env == "") {
			return wrong(job.Say("servers.secret.no-place", nil))
		}
		return nil
	case KindClient, KindRefresh:
		return c.checkOAuth()
	}
	return wrong(job.Say("servers.secret.no-such-kind", job.Args{"given": c.Kind}))
}

func (c Config) checkOAuth() error {
	if c.ClientID == "" {
		return wrong(job.Say("servers.secret.no-client", nil))
	}
	if c.Kind == KindClient && c.ClientSecretFile == "" {
		return wrong(job.Say("servers.secret.no-client-secret", nil))
	}
	if c.Kind == KindRefresh && c.RefreshTokenFile == "" {
		return wrong(job.Say("servers.secret.no-refresh", nil))
	}
	u, err := url.Parse(c.TokenURL)
	if err != nil || u.Host == "" || u.User != nil || (u.Scheme != "https" && u.Scheme != "http") {
		return wrong(job.Say("servers.secret.no-address", nil))
	}
	// RFC 6749, 3.2: the token endpoint requires TLS.
	if u.Scheme != "https" && !loopback(u.Hostname()) {
		return wrong(job.Say("servers.secret.in-the-clear", nil))
	}
	return nil
}

func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Error says that we cannot prove who we are, and what to mend. Its cause is free of
// secrets.
type Error struct {
	job.Fault
	Temporary bool // the same may work later with nothing changed
}

func (e *Error) Unwrap() error { return &e.Fault }

func wrong(m job.Message) *Error { return &Error{Fault: job.Fault{Message: m}} }

// passing is an Error that may go away by itself.
func passing(m job.Message, err error) *Error {
	return &Error{Fault: job.Fault{Message: m, Err: err}, Temporary: true}
}

// Temporary reports whether the error may go away by itself.
func Temporary(err error) bool {
	e, ok := errors.AsType[*Error](err)
	return ok && e.Temporary
}

// nobody signs in to a server that asks for nothing.
type nobody struct{}

func (nobody) With() job.Message { return job.Say("servers.with.nothing", nil) }
func (nobody) Rejected()         {}

func (nobody) SASL(context.Context, string, int, []string) (sasl.Client, error) {
	return nil, wrong(job.Say("servers.secret.wanted", nil))
}

// Anonymous reports whether the source signs in at all.
func Anonymous(s Source) bool {
	_, ok := s.(nobody)
	return ok
}
