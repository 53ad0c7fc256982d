package templates

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/templates/madeup"
)

// Each way a file of sentences can be wrong is told with its file, its line and the
// nearest known name.
func TestWrongSentencesAreTold(t *testing.T) {
	for name, c := range map[string]struct{ file, text, want string }{
		"unknown key":          {"fr/notices.toml", "stay = \"x\"", "fr/notices.toml:1:1: there is no sentence notices.stay\n"},
		"nearest key":          {"fr/notices.toml", "stay = \"x\"", "did you mean notices.stray?"},
		"surplus argument":     {"fr/notices.toml", "\nnot-a-draft = \"{{.folder}} {{.folders}}\"", "fr/notices.toml:2:1: the sentence notices.not-a-draft is given no folders"},
		"nearest argument":     {"fr/notices.toml", "\nnot-a-draft = \"{{.folder}} {{.folders}}\"", "did you mean folder?"},
		"missing argument":     {"es/notices.toml", "not-a-draft = \"nada\"", "es/notices.toml:1:1: the sentence notices.not-a-draft does not say folder"},
		"English too":          {"en/notices.toml", "not-a-draft = \"nothing\"", "en/notices.toml:1:1: the sentence notices.not-a-draft does not say folder"},
		"new English":          {"en/notices.toml", "not-draft = \"nothing\"", "there is no sentence notices.not-draft"},
		"plural form missing":  {"fr/notices.toml", "days = {other = \"{{.n}} jours\"}", "fr/notices.toml:1:9: the sentence notices.days lacks its form one"},
		"no such form":         {"fr/notices.toml", "days = {ones = \"{{.n}} jour\", other = \"{{.n}} jours\"}", "\"ones\" is no plural form"},
		"count is not given":   {"fr/notices.toml", "not-a-draft = {one = \"{{.folder}}\", other = \"{{.folder}}\"}", "is given no n"},
		"twice":                {"fr/notices.toml", "[folder]\nolder = \"a\"\nolder = \"b\"", "fr/notices.toml:3:1: the sentence notices.folder.older stands here twice"},
		"open braces":          {"fr/notices.toml", "[folder]\nolder = \"a {{.x\"", "fr/notices.toml:2:1:"},
		"no such function":     {"fr/notices.toml", "[folder]\nolder = \"{{shout .x}}\"", "function \"shout\" not defined"},
		"loop":                 {"fr/notices.toml", "stray = \"{{range .jobs}}{{.letter}}{{end}}\"", "has no place in a sentence"},
		"empty":                {"fr/notices.toml", "[folder]\nolder = \"\"", "is empty"},
		"no sentence":          {"fr/notices.toml", "[folder]\nolder = 3", "folder.older is no sentence"},
		"no TOML":              {"fr/notices.toml", "a = \"b\"\n??", "fr/notices.toml:2:1: this is no TOML"},
		"no language":          {"english-please-now/notices.toml", "[folder]\nolder = \"x\"", "is no language"},
		"language half there":  {"pl/notices.toml", "[folder]\nolder = \"x\"", "pl/notices.toml: the sentence notices.form is not translated"},
		"Polish has few, many": {"pl/notices.toml", "days = {one = \"{{.n}} dzień\", other = \"{{.n}} dni\"}", "the sentence notices.days lacks its form few"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, dir, c.file, c.text)
			_, err := LoadBook(dir)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v\nwant %s", err, c.want)
			}
		})
	}
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// A house may put its own words in the place of single sentences.
func TestOwnSentences(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "fr/notices.toml", "days = {one = \"{{.n}} journée\", other = \"{{.n}} journées\"}\n[folder]\nolder = \"trop vieux\"")
	b, err := LoadBook(dir)
	if err != nil {
		t.Fatal(err)
	}
	l := b.In("fr", "fr-CA", "CAD")
	for want, m := range map[string]job.Message{
		"trop vieux": job.Say("notices.folder.older", nil),
		"1 journée":  job.Say("notices.days", job.Args{"n": 1}),
		"2 journées": job.Say("notices.days", job.Args{"n": 2}),
		"3 heures":   job.Say("notices.hours", job.Args{"n": 3}),
	} {
		if got := l.Say(m); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// A colour that a house has in stock may be said in the languages it writes; where it
// is not, its own word stays.
func TestOwnColour(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "fr/colours.toml", "teal = \"sarcelle\"")
	b, err := LoadBook(dir)
	if err != nil {
		t.Fatal(err)
	}
	for lang, want := range map[string]string{"fr": "sarcelle", "es": "teal", "en": "teal"} {
		if got := b.In(lang, "en-CA", "CAD").Colour("teal"); string(got) != want {
			t.Errorf("%s: %s, want %s", lang, got, want)
		}
	}
	write(t, dir, "fr/colours.toml", "teal = \"{{.shade}}\"")
	if _, err := LoadBook(dir); err == nil || !strings.Contains(err.Error(), "the sentence colours.teal is given no shade") {
		t.Errorf("a colour that takes something: %v", err)
	}
}

