package casework

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// What is drawn to stand on or in another part is told from what only shares its corner of
// space, as parts do that are drawn each for itself.
func TestPartsThatAreDrawnToFit(t *testing.T) {
	at := func(x, y, z, w, d, h float64) job.Shape {
		return job.Shape{AtMM: [3]float64{x, y, z}, SizeMM: [3]float64{w, d, h}}
	}
	base := at(0, 0, 0, 60, 30, 4)
	for name, c := range map[string]struct {
		other        job.Shape
		meets, stand bool
	}{
		"on it":                          {at(10, 5, 4, 20, 10, 2), true, true},
		"on it, a hair above":            {at(10, 5, 4.05, 20, 10, 2), true, true},
		"too far above":                  {at(10, 5, 4.2, 20, 10, 2), false, false},
		"let into its top":               {at(10, 5, 2, 20, 10, 2), true, true},
		"at its bottom, as drawn alone":  {at(10, 5, 0, 20, 10, 2), true, false},
		"around the same point":          {at(20, 10, 1, 20, 10, 2), false, false},
		"beyond its side":                {at(50, 5, 4, 20, 10, 2), true, false},
		"beside it":                      {at(70, 5, 0, 20, 10, 2), false, false},
		"beside it, face on face":        {at(60, 0, 0, 20, 30, 4), true, false},
		"another one of the same, there": {base, false, false},
	} {
		if got := allMeet([]job.Shape{base, c.other}); got != c.meets {
			t.Errorf("%s: meets %v, want %v", name, got, c.meets)
		}
		if got := standsOn(c.other, base); got != c.stand {
			t.Errorf("%s: stands %v, want %v", name, got, c.stand)
		}
	}
	if allMeet([]job.Shape{base, at(10, 5, 4, 20, 10, 2), at(100, 0, 0, 5, 5, 5)}) {
		t.Error("a third part that lies apart meets the others")
	}
}

// Pieces are of one number, size and material.
func TestPiecesAreWishedOnceEach(t *testing.T) {
	for _, c := range []struct {
		items []job.Item
		want  bool
	}{
		{nil, true},
		{[]job.Item{{Part: "base", Copies: 1}, {Part: "letters"}}, true},
		{[]job.Item{{Part: "base", Copies: 2}, {Part: "letters", Copies: 2}}, true},
		{[]job.Item{{Part: "base", Copies: 1}, {Part: "letters", Copies: 2}}, false},
		{[]job.Item{{Part: "base"}, {Part: "letters", Material: "PETG"}}, false},
		{[]job.Item{{Part: "base", Copies: 1}, {Part: "feet"}, {Part: "letters", Copies: 2}}, false},
		{[]job.Item{{Part: "base"}, {Part: "letters", Copies: 2}}, true},
		{[]job.Item{{Part: "base"}, {Part: "letters", Size: &job.Size{}}}, false},
		{[]job.Item{{Part: "base"}, {Part: "letters", Scale: new(2.0)}}, false},
	} {
		if got := onceEach(job.Wishes{Items: c.items}); got != c.want {
			t.Errorf("%+v: %v, want %v", c.items, got, c.want)
		}
	}
}

