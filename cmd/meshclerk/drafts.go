package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
	"meshclerk/reply/outbox"
)

type draftsCmd struct {
	List     draftsListCmd     `cmd:"" help:"List the drafts that wait for a person."`
	Show     draftsShowCmd     `cmd:"" help:"Show one draft as it would leave."`
	Approve  draftsApproveCmd  `cmd:"" help:"Approve a draft, byte for byte; it is then sent."`
	Edit     draftsEditCmd     `cmd:"" help:"Change a draft, in an editor or from a file."`
	SetAside draftsSetAsideCmd `cmd:"" name:"set-aside" help:"Put a draft off; its request waits too. To say no to it: meshclerk jobs decline."`
	Reopen   draftsReopenCmd   `cmd:"" help:"Take up again a draft that was put off, or approved and has not left."`
	Settle   draftsSettleCmd   `cmd:"" help:"Say whether an uncertain draft was sent."`
}

type draftsListCmd struct {
	house
	All  bool `help:"Also those that were sent, set aside or superseded."`
	JSON bool `name:"json" help:"One JSON object per line, for scripts."`
}

func (c *draftsListCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	filter := ledger.DraftFilter{States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftApproved, ledger.DraftSending, ledger.DraftUncertain, ledger.DraftFailed}}
	if c.All {
		filter.States = nil
	}
	drafts, err := l.Drafts(e.ctx, filter)
	if err != nil {
		return err
	}
	var rows [][]string
	for _, d := range drafts {
		if c.JSON {
			d.Doc = nil // a patron's words; drafts show has them
			if err := writeJSON(e, d); err != nil {
				return err
			}
			continue
		}
		rows = append(rows, []string{d.ID, string(d.State), d.Kind, d.To.Address, plain.Shorten(d.Subject, 60), day(d.Made)})
	}
	if c.JSON {
		return nil
	}
	if len(rows) == 0 {
		_, err = fmt.Fprintln(e.out, "no draft waits for anybody")
		return err
	}
	return table(e.out, []string{"ID", "STATE", "KIND", "TO", "SUBJECT", "MADE"}, rows)
}

type draftsShowCmd struct {
	house
	ID   string `arg:"" help:"The draft, e.g. D-000017."`
	JSON bool   `name:"json" help:"As one JSON object."`
	Raw  bool   `help:"The exact bytes that would leave."`
}

func (c *draftsShowCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	d, err := l.Draft(e.ctx, c.ID)
	if err != nil {
		return err
	}
	raw, err := l.DraftBytes(e.ctx, d.ID)
	if err != nil {
		return err
	}
	switch {
	case c.Raw:
		_, err = e.out.Write(raw)
		return err
	case c.JSON:
		return writeJSON(e, struct {
			ledger.Draft
			Doc casework.Written `json:"doc"` // in the place of the ledger's own form
			Raw string           `json:"raw"`
		}{d, casework.WrittenOf(d), string(raw)})
	}
	return c.write(e, l, d, raw)
}

// write shows the draft as its reader will see it, and for an uncertain one
// what is known of it.
func (c *draftsShowCmd) write(e *env, l *ledger.Ledger, d ledger.Draft, raw []byte) error {
	fmt.Fprintf(e.out, "draft     %s, %s %s\njobs      %v\nto        %s\nsubject   %s\nsha256    %s\n", d.ID, d.State, e.words().said(d.Why), d.Jobs, plain.OneLine(d.To.Address), plain.OneLine(d.Subject), d.SHA256)
	if d.AddressedBefore != "" {
		now, err := outbox.Recipients(raw)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.out, "changed   whom it goes to, by an edit\n  before  %s\n  now     %s\n", plain.OneLine(d.AddressedBefore), plain.OneLine(strings.Join(now, ", ")))
	}
	if d.Approval != nil {
		fmt.Fprintf(e.out, "approved  by %s, %s, %s\n", d.Approval.By, d.Approval.Via, day(d.Approval.At))
	}
	sends, err := l.Sends(e.ctx, d.ID)
	if err != nil {
		return err
	}
	for _, s := range sends {
		fmt.Fprintf(e.out, "try       %s: %s %s\n", day(s.Begun), s.Outcome, plain.OneLine(s.Words))
	}
	if d.State == ledger.DraftUncertain {
		fmt.Fprintf(e.out, "sent?     %s\n", c.inSent(e, d))
	}
	text, err := plainText(raw)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "\n%s\n", text)
	return err
}

