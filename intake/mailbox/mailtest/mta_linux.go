package mailtest

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox"
)

// MTA is a sending server that asks for STARTTLS and a password, and delivers
// everything into one maildir.
type MTA struct {
	Port           int
	User, Password string
	CAFile         string

	t     testing.TB
	tree  *tree
	queue []string // where what was taken lies until it is delivered, in its order
}

// outgoing is the maildir that everything is delivered into.
const outgoing = "var/outgoing"

// Config is how to reach it.
func (m *MTA) Config() mailbox.Config {
	return mailbox.Config{Host: "localhost", Port: m.Port, TLS: "starttls", CAFile: m.CAFile, CommandTimeout: 20 * time.Second, Table: "smtp"}
}

// Source signs in to it.
func (m *MTA) Source() credential.Source {
	m.t.Helper()
	return Password(m.t, m.User, m.Password)
}

// Await waits until n messages were delivered and returns them, oldest first, as
// they lie there, with CRLF.
func (m *MTA) Await(n int) [][]byte {
	m.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		got := m.delivered()
		switch {
		case len(got) == n:
			return got
		case len(got) > n || time.Now().After(deadline):
			m.t.Fatalf("%d messages were delivered, want %d\n%s", len(got), n, m.tree.log)
		}
	}
}

// Delivered returns all that the server took until now, oldest first. It says 250 before
// it delivers, so what is still on its way is waited for.
func (m *MTA) Delivered() [][]byte {
	m.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); m.onItsWay(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			m.t.Fatalf("a message that was taken is never delivered\n%s", m.tree.log)
		}
	}
	return m.delivered()
}

// onItsWay reports whether the queue holds a message.
func (m *MTA) onItsWay() bool {
	for _, dir := range m.queue {
		held := false
		filepath.WalkDir(filepath.Join(m.tree.dir, dir), func(_ string, e fs.DirEntry, err error) error {
			held = held || err == nil && !e.IsDir() // one that is gone meanwhile has moved on
			return nil
		})
		if held {
			return true
		}
	}
	return false
}

func (m *MTA) delivered() [][]byte {
	files, err := filepath.Glob(filepath.Join(m.tree.dir, outgoing, "new", "*"))
	if err != nil {
		m.t.Fatal(err)
	}
	slices.SortFunc(files, func(a, b string) int { return modified(a).Compare(modified(b)) })
	var out [][]byte
	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			m.t.Fatal(err)
		}
		out = append(out, bytes.ReplaceAll(raw, []byte("\n"), []byte("\r\n")))
	}
	return out
}

func modified(path string) time.Time {
	info, err := os.Stat(path)
	if err != nil {
		return time.Time{}
	}
	return info.ModTime()
}

// Postfix starts a Postfix (Debian: postfix).
func Postfix(t testing.TB) *MTA {
	t.Helper()
	r := cloneTree(t, "courier-postfix", "postfix")
	m := &MTA{Port: FreePort(t), User: "print", Password: treePassword, t: t, tree: r}
	m.CAFile, _ = r.secure("etc/postfix/server.pem", 0)
	r.maildir(outgoing, printUID)
	for _, d := range []string{"active", "bounce", "corrupt", "defer", "deferred", "flush", "hold", "incoming", "private", "saved", "trace"} {
		r.folder("var/spool/postfix/"+d, postfixUID, 0, 0o700)
	}
	r.folder("var/spool/postfix/pid", 0, 0, 0o755)
	r.folder("var/spool/postfix/maildrop", postfixUID, postdropGID, 0o730)
	r.folder("var/spool/postfix/public", postfixUID, postdropGID, 0o710)
	r.folder("var/lib/postfix", postfixUID, 0, 0o755)
	r.write("etc/postfix/sasl/smtpd.conf", "pwcheck_method: auxprop\nauxprop_plugin: sasldb\nmech_list: PLAIN\n", 0, 0o644)
	r.write("etc/postfix/dynamicmaps.cf", "", 0, 0o644)
	r.write("etc/postfix/main.cf", `compatibility_level = 3.6
myhostname = mx.larkfield.test
inet_interfaces = 127.0.0.1
inet_protocols = ipv4
mydestination =
alias_maps =
mynetworks =
default_transport = error:nothing leaves this machine
virtual_mailbox_domains = static:all
virtual_mailbox_base = /var
virtual_mailbox_maps = static:outgoing/
virtual_minimum_uid = 100
virtual_uid_maps = static:7005
virtual_gid_maps = static:7005
smtpd_tls_chain_files = /etc/postfix/server.pem
smtpd_tls_security_level = may
smtpd_tls_auth_only = yes
smtpd_sasl_auth_enable = yes
smtpd_sasl_local_domain = mx.larkfield.test
cyrus_sasl_config_path = /etc/postfix/sasl
smtpd_relay_restrictions = permit_sasl_authenticated, reject
smtpd_recipient_restrictions = permit_sasl_authenticated, reject
`, 0, 0o644)
	r.write("etc/postfix/master.cf", fmt.Sprintf(`127.0.0.1:%d inet n - n - - smtpd
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
tlsmgr unix - - n 1000? 1 tlsmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
proxymap unix - - n - - proxymap
virtual unix - n n - - virtual
error unix - - n - - error
retry unix - - n - - error
anvil unix - - n - 1 anvil
`, m.Port), 0, 0o644)
	r.must(treePassword, "/usr/sbin/saslpasswd2", "-p", "-c", "-u", "mx.larkfield.test", "print")
	r.chown("etc/sasldb2", postfixUID)
	m.queue = []string{"var/spool/postfix/incoming", "var/spool/postfix/active", "var/spool/postfix/deferred"}
	r.start(m.Port, "/usr/lib/postfix/sbin/master", "-d")
	return m
}

// Exim starts an Exim (Debian: exim4-daemon-heavy).
func Exim(t testing.TB) *MTA {
	t.Helper()
	r := cloneTree(t, "cyrus-exim", "exim4")
	m := &MTA{Port: FreePort(t), User: "print", Password: treePassword, t: t, tree: r}
	m.CAFile, _ = r.secure("etc/exim4/server.pem", eximUID)
	r.maildir(outgoing, eximUID)
	for _, d := range []string{"var/spool/exim4", "var/log/exim4", "run/exim4"} {
		r.folder(d, eximUID, eximUID, 0o750)
	}
	r.write("etc/exim4/exim4.conf", strings.NewReplacer("PORT", fmt.Sprint(m.Port), "WORD", treePassword).Replace(`primary_hostname = mx.larkfield.test
log_file_path = syslog
local_interfaces = 127.0.0.1.PORT
daemon_smtp_ports = PORT
tls_advertise_hosts = *
tls_certificate = /etc/exim4/server.pem
auth_advertise_hosts = ${if eq{$tls_in_cipher}{}{}{*}}
acl_smtp_rcpt = rcpt
begin acl
rcpt:
  accept authenticated = *
  deny message = sign in first
begin routers
all:
  driver = accept
  transport = outgoing
begin transports
outgoing:
  driver = appendfile
  maildir_format
  directory = /var/outgoing
  user = Debian-exim
  group = Debian-exim
  delivery_date_add
  envelope_to_add
  return_path_add
begin authenticators
plain:
  driver = plaintext
  public_name = PLAIN
  server_prompts = :
  server_condition = ${if and{{eq{$auth2}{print}}{eq{$auth3}{WORD}}}}
  server_set_id = $auth2
`), 0, 0o644)
	m.queue = []string{"var/spool/exim4/input"}
	r.start(m.Port, "/usr/sbin/exim4", "-bdf", "-q1h")
	return m
}
