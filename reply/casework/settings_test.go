package casework

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

func coloured(part string, copies int, colours ...string) job.Item {
	return job.Item{Part: part, Copies: copies, Colours: colours}
}

// itemsOf writes items down: part, count and colours of each.
func itemsOf(items []job.Item) string {
	var out []string
	for _, i := range items {
		out = append(out, strings.TrimSpace(fmt.Sprint(i.Part, " ", i.Copies, " ", strings.Join(i.Colours, "+"))))
	}
	return strings.Join(out, ", ")
}

// Wishes are of one print in two colours where they are of two parts, once each, in one
// number, size and material, and in two colours; or of what is below a height and above it.
func TestWishesOfOnePrintInTwoColours(t *testing.T) {
	black, red := coloured("base", 0, "black"), coloured("letters", 0, "red")
	with := func(i job.Item, change func(i *job.Item)) job.Item { change(&i); return i }
	mm := 3.0
	for name, c := range map[string]struct {
		w    job.Wishes
		want bool
	}{
		"two parts":               {job.Wishes{Items: []job.Item{black, red}}, true},
		"one each":                {job.Wishes{Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "red")}}, true},
		"one part":                {job.Wishes{Items: []job.Item{black}}, false},
		"three parts":             {job.Wishes{Items: []job.Item{black, red, coloured("feet", 0, "blue")}}, false},
		"none":                    {job.Wishes{}, false},
		"the first without name":  {job.Wishes{Items: []job.Item{coloured("", 0, "black"), red}}, true},
		"the second without name": {job.Wishes{Items: []job.Item{black, coloured("", 0, "red")}}, false},
		"neither with a name":     {job.Wishes{Items: []job.Item{coloured("", 0, "black"), coloured("", 0, "red")}}, false},
		"by height":               {job.Wishes{Items: []job.Item{coloured("", 0, "black"), coloured("", 0, "red")}, ChangeMM: &mm}, true},
		"by height, one named":    {job.Wishes{Items: []job.Item{black, coloured("", 0, "red")}, ChangeMM: &mm}, false},
		"two of the first":        {job.Wishes{Items: []job.Item{coloured("base", 2, "black"), red}}, false},
		"two of the second":       {job.Wishes{Items: []job.Item{black, coloured("letters", 2, "red")}}, false},
		"no colour of one":        {job.Wishes{Items: []job.Item{black, coloured("letters", 0)}}, false},
		"of one that we have not": {job.Wishes{Items: []job.Item{black, {Part: "letters", Other: "mauve"}}}, true},
		"both mauve":              {job.Wishes{Items: []job.Item{{Part: "base", Other: "mauve"}, {Part: "letters", Other: "mauve"}}}, false},
		"both black":              {job.Wishes{Items: []job.Item{black, coloured("letters", 0, "black")}}, false},
		"one of another size":     {job.Wishes{Items: []job.Item{black, with(red, func(i *job.Item) { i.Size = &job.Size{MM: 9} })}}, false},
		"one at another scale":    {job.Wishes{Items: []job.Item{black, with(red, func(i *job.Item) { i.Scale = &mm })}}, false},
		"one of another material": {job.Wishes{Items: []job.Item{with(black, func(i *job.Item) { i.Material = "PETG" }), red}}, false},
	} {
		if got := inTwoColours(c.w); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// The first colour is that of the base, whichever is named first; where one is not in
// stock neither is taken. A height is counted from below, or from the top.
func TestColoursOfOnePrint(t *testing.T) {
	r := rules.Default()
	mm := 3.0
	second := &job.SecondColour{Colour: "before"}
	for name, c := range map[string]struct {
		w      job.Wishes
		colour string
		second string
	}{
		"the base first":      {job.Wishes{Items: []job.Item{coloured("base", 0, "black"), coloured("letters", 0, "red")}}, "black", "red 0 0"},
		"the letters first":   {job.Wishes{Items: []job.Item{coloured("letters", 0, "red"), coloured("base", 0, "black")}}, "black", "red 0 0"},
		"both are letters":    {job.Wishes{Items: []job.Item{coloured("letters", 0, "red"), coloured("name", 0, "black")}}, "red", "black 0 0"},
		"neither is":          {job.Wishes{Items: []job.Item{coloured("lid", 0, "red"), coloured("base", 0, "black")}}, "red", "black 0 0"},
		"one colour":          {job.Wishes{Items: []job.Item{coloured("base", 0, "red")}}, "as before", "before 0 0"},
		"the first not had":   {job.Wishes{Items: []job.Item{coloured("base", 0, "gold"), coloured("letters", 0, "red")}}, "", "before 0 0"},
		"the second not had":  {job.Wishes{Items: []job.Item{coloured("base", 0, "red"), coloured("letters", 0, "gold")}}, "", "before 0 0"},
		"not of its material": {job.Wishes{Material: "PETG", Items: []job.Item{coloured("base", 0, "black"), coloured("letters", 0, "red")}}, "", "before 0 0"},
		"from below":          {job.Wishes{ChangeMM: &mm, Items: []job.Item{coloured("", 0, "black"), coloured("", 0, "red")}}, "black", "red 3 0"},
		"from the top":        {job.Wishes{ChangeMM: &mm, FromTop: true, Items: []job.Item{coloured("", 0, "black"), coloured("", 0, "red")}}, "black", "red 0 3"},
		"the top of none":     {job.Wishes{FromTop: true, Items: []job.Item{coloured("base", 0, "black"), coloured("letters", 0, "red")}}, "black", "red 0 0"},
	} {
		colour, two := twoColours(c.w, r, "as before", second)
		if got := fmt.Sprint(two.Colour, " ", two.FromMM, " ", two.TopMM); colour != c.colour || got != c.second {
			t.Errorf("%s: %q and %q, want %q and %q", name, colour, got, c.colour, c.second)
		}
	}
}

// Copies of several colours are one job where each item is no part, has a count and a
// colour in stock, and no size, scale or material of its own.
func TestCopiesOfSeveralColours(t *testing.T) {
	r := rules.Default()
	red, blue := coloured("", 2, "red"), coloured("", 3, "blue")
	two := 2.0
	for name, c := range map[string]struct {
		second   job.Item
		material string
		want     string
	}{
		"two colours": {blue, "", "[{red 2} {blue 3}] 5"}, "of a part": {coloured("lid", 3, "blue"), "", "[] 0"}, "without a count": {coloured("", 0, "blue"), "", "[] 0"}, "without a colour": {coloured("", 3), "", "[] 0"},
		"not in stock": {coloured("", 3, "gold"), "", "[] 0"}, "not of this material": {blue, "PETG", "[] 0"}, "the next one is": {coloured("", 3, "gold", "blue"), "", "[{red 2} {blue 3}] 5"},
		"of a size": {job.Item{Copies: 3, Colours: blue.Colours, Size: &job.Size{}}, "", "[] 0"}, "at a scale": {job.Item{Copies: 3, Colours: blue.Colours, Scale: &two}, "", "[] 0"}, "of a material": {job.Item{Copies: 3, Colours: blue.Colours, Material: "PLA"}, "", "[] 0"},
		"one": {coloured("", 1, "blue"), "", "[{red 2} {blue 1}] 3"},
	} {
		each, n := split(job.Wishes{Material: c.material, Items: []job.Item{red, c.second}}, r)
		if got := fmt.Sprint(each, " ", n); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		w    job.Wishes
		want string
	}{
		"the most": {job.Wishes{Items: []job.Item{coloured("", r.Limits.MaxCopies-2, "blue"), red}}, fmt.Sprint(r.Limits.MaxCopies, " 2 blue")},
		"one more": {job.Wishes{Items: []job.Item{coloured("", r.Limits.MaxCopies-1, "blue"), red}, Colours: []string{"red"}}, "0 0 red"},
		"of one":   {job.Wishes{Items: []job.Item{coloured("", 3, "blue")}, Colours: []string{"blue"}}, "0 0 blue"},
	} {
		s := settings(c.w, r)
		if got := fmt.Sprint(s.Copies, " ", len(s.Colours), " ", s.Colour); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// A wished length makes the scale before a factor does; neither counts where it is nothing.
func TestScaleThatIsWished(t *testing.T) {
	size := [3]float64{40, 30, 20}
	for name, c := range map[string]struct {
		axis      string
		mm, scale float64 // 0 is not said
		want      float64
	}{
		"none": {"", 0, 0, 0}, "the longest": {"longest", 80, 0, 2}, "width": {"width", 80, 0, 2}, "depth": {"depth", 60, 0, 2}, "height": {"height", 60, 0, 3}, "a factor": {"", 0, 0.5, 0.5},
		"a length and a factor": {"height", 60, 0.5, 3}, "no length and a factor": {"height", -1, 0.5, 0.5}, "less than no factor": {"", 0, -1, 0},
	} {
		var w job.Wishes
		if c.mm != 0 {
			w.Size = &job.Size{Axis: c.axis, MM: c.mm}
		}
		if c.scale != 0 {
			w.Scale = &c.scale
		}
		if got := wishedScale(w, size); got != c.want {
			t.Errorf("%s: %g, want %g", name, got, c.want)
		}
	}
	if got := wishedScale(job.Wishes{Size: &job.Size{MM: 9}}, [3]float64{}); got != 0 {
		t.Errorf("of a part without size: %g", got)
	}
}

// Two colours are of nothing where the estimate lays none of the second, and before there
// is one where the part is a single body and none of its bodies was chosen.
func TestSecondColourOfNothing(t *testing.T) {
	two, bodies := &job.SecondColour{Colour: "red"}, &job.SecondColour{Colour: "red", Bodies: []int{2}}
	report := func(parts int, e *job.Estimate) *job.Report {
		return &job.Report{Mesh: &job.Shape{Parts: parts}, Estimate: e}
	}
	for name, c := range map[string]struct {
		second *job.SecondColour
		r      *job.Report
		want   bool
	}{
		"one colour": {nil, report(1, nil), false}, "not looked at": {two, nil, false}, "no mesh": {two, &job.Report{}, false}, "a single body": {two, report(1, nil), true}, "two bodies": {two, report(2, nil), false},
		"bodies were chosen": {bodies, report(1, nil), false}, "some is laid": {two, report(1, &job.Estimate{SecondMM3: 0.1}), false}, "none is laid": {two, report(2, &job.Estimate{}), true},
	} {
		if got := Undivided(job.Settings{Second: c.second}, c.r); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
	for name, c := range map[string]struct {
		second *job.SecondColour
		words  map[string]string
		want   string
	}{
		"a height": {&job.SecondColour{FromMM: 3}, map[string]string{"answer": "yes"}, "yes"}, "said itself": {&job.SecondColour{FromMM: 3}, map[string]string{"answer": "yes", "height": "at 3"}, "at 3"},
		"no answer": {&job.SecondColour{FromMM: 3}, nil, ""}, "by bodies": {&job.SecondColour{}, map[string]string{"answer": "yes"}, ""}, "one colour": {nil, map[string]string{"answer": "yes"}, ""},
	} {
		j := job.Job{Settings: job.Settings{Second: c.second}, Wishes: job.Wishes{Words: c.words}}
		if got := withHeight(j)["height"]; got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		if c.words["height"] == "" && c.words["answer"] != "" && j.Wishes.Words["height"] != "" {
			t.Errorf("%s: the wishes themselves are changed", name)
		}
	}
}

// Parts that are named of one file are its own where no file is called so, and then are no
// count; what is said of no part is of the files that no other names.
func TestPartsOfOneFile(t *testing.T) {
	mm := 3.0
	for name, c := range map[string]struct {
		w     job.Wishes
		files []string
		items string
		count bool
	}{
		"of one file":               {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "red")}}, []string{"sign.stl"}, "base 0 black, letters 0 red", false},
		"without counts":            {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 0, "black"), coloured("letters", 0, "red")}}, []string{"sign.stl"}, "base 0 black, letters 0 red", true},
		"the second with a count":   {job.Wishes{Copies: new(1), Items: []job.Item{coloured("base", 0, "black"), coloured("letters", 1, "red")}}, []string{"sign.stl"}, "base 0 black, letters 0 red", true}, // one of the print
		"the file is the first":     {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "red")}}, []string{"base.stl"}, "base 1 black, letters 1 red", true},
		"the file is the second":    {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "red")}}, []string{"letters.stl"}, "base 1 black, letters 1 red", true},
		"no file":                   {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "red")}}, nil, "base 1 black, letters 1 red", true},
		"one colour":                {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "black")}}, []string{"sign.stl"}, "base 1 black, letters 1 black", true},
		"two files":                 {job.Wishes{Copies: new(2), Items: []job.Item{coloured("base", 1, "black"), coloured("letters", 1, "red")}}, []string{"base.stl", "letters.stl"}, "base 1 black, letters 1 red", true},
		"two files, one named":      {job.Wishes{Items: []job.Item{coloured("", 0, "black"), coloured("letters", 0, "red")}}, []string{"base.stl", "letters.stl"}, "letters 0 red, base.stl 0 black", false},
		"three files, one named":    {job.Wishes{Items: []job.Item{coloured("", 0, "black"), coloured("letters", 0, "red")}}, []string{"base.stl", "letters.stl", "feet.stl"}, "letters 0 red, base.stl 0 black, feet.stl 0 black", false},
		"two files, no second part": {job.Wishes{Items: []job.Item{coloured("", 0, "black")}}, []string{"base.stl", "letters.stl"}, "0 black", false},
		"two files, by height":      {job.Wishes{ChangeMM: &mm, Items: []job.Item{coloured("", 0, "black"), coloured("", 0, "red")}}, []string{"base.stl", "letters.stl"}, "0 black, 0 red", false},
	} {
		got := asOne(c.w, c.files)
		if items := itemsOf(got.Items); items != c.items || (got.Copies != nil) != c.count {
			t.Errorf("%s: %q, a count %v, want %q, %v", name, items, got.Copies != nil, c.items, c.count)
		}
	}
	for _, c := range []struct{ files, said, items, want int }{{3, 3, 0, 1}, {3, 2, 0, 2}, {2, 2, 0, 2}, {3, 3, 1, 3}} {
		if got := eachOnce(job.Wishes{Copies: &c.said, Items: make([]job.Item, c.items)}, c.files); *got.Copies != c.want {
			t.Errorf("%d said of %d files and %d items: %d, want %d", c.said, c.files, c.items, *got.Copies, c.want)
		}
	}
	if eachOnce(job.Wishes{}, 3).Copies != nil {
		t.Error("a count of nothing said")
	}
}

