package main

import (
	"fmt"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

type restoredCmd struct {
	house
	GoOn bool   `name:"go-on" help:"Let the service post and send again: what was found in the Sent folder counts as sent."`
	By   string `placeholder:"NAME" help:"Who has looked at the list, for the record."`
	JSON bool   `name:"json" help:"One JSON object per line, for scripts."`
}

func (c *restoredCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	l := o.Ledger
	defer l.Close()
	if c.GoOn {
		return c.goOn(e, o)
	}
	found, err := l.FoundSent(e.ctx)
	if err != nil {
		return err
	}
	if c.JSON {
		for _, f := range found {
			if err := writeJSON(e, f); err != nil {
				return err
			}
		}
		return nil
	}
	return c.list(e, l, found)
}

func (c *restoredCmd) goOn(e *env, o *casework.Office) error {
	if c.By == "" {
		return wrongUse("say who has looked at the list: --by NAME")
	}
	sent, err := o.GoOn(e.ctx, c.By)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "the service goes on; %s found in the Sent folder counted as sent\n", job.Count(len(sent), "draft", "drafts"))
	return err
}

func (c *restoredCmd) list(e *env, l *ledger.Ledger, found []ledger.FoundSent) error {
	since, err := l.HeldSince(e.ctx)
	if err != nil {
		return err
	}
	if since.IsZero() {
		_, err := fmt.Fprintln(e.out, "nothing is held back: the ledger is as new as its mailbox")
		return err
	}
	var rows [][]string
	for _, f := range found {
		rows = append(rows, []string{where(f), when(f.Sent), orDash(f.Draft), orDash(f.Letter), consequence(f)})
	}
	if err := table(e.out, []string{"LIES IN", "SENT", "DRAFT", "ANSWERS", "WHAT COMES OF IT"}, rows); err != nil {
		return err
	}
	_, err = fmt.Fprintln(e.out, "\nread these in the mailbox, then: meshclerk restored --go-on --by NAME")
	return err
}

func where(f ledger.FoundSent) string {
	return fmt.Sprintf("%s, message %d", f.Place.Folder, f.Place.UID)
}

func when(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Format("2006-01-02 15:04")
}

// consequence is what happens with a message once somebody says go on.
func consequence(f ledger.FoundSent) string {
	switch {
	case f.Sent.IsZero():
		return "an old draft: it is left alone, remove it by hand"
	case f.Draft != "":
		return "the draft counts as sent"
	case f.Letter != "":
		return "the new draft for this letter waits, and is not laid into the mailbox"
	}
	return "it is remembered, so that its letter is not answered twice"
}
