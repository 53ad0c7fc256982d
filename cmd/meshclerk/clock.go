package main

import (
	"fmt"
	"time"

	"meshclerk/intake/ledger"
)

type clockCmd struct {
	house
	Right bool   `help:"Say that the machine's clock is right, e.g. after a long time off."`
	By    string `placeholder:"NAME" help:"Who has looked, for the record."`
}

func (c *clockCmd) Run(e *env) error {
	if c.Right && c.By == "" {
		return wrongUse("say who has looked at the clock: --by NAME")
	}
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	if c.Right {
		if err := l.Tx(e.ctx, func(tx *ledger.Tx) error { return tx.SayClockRight(e.ctx, c.By) }); err != nil {
			return err
		}
		_, err = fmt.Fprintln(e.out, "the running robot believes the clock from its next look at the mailbox on")
		return err
	}
	last, err := l.ClockBelieved(e.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "this machine's clock says %s\n", time.Now().Format("2006-01-02 15:04 MST"))
	_, err = fmt.Fprintf(e.out, "it was last believed at   %s\n", when(last))
	return err
}
