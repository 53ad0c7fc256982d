package templates

import (
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

var update = flag.Bool("update", false, "write the golden files anew")

// TestBuiltin: every situation in every language, filled in with every sample.
func TestBuiltin(t *testing.T) {
	s := Default()
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	want := slices.Sorted(slices.Values(Situations()))
	if got := s.Names(); !slices.Equal(got, want) {
		t.Errorf("texts %v, situations %v", got, want)
	}
	for _, lang := range Languages() {
		for _, name := range s.Names() {
			tm, err := s.Get(lang, name)
			if err != nil {
				t.Fatal(err)
			}
			if len(tm.Hash) != 64 || tm.Language != lang || tm.Name != name {
				t.Errorf("%s/%s: %q %q %q", lang, name, tm.Language, tm.Name, tm.Hash)
			}
		}
	}
}

// TestTranslationsShowTheSame: a text in another language takes in the same
// pieces and shows the same figures as the English one.
func TestTranslationsShowTheSame(t *testing.T) {
	s := Default()
	for _, name := range s.Names() {
		others := func(lang string) []string { // how the days are said within a sentence is each language's own
			return slices.DeleteFunc(slices.Clone(s.texts[lang][name].Pieces), func(p string) bool { return p == "_days" })
		}
		english := others("en")
		for _, lang := range []string{"fr", "es"} {
			if got := others(lang); !slices.Equal(got, english) {
				t.Errorf("%s/%s takes in %v, English %v", lang, name, got, english)
			}
		}
	}
	for _, lang := range []string{"fr", "es"} {
		en, other := full(DefaultBook().In("en", "en-CA", "CAD")), full(DefaultBook().In(lang, "en-CA", "CAD"))
		_, a, errA := s.texts["en"]["quote"].Render(&en)
		_, b, errB := s.texts[lang]["quote"].Render(&other)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if strings.Count(a, "\n- ") != strings.Count(b, "\n- ") || strings.Count(a, "\n| ") != strings.Count(b, "\n| ") {
			t.Errorf("%s: the quote has other lists or tables than in English", lang)
		}
	}
}

// TestFindingsInEveryLanguage: each code of a finding has a sentence in each built-in
// language, and none is left in English.
func TestFindingsInEveryLanguage(t *testing.T) {
	b := DefaultBook()
	en := b.In("en", "en-CA", "CAD")
	for _, code := range Codes() {
		var keys []string // of its sentence, or of the several that it may have
		for _, key := range b.Keys() {
			if key == "findings."+code || strings.HasPrefix(key, "findings."+code+"-") || strings.HasPrefix(key, "findings."+code+".") {
				keys = append(keys, key)
			}
		}
		if len(keys) == 0 {
			t.Errorf("no sentence for %s", code)
		}
		for _, lang := range Languages()[1:] {
			l := b.In(lang, "en-CA", "CAD")
			for _, key := range keys {
				m := job.Say(key, b.SampleArgs(key, 2))
				if got := l.Say(m); got == en.Say(m) || got == m.String() {
					t.Errorf("%s %s is not translated: %q", lang, key, got)
				}
			}
		}
	}
}

// TestMissingTranslation: a house that writes a language must have every text in it.
func TestMissingTranslation(t *testing.T) {
	l := loader{sources: map[string]map[string]*source{}}
	if err := l.read("", []string{"en", "fr"}); err != nil {
		t.Fatal(err)
	}
	delete(l.sources["fr"], "ready")
	l.parse("fr")
	if len(l.problems) != 1 || DefaultBook().In("en", "en-CA", "CAD").Error(l.problems[0]) != "fr/ready.md: this translation is missing\n  hint: translate built-in en/ready.md" {
		t.Errorf("problems: %v", l.problems)
	}
	if _, err := Load("", []string{"en", "de"}); err == nil || !strings.Contains(err.Error(), `no built-in reply texts in language "de"`) {
		t.Errorf("a language without texts: %v", err)
	}
}

// A language of the rules without reply texts is told at its place; a folder gives it.
func TestLanguageWithoutTexts(t *testing.T) {
	dir := t.TempDir()
	library, err := rules.Builtin("library.toml")
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, "library.toml", strings.Replace(string(library), `["en", "fr", "es"]`, `["en", "pt-BR"]`, 1))
	r, err := rules.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	_, err = LoadHouse("", r)
	if err == nil || !strings.Contains(err.Error(), `library.toml:24:20: there are no reply texts in the language "pt-BR"`) || !strings.Contains(err.Error(), "there are "+strings.Join(Languages(), ", ")+"; another language is a folder pt-BR") {
		t.Errorf("got %v", err)
	}
	texts := t.TempDir()
	for _, name := range Files() {
		if own, is := strings.CutPrefix(name, "es/"); is && (strings.HasSuffix(name, ".md") || own == "fields.toml") {
			b, err := Builtin(name)
			if err != nil {
				t.Fatal(err)
			}
			put(t, texts, "pt-BR/"+own, string(b))
		}
	}
	set, err := LoadHouse(texts, r)
	if err != nil {
		t.Fatal(err)
	}
	if text, err := set.Get("pt-BR", TextQuote); err != nil || text.Language != "pt-BR" {
		t.Errorf("%+v, %v", text, err)
	}
}

