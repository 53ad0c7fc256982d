package templates

import (
	"bytes"
	"cmp"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"
	"text/template"

	"github.com/bojanz/currency"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"

	"meshclerk/intake/job"
)

// Book is every sentence of ours that stands outside the reply texts, in every
// language: TOML files beside the reply texts, one folder a language
// (en/notices.toml). It is read-only.
//
// A sentence is a text/template with named arguments:
//
//	stray = "letter {{.letter}} answers something, perhaps job {{any .jobs}}"
//
// or, where its words hang on a count, its plural forms by the categories of the
// Unicode CLDR, chosen by the argument n:
//
//	replies = {one = "{{.n}} reply of ours", other = "{{.n}} replies of ours"}
//
// which another sentence takes in with {{count "restored.replies" .sent}}. A list is
// said with {{all .names}}, {{any .names}} or {{join ", or " .names}}. Every
// language has the sentences of the first, English, with the same arguments; a
// language may leave out a whole file, and then reads English there.
type Book struct {
	languages map[string]map[string]*sentence // language -> key
}

// english is the language that says which sentences there are.
const english = "en"

// sentence is one sentence in one language.
type sentence struct {
	key   string
	forms map[plural.Form]*template.Template
	args  []string // sorted
	at    place
}

// builtinBook reads the built-in sentences once.
var builtinBook = sync.OnceValues(func() (*Book, error) { return readBook("") })

// DefaultBook gives the built-in sentences. A test guards that they are valid.
func DefaultBook() *Book {
	b, err := builtinBook()
	if err != nil {
		panic("the built-in sentences are broken: " + err.Error())
	}
	return b
}

// LoadBook reads the sentences. A file in dir replaces sentences of the built-in
// file of the same language and name, one by one; a language may be added. The
// error is rules.Problems when a sentence is wrong.
func LoadBook(dir string) (*Book, error) {
	if dir == "" {
		return builtinBook()
	}
	return readBook(dir)
}

func readBook(dir string) (*Book, error) {
	l := &bookLoader{original: map[string]*sentence{}, files: map[string]map[string]bool{}, book: &Book{languages: map[string]map[string]*sentence{}}}
	if err := l.readAll(dir); err != nil {
		return nil, err
	}
	for _, lang := range l.book.Languages() {
		l.complete(lang)
	}
	if len(l.problems) > 0 {
		return nil, l.problems
	}
	return l.book, nil
}

// Languages lists the languages that the book has, sorted.
func (b *Book) Languages() []string { return slices.Sorted(maps.Keys(b.languages)) }

// LanguagesOf lists the languages that have a file of sentences, such as "page":
// English, then the others, sorted.
func (b *Book) LanguagesOf(file string) []string {
	var out []string
	for _, lang := range b.Languages() {
		for key := range b.languages[lang] {
			if strings.HasPrefix(key, file+".") {
				out = append(out, lang)
				break
			}
		}
	}
	slices.SortStableFunc(out, func(a, b string) int { return cmp.Compare(later(a), later(b)) })
	return out
}

// later sorts English first.
func later(lang string) int {
	if lang == english {
		return 0
	}
	return 1
}

// Keys lists the keys of all sentences, sorted.
func (b *Book) Keys() []string { return slices.Sorted(maps.Keys(b.languages[english])) }

// Args gives the names of the arguments of a sentence, and whether there is such a
// sentence.
func (b *Book) Args(key string) ([]string, bool) {
	s := b.languages[english][key]
	if s == nil {
		return nil, false
	}
	return slices.Clone(s.args), true
}

// Localizer says sentences in one language, and writes numbers, dates and amounts as
// a person would say them in it.
type Localizer struct {
	Language string // the folder's name, e.g. "en"
	book     *Book
	tag      language.Tag
	printer  *message.Printer
	money    *currency.Formatter
}

// In returns the localizer of a language for a house: its own locale (whose country
// decides how figures and amounts look, e.g. "en-CA") and its currency (ISO 4217).
func (b *Book) In(lang, house, code string) *Localizer {
	tag, err := language.Parse(lang)
	if err != nil {
		tag = language.English
	}
	local := tagOf(tag, house)
	return &Localizer{lang, b, tag, message.NewPrinter(local), moneyOf(local, house, code)}
}

// Say gives the words of a message. Text without a key is given as it is. A key
// that the book does not have, such as one of a later version, is shown with its
// arguments, so that nothing is lost.
func (l *Localizer) Say(m job.Message) string {
	if m.Key == "" {
		return m.Text
	}
	words, err := l.words(m.Key, m.Args, deepest)
	if err != nil {
		return m.String()
	}
	return words
}

// Error gives the words of an error, in which each job.Fault has those of the book.
func (l *Localizer) Error(err error) string {
	text, all := err.Error(), faults(err)
	slices.SortStableFunc(all, func(a, b *job.Fault) int { return len(b.Error()) - len(a.Error()) }) // one key may begin as another
	for _, f := range all {
		if shown := f.Error(); shown != "" {
			text = strings.ReplaceAll(text, shown, l.Say(f.Message))
		}
	}
	return text
}

// faults lists the outermost faults of an error.
func faults(err error) []*job.Fault {
	switch e := err.(type) {
	case *job.Fault:
		return []*job.Fault{e}
	case interface{ Unwrap() error }:
		if inner := e.Unwrap(); inner != nil {
			return faults(inner)
		}
	case interface{ Unwrap() []error }:
		var all []*job.Fault
		for _, inner := range e.Unwrap() {
			all = append(all, faults(inner)...)
		}
		return all
	}
	return nil
}

