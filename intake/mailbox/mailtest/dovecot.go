// Package mailtest gives tests real mail servers on loopback: Dovecot with a
// configuration of its own, an SMTP server that behaves as badly as asked,
// and a proxy that cuts or stalls a connection. Nothing outlives the test.
//
// Dovecot (Debian: dovecot-imapd) runs unprivileged, also where the tests run
// as root. Where it is not installed, the test is skipped with a line that
// says so, or fails when MESHCLERK_REQUIRE_SERVERS=1.
//
// Cyrus, Courier, Postfix and Exim, which cannot all be installed beside it, are
// started from unpacked trees (.ci/servers), each in a private copy, as root.
package mailtest

import (
	"bufio"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox"
)

// Server is a running Dovecot with one shared mailbox.
type Server struct {
	Host           string
	Port, TLSPort  int // Port speaks plain and STARTTLS
	User, Password string
	CAFile         string // PEM of the authority that signed its certificate

	t       testing.TB
	dir     string
	options options
	cmd     *exec.Cmd // nil when stopped
	ended   <-chan struct{}
	log     *logFile
	drops   atomic.Int64
}

type options struct {
	separator, prefix string
	hidden            []string
	introspect        string
	acl               bool
	connections       int
}

// Option changes the server.
type Option func(*options)

// Separator sets the hierarchy delimiter; "/" when nothing is said.
func Separator(s string) Option { return func(o *options) { o.separator = s } }

// Prefix puts the folders under a personal namespace, e.g. "INBOX.".
func Prefix(s string) Option { return func(o *options) { o.prefix = s } }

// Hide takes capabilities out of what the server says it can do.
func Hide(caps ...string) Option { return func(o *options) { o.hidden = caps } }

// OAuth lets the server take access tokens that the introspection endpoint
// (RFC 7662) at url finds good, and no passwords.
func OAuth(url string) Option { return func(o *options) { o.introspect = url } }

// ACL gives the server the ACL extension (RFC 4314).
func ACL() Option { return func(o *options) { o.acl = true } }

// Connections bounds how many there may be at once from one user.
func Connections(n int) Option { return func(o *options) { o.connections = n } }

// Missing skips the test for want of a program, or fails it where programs are required.
func Missing(t testing.TB, what, pkg string) {
	t.Helper()
	text := fmt.Sprintf("%s is not installed (Debian: %s); set MESHCLERK_REQUIRE_SERVERS=1 to make this a failure", what, pkg)
	if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
		t.Fatal(text)
	}
	t.Skip(text)
}

func program(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"dovecot", "/usr/sbin/dovecot"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	Missing(t, "dovecot", "dovecot-imapd")
	return ""
}

// Dovecot starts a server that ends with the test.
func Dovecot(t testing.TB, opts ...Option) *Server {
	t.Helper()
	program(t)
	s := &Server{Host: "127.0.0.1", User: "print@larkfield.example", Password: "open-sesame", t: t,
		options: options{separator: "/", connections: 100}}
	for _, o := range opts {
		o(&s.options)
	}
	// Unix sockets have short names, so not t.TempDir.
	dir, err := os.MkdirTemp("", "dv")
	if err != nil {
		t.Fatal(err)
	}
	s.dir = dir
	t.Cleanup(func() { os.RemoveAll(dir) })
	s.CAFile = s.certificate()
	s.log = &logFile{}
	t.Cleanup(func() {
		s.Stop()
		if t.Failed() {
			t.Logf("dovecot said:\n%s", s.log)
		}
	})
	for range 5 { // a port may be taken between our choice and its start
		s.Port, s.TLSPort = FreePort(t), FreePort(t)
		s.write("dovecot.conf", s.config())
		if s.start() {
			return s
		}
	}
	t.Fatalf("dovecot does not start:\n%s", s.log)
	return nil
}

// FreePort returns a port of loopback that nobody listens on.
func FreePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

func (s *Server) write(name, content string) string {
	s.t.Helper()
	path := filepath.Join(s.dir, name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		s.t.Fatal(err)
	}
	return path
}

// start runs the program until it greets.
func (s *Server) start() bool {
	s.t.Helper()
	for _, d := range []string{"run", "home"} {
		if err := os.MkdirAll(filepath.Join(s.dir, d), 0o700); err != nil {
			s.t.Fatal(err)
		}
	}
	s.cmd = exec.Command(program(s.t), "-F", "-c", filepath.Join(s.dir, "dovecot.conf"))
	s.cmd.Stdout, s.cmd.Stderr = s.log, s.log
	if err := unprivileged(s.cmd, s.dir); err != nil {
		s.t.Fatal(err)
	}
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	ended := make(chan struct{})
	cmd := s.cmd
	go func() { cmd.Wait(); close(ended) }()
	s.ended = ended
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); {
		if s.greets() {
			return true
		}
		select {
		case <-ended:
			return false
		case <-time.After(10 * time.Millisecond):
		}
	}
	s.Stop()
	return false
}

