package main

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync"
	"time"
)

// certificate is the page's own TLS certificate. It is loaded before anything
// listens, and again when its files were renewed.
type certificate struct {
	certFile, keyFile string
	log               *slog.Logger
	mu                sync.Mutex
	now               *tls.Certificate
	checked           time.Time // when the files were looked at last
	changed           time.Time // the newer of the files' times, of what is served
	refused           time.Time // the same, of what was not taken over
}

// renewalCheck is how often a handshake looks for renewed files.
const renewalCheck = time.Minute

// loadCertificate loads and judges both files. The error says which one to mend.
func loadCertificate(certFile, keyFile string, now time.Time) (*certificate, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile, log: slog.New(slog.DiscardHandler), checked: now}
	var err error
	if c.changed, err = c.filesChanged(); err != nil {
		return nil, err
	}
	if c.now, err = readCertificate(certFile, keyFile, now); err != nil {
		return nil, err
	}
	return c, nil
}

func readCertificate(certFile, keyFile string, now time.Time) (*tls.Certificate, error) {
	certPEM, err := readPEM(certFile, "certificate", func(kind string) bool { return kind == "CERTIFICATE" })
	if err != nil {
		return nil, err
	}
	keyPEM, err := readPEM(keyFile, "private key", func(kind string) bool { return strings.HasSuffix(kind, "PRIVATE KEY") })
	if err != nil {
		return nil, err
	}
	pair, err := tls.X509KeyPair(certPEM, keyPEM)
	if err != nil {
		return nil, fmt.Errorf("the key in %s does not belong to the certificate in %s, or one of them is damaged (%w); name the two files that were made together", keyFile, certFile, err)
	}
	const day = "2006-01-02 15:04 MST"
	switch leaf := pair.Leaf; {
	case now.After(leaf.NotAfter):
		return nil, fmt.Errorf("the certificate in %s expired on %s; renew it", certFile, leaf.NotAfter.Format(day))
	case now.Before(leaf.NotBefore):
		return nil, fmt.Errorf("the certificate in %s is good only from %s; look at this machine's clock, or use another certificate", certFile, leaf.NotBefore.Format(day))
	}
	return &pair, nil
}

func readPEM(path, what string, is func(kind string) bool) ([]byte, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the page's file %s cannot be read (%w); mend its name under [staff_page], or let the service's own user read it", path, plainPath(err))
	}
	for rest := raw; ; {
		var b *pem.Block
		if b, rest = pem.Decode(rest); b == nil {
			return nil, fmt.Errorf("the file %s holds no %s in PEM; name the right file under [staff_page]", path, what)
		}
		if is(b.Type) {
			return raw, nil
		}
	}
}

// plainPath leaves the path out of an error whose sentence names it.
func plainPath(err error) error {
	if p, ok := errors.AsType[*os.PathError](err); ok {
		return p.Err
	}
	return err
}

func (c *certificate) filesChanged() (time.Time, error) {
	var last time.Time
	for _, path := range []string{c.certFile, c.keyFile} {
		info, err := os.Stat(path)
		if err != nil {
			return last, fmt.Errorf("the page's file %s cannot be read (%w); mend its name under [staff_page], or let the service's own user read it", path, plainPath(err))
		}
		if info.ModTime().After(last) {
			last = info.ModTime()
		}
	}
	return last, nil
}

// get gives the certificate for a handshake. Renewed files are taken over when
// they are good; until then the one at hand is served.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	if now.Sub(c.checked) < renewalCheck {
		return c.now, nil
	}
	c.checked = now
	changed, err := c.filesChanged()
	if err == nil && changed.Equal(c.changed) {
		return c.now, nil
	}
	var fresh *tls.Certificate
	if err == nil {
		fresh, err = readCertificate(c.certFile, c.keyFile, now)
	}
	if err == nil {
		c.now, c.changed = fresh, changed
		c.log.Info("renewed certificate taken over", "until", fresh.Leaf.NotAfter)
	} else if !changed.Equal(c.refused) {
		c.refused = changed
		c.log.Error("renewed certificate not taken over", "why", err)
	}
	return c.now, nil
}

// leaf is the page's own certificate, without its issuers.
func (c *certificate) leaf() *x509.Certificate { return c.now.Leaf }
