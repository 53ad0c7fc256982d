package main

import (
	"fmt"
	"slices"

	"meshclerk/intake/plain"
	"meshclerk/reply/draft"
	"meshclerk/rules"
	"meshclerk/templates"
)

type templatesPreviewCmd struct {
	house
	Name      string `arg:"" help:"The text, e.g. quote."`
	Job       string `placeholder:"ID" help:"The job it would be about, e.g. LP-000042; a sample otherwise."`
	Sample    string `default:"usual" help:"The sample it would be about, where no job is named; another name lists them."`
	Templates string `placeholder:"DIR" help:"Folder of reply texts; the installation's or the built-in ones otherwise."`
	Language  string `placeholder:"en|fr|es" help:"Another language than the patron's; of a sample, than the library's first."`
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
	if c.Job == "" {
		m, err := c.sample(set)
		if err != nil {
			return err
		}
		return c.write(e, "sample", c.Sample, m)
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
	return c.write(e, "to", plain.OneLine(m.To.Address), m)
}

// sample fills the text in without any job.
func (c *templatesPreviewCmd) sample(set *templates.Set) (m draft.Message, err error) {
	lang := c.Language
	if lang == "" {
		lang = set.Languages()[0]
	}
	if !slices.Contains(set.Languages(), lang) {
		return m, wrongUse("the library writes no letters in %q", lang)
	}
	d, err := set.SampleFor(lang, c.Sample, c.Name)
	if err != nil {
		return m, err
	}
	t, err := set.Get(lang, c.Name)
	if err != nil {
		return m, err
	}
	if m.Subject, m.Markdown, err = t.Render(d); err != nil {
		return m, err
	}
	m.Plain, m.HTML = draft.Render(m.Markdown, lang, m.Subject)
	return m, nil
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

func (c *templatesPreviewCmd) write(e *env, about, what string, m draft.Message) error {
	body := m.Plain
	switch {
	case c.HTML:
		_, err := fmt.Fprintln(e.out, m.HTML)
		return err
	case c.Markdown:
		body = m.Markdown
	}
	_, err := fmt.Fprintf(e.out, "%-9s %s\nsubject   %s\n\n%s\n", about, what, plain.OneLine(m.Subject), body)
	for _, n := range m.Notes {
		fmt.Fprintf(e.out, "note      %s\n", plain.OneLine(e.words().said(n)))
	}
	return err
}
