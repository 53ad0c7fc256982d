package draft

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"meshclerk/rules"
	"meshclerk/templates"
	"meshclerk/templates/madeup"
)

// A new language is a folder and no Go: a made-up one, each word of whose texts and
// sentences stands between marks, writes every letter, plain and HTML, and nothing
// that is said in one stands outside the marks.
func TestMadeUpLanguageInEveryLetter(t *testing.T) {
	r, set := madeUpHouse(t)
	for name, in := range cases(t, madeup.Language) {
		t.Run(name, func(t *testing.T) {
			in.Rules, in.Templates = r, set
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			if m.Language != madeup.Language || m.Template != name {
				t.Fatalf("the letter is %s in %s", m.Template, m.Language)
			}
			for _, left := range ourWords(m.Subject+"\n"+m.Plain, in) {
				t.Errorf("the plain letter says %q without marks", left)
			}
			all, err := madeup.Left(m.HTML, func(string) bool { return false })
			if err != nil {
				t.Fatal(err)
			}
			for _, left := range ourWords(strings.Join(all, "\n"), in) {
				t.Errorf("the HTML letter says %q without marks", left)
			}
			if n := strings.Count(m.Plain, madeup.Begin); n < 5 || strings.Count(m.HTML, madeup.Begin) < 5 {
				t.Errorf("the letter has %d marks", n)
			}
		})
	}
}

// madeUpHouse is a house that writes the made-up language too.
func madeUpHouse(t *testing.T) (*rules.Rules, *templates.Set) {
	t.Helper()
	dir := t.TempDir()
	if err := madeup.Write("../../templates/en", dir); err != nil {
		t.Fatal(err)
	}
	if err := madeup.WriteTexts("../../templates/en", dir); err != nil {
		t.Fatal(err)
	}
	r := rules.Default()
	r.Library.Languages = append(slices.Clone(r.Library.Languages), madeup.Language)
	set, err := templates.LoadHouse(dir, r)
	if err != nil {
		t.Fatal(err)
	}
	return r, set
}

// unit is a symbol that no language translates, and the mark of a subject that answers.
var unit = regexp.MustCompile(`^(?:cid:\S+|Re:)$`)

// ourWords lists the words outside the marks that are no name: neither the library's
// nor the patron's, nor what either of them typed.
func ourWords(text string, in Input) []string {
	names := in.Subject + " " + in.Reason + " " + in.Note + " " + in.token()
	for _, j := range in.Jobs {
		names += " " + j.File + " " + j.Patron.Name + " " + j.Wishes.Pickup + " " + j.Wishes.Material
	}
	if in.Picture != nil {
		names += " " + in.Picture.Alt
	}
	if l := in.Letter; l != nil {
		names += " " + l.Subject + " " + l.From.Name
		for _, a := range l.Attachments {
			names += " " + a.Name
		}
	}
	lib := in.Rules.Library
	names += " " + strings.Join([]string{lib.Name, lib.Desk, lib.Address, lib.Phone, lib.Hours, lib.Website, lib.Safety, in.Rules.Agreement.Form, strings.Join(in.Rules.Limits.Accepted, " ")}, " ")
	for _, b := range lib.Branches {
		names += " " + b.Name + " " + b.Hours
	}
	for _, p := range in.Rules.Printers {
		names += " " + p.Name
	}
	for _, m := range in.Rules.Materials {
		names += " " + m.Name
	}
	known := map[string]bool{}
	for _, w := range letters(strings.ToLower(names)) {
		known[w] = true
	}
	left := map[string]bool{}
	for _, field := range strings.Fields(madeup.Unmarked(text)) {
		for _, w := range letters(field) {
			if !known[strings.ToLower(w)] && !unit.MatchString(field) {
				left[w] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(left))
}

func letters(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) })
}
