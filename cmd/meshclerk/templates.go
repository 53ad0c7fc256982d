package main

import (
	"fmt"

	"meshclerk/templates"
)

type templatesCmd struct {
	Check   templatesCheckCmd   `cmd:"" help:"Render every reply text against every sample job, and say what is wrong."`
	Preview templatesPreviewCmd `cmd:"" help:"Show one reply text as it would read for one job."`
	Fields  templatesFieldsCmd  `cmd:"" help:"List the fields and conditions of a reply text, and what they give for one job."`
	Export  templatesExportCmd  `cmd:"" help:"Write the built-in reply texts, to be changed."`
}

type templatesCheckCmd struct {
	rulesFrom
	Templates string `placeholder:"DIR" help:"Folder of reply texts; the built-in ones otherwise."`
}

func (c *templatesCheckCmd) Run(e *env) error {
	r, err := c.load()
	if err != nil {
		return err
	}
	dir := c.Templates
	if dir == "" && c.Config != "" {
		conf, err := loadConfig(c.Config)
		if err != nil {
			return err
		}
		dir = conf.Templates
	}
	set, err := templates.LoadHouse(dir, r)
	if err != nil {
		return err
	}
	if err := set.Check(); err != nil {
		return err
	}
	if unread := set.Unread(); len(unread) > 0 {
		return unread
	}
	where := "all built in, since no folder of the house's own is named"
	if dir != "" {
		where = fmt.Sprintf("with %d texts and pieces of the house's own from %s", len(set.Own()), dir)
	}
	_, err = fmt.Fprintf(e.out, "the reply texts are in order: %d situations in %d languages, %s; the %d sentences beside them too\n",
		len(set.Names()), len(set.Languages()), where, len(set.Book().Keys()))
	return err
}

type templatesExportCmd struct {
	To string `required:"" placeholder:"DIR" help:"Folder to write to; files that exist are left alone."`
}

func (c *templatesExportCmd) Run(e *env) error {
	return export(e, c.To, templates.Files(), templates.Builtin)
}
