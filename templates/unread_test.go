package templates

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/rules"
)

// What lies in the house's folder and is read by nothing is told, each kind once, with
// its file and what to do; letters are written all the same.
func TestUnread(t *testing.T) {
	for name, c := range map[string]struct {
		files map[string]string
		want  []string // parts of the one thing told; none for nothing
	}{
		"the text that took it in is the house's own": {map[string]string{"en/_details.md": "All of it.\n", "en/quote.md": "Subject: x\n\nHello.\n",
			"en/agreement-arrived.md": "Subject: x\n\nHello.\n", "en/agreement-expired.md": "Subject: x\n\nHello.\n", "en/changed-quote.md": "Subject: x\n\nHello.\n", "en/needs-agreement.md": "Subject: x\n\nHello.\n"},
			[]string{"texts/en/_details.md: no reply text in the language en takes in this piece", "write {details} in a text where it shall stand"}},
		"in French":                      {map[string]string{"fr/_too-long-part.md": "Trop long.\n", "fr/too-long.md": "Subject: x\n\nNon.\n", "fr/_outcome.md": "{fichier}\n"}, []string{"texts/fr/_too-long-part.md", "write {pourquoi c’est trop long} in"}},
		"an untouched copy":              {map[string]string{"fr/_too-long-part.md": copied("fr/_too-long-part.md"), "fr/too-long.md": "Subject: x\n\nNon.\n", "fr/_outcome.md": "{fichier}\n"}, nil},
		"a slip in a name":               {map[string]string{"en/_closng.md": "Bye.\n"}, []string{"texts/en/_closng.md", "did you mean _closing.md?"}},
		"a piece of the house's own":     {map[string]string{"en/_parking.md": "Park behind.\n"}, []string{"texts/en/_parking.md", "write {parking} in a text"}},
		"one that a text takes in":       {map[string]string{"en/_parking.md": "Park behind.\n", "en/ready.md": "Subject: x\n\n{parking}\n"}, nil},
		"in double braces":               {map[string]string{"en/_parking.md": "Park behind.\n", "en/ready.md": "Subject: x\n\n{{template \"_parking\" .}}\n"}, nil},
		"through another":                {map[string]string{"en/_parking.md": "Park behind.\n", "en/_closing.md": "{parking}\n"}, nil},
		"a language that is not written": {map[string]string{"es/ready.md": "Subject: x\n\nHola.\n"}, []string{"texts/es: no letters are written in the language es", "name it among the languages in library.toml"}},
		"its sentences are the page's":   {map[string]string{"es/price.toml": "job = \"cargo\"\n"}, nil},
		"a folder of no language":        {map[string]string{"old/2025/ready.md": "Subject: x\n\nHello.\n"}, []string{"texts/old: this is no folder of a language", "en or fr"}},
		"an empty folder":                {map[string]string{"en/ready.md": "Subject: x\n\nHello.\n"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.Mkdir(filepath.Join(dir, "empty"), 0o755); err != nil {
				t.Fatal(err)
			}
			for file, text := range c.files {
				put(t, dir, file, text)
			}
			s, err := Load(dir, []string{"en", "fr"})
			if err != nil {
				t.Fatal(err)
			}
			told := s.Unread()
			if len(c.want) == 0 && len(told) == 0 {
				return
			}
			if len(told) != 1 || len(c.want) == 0 {
				t.Fatalf("told: %v", told)
			}
			got := strings.ReplaceAll(DefaultBook().In("en", "en-CA", "CAD").Error(told), dir, "texts")
			for _, part := range c.want {
				if !strings.Contains(got, part) {
					t.Errorf("%q does not say %q", got, part)
				}
			}
		})
	}
	if told := Default().Unread(); len(told) > 0 {
		t.Errorf("of the built-in texts: %v", told)
	}
}

// A word for a colour is read where the house has that colour; a slip in its name is
// told with its line.
func TestUnreadColour(t *testing.T) {
	r, err := rules.Load("")
	if err != nil {
		t.Fatal(err)
	}
	r.Materials[0].Colours = append(r.Materials[0].Colours, "teal")
	r.Library.Languages = []string{"en", "fr"}
	for word, want := range map[string]string{
		"teal": "", "red": "", // red: the house's own word for one that is built in
		"tael":   "texts/fr/colours.toml:2:1: no material of the house rules has the colour tael",
		"copper": "write the colour as it is written in materials.toml",
	} {
		dir := t.TempDir()
		put(t, dir, "fr/colours.toml", "# les nôtres\n"+word+" = \"sarcelle\"\n")
		s, err := LoadHouse(dir, r)
		if err != nil {
			t.Fatal(err)
		}
		told := s.Unread()
		if want == "" {
			if len(told) > 0 {
				t.Errorf("%s: %v", word, told)
			}
			continue
		}
		got := ""
		if len(told) > 0 {
			got = strings.ReplaceAll(DefaultBook().In("en", "en-CA", "CAD").Error(told), dir, "texts")
		}
		if len(told) != 1 || !strings.Contains(got, want) {
			t.Errorf("%s: told %q, want %q", word, got, want)
		}
		if word == "tael" && !strings.Contains(got, "did you mean teal?") {
			t.Errorf("no hint in %q", got)
		}
	}
}

func copied(name string) string {
	b, err := Builtin(name)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// Every built-in piece stands in a letter.
func TestEveryPieceIsRead(t *testing.T) {
	s := Default()
	for _, lang := range s.Languages() {
		for _, name := range s.Pieces() {
			if p, err := s.GetPiece(lang, name); err != nil || len(p.UsedBy) == 0 {
				t.Errorf("%s/%s.md stands in no letter (%v)", lang, name, err)
			}
		}
	}
}

// A file of sentences that nothing reads is a mistake, with sentences in it or without.
func TestUnreadSentences(t *testing.T) {
	for text, want := range map[string]string{
		"# nothing yet\n":         "there is no file of sentences pages.toml",
		"[title]\nprints = \"x\"": "there is no sentence pages.title.prints",
	} {
		dir := t.TempDir()
		put(t, dir, "en/pages.toml", text)
		if _, err := Load(dir, []string{"en"}); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "page") {
			t.Errorf("%q: %v", text, err)
		}
	}
}
