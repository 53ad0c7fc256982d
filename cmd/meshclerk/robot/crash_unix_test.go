//go:build unix

package robot

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/emersion/go-imap/v2"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/reply/outbox"
)

// mortal is what a child process is told: where everything is, and at which
// durable point it dies; 0 is never.
type mortal struct {
	Data                   string
	IMAPPort, SMTPPort     int
	IMAPUser, IMAPPassword string
	SMTPUser, SMTPPassword string
	DieAt                  int
	ByFolder               bool   // approves by moving drafts, and counts from the posting on
	Whole                  bool   // staff also print and hand over
	SMTPTLS, SMTPCA        string // of a server that encrypts
}

const mortalEnv = "MESHCLERK_TEST_MORTAL"

func TestMain(m *testing.M) {
	if told := os.Getenv(mortalEnv); told != "" {
		if err := live(told); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	sideBySide()
	os.Exit(m.Run())
}

// sideBySide lets more tests run at once than there are cores, where -parallel says
// nothing else: most of a test's time is waiting for its servers.
func sideBySide() {
	flag.Parse()
	said := false
	flag.Visit(func(f *flag.Flag) { said = said || f.Name == "test.parallel" })
	if !said {
		flag.Set("test.parallel", strconv.Itoa(2*runtime.GOMAXPROCS(0)))
	}
}

// live is a child's life: look, work, let a person approve what waits, work on.
func live(told string) error {
	var c mortal
	if err := json.Unmarshal([]byte(told), &c); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	quiet := slog.New(slog.DiscardHandler)
	l, err := ledger.Open(ctx, c.Data, quiet, nil)
	if err != nil {
		return err
	}
	defer l.Close()
	r := underDefaults(l, quiet, time.Now)
	if err := c.connect(r, quiet); err != nil {
		return err
	}
	points := 0
	r.At = func(point string) {
		if c.ByFolder && points == 0 && point != "posted" {
			return
		}
		if points++; points == c.DieAt {
			fmt.Println("dies at:", point)
			syscall.Kill(os.Getpid(), syscall.SIGKILL)
			select {} // until the signal has done its work
		}
	}
	if err := r.Once(ctx); err != nil {
		return err
	}
	if c.ByFolder {
		return c.moves(ctx, r)
	}
	waiting, err := l.Drafts(ctx, ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting}})
	if err != nil {
		return err
	}
	for _, d := range waiting {
		if err := r.Approve(ctx, d.ID, d.SHA256, marisol, ledger.ViaCommand); err != nil {
			return err
		}
		r.mark("approved")
	}
	if c.Whole {
		if err := atThePrinter(ctx, r); err != nil {
			return err
		}
	}
	return r.Work(ctx)
}

// moves has a member of staff move what waits, and works on.
func (c mortal) moves(ctx context.Context, r *Robot) error {
	m, err := mailtest.Staff(c.IMAPPort, c.IMAPUser, c.IMAPPassword)
	if err != nil {
		return err
	}
	defer m.Close()
	box := r.Rules.Mailbox
	data, err := m.Select(box.ToApprove, nil).Wait()
	if err != nil {
		return err
	}
	if data.NumMessages > 0 {
		var all imap.SeqSet
		all.AddRange(1, 0)
		if _, err := m.Move(all, box.Approved[0].Folder).Wait(); err != nil {
			return err
		}
	}
	return r.Once(ctx)
}

func (c mortal) connect(r *Robot, quiet *slog.Logger) error {
	source := func(user, password string) (credential.Source, error) {
		return credential.New(credential.Config{Kind: credential.KindPassword, User: user, Env: "PW"}, func(k string) string {
			return map[string]string{"PW": password}[k]
		}, quiet)
	}
	imapSource, err := source(c.IMAPUser, c.IMAPPassword)
	if err != nil {
		return err
	}
	smtpSource, err := source(c.SMTPUser, c.SMTPPassword)
	if err != nil {
		return err
	}
	imap := mailbox.Config{Host: "127.0.0.1", Port: c.IMAPPort, TLS: "none", CommandTimeout: 20 * time.Second, Table: "imap"}
	smtp := outbox.Config{Config: mailbox.Config{Host: "localhost", Port: c.SMTPPort, TLS: cmp.Or(c.SMTPTLS, "none"), CAFile: c.SMTPCA, CommandTimeout: 20 * time.Second, Table: "smtp"}}
	r.Dial = func(ctx context.Context) (Mail, error) { return mailbox.Dial(ctx, imap, imapSource, quiet) }
	r.Send = func(ctx context.Context, m outbox.Message) outbox.Outcome {
		return outbox.Send(ctx, smtp, smtpSource, m, quiet)
	}
	return nil
}

// The process is killed (SIGKILL) at each durable point between taking a letter
// and after sending its reply, once at each, and started again. Every letter is
// exactly one job, and every approved draft left exactly once or is uncertain
// and left at most once.
func TestKilledAtEachDurablePoint(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts the process some fifty times")
	}
	c, imap, smtp := newMortal(t)
	c.diesAtEach(t, imap, smtp, "letter", []string{"fetched", "letter", "leased", "files", "done", "checked", "composed", "posted", "approved", "sending", "answered", "copied", "filed"})
}

