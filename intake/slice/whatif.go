package slice

import (
	"context"
	"math"
	"slices"

	"meshclerk/intake/job"
)

// fewRows is how many rows of the what-if table a person cares to read.
const fewRows = 3

// WhatIf returns a few changes that would make the job shorter or cheaper, each
// with its time and mass. Where the job is over the time limit or too big, each
// row is the mildest change of its kind that helps, and those that bring it
// under come first; a smaller size, which always does, is among them. Base is
// the plan's own estimate.
func (p *Plan) WhatIf(ctx context.Context, base job.Estimate) ([]job.Choice, error) {
	pr := p.printed
	w := &options{printed: pr, base: base, limit: pr.in.Limits.JobHours * 3600}
	w.over = w.limit > 0 && w.base.PlateTimeS > w.limit || !pr.part.holds(pr.printer.BuildMM)
	for _, row := range []func(context.Context) error{w.thickerLayers, w.lessInfill, w.fewerShells, w.bothOfThem, w.fewerCopies, w.smaller} {
		if err := row(ctx); err != nil {
			return nil, err
		}
	}
	return w.few(), nil
}

// options gathers rows of the table.
type options struct {
	*printed
	base  job.Estimate
	limit float64 // s
	over  bool    // the job cannot be printed as asked
	rows  []job.Choice
}

// try estimates the job with other settings, and notes it if it helps.
func (w *options) try(ctx context.Context, label job.Message, s job.Settings) (within bool, err error) {
	in := w.in
	in.Settings, in.WithLargestScale, in.EveryLayer = s, false, false
	p, err := newRecipe(in)
	if err != nil {
		return false, err
	}
	part := w.part
	if p.scale != w.scale {
		part = part.scaled(p.scale / w.scale)
	}
	pr, err := planCopy(ctx, part, p)
	if err != nil {
		return false, err
	}
	e := pr.report(pr.run(pr.ground))
	within = (w.limit <= 0 || e.PlateTimeS <= w.limit) && part.holds(pr.printer.BuildMM)
	const worth = 0.98 // less than that is no help
	if e.PrintTimeS < worth*w.base.PrintTimeS || e.MassG < worth*w.base.MassG {
		w.rows = append(w.rows, job.Choice{Label: label, Settings: s, PrintTimeS: e.PrintTimeS, MassG: e.MassG,
			SupportMassG: e.SupportMassG, Plates: e.Plates, Within: within})
	}
	return within, nil
}

// percent is a share in whole percents.
func percent(f float64) job.Quantity { return job.Quantity{Amount: math.Round(100 * f), Unit: "%"} }

// thickerLayers offers the next thicker layer of the house's, or the first that
// brings the job under the limit.
func (w *options) thickerLayers(ctx context.Context) error {
	thicker := w.thicker()
	for i, mm := range thicker {
		n := len(w.rows)
		within, err := w.try(ctx, job.Say("choices.layers", job.Args{"now": mm, "before": w.layerHeight}), w.withLayer(mm))
		if err != nil || within || !w.over {
			return err
		}
		if i+1 < len(thicker) {
			w.rows = w.rows[:n] // a thicker one may do
		}
	}
	return nil
}

// thicker lists the house's layers above the present one that the nozzle can
// lay: up to 75 % of its diameter.
func (w *options) thicker() []float64 {
	nozzle := 0.4
	if len(w.printer.NozzleMM) > 0 {
		nozzle = w.printer.NozzleMM[0]
	}
	var out []float64
	for _, mm := range w.printing.LayerChoices {
		if mm > w.layerHeight+1e-9 && mm <= 0.75*nozzle+1e-9 {
			out = append(out, mm)
		}
	}
	slices.Sort(out)
	return out
}

func (w *options) withLayer(mm float64) job.Settings {
	s := w.in.Settings
	s.LayerMM = mm
	return s
}

// leastInfill is the least that is offered: basic prints need only 5 to 10 %
// (common practice of public libraries).
const leastInfill = 0.05

// lessInfill offers about half of the infill, or as much as the limit leaves room for.
func (w *options) lessInfill(ctx context.Context) error {
	f := w.infillFor()
	if f >= w.infill-0.01 {
		return nil
	}
	_, err := w.try(ctx, job.Say("choices.infill", job.Args{"now": percent(f), "before": percent(w.infill)}), w.withInfill(w.in.Settings, f))
	return err
}

