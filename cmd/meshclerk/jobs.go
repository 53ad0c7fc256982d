package main

import (
	"fmt"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/plain"
)

type jobsCmd struct {
	List      jobsListCmd      `cmd:"" default:"withargs" help:"List jobs: all, or those that are asked for."`
	Show      jobsShowCmd      `cmd:"" help:"Show one job with its history."`
	Sheet     jobsSheetCmd     `cmd:"" help:"Write a job's sheet and the mended, turned part for the person at the printer."`
	Assign    jobsAssignCmd    `cmd:"" help:"Put a job onto a printer's list."`
	Printing  jobsPrintingCmd  `cmd:"" help:"Record that a job is on a printer now."`
	Printed   printedCmd       `cmd:"" aliases:"done" help:"Record a finished print: what it took; the patron is told that it is ready."`
	Failed    jobsFailedCmd    `cmd:"" help:"Record that a print went wrong; the patron is told."`
	Again     jobsAgainCmd     `cmd:"" help:"Put a failed job onto the print list again, or take one off its printer."`
	Collected jobsCollectedCmd `cmd:"" help:"Record that a part was handed over, and what was paid."`
	Join      jobsJoinCmd      `cmd:"" help:"Let files of one conversation go on as one print, as they are drawn."`
	Part      jobsPartCmd      `cmd:"" help:"Make jobs of their own again of the files of one print."`
	Withdraw  jobsWithdrawCmd  `cmd:"" help:"Close a job because its patron said no; the patron gets a letter."`
	Decline   jobsDeclineCmd   `cmd:"" help:"Close a job because the house says no; the patron is told why."`
	Correct   jobsCorrectCmd   `cmd:"" help:"Take back a printing, ready or collected that was recorded by mistake."`
	Reopen    jobsReopenCmd    `cmd:"" help:"Let a declined or withdrawn job go on: it is checked and offered anew."`
	Lapse     jobsLapseCmd     `cmd:"" help:"Close a job because nobody answered or nobody came."`
	Calls     jobsCallsCmd     `cmd:"" help:"List the patrons to be called because a part is ready."`
	Called    jobsCalledCmd    `cmd:"" help:"Record that a patron was called."`
}

type jobsListCmd struct {
	house
	Stage   []string `placeholder:"STAGE" help:"Only these stages, e.g. agreed,printing."`
	Open    bool     `help:"Only jobs that are not at their end."`
	Prints  bool     `help:"The print list: agreed, printing and failed, the soonest needed first."`
	Patron  string   `placeholder:"ADDRESS" help:"Only this patron's."`
	Printer string   `placeholder:"NAME" help:"Only this printer's."`
	Pickup  string   `placeholder:"BRANCH" help:"Only those collected at this branch."`
	Find    string   `placeholder:"TEXT" help:"Only those whose file, patron or number holds this."`
	Sort    string   `placeholder:"BY" default:"made" help:"made, changed, since, needed, stage, patron, printer or time."`
	Down    bool     `help:"The largest or latest first."`
	Limit   int      `placeholder:"N" help:"At most so many."`
	JSON    bool     `name:"json" help:"One JSON object per line, for scripts."`
}

func (c *jobsListCmd) Run(e *env) error {
	filter, err := c.filter()
	if err != nil {
		return err
	}
	o, err := c.office(e)
	if err != nil {
		return err
	}
	l := o.Ledger
	defer l.Close()
	rows, err := l.Jobs(e.ctx, filter)
	if err != nil {
		return wrongUse("%w", err)
	}
	if c.JSON {
		for _, row := range rows {
			p, err := public(e, o, row)
			if err != nil {
				return err
			}
			if err := writeJSON(e, p); err != nil {
				return err
			}
		}
		return nil
	}
	if len(rows) == 0 {
		any, err := l.Jobs(e.ctx, ledger.Filter{Limit: 1})
		if err != nil {
			return err
		}
		said := "no job is like that; meshclerk jobs list shows all"
		if len(any) == 0 {
			said = "there are no jobs yet"
		}
		_, err = fmt.Fprintln(e.out, said)
		return err
	}
	var out [][]string
	for _, r := range rows {
		out = append(out, []string{string(r.ID), string(r.Stage), day(r.Since), r.Patron.Address, plain.Shorten(r.File, 28), fmt.Sprint(r.Copies), r.Colour,
			r.Printer, plain.Spoken(r.PrintTimeS), r.NeededBy, r.Pickup, strings.TrimSpace(r.Total + " " + r.Currency)})
	}
	return table(e.out, []string{"JOB", "STAGE", "SINCE", "PATRON", "FILE", "COPIES", "COLOUR", "PRINTER", "TIME", "NEEDED", "PICKUP", "PRICE"}, out)
}

func (c *jobsListCmd) filter() (ledger.Filter, error) {
	f := ledger.Filter{Open: c.Open, Patron: c.Patron, Printer: c.Printer, Pickup: c.Pickup, Text: c.Find, Sort: c.Sort, Down: c.Down, Limit: c.Limit}
	var known []string
	for _, s := range job.Stages() {
		known = append(known, string(s))
	}
	for _, word := range c.Stage {
		s, err := knownStage(word, known)
		if err != nil {
			return f, err
		}
		f.Stages = append(f.Stages, s)
	}
	if c.Limit < 0 {
		return f, wrongUse("--limit must be 1 or more, not %d", c.Limit)
	}
	if c.Prints {
		f.Stages = append(f.Stages, job.Agreed, job.Printing, job.Failed)
		if f.Sort == "made" {
			f.Sort = "needed"
		}
	}
	return f, nil
}

func knownStage(word string, known []string) (job.Stage, error) {
	for _, k := range known {
		if strings.EqualFold(k, word) {
			return job.Stage(k), nil
		}
	}
	return "", wrongUse("--stage %q is no stage; there are: %s", word, strings.Join(known, ", "))
}
