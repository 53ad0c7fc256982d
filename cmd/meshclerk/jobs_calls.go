package main

import (
	"fmt"
	"strings"

	"github.com/bojanz/currency"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/casework"
)

// sameMoney tells whether two decimal amounts are worth the same.
func sameMoney(a, b, code string) bool {
	x, errX := currency.NewAmount(a, code)
	y, errY := currency.NewAmount(b, code)
	if errX != nil || errY != nil {
		return false
	}
	order, err := x.Cmp(y)
	return err == nil && order == 0
}

type jobsCallsCmd struct {
	house
	JSON bool `name:"json" help:"One JSON object per line, for scripts."`
}

// call is one patron to be called.
type call struct {
	Job    job.ID `json:"job"`
	Phone  string `json:"phone"`
	Name   string `json:"name"`
	File   string `json:"file"`
	Pickup string `json:"pickup"`
	ToPay  string `json:"to_pay"`
	Ready  string `json:"ready"`
	Called string `json:"called"` // when last, and what came of it; "" for not yet
}

func (c *jobsCallsCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	calls, err := callsOf(e, l)
	if err != nil {
		return err
	}
	if c.JSON {
		for _, one := range calls {
			if err := writeJSON(e, one); err != nil {
				return err
			}
		}
		return nil
	}
	if len(calls) == 0 {
		_, err = fmt.Fprintln(e.out, "nobody is to be called: no ready part belongs to a patron who gave a telephone number")
		return err
	}
	var rows [][]string
	for _, k := range calls {
		rows = append(rows, []string{k.Phone, k.Name, string(k.Job), k.File, k.Pickup, k.ToPay, k.Ready, orDash(k.Called)})
	}
	return table(e.out, []string{"PHONE", "NAME", "JOB", "FILE", "AT", "TO PAY", "READY", "CALLED"}, rows)
}

const whatCalled = "called"

func callsOf(e *env, l *ledger.Ledger) ([]call, error) {
	rows, err := l.Jobs(e.ctx, ledger.Filter{Stages: []job.Stage{job.Ready}, Sort: "since"})
	if err != nil {
		return nil, err
	}
	var out []call
	for _, r := range rows {
		if r.Phone == "" {
			continue
		}
		one := call{Job: r.ID, Phone: r.Phone, Name: r.Patron.Name, File: r.File, Pickup: r.Pickup,
			ToPay: strings.TrimSpace(r.Total + " " + r.Currency), Ready: day(r.Since)}
		events, err := l.Events(e.ctx, string(r.ID))
		if err != nil {
			return nil, err
		}
		for _, ev := range events {
			if ev.What == whatCalled && !ev.At.Before(r.Since) {
				one.Called = day(ev.At) + " " + e.words().said(ev.Why)
			}
		}
		out = append(out, one)
	}
	return out, nil
}

type jobsCalledCmd struct {
	oneJob
	Why string `name:"said" default:"" placeholder:"TEXT" help:"What came of it, e.g. left a message."`
}

func (c *jobsCalledCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		return fmt.Sprintf("the call about %s is on record", id), o.Ledger.Tx(e.ctx, func(tx *ledger.Tx) error {
			if _, err := tx.Job(e.ctx, id); err != nil {
				return err
			}
			return tx.Note(e.ctx, string(id), whatCalled, by, job.Plain(c.Why))
		})
	})
}
