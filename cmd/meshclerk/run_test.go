package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
)

// place is one installation: a configuration file, real servers, an environment.
type place struct {
	t      *testing.T
	imap   *mailtest.Server
	smtp   *mailtest.Sink
	config string
	listen string
}

func newPlace(t *testing.T) *place {
	t.Helper()
	p := &place{t: t, imap: mailtest.Dovecot(t), smtp: mailtest.SMTP(t, mailtest.Accept)}
	dir := t.TempDir()
	p.config = filepath.Join(dir, "meshclerk.toml")
	p.listen = fmt.Sprintf("127.0.0.1:%d", mailtest.FreePort(t))
	text := fmt.Sprintf(`data = "data"
listen = %q
domain = "larkfield.example"
[imap]
host = "127.0.0.1"
port = %d
tls = "none"
[imap.credential]
kind = "password"
user = %q
file = "imap-password"
[smtp]
host = "127.0.0.1"
port = %d
tls = "none"
[smtp.credential]
kind = "password"
user = %q
env = "SMTP_WORD"
`, p.listen, p.imap.Port, p.imap.User, p.smtp.Port, p.smtp.User)
	p.write(p.config, text)
	p.write(filepath.Join(dir, "imap-password"), p.imap.Password+"\n")
	return p
}

func (p *place) write(path, text string) {
	p.t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		p.t.Fatal(err)
	}
}

func (p *place) getenv(name string) string {
	return map[string]string{"SMTP_WORD": p.smtp.Password, "MESHCLERK_CONFIG": p.config}[name]
}

// do runs one command and gives what it printed.
func (p *place) do(ctx context.Context, args ...string) (string, error) {
	var out, errs safeBuffer
	err := run(ctx, args, p.getenv, &bytes.Buffer{}, &out, &errs)
	return out.String() + errs.String(), err
}

func (p *place) must(args ...string) string {
	p.t.Helper()
	out, err := p.do(p.t.Context(), args...)
	if err != nil {
		p.t.Fatalf("meshclerk %v: %v\n%s", args, err, out)
	}
	return out
}

type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}
func (s *safeBuffer) String() string { s.mu.Lock(); defer s.mu.Unlock(); return s.b.String() }

// until waits for something that the running robot does by itself.
func until(t *testing.T, what string, ready func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if ready() {
			return
		}
	}
	t.Fatalf("%s did not happen", what)
}

// The robot runs; a letter comes, the server tells of it, a draft waits; another
// process approves it; it leaves. The health address answers, and the signal to
// stop ends it in order.
func TestRunServesALetterFromArrivalToReply(t *testing.T) {
	p := newPlace(t)
	agreements := sample.Agreements(time.Now(), mustRules(t).Agreement)
	csv := "address,name,card number,signed on,version,expires,guardian\n"
	for _, a := range agreements {
		csv += fmt.Sprintf("%s,%s,%s,%s,%s,%s,\n", a.Address, a.Name, a.Card, a.Signed, a.Version, a.Expires)
	}
	file := filepath.Join(t.TempDir(), "register.csv")
	p.write(file, csv)
	p.must("agreements", "import", file)

	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { _, err := p.do(ctx, "run"); ended <- err }()
	until(t, "a good poll", func() bool { return p.healthy() })

	letters, err := sample.Letters()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := letters[0].Compose(time.Now())
	if err != nil {
		t.Fatal(err)
	}
	p.imap.Deliver(raw)
	var d ledger.Draft
	until(t, "a draft", func() bool {
		line, _, _ := strings.Cut(p.must("drafts", "list", "--json"), "\n")
		return json.Unmarshal([]byte(line), &d) == nil && d.ID != ""
	})
	if shown := p.must("drafts", "show", d.ID); !strings.Contains(shown, "shelf-bracket.stl") {
		t.Errorf("drafts show gives no reply:\n%s", shown)
	}
	p.must("drafts", "approve", d.ID, "--by", "Owen Dufresne")
	if got := p.smtp.Await(t, 1); got[0].To[0] != "amara.okafor@example.org" {
		t.Errorf("it went to %v", got[0].To)
	}
	until(t, "the copy in Sent", func() bool { return len(p.imap.Messages("Sent")) == 1 })
	stop()
	if err := <-ended; err != nil {
		t.Errorf("the robot did not stop in order: %v", err)
	}
	p.must("backup", "--to", filepath.Join(t.TempDir(), "copy"))
	p.must("verify")
}

func (p *place) healthy() bool {
	resp, err := http.Get("http://" + p.listen + "/health")
	if err != nil {
		return false
	}
	defer resp.Body.Close()
	return resp.StatusCode == http.StatusOK
}

// A second robot on the same data is refused while the first runs.
func TestSecondRobotIsRefused(t *testing.T) {
	p := newPlace(t)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { _, err := p.do(ctx, "run"); ended <- err }()
	until(t, "a good poll", func() bool { return p.healthy() })
	if out, err := p.do(t.Context(), "run"); err == nil {
		t.Errorf("two robots run on one ledger:\n%s", out)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// The doctor finds all well, and then each fault, in one line that says what to mend.
func TestDoctor(t *testing.T) {
	p := newPlace(t)
	out := p.must("doctor")
	if !strings.Contains(out, "all is well") || strings.Contains(out, "MEND") {
		t.Errorf("a sound installation:\n%s", out)
	}
	p.imap.Password = "another"
	p.write(filepath.Join(filepath.Dir(p.config), "imap-password"), "another\n")
	p.smtp.Behave(mailtest.BusyGreeting)
	out, err := p.do(t.Context(), "doctor")
	if err == nil {
		t.Errorf("two faults went unnoticed:\n%s", out)
	}
	mend := 0
	for line := range strings.SplitSeq(out, "\n") {
		if strings.HasPrefix(line, "MEND") {
			mend++
		}
	}
	if mend != 2 {
		t.Errorf("%d lines to mend, want the sign-in and the sending server:\n%s", mend, out)
	}
}

// A broken configuration says where and what.
func TestBrokenConfiguration(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"unknown key": {"data = \"d\"\ndomian = \"x.example\"\n", "domian"},
		"bad toml":    {"data = \n", ":1:"},
		"no data":     {"domain = \"x.example\"\n", "no data folder"},
		"no host":     {"data = \"d\"\ndomain = \"x.example\"\n", "[imap] has no host"},
		"open plain":  {"data = \"d\"\ndomain = \"x.example\"\n[imap]\nhost = \"192.0.2.1\"\nport = 143\ntls = \"none\"\ncredential = {kind = \"none\"}\n[smtp]\nhost = \"192.0.2.1\"\nport = 25\ntls = \"none\"\ncredential = {kind = \"none\"}\n", "not be encrypted"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "c.toml")
			if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
			err := run(t.Context(), []string{"run", "--config", path}, func(string) string { return "" }, &bytes.Buffer{}, &bytes.Buffer{}, &bytes.Buffer{})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want words like %q", err, c.want)
			}
		})
	}
}