// Boxes are near up to the millimetres given, in each direction; parts share a middle up
// to a hundredth of a millimetre in all three.
func TestHowNearPartsAreDrawn(t *testing.T) {
	base := job.Shape{SizeMM: [3]float64{10, 10, 10}}
	for k := range 3 {
		for _, c := range []struct {
			off  float64
			near bool
		}{{10.1, true}, {10.11, false}, {-10.1, true}, {-10.11, false}, {0, true}} {
			b := base
			b.AtMM[k] = c.off
			if near(base, b, touching) != c.near || near(b, base, touching) != c.near {
				t.Errorf("%g mm along %d: near %v", c.off, k, !c.near)
			}
		}
		for off, same := range map[float64]bool{0.009: true, -0.009: true, 0.011: false, -0.011: false} {
			b := base
			b.AtMM[k] = off
			if sameMiddle(base, b) != same {
				t.Errorf("%g mm along %d: around the same point %v", off, k, !same)
			}
		}
	}
	for _, c := range []struct{ x, w float64 }{{-0.09, 9}, {-0.11, 9}, {1.09, 9}, {1.11, 9}} {
		for k := range 2 {
			top := job.Shape{AtMM: [3]float64{0.5, 0.5, 10}, SizeMM: [3]float64{9, 9, 5}}
			top.AtMM[k], top.SizeMM[k] = c.x, c.w
			if want := c.x > -touching && c.x+c.w < 10+touching; standsOn(top, base) != want {
				t.Errorf("from %g to %g along %d: stands on it %v", c.x, c.x+c.w, k, !want)
			}
		}
	}
	for z, want := range map[float64]bool{0.09: false, 0.11: true, 10.09: true, 10.11: false} {
		top := job.Shape{AtMM: [3]float64{1, 2, z}, SizeMM: [3]float64{2, 2, 2}}
		if standsOn(top, base) != want {
			t.Errorf("%g mm above its bottom: stands on it %v", z, !want)
		}
	}
	small := job.Shape{SizeMM: [3]float64{9, 10, 10}}
	if larger(base, small) != 1 || larger(small, base) != -1 || larger(base, base) != 0 {
		t.Error("the order of sizes")
	}
	apart := func(x float64) job.Shape {
		return job.Shape{AtMM: [3]float64{x, 0, 0}, SizeMM: [3]float64{10, 10, 10}}
	}
	for name, c := range map[string]struct {
		shapes []job.Shape
		want   bool
	}{
		"a row":              {[]job.Shape{apart(0), apart(10), apart(20)}, true},
		"the last apart":     {[]job.Shape{apart(0), apart(10), apart(30)}, false},
		"the first apart":    {[]job.Shape{apart(-20), apart(0), apart(10)}, false},
		"two in one place":   {[]job.Shape{apart(0), apart(10), apart(10)}, false},
		"one alone":          {[]job.Shape{apart(0)}, false},
		"the first in place": {[]job.Shape{apart(0), apart(0), apart(10)}, false},
	} {
		if got := allMeet(c.shapes); got != c.want {
			t.Errorf("%s: meet %v", name, got)
		}
	}
}

// Whether a job may go on as one print with another, or be parted again: it has a file, is
// not of several, was not joined, and is not printed.
func TestWhoMayBeJoined(t *testing.T) {
	one := job.Job{Stage: job.Quoted, Blob: "a"}
	several := one
	several.Pieces = make([]job.Piece, 2)
	for s, want := range map[job.Stage][2]bool{
		job.Taken: {true, true}, job.Checked: {true, true}, job.NeedsAgreement: {true, true}, job.Drafted: {true, true}, job.Quoted: {true, true},
		job.Agreed: {true, true}, job.Failed: {true, true}, job.Printing: {}, job.Ready: {}, job.Collected: {}, job.Declined: {}, job.Withdrawn: {}, job.Lapsed: {},
	} {
		one.Stage, several.Stage = s, s
		if joinable(one) != want[0] || Partable(several) != want[1] {
			t.Errorf("%s: joined %v, parted %v, want %v", s, joinable(one), Partable(several), want)
		}
	}
	one.Stage, several.Stage = job.Quoted, job.Quoted
	for name, change := range map[string]func(j *job.Job){
		"no file": func(j *job.Job) { j.Blob = "" }, "of several": func(j *job.Job) { j.Pieces = make([]job.Piece, 1) },
		"joined to another": func(j *job.Job) { j.JoinedTo = "J-1" },
	} {
		j := one
		if change(&j); joinable(j) || !joinable(one) {
			t.Errorf("%s: may be joined", name)
		}
	}
	if Partable(one) {
		t.Error("one piece may be parted")
	}
}

