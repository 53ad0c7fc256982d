package main

import (
	"context"
	"crypto/x509"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/wire"
	"meshclerk/reply/outbox"
	"meshclerk/rules"
	"meshclerk/templates"
)

type doctorCmd struct {
	Config string `placeholder:"FILE" default:"${config}" help:"Configuration of the installation (or MESHCLERK_CONFIG)."`
}

// Run tries everything and prints one line for each; a fault is an error at the end.
func (c *doctorCmd) Run(e *env) error {
	e.config = c.Config
	d := doctor{out: e.out, words: e.words()}
	conf, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	d.say(wire.Passed("configuration", job.Say("doctor.configuration", job.Args{"file": c.Config})))
	r := d.rules(conf)
	d.data(conf.Data)
	d.secrets(conf, e.getenv)
	d.page(conf.StaffPage, e.getenv, time.Now())
	if r != nil {
		d.servers(e, conf, r)
	}
	if d.faults > 0 {
		return fmt.Errorf("%s to mend, marked with MEND above", job.Count(d.faults, "thing", "things"))
	}
	_, err = fmt.Fprintln(e.out, "all is well")
	return err
}

type doctor struct {
	out    io.Writer
	words  words
	faults int
}

func (d *doctor) say(checks ...wire.Check) {
	for _, c := range checks {
		word := "ok  "
		switch {
		case !c.OK:
			word = "MEND"
			d.faults++
		case c.Warn:
			word = "look"
		}
		fmt.Fprintf(d.out, "%s  %-13s  %s\n", word, c.Area, d.words.said(c.Text))
	}
}

// wrong is a fault of files, each problem with its place.
func (d *doctor) wrong(area string, err error) wire.Check {
	return wire.Check{Area: area, Text: job.Plain(d.words.Error(err))}
}

// rules tries the house rules and the reply texts.
func (d *doctor) rules(conf *config) *rules.Rules {
	r, err := loadRules(conf.Rules)
	if err != nil {
		d.say(d.wrong("rules", err))
		return nil
	}
	d.say(wire.Passed("rules", job.Say("doctor.rules", job.Args{"printers": len(r.Printers), "materials": len(r.Materials), "hours": r.Limits.JobHours})))
	set, err := templates.LoadHouse(conf.Templates, r)
	if err == nil {
		err = set.Check()
	}
	if err != nil {
		d.say(d.wrong("reply texts", err))
	} else if unread := set.Unread(); len(unread) > 0 {
		d.say(wire.Doubtful("reply texts", job.Plain(d.words.Error(unread))))
	} else {
		d.say(wire.Passed("reply texts", job.Say("doctor.texts", job.Args{"situations": len(set.Names()), "languages": len(set.Languages())})))
	}
	return r
}

// data tries whether the data folder can be written and is closed to others.
func (d *doctor) data(dir string) {
	info, err := os.Stat(dir)
	if os.IsNotExist(err) {
		d.say(wire.Doubtful("data", job.Say("doctor.no-folder", job.Args{"folder": dir})))
		return
	}
	if err == nil && !info.IsDir() {
		err = job.Refuse(job.Say("doctor.is-file", nil))
	}
	if err == nil {
		err = writable(dir)
	}
	if err != nil {
		d.say(wire.Failed("data", job.Refuse(job.Say("doctor.not-used", job.Args{"folder": dir, "why": job.Why(err)}))))
		return
	}
	if info.Mode().Perm()&0o077 != 0 {
		d.say(wire.Doubtful("data", job.Say("doctor.not-closed", job.Args{"folder": dir})))
		return
	}
	d.say(wire.Passed("data", job.Say("doctor.closed", job.Args{"folder": dir})))
}

func writable(dir string) error {
	f, err := os.CreateTemp(dir, ".doctor-*")
	if err != nil {
		return err
	}
	defer os.Remove(filepath.Join(dir, filepath.Base(f.Name())))
	return f.Close()
}

// secrets tells which secret files others may read.
func (d *doctor) secrets(conf *config, getenv func(string) string) {
	for _, w := range secretWarnings(conf, getenv, d.words.said) {
		d.say(wire.Doubtful("secrets", job.Plain(w)))
	}
}

// soon is how long before its end a certificate should be renewed.
const soon = 14 * 24 * time.Hour

// page tries what the staff page needs.
func (d *doctor) page(c pageConfig, getenv func(string) string, now time.Time) {
	cert, err := c.certificate(now)
	if err != nil {
		d.say(wire.Failed("staff page", err))
	}
	if cert != nil {
		d.certificate(c, cert.leaf(), now)
	}
	if c.none() {
		return
	}
	cfg, err := c.access(getenv)
	switch {
	case err != nil:
		d.say(wire.Failed("staff page", err))
	case len(c.Hosts) == 0:
		d.say(wire.Doubtful("staff page", job.Say("doctor.no-hosts", nil)))
	default:
		d.say(wire.Passed("staff page", job.Say("doctor.hosts", job.Args{"hosts": c.Hosts})))
	}
	if err == nil && cfg.Proxy != nil && c.ClientHeader == "" && len(cfg.Auth.Accounts) > 0 {
		d.say(wire.Doubtful("staff page", job.Say("doctor.no-client-header", nil)))
	}
}

// certificate tells until when the page's own certificate is good, and for whom.
func (d *doctor) certificate(c pageConfig, leaf *x509.Certificate, now time.Time) {
	if on := leaf.NotAfter.Format(time.DateOnly); leaf.NotAfter.Sub(now) < soon {
		d.say(wire.Doubtful("staff page", job.Say("doctor.expires-soon", job.Args{"on": on})))
	} else {
		d.say(wire.Passed("staff page", job.Say("doctor.expires", job.Args{"on": on})))
	}
	for _, h := range c.Hosts {
		if err := leaf.VerifyHostname(h); err != nil {
			d.say(wire.Doubtful("staff page", job.Say("doctor.not-for", job.Args{"host": h})))
		}
	}
}

// servers tries both mail servers, side by side with their own deadlines.
func (d *doctor) servers(e *env, conf *config, r *rules.Rules) {
	quiet := slog.New(slog.DiscardHandler)
	s, err := newServers(conf, r, e.getenv, quiet)
	if err != nil {
		d.say(wire.Failed("servers", err))
		return
	}
	ctx, cancel := context.WithTimeout(e.ctx, 2*time.Minute)
	defer cancel()
	b := r.Mailbox
	want := mailbox.Wanted{Inbox: b.Inbox, Folders: []string{b.ToApprove, b.SetAside}, Sent: b.Sent}
	for _, a := range b.Approved {
		want.Folders = append(want.Folders, a.Folder)
	}
	d.say(mailbox.Probe(ctx, s.imap, s.imapSecret, want, quiet)...)
	d.say(outbox.Probe(ctx, s.smtp, s.smtpSecret, quiet)...)
}
