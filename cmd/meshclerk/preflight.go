package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/intake/preflight"
	"meshclerk/reply/quote"
	"meshclerk/rules"
)

type preflightCmd struct {
	Files    []string `arg:"" name:"file" help:"Mesh files to check."`
	JSON     bool     `name:"json" help:"One JSON object per file, on one line."`
	Rules    string   `placeholder:"DIR" help:"Folder of house rules; the built-in ones otherwise."`
	Scale    float64  `placeholder:"F" help:"Print at this scale (1 is as drawn)."`
	Copies   int      `placeholder:"N" help:"How many copies."`
	Layer    float64  `placeholder:"MM" help:"Layer height in mm."`
	Shells   int      `placeholder:"N" help:"Shells: lines around the outside of each layer."`
	Infill   *float64 `placeholder:"0..1" help:"Density of the inside."`
	Material string   `placeholder:"NAME" help:"Material, as the rules name it."`
	Printer  string   `placeholder:"NAME" help:"Printer, as the rules name it."`
	Supports string   `placeholder:"WORD" help:"yes, no or soluble; where needed otherwise."`
	WhatIf   bool     `name:"what-if" help:"Also show what other settings would give."`
	Moves    string   `placeholder:"FILE.csv" help:"Also write the planned moves of one copy into a new file, for checking with another planner. It is not machine code."`
}

