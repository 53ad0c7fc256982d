package main

import (
	"slices"

	"meshclerk/intake/job"
)

// plainLabels puts the words of labels in their place, for what scripts read: of the
// lines of a price, and of other ways to print a part.
func plainLabels(w words, r *job.Report) {
	if r == nil {
		return
	}
	if r.Quote != nil {
		q := *r.Quote
		q.Lines = slices.Clone(q.Lines)
		for i := range q.Lines {
			q.Lines[i].Label = job.Plain(w.said(q.Lines[i].Label))
		}
		r.Quote = &q
	}
	if r.Estimate != nil {
		e := *r.Estimate
		e.WhatIf = slices.Clone(e.WhatIf)
		for i := range e.WhatIf {
			e.WhatIf[i].Label = job.Plain(w.said(e.WhatIf[i].Label))
		}
		r.Estimate = &e
	}
}
