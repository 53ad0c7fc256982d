package credential

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/emersion/go-sasl"
)

// password signs in with a password from a file or the environment.
type password struct {
	config Config
	files  folder
	getenv func(string) string
}

func (p *password) Rejected() {}

func (p *password) Name() string {
	if p.config.Env != "" {
		return fmt.Sprintf("password of %s from $%s", p.config.User, p.config.Env)
	}
	return fmt.Sprintf("password of %s from %s", p.config.User, p.files.path(p.config.File))
}

// Password returns the plain words.
func (p *password) Password() (user, word string, err error) {
	s, err := p.read()
	return p.config.User, string(s), err
}

func (p *password) read() (secret, error) {
	if p.config.Env == "" {
		return p.files.read(p.config.File)
	}
	return oneLine(p.getenv(p.config.Env), "the environment variable "+p.config.Env)
}

func (p *password) SASL(_ context.Context, _ string, _ int, mechanisms []string) (sasl.Client, error) {
	s, err := p.read()
	if err != nil {
		return nil, err
	}
	switch {
	case offers(mechanisms, sasl.Plain):
		return sasl.NewPlainClient("", p.config.User, string(s)), nil
	case offers(mechanisms, sasl.Login):
		return &login{user: p.config.User, password: s}, nil
	case offers(mechanisms, sasl.OAuthBearer), offers(mechanisms, xoauth2Name):
		return nil, wrong("the server no longer takes passwords", `use kind = "oauth-refresh" or "oauth-client"`)
	}
	return nil, wrong(fmt.Sprintf("the server offers no way to sign in with a password that we know (it offers: %s)", list(mechanisms)),
		"ask its operator to allow PLAIN over an encrypted connection")
}

func offers(mechanisms []string, name string) bool {
	return slices.ContainsFunc(mechanisms, func(m string) bool { return strings.EqualFold(m, name) })
}

func list(mechanisms []string) string {
	if len(mechanisms) == 0 {
		return "nothing"
	}
	return strings.Join(mechanisms, ", ")
}
