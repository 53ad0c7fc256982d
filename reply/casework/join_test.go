package casework

import (
	"testing"

	"meshclerk/intake/job"
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
	} {
		if got := onceEach(job.Wishes{Items: c.items}); got != c.want {
			t.Errorf("%+v: %v, want %v", c.items, got, c.want)
		}
	}
}
