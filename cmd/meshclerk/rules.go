package main

import (
	"fmt"
	"os"
	"path/filepath"

	"meshclerk/intake/preflight"
	"meshclerk/intake/wishes"
	"meshclerk/rules"
	"meshclerk/templates"
)

type rulesCmd struct {
	Check  rulesCheckCmd  `cmd:"" help:"Read every rule file and say what is wrong, with file, line and place."`
	Export rulesExportCmd `cmd:"" help:"Write the built-in rule files, to be changed."`
}

// rulesFrom says where the rules are: a folder, or what a configuration names.
type rulesFrom struct {
	Rules  string `placeholder:"DIR" help:"Folder of house rules; the built-in ones otherwise."`
	Config string `placeholder:"FILE" default:"${config}" help:"Configuration that names the folder."`
}

func (f rulesFrom) load() (*rules.Rules, error) {
	dir := f.Rules
	if dir == "" && f.Config != "" {
		c, err := loadConfig(f.Config)
		if err != nil {
			return nil, err
		}
		dir = c.Rules
	}
	return loadRules(dir)
}

// loadRules loads the rules and the house's own checks in them.
func loadRules(dir string) (*rules.Rules, error) {
	r, err := rules.Load(dir)
	if err != nil {
		return nil, err
	}
	if err := preflight.CompileOwn(r); err != nil {
		return nil, err
	}
	return r, wishes.Check(r)
}

type rulesCheckCmd struct {
	rulesFrom
}

func (c *rulesCheckCmd) Run(e *env) error {
	r, err := c.load()
	if err != nil {
		return err
	}
	if err := c.languages(r); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "the rules are in order: %d printers, %d materials, %d checks, %d of the house's own\n",
		len(r.Printers), len(r.Materials), len(r.Checks.Check), len(r.Checks.Own))
	return err
}

// languages holds the languages of the rules against the reply texts that the
// configuration names; without one nobody knows where they are.
func (c *rulesCheckCmd) languages(r *rules.Rules) error {
	if c.Config == "" {
		return nil
	}
	conf, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	return templates.CheckLanguages(conf.Templates, r)
}

type rulesExportCmd struct {
	To string `required:"" placeholder:"DIR" help:"Folder to write to; files that exist are left alone."`
}

func (c *rulesExportCmd) Run(e *env) error {
	return export(e, c.To, rules.Files(), rules.Builtin)
}

// export writes built-in files into a folder, and never over one that exists.
func export(e *env, dir string, names []string, read func(string) ([]byte, error)) error {
	for _, name := range names {
		text, err := read(name)
		if err != nil {
			return err
		}
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return fmt.Errorf("the folder for %s cannot be made: %w", path, err)
		}
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if os.IsExist(err) {
			fmt.Fprintf(e.out, "left alone  %s\n", path)
			continue
		}
		if err != nil {
			return fmt.Errorf("%s cannot be written: %w", path, err)
		}
		_, err = f.Write(text)
		if errClose := f.Close(); err == nil {
			err = errClose
		}
		if err != nil {
			return fmt.Errorf("%s cannot be written: %w", path, err)
		}
		fmt.Fprintf(e.out, "written     %s\n", path)
	}
	return nil
}
