package rules

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"meshclerk/intake/job"
)

// Problem is one thing wrong with a rule file, and how to mend it.
type Problem struct {
	File   string      // as a person would find it
	Line   int         // from 1; 0 when the whole file is meant
	Column int         // in bytes, from 1
	Width  int         // bytes to underline
	Source string      // the line itself
	Text   job.Message // what is wrong: lower case, no full stop
	Hint   job.Message // how to mend it, or none
}

// hint is how the problem is mended, as a line of its own.
func (p Problem) hint() job.Message { return job.Say("rules.hint.is", job.Args{"hint": p.Hint}) }

// Unwrap gives what is wrong and how to mend it as faults, for whoever has the words
// (templates.Localizer.Error).
func (p Problem) Unwrap() []error {
	out := []error{job.Refuse(p.Text)}
	if !p.Hint.IsZero() {
		out = append(out, job.Refuse(p.hint()))
	}
	return out
}

// Error shows file, line and column, the line itself with carets under the
// place, and the hint.
func (p Problem) Error() string {
	var b strings.Builder
	if p.Line == 0 {
		fmt.Fprintf(&b, "%s: %s", p.File, p.Text)
	} else {
		fmt.Fprintf(&b, "%s:%d:%d: %s", p.File, p.Line, p.Column, p.Text)
		number := strconv.Itoa(p.Line)
		before, under := p.split()
		fmt.Fprintf(&b, "\n  %s | %s", number, p.Source)
		fmt.Fprintf(&b, "\n  %s | %s%s", strings.Repeat(" ", len(number)), before, under)
	}
	if !p.Hint.IsZero() {
		b.WriteString("\n  " + p.hint().String())
	}
	return b.String()
}

// split returns what stands before the carets, tabs kept so that they line up, and the carets.
func (p Problem) split() (before, under string) {
	from := min(p.Column-1, len(p.Source))
	to := min(from+p.Width, len(p.Source))
	before = strings.Map(func(r rune) rune {
		if r == '\t' {
			return r
		}
		return ' '
	}, p.Source[:from])
	return before, strings.Repeat("^", max(1, utf8.RuneCountInString(p.Source[from:to])))
}

// Problems are all the problems that were found, in the order of files and lines.
type Problems []Problem

// Error lists every problem.
func (ps Problems) Error() string {
	texts := make([]string, len(ps))
	for i, p := range ps {
		texts[i] = p.Error()
	}
	return strings.Join(texts, "\n")
}

// Unwrap lists the problems.
func (ps Problems) Unwrap() []error {
	out := make([]error, len(ps))
	for i, p := range ps {
		out[i] = p
	}
	return out
}

// Nearest returns the known word that is closest to what was written, by the
// number of letters to change, add, drop or swap; or "" when none is near.
func Nearest(word string, known []string) string {
	best, bestAt := "", len(word)/2+1
	for _, k := range known {
		if d := Distance(strings.ToLower(word), strings.ToLower(k)); d < bestAt {
			best, bestAt = k, d
		}
	}
	return best
}

// Distance is the optimal string alignment distance (Levenshtein's with swaps
// of neighbours).
func Distance(a, b string) int {
	prev2, prev, cur := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			same := 1
			if a[i-1] == b[j-1] {
				same = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+same)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}

// didYouMean is a hint with the nearest known word, or with all of them when they are few.
func didYouMean(word string, known []string) job.Message {
	if near := Nearest(word, known); near != "" {
		return job.Say("rules.hint.near", job.Args{"word": near})
	}
	if len(known) == 0 {
		return none
	}
	return job.Say("rules.hint.known", job.Args{"known": known})
}
