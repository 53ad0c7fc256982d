package wire

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"syscall"
)

// Error is what went wrong with a mail server, for two readers: Error gives
// the sentence for a person, Unwrap the cause for the log.
type Error struct {
	Server    string // host:port
	Folder    string // where it happened, or empty
	Text      string // what happened, and where
	Mend      string // what to do
	Temporary bool   // the same may work later with nothing changed by us
	Err       error  // the cause; may be nil
}

func (e *Error) Error() string {
	if e.Mend == "" {
		return e.Text
	}
	return e.Text + "; " + e.Mend
}

func (e *Error) Unwrap() error { return e.Err }

// Temporary reports whether the error may go away by itself.
func Temporary(err error) bool {
	e, ok := errors.AsType[*Error](err)
	return ok && e.Temporary
}

func (c Config) fault(text, mend string, temporary bool, err error) *Error {
	return &Error{Server: c.Server(), Text: text, Mend: mend, Temporary: temporary, Err: err}
}

// Explain turns a failure of the connection into an Error; doing is what we were
// at, as in "the mail server X does not answer while signing in".
func (c Config) Explain(ctx context.Context, doing string, err error) *Error {
	if e, ok := errors.AsType[*Error](err); ok {
		return e
	}
	if ctx.Err() != nil && errors.Is(context.Cause(ctx), context.Canceled) {
		return c.fault(fmt.Sprintf("stopped while %s (mail server %s)", doing, c.Server()), "", true, context.Canceled)
	}
	if e := c.explainTLS(err); e != nil {
		return e
	}
	under := fmt.Sprintf("check host and port under [%s]", c.Table)
	dns, isDNS := errors.AsType[*net.DNSError](err)
	switch {
	case isDNS && dns.IsNotFound:
		return c.fault(fmt.Sprintf("no machine is called %s", c.Host), fmt.Sprintf("mend host under [%s]", c.Table), false, err)
	case isDNS:
		return c.fault(fmt.Sprintf("the name %s cannot be looked up now", c.Host), "check this machine's network", true, err)
	case errors.Is(err, syscall.ECONNREFUSED):
		return c.fault(fmt.Sprintf("the mail server %s refuses the connection", c.Server()), under+", and that the server runs", true, err)
	case errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTUNREACH):
		return c.fault(fmt.Sprintf("there is no way to the mail server %s", c.Server()), "check this machine's network", true, err)
	case timedOut(err):
		return c.Silence(doing, err)
	}
	return c.Cut(doing, err)
}

// Silence is the Error of a server that does not answer.
func (c Config) Silence(doing string, err error) *Error {
	return c.fault(fmt.Sprintf("the mail server %s does not answer while %s (waited %v)", c.Server(), doing, c.Timeout()),
		fmt.Sprintf("check host and port under [%s], and the network between", c.Table), true, err)
}

// Cut is the Error of a connection that broke.
func (c Config) Cut(doing string, err error) *Error {
	return c.fault(fmt.Sprintf("the connection to the mail server %s was cut while %s", c.Server(), doing),
		"we try again by ourselves; check the network if it goes on", true, err)
}

func timedOut(err error) bool {
	e, ok := errors.AsType[net.Error](err)
	return errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, context.DeadlineExceeded) || ok && e.Timeout()
}

// explainTLS returns what is wrong with a certificate, or nil if nothing is.
func (c Config) explainTLS(err error) *Error {
	if _, ok := errors.AsType[x509.UnknownAuthorityError](err); ok {
		return c.fault(fmt.Sprintf("the certificate of the mail server %s is signed by nobody we know", c.Server()),
			fmt.Sprintf("name the signing authority in ca_file under [%s]", c.Table), false, err)
	}
	if e, ok := errors.AsType[x509.HostnameError](err); ok {
		return c.fault(fmt.Sprintf("the certificate of the mail server %s is made out to another name (%s)", c.Server(), names(e.Certificate)),
			fmt.Sprintf("write that name as host under [%s], if it is the right server", c.Table), false, err)
	}
	if e, ok := errors.AsType[x509.CertificateInvalidError](err); ok {
		if e.Reason == x509.Expired {
			return c.fault(fmt.Sprintf("the certificate of the mail server %s has run out, or is not valid yet", c.Server()),
				"check this machine's clock, and tell the server's operator", false, err)
		}
		return c.fault(fmt.Sprintf("the certificate of the mail server %s is not valid", c.Server()), "tell the server's operator", false, err)
	}
	if _, ok := errors.AsType[tls.RecordHeaderError](err); ok {
		return c.fault(fmt.Sprintf("the mail server %s does not encrypt from the first byte", c.Server()),
			fmt.Sprintf(`set tls = "starttls" under [%s], or mend port`, c.Table), false, err)
	}
	if alert, ok := errors.AsType[tls.AlertError](err); ok {
		return c.fault(fmt.Sprintf("the mail server %s and we agree on no encryption (%v)", c.Server(), alert), "tell the server's operator", false, err)
	}
	return nil
}

func names(cert *x509.Certificate) string {
	all := cert.DNSNames
	for _, ip := range cert.IPAddresses {
		all = append(all, ip.String())
	}
	switch {
	case len(all) == 0:
		return "no name at all"
	case len(all) > 3:
		return strings.Join(all[:3], ", ") + ", …"
	}
	return strings.Join(all, ", ")
}

// IsEOF reports whether the other side hung up.
func IsEOF(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}
