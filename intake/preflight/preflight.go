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
// Each step takes values and gives one; the search for the best way up and the estimate
// go on side by side and share nothing. What a step found is known to those after it, and
// judge sees nothing but figures and bounds.
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
	"fmt"
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
	c := check{newBounds(r, s), opts, budget.From(ctx)}
	c.say("reading the file")
	f, err := Open(ctx, path, r.Caps)
	report := job.Report{File: cmp.Or(opts.Name, filepath.Base(path)), Format: f.Facts.Format, Findings: []job.Finding{}}
	if err != nil && ctx.Err() == nil {
		return c.unreadable(report, err)
	}
	if err == nil {
		report.Readable = true
		report, err = c.run(ctx, f, report)
	}
	if err != nil {
		return c.cutShort(ctx, report, err)
	}
	return report
}

// unitsPerWork is how many units the rules count as one: a million.
const unitsPerWork = 1e6

// check is what the steps of one check work by; nothing in it changes. What a step finds
// out is its value, which the next steps take.
type check struct {
	bounds
	opts  Options
	meter *budget.Meter
}

func (c check) say(what string) {
	if c.opts.Progress != nil {
		c.opts.Progress(what)
	}
}

// run takes a mesh through the steps and completes the report. With an error the report
// has what is known until then: the size and the printer.
func (c check) run(ctx context.Context, f File, report job.Report) (job.Report, error) {
	c.say(fmt.Sprintf("looking at the surface (%d facets)", f.Facts.Facets))
	scaled := f.Mesh
	if c.scale != 1 {
		scaled = f.Mesh.Transformed(mesh.Upright, c.scale)
	}
	// Should the budget run out, at least the size is known.
	report.Mesh = &job.Shape{Triangles: f.Facts.Facets, Vertices: len(f.Mesh.Vertices), SizeMM: scaled.Bounds().Size(), AtMM: scaled.Bounds().Min}
	x, err := c.examine(ctx, f.Mesh, scaled, f.Facts)
	if x.topo != nil {
		report.Mesh = &x.topo.Shape
	}
	if err != nil {
		return report, err
	}
	if c.set.Second = c.second(x, x.file); c.set.Second != nil && c.set.Second.FromMM > 0 {
		c.set.Reoriented = false // a height is one of the way it was sent: turned, the colours would lie elsewhere
	}
	p, walls, err := c.cast(ctx, x.body)
	if err != nil {
		return report, err
	}
	st := c.stand(ctx, p)
	report.Fit = &st.fit
	e, s, err := c.measure(ctx, x, p, walls, st)
	if err != nil {
		return report, err
	}
	a, err := c.advise(ctx, x, p, st, s, e)
	if err == nil {
		err = c.offerDissolving(ctx, x, st, s.thin, e.estimate)
	}
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		return report, err
	}
	report.Estimate, report.Orientation, report.Advice = e.estimate, &a.orientation, a.advice
	report.Bodies = x.told()
	figures := gather(x, p, st, s, e, a, c.seen(f))
	if _, hard := c.hardToBreakOff(st.now.overhang, s.thin); hard {
		_, figures.dissolve = c.dissolving(x.topo.Shape.SizeMM)
	}
	report.Findings = judge(figures, c.bounds)
	found, advice := c.judgeOwn(figures.measures(p.sizeIn(st.now.orientation), c.bounds))
	report.Findings, report.Advice = append(report.Findings, found...), append(report.Advice, advice...)
	return c.whole(report, x.topo.Shape, e.why), nil
}

// unreadable reports a file that holds no mesh.
func (c check) unreadable(report job.Report, err error) job.Report {
	bad, ok := errors.AsType[*mesh.Unreadable](err)
	report.Error = job.Why(err)
	j := judging{bounds: c.bounds, findings: report.Findings}
	j.add(job.CodeUnreadable, job.Finding{Text: job.Say("findings.unreadable", job.Args{"why": report.Error})})
	if ok && bad.NotSTL {
		j.add(job.CodeNotSTL, job.Finding{Text: job.Say("findings.not-stl", nil)})
	}
	report.Findings = j.findings
	return report
}

// cutShort reports a file that could not be looked at in full. What was found
// until then is no verdict, and how far the steps that go on side by side had come
// is chance: all of it is dropped but the size and the printer.
func (c check) cutShort(ctx context.Context, report job.Report, err error) job.Report {
	why := job.Say("findings.cut.stopped", nil)
	switch {
	case budget.Out(ctx):
		why = job.Say("findings.cut.work", job.Args{"work": c.rules.Caps.CheckWork})
	case errors.Is(context.Cause(ctx), errGuard):
		why = job.Say("findings.cut.clock", nil)
	case err != nil && ctx.Err() == nil:
		why = job.Why(err)
	}
	return unfinished(report, why)
}

// unfinished makes a report one that settles nothing.
func unfinished(report job.Report, why job.Message) job.Report {
	report.Unfinished, report.Error = true, job.Say("findings.cut.unfinished", job.Args{"why": why})
	report.Estimate, report.Orientation = nil, nil
	report.Findings = []job.Finding{unfinishedFinding()}
	report.Advice = []job.Advice{{About: "check", Do: job.Say("findings.do.look", nil), Why: report.Error}}
	return report
}

// whole makes a report Unfinished when it would let a part pass of which something
// that matters is not known.
func (c check) whole(report job.Report, s job.Shape, noEstimate error) job.Report {
	if report.Stops() {
		return report
	}
	var why job.Message
	switch limit := c.limits[job.CodeSelfCrossing]; {
	case report.Estimate == nil && noEstimate != nil:
		why = job.Say("findings.cut.no-time", job.Args{"why": job.Why(noEstimate)})
	case report.Estimate == nil:
		why = job.Say("findings.cut.no-time-known", nil)
	case !s.IntersectionsExact && float64(s.SelfIntersections) <= limit.Limit && job.Level(limit.Level) != levelOff:
		why = job.Say("findings.cut.crossings-unknown", nil)
	default:
		return report
	}
	report.Unfinished, report.Error = true, job.Say("findings.cut.unfinished", job.Args{"why": why})
	report.Findings = slices.Insert(report.Findings, 0, unfinishedFinding())
	return report
}

func unfinishedFinding() job.Finding {
	return job.Finding{Code: job.CodeUnfinished, Level: job.Stop,
		Text: job.Say("findings.unfinished", nil)}
}

// seen asks what became of an earlier file with the same bytes.
func (c check) seen(f File) job.Message {
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
