package main

import (
	"fmt"
	"slices"

	"meshclerk/intake/plain"
	"meshclerk/templates"
)

type templatesFieldsCmd struct {
	house
	For       string `default:"quote" placeholder:"TEXT" help:"The text, or a piece such as _question; quote otherwise."`
	Job       string `placeholder:"ID" help:"What they give for this job, e.g. LP-000042."`
	Sample    string `default:"full" help:"What they give for this sample, where no job is named."`
	Templates string `placeholder:"DIR" help:"Folder of reply texts; the installation's or the built-in ones otherwise."`
	Language  string `placeholder:"en|fr|es" help:"Another language than the library's first."`
	JSON      bool   `name:"json" help:"As JSON."`
}

func (c *templatesFieldsCmd) Run(e *env) error {
	r, err := c.rules()
	if err != nil {
		return err
	}
	set, err := (&templatesPreviewCmd{house: c.house, Templates: c.Templates}).set(r)
	if err != nil {
		return err
	}
	lang := c.Language
	if lang == "" {
		lang = r.Library.Languages[0]
	}
	if !slices.Contains(set.Languages(), lang) {
		return wrongUse("the library writes no letters in %q", lang)
	}
	d, err := c.data(e, set, lang)
	if err != nil {
		return err
	}
	names, err := set.Fields(lang, c.For, d)
	if err != nil {
		return wrongUse("%w", err)
	}
	if c.JSON {
		return writeJSON(e, names)
	}
	return writeNames(e, names)
}

// data is the letter of a job, or a sample.
func (c *templatesFieldsCmd) data(e *env, set *templates.Set, lang string) (*templates.Data, error) {
	if c.Job == "" {
		return set.Sample(lang, c.Sample)
	}
	o, err := c.office(e)
	if err != nil {
		return nil, err
	}
	defer o.Ledger.Close()
	return o.PreviewData(e.ctx, set, jobID(c.Job), c.For, lang)
}

func writeNames(e *env, names []templates.Given) error {
	for _, n := range names {
		what := n.What
		if n.Of != "" {
			what = plain.Capital(n.Of) + ": " + what
		}
		if _, err := fmt.Fprintf(e.out, "%-44s %-62s %s\n", n.Written, n.Gives, what); err != nil {
			return err
		}
	}
	return nil
}