// greets reports whether this server answers at its port, and not another that was given
// the same one in between: its greeting (RFC 3501, 7.1) names its folder.
func (s *Server) greets() bool {
	c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", s.Port))
	if err != nil {
		return false
	}
	defer c.Close()
	c.SetReadDeadline(time.Now().Add(5 * time.Second))
	line, err := bufio.NewReader(c).ReadString('\n')
	return err == nil && strings.HasPrefix(line, "* OK") && strings.Contains(line, filepath.Base(s.dir))
}

// Stop ends the server as a power cut does; Start starts it again with the
// same mail and ports.
func (s *Server) Stop() {
	if s.cmd == nil {
		return
	}
	kill(s.cmd.Process)
	<-s.ended
	s.cmd = nil
}

// Start starts a stopped server.
func (s *Server) Start() {
	s.t.Helper()
	if !s.start() {
		s.t.Fatalf("dovecot does not start again:\n%s", s.log)
	}
}

// Config is how to reach it: tls is "tls", "starttls" or "none".
func (s *Server) Config(tls string) mailbox.Config {
	c := mailbox.Config{Host: s.Host, Port: s.Port, TLS: tls, CAFile: s.CAFile, CommandTimeout: 20 * time.Second, Table: "imap"}
	if tls == "tls" {
		c.Port = s.TLSPort
	}
	return c
}

// Source signs in to it.
func (s *Server) Source() credential.Source {
	s.t.Helper()
	return Password(s.t, s.User, s.Password)
}

// Password is a source of that user and password.
func Password(t testing.TB, user, password string) credential.Source {
	t.Helper()
	src, err := credential.New(credential.Config{Kind: "password", User: user, Env: "PW"},
		func(k string) string { return map[string]string{"PW": password}[k] }, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	return src
}

// Dial connects the client under test, in plain.
func (s *Server) Dial() *mailbox.Client {
	s.t.Helper()
	c, err := mailbox.Dial(s.t.Context(), s.Config("none"), s.Source(), slog.New(slog.DiscardHandler))
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { c.Close() })
	return c
}

func (s *Server) maildir() string { return filepath.Join(s.dir, "home", s.User, "Maildir") }

// Deliver drops a message into the inbox as a delivery agent does: written
// aside, then renamed into place. The octets are kept as they are.
func (s *Server) Deliver(raw []byte) {
	s.t.Helper()
	s.ensureMaildir()
	name := fmt.Sprintf("%d.M%dP%d.test", time.Now().Unix(), s.drops.Add(1), os.Getpid())
	tmp, final := filepath.Join(s.maildir(), "tmp", name), filepath.Join(s.maildir(), "new", name)
	err := os.WriteFile(tmp, raw, 0o600)
	if err == nil {
		err = giveAway(tmp)
	}
	if err == nil {
		err = os.Rename(tmp, final)
	}
	if err != nil {
		s.t.Fatal(err)
	}
}

// ensureMaildir lets Dovecot make its folders, which a first sign-in does.
func (s *Server) ensureMaildir() {
	s.t.Helper()
	if _, err := os.Stat(filepath.Join(s.maildir(), "tmp")); err == nil {
		return
	}
	if len(s.options.introspect) > 0 {
		s.t.Fatal("sign in once before delivering: this server takes no password")
	}
	c := s.Client()
	defer c.Close()
	if _, err := c.Select("INBOX", nil).Wait(); err != nil {
		s.t.Fatal(err)
	}
}

// Renumber gives the inbox a new UIDVALIDITY, as a server does after a repair
// or a move to another machine. The messages stay, and get new UIDs.
func (s *Server) Renumber() {
	s.t.Helper()
	s.Stop()
	list := filepath.Join(s.maildir(), "dovecot-uidlist")
	raw, err := os.ReadFile(list)
	if err != nil {
		s.t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(raw), "\n")
	was := regexp.MustCompile(`V(\d+) `).FindStringSubmatch(head)
	if was == nil {
		s.t.Fatalf("no UIDVALIDITY in %q", head)
	}
	var number uint32
	fmt.Sscan(was[1], &number)
	if err := os.WriteFile(list, fmt.Appendf(nil, "3 V%d N1001\n", number+7), 0o600); err != nil {
		s.t.Fatal(err)
	}
	indexes, _ := filepath.Glob(filepath.Join(s.maildir(), "dovecot.index*"))
	for _, f := range indexes {
		os.Remove(f)
	}
	s.Start()
}
