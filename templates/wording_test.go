package templates

import (
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// A house's texts with double braces go on working beside those in words, and say the
// same: the built-in ones were written so until they were put into words.
func TestDoubleBracesGoOn(t *testing.T) {
	old, err := Load("testdata/braces", Languages())
	if err != nil {
		t.Fatal(err)
	}
	now := Default()
	for _, s := range now.Samples("en") {
		if s.Name == "empty" { // of which words leave out the sentences that show nothing
			continue
		}
		s.Data.Questions = append([]Question(nil), s.Data.Questions...)
		for i := range s.Data.Questions {
			s.Data.Questions[i].Said = "pink"
		}
		for _, name := range []string{TextQuote, TextSeveral, TextNeedsAgreement, TextReady, TextQuestion, TextTooBig} {
			if !s.Data.Printable && (name == TextQuote || name == TextNeedsAgreement) { // such a letter is never written
				continue
			}
			wantSubject, want, err := old.texts["en"][name].Render(&s.Data)
			if err != nil {
				t.Fatal(err)
			}
			subject, got, err := now.texts["en"][name].Render(&s.Data)
			if err != nil || subject != wantSubject || got != want {
				t.Errorf("%s, %s: %v\n%s\n%s\nwant\n%s\n%s", name, s.Name, err, subject, got, wantSubject, want)
			}
		}
	}
}

// No built-in text has double braces, and a quote is read in order on one screen.
func TestBuiltinInWords(t *testing.T) {
	for _, file := range Files() {
		if !strings.HasSuffix(file, ".md") {
			continue
		}
		b, err := Builtin(file)
		if err != nil || !inWords(string(b)) {
			t.Errorf("%s has double braces: %v", file, err)
		}
	}
	for _, lang := range Languages() {
		if lines := len(paragraphs(t, lang+"/quote.md")); lines > 15 {
			t.Errorf("%s/quote.md has %d lines with words", lang, lines)
		}
	}
}

func paragraphs(t *testing.T, file string) (out []string) {
	t.Helper()
	b, err := Builtin(file)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(string(b), "\n") {
		if strings.TrimSpace(line) != "" {
			out = append(out, line)
		}
	}
	return out
}

var ownWord = regexp.MustCompile(`\{[^}]*\}|\[[^:\]]*[:\]]|[\pL\d]+`)

// Whoever changes a sentence that several letters say changes it in one file: no line
// with more than a few words of its own stands in two, and the heading of a section
// that several letters have stands in its piece.
func TestEachLineStandsInOneFile(t *testing.T) {
	s := Default()
	for _, lang := range Languages() {
		in := map[string]string{}
		for _, file := range Files() {
			if !strings.HasPrefix(file, lang+"/") || !strings.HasSuffix(file, ".md") {
				continue
			}
			for _, line := range paragraphs(t, file) {
				words := slices.DeleteFunc(ownWord.FindAllString(line, -1), func(w string) bool { return strings.ContainsAny(w[:1], "{[") })
				if len(words) < 5 && !strings.HasPrefix(line, "## ") {
					continue
				}
				if was := in[line]; was != "" && !sameHeading(was, file) {
					t.Errorf("%s and %s both have %q", was, file, line)
				}
				in[line] = file
			}
		}
		for _, name := range []string{TextQuote, TextAgreementArrived, TextAgreementExpired, TextChangedQuote, TextNeedsAgreement} {
			tm, err := s.Get(lang, name)
			if err != nil || !slices.Contains(tm.Pieces, "_offer") || !slices.Contains(tm.Pieces, "_go-ahead") || !slices.Contains(tm.Pieces, "_details") {
				t.Errorf("%s/%s takes in %v (%v)", lang, name, tm.Pieces, err)
			}
		}
	}
}

// sameHeading is for the two pairs that have a heading in common and differ below it:
// a yes with and without the questions, and what changed of one part and of several.
func sameHeading(a, b string) bool {
	pair := path.Base(a) + " " + path.Base(b)
	return pair == "_go-ahead.md _yes.md" || pair == "changed-quote.md several.md"
}

// In one language each name means one thing.
func TestNamesAreTheirOwn(t *testing.T) {
	b := DefaultBook()
	for _, lang := range Languages() {
		for _, kind := range []string{"name", "when", "each"} {
			seen := map[string]string{}
			for _, key := range b.Keys() {
				id, is := strings.CutPrefix(key, "fields."+kind+".")
				if !is {
					continue
				}
				name := normal(b.In(lang, lang, "").Word(key))
				if seen[name] != "" {
					t.Errorf("%s: %s is %s and %s", lang, name, seen[name], id)
				}
				seen[name] = id
			}
		}
	}
}

// TestWords: what is left out, chosen and repeated, each rule once.
func TestWords(t *testing.T) {
	full := full(DefaultBook().In("en", "en-CA", "CAD"))
	none := Data{Library: full.Library, Subject: "Re"}
	for _, c := range []struct{ text, want, empty string }{
		{"Hello [{patron}],", "Hello Ada,", "Hello,"},
		{"One. It costs {price}. Two.", "One. It costs $3.40. Two.", "One. Two."},
		{"It costs {price}. Two.", "It costs $3.40. Two.", "Two."},
		{"## Head\n\n- [for each question] {number}\n\nEnd.", "", "End."},
		{"- Until: {last day of the price}\n- Bring your card", "- Until: Sunday, December 27, 2026\n- Bring your card", "- Bring your card"},
		{"[when the print is small] Small.\n[otherwise] Large.", "Small.", "Large."},
		{"[when the print is small]\nSmall.\n\nVery.\n[otherwise]\nLarge.\n[end]", "Small.\n\nVery.", "Large."},
		{"A [when the print is small: small | large] part.", "A small part.", "A large part."},
		{"[By {day needed} | Soon].", "By Monday, November 30, 2026.", "Soon."},
		{"{days we keep files} {days we keep files: day | days}", "30 days", ""},
		{"A [link](https://larkfield.example), [sic] and \\{braces\\}.", "A [link](https://larkfield.example), [sic] and {braces}.", "A [link](https://larkfield.example), [sic] and {braces}."},
		{"A line\nthat goes on [for {patron}]\nand on.", "A line that goes on for Ada and on.", "A line that goes on and on."},
	} {
		dir := t.TempDir()
		put(t, dir, "en/ready.md", "Subject: x\n\n"+c.text+"\n")
		s, err := Load(dir, []string{"en"})
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		for want, d := range map[string]*Data{c.want: &full, c.empty: &none} {
			_, got, err := s.texts["en"]["ready"].Render(d)
			if got = strings.TrimSpace(got); err != nil || got != want && want != "" {
				t.Errorf("%q: %q, want %q (%v)", c.text, got, want, err)
			}
		}
	}
}

// A stranger's words stay harmless in a text in words, and make no choice in it.
func TestStrangersWordsInWords(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "en/ready.md", "Subject: x\n\nHello {patron}.\n")
	s, err := Load(dir, []string{"en"})
	if err != nil {
		t.Fatal(err)
	}
	d := Data{Patron: "{price} [when it may be late] \x01\x02 {{.Total}}"}
	_, got, err := s.texts["en"]["ready"].Render(&d)
	if err != nil || got != "Hello {price} \\[when it may be late\\] {{.Total}}.\n" {
		t.Errorf("%q %v", got, err)
	}
}

