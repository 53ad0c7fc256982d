// Package madeup makes up a language for tests: each English sentence stands
// between marks, so that a sentence that is not of the book has none.
package madeup

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/net/html"
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
func Write(english, dir string) error { return rewrite(english, dir, "*.toml", marked) }

// rewrite puts the files of the English folder that a pattern names into the
// language's folder in dir, each with its marks.
func rewrite(english, dir, pattern string, mark func(string) string) error {
	files, err := filepath.Glob(filepath.Join(english, pattern))
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
		if err := os.WriteFile(filepath.Join(dir, Language, filepath.Base(name)), []byte(mark(string(source))), 0o600); err != nil {
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

// Left lists the texts of a page that have words outside the marks, those of the
// attributes that are read out or shown too. Letters, what was typed, code, and words
// of another language that says so are left out; isName tells what else is none of
// our words.
func Left(page string, isName func(text string) bool) (out []string, err error) {
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		return nil, err
	}
	see := func(text string) {
		left := strings.TrimSpace(Unmarked(text))
		if strings.ContainsFunc(left, unicode.IsLetter) && !isName(left) {
			out = append(out, text)
		}
	}
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode && othersWords(n) {
			return
		}
		for _, a := range n.Attr {
			if shown[a.Key] {
				see(a.Val)
			}
		}
		if n.Type == html.TextNode {
			see(n.Data)
		}
		for c := range n.ChildNodes() {
			walk(c)
		}
	}
	walk(doc)
	return out, nil
}

// shown are the attributes whose words a person comes to see or hear.
var shown = map[string]bool{"alt": true, "aria-label": true, "title": true, "placeholder": true, "label": true,
	"data-words": true, "data-out": true, "data-link": true, "data-on": true, "data-off": true}

// othersWords reports whether an element holds no words of ours: a letter, a reply
// text, the head of a message, code, keys, or another language.
func othersWords(n *html.Node) bool {
	switch n.Data {
	case "q", "code", "pre", "kbd", "textarea", "script", "style":
		return true
	}
	if lang := attribute(n, "lang"); lang != "" && lang != Language {
		return true
	}
	if n.Data == "dd" && n.Parent != nil && n.Parent.Parent != nil && attribute(n.Parent.Parent, "class") == "heads" {
		return true
	}
	return slices.ContainsFunc(strings.Fields(attribute(n, "class")), func(c string) bool { return c == "letter" || c == "diff" })
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}