func (c *preflightCmd) Run(e *env) error {
	if err := c.check(); err != nil {
		return err
	}
	e.rules = c.Rules
	r, err := rules.Load(c.Rules)
	if err != nil {
		return err
	}
	if err := c.checkNames(r); err != nil {
		return err
	}
	for _, path := range c.Files {
		report, err := c.one(e, path, r)
		if err != nil {
			return err
		}
		if c.JSON {
			err = writeJSON(e, publish(e.words(), &report))
		} else {
			err = writeReport(e.out, e.words(), report)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// check refuses settings that no printer could follow, before any work is done.
func (c *preflightCmd) check() error {
	for _, path := range c.Files {
		info, err := os.Stat(path)
		switch {
		case errors.Is(err, os.ErrNotExist):
			return wrongUse("there is no file %s; look at the name and the folder", path)
		case err != nil:
			return wrongUse("%s cannot be opened: %w", path, err)
		case info.IsDir():
			return wrongUse("%s is a folder; name the files in it", path)
		}
	}
	switch {
	case c.Scale < 0 || c.Scale > 1000:
		return wrongUse("--scale must be above 0 and at most 1000, not %g", c.Scale)
	case c.Copies < 0 || c.Copies > 10000:
		return wrongUse("--copies must be from 1 to 10000, not %d", c.Copies)
	case c.Layer < 0 || c.Layer > 2:
		return wrongUse("--layer must be above 0 and at most 2 mm, not %g", c.Layer)
	case c.Shells < 0 || c.Shells > 100:
		return wrongUse("--shells must be from 1 to 100, not %d", c.Shells)
	case c.Infill != nil && !(*c.Infill >= 0 && *c.Infill <= 1):
		return wrongUse("--infill must be from 0 to 1, not %g; 15%% is 0.15", *c.Infill)
	}
	if c.Moves != "" && len(c.Files) != 1 {
		return wrongUse("--moves is for one file at a time, not %d", len(c.Files))
	}
	switch c.Supports {
	case "", "yes", "no", "soluble":
		return nil
	}
	return wrongUse("--supports must be yes, no or soluble, not %q", c.Supports)
}

// checkNames refuses names that the rules do not know.
func (c *preflightCmd) checkNames(r *rules.Rules) error {
	var materials, printers []string
	for _, m := range r.Materials {
		materials = append(materials, m.Name)
	}
	for _, p := range r.Printers {
		printers = append(printers, p.Name)
	}
	name, err := knownName("--material", c.Material, materials)
	if err != nil {
		return err
	}
	c.Material = name
	c.Printer, err = knownName("--printer", c.Printer, printers)
	return err
}

func (c *preflightCmd) one(e *env, path string, r *rules.Rules) (job.Report, error) {
	s := job.Settings{Printer: c.Printer, Material: c.Material, LayerMM: c.Layer, Shells: c.Shells, Scale: c.Scale, Copies: c.Copies, Supports: c.Supports}
	if c.Infill != nil {
		s.Infill, s.InfillSet = *c.Infill, true
	}
	show := newProgress(e.err)
	defer show.done()
	report := preflight.Check(e.ctx, path, r, s, preflight.Options{
		Name:     filepath.Base(path),
		Progress: func(what string) { show.say(filepath.Base(path) + ": " + what) },
		WhatIf:   c.WhatIf,

		EveryLayer: c.Moves != "",
	})
	if c.Moves != "" && e.ctx.Err() == nil {
		if err := writeMoves(e.ctx, c.Moves, path, r, s, report); err != nil {
			return report, err
		}
	}
	if report.Estimate == nil {
		return report, e.ctx.Err()
	}
	q, err := quote.Price(*report.Estimate, r.Prices, time.Now())
	if err != nil {
		return report, err
	}
	report.Quote = &q
	if report.Estimate.WhatIf, err = quote.PriceChoices(report.Estimate.WhatIf, *report.Estimate, r.Prices); err != nil {
		return report, err
	}
	return report, e.ctx.Err()
}

// tenths says an amount to one place.
func tenths(v float64, unit string) string {
	if v > 0 && v < 0.1 {
		return "less than 0.1 " + unit
	}
	return fmt.Sprintf("%.1f %s", v, unit)
}

// onPlates says on how many plates, where it is more than one.
func onPlates(e *job.Estimate) string {
	if e.Plates < 2 {
		return ""
	}
	return fmt.Sprintf(", on %d plates", e.Plates)
}

// writeReport writes a report as a person reads it.
func writeReport(w io.Writer, in words, r job.Report) error {
	fmt.Fprintf(w, "%s\n", plain.OneLine(r.File))
	if !r.Readable {
		_, err := fmt.Fprintf(w, "  cannot be read: %s\n\n", plain.OneLine(in.said(r.Error)))
		return err
	}
	s := r.Mesh
	fmt.Fprintf(w, "  size      %.1f x %.1f x %.1f mm, %s (%s)\n", s.SizeMM[0], s.SizeMM[1], s.SizeMM[2], job.Count(s.Triangles, "facet", "facets"), r.Format)
	if r.Fit != nil && r.Fit.Fits {
		fmt.Fprintf(w, "  printer   fits %s\n", r.Fit.Printer)
	} else if r.Fit != nil {
		fmt.Fprintf(w, "  printer   too big for every printer; would fit %s at %d%% of its size\n", r.Fit.Printer, int(100*r.Fit.ScaleToFit))
	}
	if est := r.Estimate; est != nil {
		fmt.Fprintf(w, "  time      %s (%s to %s), %d layers%s\n", plain.Spoken(est.PrintTimeS), plain.Spoken(est.LowS), plain.Spoken(est.HighS), est.Layers, onPlates(est))
		fmt.Fprintf(w, "  plastic   %s of %s, %s of filament\n", tenths(est.MassG, "g"), est.Material, tenths(est.FilamentM, "m"))
	}
	if q := r.Quote; q != nil {
		for _, line := range q.Lines {
			fmt.Fprintf(w, "  price     %10s  %s\n", line.Amount, in.said(line.Label))
		}
		fmt.Fprintf(w, "  total     %10s  %s\n", q.Total, q.Currency)
	}
	for _, f := range r.Findings {
		fmt.Fprintf(w, "  %-8s  %s: %s\n", f.Level, f.Code, plain.OneLine(in.said(f.Text)))
	}
	if o := r.Orientation; o != nil && !o.AsSent {
		fmt.Fprintf(w, "  way up    %s\n", in.said(o.Why))
	}
	if est := r.Estimate; est != nil && len(est.WhatIf) > 0 {
		fmt.Fprintln(w, "  instead")
		for _, c := range est.WhatIf {
			fmt.Fprintf(w, "    %-40s %-11s %10s %8s\n", in.said(c.Label), plain.Spoken(c.PrintTimeS), tenths(c.MassG, "g"), c.Total)
		}
	}
	_, err := fmt.Fprintln(w)
	return err
}
