package wire

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"os"
	"slices"
	"strings"
	"syscall"

	"meshclerk/intake/job"
)

// Error is what went wrong with a mail server: a fault that a person can understand
// and mend, with its cause for the log.
type Error struct {
	job.Fault
	Server    string // host:port
	Folder    string // where it happened, or empty
	Temporary bool   // the same may work later with nothing changed by us
}

func (e *Error) Unwrap() error { return &e.Fault }

// Temporary reports whether the error may go away by itself.
func Temporary(err error) bool {
	e, ok := errors.AsType[*Error](err)
	return ok && e.Temporary
}

// Fault is an Error of this server that stays until somebody mends it.
func (c Config) Fault(m job.Message, err error) *Error {
	return &Error{Fault: job.Fault{Message: m, Err: err}, Server: c.Server()}
}

// Passing is an Error of this server that may go away by itself.
func (c Config) Passing(m job.Message, err error) *Error {
	e := c.Fault(m, err)
	e.Temporary = true
	return e
}

// mend is a Fault about this server, by a sentence that names its table too.
func (c Config) mend(key string, err error) *Error {
	return c.Fault(job.Say(key, job.Args{"server": c.Server(), "table": c.Table}), err)
}

// Explain turns a failure of the connection into an Error; doing is what we were
// at, as in "the mail server X does not answer while signing in".
func (c Config) Explain(ctx context.Context, doing job.Message, err error) *Error {
	if e, ok := errors.AsType[*Error](err); ok {
		return e
	}
	if ctx.Err() != nil && errors.Is(context.Cause(ctx), context.Canceled) {
		return c.Passing(job.Say("servers.stopped", job.Args{"doing": doing, "server": c.Server()}), context.Canceled)
	}
	if e := c.explainTLS(err); e != nil {
		return e
	}
	dns, isDNS := errors.AsType[*net.DNSError](err)
	switch {
	case isDNS && dns.IsNotFound:
		return c.Fault(job.Say("servers.no-machine", job.Args{"host": c.Host, "table": c.Table}), err)
	case isDNS:
		return c.Passing(job.Say("servers.no-look-up", job.Args{"host": c.Host}), err)
	case errors.Is(err, syscall.ECONNREFUSED):
		return c.Passing(job.Say("servers.nobody-there", job.Args{"server": c.Server(), "table": c.Table}), err)
	case errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTUNREACH):
		return c.Passing(job.Say("servers.no-way", job.Args{"server": c.Server()}), err)
	case timedOut(err):
		return c.Silence(doing, err)
	}
	return c.Cut(doing, err)
}

// Silence is the Error of a server that does not answer.
func (c Config) Silence(doing job.Message, err error) *Error {
	return c.Passing(job.Say("servers.silent", job.Args{"server": c.Server(), "doing": doing, "waited": c.Timeout().Seconds(), "table": c.Table}), err)
}

// Cut is the Error of a connection that broke.
func (c Config) Cut(doing job.Message, err error) *Error {
	return c.Passing(job.Say("servers.cut", job.Args{"server": c.Server(), "doing": doing}), err)
}

func timedOut(err error) bool {
	e, ok := errors.AsType[net.Error](err)
	return errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, context.DeadlineExceeded) || ok && e.Timeout()
}

// explainTLS returns what is wrong with a certificate, or nil if nothing is.
func (c Config) explainTLS(err error) *Error {
	if _, ok := errors.AsType[x509.UnknownAuthorityError](err); ok {
		return c.mend("servers.signed-by-nobody", err)
	}
	if e, ok := errors.AsType[x509.HostnameError](err); ok {
		return c.otherName(e, err)
	}
	if e, ok := errors.AsType[x509.CertificateInvalidError](err); ok {
		if e.Reason == x509.Expired {
			return c.Fault(job.Say("servers.out-of-date", job.Args{"server": c.Server()}), err)
		}
		return c.Fault(job.Say("servers.not-valid", job.Args{"server": c.Server()}), err)
	}
	if _, ok := errors.AsType[tls.RecordHeaderError](err); ok {
		return c.mend("servers.not-from-first", err)
	}
	if alert, ok := errors.AsType[tls.AlertError](err); ok {
		return c.Fault(job.Say("servers.no-common", job.Args{"server": c.Server(), "words": alert.Error()}), err)
	}
	return nil
}

// otherName says to which names a certificate is made out instead.
func (c Config) otherName(e x509.HostnameError, err error) *Error {
	all := slices.Clone(e.Certificate.DNSNames)
	for _, ip := range e.Certificate.IPAddresses {
		all = append(all, ip.String())
	}
	if len(all) == 0 {
		return c.Fault(job.Say("servers.without-name", job.Args{"server": c.Server()}), err)
	}
	names := strings.Join(all[:min(len(all), 3)], ", ")
	if len(all) > 3 {
		names += ", …"
	}
	return c.Fault(job.Say("servers.other-name", job.Args{"server": c.Server(), "names": names, "table": c.Table}), err)
}

// IsEOF reports whether the other side hung up.
func IsEOF(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}
