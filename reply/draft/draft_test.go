package draft

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/templates"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with a file under testdata, or writes it with -update.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (go test -update writes it)", err)
	}
	if got != string(want) {
		t.Errorf("%s differs; got:\n%s", path, got)
	}
}

// TestLetters: every situation in every language, as the patron reads it. Choose
// finds the situation by itself where no event has to be named.
func TestLetters(t *testing.T) {
	for _, lang := range templates.Languages() {
		all := cases(t, lang)
		if got, want := slices.Sorted(maps.Keys(all)), slices.Sorted(slices.Values(templates.Situations())); !slices.Equal(got, want) {
			t.Fatalf("cases %v do not cover the situations %v", got, want)
		}
		for name, in := range all {
			t.Run(lang+"/"+name, func(t *testing.T) {
				m, err := Compose(in)
				if err != nil {
					t.Fatal(err)
				}
				if m.Template != name {
					t.Errorf("chose %s, want %s", m.Template, name)
				}
				golden(t, lang+"/"+name+".txt", "Subject: "+m.Subject+"\n\n"+m.Plain)
			})
		}
	}
}

// No number of ours, of a draft, a job or a letter, stands in the words of a letter: in no
// situation and in no language, whatever the jobs are called. Headers that only programs
// read have one: the Message-ID, by which answers find their conversation, and the
// Content-ID of the picture, which the HTML part points to.
func TestNoNumberOfOursReachesAPatron(t *testing.T) {
	ours, pointers := regexp.MustCompile(`\b[A-Z]{1,5}-[0-9]{6,}\b`), regexp.MustCompile(`"cid:[^"]*"`)
	for _, lang := range templates.Languages() {
		for name, in := range cases(t, lang) {
			in.ID = "D-000011." + in.ID
			for i, j := range in.Jobs {
				j.ID = job.ID(fmt.Sprintf("LP-%06d", 42+i))
			}
			for _, b := range in.Before {
				b.ID = "LP-000042"
			}
			m, err := Compose(in)
			if err != nil {
				t.Fatalf("%s/%s: %v", lang, name, err)
			}
			for what, text := range map[string]string{"subject": m.Subject, "text": m.Plain, "HTML": pointers.ReplaceAllString(m.HTML, "")} {
				if found := ours.FindString(text); found != "" {
					t.Errorf("%s/%s: the %s says %s", lang, name, what, found)
				}
			}
		}
	}
}

// TestBytes: the whole message, byte for byte.
func TestBytes(t *testing.T) {
	for _, name := range []string{"quote", "forgotten-attachment"} {
		m, err := Compose(cases(t, "en")[name])
		if err != nil {
			t.Fatal(err)
		}
		golden(t, name+".eml", string(m.Raw))
		golden(t, name+".html", m.HTML)
		again, err := Compose(cases(t, "en")[name])
		if err != nil || again.SHA256 != m.SHA256 {
			t.Errorf("%s: the same input gave other bytes (%v)", name, err)
		}
		if strings.Contains(strings.ReplaceAll(string(m.Raw), "\r\n", ""), "\n") {
			t.Errorf("%s: a bare line feed", name)
		}
	}
}

func BenchmarkCompose(b *testing.B) {
	in := cases(b, "en")["quote"]
	for b.Loop() {
		if _, err := Compose(in); err != nil {
			b.Fatal(err)
		}
	}
}
