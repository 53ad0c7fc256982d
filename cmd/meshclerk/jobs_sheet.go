package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/reply/casework"
	"meshclerk/reply/sheet"
)

type jobsSheetCmd struct {
	house
	ID       string `arg:"" name:"job" help:"The job, e.g. LP-000042."`
	To       string `short:"o" name:"to" default:"." placeholder:"DIR" help:"Folder for the sheet (.html) and the part (.stl)."`
	Language string `placeholder:"fr" help:"Another language than the library's first one."`
}

func (c *jobsSheetCmd) Run(e *env) error {
	o, err := c.office(e)
	if err != nil {
		return err
	}
	defer o.Ledger.Close()
	j, err := sheet.Printable(e.ctx, o, jobID(c.ID))
	if err != nil {
		return err
	}
	s, err := sheet.New(o, j, c.Language)
	if err != nil {
		return wrongUse("--language: %w", err)
	}
	if err := os.MkdirAll(c.To, 0o755); err != nil {
		return fmt.Errorf("the folder %s cannot be made: %w", c.To, err)
	}
	if err := c.lay(e, o, j, s); err != nil {
		return err
	}
	path := filepath.Join(c.To, string(j.ID)+".html")
	if err := writeOver(path, 0o644, s.Write); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "written: %s\n", path)
	return err
}

// lay writes the part beside the sheet and puts its picture onto it. A part that
// cannot be mended is told of on the sheet.
func (c *jobsSheetCmd) lay(e *env, o *casework.Office, j job.Job, s *sheet.Sheet) error {
	p, err := sheet.PartOf(e.ctx, o, j)
	if err != nil {
		if e.ctx.Err() != nil {
			return e.ctx.Err()
		}
		s.Without(err)
		fmt.Fprintf(e.out, "no part was written: %s; print from the patron's own file\n", e.words().said(sheet.Why(err)))
		return nil
	}
	path := filepath.Join(c.To, string(j.ID)+".stl")
	if err := writeOver(path, 0o644, func(w io.Writer) error { return mesh.WriteSTL(w, p.Mesh) }); err != nil {
		return err
	}
	fmt.Fprintf(e.out, "written: %s\n", path)
	return s.Show(p, filepath.Base(path))
}
