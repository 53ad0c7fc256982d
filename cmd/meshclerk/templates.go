package main

import (
	"fmt"
	"path"
	"strings"

	"meshclerk/rules"
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
	Names []string `arg:"" optional:"" name:"name" help:"Only these: a text such as quote, a piece such as _offer, or one file such as en/quote.md; all of them otherwise."`
	To    string   `required:"" placeholder:"DIR" help:"Folder to write to; files that exist are left alone."`
}

func (c *templatesExportCmd) Run(e *env) error {
	files, err := c.files()
	if err != nil {
		return err
	}
	return export(e, c.To, files, templates.Builtin)
}

// files are those that were named, in each language where none is.
func (c *templatesExportCmd) files() (out []string, err error) {
	if len(c.Names) == 0 {
		return templates.Files(), nil
	}
	var known []string
	for _, name := range c.Names {
		found := false
		for _, file := range templates.Files() {
			alone := strings.TrimSuffix(path.Base(file), ".md")
			known = append(known, alone)
			if name == file || name == path.Base(file) || name == alone || name == strings.TrimSuffix(file, ".md") {
				out, found = append(out, file), true
			}
		}
		if !found {
			err := fmt.Errorf("there is no built-in reply text named %q", name)
			if near := rules.Nearest(name, known); near != "" {
				err = fmt.Errorf("%w (did you mean %s?)", err, near)
			}
			return nil, wrongUse("%w", err)
		}
	}
	return out, nil
}
