package casework

import (
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
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