// inSent looks into the Sent folder for the draft's Message-ID.
func (c *draftsShowCmd) inSent(e *env, d ledger.Draft) string {
	if c.Config == "" {
		return "look in the Sent folder for Message-ID " + d.MessageID
	}
	found, err := searchSent(e, c.Config, d.MessageID)
	switch {
	case err != nil:
		return fmt.Sprintf("the Sent folder could not be searched: %v", err)
	case found:
		return "the Sent folder holds it; settle it with: meshclerk drafts settle " + d.ID + " --sent --by NAME"
	}
	return "the Sent folder does not hold it. That is no proof: the server keeps no copy by itself everywhere. Ask the patron, or look in the mail server's log"
}

func searchSent(e *env, path, messageID string) (bool, error) {
	conf, err := loadConfig(path)
	if err != nil {
		return false, err
	}
	r, err := loadRules(conf.Rules)
	if err != nil {
		return false, err
	}
	s, err := newServers(conf, r, e.getenv, slog.New(slog.DiscardHandler))
	if err != nil {
		return false, err
	}
	ctx, cancel := context.WithTimeout(e.ctx, time.Minute)
	defer cancel()
	m, err := s.dial(ctx)
	if err != nil {
		return false, err
	}
	defer m.Close()
	refs, err := m.FindMessageID(ctx, r.Mailbox.Sent, messageID)
	return len(refs) > 0, err
}

type draftsApproveCmd struct {
	house
	ID  string `arg:"" help:"The draft, e.g. D-000017."`
	By  string `required:"" placeholder:"NAME" help:"Who approves it."`
	SHA string `name:"sha256" placeholder:"HASH" help:"Approve only these bytes, as drafts show gave them; else the draft as it stands."`
	To  string `placeholder:"ADDRESS,…" help:"Confirm the recipients of a draft that an edit addressed to others."`
}

func (c *draftsApproveCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	l := o.Ledger
	defer l.Close()
	d, err := l.Draft(e.ctx, c.ID)
	if err != nil {
		return err
	}
	if err := c.confirmed(e, l, d); err != nil {
		return err
	}
	if c.SHA == "" {
		c.SHA = d.SHA256
	}
	if err := o.Approve(e.ctx, c.ID, strings.ToLower(c.SHA), c.By, ledger.ViaCommand); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s is approved by %s and leaves with the robot's next step\n", c.ID, c.By)
	return err
}

// confirmed asks for the recipients by name where they are others than the draft
// was written for.
func (c *draftsApproveCmd) confirmed(e *env, l *ledger.Ledger, d ledger.Draft) error {
	if d.AddressedBefore == "" || d.State != ledger.DraftWaiting {
		return nil
	}
	raw, err := l.DraftBytes(e.ctx, d.ID)
	if err != nil {
		return err
	}
	now, err := outbox.Recipients(raw)
	if err != nil {
		return err
	}
	list := strings.Join(now, ",")
	if given := strings.ReplaceAll(c.To, " ", ""); strings.EqualFold(given, list) {
		return nil
	}
	return wrongUse("an edit changed whom draft %s goes to: before %s, now %s; to confirm that, approve it with --to %s", d.ID, d.AddressedBefore, strings.Join(now, ", "), list)
}

type draftsSetAsideCmd struct {
	house
	ID  string `arg:"" help:"The draft, e.g. D-000017."`
	By  string `required:"" placeholder:"NAME" help:"Who puts it off."`
	Why string `default:"" placeholder:"TEXT" help:"The reason, for the record."`
}