// infillFor is a density in steps of 5 %, at least the least. Time falls with
// it in proportion to the sparse lines.
func (w *options) infillFor() float64 {
	f := w.infill / 2
	if w.over && w.base.PlateTimeS > w.limit && w.limit > 0 {
		flow := min(w.width*w.layerHeight*w.printer.Speed.Infill, w.printer.MaxFlow)
		lines := w.corrected(float64(w.base.PerPlate) * w.plastic[sparse] / flow)
		f = w.infill * (1 - (w.base.PlateTimeS-w.limit)/max(lines, 1))
	}
	return max(leastInfill, math.Floor(f/0.05+1e-6)*0.05)
}

func (w *options) withInfill(s job.Settings, f float64) job.Settings {
	s.Infill, s.InfillSet = f, true
	return s
}

// fewestShells is the least that is offered: two lines of 0.4 mm make the
// thinnest wall that guides advise.
const fewestShells = 2

func (w *options) fewerShells(ctx context.Context) error {
	for n := w.shellCount - 1; n >= fewestShells; n-- {
		s := w.in.Settings
		s.Shells = n
		rows := len(w.rows)
		within, err := w.try(ctx, job.Say("choices.shells", job.Args{"n": n, "before": w.shellCount}), s)
		if err != nil || within || !w.over {
			return err
		}
		if n > fewestShells {
			w.rows = w.rows[:rows]
		}
	}
	return nil
}

// bothOfThem offers the thickest layer with the least infill, where neither
// brings the job under by itself.
func (w *options) bothOfThem(ctx context.Context) error {
	thicker := w.thicker()
	if !w.over || len(thicker) == 0 || w.infill <= leastInfill || slices.ContainsFunc(w.rows, func(c job.Choice) bool { return c.Within }) {
		return nil
	}
	mm := thicker[len(thicker)-1]
	_, err := w.try(ctx, job.Say("choices.layers-infill", job.Args{"layer": mm, "infill": percent(leastInfill)}), w.withInfill(w.withLayer(mm), leastInfill))
	return err
}

// fewerCopies offers what one plate holds.
func (w *options) fewerCopies(ctx context.Context) error {
	n := w.base.PerPlate
	if w.base.Plates < 2 || w.base.PlateTimeS > w.limit && w.limit > 0 {
		return nil
	}
	s := w.in.Settings
	s.Copies, s.Colours = n, nil
	_, err := w.try(ctx, job.Say("choices.copies", job.Args{"n": n, "before": w.copies}), s)
	return err
}

// smaller offers the largest size within the limit, or three quarters of the size.
func (w *options) smaller(ctx context.Context) error {
	to := 0.75 * w.scale
	if w.over {
		largest, err := w.largest(ctx)
		if err != nil {
			return err
		}
		if to = math.Floor(100*largest/w.scale) / 100 * w.scale; to <= 0 {
			return nil
		}
	}
	for range 3 {
		s := w.in.Settings
		s.Scale = to
		n := len(w.rows)
		within, err := w.try(ctx, job.Say("choices.size", job.Args{"percent": percent(to / w.scale)}), s)
		if err != nil || within || !w.over {
			return err
		}
		w.rows = w.rows[:n]
		to -= 0.01 * w.scale // the search may be a little off
	}
	return nil
}

// largest is the largest scale, searched for only if the estimate did not.
func (w *options) largest(ctx context.Context) (float64, error) {
	if w.in.WithLargestScale {
		return w.base.LargestScale, nil
	}
	return w.largestScale(ctx)
}

// few keeps the rows that help most, in the order they were thought of: where
// the job is over the limit those that bring it under, if any do, with a
// smaller size among them.
func (w *options) few() []job.Choice {
	rows := w.rows
	if within := slices.DeleteFunc(slices.Clone(rows), func(c job.Choice) bool { return !c.Within }); w.over && len(within) > 0 {
		rows = within
	}
	if len(rows) <= fewRows {
		return rows
	}
	if last := rows[len(rows)-1]; w.over && last.Settings.Scale != w.in.Settings.Scale {
		rows[fewRows-1] = last
	}
	return rows[:fewRows]
}
