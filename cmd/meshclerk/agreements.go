package main

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

type agreementsCmd struct {
	Import agreementsImportCmd `cmd:"" help:"Read signed agreements from a CSV file; the same file may be read again."`
	Add    agreementsAddCmd    `cmd:"" help:"Record one signed agreement."`
	Form   agreementsFormCmd   `cmd:"" help:"Write the documents and pictures that came with a job's letters, to look at a signed agreement."`
	List   agreementsListCmd   `cmd:"" help:"List the register."`
	Sender agreementsSenderCmd `cmd:"" help:"Record that a job's sender, whom the mail server could not prove, is who the letter says."`
}

type agreementsImportCmd struct {
	house
	File    string `arg:"" help:"CSV with the columns address, name and signed on, and perhaps card number, version, expires, guardian, birth date, minor, other addresses."`
	Version string `placeholder:"VERSION" help:"The version of the text that was signed, for a file without such a column; the current one otherwise."`
	By      string `default:"" placeholder:"NAME" help:"Who imports it, for the record."`
}

func (c *agreementsImportCmd) Run(e *env) error {
	f, err := os.Open(c.File)
	if err != nil {
		return wrongUse("%s cannot be opened: %w", c.File, err)
	}
	defer f.Close()
	entries, err := agreement.ParseCSV(f)
	if err != nil {
		return fmt.Errorf("nothing was imported from %s:\n%w", c.File, err)
	}
	if err := c.fillVersion(e, entries); err != nil {
		return err
	}
	return c.record(e, entries, c.By, "imported from a file")
}

// fillVersion names the version where the file has no column for it.
func (c *agreementsImportCmd) fillVersion(e *env, entries []agreement.Entry) error {
	if !slices.ContainsFunc(entries, func(en agreement.Entry) bool { return en.Version == "" }) {
		return nil
	}
	version, hint := c.Version, ""
	if version == "" {
		r, err := c.rules()
		if err != nil {
			return err
		}
		version, hint = r.Agreement.Current, ", the current one; --version names another"
	}
	for i := range entries {
		entries[i].Version = cmp.Or(entries[i].Version, version)
	}
	_, err := fmt.Fprintf(e.out, "the file does not say which version was signed; taken for %s%s\n", version, hint)
	return err
}

type agreementsAddCmd struct {
	house
	Job      string   `placeholder:"ID" help:"The job whose patron signed: gives address, name and card, where the letters say them."`
	Address  string   `placeholder:"ADDRESS" help:"The patron's mail address, without a job."`
	Name     string   `placeholder:"NAME" help:"The patron's name, as signed."`
	Card     string   `placeholder:"NUMBER" help:"The library card."`
	Signed   string   `required:"" placeholder:"YYYY-MM-DD" help:"The day it was signed."`
	Version  string   `placeholder:"VERSION" help:"The version of the text; the current one otherwise."`
	Expires  string   `placeholder:"YYYY-MM-DD" help:"The day it ends, if it does."`
	Guardian string   `placeholder:"NAME" help:"Who signed for a minor."`
	Minor    bool     `help:"The patron is a minor."`
	Other    []string `placeholder:"ADDRESS" help:"Another address the patron writes from."`
	By       string   `default:"" placeholder:"NAME" help:"Who adds it, for the record."`
}

func (c *agreementsAddCmd) Run(e *env) error {
	signed, err := agreement.ParseDay(c.Signed)
	if err != nil {
		return wrongUse("--signed: %w", err)
	}
	expires := ""
	if c.Expires != "" {
		if expires, err = agreement.ParseDay(c.Expires); err != nil {
			return wrongUse("--expires: %w", err)
		}
	}
	if err := c.ofJob(e); err != nil {
		return err
	}
	switch {
	case c.Address == "":
		return wrongUse("say who signed: --job, or --address and --name")
	case !strings.Contains(c.Address, "@"):
		return wrongUse("--address %q is not a mail address", c.Address)
	case c.Name == "":
		return wrongUse("--name is missing: write the name that is signed")
	}
	if c.Version == "" {
		r, err := c.rules()
		if err != nil {
			return err
		}
		c.Version = r.Agreement.Current
	}
	entry := agreement.Entry{
		Address: agreement.Normal(c.Address), Others: c.Other, Name: c.Name, Card: c.Card,
		Signed: signed, Version: c.Version, Expires: expires, Guardian: c.Guardian, Minor: c.Minor,
	}
	return c.record(e, []agreement.Entry{entry}, c.By, "added by hand")
}

// ofJob fills in what the letters of a job say about its patron.
func (c *agreementsAddCmd) ofJob(e *env) error {
	if c.Job == "" {
		return nil
	}
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	j, err := l.Job(e.ctx, jobID(c.Job))
	if err != nil {
		return err
	}
	c.Address = cmp.Or(c.Address, j.Patron.Address)
	c.Name = cmp.Or(c.Name, plain.OneLine(j.Patron.Name))
	c.Card = cmp.Or(c.Card, j.Wishes.Card)
	return nil
}

// record puts entries into the register; the robot sees by itself which jobs
// were waiting for them.
func (h *house) record(e *env, entries []agreement.Entry, by, why string) error {
	l, err := h.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	done, err := l.UpsertAgreements(e.ctx, entries, whoOr(by), why)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "%d added, %d changed, %d known already\n", done.Added, done.Changed, done.Same)
	if n := len(done.Waiting); n > 0 {
		fmt.Fprintf(e.out, "%s waited for one of these, and go on by themselves: %s\n", job.Count(n, "job", "jobs"), strings.Join(done.Waiting, ", "))
	}
	return nil
}

type agreementsListCmd struct {
	house
	JSON bool   `name:"json" help:"One JSON object per line, for scripts."`
	Find string `placeholder:"TEXT" help:"Only those whose address, name or card holds this."`
}

func (c *agreementsListCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	all, err := l.Agreements(e.ctx)
	if err != nil {
		return err
	}
	var rows [][]string
	for _, a := range all {
		if !holds(a, c.Find) {
			continue
		}
		if c.JSON {
			if err := writeJSON(e, a); err != nil {
				return err
			}
			continue
		}
		rows = append(rows, []string{a.Name, a.Address, a.Card, a.Signed, a.Version, a.Expires, a.Guardian})
	}
	if c.JSON {
		return nil
	}
	return table(e.out, []string{"NAME", "ADDRESS", "CARD", "SIGNED", "VERSION", "EXPIRES", "GUARDIAN"}, rows)
}

func holds(a agreement.Entry, find string) bool {
	text := strings.ToLower(strings.Join(append(a.Addresses(), a.Name, a.Card), " "))
	return strings.Contains(text, strings.ToLower(find))
}

type agreementsSenderCmd struct {
	house
	Job string `arg:"" help:"The job, e.g. LP-000042."`
	By  string `required:"" placeholder:"NAME" help:"Who made sure, e.g. by calling the patron."`
}

func (c *agreementsSenderCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	if err := o.Confirm(e.ctx, job.ID(c.Job), c.By); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "the sender of %s counts as proven; the register is looked up again\n", c.Job)
	return err
}
