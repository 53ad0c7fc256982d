package job

import (
	"math"
	"slices"
	"strings"
)

// Terms are what one part is printed as and what it costs: what a letter says and
// its patron says yes to. Branch, telephone and printer are none of them; they may
// change after a yes.
type Terms struct {
	File     string         `json:"file"` // SHA-256 of the mesh bytes, hex
	Copies   int            `json:"copies"`
	Colour   string         `json:"colour,omitempty"`  // "" is not settled, or the house's only one
	Colours  []ColourCopies `json:"colours,omitempty"` // where the copies are not all of one colour
	Second   *SecondColour  `json:"second,omitempty"`
	Material string         `json:"material"`
	SizeMM   [3]float64     `json:"size_mm"` // to a tenth
	LayerMM  float64        `json:"layer_mm"`
	Shells   int            `json:"shells"`
	Infill   float64        `json:"infill"`
	Supports string         `json:"supports,omitempty"`
	Turned   bool           `json:"turned,omitempty"` // printed in the advised orientation
	Currency string         `json:"currency"`
	Total    string         `json:"total"` // decimal money
}

// ColourCopies is how many copies are of one colour.
type ColourCopies struct {
	Colour string `json:"colour"`
	Copies int    `json:"copies"`
}

// Terms gives what the job is printed as, as it was last checked. It reports false
// for a job that nobody can say yes to: not checked to the end, not printable, or
// without a price.
func (j Job) Terms() (Terms, bool) {
	r := j.Report
	if r == nil || r.Estimate == nil || r.Mesh == nil || r.Quote == nil || r.Quote.Total == "" || !r.Printable() {
		return Terms{}, false
	}
	asked, e := j.Asked(), r.Estimate
	t := Terms{
		File: j.Blob, Copies: asked.Copies, Colour: asked.Colour, Colours: asked.Colours, Second: j.InTwo(), Material: e.Material,
		LayerMM: e.LayerMM, Shells: e.Shells, Infill: e.Infill, Supports: asked.Supports, Turned: asked.Reoriented,
		Currency: r.Quote.Currency, Total: r.Quote.Total,
	}
	for k, v := range r.Mesh.SizeMM {
		t.SizeMM[k] = math.Round(10*v) / 10
	}
	return t, true
}

// The names of terms, as Differ gives them; questions about them have the same keys.
const (
	TermFile     = "file"
	TermCopies   = "copies"
	TermColour   = "colour"
	TermHeight   = "height" // at which the colour changes
	TermMaterial = "material"
	TermSize     = "size"
	TermMade     = "made" // layers, shells, infill, the way up
	TermSupports = "supports"
	TermTotal    = "total"
)

// Differ names what is not the same in two terms, in the order a patron cares about.
func (t Terms) Differ(u Terms) []string {
	var out []string
	for _, x := range []struct {
		name string
		same bool
	}{
		{TermFile, t.File == u.File},
		{TermCopies, t.Copies == u.Copies},
		{TermColour, t.Colour == u.Colour && slices.Equal(t.Colours, u.Colours) && sameSecond(t.Second, u.Second)},
		{TermHeight, t.Second == nil || u.Second == nil || t.Second.FromMM == u.Second.FromMM},
		{TermMaterial, t.Material == u.Material},
		{TermSize, t.SizeMM == u.SizeMM},
		{TermMade, t.LayerMM == u.LayerMM && t.Shells == u.Shells && t.Infill == u.Infill && t.Turned == u.Turned},
		{TermSupports, t.Supports == u.Supports},
		{TermTotal, t.Currency == u.Currency && t.Total == u.Total},
	} {
		if !x.same {
			out = append(out, x.name)
		}
	}
	return out
}

// sameSecond compares second colours, but for the height at which they begin.
func sameSecond(a, b *SecondColour) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Colour == b.Colour && slices.Equal(a.Bodies, b.Bodies) && (a.FromMM > 0) == (b.FromMM > 0)
}

// Meets reports whether terms are those of an offer: the same, but for what the
// offer itself asked the patron to choose. What is chosen may not change the price.
func (t Terms) Meets(offer Terms, asked []string) bool {
	return !slices.ContainsFunc(t.Differ(offer), func(name string) bool {
		return !slices.Contains(asked, name) || name == TermFile || name == TermTotal
	})
}

// MeetsOffer reports whether a job is as an offer said: at its terms, but for what the
// offer asked and its patron chose. What staff set in their stead is told them first.
func (j Job) MeetsOffer(offer Terms, asked []string) bool {
	t, ok := j.Terms()
	chosen := slices.DeleteFunc(slices.Clone(asked), func(name string) bool { return !j.chose(name, t) })
	return ok && t.Meets(offer, chosen)
}

// chose reports whether a term is as the patron's own words have it.
func (j Job) chose(name string, t Terms) bool {
	w := j.Wishes
	switch name {
	case TermColour:
		return w.leavesColour() || !slices.ContainsFunc(t.colours(), func(c string) bool { return !w.names(c) })
	case TermCopies:
		return w.Copies != nil && *w.Copies == t.Copies
	case TermMaterial:
		return strings.EqualFold(w.Material, t.Material)
	case TermSize:
		return w.Size != nil || w.Scale != nil
	case TermSupports:
		return w.Supports == t.Supports
	}
	return true
}

// colours are all that a part is printed in.
func (t Terms) colours() []string {
	out := []string{t.Colour}
	for _, c := range t.Colours {
		out = append(out, c.Colour)
	}
	if t.Second != nil {
		out = append(out, t.Second.Colour)
	}
	return out
}

// leavesColour reports whether the writer spoke of the colour and leaves it to the library.
func (w Wishes) leavesColour() bool { return w.Words["colours"] != "" && len(w.Colours) == 0 }

// names reports whether a colour is one of those that are wished.
func (w Wishes) names(colour string) bool {
	return slices.Contains(w.Colours, colour) || slices.ContainsFunc(w.Items, func(i Item) bool { return slices.Contains(i.Colours, colour) })
}
