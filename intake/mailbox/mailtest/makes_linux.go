package mailtest

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
	"github.com/emersion/go-smtp"

	"meshclerk/intake/credential"
	"meshclerk/intake/mailbox"
)

// Box is a shared mailbox on a server of another make than Dovecot. Its folders
// are called as the rules call them.
type Box struct {
	Port           int
	User, Password string
	CAFile         string
	Prefix         string // of its folders, e.g. "INBOX."

	t       testing.TB
	tls     *tls.Config
	deliver func(raw []byte)
}

// Config is how to reach it, always by STARTTLS.
func (b *Box) Config(string) mailbox.Config {
	return mailbox.Config{Host: "localhost", Port: b.Port, TLS: "starttls", CAFile: b.CAFile, CommandTimeout: 20 * time.Second, Table: "imap"}
}

// Source signs in to it.
func (b *Box) Source() credential.Source {
	b.t.Helper()
	return Password(b.t, b.User, b.Password)
}

// Dial connects the client under test.
func (b *Box) Dial() *mailbox.Client {
	b.t.Helper()
	c, err := mailbox.Dial(b.t.Context(), b.Config(""), b.Source(), slog.New(slog.DiscardHandler))
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { c.Close() })
	return c
}

// Deliver brings a letter as the server's own delivery does.
func (b *Box) Deliver(raw []byte) { b.t.Helper(); b.deliver(raw) }

func (b *Box) name(folder string) string {
	if strings.EqualFold(folder, "INBOX") {
		return folder
	}
	return b.Prefix + folder
}

// Client is a second mail program, as staff have one.
func (b *Box) Client() *imapclient.Client {
	b.t.Helper()
	c, err := imapclient.DialStartTLS(fmt.Sprintf("localhost:%d", b.Port), &imapclient.Options{TLSConfig: b.tls})
	if err == nil {
		err = c.Login(b.User, b.Password).Wait()
	}
	if err != nil {
		b.t.Fatal(err)
	}
	return c
}

// Messages returns all messages of a folder, oldest first.
func (b *Box) Messages(folder string) []Message {
	b.t.Helper()
	c := b.Client()
	defer c.Close()
	return List(b.t, c, b.name(folder))
}

// MoveAs moves the messages that hold the words, as a member of staff drags
// them: on a server without MOVE the program copies, marks and expunges.
func (b *Box) MoveAs(from, holding, to string) int {
	b.t.Helper()
	c := b.Client()
	defer c.Close()
	var uids []imap.UID
	for _, m := range List(b.t, c, b.name(from)) {
		if bytes.Contains(m.Raw, []byte(holding)) {
			uids = append(uids, imap.UID(m.UID))
		}
	}
	if len(uids) == 0 {
		return 0
	}
	if _, err := c.Select(b.name(from), nil).Wait(); err != nil {
		b.t.Fatal(err)
	}
	if _, err := c.Move(imap.UIDSetNum(uids...), b.name(to)).Wait(); err != nil {
		b.t.Fatal(err)
	}
	return len(uids)
}

// secure gives a server of the tree a certificate, key and all in one file, and
// the client what it needs to believe it.
func (r *tree) secure(path string, uid int) (caFile string, config *tls.Config) {
	r.t.Helper()
	c := NewCertificate(r.t)
	r.write(path, string(c.Key)+string(c.Cert), uid, 0o600)
	caFile = filepath.Join(r.dir, "ca.pem")
	r.write("ca.pem", string(c.Cert), 0, 0o644)
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(c.Cert)
	return caFile, &tls.Config{RootCAs: pool, ServerName: "localhost"}
}

const treePassword = "open-sesame"

// Cyrus starts a Cyrus IMAP server (Debian: cyrus-imapd): folders under
// "INBOX.", no sign-in before STARTTLS, letters brought by LMTP.
func Cyrus(t testing.TB) *Box {
	t.Helper()
	r := cloneTree(t, "cyrus-exim", "cyrus-imapd")
	port := FreePort(t)
	ca, config := r.secure("etc/cyrus.pem", cyrusUID)
	for _, d := range []string{"var/lib/cyrus", "var/spool/cyrus", "var/spool/cyrus/mail", "var/lib/cyrus/db", "var/lib/cyrus/log", "var/lib/cyrus/msg", "var/lib/cyrus/quota",
		"var/lib/cyrus/user", "var/lib/cyrus/sieve", "run/cyrus", "run/cyrus/socket", "run/cyrus/proc", "run/cyrus/lock"} {
		r.folder(d, cyrusUID, mailGID, 0o755)
	}
	r.write("etc/imapd.conf", `configdirectory: /var/lib/cyrus
defaultpartition: default
partition-default: /var/spool/cyrus/mail
proc_path: /run/cyrus/proc
mboxname_lockpath: /run/cyrus/lock
lmtpsocket: /run/cyrus/socket/lmtp
idlesocket: /run/cyrus/socket/idle
servername: mail.larkfield.test
admins: cyrus
virtdomains: off
altnamespace: no
unixhierarchysep: no
allowplaintext: no
sasl_mech_list: PLAIN
sasl_pwcheck_method: auxprop
sasl_auxprop_plugin: sasldb
tls_server_cert: /etc/cyrus.pem
tls_server_key: /etc/cyrus.pem
autocreate_quota: 0
autocreate_post: yes
lmtp_downcase_rcpt: yes
duplicatesuppression: no
`, 0, 0o644)
	r.write("etc/cyrus.conf", fmt.Sprintf(`START {
  recover cmd="/usr/lib/cyrus/bin/ctl_cyrusdb -r"
  idled cmd="/usr/lib/cyrus/bin/idled"
}
SERVICES {
  imap cmd="/usr/lib/cyrus/bin/imapd" listen="127.0.0.1:%d" prefork=0
  lmtpunix cmd="/usr/lib/cyrus/bin/lmtpd -a" listen="/run/cyrus/socket/lmtp" prefork=0
}
EVENTS {
  checkpoint cmd="/usr/lib/cyrus/bin/ctl_cyrusdb -c" period=600
}
`, port), 0, 0o644)
	r.must(treePassword, "/usr/sbin/saslpasswd2", "-p", "-c", "-u", "mail.larkfield.test", "print")
	r.chown("etc/sasldb2", cyrusUID)
	r.start(port, "/usr/lib/cyrus/bin/master")
	b := &Box{Port: port, User: "print", Password: treePassword, CAFile: ca, Prefix: "INBOX.", t: t, tls: config}
	b.deliver = func(raw []byte) { r.lmtp("run/cyrus/socket/lmtp", "print", raw) }
	b.Messages("INBOX") // the first sign-in makes the mailbox
	return b
}