// Word is Say for a sentence without arguments.
func (l *Localizer) Word(key string) string { return l.Say(job.Say(key, nil)) }

// Missing tells why a message has no words, or nil.
func (l *Localizer) Missing(m job.Message) error {
	if m.Key == "" {
		return nil
	}
	_, err := l.words(m.Key, m.Args, deepest)
	return err
}

// deepest bounds sentences that are filled into sentences.
const deepest = 6

func (l *Localizer) words(key string, args job.Args, deep int) (string, error) {
	s := l.book.languages[l.Language][key]
	if s == nil {
		s = l.book.languages[english][key]
	}
	switch {
	case s == nil:
		return "", fmt.Errorf("there is no sentence %q", key)
	case deep == 0:
		return "", fmt.Errorf("the sentence %q is filled into itself", key)
	}
	if err := sameArgs(s, args); err != nil {
		return "", err
	}
	t := s.forms[plural.Other]
	if n, ok := amount(args["n"]); ok {
		if form := s.forms[l.form(n)]; form != nil {
			t = form
		}
	}
	said, err := l.said(args, deep)
	if err != nil {
		return "", err
	}
	t, err = t.Clone()
	if err != nil {
		return "", err
	}
	var out bytes.Buffer
	err = t.Funcs(l.funcs(deep)).Execute(&limited{w: &out, left: maxSentence}, said)
	return out.String(), err
}

// maxSentence bounds a sentence with what is filled in, in bytes.
const maxSentence = 16 << 10

func sameArgs(s *sentence, args job.Args) error {
	given := slices.Sorted(maps.Keys(args))
	if !slices.Equal(given, s.args) {
		return fmt.Errorf("the sentence %q takes %s, and is given %s", s.key, named(s.args), named(given))
	}
	return nil
}

func named(args []string) string {
	if len(args) == 0 {
		return "nothing"
	}
	return strings.Join(args, ", ")
}

// form is the plural category of a count (Unicode CLDR).
func (l *Localizer) form(n float64) plural.Form {
	if n != float64(int(n)) { // with a fraction, of which one digit decides
		return plural.Cardinal.MatchPlural(l.tag, int(n), 1, 1, int(n*10)%10, int(n*10)%10)
	}
	return plural.Cardinal.MatchPlural(l.tag, int(n), 0, 0, 0, 0)
}

// said gives each argument as it is filled in: words, or lists of words.
func (l *Localizer) said(args job.Args, deep int) (map[string]any, error) {
	out := make(map[string]any, len(args))
	for name, v := range args {
		var err error
		if out[name], err = l.value(v, deep); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (l *Localizer) value(v any, deep int) (any, error) {
	switch v := v.(type) {
	case string:
		return v, nil
	case []string:
		return v, nil
	case job.Quantity:
		return string(l.Quantity(v.Amount, v.Unit)), nil
	case job.Money:
		return cmp.Or(string(l.Money(v.Amount, v.Currency)), v.Amount+" "+v.Currency), nil
	case job.Figure:
		return l.figure(v, deep)
	case job.Day:
		return string(l.ISODate(v.Date)), nil
	case job.Message:
		return l.message(v, deep)
	case []job.Message:
		return l.messages(v, deep)
	}
	if n, ok := amount(v); ok {
		return number{n, string(l.Number(n, 2))}, nil
	}
	return nil, fmt.Errorf("%v (%T) cannot be filled into a sentence", v, v)
}

func (l *Localizer) message(m job.Message, deep int) (string, error) {
	if m.Key == "" {
		return m.Text, nil
	}
	return l.words(m.Key, m.Args, deep-1)
}

func (l *Localizer) messages(list []job.Message, deep int) ([]string, error) {
	out := make([]string, len(list))
	for i, m := range list {
		var err error
		if out[i], err = l.message(m, deep); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// number is a number and how the language writes it.
type number struct {
	n     float64
	words string
}

func (n number) String() string { return n.words }

func amount(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, true
	case int:
		return float64(v), true
	case int64:
		return float64(v), true
	case uint32:
		return float64(v), true
	case number:
		return v.n, true
	}
	return 0, false
}

// funcs are what a sentence may use.
func (l *Localizer) funcs(deep int) template.FuncMap {
	return template.FuncMap{
		"all":  func(words []string) string { return string(l.And(texts(words))) },
		"any":  func(words []string) string { return string(l.Or(texts(words))) },
		"join": func(between string, words []string) string { return strings.Join(words, between) },
		"count": func(key string, n number) (string, error) {
			return l.words(key, job.Args{"n": n}, deep-1)
		},
	}
}

func texts(words []string) []Text {
	out := make([]Text, len(words))
	for i, w := range words {
		out[i] = Text(w)
	}
	return out
}

// bookFiles lists the files of sentences of one language, without their ending.
func bookFiles(from fs.FS, lang string) []string {
	entries, err := fs.ReadDir(from, lang)
	if err != nil {
		return nil // no folder of this language
	}
	var out []string
	for _, e := range entries {
		if name, ok := strings.CutSuffix(path.Base(e.Name()), ".toml"); ok && !ignored(e.Name()) {
			out = append(out, name)
		}
	}
	return out
}
