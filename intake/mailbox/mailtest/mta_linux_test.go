package mailtest

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net/smtp"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// A server says 250 before it delivers. What is on its way counts as delivered, also
// where the program that delivers is held up for a while.
func TestDeliveredWaitsForWhatIsOnItsWay(t *testing.T) {
	m := Postfix(t)
	m.submit("one")
	m.Await(1) // now there is a delivery agent
	agent := m.process("virtual")
	syscall.Kill(agent, syscall.SIGSTOP)
	m.submit("two")
	if n := len(m.delivered()); n != 1 {
		t.Fatalf("%d were delivered while nobody delivers, so this proves nothing", n)
	}
	time.AfterFunc(200*time.Millisecond, func() { syscall.Kill(agent, syscall.SIGCONT) })
	if n := len(m.Delivered()); n != 2 {
		t.Errorf("%d of the 2 that were taken are delivered", n)
	}
}

// submit hands a message over.
func (m *MTA) submit(word string) {
	m.t.Helper()
	pem, err := os.ReadFile(m.CAFile)
	if err != nil {
		m.t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(pem)
	c, err := smtp.Dial(fmt.Sprintf("localhost:%d", m.Port))
	if err != nil {
		m.t.Fatal(err)
	}
	defer c.Close()
	for _, step := range []func() error{
		func() error { return c.StartTLS(&tls.Config{RootCAs: pool, ServerName: "localhost"}) },
		func() error { return c.Auth(smtp.PlainAuth("", m.User, m.Password, "localhost")) },
		func() error { return c.Mail("print@larkfield.example") },
		func() error { return c.Rcpt("amara.okafor@example.org") },
		func() error { return write(c, "Subject: "+word+"\r\n\r\n"+word+"\r\n") },
	} {
		if err := step(); err != nil {
			m.t.Fatal(err)
		}
	}
}

func write(c *smtp.Client, raw string) error {
	w, err := c.Data()
	if err != nil {
		return err
	}
	if _, err := w.Write([]byte(raw)); err != nil {
		return err
	}
	return w.Close()
}

// process finds a program of the server's by its name.
func (m *MTA) process(name string) int {
	m.t.Helper()
	for _, pid := range living(m.tree.dir) {
		comm, err := os.ReadFile(filepath.Join("/proc", fmt.Sprint(pid), "comm"))
		if err == nil && strings.TrimSpace(string(comm)) == name {
			return pid
		}
	}
	m.t.Fatalf("there is no %s", name)
	return 0
}