// What a letter says of one piece leaves the others as they are, and a count that is that
// of the pieces is none.
func TestWishesOfTheirPieces(t *testing.T) {
	pieces := []job.Piece{{File: "base.stl"}, {File: "letters.stl"}}
	black, red, blue := []string{"black"}, []string{"red"}, []string{"blue"}
	before := job.Wishes{Items: []job.Item{{Part: "base", Colours: black}, {Part: "letters", Colours: red}}, Colours: []string{"black", "red"}}
	for name, c := range map[string]struct {
		w      job.Wishes
		j      job.Wishes
		text   string
		items  string
		copies int
	}{
		"of one by its item":     {job.Wishes{Items: []job.Item{{Part: "letters", Colours: blue}}}, before, "", "base.stl black, letters.stl blue", 0},
		"of one by the text":     {job.Wishes{Colours: blue}, before, "Could the letters be blue?", "base.stl black, letters.stl blue", 0},
		"of none by the text":    {job.Wishes{Colours: blue}, before, "Could it be blue?", "", 0},
		"of both by the text":    {job.Wishes{Colours: blue}, before, "Could the base and the letters be blue?", "", 0},
		"no colour in the text":  {job.Wishes{}, before, "The letters are nice.", "", 0},
		"of both by their items": {job.Wishes{Items: []job.Item{{Part: "letters", Colours: black}, {Part: "base", Colours: blue}}}, before, "", "base.stl blue, letters.stl black", 0},
		"of another part":        {job.Wishes{Items: []job.Item{{Part: "lid", Colours: black}}}, before, "", "lid black", 0},
		"without a name":         {job.Wishes{Items: []job.Item{{Colours: black}}}, before, "", " black", 0},
		"each once":              {job.Wishes{Copies: new(2), Items: []job.Item{{Part: "base", Copies: 1}, {Part: "letters", Copies: 1}}}, before, "", "base.stl black, letters.stl black", 0},
		"more of them":           {job.Wishes{Copies: new(3), Items: []job.Item{{Part: "base", Copies: 1}, {Part: "letters", Copies: 1}}}, before, "", "base.stl black, letters.stl black", 3},
		"as before, of one":      {job.Wishes{Items: []job.Item{{Part: "letters", Colours: blue}}}, job.Wishes{Colours: red}, "", "base.stl red, letters.stl blue", 0},
		"not of our colours":     {job.Wishes{Items: []job.Item{{Part: "letters", Other: "mauve"}}}, before, "", "base.stl black, letters.stl mauve", 0},
	} {
		if name == "each once" || name == "more of them" {
			c.j = job.Wishes{Colours: black}
		}
		got := wishesOfPieces(c.w, job.Job{Pieces: pieces, Wishes: c.j}, c.text)
		var items []string
		for _, i := range got.Items {
			items = append(items, i.Part+" "+cmp.Or(i.Other, strings.Join(i.Colours, "+")))
		}
		copies := 0
		if got.Copies != nil {
			copies = *got.Copies
		}
		if s := strings.Join(items, ", "); s != c.items || copies != c.copies {
			t.Errorf("%s: %q, %d copies, want %q, %d", name, s, copies, c.items, c.copies)
		}
	}
	for copies, want := range map[int]string{2: "none", 1: "1", 3: "3"} {
		got := "none"
		if w := one(job.Wishes{Copies: &copies}, 2); w.Copies != nil {
			got = fmt.Sprint(*w.Copies)
		}
		if got != want {
			t.Errorf("%d of two pieces: %s", copies, got)
		}
	}
	if one(job.Wishes{}, 2).Copies != nil {
		t.Error("no count of two pieces is one")
	}
}

