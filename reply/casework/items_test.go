package casework

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/draft"
	"meshclerk/rules"
)

// What is wished of parts and colours becomes one job for each size and material of
// each file, with its copies by colour.
func TestWishesBecomeLines(t *testing.T) {
	size := func(mm float64) *job.Size { return &job.Size{Axis: "height", MM: mm} }
	two, three, four := 2, 3, 4
	for name, c := range map[string]struct {
		files []string
		w     job.Wishes
		want  string
	}{
		"all the same":    {[]string{"a.stl"}, job.Wishes{Copies: &two, Colours: []string{"red"}}, "a.stl 2 red []"},
		"two colours":     {[]string{"a.stl"}, job.Wishes{Copies: &three, Colours: []string{"red", "blue"}, Items: []job.Item{{Copies: 2, Colours: []string{"red"}}, {Copies: 1, Colours: []string{"blue"}}}}, "a.stl 3 red [{red 2} {blue 1}]"},
		"none of that":    {[]string{"a.stl"}, job.Wishes{Copies: &two, Colours: []string{"gold", "blue"}, Items: []job.Item{{Copies: 1, Colours: []string{"gold"}}, {Copies: 1, Colours: []string{"blue"}}}}, "a.stl 2 blue []"},
		"two sizes":       {[]string{"a.stl"}, job.Wishes{Copies: &four, Items: []job.Item{{Copies: 3, Size: size(100)}, {Copies: 1, Size: size(50)}}}, "a.stl 3 - [] 100; a.stl 1 - [] 50"},
		"two materials":   {[]string{"a.stl"}, job.Wishes{Copies: &two, Colours: []string{"black"}, Items: []job.Item{{Copies: 1, Material: "PLA"}, {Copies: 1, Material: "PETG"}}}, "a.stl 1 black [] PLA; a.stl 1 black [] PETG"},
		"two parts":       {[]string{"lid.stl", "box_v2.stl"}, job.Wishes{Copies: &three, Colours: []string{"red", "blue"}, Items: []job.Item{{Part: "lid", Copies: 2, Colours: []string{"red"}}, {Part: "the box", Copies: 1, Colours: []string{"blue"}}}}, "lid.stl 2 red []; box_v2.stl 1 blue []"},
		"in passing":      {[]string{"planter.stl"}, job.Wishes{Copies: &two, Items: []job.Item{{Part: "planter", Colours: []string{"green"}}, {Part: "small planter", Copies: 2, Colours: []string{"green"}}}}, "planter.stl 2 green []"},
		"one of them":     {[]string{"lid.stl", "box.stl"}, job.Wishes{Copies: &two, Items: []job.Item{{Part: "lids", Copies: 2, Colours: []string{"red"}}}}, "lid.stl 2 red []; box.stl 1 - []"},
		"size and colour": {[]string{"a.stl"}, job.Wishes{Copies: &three, Colours: []string{"red", "blue"}, Items: []job.Item{{Copies: 1, Colours: []string{"red"}, Size: size(50)}, {Copies: 1, Colours: []string{"blue"}, Size: size(50)}, {Copies: 1, Colours: []string{"red"}, Size: size(80)}}}, "a.stl 2 red [{red 1} {blue 1}] 50; a.stl 1 red [] 80"},
	} {
		var got []string
		for _, f := range c.files {
			for _, w := range separately(wishesOf(c.w, f)) {
				s := settings(w, rules.Default())
				line := fmt.Sprintf("%s %d %s %v", f, job.Job{Settings: s, Wishes: w}.Asked().Copies, orDash(s.Colour), s.Colours)
				if w.Size != nil {
					line += fmt.Sprintf(" %g", w.Size.MM)
				}
				got = append(got, strings.TrimSpace(line+" "+s.Material))
			}
		}
		if s := strings.Join(got, "; "); s != c.want {
			t.Errorf("%s: %s\nwant %s", name, s, c.want)
		}
	}
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// "The base black, the letters red": one print in two colours where the file has two
// bodies; where it has one, the patron chooses one colour.
func TestTwoColoursInOnePrint(t *testing.T) {
	ctx := t.Context()
	plate := shapes.Box(40, 30, 4)
	wish := asOne(job.Wishes{Colours: []string{"black", "red"}, Items: []job.Item{{Part: "base", Copies: 1, Colours: []string{"black"}}, {Part: "letters", Copies: 1, Colours: []string{"red"}}}}, []string{"sign.stl"})
	if wish.Copies != nil {
		t.Error("two parts of one print are no two copies")
	}
	for _, c := range []struct {
		part   *mesh.Mesh
		second string
		asks   bool
	}{
		{shapes.Merge(plate, shapes.Moved(shapes.Box(10, 20, 2), 5, 5, 4.0001)), "red", false},
		{plate, "", true},
	} {
		o, l, sha := officeWith(t, c.part)
		j := job.Job{Patron: job.Address{Address: "ada@example.org"}, File: "sign.stl", Blob: sha, Wishes: wish, Settings: settings(wish, o.Rules)}
		if err := l.Tx(ctx, func(tx *ledger.Tx) (err error) {
			if j, err = tx.NewJob(ctx, j, "", ledger.Robot, job.Plain("")); err != nil {
				return err
			}
			return tx.Enqueue(ctx, ledger.StepCheck, string(j.ID), time.Time{})
		}); err != nil {
			t.Fatal(err)
		}
		s, err := l.Lease(ctx, "test", time.Hour, ledger.StepCheck)
		if err != nil {
			t.Fatal(err)
		}
		if err := o.Check(ctx, s); err != nil {
			t.Fatal(err)
		}
		if j, err = l.Job(ctx, j.ID); err != nil {
			t.Fatal(err)
		}
		e := j.Report.Estimate
		switch {
		case c.second == "" && (j.Settings.Second != nil || e == nil || e.SecondMM3 != 0):
			t.Errorf("one body: %+v, %+v", j.Settings.Second, e)
		case c.second != "" && (j.Settings.Second == nil || j.Settings.Second.Colour != c.second || j.Settings.Colour != "black"):
			t.Errorf("two bodies: %+v", j.Settings)
		case c.second != "" && (e == nil || e.SecondMM3 < 100 || e.SecondMM3 > 0.2*e.ModelMM3 || e.PurgeMM3 <= 0 && e.Printer != "Bench 2"):
			t.Errorf("the second nozzle lays %+v", e)
		}
		var asked []string
		for _, q := range draft.Questions([]*job.Job{&j}, o.Rules) {
			asked = append(asked, q.Key)
		}
		if slices.Contains(asked, "colour") != c.asks {
			t.Errorf("asked %v, want a colour asked: %v", asked, c.asks)
		}
		if terms, ok := j.Terms(); !ok || (terms.Second != nil) != (c.second != "") {
			t.Errorf("terms %+v, %v", terms, ok)
		}
	}
}

// Twelve files and "twelve pieces" are one of each; two copies of three files are two.
func TestCountOfFilesIsNoCountOfCopies(t *testing.T) {
	for _, c := range [][3]int{{12, 12, 1}, {3, 3, 1}, {3, 2, 2}, {1, 1, 1}, {2, 2, 2}} {
		n := c[1]
		if got := *eachOnce(job.Wishes{Copies: &n}, c[0]).Copies; got != c[2] {
			t.Errorf("%d files, %d said: %d copies of each, want %d", c[0], c[1], got, c[2])
		}
	}
	three := 3
	if got := eachOnce(job.Wishes{}, 3); got.Copies != nil {
		t.Errorf("nothing was said: %d copies", *got.Copies)
	}
	if got := eachOnce(job.Wishes{Copies: &three, Items: []job.Item{{Part: "lid", Copies: 3}}}, 3); *got.Copies != 3 {
		t.Errorf("three of a part: %d copies", *got.Copies)
	}
}

// A part is named with and without accents, whichever way the file's name writes them, in
// one and in several, and behind an elided article.
func TestPartsAreNamedWithAccents(t *testing.T) {
	jobs := []job.Job{{ID: "LP-1", File: "equerre.stl"}, {ID: "LP-2", File: "bo\u0302itier_g\u00e2teau.stl"}, {ID: "LP-3", File: "cale.stl"}}
	for text, want := range map[string]job.ID{
		"deux équerres au lieu d'une": "LP-1",
		"l’équerre en rouge":          "LP-1",
		"EQUERRE.STL":                 "LP-1",
		"e\u0301querre":               "LP-1",
		"le bôitier":                  "LP-2",
		"les gâteaux":                 "LP-2",
		"la cale":                     "LP-3",
	} {
		r := partReader{jobs: jobs}
		if got := r.named(text); len(got) != 1 || got[0] != want {
			t.Errorf("%q names %v, want %s", text, got, want)
		}
	}
	for part, file := range map[string]string{"équerres": "equerre.stl", "equerre": "équerre.stl", "the boxes": "box.stl", "botones": "botón.stl", "hose clip": "hoseclip.stl", "Équerre.stl": "équerre.stl"} {
		if !partOf(file, part) {
			t.Errorf("%q is not taken for %s", part, file)
		}
	}
	if !speaksOf(&job.Letter{Subject: "hose clip, once more"}, "hoseclip.stl") || speaksOf(&job.Letter{Text: "the clip of the hose"}, "hoseclip.stl") {
		t.Error("two words are the one of a file's name, where they stand side by side")
	}
	if partOf("cale.stl", "équerre") || partOf("box.stl", "boxing") {
		t.Error("a part is taken for another")
	}
	r := partReader{cues: rules.Default().Words.Cues["fr"], jobs: jobs[:1], names: nameWords("équerre.stl")}
	if got := r.withoutNames("Oui pour l’équerre!"); got != "Oui!" {
		t.Errorf("%q is left of a yes to the part", got)
	}
	if i := corrected([]job.Job{{File: "cale.stl", Stage: job.Quoted}, {File: "\u00e9querre.stl", Stage: job.Quoted}}, job.Attachment{Name: "e\u0301querre.stl"}); i != 1 {
		t.Errorf("the corrected file takes the place of %d, want 1", i)
	}
}
