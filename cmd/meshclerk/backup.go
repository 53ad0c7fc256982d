package main

import (
	"fmt"
	"log/slog"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// open opens the ledger of the installation. It must be there already, but for
// commands that may come first.
func (h *house) open(e *env) (*ledger.Ledger, error) {
	dir, err := h.dataDir()
	if err != nil {
		return nil, err
	}
	return ledger.Open(e.ctx, dir, slog.New(slog.DiscardHandler), nil)
}

type backupCmd struct {
	house
	To string `required:"" placeholder:"DIR" help:"New folder for the copy."`
}

func (c *backupCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	if err := l.Backup(e.ctx, c.To); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "the ledger and its files are copied to %s; prove it with: meshclerk verify --data %s\n", c.To, c.To)
	return err
}

type verifyCmd struct {
	house
	JSON bool `name:"json" help:"One JSON object per problem, for scripts."`
}

func (c *verifyCmd) Run(e *env) error {
	dir, err := c.dataDir()
	if err != nil {
		return err
	}
	l, err := ledger.OpenCopy(e.ctx, dir, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer l.Close()
	problems, err := l.Verify(e.ctx)
	if err != nil {
		return err
	}
	for _, p := range problems {
		if c.JSON {
			err = writeJSON(e, p)
		} else {
			_, err = fmt.Fprintln(e.out, strings.TrimSpace(fmt.Sprint(p)))
		}
		if err != nil {
			return err
		}
	}
	if len(problems) > 0 {
		return fmt.Errorf("%s in %s; restore the last good backup beside it and compare", job.Count(len(problems), "problem", "problems"), dir)
	}
	if !c.JSON {
		_, err = fmt.Fprintf(e.out, "%s is whole: every file is there and unchanged, every approval matches its bytes, every history adds up\n", dir)
	}
	return err
}
