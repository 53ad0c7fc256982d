package main

import (
	"bufio"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"meshclerk/cmd/meshclerk/robot"
	"meshclerk/intake/credential"
	"meshclerk/reply/desk"
)

// pageConfig says how people come to the staff page. Without accounts or a
// proxy there is no page, only the health address.
type pageConfig struct {
	Accounts string   `toml:"accounts"` // file of people who may sign in
	Hosts    []string `toml:"hosts"`    // names that the page answers to

	ProxyFrom       []string `toml:"proxy_from"`        // addresses of a web server in front
	ProxySecretFile string   `toml:"proxy_secret_file"` // holds what it proves itself with
	ClientHeader    string   `toml:"client_header"`     // it says there who asks
	ProxyHeader     string   `toml:"proxy_header"`      // it signs people in and names them here
	Admins          []string `toml:"admins"`            // people whom it names who may change reply texts

	CertFile  string `toml:"cert_file"` // with key_file: TLS by ourselves
	KeyFile   string `toml:"key_file"`
	BehindTLS bool   `toml:"behind_tls"` // a proxy in front does TLS

	dir string // where relative names of secret files start
}

// none reports whether there is to be no page.
func (c pageConfig) none() bool { return c.Accounts == "" && c.ProxyHeader == "" }

// access is who may come to the page, and how, with the files that say so read.
func (c pageConfig) access(getenv func(string) string) (desk.Config, error) {
	cfg := desk.Config{Hosts: c.Hosts, Secure: c.CertFile != "" || c.BehindTLS}
	var err error
	if c.Accounts != "" {
		if cfg.Auth.Accounts, err = desk.LoadAccounts(c.Accounts); err != nil {
			return cfg, err
		}
	}
	if c.ProxyHeader != "" {
		cfg.Auth.Named = &desk.Named{Header: c.ProxyHeader, Admins: c.Admins}
	}
	if len(c.ProxyFrom) > 0 || c.ProxySecretFile != "" || c.ClientHeader != "" || c.ProxyHeader != "" {
		cfg.Proxy = &desk.Proxy{From: c.ProxyFrom, Client: c.ClientHeader}
	}
	if c.ProxySecretFile != "" {
		if cfg.Proxy.Secret, err = credential.Read(c.ProxySecretFile, c.dir, getenv); err != nil {
			return cfg, err
		}
	}
	if err := cfg.CheckAccess(); err != nil {
		return cfg, fmt.Errorf("[staff_page] %w", err)
	}
	return cfg, nil
}

// staffPage is the page as it is served, or nothing.
type staffPage struct {
	desk *desk.Desk
	cert *certificate // nil without TLS of our own
}

// certificate loads the page's certificate, or nil where there is none.
func (c pageConfig) certificate(now time.Time) (*certificate, error) {
	switch {
	case (c.CertFile == "") != (c.KeyFile == ""):
		return nil, errors.New("[staff_page] needs both cert_file and key_file, or neither")
	case c.CertFile == "":
		return nil, nil
	}
	return loadCertificate(c.CertFile, c.KeyFile, now)
}

// open makes the page of an installation.
func (c pageConfig) open(conf *config, bot *robot.Robot, getenv func(string) string, log *slog.Logger) (*staffPage, error) {
	cert, err := c.certificate(bot.Now())
	if err != nil {
		return nil, err
	}
	if cert != nil {
		cert.log = log
	}
	if c.none() {
		log.Info("no staff page", "why", "neither accounts nor proxy_header is set under [staff_page]")
		return &staffPage{cert: cert}, nil
	}
	cfg, err := c.access(getenv)
	if err != nil {
		return nil, err
	}
	cfg.TemplatesDir, cfg.RulesDir, cfg.Log = conf.Templates, conf.Rules, log
	if conf.Templates != "" {
		cfg.VersionsDir = filepath.Join(conf.Data, "versions")
	}
	page, err := newStaffPage(bot, cfg)
	if err != nil {
		return nil, err
	}
	page.cert = cert
	return page, nil
}

// newStaffPage is the page of the robot's own office.
func newStaffPage(bot *robot.Robot, cfg desk.Config) (*staffPage, error) {
	cfg.Office = bot.Office
	d, err := desk.New(cfg)
	if err != nil {
		return nil, err
	}
	return &staffPage{desk: d}, nil
}

// serve answers on the listener, with TLS of our own where there is a certificate.
func (p *staffPage) serve(web *http.Server, ln net.Listener) error {
	if p.cert == nil {
		return web.Serve(ln)
	}
	web.TLSConfig = &tls.Config{GetCertificate: p.cert.get, MinVersion: tls.VersionTLS12}
	return web.ServeTLS(ln, "", "")
}

func (p *staffPage) close() {
	if p.desk != nil {
		p.desk.Close()
	}
}

type accountsCmd struct {
	Hash accountsHashCmd `cmd:"" help:"Turn a password, read from standard input, into the line for the accounts file."`
}

type accountsHashCmd struct{}

func (accountsHashCmd) Run(e *env) error {
	line, err := bufio.NewReader(e.in).ReadString('\n')
	line = strings.TrimRight(line, "\r\n")
	if line == "" {
		return wrongUse("give the password on standard input, e.g. from a password manager (%w)", errors.Join(err, errors.New("nothing was read")))
	}
	hash, err := desk.HashPassword(line)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "password = %q\n", hash)
	return err
}
