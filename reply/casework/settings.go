package casework

import (
	"cmp"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// overlay lays what a letter newly settles over the settings as they are: what staff
// set stays, unless the letter speaks of that very thing.
func overlay(now, was, want job.Settings) job.Settings {
	if want.Copies != was.Copies {
		now.Copies, now.Colours = want.Copies, want.Colours
	}
	if want.Colour != was.Colour || !slices.Equal(want.Colours, was.Colours) {
		now.Colour, now.Colours = want.Colour, want.Colours
	}
	if !reflect.DeepEqual(want.Second, was.Second) {
		now.Colour, now.Second = want.Colour, want.Second
	}
	if want.Material != was.Material {
		now.Material = want.Material
	}
	if want.Supports != was.Supports {
		now.Supports = want.Supports
	}
	if want.Infill != was.Infill || want.InfillSet != was.InfillSet || want.Shells != was.Shells {
		now.Infill, now.InfillSet, now.Shells = want.Infill, want.InfillSet, want.Shells
	}
	return now
}

// settings turns what the patron's words settle into what the part is printed
// with; the unsaid stays zero, which means "as the house rules say". The scale
// stays open: a wished length needs the part's own size, which the check reads.
func settings(w job.Wishes, r *rules.Rules) job.Settings {
	s := job.Settings{Material: w.Material, Supports: w.Supports}
	if w.Copies != nil {
		s.Copies = min(*w.Copies, r.Limits.MaxCopies)
	}
	s.Colour = inStock(w, r)
	if each, n := split(w, r); len(each) > 1 && n <= r.Limits.MaxCopies {
		s.Colours, s.Copies, s.Colour = each, n, each[0].Colour
	}
	s.Colour, s.Second = twoColours(w, r, s.Colour, s.Second)
	if w.Infill != nil {
		s.Infill, s.InfillSet = *w.Infill, true
		if *w.Infill >= r.Printing.StrongInfill && r.Printing.StrongInfill > 0 {
			s.Shells = r.Printing.StrongShells
		}
	}
	if w.Strong && w.Infill == nil {
		s.Infill, s.InfillSet, s.Shells = r.Printing.StrongInfill, true, r.Printing.StrongShells
	}
	return s
}

// twoColours are the colours of one print whose parts are named and none of which is a
// file of its own: "the base black, the letters red"; or one that changes at a height. The
// first is that of the largest or lowest, unless it is said of the letters.
func twoColours(w job.Wishes, r *rules.Rules, colour string, second *job.SecondColour) (string, *job.SecondColour) {
	if !inTwoColours(w) {
		return colour, second
	}
	base, top := w.Items[0], w.Items[1]
	if raised(base.Part, r) && !raised(top.Part, r) {
		base, top = top, base
	}
	a := inStock(job.Wishes{Material: w.Material, Colours: base.Colours}, r)
	b := inStock(job.Wishes{Material: w.Material, Colours: top.Colours}, r)
	if a == "" || b == "" {
		return "", second // which one instead is asked
	}
	two := &job.SecondColour{Colour: b}
	switch {
	case w.ChangeMM != nil && w.FromTop:
		two.TopMM = *w.ChangeMM
	case w.ChangeMM != nil:
		two.FromMM = *w.ChangeMM
	}
	return a, two
}

// raised reports whether a part's name is one for what stands on another, as letters do.
func raised(part string, r *rules.Rules) bool {
	for _, cues := range r.Words.Cues {
		if saidIn(part).has(cues["raised"]) {
			return true
		}
	}
	return false
}

// inTwoColours reports whether wishes are of one print in two colours: of two named
// parts, of one on a print without a name, or of what is below a height and above it.
func inTwoColours(w job.Wishes) bool {
	if len(w.Items) != 2 || w.Items[1].Part == "" && (w.ChangeMM == nil || w.Items[0].Part != "") {
		return false
	}
	for _, i := range w.Items {
		if len(i.Colours) == 0 && i.Other == "" || i.Copies > 1 || i.Size != nil || i.Scale != nil || i.Material != "" {
			return false
		}
	}
	return named(w.Items[0]) != named(w.Items[1])
}

// named is the colour of an item as it is wished first.
func named(i job.Item) string {
	if len(i.Colours) == 0 {
		return i.Other
	}
	return i.Colours[0]
}

// instead reads one colour as that of the part of a print in two whose own is not in
// stock, as the letter asked, unless it is said of all of it.
func (in *incoming) instead(w job.Wishes, j job.Job) job.Wishes {
	if len(w.Items) > 0 || len(w.Colours) == 0 || !inTwoColours(j.Wishes) || saidIn(in.l.Text).has(in.o.Rules.Words.Guards[in.l.Language]["allofit"]) {
		return w
	}
	lacks := -1
	for i, item := range j.Wishes.Items {
		switch {
		case inStock(job.Wishes{Material: j.Wishes.Material, Colours: item.Colours}, in.o.Rules) != "":
		case lacks >= 0:
			return w // both: which is meant is not clear
		default:
			lacks = i
		}
	}
	if lacks < 0 {
		return w
	}
	w.Items = slices.Clone(j.Wishes.Items)
	w.Items[lacks].Colours, w.Items[lacks].Other = w.Colours, ""
	w.Colours = nil
	for _, i := range w.Items {
		w.Colours = append(w.Colours, i.Colours...)
	}
	return w
}

// withHeight notes that a yes is to the height at which we proposed to change the colour.
func withHeight(j job.Job) map[string]string {
	two := j.InTwo()
	if two == nil || two.FromMM <= 0 || j.Wishes.Words["height"] != "" || j.Wishes.Words["answer"] == "" {
		return j.Wishes.Words
	}
	words := maps.Clone(j.Wishes.Words)
	words["height"] = words["answer"]
	return words
}

// Undivided reports whether two colours are asked of a part in which there is nothing to
// print in the second: of a single body on which nothing stands, and that does not reach
// the height at which the colour would change.
func Undivided(s job.Settings, r *job.Report) bool {
	if s.Second == nil || r == nil || r.Mesh == nil {
		return false
	}
	if r.Estimate != nil {
		return r.Estimate.SecondMM3 <= 0
	}
	return len(s.Second.Bodies) == 0 && r.Mesh.Parts < 2
}

// split gives how many copies are wished in which colour, where the parts are the same
// but for their colour and all of it is in stock.
func split(w job.Wishes, r *rules.Rules) (each []job.ColourCopies, copies int) {
	for _, item := range w.Items {
		if item.Part != "" || item.Copies < 1 || len(item.Colours) == 0 || item.Size != nil || item.Scale != nil || item.Material != "" {
			return nil, 0
		}
		c := inStock(job.Wishes{Material: w.Material, Colours: item.Colours}, r)
		if c == "" {
			return nil, 0
		}
		each, copies = append(each, job.ColourCopies{Colour: c, Copies: item.Copies}), copies+item.Copies
	}
	return each, copies
}

// inStock is the first wished colour that the material comes in, or "".
func inStock(w job.Wishes, r *rules.Rules) string {
	name := cmp.Or(w.Material, r.Printing.Material)
	for _, m := range r.Materials {
		if !strings.EqualFold(m.Name, name) {
			continue
		}
		for _, c := range w.Colours {
			if slices.Contains(m.Colours, c) {
				return c
			}
		}
	}
	return ""
}

// wishedScale gives the factor that turns the part's size into the wished one,
// or zero when nothing was said. A length beats a factor: it leaves no doubt
// about units.
func wishedScale(w job.Wishes, size [3]float64) float64 {
	if w.Size != nil {
		if was := along(w.Size.Axis, size); was > 0 && w.Size.MM > 0 {
			return w.Size.MM / was
		}
	}
	if w.Scale != nil && *w.Scale > 0 {
		return *w.Scale
	}
	return 0
}

// along is the part's length along a named axis.
func along(axis string, size [3]float64) float64 {
	switch axis {
	case "width":
		return size[0]
	case "depth":
		return size[1]
	case "height":
		return size[2]
	}
	return math.Max(size[0], math.Max(size[1], size[2]))
}