// Plural forms follow the Unicode CLDR, 48: French counts none and one and a half as
// one, Spanish and English as many.
func TestPluralForms(t *testing.T) {
	b := DefaultBook()
	for lang, want := range map[string][]string{
		"en": {"0 days", "1 day", "1.5 days", "2 days", "1000000 days"},
		"fr": {"0 jour", "1 jour", "1,5 jour", "2 jours", "1000000 jours"},
		"es": {"0 días", "1 día", "1,5 días", "2 días", "1000000 días"},
	} {
		l := b.In(lang, "en-CA", "CAD")
		for i, n := range []any{0, 1.0, 1.5, 2, 1e6} {
			if got := l.Say(job.Say("notices.days", job.Args{"n": n})); got != want[i] {
				t.Errorf("%s: got %q, want %q", lang, got, want[i])
			}
		}
	}
}

// Every built-in sentence has words in every language, whatever it is given.
func TestEverySentenceIsSaid(t *testing.T) {
	b := DefaultBook()
	if len(b.Keys()) < 40 || len(b.Languages()) < 3 {
		t.Fatalf("%d sentences in %q", len(b.Keys()), b.Languages())
	}
	if err := b.Check(); err != nil {
		t.Error(err)
	}
}

// Strangers' words that are filled in stay what they are, and do nothing.
func TestStrangersWordsInSentences(t *testing.T) {
	l := DefaultBook().In("fr", "fr-CA", "CAD")
	for _, evil := range []string{"{{.draft}}", "<script>", "notices.days", `{"key":"notices.days"}`, "%s %d {1}"} {
		got := l.Say(job.Say("notices.send-refused", job.Args{"draft": "D-1", "why": job.Plain(evil)}))
		if !strings.Contains(got, " : "+evil+" ;") {
			t.Errorf("%q became %q", evil, got)
		}
		if got := l.Say(job.Plain(evil)); got != evil {
			t.Errorf("%q became %q", evil, got)
		}
	}
}

// A fault within an error has its words, in the language of who reads; what stands
// around it stays.
func TestErrorInWords(t *testing.T) {
	b := DefaultBook()
	price := &job.Fault{Message: job.Say("faults.no-price", job.Args{"why": job.Say("faults.mass-no-number", nil)}), Err: job.Refuse(job.Say("faults.mass-no-number", nil))}
	for _, c := range []struct {
		err    error
		en, fr string
	}{
		{errors.New("disk full"), "disk full", "disk full"},
		{price, "the price cannot be worked out: the estimated mass is not a number", "le prix ne peut pas être calculé : la masse estimée n’est pas un nombre"},
		{fmt.Errorf("LP-000001: %w", job.Refuse(job.Say("faults.mass-no-number", nil))), "LP-000001: the estimated mass is not a number", "LP-000001: la masse estimée n’est pas un nombre"},
		{errors.Join(errors.New("a"), job.Refuse(job.Say("faults.draft-empty", job.Args{"draft": "D-1"}))), "a\nthe new version of draft D-1 is empty", "a\nla nouvelle version du brouillon D-1 est vide"},
	} {
		if got := b.In("en", "en-CA", "CAD").Error(c.err); got != c.en {
			t.Errorf("got %q, want %q", got, c.en)
		}
		if got := b.In("fr", "fr-CA", "CAD").Error(c.err); got != c.fr {
			t.Errorf("got %q, want %q", got, c.fr)
		}
	}
	if got := job.Why(fmt.Errorf("x: %w", price)); got.Key != "faults.no-price" {
		t.Errorf("%v", got)
	}
}

