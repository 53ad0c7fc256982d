// Package madeup makes up a language for tests: each English sentence stands
// between marks, so that a sentence that is not of the book has none.
package madeup

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// Language is the made-up language's code, one for private use (ISO 639-2).
const Language = "qps"

// The marks that each sentence stands between.
const (
	Begin = "⟦"
	End   = "⟧"
)

var quoted = regexp.MustCompile(`"(?:[^"\\]|\\.)*"`)

// Write puts the language into a folder of the house's own, dir, from the folder of
// the English sentences: dir/qps/notices.toml and so on.
func Write(english, dir string) error {
	files, err := filepath.Glob(filepath.Join(english, "*.toml"))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(dir, Language), 0o700); err != nil {
		return err
	}
	for _, name := range files {
		source, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, Language, filepath.Base(name)), []byte(marked(string(source))), 0o600); err != nil {
			return err
		}
	}
	return nil
}

// marked puts marks around every sentence of a file.
func marked(source string) string {
	var b strings.Builder
	for line := range strings.Lines(source) {
		if key, words, ok := strings.Cut(line, " = "); ok && !strings.HasPrefix(line, "#") {
			line = key + " = " + quoted.ReplaceAllStringFunc(words, func(s string) string { return `"` + Begin + s[1:len(s)-1] + End + `"` })
		}
		b.WriteString(line)
	}
	return b.String()
}

// Unmarked gives a text without its sentences: what is left has words that are not
// of the book. A sentence that was cut short has no end.
func Unmarked(text string) string {
	var b strings.Builder
	depth := 0
	for _, r := range text {
		switch {
		case string(r) == Begin:
			depth++
		case string(r) == End && depth > 0:
			depth--
		case depth == 0:
			b.WriteRune(r)
		}
	}
	return b.String()
}
