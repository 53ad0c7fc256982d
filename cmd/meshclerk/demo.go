package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"meshclerk/cmd/meshclerk/fakeserver"
	"meshclerk/cmd/meshclerk/robot"
	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/desk"
	"meshclerk/rules"
	"meshclerk/templates"
)

type demoCmd struct {
	Once   bool   `help:"Work through every letter, print a table, and stop."`
	Listen string `default:"127.0.0.1:8025" placeholder:"ADDR" help:"Where the staff page listens."`
}

func (c *demoCmd) Run(e *env) error {
	dir, err := os.MkdirTemp("", "meshclerk-demo-")
	if err != nil {
		return fmt.Errorf("the demo needs a folder for its data: %w", err)
	}
	defer os.RemoveAll(dir)
	d := &demo{env: e, show: newProgress(e.err)}
	defer d.show.done()
	if err := d.set(dir); err != nil {
		return err
	}
	defer d.close()
	if err := d.fill(); err != nil {
		return err
	}
	if err := d.bot.Once(e.ctx); err != nil {
		return err
	}
	d.show.done()
	if err := d.table(e.out); err != nil {
		return err
	}
	if c.Once {
		return d.talks(e.out)
	}
	return d.stay(c.Listen)
}

// demo is a whole house in one process: a mailbox, a sending server, a ledger.
type demo struct {
	*env
	show    *progress
	servers *fakeserver.Servers
	ledger  *ledger.Ledger
	rules   *rules.Rules
	bot     *robot.Robot
}

func (d *demo) set(dir string) (err error) {
	if d.rules, err = loadRules(""); err != nil {
		return err
	}
	if d.servers, err = fakeserver.Start(context.WithoutCancel(d.ctx)); err != nil {
		return err
	}
	quiet := slog.New(slog.DiscardHandler)
	if d.ledger, err = ledger.Open(d.ctx, dir, quiet, nil); err != nil {
		return err
	}
	s, err := newServers(d.config(), d.rules, d.secret, quiet)
	if err != nil {
		return err
	}
	d.bot = newRobot(d.ledger, d.rules, templates.Default(), s, "larkfield.example", quiet)
	d.bot.At = func(point string) { d.show.say("working: " + point) }
	return nil
}

func (d *demo) close() {
	d.servers.Close()
	d.ledger.Close()
}

const demoSecret = "MESHCLERK_DEMO_PASSWORD"

// secret answers for the one variable that the demo's own configuration names.
func (d *demo) secret(name string) string {
	if name == demoSecret {
		return d.servers.Password
	}
	return ""
}

// config is what an operator would write for the built-in servers.
func (d *demo) config() *config {
	secret := credential.Config{Kind: credential.KindPassword, User: d.servers.User, Env: demoSecret}
	server := func(addr string) mailServer {
		host, port, _ := net.SplitHostPort(addr) // the fake server's own address is well formed
		n, _ := strconv.Atoi(port)
		return mailServer{Host: host, Port: n, TLS: "none", Credential: secret}
	}
	return &config{Domain: "larkfield.example", IMAP: server(d.servers.IMAPAddr), SMTP: server(d.servers.SMTPAddr)}
}

// fill puts the sample letters into the mailbox and the register on file.
func (d *demo) fill() error {
	now := time.Now()
	if _, err := d.ledger.UpsertAgreements(d.ctx, sample.Agreements(now, d.rules.Agreement), "demo", "sample register"); err != nil {
		return err
	}
	letters, err := sample.Letters()
	if err != nil {
		return err
	}
	for i, l := range letters {
		d.show.say("delivering a letter from " + l.FromName)
		raw, err := l.Compose(now.Add(time.Duration(i-len(letters)) * 7 * time.Minute))
		if err != nil {
			return err
		}
		if err := d.servers.Deliver(raw); err != nil {
			return err
		}
	}
	return nil
}

// table prints what became of every letter.
func (d *demo) table(w io.Writer) error {
	letters, err := d.ledger.Letters(d.ctx, 1000)
	if err != nil {
		return err
	}
	var rows [][]string
	for i := len(letters) - 1; i >= 0; i-- {
		more, err := d.rows(letters[i])
		if err != nil {
			return err
		}
		rows = append(rows, more...)
	}
	return table(w, []string{"LETTER", "SENDER", "STAGE", "FINDINGS", "PRICE", "DRAFT"}, rows)
}

// rows is one row for each job of a letter, or one for a letter without a job.
func (d *demo) rows(l ledger.Letter) ([][]string, error) {
	subject, sender := "(not read)", ""
	if l.Parsed != nil {
		subject, sender = l.Parsed.Subject, l.Parsed.From.Address
	}
	jobs, err := d.ledger.JobsOf(d.ctx, l.ID)
	if err != nil {
		return nil, err
	}
	if len(jobs) == 0 {
		why := words{english()}.said(l.Why)
		if l.Parsed != nil {
			why = words{english()}.said(l.Parsed.Why)
		}
		return [][]string{{plain.Shorten(subject, 30), sender, string(l.State), plain.Shorten(why, 44), "-", "-"}}, nil
	}
	var rows [][]string
	for _, j := range jobs {
		drafts, err := d.ledger.Drafts(d.ctx, ledger.DraftFilter{Job: j.ID})
		if err != nil {
			return nil, err
		}
		title := "-"
		if n := len(drafts); n > 0 {
			title = drafts[n-1].Subject
		}
		rows = append(rows, []string{plain.Shorten(subject, 30), sender, string(j.Stage), findingCodes(j.Report), price(j.Report), plain.Shorten(title, 52)})
	}
	return rows, nil
}

func findingCodes(r *job.Report) string {
	if r == nil || len(r.Findings) == 0 {
		return "-"
	}
	var codes []string
	for _, f := range r.Findings {
		codes = append(codes, f.Code)
	}
	return plain.Shorten(strings.Join(codes, " "), 44)
}

func price(r *job.Report) string {
	if r == nil || r.Quote == nil {
		return "-"
	}
	return r.Quote.Total + " " + r.Quote.Currency
}

// stay keeps the demo running until it is interrupted.
func (d *demo) stay(listen string) error {
	d.bot.At = nil
	fmt.Fprintf(d.out, "\nThe demo goes on until you stop it (Ctrl-C). Nothing leaves this machine.\n")
	fmt.Fprintf(d.out, "  mailbox     %s (user %s, password %s)\n", d.servers.IMAPAddr, d.servers.User, d.servers.Password)
	fmt.Fprintf(d.out, "  data        %s (try: meshclerk drafts list --data %s)\n", d.ledger.Dir(), d.ledger.Dir())
	quiet := slog.New(slog.DiscardHandler)
	texts, err := os.MkdirTemp("", "meshclerk-demo-texts-")
	if err != nil {
		return fmt.Errorf("the demo needs a folder for reply texts: %w", err)
	}
	defer os.RemoveAll(texts)
	own := filepath.Join(texts, "own")
	if err := os.Mkdir(own, 0o755); err != nil {
		return fmt.Errorf("the demo needs a folder for reply texts: %w", err)
	}
	page, err := newStaffPage(d.bot, desk.Config{Auth: desk.Auth{Demo: d.rules.Library.Staff[0].Name}, TemplatesDir: own, VersionsDir: filepath.Join(texts, "versions"), Log: quiet})
	if err != nil {
		return err
	}
	defer page.close()
	return serve(d.ctx, listen, d.bot, page, quiet, func(addr string) {
		fmt.Fprintf(d.out, "  staff page  http://%s/\n", addr)
	})
}