// The figures of the sample do not contradict each other: the lines of the price add up
// to it with their rounding, what is due and what was paid is the price, and no two days
// are the same.
func TestSampleAgrees(t *testing.T) {
	for _, lang := range Languages() {
		l := DefaultBook().In(lang, "en-CA", "CAD")
		d := full(l)
		if d.Pickup.Due != d.Total || d.Pickup.Paid != d.Total || d.Part.Total != d.Total || d.Sent != len(d.Parts)+d.TooMany || d.Offered != len(d.Parts) {
			t.Errorf("%s: %q is the price, %q due, %q paid, %q of the part; %d files, %d sent, %d for later", lang, d.Total, d.Pickup.Due, d.Pickup.Paid, d.Part.Total, len(d.Parts), d.Sent, d.TooMany)
		}
		if d.Part.Lines[0].Amount != l.Money("1.00", "CAD") || d.Part.Lines[1].Amount != l.Money("2.39", "CAD") || !strings.Contains(string(d.Part.Rounded), "05") { // 3.39, to a step of 0.05
			t.Errorf("%s: the lines %v, %s", lang, d.Part.Lines, d.Part.Rounded)
		}
		days := []Text{d.QuotedOn, d.Agreement.Expired, d.NeededBy, d.ClosesOn, d.Pickup.Until, d.ValidTo}
		slices.Sort(days)
		if len(slices.Compact(days)) != 6 {
			t.Errorf("%s: days %q", lang, days)
		}
		if lang != "en" && (d.Understood == said(DefaultBook().In("en", "en-CA", "CAD"), "understood") || !strings.Contains(string(d.Note), "\n\n")) {
			t.Errorf("%s: %q, %q", lang, d.Understood, d.Note)
		}
	}
}