// What a letter newly settles is laid over the settings; what it does not speak of stays
// as staff set it.
func TestNewWishesOverWhatStaffSet(t *testing.T) {
	staff := job.Settings{Printer: "Two", Material: "PETG", Colour: "grey", Copies: 9, Supports: "no", Infill: 0.9, InfillSet: true, Shells: 9, LayerMM: 0.1}
	second := &job.SecondColour{Colour: "red"}
	each := []job.ColourCopies{{Colour: "red", Copies: 2}}
	for name, c := range map[string]struct {
		want   job.Settings // was nothing
		change func(s *job.Settings)
	}{
		"nothing":            {job.Settings{}, func(s *job.Settings) {}},
		"copies":             {job.Settings{Copies: 2}, func(s *job.Settings) { s.Copies = 2 }},
		"a colour":           {job.Settings{Colour: "blue"}, func(s *job.Settings) { s.Colour = "blue" }},
		"colours":            {job.Settings{Colours: each}, func(s *job.Settings) { s.Colour, s.Colours = "", each }},
		"copies of colours":  {job.Settings{Copies: 2, Colours: each}, func(s *job.Settings) { s.Copies, s.Colour, s.Colours = 2, "", each }},
		"a second colour":    {job.Settings{Colour: "blue", Second: second}, func(s *job.Settings) { s.Colour, s.Second = "blue", second }},
		"only the second":    {job.Settings{Second: second}, func(s *job.Settings) { s.Colour, s.Second = "", second }},
		"a material":         {job.Settings{Material: "PLA"}, func(s *job.Settings) { s.Material = "PLA" }},
		"supports":           {job.Settings{Supports: "yes"}, func(s *job.Settings) { s.Supports = "yes" }},
		"infill":             {job.Settings{Infill: 0.4}, func(s *job.Settings) { s.Infill, s.InfillSet, s.Shells = 0.4, false, 0 }},
		"no infill":          {job.Settings{InfillSet: true}, func(s *job.Settings) { s.Infill, s.Shells = 0, 0 }},
		"shells":             {job.Settings{Shells: 4}, func(s *job.Settings) { s.Infill, s.InfillSet, s.Shells = 0, false, 4 }},
		"what it never says": {job.Settings{LayerMM: 0.3, Printer: "One"}, func(s *job.Settings) {}},
	} {
		want := staff
		c.change(&want)
		if got := overlay(staff, job.Settings{}, c.want); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %+v, want %+v", name, got, want)
		}
		if got := overlay(staff, c.want, c.want); !reflect.DeepEqual(got, staff) {
			t.Errorf("%s, as before: %+v", name, got)
		}
	}
	r := rules.Default()
	many, some, solid := r.Limits.MaxCopies+1, 2, r.Printing.StrongInfill
	for name, c := range map[string]struct {
		w    job.Wishes
		want string
	}{
		"nothing": {job.Wishes{}, "0 0 false 0"}, "copies": {job.Wishes{Copies: &some}, "2 0 false 0"}, "too many": {job.Wishes{Copies: &many}, fmt.Sprint(r.Limits.MaxCopies, " 0 false 0")},
		"strong": {job.Wishes{Strong: true}, fmt.Sprint("0 ", solid, " true ", r.Printing.StrongShells)}, "strong, with an infill": {job.Wishes{Strong: true, Infill: new(0.1)}, "0 0.1 true 0"},
		"as full as strong": {job.Wishes{Infill: &solid}, fmt.Sprint("0 ", solid, " true ", r.Printing.StrongShells)},
	} {
		s := settings(c.w, r)
		if got := fmt.Sprint(s.Copies, " ", s.Infill, " ", s.InfillSet, " ", s.Shells); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// One colour in an answer is that of the part of two whose own is not in stock: where it
// is said of the whole, of both or of neither, it is not.
func TestColourInstead(t *testing.T) {
	items := func(a, b string) []job.Item { return []job.Item{coloured("base", 0, a), coloured("letters", 0, b)} }
	blue := job.Wishes{Colours: []string{"blue"}}
	for name, c := range map[string]struct {
		text string
		w    job.Wishes
		was  []job.Item
		want string
	}{
		"of the second": {"Blue then.", blue, items("black", "gold"), "base 0 black, letters 0 blue"}, "of the first": {"Blue then.", blue, items("gold", "red"), "base 0 blue, letters 0 red"},
		"both lack": {"Blue then.", blue, items("gold", "silver"), ""}, "neither lacks": {"Blue then.", blue, items("black", "red"), ""}, "one colour before": {"Blue then.", blue, items("gold", "gold"), ""},
		"said of all": {"All of it in blue.", blue, items("black", "gold"), ""}, "no colour": {"Then not.", job.Wishes{}, items("black", "gold"), ""},
		"of a part": {"The letters in blue.", job.Wishes{Colours: blue.Colours, Items: []job.Item{coloured("letters", 0, "blue")}}, items("black", "gold"), "letters 0 blue"},
	} {
		in := &incoming{o: &Office{Rules: rules.Default()}, l: &job.Letter{Text: c.text, Language: "en"}}
		got := in.instead(c.w, job.Job{Wishes: job.Wishes{Items: c.was}})
		if is := itemsOf(got.Items); is != c.want {
			t.Errorf("%s: %q, want %q", name, is, c.want)
		}
		if n := len(got.Colours); len(got.Items) == 2 && n != 2 {
			t.Errorf("%s: %d colours", name, n)
		}
		if c.was[1].Colours[0] == "blue" || c.was[0].Colours[0] == "blue" {
			t.Errorf("%s: the wishes before are changed", name)
		}
	}
}

// Of one part counts what its own item says, before what is said of all; what is said of
// other parts does not.
func TestWishesNarrowedToOnePart(t *testing.T) {
	all := job.Wishes{Copies: new(4), Colours: []string{"white"}, Scale: new(3.0), Material: "PLA"}
	with := func(items ...job.Item) job.Wishes { w := all; w.Items = items; return w }
	for name, c := range map[string]struct {
		w    job.Wishes
		want string // items, copies, colours, size, scale, material
	}{
		"no items": {all, "0 4 white 0 3 PLA"}, "its own": {with(coloured("lid", 2, "red")), "0 2 red 0 3 PLA"}, "its own without a count": {with(coloured("lid", 0, "red")), "0 - red 0 3 PLA"},
		"another part's": {with(coloured("knob", 2, "red")), "0 -  0 0 PLA"}, "of no part": {with(coloured("", 2, "red")), "1 4 white 0 3 PLA"}, "its own behind another": {with(coloured("knob", 1, "blue"), coloured("lid", 2, "red")), "0 2 red 0 3 PLA"},
		"in passing, then counted": {with(coloured("lid", 0, "blue"), coloured("lid", 2, "red")), "0 2 red 0 3 PLA"}, "of a size": {with(job.Item{Part: "lid", Copies: 1, Size: &job.Size{MM: 7}}), "0 1  7 0 PLA"},
		"at a scale": {with(job.Item{Part: "lid", Copies: 1, Scale: new(2.0)}), "0 1  0 2 PLA"}, "of a material": {with(job.Item{Part: "lid", Copies: 1, Material: "PETG"}), "0 1  0 3 PETG"},
		"of one print in two": {with(coloured("base", 0, "black"), coloured("letters", 0, "red")), "2 4 white 0 3 PLA"}, "of two prints": {with(coloured("base", 1, "black"), coloured("letters", 1, "red")), "0 -  0 0 PLA"},
	} {
		w := wishesOf(c.w, "lid.stl")
		copies, size, scale := "-", 0.0, 0.0
		if w.Copies != nil {
			copies = fmt.Sprint(*w.Copies)
		}
		if w.Size != nil {
			size = w.Size.MM
		}
		if w.Scale != nil {
			scale = *w.Scale
		}
		if got := fmt.Sprint(len(w.Items), " ", copies, " ", strings.Join(w.Colours, "+"), " ", size, " ", scale, " ", w.Material); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
	for name, c := range map[string]struct {
		items []job.Item
		want  string // each: copies, colours, material, items
	}{
		"none": {nil, "4 white PLA 0"}, "colours": {[]job.Item{coloured("", 1, "red"), coloured("", 2, "blue")}, "4 white PLA 2"},
		"two sizes":          {[]job.Item{{Copies: 2, Size: &job.Size{MM: 7}}, {Size: &job.Size{MM: 8}, Colours: []string{"red"}}}, "2 white PLA 0; 1 red PLA 0"},
		"two scales":         {[]job.Item{{Copies: 2, Scale: new(2.0)}, {Copies: 3, Scale: new(3.0)}}, "2 white PLA 0; 3 white PLA 0"},
		"two materials":      {[]job.Item{{Copies: 2, Material: "PETG"}, {Copies: 3}}, "2 white PETG 0; 3 white PLA 0"},
		"one size of colour": {[]job.Item{{Copies: 2, Scale: new(2.0), Colours: []string{"red"}}, {Copies: 1, Scale: new(3.0)}, {Copies: 3, Scale: new(2.0), Colours: []string{"blue"}}}, "5 red+blue PLA 2; 1 white PLA 0"},
	} {
		w := all
		w.Items = c.items
		var out []string
		for _, one := range separately(w) {
			out = append(out, fmt.Sprint(*one.Copies, " ", strings.Join(one.Colours, "+"), " ", one.Material, " ", len(one.Items)))
		}
		if got := strings.Join(out, "; "); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
