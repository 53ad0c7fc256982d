package mailtest

import (
	"crypto/tls"
	"errors"
	"io"
	"log"
	"maps"
	"net"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// Behaviour is how the sending server treats a message.
type Behaviour int

// The behaviours.
const (
	Accept         Behaviour = iota
	RefuseSender             // 550 to MAIL
	RefuseRcpt               // 550 to RCPT
	RefuseLast               // 550 to the last of several RCPT only
	BusyRcpt                 // 451 to RCPT
	RefuseData               // 554 after the final dot
	BusyData                 // 451 after the final dot
	CutBeforeDot             // hangs up after the first octets of the message
	CutAfterDot              // takes the message and hangs up without an answer
	SilentAfterDot           // takes the message and never answers
	SlowAnswer               // takes the message and answers a little later
	Silent                   // never says a word
	BusyGreeting             // 421 instead of a greeting
)

// Delivery is a message that the server took.
type Delivery struct {
	From       string
	To         []string
	Raw        []byte
	Size       int64 // as announced in MAIL (RFC 1870); 0 if it was not
	UTF8, Bit8 bool  // SMTPUTF8 and BODY=8BITMIME were asked for
	TLS        bool
	User       string
}

// Sink is an SMTP server that keeps what it gets.
type Sink struct {
	Host           string
	Port           int
	User, Password string
	CAFile         string // PEM, when it encrypts

	server *smtp.Server
	mu     sync.Mutex
	behave Behaviour
	taken  []Delivery
	onData func()
	mechs  map[string]func(*session) sasl.Server
	quit   chan struct{}
}

// SMTPOption changes the server.
type SMTPOption func(*smtp.Server, *Sink)

// MaxBytes sets the size limit that the server announces.
func MaxBytes(n int64) SMTPOption {
	return func(s *smtp.Server, _ *Sink) { s.MaxMessageBytes = n }
}

// UTF8 lets the server take internationalised addresses (RFC 6531).
func UTF8() SMTPOption { return func(s *smtp.Server, _ *Sink) { s.EnableSMTPUTF8 = true } }

// Encrypt gives the server a certificate, and with it STARTTLS.
func Encrypt(t testing.TB) SMTPOption {
	cert := NewCertificate(t)
	return func(s *smtp.Server, k *Sink) {
		s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert.TLS}}
		s.AllowInsecureAuth = false
		k.CAFile = filepath.Join(t.TempDir(), "ca.pem")
		if err := os.WriteFile(k.CAFile, cert.Cert, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// SMTP starts a server that ends with the test.
func SMTP(t testing.TB, b Behaviour, opts ...SMTPOption) *Sink {
	t.Helper()
	return startSMTP(t, b, false, opts)
}

// SMTPS starts a server that encrypts from the first byte.
func SMTPS(t testing.TB, b Behaviour, opts ...SMTPOption) *Sink {
	t.Helper()
	return startSMTP(t, b, true, append(opts, Encrypt(t)))
}

func startSMTP(t testing.TB, b Behaviour, implicit bool, opts []SMTPOption) *Sink {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	k := &Sink{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, User: "print@larkfield.example", Password: "open sesame",
		behave: b, quit: make(chan struct{}), mechs: map[string]func(*session) sasl.Server{sasl.Plain: plain}}
	k.server = smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		if k.behaviour() == BusyGreeting {
			return nil, &smtp.SMTPError{Code: 421, EnhancedCode: smtp.EnhancedCode{4, 3, 2}, Message: "try again later"}
		}
		return &session{sink: k, conn: c}, nil
	}))
	k.server.Domain, k.server.AllowInsecureAuth = "sink.example", true
	k.server.ErrorLog = log.New(io.Discard, "", 0)
	for _, o := range opts {
		o(k.server, k)
	}
	if implicit {
		l = tls.NewListener(l, k.server.TLSConfig)
	}
	t.Cleanup(func() { close(k.quit); l.Close(); k.server.Close() })
	go k.server.Serve(&mute{l, k})
	return k
}

// mute holds back connections of a silent server.
type mute struct {
	net.Listener
	sink *Sink
}

