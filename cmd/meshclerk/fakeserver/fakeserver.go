// Package fakeserver is the other side of the demo: a mailbox and a sending server
// inside this very process, on loopback, with nothing to set up. Messages live
// in memory and are gone when it closes.
//
// It is for showing the robot at work, not for measuring it: tests that lean
// on a server's behaviour use Dovecot.
package fakeserver

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"slices"
	"sync"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-imap/v2/imapserver/imapmemserver"
	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// letterBytes bounds one message, either way.
const letterBytes = 100 << 20

// Servers is a running pair, one for each way.
type Servers struct {
	IMAPAddr, SMTPAddr string // host:port on loopback
	User, Password     string // the same for both

	user *imapmemserver.User
	imap *imapserver.Server
	smtp *smtp.Server
	stop func() bool
	door net.Listener // of smtp, which may be closed before it has begun to serve

	once     sync.Once
	closeErr error

	mu   sync.Mutex
	sent []Sent
}

// Sent is one message that left for a patron.
type Sent struct {
	From string
	To   []string
	Raw  []byte
	At   time.Time
}

// Start opens both servers; they end with Close or with the context.
func Start(ctx context.Context) (*Servers, error) {
	p := &Servers{User: "print@larkfield.example", Password: rand.Text()}
	p.user = imapmemserver.NewUser(p.User, p.Password)
	if err := p.user.Create("INBOX", nil); err != nil {
		return nil, err
	}
	quiet := log.New(io.Discard, "", 0)
	p.imap = imapserver.New(&imapserver.Options{
		NewSession: p.session(),
		Caps: imap.CapSet{imap.CapIMAP4rev1: {}, imap.CapNamespace: {}, imap.CapUIDPlus: {}, imap.CapMove: {}, imap.CapESearch: {},
			imap.CapListExtended: {}, imap.CapListStatus: {}},
		Logger: quiet, InsecureAuth: true,
	})
	p.smtp = smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &outgoing{servers: p}, nil }))
	p.smtp.Domain, p.smtp.AllowInsecureAuth, p.smtp.MaxMessageBytes = "localhost", true, letterBytes
	p.smtp.ErrorLog = quiet
	imapListener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("no port of this machine is free for the built-in mailbox: %w", err)
	}
	smtpListener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		imapListener.Close()
		return nil, fmt.Errorf("no port of this machine is free for the built-in sending server: %w", err)
	}
	p.IMAPAddr, p.SMTPAddr = imapListener.Addr().String(), smtpListener.Addr().String()
	p.door = smtpListener
	go p.imap.Serve(imapListener)
	go p.smtp.Serve(smtpListener)
	p.stop = context.AfterFunc(ctx, p.close)
	return p, nil
}

// Close ends both servers; more than once does no harm.
func (p *Servers) Close() error {
	p.stop()
	p.close()
	return p.closeErr
}

func (p *Servers) close() {
	p.once.Do(func() {
		p.door.Close()
		p.closeErr = errors.Join(p.imap.Close(), ignoreClosed(p.smtp.Close()))
	})
}

func ignoreClosed(err error) error {
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

// Deliver puts a letter into the inbox, as the outside world does.
func (p *Servers) Deliver(raw []byte) error {
	_, err := p.user.Append("INBOX", bytes.NewReader(raw), &imap.AppendOptions{Time: time.Now()})
	return err
}

// Delivered gives the messages that left so far, in order.
func (p *Servers) Delivered() []Sent {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.sent)
}

// outgoing is one connection to the sending server.
type outgoing struct {
	servers *Servers
	in      bool
	now     Sent
}

func (o *outgoing) AuthMechanisms() []string { return []string{sasl.Plain} }

func (o *outgoing) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != o.servers.User || password != o.servers.Password {
			return smtp.ErrAuthFailed
		}
		o.in = true
		return nil
	}), nil
}

func (o *outgoing) Reset()        { o.now = Sent{} }
func (o *outgoing) Logout() error { return nil }

func (o *outgoing) Mail(from string, _ *smtp.MailOptions) error {
	if !o.in {
		return smtp.ErrAuthRequired
	}
	o.now = Sent{From: from}
	return nil
}

func (o *outgoing) Rcpt(to string, _ *smtp.RcptOptions) error {
	o.now.To = append(o.now.To, to)
	return nil
}

func (o *outgoing) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	o.now.Raw, o.now.At = raw, time.Now()
	o.servers.mu.Lock()
	defer o.servers.mu.Unlock()
	o.servers.sent = append(o.servers.sent, o.now)
	return nil
}
