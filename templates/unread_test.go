package templates

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
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
