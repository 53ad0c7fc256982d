// Package preflight looks a stranger's file over as a careful technician would
// before printing it, and says what it found in plain words.
//
// One check passes through these steps, each of which the next relies on:
//
//	read      the bytes become a mesh, or the report says what the file really is
//	examine   topology at the asked scale; where windings are wrong, the body
//	          that is looked at further is a mended copy, so that every normal
//	          points out of the plastic
//	cast      rays from places spread evenly over the surface: plastic behind,
//	          air before; bodies that touch or cross become one piece
//	stand     the contact patch, what overhangs, what tips, as it was sent
//	orient    the same for other ways up; the best is kept
//	estimate  time and plastic, as sent and in the best way up
//	judge     every check of the house rules turns figures into findings
//
// Findings come in the order of Codes. Places are in the file's own coordinates
// times the scale. The same file and rules give the same report: places are
// spread by fixed sequences, and what a check may cost is counted in work (package
// budget), not in time. Figures of areas are exact where a whole surface is concerned and
// else good to a few per cent.
//
// A bad file is never an error here: the report says that it is unreadable. A check
// that did not come to its end, or to an estimate, is Unfinished: its one finding
// stops the job, whatever the rules say of levels.
package preflight

import (
	"cmp"
	"context"
	"errors"
	"math"
	"path/filepath"
	"slices"
	"time"

	"meshclerk/intake/budget"
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
	// go on after "We have had this very file before: ", or nothing.
	Seen func(sha256 string) (became job.Message, ok bool)
	// Calibration gives what finished prints taught, or nil.
	Calibration func(printer, material string) *slice.Fit
	// Progress is told what is being done, before each longer step.
	Progress func(what string)
	WhatIf   bool // also work out changes that would make the job shorter or cheaper
	// EveryLayer makes the estimate from each layer, so that the planned moves add up to it.
	EveryLayer bool
}

// The wall clock's only say: a check that is still going on after an hour, and after
// a microsecond for each unit it may spend, does not end by itself. The budget is
// used up long before, even on a slow and busy machine.
const (
	leastGuard = time.Hour
	longUnit   = time.Microsecond
)

// guardFor is the guard's length for so many units, a little less than what a caller
// gives, so that the report can still be recorded.
func guardFor(ctx context.Context, units float64) time.Duration {
	d := max(leastGuard, time.Duration(units)*longUnit)
	if end, ok := ctx.Deadline(); ok {
		d = min(d, time.Until(end)*14/15)
	}
	return d
}

var errGuard = errors.New("the check did not come to an end")

// Check looks a file over under the house rules. The settings are what is known
// of how it is to be printed. It takes no more work than the rules' check_work;
// a report that says Unfinished is no verdict.
func Check(ctx context.Context, path string, r *rules.Rules, s job.Settings, opts Options) job.Report {
	units := r.Caps.CheckWork * unitsPerWork
	ctx, stop := context.WithTimeoutCause(ctx, guardFor(ctx, units), errGuard)
	defer stop()
	if units > 0 {
		var cancel func()
		ctx, cancel = budget.With(ctx, int64(math.Round(units)))
		defer cancel()
	}
	c := newChecker(r, s, opts)
	c.meter = budget.From(ctx)
	c.report.File = cmp.Or(opts.Name, filepath.Base(path))
	c.say("reading the file")
	f, err := Open(ctx, path, r.Caps)
	c.report.Format = f.Facts.Format
	if err != nil && ctx.Err() == nil {
		return c.unreadable(err)
	}
	if err == nil {
		c.report.Readable = true
		err = c.examine(ctx, f.Mesh, f.Facts)
	}
	if err == nil {
		err = c.measure(ctx)
	}
	if err != nil || ctx.Err() != nil {
		return c.cutShort(ctx, err)
	}
	c.report.Findings = judge(c.figures(c.seen(f)), c.bounds)
	c.judgeOwn()
	c.judgeWhole()
	return c.report
}

// unitsPerWork is how many units the rules count as one: a million.
const unitsPerWork = 1e6

