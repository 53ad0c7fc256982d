package wishes

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

func houseReader() *Reader {
	h := rules.Default()
	return New(h.Words, h.Library.Branches, h.Materials)
}

var monday = time.Date(2026, 11, 23, 10, 0, 0, 0, time.UTC)

func ptr[T any](v T) *T { return &v }

// TestMerge: the newest word wins, field by field, and a new size takes the
// place of an old scale.
func TestMerge(t *testing.T) {
	old := job.Wishes{Copies: ptr(2), Colours: []string{"red"}, Scale: ptr(0.5), Material: "PLA", Pickup: "Central", Answer: job.Question,
		Words: map[string]string{"copies": "two", "scale": "half size", "answer": "why"}}
	newer := job.Wishes{Colours: []string{"blue"}, Size: &job.Size{Axis: "height", MM: 80}, Phone: "555-0100", Words: map[string]string{"size": "8 cm tall"}}
	got := Merge(old, newer)
	want := job.Wishes{Copies: ptr(2), Colours: []string{"blue"}, Size: &job.Size{Axis: "height", MM: 80}, Material: "PLA", Pickup: "Central", Phone: "555-0100",
		Words: map[string]string{"copies": "two", "size": "8 cm tall"}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if old.Words["answer"] != "why" || old.Words["size"] != "" {
		t.Error("the older wishes were changed")
	}
	if again := Merge(got, job.Wishes{Words: map[string]string{"copies": "2 or 3"}}); again.Copies != nil {
		t.Error("a count taken back by an unclear one still stands")
	}
	parts := []job.Item{{Part: "base", Colours: []string{"black"}}, {Part: "letters", Colours: []string{"red"}}}
	if more := Merge(job.Wishes{Copies: ptr(1), Items: parts}, job.Wishes{Copies: ptr(2)}); len(more.Items) != 2 || *more.Copies != 2 {
		t.Errorf("two of the print in two colours: %+v", more)
	}
	if other := Merge(job.Wishes{Copies: ptr(2), Items: []job.Item{{Copies: 1, Colours: []string{"black"}}, {Copies: 1, Colours: []string{"red"}}}}, job.Wishes{Copies: ptr(3)}); other.Items != nil {
		t.Errorf("another count than the two of each colour: %+v", other)
	}
}

// TestWords: each settled field names the patron's words, and an unclear count
// is kept as words, so that it is asked about.
func TestWords(t *testing.T) {
	r := houseReader()
	w := r.Understand(Input{Text: "Please print two copies in dark blue PLA, 10 cm tall.", Date: monday})
	for field, words := range map[string]string{"copies": "two copies", "colours": "blue", "material": "PLA", "size": "10 cm tall"} {
		if w.Words[field] != words {
			t.Errorf("words of %s: %q, want %q", field, w.Words[field], words)
		}
	}
	w = r.Understand(Input{Text: "Could you print 2 or 3 copies?", Date: monday})
	if w.Copies != nil || w.Words["copies"] == "" {
		t.Errorf("unclear count: copies %v, words %q", w.Copies, w.Words["copies"])
	}
	w = r.Understand(Input{Text: "Any colour is fine.", Date: monday})
	if len(w.Colours) != 0 || w.Words["colours"] == "" {
		t.Errorf("any colour: %v, words %q", w.Colours, w.Words["colours"])
	}
}

// TestHouseWords: an admin's own colour and branch are understood.
func TestHouseWords(t *testing.T) {
	h := rules.Default()
	h.Words.Colours["en"]["teal"] = []string{"teal", "petrol"}
	branches := append(h.Library.Branches, rules.Branch{Name: "Quarry Lane", Words: []string{"quarry"}})
	w := New(h.Words, branches, h.Materials).Understand(Input{Text: "In petrol please, pickup at quarry lane.", Date: monday})
	if !reflect.DeepEqual(w.Colours, []string{"teal"}) || w.Pickup != "Quarry Lane" {
		t.Errorf("colours %v, pickup %q", w.Colours, w.Pickup)
	}
}

// TestDates: from each day of a week, what "by Friday", "next Friday" and the
// like mean. ISO 8601: weeks begin on Monday. "Next Friday" is that of
// the next week.
func TestDates(t *testing.T) {
	r := houseReader()
	for _, c := range []struct{ day, text, want string }{
		{"2026-11-23", "by Friday", "2026-11-27"},
		{"2026-11-27", "by Friday", "2026-12-04"},
		{"2026-11-28", "by Friday", "2026-12-04"},
		{"2026-11-23", "by next Tuesday", "2026-12-01"},
		{"2026-11-23", "by next Friday", "2026-12-04"},
		{"2026-11-26", "by next Friday", "2026-12-04"},
		{"2026-11-27", "by next Tuesday", "2026-12-01"},
		{"2026-11-23", "before Dec 3", "2026-12-03"},
		{"2026-11-23", "by December 3rd, 2026", "2026-12-03"},
		{"2026-11-23", "by the 3rd of December", "2026-12-03"},
		{"2026-11-23", "by 3/12", ""},
		{"2026-11-23", "by 12/18", "2026-12-18"},
		{"2026-11-23", "by 18/12/2026", "2026-12-18"},
		{"2026-11-23", "by 2026-12-18", "2026-12-18"},
		{"2026-11-23", "by January 5", "2027-01-05"},
		{"2026-11-23", "by the 3rd", "2026-12-03"},
		{"2026-11-23", "by tomorrow", "2026-11-24"},
		{"2026-11-23", "within two weeks", "2026-12-07"},
		{"2026-11-23", "by the end of the month", "2026-11-30"},
		{"2026-11-23", "by Christmas", "2026-12-25"},
		{"2026-11-23", "by Feb 30", ""},
		{"2028-02-20", "by Feb 29", "2028-02-29"},
		{"2026-11-23", "not before Friday", ""},
		{"2026-11-23", "by March 3, 2024", ""},
		{"2026-11-23", "by Friday next week", "2026-12-04"},
		{"2026-11-23", "by next week Friday", "2026-12-04"},
		{"2026-11-23", "by the Friday after next", ""},
		{"2026-11-23", "by a week from Friday", "2026-12-04"},
		{"2026-11-23", "by a week on Saturday", "2026-12-05"},
		{"2026-11-23", "by Saturday week", "2026-12-05"},
		{"2026-11-23", "by 27.02.2027", "2027-02-27"},
		{"2026-11-23", "by version 1.2.3", ""},
		{"2026-11-23", "after Friday", ""},
		{"2026-11-23", "for Friday", "2026-11-27"},
		{"2026-11-23", "by 5 pm on Friday", "2026-11-27"},
		{"2026-11-23", "by Friday at noon", "2026-11-27"},
		{"2026-11-23", "by 4 December", "2026-12-04"},
		{"2026-11-23", "by this Friday", "2026-11-27"},
		{"2026-11-23", "by Thursday or Friday", ""},
	} {
		day, err := time.Parse(time.DateOnly, c.day)
		if err != nil {
			t.Fatal(err)
		}
		w := r.Understand(Input{Text: "Please print this " + c.text + ".", Date: day})
		if w.NeededBy != c.want {
			t.Errorf("on %s %q: got %q, want %q", c.day, c.text, w.NeededBy, c.want)
		}
		if w.Copies != nil {
			t.Errorf("%q: a date was taken for %d copies", c.text, *w.Copies)
		}
	}
	w := r.Understand(Input{Text: "Please print this by Friday."})
	if w.NeededBy != "" {
		t.Errorf("a letter without a date wants it by %s", w.NeededBy)
	}
}

// TestLengths: 1 inch is 25.4 mm exactly, 1 foot 304.8 mm (international yard
// and pound agreement of 1959).
func TestLengths(t *testing.T) {
	r := houseReader()
	for text, want := range map[string]job.Size{
		"Please make it 4 inches wide.":          {Axis: "width", MM: 101.6},
		"Please make it 3 1/2\" tall.":           {Axis: "height", MM: 88.9},
		"Please make it 3½ in. deep.":            {Axis: "depth", MM: 88.9},
		"Please make it half an inch tall.":      {Axis: "height", MM: 12.7},
		"Please make it 1 ft long.":              {Axis: "longest", MM: 304.8},
		"Please make it 12.5cm tall.":            {Axis: "height", MM: 125},
		"Please make it 1 ft 2 in tall.":         {Axis: "height", MM: 355.6},
		"Please make it 1 foot 3 inches tall.":   {Axis: "height", MM: 381},
		"Please make it 1'2\" wide.":             {Axis: "width", MM: 355.6},
		"Height: 0.1 m":                          {Axis: "height", MM: 100},
		"The longest side should be 12 cm.":      {Axis: "longest", MM: 120},
		"Please print it 10 cm (4 inches) tall.": {Axis: "height", MM: 101.6},
	} {
		w := r.Understand(Input{Text: text, Date: monday})
		if w.Size == nil || *w.Size != want {
			t.Errorf("%q: got %+v, want %+v", text, w.Size, want)
		}
	}
}

// TestAnswers: the words under each question are found, wherever they stand.
func TestAnswers(t *testing.T) {
	asked := []string{"Which colour would you like?", "How many copies would you like?", "Was it drawn in inches?"}
	for text, want := range map[string][]string{
		"1. blue\n2. three\n3. yes":            {"blue", "three", "yes"},
		"Hi,\n\n1) blue\n3) no\n\nThanks":      {"blue", "", "no"},
		"1. blue, 10 cm.\n\n3. I think so, mm": {"blue, 10 cm.", "", "I think so, mm"},
		"We meet at 3. Then 2. See you":        {"", "", ""},
		"1 - blue\n2 - 3 copies\n3 - yes":      {"blue", "3 copies", "yes"},
	} {
		got := Answers(Input{Text: text, Questions: asked})
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
	got := Answers(Input{Questions: asked, Text: "blue\n\nno", Inline: []job.Inline{
		{Quoted: "1. Which colour would\nyou like?", Text: "blue"}, {Quoted: "2. How many copies would you like?\n3. Was it drawn\nin inches?", Text: "no"}}})
	if !reflect.DeepEqual(got, []string{"blue", "", "no"}) {
		t.Errorf("inline: %q", got)
	}
}

// FuzzUnderstand: whatever the words, there is no crash, values stay in bounds,
// and the patron's words are words of the letter.
func FuzzUnderstand(f *testing.F) {
	for _, s := range []string{"2 copies in blue by Friday, 10 cm tall", "1. blue 2. yes", "\"\"\"\"'\"", "½½½/1/2/3", "no no no yes red or red or red", "Sí, adelante",
		"card 2900 4417 8823 1 call (519) 555-0142", "\xff\xfe\x00", "12-12-12 12/12/12 12:12", "«»«", ">", "-\n-\n-", "thanks\nthanks\n", "l'l'l'l'"} {
		f.Add(s, "en", true)
		f.Add(s, "fr", false)
	}
	r := houseReader()
	f.Fuzz(func(t *testing.T, text, lang string, answer bool) {
		in := Input{Text: text, Language: lang, Answer: answer, Date: monday, Questions: []string{"Which colour?", text},
			Inline: []job.Inline{{Quoted: text + "?", Text: text}}}
		w := r.Understand(in)
		if w.Copies != nil && (*w.Copies < 1 || *w.Copies > maxCopies) {
			t.Errorf("%d copies", *w.Copies)
		}
		if w.Size != nil && (w.Size.MM < leastMM || w.Size.MM > mostMM) {
			t.Errorf("%v mm", w.Size.MM)
		}
		if w.Infill != nil && (*w.Infill < 0 || *w.Infill > 1) || w.Scale != nil && (*w.Scale <= 0 || *w.Scale > 20) {
			t.Errorf("infill %v, scale %v", w.Infill, w.Scale)
		}
		if _, err := time.Parse(time.DateOnly, w.NeededBy); w.NeededBy != "" && err != nil {
			t.Error(err)
		}
		if !answer && w.Answer != "" {
			t.Errorf("a first letter answers %q", w.Answer)
		}
		checkItems(t, w)
		for field, words := range w.Words {
			if len(words) > 200 {
				t.Errorf("%s: %d bytes of words", field, len(words))
			}
		}
	})
}

// checkItems: items and what is unread stay within the bounds of the fields.
func checkItems(t *testing.T, w job.Wishes) {
	t.Helper()
	for _, it := range w.Items {
		if it.Copies < 0 || it.Copies > maxCopies || it.Size != nil && (it.Size.MM < leastMM || it.Size.MM > mostMM) || len(it.Part) > 200 || it.Colours == nil {
			t.Errorf("item %+v", it)
		}
	}
	if len(w.Items) == 1 {
		t.Error("one item differs from nothing")
	}
	for _, c := range w.NotColours {
		if slices.Contains(w.Colours, c) {
			t.Errorf("%s is wished and refused", c)
		}
	}
	if w.Answer == job.Accept && len(w.Unread) > 0 {
		t.Errorf("accepted beside unread %v", w.Unread)
	}
	for _, u := range w.Unread {
		if u.Text == "" || len(u.Text) > 200 {
			t.Errorf("unread %q", u.Text)
		}
	}
}

// hostile are texts that made some grammar look at everything from everywhere.
func hostile() map[string]string {
	n := 40000
	rep := func(s string) string { return strings.Repeat(s, n/len(s)) }
	return map[string]string{"colours": rep("red or "), "numbers": rep("2 "), "questions": rep("1. blue? "), "spaces": rep(" "), "commas": rep(","), "quotes": rep(`" `),
		"not": rep("not "), "card": rep("card "), "digits": rep("1"), "letters": rep("a"), "by": rep("by Friday "), "sizes": rep("10 cm "), "please": rep("please "),
		"phones": rep("555-0142 "), "yes": rep("yes "), "supports": rep("no supports "), "lines": rep("a\n"), "apostrophes": rep("l'"), "of the": rep("of the "), "pieces": rep("2 red, "), "parts": rep("the lid red and "), "not want": rep("not want "), "mends": rep("2, sorry, 3 "), "unread": rep("40 mm pole, ")}
}

// BenchmarkHostile measures 40 KB of each hostile text, of which 32 KB are looked
// at. Linear work is some tenths of a second; a square would be many seconds.
func BenchmarkHostile(b *testing.B) {
	r := houseReader()
	for name, text := range hostile() {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				r.Understand(Input{Text: text, Answer: true, Date: monday, Questions: []string{"Which colour?"}})
			}
		})
	}
}