func (m *mute) Accept() (net.Conn, error) {
	for {
		c, err := m.Listener.Accept()
		if err != nil || m.sink.behaviour() != Silent {
			return c, err
		}
		go func() { <-m.sink.quit; c.Close() }()
	}
}

func (k *Sink) behaviour() Behaviour { k.mu.Lock(); defer k.mu.Unlock(); return k.behave }

// Behave changes how the next messages are treated.
func (k *Sink) Behave(b Behaviour) { k.mu.Lock(); defer k.mu.Unlock(); k.behave = b }

// OnData calls f whenever a message has been read to its final dot.
func (k *Sink) OnData(f func()) { k.mu.Lock(); defer k.mu.Unlock(); k.onData = f }

// Delivered returns what the server took, in order.
func (k *Sink) Delivered() []Delivery { k.mu.Lock(); defer k.mu.Unlock(); return slices.Clone(k.taken) }

// Await waits until n messages are there.
func (k *Sink) Await(t testing.TB, n int) []Delivery {
	t.Helper()
	for range 1000 {
		if d := k.Delivered(); len(d) >= n {
			return d
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("%d messages arrived, not %d", len(k.Delivered()), n)
	return nil
}

type session struct {
	sink *Sink
	conn *smtp.Conn
	now  Delivery
}

func (s *session) AuthMechanisms() []string {
	return slices.Sorted(maps.Keys(s.sink.mechs))
}

func (s *session) Auth(mech string) (sasl.Server, error) {
	if f := s.sink.mechs[mech]; f != nil {
		return f(s), nil
	}
	return nil, smtp.ErrAuthUnknownMechanism
}

func plain(s *session) sasl.Server {
	return sasl.NewPlainServer(func(_, user, password string) error { return s.check(user, password) })
}

func (s *session) check(user, password string) error {
	if user != s.sink.User || password != s.sink.Password {
		return smtp.ErrAuthFailed
	}
	s.now.User = user
	return nil
}

func (s *session) Reset()        { s.now = Delivery{User: s.now.User} }
func (s *session) Logout() error { return nil }

func (s *session) Mail(from string, o *smtp.MailOptions) error {
	if s.sink.behaviour() == RefuseSender {
		return refusal(550, 7, 1, "sender not allowed")
	}
	s.now.From, s.now.Size, s.now.UTF8, s.now.Bit8 = from, o.Size, o.UTF8, o.Body == smtp.Body8BitMIME
	_, s.now.TLS = s.conn.TLSConnectionState()
	return nil
}

func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	switch s.sink.behaviour() {
	case RefuseRcpt:
		return refusal(550, 1, 1, "no such mailbox here")
	case RefuseLast:
		if len(s.now.To) > 0 {
			return refusal(550, 1, 1, "no such mailbox here")
		}
	case BusyRcpt:
		return refusal(451, 3, 0, "greylisted, come back")
	}
	s.now.To = append(s.now.To, to)
	return nil
}

func refusal(code, class, detail int, words string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, class, detail}, Message: words}
}

var errCut = errors.New("cut by the test")

func (s *session) Data(r io.Reader) error {
	b := s.sink.behaviour()
	switch b {
	case CutBeforeDot:
		io.ReadFull(r, make([]byte, 64))
		s.conn.Close()
		return errCut
	}
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	s.sink.mu.Lock()
	onData := s.sink.onData
	s.sink.mu.Unlock()
	if onData != nil {
		onData()
	}
	switch b {
	case RefuseData:
		return refusal(554, 7, 1, "content not wanted")
	case BusyData:
		return refusal(451, 3, 0, "disk full for now")
	}
	s.keep(raw)
	switch b {
	case CutAfterDot:
		s.conn.Close()
		return errCut
	case SlowAnswer:
		time.Sleep(100 * time.Millisecond)
	case SilentAfterDot:
		<-s.sink.quit
		return errCut
	}
	return nil
}

func (s *session) keep(raw []byte) {
	s.sink.mu.Lock()
	defer s.sink.mu.Unlock()
	d := s.now
	d.Raw = raw
	s.sink.taken = append(s.sink.taken, d)
}