func (c *draftsSetAsideCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	if err := o.SetAside(e.ctx, c.ID, c.By, c.Why); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s is set aside and will not be sent; to take it up again: meshclerk drafts reopen %s --by NAME\n", c.ID, c.ID)
	return err
}

type draftsReopenCmd struct {
	house
	ID  string `arg:"" help:"The draft, e.g. D-000017."`
	By  string `required:"" placeholder:"NAME" help:"Who takes it up again."`
	Why string `default:"" placeholder:"TEXT" help:"The reason, for the record."`
}

func (c *draftsReopenCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	if err := o.Reopen(e.ctx, c.ID, c.By, c.Why); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s waits for approval again\n", c.ID)
	return err
}

type draftsSettleCmd struct {
	house
	ID      string `arg:"" help:"The draft, e.g. D-000017."`
	By      string `required:"" placeholder:"NAME" help:"Who found out."`
	Sent    bool   `xor:"outcome" required:"" help:"It was sent."`
	NotSent bool   `name:"not-sent" xor:"outcome" required:"" help:"It was not; it waits for approval again."`
}

func (c *draftsSettleCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	if err := o.Settle(e.ctx, c.ID, c.Sent, c.By); err != nil {
		return err
	}
	word := "waits for approval again"
	if c.Sent {
		word = "counts as sent"
	}
	_, err = fmt.Fprintf(e.out, "%s %s\n", c.ID, word)
	return err
}

type draftsEditCmd struct {
	house
	ID   string `arg:"" help:"The draft, e.g. D-000017."`
	By   string `required:"" placeholder:"NAME" help:"Who changes it."`
	From string `placeholder:"FILE" help:"The new message; - for standard input. Else an editor opens ($EDITOR)."`
}

func (c *draftsEditCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	l := o.Ledger
	defer l.Close()
	d, err := l.Draft(e.ctx, c.ID)
	if err != nil {
		return err
	}
	raw, err := l.DraftBytes(e.ctx, c.ID)
	if err != nil {
		return err
	}
	changed, err := c.changed(e, raw)
	if err != nil {
		return err
	}
	if string(changed) == string(raw) {
		_, err = fmt.Fprintf(e.out, "%s is left as it was\n", c.ID)
		return err
	}
	if d, err = o.Edit(e.ctx, c.ID, d.SHA256, changed, c.By); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s is changed (version %d); approve it with: meshclerk drafts approve %s --by NAME\n", d.ID, d.Revision, d.ID)
	return err
}

func (c *draftsEditCmd) changed(e *env, raw []byte) ([]byte, error) {
	switch c.From {
	case "":
		return c.editor(e, raw)
	case "-":
		return io.ReadAll(io.LimitReader(e.in, 25<<20))
	}
	b, err := os.ReadFile(c.From)
	if err != nil {
		return nil, wrongUse("%s cannot be read: %w", c.From, err)
	}
	return b, nil
}

// editor opens the message in the person's own editor, from a private folder.
func (c *draftsEditCmd) editor(e *env, raw []byte) ([]byte, error) {
	program := e.getenv("EDITOR")
	if program == "" {
		return nil, wrongUse("no editor is set; set EDITOR, or give the new message with --from FILE")
	}
	dir, err := os.MkdirTemp("", "meshclerk-edit-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, c.ID+".eml")
	if err := os.WriteFile(path, []byte(strings.ReplaceAll(string(raw), "\r\n", "\n")), 0o600); err != nil {
		return nil, err
	}
	words := strings.Fields(program)
	if len(words) == 0 {
		return nil, errors.New("EDITOR is blank")
	}
	run := exec.CommandContext(e.ctx, words[0], append(words[1:], path)...)
	run.Stdin, run.Stdout, run.Stderr = e.in, e.out, e.err
	if err := run.Run(); err != nil {
		return nil, fmt.Errorf("the editor %s ended with an error: %w; the draft is left as it was", program, err)
	}
	return os.ReadFile(path)
}
