// Package preflight looks a stranger's file over as a careful technician would
// before printing it, and says what it found in plain words.
//
// One check passes through these steps, each of which the next relies on:
//
//	read      the bytes become a mesh, or the report says what the file really is
//	examine   topology at the asked scale; where windings are wrong, the body
//	          that is looked at further is a mended copy, so that every normal
//	          points out of the plastic
//	feel      rays from places spread evenly over the surface: plastic behind,
//	          air before; bodies that touch or cross become one piece
//	stand     what touches the plate, what hangs, what tips, as it was sent
//	orient    the same for other ways up; the best is kept
//	estimate  time and plastic, as sent and in the best way up
//	judge     every check of the house rules turns figures into findings
//
// Findings come in the order of Codes. Places are in the file's own coordinates
// times the scale. The same file and rules give the same report: places are
// spread by fixed sequences, and nothing depends on the clock but the bounds of
// caps.toml. Figures of areas are exact where a whole surface is concerned and
// else good to a few per cent.
//
// A bad file is never an error here: the report says that it is unreadable.
package preflight

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/slice"
	"meshclerk/rules"
)

// Options are what a check may use beyond the file and the rules.
type Options struct {
	Name   string // the file's name as the patron wrote it; the path's last part otherwise
	SHA256 string // of the file's bytes, hex, when it is known already

	// Seen says what became of an earlier file with these bytes, in words that
	// go on after "We have had this very file before: ".
	Seen func(sha256 string) (became string, ok bool)
	// Calibration gives what finished prints taught, or nil.
	Calibration func(printer, material string) *slice.Fit
	// Progress is told what is being done, before each longer step.
	Progress func(what string)
	WhatIf   bool // also work out changes that would make the job shorter or cheaper
	// EveryLayer makes the estimate from each layer, so that the planned moves add up to it.
	EveryLayer bool
}

// Check looks a file over under the house rules. The settings are what is known
// of how it is to be printed. It takes no longer than the rules' check_seconds.
func Check(ctx context.Context, path string, r *rules.Rules, s job.Settings, opts Options) job.Report {
	if seconds := r.Caps.CheckSeconds; seconds > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Duration(seconds*float64(time.Second)))
		defer cancel()
	}
	c := newChecker(r, s, opts)
	c.report.File = cmp.Or(opts.Name, filepath.Base(path))
	c.say("reading the file")
	m, facts, err := mesh.ReadFile(ctx, path, mesh.Limits{Bytes: r.Caps.MeshBytes, Facets: r.Caps.Facets, CoordinateMM: r.Caps.CoordinateMM})
	c.report.Format = facts.Format
	if err != nil {
		return c.unreadable(err)
	}
	c.report.Readable = true
	if err := c.examine(ctx, m, facts); err != nil {
		return c.cutShort(err)
	}
	if err := c.measure(ctx); err != nil {
		return c.cutShort(err)
	}
	c.judge(c.seen(path))
	return c.report
}

// checker carries one check through its steps.
type checker struct {
	rules  *rules.Rules
	set    job.Settings
	opts   Options
	limits map[string]rules.Check
	report job.Report

	file  *mesh.Mesh // as read
	scale float64
	topo  *mesh.Topology // of the file at scale, as it is
	part  *part          // the body looked at

	hangs   hangRules
	thick   thickness
	printer rules.Printer
	fit     job.Fit
	lying   []mesh.Vec // a way up that fits, when the way it was sent does not
	sent    way        // as the file puts it
	now     way        // as it would be printed: as sent, or the best way up if that was agreed
	best    way
	thin    thin
	step    step
	coarse  coarse
	lumps   []lump
	sheet   bool       // the file is a surface without thickness
	stick   job.Advice // what holds it to the plate
}

func newChecker(r *rules.Rules, s job.Settings, opts Options) *checker {
	c := &checker{rules: r, set: s, opts: opts, limits: thresholds(r), scale: 1}
	if s.Scale > 0 {
		c.scale = s.Scale
	}
	c.report.Findings = []job.Finding{}
	return c
}

func (c *checker) say(what string) {
	if c.opts.Progress != nil {
		c.opts.Progress(what)
	}
}

// unreadable reports a file that holds no mesh.
func (c *checker) unreadable(err error) job.Report {
	bad, ok := errors.AsType[*mesh.Unreadable](err)
	switch {
	case ok:
		c.report.Error = bad.What
	case errors.Is(err, context.DeadlineExceeded):
		c.report.Error = "the file could not be read in the time that one file may take"
	default:
		c.report.Error = err.Error()
	}
	c.add("unreadable", job.Finding{Text: sentence("We cannot read this file: " + c.report.Error)})
	if ok && bad.NotSTL {
		c.add("not-stl", job.Finding{Text: "It is not an STL file, the only kind that we can print."})
	}
	return c.report
}

// cutShort reports a file that could not be looked at in full.
func (c *checker) cutShort(err error) job.Report {
	c.report.Error = "the check was not finished: " + err.Error()
	if errors.Is(err, context.DeadlineExceeded) {
		c.report.Error = "the check was not finished in the time that one file may take; look at the file by hand"
	}
	c.report.Advice = append(c.report.Advice, job.Advice{About: "check", Do: "look at the file by hand", Why: c.report.Error})
	return c.report
}

// seen asks what became of an earlier file with the same bytes.
func (c *checker) seen(path string) string {
	if c.opts.Seen == nil {
		return ""
	}
	sum := c.opts.SHA256
	if sum == "" {
		var err error
		if sum, err = hashOf(path); err != nil {
			return ""
		}
	}
	became, ok := c.opts.Seen(sum)
	if !ok {
		return ""
	}
	return cmp.Or(became, "nothing is known of what became of it")
}

func hashOf(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
