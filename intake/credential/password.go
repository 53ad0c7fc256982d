package credential

import (
	"context"
	"slices"
	"strings"

	"github.com/emersion/go-sasl"

	"meshclerk/intake/job"
)

// password signs in with a password from a file or the environment.
type password struct {
	config Config
	files  folder
	getenv func(string) string
}

func (p *password) Rejected() {}

func (p *password) With() job.Message {
	if p.config.Env != "" {
		return job.Say("servers.with.password-env", job.Args{"user": p.config.User, "name": p.config.Env})
	}
	return job.Say("servers.with.password-file", job.Args{"user": p.config.User, "file": p.files.path(p.config.File)})
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
	return oneLine(p.getenv(p.config.Env), job.Say("servers.secret.in-env", job.Args{"name": p.config.Env}))
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
		return nil, wrong(job.Say("servers.secret.no-passwords", nil))
	case len(mechanisms) == 0:
		return nil, wrong(job.Say("servers.secret.no-way-at-all", nil))
	}
	return nil, wrong(job.Say("servers.secret.no-way", job.Args{"offers": mechanisms}))
}

func offers(mechanisms []string, name string) bool {
	return slices.ContainsFunc(mechanisms, func(m string) bool { return strings.EqualFold(m, name) })
}
