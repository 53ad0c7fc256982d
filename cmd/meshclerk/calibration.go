package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/slice"
	"meshclerk/reply/casework"
)

type calibrationCmd struct {
	house
	JSON bool `name:"json" help:"One JSON object per printer and material, for scripts."`
}

// learned is what the prints of one printer and material taught.
type learned struct {
	Printer  string         `json:"printer"`
	Material string         `json:"material"`
	Prints   int            `json:"prints"` // finished ones with an estimate
	Fit      *slice.Fit     `json:"fit"`    // null while there are too few
	All      []ledger.Print `json:"all"`
}

func (c *calibrationCmd) Run(e *env) error {
	l, err := c.open(e)
	if err != nil {
		return err
	}
	defer l.Close()
	all, err := l.Prints(e.ctx, "", "")
	if err != nil {
		return err
	}
	groups, err := learnedFrom(all)
	if err != nil {
		return err
	}
	if len(groups) == 0 && !c.JSON {
		_, err = fmt.Fprintf(e.out, "no finished print is on record; record them with: meshclerk printed JOB --hours H --grams G\n")
		return err
	}
	for _, g := range groups {
		if c.JSON {
			err = writeJSON(e, g)
		} else {
			err = g.write(e.out)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// learnedFrom sorts the prints by printer and material and fits each group.
func learnedFrom(all []ledger.Print) ([]learned, error) {
	var out []learned
	for _, p := range all {
		i := slices.IndexFunc(out, func(g learned) bool { return g.Printer == p.Printer && g.Material == p.Material })
		if i < 0 {
			i = len(out)
			out = append(out, learned{Printer: p.Printer, Material: p.Material})
		}
		out[i].All = append(out[i].All, p)
	}
	for i := range out {
		teaching := casework.Teaching(out[i].All)
		fit, err := slice.FitPrints(teaching)
		if err != nil {
			return nil, err
		}
		out[i].Prints, out[i].Fit = len(teaching), fit
	}
	return out, nil
}

// write draws the group: what the prints took beside their estimates, each as a
// point on a line from half to double.
func (g learned) write(w io.Writer) error {
	fmt.Fprintf(w, "%s, %s: %s with an estimate\n", g.Printer, orDash(g.Material), job.Count(g.Prints, "finished print", "finished prints"))
	if f := g.Fit; f != nil {
		fmt.Fprintf(w, "  time is %.2f times the estimate, nearly always %.2f to %.2f times; plastic %.2f times\n", f.Time, f.Time*f.Low, f.Time*f.High, f.Mass)
	} else {
		fmt.Fprintf(w, "  no correction yet: it takes %d prints; until then the spread of printing.toml holds\n", slice.FewestPrints)
	}
	rows := [][]string{}
	for _, p := range g.All {
		if !p.Good || p.EstHours <= 0 {
			continue
		}
		ratio, mass := p.Hours/p.EstHours, "-"
		if p.EstGrams > 0 && p.Grams > 0 {
			mass = fmt.Sprintf("%.2f", p.Grams/p.EstGrams)
		}
		rows = append(rows, []string{"  " + p.At.Local().Format("2006-01-02"), string(p.Job), fmt.Sprintf("%.2f", p.EstHours), fmt.Sprintf("%.2f", p.Hours), fmt.Sprintf("%.2f", ratio), mass, g.bar(ratio)})
	}
	if len(rows) > 0 {
		if err := table(w, []string{"  DAY", "JOB", "ESTIMATED H", "TOOK H", "TIMES", "GRAMS TIMES", "0.5       1        2"}, rows); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(w)
	return err
}

const barWidth = 20 // cells from half to double

// bar marks a ratio on the line; | is the estimate, = the fit's range, o the print.
func (g learned) bar(ratio float64) string {
	cell := func(r float64) int {
		return min(max(int(math.Round(barWidth/2*(1+math.Log2(r)))), 0), barWidth)
	}
	line := []rune(strings.Repeat(".", barWidth+1))
	if f := g.Fit; f != nil {
		for i := cell(f.Time * f.Low); i <= cell(f.Time*f.High); i++ {
			line[i] = '='
		}
	}
	line[cell(1)] = '|'
	line[cell(ratio)] = 'o'
	return string(line)
}
