package main

import (
	"fmt"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

type retryCmd struct {
	house
	IDs []string `arg:"" optional:"" name:"id" help:"What to try again: letters, jobs or drafts, e.g. L-000012. Without any, list what was given up, and what waits for the house's trouble to end."`
	All bool     `help:"Everything that was given up."`
	By  string   `placeholder:"NAME" help:"Who has it tried again, for the record."`
}

func (c *retryCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	given, err := l.GivenUp(e.ctx)
	if err != nil {
		return err
	}
	if c.All {
		c.IDs = subjects(given)
	}
	if len(c.IDs) == 0 {
		open, err := l.OpenSteps(e.ctx)
		if err != nil {
			return err
		}
		return c.list(e, given, open)
	}
	if c.By == "" {
		return wrongUse("say who has it tried again: --by NAME")
	}
	err = l.Tx(e.ctx, func(tx *ledger.Tx) error {
		for _, id := range c.IDs {
			if err := tx.TryAgain(e.ctx, id, c.By); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s will be tried again; the running robot begins at once\n", job.Count(len(c.IDs), "thing", "things"))
	return err
}

// subjects are what the steps are about, each once.
func subjects(steps []ledger.OpenStep) []string {
	var out []string
	seen := map[string]bool{}
	for _, s := range steps {
		if !seen[s.Subject] {
			out = append(out, s.Subject)
		}
		seen[s.Subject] = true
	}
	return out
}

func (c *retryCmd) list(e *env, given, open []ledger.OpenStep) error {
	var rows [][]string
	for _, s := range given {
		rows = append(rows, []string{s.Subject, string(s.Kind), "given up", e.words().said(s.LastError)})
	}
	for _, s := range open {
		if s.Trouble != ledger.NoTrouble {
			rows = append(rows, []string{s.Subject, string(s.Kind), "tried again at " + s.Due.Local().Format("15:04:05"), e.words().said(s.LastError)})
		}
	}
	if len(rows) == 0 {
		_, err := fmt.Fprintln(e.out, "nothing was given up, and nothing waits for a trouble to end")
		return err
	}
	return table(e.out, []string{"ID", "STEP", "STATE", "WHY"}, rows)
}
