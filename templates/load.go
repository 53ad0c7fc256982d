package templates

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"text/template"
	"text/template/parse"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

const (
	subjectPrefix = "Subject: "
	maxFile       = 1 << 18
)

// source is one file as it was read.
type source struct {
	name string // "quote" or "_questions"
	path string
	text string
	code string // what text/template takes
	own  bool   // it stands in the house's folder
}

// loader gathers the problems of one Load.
type loader struct {
	sources  map[string]map[string]*source // language -> name
	problems rules.Problems

	book         *Book // with the names of fields
	vocabularies map[string]*vocabulary
}

// read fetches the built-in texts and what replaces them.
func (l *loader) read(dir string, languages []string) error {
	for _, lang := range languages {
		if dir == "" && !slices.Contains(Languages(), lang) {
			return fmt.Errorf("there are no built-in reply texts in language %q; give a folder with %s/*.md", lang, lang)
		}
		l.sources[lang] = map[string]*source{}
		if err := l.readFolder(builtin, lang, "built-in "); err != nil {
			return err
		}
	}
	if dir == "" {
		return nil
	}
	return l.readOwn(dir, languages)
}

// readOwn takes the operator's folder.
func (l *loader) readOwn(dir string, languages []string) error {
	own := os.DirFS(dir)
	entries, err := fs.ReadDir(own, ".")
	if err != nil {
		return fmt.Errorf("the folder of reply texts cannot be read: %w (give a folder with en/*.md and so on, or none for the built-in texts)", err)
	}
	for _, e := range entries {
		name := e.Name()
		switch {
		case ignored(name):
		case !e.IsDir():
			l.tell(rules.Problem{File: path.Join(dir, name), Text: job.Plain("this file is not in a folder of its language, so it would not be used"),
				Hint: job.Plain("move it, e.g. to " + languages[0] + "/" + name)})
		case slices.Contains(languages, name):
			if err := l.readFolder(own, name, strings.TrimSuffix(dir, "/")+"/"); err != nil {
				return err
			}
		case !slices.Contains(Languages(), name) && hasTexts(own, name): // sentences alone are a language of the staff page
			l.tell(rules.Problem{File: path.Join(dir, name), Text: job.Plain(fmt.Sprintf("%q is none of the languages in library.toml (%s)", name, strings.Join(languages, ", "))),
				Hint: job.Plain("name it there too if replies shall be written in it")})
		}
	}
	return nil
}

// Languages lists the languages of the built-in texts, English first.
func Languages() []string {
	entries, err := fs.ReadDir(builtin, ".")
	if err != nil {
		return nil // it is built in
	}
	out := []string{english}
	for _, e := range entries {
		if e.Name() != english {
			out = append(out, e.Name())
		}
	}
	return out
}

// LoadHouse reads the reply texts in the languages of the house rules, as Load does.
func LoadHouse(dir string, r *rules.Rules) (*Set, error) {
	if err := CheckLanguages(dir, r); err != nil {
		return nil, err
	}
	s, err := Load(dir, r.Library.Languages)
	if err == nil {
		s.unread = append(s.unread, s.book.unreadColours(r.Stock())...)
	}
	return s, err
}

// CheckLanguages tells which languages of the house rules have no folder of reply
// texts, built in or in dir. Errors have the form of rules.Load's.
func CheckLanguages(dir string, r *rules.Rules) error {
	var missing []error
	for i, lang := range r.Library.Languages {
		if slices.Contains(Languages(), lang) {
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, lang)); dir == "" || err != nil {
			missing = append(missing, r.Fault("library.toml", fmt.Sprintf("languages[%d]", i), fmt.Sprintf("there are no reply texts in the language %q", lang),
				fmt.Sprintf("there are %s; another language is a folder %s of reply texts, beside those of the house's own", strings.Join(Languages(), ", "), lang)))
		}
	}
	return errors.Join(missing...)
}

// hasTexts reports whether a folder has reply texts.
func hasTexts(from fs.FS, lang string) bool {
	found, err := fs.Glob(from, lang+"/*.md")
	return err != nil || len(found) > 0
}