func (r *tree) chown(path string, uid int) {
	r.t.Helper()
	if err := os.Chown(filepath.Join(r.dir, path), uid, -1); err != nil {
		r.t.Fatal(err)
	}
}

// lmtp delivers a message (RFC 2033).
func (r *tree) lmtp(socket, to string, raw []byte) {
	r.t.Helper()
	conn, err := net.Dial("unix", filepath.Join(r.dir, socket))
	if err != nil {
		r.t.Fatal(err)
	}
	c := smtp.NewClientLMTP(conn)
	defer c.Close()
	err = c.SendMail("bounce@example.org", []string{to}, bytes.NewReader(raw))
	if err != nil {
		r.t.Fatalf("%v\n%s", err, r.log)
	}
}

// Courier starts a Courier IMAP server (Debian: courier-imap): folders under
// "INBOX.", no MOVE, no APPEND into a folder that is open for reading only,
// letters dropped into its maildir.
func Courier(t testing.TB) *Box {
	t.Helper()
	r := cloneTree(t, "courier-postfix", "courier-imap")
	port := FreePort(t)
	ca, config := r.secure("etc/courier/imapd.pem", courierUID)
	for _, d := range []string{"run/courier/authdaemon", "run/courier", "var/lib/courier"} {
		r.folder(d, courierUID, courierUID, 0o755)
	}
	r.write("etc/pam.d/imap", "auth required pam_permit.so\naccount required pam_permit.so\nsession required pam_permit.so\n", 0, 0o644)
	r.folder("home/print", printUID, printUID, 0o700)
	r.maildir("home/print/Maildir", printUID)
	r.start(0, "/bin/sh", "-c", "set -a; . /etc/courier/authdaemonrc; authmodulelist=authpam; exec /usr/lib/courier/courier-authlib/authdaemond")
	r.await("run/courier/authdaemon/socket")
	r.start(port, "/bin/sh", "-c", fmt.Sprintf(`set -a; . /etc/courier/imapd; . /etc/courier/imapd-ssl
IMAP_STARTTLS=YES; TLS_CACHEFILE=; TLS_TRUSTCERTS=; TLS_DHPARAMS=; IMAP_ULIMITD=
exec /usr/sbin/couriertcpd -address=127.0.0.1 -maxprocs=40 -maxperip=40 -nodnslookup -noidentlookup %d /usr/lib/courier/courier/imaplogin /usr/bin/imapd Maildir`, port))
	b := &Box{Port: port, User: "print", Password: treePassword, CAFile: ca, Prefix: "INBOX.", t: t, tls: config}
	b.deliver = func(raw []byte) { r.drop("home/print/Maildir", printUID, raw) }
	return b
}

func (r *tree) await(path string) {
	r.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		if _, err := os.Stat(filepath.Join(r.dir, path)); err == nil {
			return
		}
	}
	r.t.Fatalf("%s does not come to be:\n%s", path, r.log)
}

func (r *tree) maildir(path string, uid int) {
	r.t.Helper()
	for _, d := range []string{path, path + "/cur", path + "/new", path + "/tmp"} {
		r.folder(d, uid, uid, 0o700)
	}
}

// drop writes a message aside and renames it into place.
func (r *tree) drop(maildir string, uid int, raw []byte) {
	r.t.Helper()
	name := fmt.Sprintf("%d.M%dP%d.test", time.Now().Unix(), time.Now().UnixNano(), os.Getpid())
	r.write(maildir+"/tmp/"+name, strings.ReplaceAll(string(raw), "\r\n", "\n"), uid, 0o600)
	if err := os.Rename(filepath.Join(r.dir, maildir, "tmp", name), filepath.Join(r.dir, maildir, "new", name)); err != nil {
		r.t.Fatal(err)
	}
}
