package rules_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/rules"
	"meshclerk/templates"
)

var update = flag.Bool("update", false, "write the golden files anew")

// english says problems as the command line does.
var english = templates.DefaultBook().In("en", "en-CA", "CAD")

// TestBadFolders: each case edits the built-in files and has the message that
// an admin sees.
func TestBadFolders(t *testing.T) {
	cases, err := filepath.Glob("testdata/bad/*.txt")
	if err != nil || len(cases) < 20 {
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
			_, err = rules.Load(dir)
			if err == nil {
				t.Fatal("the bad folder was accepted")
			}
			got := strings.ReplaceAll(english.Error(err), dir+string(filepath.Separator), "rules/") + "\n"
			if *update {
				write(t, file, []byte(edits+"-- want --\n"+got))
				return
			}
			if got != want {
				t.Errorf("got:\n%s\nwant:\n%s", got, want)
			}
		})
	}
}

// edit carries out lines of "FILE", "- old line", "+ new line".
func edit(t *testing.T, dir, edits string) {
	t.Helper()
	file, text := "", ""
	flush := func() {
		if file != "" {
			write(t, filepath.Join(dir, file), []byte(text))
		}
	}
	mark := "\x00" // where the next new line goes
	for _, line := range strings.Split(strings.TrimRight(edits, "\n"), "\n") {
		switch {
		case strings.HasPrefix(line, "- "):
			old := strings.TrimPrefix(line, "- ") + "\n"
			if !strings.Contains(text, old) {
				t.Fatalf("%s has no line %q", file, old)
			}
			text = strings.Replace(strings.ReplaceAll(text, mark, ""), old, mark, 1)
		case strings.HasPrefix(line, "+ "):
			if !strings.Contains(text, mark) {
				text += mark
			}
			text = strings.Replace(text, mark, strings.TrimPrefix(line, "+ ")+"\n"+mark, 1)
		default:
			text = strings.ReplaceAll(text, mark, "")
			flush()
			file = line
			b, err := rules.Builtin(file)
			if err != nil {
				b = nil
			}
			text = string(b)
		}
	}
	text = strings.ReplaceAll(text, mark, "")
	flush()
}

func write(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}
