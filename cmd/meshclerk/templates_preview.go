package main

import (
	"fmt"

	"meshclerk/intake/plain"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

type templatesPreviewCmd struct {
	house
	Name      string `arg:"" help:"The text, e.g. quote."`
	Job       string `required:"" placeholder:"ID" help:"The job it would be about, e.g. LP-000042."`
	Templates string `placeholder:"DIR" help:"Folder of reply texts; the installation's or the built-in ones otherwise."`
	Language  string `placeholder:"en|fr|es" help:"Another language than the patron's."`
	HTML      bool   `name:"html" help:"The HTML part."`
	Markdown  bool   `help:"The filled-in Markdown."`
}

func (c *templatesPreviewCmd) Run(e *env) error {
	r, err := c.rules()
	if err != nil {
		return err
	}
	set, err := c.set(r)
	if err != nil {
		return err
	}
	if _, err := set.Get(r.Library.Languages[0], c.Name); err != nil {
		return wrongUse("%w", err)
	}
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	m, err := o.Preview(e.ctx, set, jobID(c.Job), c.Name, c.Language)
	if err != nil {
		return err
	}
	return c.write(e, m)
}

func (c *templatesPreviewCmd) set(r *rules.Rules) (*templates.Set, error) {
	dir := c.Templates
	if dir == "" && c.Config != "" {
		conf, err := loadConfig(c.Config)
		if err != nil {
			return nil, err
		}
		dir = conf.Templates
	}
	return templates.LoadHouse(dir, r)
}

func (c *templatesPreviewCmd) write(e *env, m draft.Message) error {
	body := m.Plain
	switch {
	case c.HTML:
		_, err := fmt.Fprintln(e.out, m.HTML)
		return err
	case c.Markdown:
		body = m.Markdown
	}
	_, err := fmt.Fprintf(e.out, "to        %s\nsubject   %s\n\n%s\n", plain.OneLine(m.To.Address), plain.OneLine(m.Subject), body)
	for _, n := range m.Notes {
		fmt.Fprintf(e.out, "note      %s\n", plain.OneLine(e.words().said(n)))
	}
	return err
}
