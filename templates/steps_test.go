package templates

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// withReady loads the texts with one of them, and a piece, replaced.
func withReady(t *testing.T, ready, piece string) (*Set, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "en"), 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"ready.md": "Subject: x\n\n" + ready + "\n", "_own.md": piece + "\n"} {
		if err := os.WriteFile(filepath.Join(dir, "en", name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return Load(dir, Languages())
}

// TestBoundedSteps: a text that goes round without end, or nearly so, ends with an
// error that says so, also where it puts out nothing; meshclerk templates check
// tells of it before any letter does.
func TestBoundedSteps(t *testing.T) {
	lines := strings.Repeat("{{range $.Parts}}", 12) + strings.Repeat("{{end}}", 12)
	doubled := "{{$x := .Subject.String}}" + strings.Repeat(`{{$x = printf "%s%s" $x $x}}`, 60)
	for name, c := range map[string]struct {
		ready, piece string
		want         error
	}{
		"ranges within ranges": {lines, "x", errTooManySteps},
		"in a branch":          {"{{if .Parts}}{{with .Subject}}" + lines + "{{end}}{{end}}", "x", errTooManySteps},
		"in a piece":           {`{{range .Parts}}{{template "_own" $}}{{end}}`, strings.Repeat("{{range $.Parts}}{{range $.Parts}}", 4) + strings.Repeat("{{end}}{{end}}", 4), errTooManySteps},
		"a piece in itself":    {`{{template "_own" .}}`, `{{template "_own" .}}{{template "_own" .}}`, errTooManySteps},
		"text out of text":     {strings.ReplaceAll(doubled, ".Subject.String", `"ab"`), "x", errMadeTooLong},
		"a wide word":          {`{{$x := printf "%999999d" 1}}`, "x", errMadeTooLong},
		"long, over and over":  {"{{range .Parts}}{{range $.Parts}}{{range $.Parts}}{{range $.Parts}}{{range $.Parts}}" + strings.Repeat(`{{$x := printf "%8000d" 1}}`, 1000) + strings.Repeat("{{end}}", 5), "x", errTooManySteps},
	} {
		t.Run(name, func(t *testing.T) {
			set, err := withReady(t, c.ready, c.piece)
			if err != nil {
				t.Fatal(err)
			}
			text, err := set.Get("en", "ready")
			if err != nil {
				t.Fatal(err)
			}
			d := set.Samples("en")[3].Data // of several parts
			if _, _, err := text.Render(&d); !errors.Is(err, c.want) {
				t.Errorf("got %v, want %v", err, c.want)
			}
			if strings.HasPrefix(name, "long") {
				return // it takes as long as a text may, for each sample
			}
			if err := set.Check(); err == nil || !strings.Contains(err.Error(), "en/ready.md") {
				t.Errorf("templates check says %v", err)
			}
		})
	}
}

// Every text is counted for itself, also when several are filled in side by side; the
// built-in ones stay far below the bound.
func TestStepsAreCountedForEachText(t *testing.T) {
	set := Default()
	d := full(DefaultBook().In("en", "en-CA", "CAD"))
	for len(d.Parts) < 100 {
		d.Parts = append(d.Parts, d.Part)
	}
	var wg sync.WaitGroup
	failed := make([]error, 8)
	for i := range failed {
		wg.Go(func() {
			for range 3 {
				text, err := set.Get("en", "several")
				if err == nil {
					_, _, err = text.Render(&d)
				}
				if err != nil {
					failed[i] = err
					return
				}
			}
		})
	}
	wg.Wait()
	if err := errors.Join(failed...); err != nil {
		t.Error(fmt.Errorf("a letter about 100 parts: %w", err))
	}
}
