// Package wire is the connection under IMAP and SMTP: where a mail server is,
// that it is spoken to encrypted (or on this very machine), and that no read
// and no write waits for ever.
//
// A Conn is armed while a command is in hand. Armed, every read and every
// write must get on within the timeout, so that a silent server is noticed
// while a slow one may take its time over a large letter. Between commands a
// connection may rest. Deadlines that a protocol library sets by itself are
// ignored: it counts whole letters, not progress.
package wire

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"strconv"
	"time"

	"meshclerk/intake/job"
)

// The ways of encryption that Config.TLS names.
const (
	TLS      = "tls"      // from the first byte
	StartTLS = "starttls" // after the greeting
	None     = "none"     // loopback only
)

// DefaultTimeout is how long a server may be silent when nothing is said.
const DefaultTimeout = 60 * time.Second

// Config says where a mail server is.
type Config struct {
	Host           string
	Port           int
	TLS            string        // "tls", "starttls" or "none"; empty is "tls"
	CAFile         string        // PEM of an authority of the house; empty for the system's
	CommandTimeout time.Duration // longest silence; 0 is DefaultTimeout
	Table          string        // the configuration's table, for hints: "imap" or "smtp"
}

// Server is the address as a person writes it.
func (c Config) Server() string { return net.JoinHostPort(c.Host, strconv.Itoa(c.Port)) }

// Timeout is the longest silence.
func (c Config) Timeout() time.Duration {
	if c.CommandTimeout <= 0 {
		return DefaultTimeout
	}
	return c.CommandTimeout
}

// Check returns what is wrong with the configuration as it is written.
func (c Config) Check() error {
	switch {
	case c.Host == "":
		return c.Fault(job.Say("servers.no-host", job.Args{"table": c.Table}), nil)
	case c.Port < 1 || c.Port > 65535:
		return c.Fault(job.Say("servers.no-port", job.Args{"port": strconv.Itoa(c.Port), "host": c.Host, "table": c.Table}), nil)
	case c.TLS != "" && c.TLS != TLS && c.TLS != StartTLS && c.TLS != None:
		return c.Fault(job.Say("servers.no-such-tls", job.Args{"given": c.TLS, "table": c.Table}), nil)
	case c.TLS == None && net.ParseIP(c.Host) != nil && !net.ParseIP(c.Host).IsLoopback():
		return c.notLoopback()
	}
	return nil
}

func (c Config) notLoopback() error {
	return c.mend("servers.in-the-clear", nil)
}

// ClientTLS is the TLS configuration for this server.
func (c Config) ClientTLS() (*tls.Config, error) {
	out := &tls.Config{ServerName: c.Host, MinVersion: tls.VersionTLS12}
	if c.CAFile == "" {
		return out, nil
	}
	raw, err := os.ReadFile(c.CAFile)
	if err != nil {
		return nil, c.Fault(job.Say("servers.authority-unread", job.Args{"file": c.CAFile, "table": c.Table}), err)
	}
	out.RootCAs = x509.NewCertPool()
	if !out.RootCAs.AppendCertsFromPEM(raw) {
		return nil, c.Fault(job.Say("servers.authority-none", job.Args{"file": c.CAFile, "table": c.Table}), nil)
	}
	return out, nil
}

// Dial connects. With "tls" the second value is the encrypted connection over
// the first; else both are the same, and the caller asks for STARTTLS. The
// connection comes armed.
func Dial(ctx context.Context, c Config) (*Conn, net.Conn, error) {
	if err := c.Check(); err != nil {
		return nil, nil, err
	}
	config, err := c.ClientTLS()
	if err != nil {
		return nil, nil, err
	}
	dialer := net.Dialer{Timeout: c.Timeout()}
	plain, err := dialer.DialContext(ctx, "tcp", c.Server())
	if err != nil {
		return nil, nil, c.Explain(ctx, job.Say("servers.doing.connecting", nil), err)
	}
	if addr, ok := plain.RemoteAddr().(*net.TCPAddr); c.TLS == None && (!ok || !addr.IP.IsLoopback()) {
		plain.Close()
		return nil, nil, c.notLoopback()
	}
	raw := &Conn{Conn: plain, timeout: c.Timeout()}
	raw.Arm(0)
	if c.TLS == None || c.TLS == StartTLS {
		return raw, raw, nil
	}
	stop := context.AfterFunc(ctx, func() { raw.Close() })
	defer stop()
	secure := tls.Client(raw, config)
	if err := secure.HandshakeContext(ctx); err != nil {
		raw.Close()
		return nil, nil, c.Explain(ctx, job.Say("servers.doing.connecting", nil), err)
	}
	return raw, secure, nil
}