// The list of names has every one that the built-in texts use, for each of them and for
// each piece, and explains it.
func TestListHasWhatIsWritten(t *testing.T) {
	s := Default()
	for _, lang := range Languages() {
		d, err := s.Sample(lang, "full")
		if err != nil {
			t.Fatal(err)
		}
		names := newVocabulary(s.book, lang)
		for _, file := range Files() {
			name, is := strings.CutSuffix(strings.TrimPrefix(file, lang+"/"), ".md")
			if !is || !strings.HasPrefix(file, lang+"/") {
				continue
			}
			listed, err := s.Fields(lang, name, d)
			if err != nil {
				t.Fatal(err)
			}
			has := map[string]bool{}
			for _, g := range listed {
				has[normal(strings.Trim(g.Written, "{}[]"))] = true
				if g.What == "" {
					t.Errorf("%s: %s is not explained", file, g.Written)
				}
			}
			for _, line := range paragraphs(t, file) {
				for _, m := range writtenName.FindAllStringSubmatch(line, -1) {
					word := normal(m[1] + m[2])
					if known := names.fields[word] + names.whens[word] + names.loops[word]; known != "" && !has[word] {
						t.Errorf("%s has %s, and its list has not", file, m[0])
					}
				}
			}
		}
	}
}

var writtenName = regexp.MustCompile(`\{([^{}:]*)|\[([^\[\]{}:|]*)`)

// A letter's list leaves out what it can never have, and says no where a condition does
// not hold.
func TestListOfOneLetter(t *testing.T) {
	s := Default()
	for lang, c := range map[string]struct{ without, no string }{
		"en": {"{how to go ahead}", "[when there are several files]"}, "fr": {"{comment continuer}", "[s’il y a plusieurs fichiers]"}, "es": {"{cómo seguir}", "[si hay varios archivos]"},
	} {
		d, err := s.Sample(lang, "full")
		if err != nil {
			t.Fatal(err)
		}
		ready, err := s.Fields(lang, TextReady, d)
		if err != nil {
			t.Fatal(err)
		}
		if slices.ContainsFunc(ready, func(g Given) bool { return g.Written == c.without }) {
			t.Errorf("%s: the letter that a print is ready may have %s", lang, c.without)
		}
		if !slices.ContainsFunc(ready, func(g Given) bool {
			return g.Written == c.no && g.Gives == s.book.In(lang, lang, "").Word("fields.word.no")
		}) {
			t.Errorf("%s: %s does not say no", lang, c.no)
		}
		quote, err := s.Fields(lang, TextQuote, d)
		if err != nil || len(quote) <= len(ready) || !slices.ContainsFunc(quote, func(g Given) bool { return g.Written == c.without }) {
			t.Errorf("%s: %d names of a quote, %d of the other (%v)", lang, len(quote), len(ready), err)
		}
	}
}

// Every name in a topic is one.
func TestTopicsAreNames(t *testing.T) {
	for _, topic := range topics {
		for name := range strings.SplitSeq(topic.names, ", ") {
			kind, id, two := strings.Cut(name, " ")
			if !two {
				kind, id = "", name
			}
			known := map[string]bool{
				"":     fieldOf(id, "letter") || fieldOf(id, "part"),
				"when": conditionOf(id, "letter") || conditionOf(id, "part"),
				"each": slices.ContainsFunc(loopList, func(l loop) bool { return l.id == id }),
			}[kind]
			if !known {
				t.Errorf("there is no %s", name)
			}
		}
	}
}
