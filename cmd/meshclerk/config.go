package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"meshclerk/intake/credential"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
	"meshclerk/rules"
	"meshclerk/templates"
)

// config is one installation: where the servers, the data and the rules are.
// It holds no secret; deploy/meshclerk.toml explains every key.
type config struct {
	Data      string     `toml:"data"`
	Rules     string     `toml:"rules"`
	Templates string     `toml:"templates"`
	Listen    string     `toml:"listen"`
	Domain    string     `toml:"domain"`
	IMAP      mailServer `toml:"imap"`
	SMTP      mailServer `toml:"smtp"`
	StaffPage pageConfig `toml:"staff_page"`
}

// mailServer is how one mail server is reached.
type mailServer struct {
	Host       string            `toml:"host"`
	Port       int               `toml:"port"`
	TLS        string            `toml:"tls"` // "tls", "starttls" or, on loopback, "none"
	CAFile     string            `toml:"ca_file"`
	Hello      string            `toml:"hello"`
	Credential credential.Config `toml:"credential"`
}

// loadConfig reads a configuration strictly. Relative paths start at its own folder.
func loadConfig(path string) (*config, error) {
	if path == "" {
		return nil, wrongUse("no configuration is given; use --config FILE or set MESHCLERK_CONFIG (a commented sample is deploy/meshclerk.toml)")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, wrongUse("the configuration %s cannot be read: %w", path, err)
	}
	defer f.Close()
	c := config{Listen: "127.0.0.1:8025"}
	err = toml.NewDecoder(f).DisallowUnknownFields().Decode(&c)
	if err != nil {
		return nil, configFault(path, err)
	}
	c.place(filepath.Dir(path))
	if err := c.check(); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return &c, nil
}

// configFault shows the line and the place of a mistake.
func configFault(path string, err error) error {
	if strict, ok := errors.AsType[*toml.StrictMissingError](err); ok {
		e := strict.Errors[0]
		line, col := e.Position()
		return fmt.Errorf("%s:%d:%d: unknown key %s\n%s", path, line, col, strings.Join(e.Key(), "."), e.String())
	}
	if d, ok := errors.AsType[*toml.DecodeError](err); ok {
		line, col := d.Position()
		return fmt.Errorf("%s:%d:%d: %s\n%s", path, line, col, strings.TrimPrefix(d.Error(), "toml: "), d.String())
	}
	return fmt.Errorf("%s: %w", path, err)
}

// place makes relative paths absolute, from the folder of the configuration.
func (c *config) place(dir string) {
	for _, p := range []*string{&c.Data, &c.Rules, &c.Templates, &c.IMAP.CAFile, &c.SMTP.CAFile, &c.StaffPage.Accounts, &c.StaffPage.CertFile, &c.StaffPage.KeyFile} {
		if *p != "" && !filepath.IsAbs(*p) {
			*p = filepath.Join(dir, *p)
		}
	}
	c.IMAP.Credential.Dir, c.SMTP.Credential.Dir, c.StaffPage.dir = dir, dir, dir
}

func (c *config) check() error {
	switch {
	case c.Data == "":
		return errors.New(`no data folder is given; set data = "/var/lib/meshclerk"`)
	case c.Domain == "" || strings.ContainsAny(c.Domain, " @<>\r\n\t"):
		return errors.New(`no domain for Message-IDs is given; set domain = "library.example"`)
	}
	if _, port, err := net.SplitHostPort(c.Listen); err != nil {
		return fmt.Errorf(`listen = %q is not an address; write it as "127.0.0.1:8025"`, c.Listen)
	} else if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return fmt.Errorf("listen = %q: %s is not a port", c.Listen, port)
	}
	if err := c.IMAP.check("imap"); err != nil {
		return err
	}
	return c.SMTP.check("smtp")
}

func (s mailServer) check(table string) error {
	switch {
	case s.Host == "":
		return fmt.Errorf("[%s] has no host", table)
	case s.Port < 1 || s.Port > 65535:
		return fmt.Errorf("[%s] port = %d is not a port (usual are 993 for imap, 587 or 465 for smtp)", table, s.Port)
	}
	if err := s.Credential.Check(); err != nil {
		return fmt.Errorf("[%s.credential] %w", table, err)
	}
	return nil
}

// house is the part of a command line that says which installation is meant.
type house struct {
	Config string `placeholder:"FILE" default:"${config}" help:"Configuration of the installation (or MESHCLERK_CONFIG)."`
	Data   string `placeholder:"DIR" help:"Data folder, instead of the configuration's."`
}

func (h *house) dataDir() (string, error) {
	if h.Data != "" {
		return h.Data, nil
	}
	if h.Config == "" {
		return "", wrongUse("no data folder is given; use --data DIR for the folder alone, or --config FILE (or MESHCLERK_CONFIG) for the configuration that names it (a commented sample is deploy/meshclerk.toml)")
	}
	c, err := loadConfig(h.Config)
	if err != nil {
		return "", err
	}
	return c.Data, nil
}

func (h *house) rules() (*rules.Rules, error) {
	if h.Config == "" {
		return loadRules("")
	}
	c, err := loadConfig(h.Config)
	if err != nil {
		return nil, err
	}
	return loadRules(c.Rules)
}

// office opens the ledger and the rules for one use case. Close its ledger.
func (h *house) office(e *env) (*casework.Office, error) {
	r, err := h.rules()
	if err != nil {
		return nil, err
	}
	l, err := h.open(e)
	if err != nil {
		return nil, err
	}
	set, err := h.texts(r)
	if err != nil {
		l.Close()
		return nil, err
	}
	return newOffice(l, r, set, "preview.invalid", slog.New(slog.DiscardHandler)), nil
}

// texts are the reply texts and sentences of the installation.
func (h *house) texts(r *rules.Rules) (*templates.Set, error) {
	if h.Config == "" {
		return templates.LoadHouse("", r)
	}
	c, err := loadConfig(h.Config)
	if err != nil {
		return nil, err
	}
	return templates.LoadHouse(c.Templates, r)
}

func newOffice(l *ledger.Ledger, r *rules.Rules, set *templates.Set, domain string, log *slog.Logger) *casework.Office {
	return &casework.Office{Ledger: l, Rules: r, Templates: set, Domain: domain, Log: log, Now: time.Now}
}

// whoOr names who gave a command: as said, else the operator of this machine.
func whoOr(by string) string {
	if by = strings.TrimSpace(by); by != "" {
		return by
	}
	return "operator at the command line"
}
