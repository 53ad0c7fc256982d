package main

import (
	"fmt"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
	"meshclerk/reply/casework"
)

// oneJob is the part of a command line that names a job and who acts.
type oneJob struct {
	house
	ID string `arg:"" name:"job" help:"The job, e.g. LP-000042."`
	By string `default:"" placeholder:"NAME" help:"Who did it, for the record."`
}

// do opens the ledger, acts on the job and tells what comes of it.
func (c *oneJob) do(e *env, act func(o *casework.Office, id job.ID, by string) (said string, err error)) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	said, err := act(o, jobID(c.ID), whoOr(c.By))
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(e.out, said)
	return err
}

const letterFollows = "the robot drafts a letter to the patron; approve it as usual"

type jobsAssignCmd struct {
	oneJob
	Printer string `required:"" placeholder:"NAME" help:"The printer, as the rules name it."`
}

func (c *jobsAssignCmd) Run(e *env) error {
	r, err := c.rules()
	if err != nil {
		return err
	}
	var names []string
	for _, p := range r.Printers {
		names = append(names, p.Name)
	}
	if c.Printer, err = knownName("--printer", c.Printer, names); err != nil {
		return err
	}
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		if err := o.Reassign(e.ctx, id, c.Printer, by); err != nil {
			return "", err
		}
		return fmt.Sprintf("%s is on the list of %s%s", id, c.Printer, timeThere(e, o.Ledger, id)), nil
	})
}

// timeThere tells how long the print takes on its new printer.
func timeThere(e *env, l *ledger.Ledger, id job.ID) string {
	j, err := l.Job(e.ctx, id)
	if err != nil || j.Report == nil || j.Report.Estimate == nil {
		return ""
	}
	return fmt.Sprintf(", where it takes about %s; its price stays", plain.Spoken(j.Report.Estimate.PrintTimeS))
}

type jobsPrintingCmd struct{ oneJob }

func (c *jobsPrintingCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		return fmt.Sprintf("%s is printing", id), o.Start(e.ctx, id, by)
	})
}

type printedCmd struct {
	oneJob
	Hours   float64 `required:"" placeholder:"H" help:"How long it took, e.g. 3.25."`
	Grams   float64 `required:"" placeholder:"G" help:"What it weighed, supports and all."`
	Printer string  `placeholder:"NAME" help:"The printer, when it was not the planned one."`
}

func (c *printedCmd) Run(e *env) error {
	printer, err := c.printer(c.Printer)
	if err != nil {
		return err
	}
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		err := o.Printed(e.ctx, id, casework.Spent{Printer: printer, Hours: c.Hours, Grams: c.Grams}, by)
		return fmt.Sprintf("%s is ready to be collected; %s%s", id, letterFollows, callHint(e, o.Ledger, id)), err
	})
}

// printer finds a printer by its name in the rules.
func (h *house) printer(name string) (string, error) {
	if name == "" {
		return "", nil
	}
	r, err := h.rules()
	if err != nil {
		return "", err
	}
	var names []string
	for _, p := range r.Printers {
		names = append(names, p.Name)
	}
	return knownName("--printer", name, names)
}

// callHint tells that the patron may be called too.
func callHint(e *env, l *ledger.Ledger, id job.ID) string {
	j, err := l.Job(e.ctx, id)
	if err != nil || j.Wishes.Phone == "" {
		return ""
	}
	return "; the patron asked for a call: " + plain.OneLine(j.Wishes.Phone)
}

type jobsFailedCmd struct {
	oneJob
	Why     string  `required:"" placeholder:"TEXT" help:"What went wrong, in a few words that the patron is told."`
	Hours   float64 `placeholder:"H" help:"How long the printer was busy with it."`
	Grams   float64 `placeholder:"G" help:"The plastic that was lost."`
	Printer string  `placeholder:"NAME" help:"The printer, when it was not the planned one."`
}

func (c *jobsFailedCmd) Run(e *env) error {
	printer, err := c.printer(c.Printer)
	if err != nil {
		return err
	}
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		err := o.PrintFailed(e.ctx, id, casework.Spent{Printer: printer, Hours: c.Hours, Grams: c.Grams}, by, c.Why)
		return fmt.Sprintf("%s has failed; %s. To print it again: meshclerk jobs again %s", id, letterFollows, id), err
	})
}

type jobsAgainCmd struct {
	oneJob
	Why string `default:"to be printed again" placeholder:"TEXT" help:"The reason, for the record."`
}

