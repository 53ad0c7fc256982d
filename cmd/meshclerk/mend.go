package main

import (
	"fmt"
	"io"
	"os"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/plain"
	"meshclerk/intake/preflight"
	"meshclerk/reply/sheet"
)

type mendCmd struct {
	rulesFrom
	File   string `arg:"" help:"The mesh file to mend; it is not changed."`
	To     string `short:"o" required:"" name:"to" placeholder:"OUT.stl" help:"The new file, which must not exist yet."`
	AsSent bool   `name:"as-sent" help:"Leave it the way up it was sent."`
}

func (c *mendCmd) Run(e *env) error {
	if err := c.check(); err != nil {
		return err
	}
	r, err := c.load()
	if err != nil {
		return err
	}
	show := newProgress(e.err)
	defer show.done()
	turn, why := mesh.Upright, job.Message{}
	if !c.AsSent {
		report := preflight.Check(e.ctx, c.File, r, job.Settings{}, preflight.Options{Progress: show.say})
		if o := report.Orientation; o != nil && !o.AsSent {
			turn, why = o.Rotation, o.Why
		}
	}
	p, err := sheet.Lay(e.ctx, c.File, r, turn, why, 1)
	if err != nil {
		return fmt.Errorf("%s: %s", c.File, e.words().said(sheet.Why(err)))
	}
	if err := writeNew(c.To, 0o644, func(w io.Writer) error { return mesh.WriteSTL(w, p.Mesh) }); err != nil {
		return err
	}
	show.done()
	if len(p.Done) == 0 {
		fmt.Fprintln(e.out, "nothing needed mending")
	}
	for _, what := range p.Done {
		fmt.Fprintln(e.out, plain.OneLine(e.words().said(what)))
	}
	s := p.Mesh.Bounds().Size()
	_, err = fmt.Fprintf(e.out, "written: %s, %d facets, %.1f x %.1f x %.1f mm\n", c.To, len(p.Mesh.Triangles), s[0], s[1], s[2])
	return err
}

// check refuses to write over anything, the input above all.
func (c *mendCmd) check() error {
	in, err := os.Stat(c.File)
	if err != nil {
		return wrongUse("%s cannot be opened: %w", c.File, err)
	}
	if in.IsDir() {
		return wrongUse("%s is a folder; name a file in it", c.File)
	}
	out, err := os.Stat(c.To)
	switch {
	case err == nil && os.SameFile(in, out):
		return wrongUse("-o %s is the file itself, which is never changed; name another file", c.To)
	case err == nil:
		return wrongUse("%s is there already and is left as it is; name another file", c.To)
	}
	return nil
}