func ignored(name string) bool {
	return strings.HasPrefix(name, ".") || strings.HasSuffix(name, "~")
}

// readFolder takes every text of one language; a folder that is not there has none.
func (l *loader) readFolder(from fs.FS, lang, prefix string) error {
	entries, err := fs.ReadDir(from, lang)
	if err != nil {
		return nil
	}
	for _, e := range entries {
		file := path.Join(lang, e.Name())
		name, isText := strings.CutSuffix(e.Name(), ".md")
		if ignored(e.Name()) || path.Ext(e.Name()) == ".toml" { // sentences, of the book
			continue
		}
		if !isText || e.IsDir() {
			l.tell(rules.Problem{File: prefix + file, Text: job.Plain("this is no reply text, so it would not be used"), Hint: job.Plain("names end in .md")})
			continue
		}
		b, err := fs.ReadFile(from, file)
		if err != nil {
			return fmt.Errorf("the reply text cannot be read: %w", err)
		}
		if len(b) > maxFile {
			l.tell(rules.Problem{File: prefix + file, Text: job.Plain(fmt.Sprintf("the file has %d bytes, more than the %d a reply text may have", len(b), maxFile))})
			continue
		}
		text := strings.ReplaceAll(strings.TrimPrefix(string(b), "\ufeff"), "\r\n", "\n")
		l.sources[lang][name] = &source{name: name, path: prefix + file, text: text, own: from != fs.FS(builtin)}
	}
	return nil
}

func (l *loader) tell(p rules.Problem) { l.problems = append(l.problems, p) }

// parse reads the texts of one language and checks them.
func (l *loader) parse(lang string) map[string]*Template {
	all := template.New(lang).Funcs(bounded()).Funcs(funcs(lang)).Option("missingkey=error")
	for _, name := range slices.Sorted(maps.Keys(l.sources[lang])) {
		l.parseOne(lang, all, l.sources[lang][name])
	}
	texts := map[string]*Template{}
	for _, name := range l.wanted() {
		s := l.sources[lang][name]
		switch {
		case s == nil && !slices.Contains(Situations(), name): // told where it is
		case s == nil:
			l.tell(rules.Problem{File: lang + "/" + name + ".md", Text: job.Plain("this translation is missing"), Hint: job.Plain("translate " + l.inOther(name))})
		case !slices.Contains(Situations(), name):
			p := rules.Problem{File: s.path, Text: job.Plain("there is no situation of this name, so the text would not be used")}
			if near := rules.Nearest(name, Situations()); near != "" {
				p.Hint = job.Plain("did you mean " + near + ".md?")
			}
			l.tell(p)
		case all.Lookup(name) != nil:
			pieces := l.check(all, lang, s)
			texts[name] = &Template{Name: name, Language: lang, Path: s.path, Source: s.text,
				Hash: l.hash(lang, s, pieces), Pieces: pieces, parsed: all.Lookup(name), own: s.own}
		}
	}
	if err := countSteps(all); err != nil {
		l.tell(rules.Problem{File: lang, Text: job.Plain(err.Error())})
	}
	return texts
}

// hash tells a text and the pieces it takes in from any others.
func (l *loader) hash(lang string, s *source, pieces []string) string {
	texts := []string{s.text}
	for _, name := range pieces {
		texts = append(texts, l.sources[lang][name].text)
	}
	return hash(texts...)
}