// BenchmarkLetter measures an ordinary letter.
func BenchmarkLetter(b *testing.B) {
	r := houseReader()
	in := Input{Date: monday, Text: "Hello,\n\nplease print two of the attached shelf brackets in blue PLA, 10 cm tall, by Friday. I would collect them at Millbrook. My number is 555-0142.\n\nThank you,\nAmara\n"}
	for b.Loop() {
		r.Understand(in)
	}
}

// BenchmarkNew measures how long it takes to compile the house's words.
func BenchmarkNew(b *testing.B) {
	h := rules.Default()
	for b.Loop() {
		New(h.Words, h.Library.Branches, h.Materials)
	}
}

// TestCheck: the built-in words are whole; a misspelt or missing list is told of.
func TestCheck(t *testing.T) {
	if err := Check(rules.Default()); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		spoil func(w *rules.Words)
		want  string
	}{
		"number":   {func(w *rules.Words) { w.Numbers["en"]["two"] = []string{"2"} }, `numbers knows no "two"`},
		"feast":    {func(w *rules.Words) { w.Feasts["fr"]["25-12"] = []string{"noël"} }, `feasts knows no "25-12"`},
		"misspelt": {func(w *rules.Words) { w.Cues["en"]["colorword"] = []string{"tint"} }, "did you mean colourword?"},
		"missing":  {func(w *rules.Words) { delete(w.Replies["es"], "if"); delete(w.Cues["es"], "if") }, "the list if is missing in cues.es"},
	} {
		r := rules.Default()
		c.spoil(&r.Words)
		err := Check(r)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
	}
}

// TestRevisedWords: behind a correction the right value is read, and the words
// shown for it are the letter's own.
func TestRevisedWords(t *testing.T) {
	text := "We would need it by the 26th, sorry, the 27th, in blue. Actually, green is better."
	w := houseReader().Understand(Input{Text: text, Date: monday})
	if w.NeededBy != "2026-11-27" || !slices.Equal(w.Colours, []string{"green"}) {
		t.Errorf("needed by %q, colours %v", w.NeededBy, w.Colours)
	}
	for field, words := range w.Words {
		if !strings.Contains(text, words) {
			t.Errorf("%s: %q does not stand in the letter", field, words)
		}
	}
	if !strings.Contains(w.Words["needed_by"], "27th") {
		t.Errorf("words of needed_by: %q", w.Words["needed_by"])
	}
}