// What cannot be said is shown whole, and the reason is known.
func TestUnsayable(t *testing.T) {
	l := DefaultBook().In("fr", "fr-CA", "CAD")
	endless := job.Message{}
	for range 40 {
		endless = job.Say("notices.send-refused", job.Args{"draft": "D-1", "why": endless})
	}
	for name, m := range map[string]job.Message{
		"of a later version": job.Say("notices.new", job.Args{"draft": "D-000001"}),
		"argument missing":   job.Say("notices.readdressed", nil),
		"argument too many":  job.Say("notices.readdressed", job.Args{"draft": "D-000001", "by": "x"}),
		"of no kind":         job.Say("notices.readdressed", job.Args{"draft": struct{}{}}),
		"too deep":           endless,
	} {
		if err := l.Missing(m); err == nil {
			t.Errorf("%s: no error", name)
		}
		if got := l.Say(m); got != m.String() {
			t.Errorf("%s: got %q", name, got)
		}
	}
}

// A new language is one folder and no Go: a made-up one, in which each English
// sentence stands between marks, says every sentence with its marks.
func TestMadeUpLanguage(t *testing.T) {
	const lang = madeup.Language
	dir := t.TempDir()
	if err := madeup.Write("en", dir); err != nil {
		t.Fatal(err)
	}
	b, err := LoadBook(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Check(); err != nil {
		t.Error(err)
	}
	l, en := b.In(lang, "en-CA", "CAD"), b.In(english, "en-CA", "CAD")
	for _, key := range b.Keys() {
		m := job.Say(key, b.SampleArgs(key, 2))
		got := l.Say(m)
		if !strings.HasPrefix(got, madeup.Begin) || !strings.HasSuffix(got, madeup.End) {
			t.Errorf("%s has no marks: %s", key, got)
		}
		if plain := strings.NewReplacer(madeup.Begin, "", madeup.End, "").Replace(got); plain != en.Say(m) {
			t.Errorf("%s says %q, in English %q", key, plain, en.Say(m))
		}
	}
}

var (
	filled = regexp.MustCompile(`‹[^›]*›`) // SampleArgs
	word   = regexp.MustCompile(`\pL{3,}`)
)

// No sentence of a few words is left in English in another language, and the findings
// are among those that there are.
func TestNoSentenceIsLeftInEnglish(t *testing.T) {
	b := DefaultBook()
	en, findings := b.In(english, "en-CA", "CAD"), 0
	for _, lang := range []string{"fr", "es"} {
		l := b.In(lang, lang+"-CA", "CAD")
		for _, key := range b.Keys() {
			if b.languages[lang][key] == nil {
				continue // the whole file is left out
			}
			if strings.HasPrefix(key, "findings.") {
				findings++
			}
			m := job.Say(key, b.SampleArgs(key, 2))
			if words := l.Say(m); words == en.Say(m) && len(word.FindAllString(filled.ReplaceAllString(words, ""), -1)) > 2 {
				t.Errorf("%s says %s in English: %q", lang, key, words)
			}
		}
	}
	if findings < 2*len(Codes()) {
		t.Errorf("only %d findings", findings)
	}
}