// piecesOf gives the pieces of one language, each with the texts that take it in.
func (l *loader) piecesOf(lang string, texts map[string]*Template) map[string]*Piece {
	pieces := map[string]*Piece{}
	for name, s := range l.sources[lang] {
		if strings.HasPrefix(name, "_") {
			pieces[name] = &Piece{Name: name, Language: lang, Path: s.path, Source: s.text + "\n", own: s.own}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(texts)) {
		for _, piece := range texts[name].Pieces {
			pieces[piece].UsedBy = append(pieces[piece].UsedBy, name)
		}
	}
	return pieces
}

// wanted lists the names that every language must have: what any language has.
func (l *loader) wanted() []string {
	names := map[string]bool{}
	for _, texts := range l.sources {
		for name := range texts {
			if !strings.HasPrefix(name, "_") {
				names[name] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(names))
}

// inOther gives the path of a text in a language that has it.
func (l *loader) inOther(name string) string {
	for _, lang := range slices.Sorted(maps.Keys(l.sources)) {
		if s := l.sources[lang][name]; s != nil {
			return s.path
		}
	}
	return name
}

// parseOne adds a text to the set of its language.
func (l *loader) parseOne(lang string, all *template.Template, s *source) {
	if !strings.HasPrefix(s.name, "_") {
		l.checkHead(s)
	}
	if strings.HasPrefix(s.name, "_") { // a piece stands within a line as well as alone
		s.text = strings.TrimRight(s.text, "\n")
	}
	s.code = l.compile(lang, s)
	t, err := all.New(s.name).Parse(s.code)
	if err != nil {
		l.syntax(s, err)
		return
	}
	// A text of only fields and comments is "empty" to Parse and would be dropped.
	if t.Tree == nil {
		_, err = all.AddParseTree(s.name, &parse.Tree{Name: s.name, Root: &parse.ListNode{NodeType: parse.NodeList}})
		if err != nil {
			l.syntax(s, err)
		}
	}
}

// checkHead checks the subject line and the blank line below it.
func (l *loader) checkHead(s *source) {
	first, rest, _ := strings.Cut(s.text, "\n")
	second, _, _ := strings.Cut(rest, "\n")
	if !strings.HasPrefix(first, subjectPrefix) || strings.TrimSpace(strings.TrimPrefix(first, subjectPrefix)) == "" {
		l.tell(s.problem(1, 1, len(first), job.Say("mistakes.no-subject", nil), job.Say("mistakes.hint.subject", nil)))
	} else if strings.TrimSpace(second) != "" {
		l.tell(s.problem(2, 1, len(second), job.Say("mistakes.no-blank-line", nil), job.Say("mistakes.hint.blank-line", nil)))
	}
}

var (
	syntaxPlace = regexp.MustCompile(`^template: [^:]*:(\d+):(?:\d+:)? (.*)$`)
	noFunction  = regexp.MustCompile(`function "([^"]*)" not defined`)
)

// syntax tells of a text that text/template cannot parse.
func (l *loader) syntax(s *source, err error) {
	m := syntaxPlace.FindStringSubmatch(err.Error())
	if inWords(s.text) && slices.ContainsFunc(l.problems, func(p rules.Problem) bool { return p.File == s.path }) {
		return // the compiler told of it at its place
	}
	if m == nil || inWords(s.text) {
		l.tell(rules.Problem{File: s.path, Text: job.Plain(err.Error())})
		return
	}
	line, _ := strconv.Atoi(m[1])
	text, hint := job.Plain(m[2]), job.Say("mistakes.hint.closed", nil) // the parser's own words
	col, width := 1, len(s.line(line))
	if f := noFunction.FindStringSubmatch(m[2]); f != nil {
		text, hint = job.Say("mistakes.no-function", job.Args{"function": f[1]}), job.Message{}
		if near := rules.Nearest(f[1], functionNames()); near != "" {
			hint = job.Say("rules.hint.near", job.Args{"word": near})
		}
		if at := strings.Index(s.line(line), f[1]); at >= 0 {
			col, width = at+1, len(f[1])
		}
	}
	l.tell(s.problem(line, col, width, text, hint))
}

// line gives a line of the file, counted from 1.
func (s *source) line(n int) string {
	lines := strings.Split(s.text, "\n")
	if n < 1 || n > len(lines) {
		return ""
	}
	return lines[n-1]
}

func (s *source) problem(line, column, width int, text, hint job.Message) rules.Problem {
	return rules.Problem{File: s.path, Line: line, Column: column, Width: max(1, width), Source: s.line(line), Text: text, Hint: hint}
}
