package casework

import (
	"context"
	"math"
	"slices"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/rules"
	"meshclerk/templates"
)

// wait estimates in how many printing days the jobs would be ready, if their
// patron said yes now: what is on the print list of their printers comes first.
// At best nothing else is accepted meanwhile; at worst every open quote is, and
// every print takes as long as it may.
func (o *Office) wait(ctx context.Context, jobs []job.Job) (templates.Wait, error) {
	var out templates.Wait
	if o.Rules.Limits.PrintingHoursPerDay <= 0 {
		return out, nil
	}
	rows, err := o.Ledger.Jobs(ctx, ledger.Filter{Stages: []job.Stage{job.Quoted, job.Agreed, job.Printing, job.Failed}})
	if err != nil {
		return out, err
	}
	q := queue{now: o.Now(), rows: rows, perDay: 3600 * o.Rules.Limits.PrintingHoursPerDay}
	mine := map[string]span{}
	for _, j := range jobs {
		if j.Report == nil || j.Report.Estimate == nil || !j.Report.Printable() {
			continue
		}
		e := j.Report.Estimate
		s := mine[e.Printer]
		mine[e.Printer] = span{s.low + e.PrintTimeS, s.high + math.Max(e.HighS, e.PrintTimeS)}
		q.mine = append(q.mine, j.ID)
	}
	for printer, own := range mine {
		days := q.days(printer, own, machines(o.Rules, printer))
		out.Low, out.High = max(out.Low, days.Low), max(out.High, days.High)
	}
	return out, nil
}

// machines tells how many there are of a printer's kind.
func machines(r *rules.Rules, printer string) float64 {
	for _, p := range r.Printers {
		if p.Name == printer && p.Count > 0 {
			return float64(p.Count)
		}
	}
	return 1
}

// span is the least and the most, in seconds.
type span struct{ low, high float64 }

// queue is what may be printed before a job.
type queue struct {
	now    time.Time
	rows   []ledger.Row
	mine   []job.ID
	perDay float64 // seconds that a machine prints in a day
}

// days adds what is ahead, shared among the machines, to the job's own time,
// which no second machine makes shorter. A started day is a day.
func (q queue) days(printer string, own span, count float64) templates.Wait {
	ahead := q.ahead(printer)
	low := math.Ceil((ahead.low/count + own.low) / q.perDay)
	high := math.Ceil((ahead.high/count + own.high) / q.perDay)
	return templates.Wait{Low: max(1, int(low)), High: max(1, int(low), int(high))}
}

// ahead sums up what is on the list of a printer.
func (q queue) ahead(printer string) (s span) {
	for _, row := range q.rows {
		if row.Printer != printer || slices.Contains(q.mine, row.ID) {
			continue
		}
		switch row.Stage {
		case job.Printing:
			left := math.Max(0, row.PrintTimeS-q.now.Sub(row.Since).Seconds())
			s.low, s.high = s.low+left, s.high+math.Max(left, row.PrintTimeS/4)
		case job.Agreed, job.Failed:
			s.low, s.high = s.low+row.PrintTimeS, s.high+row.PrintTimeS
		case job.Quoted: // may be accepted first
			s.high += row.PrintTimeS
		}
	}
	return s
}