// diesAtEach kills a child at each durable point in turn, with a letter for each,
// starts another that lives, and proves what must hold. Of the points, one must
// begin with each of the words.
func (c mortal) diesAtEach(t *testing.T, imap *mailtest.Server, smtp *mailtest.Sink, name string, words []string) {
	t.Helper()
	died := map[string]bool{}
	for n := 1; ; n++ {
		key := fmt.Sprintf("%s-%02d", name, n)
		imap.Deliver(request(t, key))
		c.DieAt = n
		point, alive := c.run(t)
		c.DieAt = 0
		if _, alive := c.run(t); !alive {
			t.Fatal("a child without a death sentence died")
		}
		c.check(t, key, point, smtp)
		if alive {
			break
		}
		died[strings.Fields(point)[0]] = true
	}
	for _, word := range words {
		if !died[word] {
			t.Errorf("no child died at a point that begins with %q; died at %v", word, died)
		}
	}
}

// The process is killed at each point from the posting of a draft to the end,
// where a person approves it by moving it: it leaves once all the same.
func TestKilledWhileApprovedByFolder(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts the process some thirty times")
	}
	c, imap, smtp := newMortal(t)
	c.ByFolder = true
	c.diesAtEach(t, imap, smtp, "moved", []string{"posted", "moved", "sending", "answered", "copied", "filed"})
}

// Letters are taken together and read side by side. The process is killed at
// each point of that; every letter is taken and read exactly once all the same.
func TestKilledAmongLetters(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts the process some twenty times")
	}
	c, imap, _ := newMortal(t)
	const together = 2
	for n := 1; n <= 5*together; n++ {
		for k := range together {
			imap.Deliver(request(t, fmt.Sprintf("letter-%02d-%d", n, k)))
		}
		c.DieAt = n
		point, alive := c.run(t)
		if alive {
			t.Fatalf("there are only %d points", n-1)
		}
		c.DieAt = 0
		if _, alive := c.run(t); !alive {
			t.Fatal("a child without a death sentence died")
		}
		c.checkAll(t, point, n*together)
	}
}

// checkAll proves that each of so many letters is read and one job.
func (c mortal) checkAll(t *testing.T, point string, letters int) {
	t.Helper()
	l, err := ledger.Open(t.Context(), c.Data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	done, err := l.Letters(t.Context(), 10*letters, ledger.LetterDone)
	if err != nil || len(done) != letters {
		t.Errorf("killed at %q: %d letters are done, want %d (%v)", point, len(done), letters, err)
	}
	jobs, err := l.Jobs(t.Context(), ledger.Filter{})
	if err != nil || len(jobs) != letters {
		t.Errorf("killed at %q: %d jobs, want %d (%v)", point, len(jobs), letters, err)
	}
	if problems, err := l.Verify(t.Context()); err != nil || len(problems) > 0 {
		t.Errorf("killed at %q: the ledger is not whole: %v %v", point, problems, err)
	}
}

func newMortal(t *testing.T) (mortal, *mailtest.Server, *mailtest.Sink) {
	imap, smtp := mailtest.Dovecot(t), mailtest.SMTP(t, mailtest.Accept)
	c := mortal{Data: t.TempDir(), IMAPPort: imap.Port, IMAPUser: imap.User, IMAPPassword: imap.Password,
		SMTPPort: smtp.Port, SMTPUser: smtp.User, SMTPPassword: smtp.Password}
	l, err := ledger.Open(t.Context(), c.Data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	r := underDefaults(l, nil, time.Now)
	if _, err := l.UpsertAgreements(t.Context(), sample.Agreements(time.Now(), r.Rules.Agreement), "test", ""); err != nil {
		t.Fatal(err)
	}
	return c, imap, smtp
}

// run lives one child's life and tells where it died, if it did.
func (c mortal) run(t *testing.T) (point string, alive bool) {
	t.Helper()
	told, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^$")
	cmd.Env = append(os.Environ(), mortalEnv+"="+string(told))
	out, err := cmd.CombinedOutput()
	if err == nil {
		return "", true
	}
	exit, ok := errors.AsType[*exec.ExitError](err)
	if !ok || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("the child ended by itself: %v\n%s", err, out)
	}
	_, point, _ = strings.Cut(strings.TrimSpace(string(out)), "dies at: ")
	return point, false
}

// check proves what must hold for one letter after its process died and lived again.
func (c mortal) check(t *testing.T, key, point string, smtp *mailtest.Sink) {
	t.Helper()
	l, err := ledger.Open(t.Context(), c.Data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	rows, err := l.Jobs(t.Context(), ledger.Filter{Text: key})
	if err != nil || len(rows) != 1 {
		t.Fatalf("killed at %q: %d jobs for one letter (%v)", point, len(rows), err)
	}
	left := 0
	for _, d := range smtp.Delivered() {
		if strings.Contains(string(d.Raw), key+".stl") {
			left++
		}
	}
	uncertain, err := l.Drafts(t.Context(), ledger.DraftFilter{Job: rows[0].ID, States: []ledger.DraftState{ledger.DraftUncertain}})
	if err != nil {
		t.Fatal(err)
	}
	switch {
	case left == 1 && len(uncertain) == 0 && rows[0].Stage == job.Quoted:
	case left <= 1 && len(uncertain) == 1:
	default:
		t.Errorf("killed at %q: the reply left %d times, %d drafts are uncertain, the job is %s", point, left, len(uncertain), rows[0].Stage)
	}
	if problems, err := l.Verify(t.Context()); err != nil || len(problems) > 0 {
		t.Errorf("killed at %q: the ledger is not whole: %v %v", point, problems, err)
	}
}