// TestOverride: one file replaced changes that text and its hash, and a changed
// piece changes the hash of the texts that take it in, and of no other.
func TestOverride(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "en/ready.md", "\ufeffSubject: Come and get it\r\n\r\nHello{{with .Patron}} {{.}}{{end}}.\r\n")
	put(t, dir, "en/_price.md", "none")
	put(t, dir, "en/ready.md~", "an editor's leftovers")
	s, err := Load(dir, []string{"en"})
	if err != nil {
		t.Fatal(err)
	}
	d := full(DefaultBook().In("en", "en-CA", "CAD"))
	subject, text, err := s.texts["en"]["ready"].Render(&d)
	if err != nil || subject != "Come and get it" || text != "Hello Ada.\n" {
		t.Errorf("%q %q %v", subject, text, err)
	}
	for name, changed := range map[string]bool{"ready": true, "quote": true, "collected": false, "link": false} {
		if got := s.texts["en"][name].Hash != Default().texts["en"][name].Hash; got != changed {
			t.Errorf("%s: hash changed %v, want %v", name, got, changed)
		}
	}
	if got, err := s.Get("es", "ready"); err != nil || got.Language != "en" {
		t.Errorf("a language that the house does not write: %v %v", got, err)
	}
	if _, err := s.Get("en", "raedy"); err == nil || !strings.Contains(err.Error(), "did you mean ready?") {
		t.Errorf("unknown name: %v", err)
	}
}

// TestTooLong: a text that would never end is stopped.
func TestTooLong(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, "en/ready.md", "Subject: x\n\n{{range .Parts}}{{range $.Parts}}{{range $.Parts}}{{range $.Parts}}0123456789{{end}}{{end}}{{end}}{{end}}\n")
	s, err := Load(dir, []string{"en"})
	if err != nil {
		t.Fatal(err)
	}
	d := Data{Parts: make([]Part, 100)}
	if _, _, err := s.texts["en"]["ready"].Render(&d); err == nil || !strings.Contains(err.Error(), errTooLong.Error()) {
		t.Errorf("got %v", err)
	}
}

// TestBadFolders: each case has the message that an admin sees.
func TestBadFolders(t *testing.T) {
	cases, err := filepath.Glob("testdata/bad/*.txt")
	if err != nil || len(cases) < 12 {
		t.Fatalf("%d cases: %v", len(cases), err)
	}
	for _, file := range cases {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txt"), func(t *testing.T) {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			edits, want, _ := strings.Cut(string(b), "-- want --\n")
			dir := t.TempDir()
			edit(t, dir, edits)
			_, err = Load(dir, []string{"en", "es", "fr"})
			if err == nil {
				t.Fatal("the bad folder was accepted")
			}
			got := strings.ReplaceAll(DefaultBook().In("en", "en-CA", "CAD").Error(err), dir+"/", "texts/") + "\n"
			if *update {
				if err := os.WriteFile(file, []byte(edits+"-- want --\n"+got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got != want {
				t.Errorf("got:\n%s\nwant:\n%s", got, want)
			}
		})
	}
}

// edit makes one file of the folder from one with double braces: "- old line", "+ new line".
func edit(t *testing.T, dir, edits string) {
	t.Helper()
	name, edits, _ := strings.Cut(strings.TrimRight(edits, "\n"), "\n")
	b, err := os.ReadFile(filepath.Join("testdata/braces", name))
	if err != nil || !strings.Contains("\n"+edits, "\n- ") { // written anew
		b = nil
	}
	text, at := string(b), 0
	for line := range strings.SplitSeq(edits, "\n") {
		words := line[2:] + "\n"
		if line[0] == '+' {
			text = text[:at] + words + text[at:]
			at += len(words)
			continue
		}
		i := strings.Index(text[at:], words)
		if i < 0 {
			t.Fatalf("%s has no line %q", name, words)
		}
		at += i
		text = text[:at] + text[at+len(words):]
	}
	put(t, dir, name, text)
}

func put(t *testing.T, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestFieldsAreExplained: README.md names every field and every situation.
func TestFieldsAreExplained(t *testing.T) {
	b, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	readme := string(b)
	var explain func(reflect.Type)
	explain = func(typ reflect.Type) {
		for typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		if typ.Kind() != reflect.Struct {
			return
		}
		for i := range typ.NumField() {
			if f := typ.Field(i); !strings.Contains(readme, "`."+f.Name+"`") {
				t.Errorf("README.md does not explain .%s of %s", f.Name, typ.Name())
			} else {
				explain(f.Type)
			}
		}
	}
	explain(reflect.TypeFor[Data]())
	for _, name := range append(Situations(), functionNames()...) {
		if !strings.Contains(readme, name) {
			t.Errorf("README.md does not name %s", name)
		}
	}
}