func (c *jobsAgainCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		return fmt.Sprintf("%s is on the print list again", id), o.PutOff(e.ctx, id, by, c.Why)
	})
}

type jobsCollectedCmd struct {
	oneJob
	Paid    string `required:"" placeholder:"AMOUNT" help:"What was paid, e.g. 3.50; 0 for nothing."`
	Receipt bool   `help:"Draft a letter of thanks that says what was paid."`
}

func (c *jobsCollectedCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		quoted, err := o.Collected(e.ctx, id, c.Paid, by)
		said := fmt.Sprintf("%s is collected; %s %s was paid", id, c.Paid, quoted.Currency)
		if quoted.Total != "" && !sameMoney(c.Paid, quoted.Total, quoted.Currency) {
			said += fmt.Sprintf(", while %s %s had been quoted", quoted.Total, quoted.Currency)
		}
		if err != nil || !c.Receipt {
			return said, err
		}
		return said + "; " + letterFollows, o.Receipt(e.ctx, id)
	})
}

type jobsWithdrawCmd struct {
	oneJob
	Why string `default:"the patron said no" placeholder:"TEXT" help:"The reason, for the record."`
}

func (c *jobsWithdrawCmd) Run(e *env) error { return c.end(e, job.Withdrawn, "", c.Why) }

type jobsDeclineCmd struct {
	oneJob
	As     string `placeholder:"CODE" help:"A reason of the house's list (refusals.toml), e.g. copyright: its sentence goes to the patron, and the monthly report counts it."`
	Why    string `placeholder:"TEXT" help:"The reason in your own words, which the patron is told instead."`
	Letter bool   `help:"Only show the letter that would be drafted."`
}

func (c *jobsDeclineCmd) Run(e *env) error {
	if c.As == "" && c.Why == "" {
		return wrongUse("give a reason: --as CODE of the house's list, or --why in your own words, or both")
	}
	refusal := casework.Refusal{Code: c.As, Words: c.Why}
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		if c.Letter {
			m, err := o.RefusalLetter(e.ctx, id, refusal)
			if err != nil {
				return "", err
			}
			return plainText(m.Raw)
		}
		return fmt.Sprintf("%s is declined; %s. To undo it: meshclerk jobs reopen %s", id, letterFollows, id), o.Refuse(e.ctx, id, refusal, by)
	})
}

type jobsLapseCmd struct {
	oneJob
	Why string `default:"closed by hand" placeholder:"TEXT" help:"The reason, for the record."`
}

func (c *jobsLapseCmd) Run(e *env) error { return c.end(e, job.Lapsed, "", c.Why) }

type jobsCorrectCmd struct {
	oneJob
	Wrong string `required:"" placeholder:"TEXT" help:"What went wrong, for the record."`
}

func (c *jobsCorrectCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		j, err := o.Ledger.Job(e.ctx, id)
		if err != nil {
			return "", err
		}
		done, err := o.Correct(e.ctx, id, j.Stage, by, c.Wrong)
		if err != nil {
			return "", err
		}
		said := fmt.Sprintf("%s was not %s and is %s again; what was recorded of it is taken back", id, j.Stage, done.To)
		if done.Left {
			said += "; a letter about it has left already, so tell the patron"
		}
		return said, nil
	})
}

type jobsReopenCmd struct{ oneJob }

func (c *jobsReopenCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		return fmt.Sprintf("%s goes on; the robot works it out and drafts a new offer", id), o.TakeUp(e.ctx, id, by)
	})
}

func (c *oneJob) end(e *env, to job.Stage, as, why string) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		return fmt.Sprintf("%s is %s; %s", id, to, letterFollows), o.CloseAs(e.ctx, id, to, as, by, why)
	})
}

type jobsJoinCmd struct {
	oneJob
	With []string `arg:"" name:"with" help:"The jobs whose files are one print with it, e.g. LP-000043."`
}

func (c *jobsJoinCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		ids := []job.ID{id}
		for _, other := range c.With {
			ids = append(ids, jobID(other))
		}
		first, err := o.Join(e.ctx, ids, by)
		return fmt.Sprintf("%s goes on as one print of %d files; it is checked and offered anew", first, len(ids)), err
	})
}

type jobsPartCmd struct{ oneJob }

func (c *jobsPartCmd) Run(e *env) error {
	return c.do(e, func(o *casework.Office, id job.ID, by string) (string, error) {
		return fmt.Sprintf("the files of %s are printed each for itself; they are checked and offered anew", id), o.Part(e.ctx, id, by)
	})
}
