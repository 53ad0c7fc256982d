package main

import (
	"context"
	"log/slog"
	"slices"

	"meshclerk/cmd/meshclerk/robot"
	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/mailbox"
	"meshclerk/intake/mailbox/wire"
	"meshclerk/reply/outbox"
	"meshclerk/rules"
)

// servers are the two mail servers of an installation and what opens them.
type servers struct {
	imap       wire.Config
	imapSecret credential.Source
	smtp       outbox.Config
	smtpSecret credential.Source
	log        *slog.Logger
}

func newServers(c *config, r *rules.Rules, getenv func(string) string, log *slog.Logger) (*servers, error) {
	s := &servers{
		imap: c.IMAP.wire("imap", r),
		smtp: outbox.Config{Config: c.SMTP.wire("smtp", r), Hello: c.SMTP.Hello},
		log:  log,
	}
	if err := s.imap.Check(); err != nil {
		return nil, err
	}
	if err := s.smtp.Check(); err != nil {
		return nil, err
	}
	var err error
	if s.imapSecret, err = credential.New(c.IMAP.Credential, getenv, log); err != nil {
		return nil, err
	}
	s.smtpSecret, err = credential.New(c.SMTP.Credential, getenv, log)
	return s, err
}

// secretWarnings says which secret files of an installation others may read.
func secretWarnings(c *config, getenv func(string) string, say func(job.Message) string) []string {
	found := slices.Concat(credential.Warnings(c.IMAP.Credential, getenv), credential.Warnings(c.SMTP.Credential, getenv),
		credential.Warnings(credential.Config{File: c.StaffPage.ProxySecretFile, Dir: c.StaffPage.dir}, getenv), credential.FileWarnings(c.StaffPage.KeyFile))
	out := make([]string, len(found))
	for i, m := range found {
		out[i] = say(m)
	}
	slices.Sort(out)
	return slices.Compact(out) // both servers may be opened by one file
}

func (s mailServer) wire(table string, r *rules.Rules) wire.Config {
	return wire.Config{Host: s.Host, Port: s.Port, TLS: s.TLS, CAFile: s.CAFile, CommandTimeout: r.Mailbox.Command, Table: table}
}

// dial opens the mailbox.
func (s *servers) dial(ctx context.Context) (robot.Mail, error) {
	return mailbox.Dial(ctx, s.imap, s.imapSecret, s.log)
}

// send hands one message to the sending server.
func (s *servers) send(ctx context.Context, m outbox.Message) outbox.Outcome {
	return outbox.Send(ctx, s.smtp, s.smtpSecret, m, s.log)
}

// reach tries whether the sending server answers.
func (s *servers) reach(ctx context.Context) error {
	return outbox.Reach(ctx, s.smtp, s.smtpSecret, s.log)
}