// checker carries one check through its steps.
type checker struct {
	bounds
	opts   Options
	report job.Report
	meter  *budget.Meter

	noEstimate error // why there is none

	file *mesh.Mesh     // as read
	topo *mesh.Topology // of the file at scale, as it is
	part *part          // the body looked at

	overhangRules overhangRules
	printer       rules.Printer
	fit           job.Fit
	lying         []mesh.Vec // a way up that fits, when the way it was sent does not
	sent          way        // as the file puts it
	now           way        // as it would be printed: as sent, or the best way up if that was agreed
	best          way
	thin          thin
	step          step
	coarse        coarse
	components    []component
	sheet         bool // the file is a surface without thickness
	stick         hold // what holds it to the plate
}

func newChecker(r *rules.Rules, s job.Settings, opts Options) *checker {
	c := &checker{bounds: newBounds(r, s), opts: opts}
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
	c.report.Error = job.Why(err)
	j := judging{bounds: c.bounds, findings: c.report.Findings}
	j.add("unreadable", job.Finding{Text: job.Say("findings.unreadable", job.Args{"why": c.report.Error})})
	if ok && bad.NotSTL {
		j.add("not-stl", job.Finding{Text: job.Say("findings.not-stl", nil)})
	}
	c.report.Findings = j.findings
	return c.report
}

// cutShort reports a file that could not be looked at in full. What was found
// until then is no verdict, and how far the steps that go on side by side had come
// is chance: all of it is dropped but the size and the printer.
func (c *checker) cutShort(ctx context.Context, err error) job.Report {
	why := job.Say("findings.cut.stopped", nil)
	switch {
	case budget.Out(ctx):
		why = job.Say("findings.cut.work", job.Args{"work": c.rules.Caps.CheckWork})
	case errors.Is(context.Cause(ctx), errGuard):
		why = job.Say("findings.cut.clock", nil)
	case err != nil && ctx.Err() == nil:
		why = job.Why(err)
	}
	return c.unfinished(why)
}

// unfinished makes the report one that settles nothing.
func (c *checker) unfinished(why job.Message) job.Report {
	c.report.Unfinished, c.report.Error = true, job.Say("findings.cut.unfinished", job.Args{"why": why})
	c.report.Estimate, c.report.Orientation = nil, nil
	c.report.Findings = []job.Finding{unfinishedFinding()}
	c.report.Advice = []job.Advice{{About: "check", Do: job.Say("findings.do.look", nil), Why: c.report.Error}}
	return c.report
}

// judgeWhole makes a report Unfinished when it would let a part pass of which something
// that matters is not known.
func (c *checker) judgeWhole() {
	stopped := func(f job.Finding) bool { return f.Level == job.Stop }
	if slices.ContainsFunc(c.report.Findings, stopped) {
		return
	}
	s, limit := c.topo.Shape, c.limits["self-crossing"]
	var why job.Message
	switch {
	case c.report.Estimate == nil && c.noEstimate != nil:
		why = job.Say("findings.cut.no-time", job.Args{"why": job.Why(c.noEstimate)})
	case c.report.Estimate == nil:
		why = job.Say("findings.cut.no-time-known", nil)
	case !s.IntersectionsExact && float64(s.SelfIntersections) <= limit.Limit && job.Level(limit.Level) != levelOff:
		why = job.Say("findings.cut.crossings-unknown", nil)
	default:
		return
	}
	c.report.Unfinished, c.report.Error = true, job.Say("findings.cut.unfinished", job.Args{"why": why})
	c.report.Findings = slices.Insert(c.report.Findings, 0, unfinishedFinding())
}

func unfinishedFinding() job.Finding {
	return job.Finding{Code: job.CodeUnfinished, Level: job.Stop,
		Text: job.Say("findings.unfinished", nil)}
}

// seen asks what became of an earlier file with the same bytes.
func (c *checker) seen(f File) job.Message {
	if c.opts.Seen == nil {
		return job.Message{}
	}
	sum := c.opts.SHA256
	if sum == "" {
		var err error
		if sum, err = f.SHA256(); err != nil {
			return job.Message{}
		}
	}
	became, ok := c.opts.Seen(sum)
	switch {
	case !ok:
		return job.Message{}
	case became.IsZero():
		return job.Say("findings.became.unknown", nil)
	}
	return became
}