// The second nozzle lays the bodies of the pieces that are wished in its colour; of the
// pieces of which nothing is said, all but the first.
func TestPiecesInTheSecondColour(t *testing.T) {
	r := rules.Default()
	pieces := []job.Piece{{File: "base.stl", Bodies: []int{1, 4}}, {File: "letters.stl", Bodies: []int{3, 2}}, {File: "feet.stl", Bodies: []int{5}}}
	red := &job.SecondColour{Colour: "red"}
	item := func(part, colour string) job.Item { return job.Item{Part: part, Colours: []string{colour}} }
	for name, c := range map[string]struct {
		second *job.SecondColour
		items  []job.Item
		pieces []job.Piece
		want   []int
	}{
		"nothing is said":  {red, nil, pieces, []int{2, 3, 5}},
		"of all":           {red, []job.Item{item("base", "red"), item("letters", "black"), item("feet", "black")}, pieces, []int{1, 4}},
		"of one":           {red, []job.Item{item("letters", "black")}, pieces, []int{5}},
		"without a name":   {red, []job.Item{item("", "black")}, pieces, []int{2, 3, 5}},
		"bodies are known": {&job.SecondColour{Colour: "red", Bodies: []int{9}}, nil, pieces, []int{9}},
		"by height":        {&job.SecondColour{Colour: "red", FromMM: 2}, nil, pieces, nil},
		"no pieces":        {red, nil, nil, nil},
	} {
		got := ofPieces(job.Settings{Second: c.second}, job.Wishes{Items: c.items}, c.pieces, r)
		if !slices.Equal(got.Second.Bodies, c.want) || red.Bodies != nil {
			t.Errorf("%s: %v, want %v", name, got.Second.Bodies, c.want)
		}
	}
	if got := ofPieces(job.Settings{}, job.Wishes{}, pieces, r); got.Second != nil {
		t.Errorf("of one colour: %+v", got.Second)
	}
}

// The pieces of a joint are found among the jobs by their file and its name, of jobs that
// are not over, and are no files of their own any more.
func TestJobsOfTheirPieces(t *testing.T) {
	p := &joint{pieces: []job.Piece{{File: "base.stl", Blob: "a"}, {File: "letters.stl", Blob: "b"}}}
	base, letters := job.Job{ID: "1", File: "base.stl", Blob: "a"}, job.Job{ID: "2", File: "letters.stl", Blob: "b"}
	over, renamed, other := base, base, letters
	over.ID, over.Stage = "3", job.Withdrawn
	renamed.ID, renamed.File = "4", "plate.stl"
	other.ID, other.Blob = "5", "c"
	for name, c := range map[string]struct {
		jobs   []job.Job
		first  job.ID
		others int
	}{
		"in order": {[]job.Job{base, letters}, "1", 1}, "turned": {[]job.Job{letters, base}, "1", 1}, "behind one that is over": {[]job.Job{over, base, letters}, "1", 1},
		"one is over": {[]job.Job{over, letters}, "2", 0}, "one is called otherwise": {[]job.Job{renamed, letters}, "2", 0}, "one is another file": {[]job.Job{base, other}, "1", 0}, "none": {nil, "", 0},
	} {
		if first, others := p.of(c.jobs); first.ID != c.first || len(others) != c.others {
			t.Errorf("%s: %q and %d others", name, first.ID, len(others))
		}
	}
	files := []job.Attachment{{Name: "base.stl", SHA256: "a"}, {Name: "plate.stl", SHA256: "a"}, {Name: "letters.stl", SHA256: "c"}, {Name: "letters.stl", SHA256: "b"}}
	if left := p.without(files); len(left) != 2 || left[0].Name != "plate.stl" || left[1].SHA256 != "c" {
		t.Errorf("beside the pieces: %+v", left)
	}
	w := job.Wishes{Items: []job.Item{{Part: "letters"}, {}}}
	if named := namedIn(w, p.pieces); len(named) != 1 || named[0].File != "letters.stl" {
		t.Errorf("named: %+v", named)
	}
	own := job.Wishes{Pickup: "Central", Phone: "1"}
	if got := alsoOf(own, job.Wishes{Pickup: "Fernhill", Phone: "2", Card: "3", NeededBy: "4"}); got.Pickup != "Central" || got.Phone != "1" || got.Card != "3" || got.NeededBy != "4" {
		t.Errorf("of the other: %+v", got)
	}
}
