package draft

import (
	"meshclerk/intake/job"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Said is what a report says, in the words of the reply texts: one for each line of
// the price and other way to print, in the report's order. What a text has no words
// for is "".
type Said struct{ Lines, Options []string }

// Say puts a job's report into the words of a language, for a page that speaks it.
func Say(r *rules.Rules, set *templates.Set, language string, j *job.Job) Said {
	var out Said
	if j.Report == nil {
		return out
	}
	f := &filler{&Input{Rules: r, Templates: set, Jobs: []*job.Job{j}}, set.Book().In(language, r.Prices.Locale, r.Prices.Currency)}
	words := func(piece string, data any) string {
		s, err := set.Piece(language, piece, data)
		if err != nil { // a house's own texts may do without the piece
			return ""
		}
		return templates.Plain(s)
	}
	if q := j.Report.Quote; q != nil {
		for _, line := range q.Lines {
			out.Lines = append(out.Lines, words("_line", f.line(line, j)))
		}
	}
	if j.Report.Estimate != nil {
		for _, c := range j.Report.Estimate.WhatIf {
			out.Options = append(out.Options, words("_option", f.option(c, j)))
		}
	}
	return out
}
