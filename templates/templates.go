// Package templates holds the reply texts: one file for each situation and
// language, in Markdown with names of fields in words (wording.go), or with
// text/template fields. The first is compiled to the second.
//
// The first line of a file is "Subject: …", the second is blank, the rest is
// the letter. A file whose name begins with an underscore is a piece that
// others take in with {{template "_name" .}}. The texts are embedded; a folder
// given by the operator replaces them file by file (en/quote.md).
//
// Loading is strict: a syntax error, a field that does not exist, a piece that
// does not exist or a translation that is missing is an error with file, line
// and the nearest known name, and only lists are gone through. So a text that loads
// can be rendered for any letter; Check proves it on the samples. How many steps a
// text may take is bounded (mostSteps).
//
// What a text may show is Data. Its strings are Text: whatever a patron wrote
// comes out as plain words and never as Markdown, HTML or a link.
package templates

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"sync"
	"text/template"
	"unicode"
	"unicode/utf8"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
	"meshclerk/rules"
)

//go:embed */*.md */*.toml
var builtin embed.FS

// maxOutput bounds a rendered letter, in bytes.
const maxOutput = 256 << 10

// Set is every reply text in every language of the house. It is read-only.
type Set struct {
	languages []string
	texts     map[string]map[string]*Template // language -> name
	pieces    map[string]map[string]*Piece    // language -> name
	book      *Book
	unread    rules.Problems // what the house's folder has beside them
	checked   func() error   // what Check gives
}

// Template is one reply text.
type Template struct {
	Name     string // "quote"
	Language string // "en"
	Path     string // as a person would find it
	Source   string
	Hash     string   // SHA-256 of the source and of the pieces it takes in, hex
	Pieces   []string // the pieces it takes in, and those they take in, sorted

	parsed *template.Template
	own    bool // it stands in the house's folder
}

// Piece is a part that reply texts take in.
type Piece struct {
	Name     string // "_closing"
	Language string
	Path     string // as a person would find it
	Source   string
	UsedBy   []string // situations, sorted
	own      bool     // it stands in the house's folder
}

// builtinTexts are the built-in texts in each order of languages that was asked for: read once.
var builtinTexts sync.Map // languages joined -> func() (*Set, error)

// Default returns the built-in texts. A test guards that they are valid.
func Default() *Set {
	s, err := Load("", Languages())
	if err != nil {
		panic("the built-in reply texts are broken: " + err.Error())
	}
	return s
}

// Load reads the reply texts for the given languages. Each file in dir
// replaces the built-in file of the same language and name; an empty dir gives
// the built-in texts. The error is rules.Problems when the texts are wrong.
func Load(dir string, languages []string) (*Set, error) {
	if dir != "" {
		return readTexts(dir, languages)
	}
	read, _ := builtinTexts.LoadOrStore(strings.Join(languages, " "), sync.OnceValues(func() (*Set, error) { return readTexts("", languages) }))
	return read.(func() (*Set, error))()
}

func readTexts(dir string, languages []string) (*Set, error) {
	l := loader{sources: map[string]map[string]*source{}}
	if err := l.read(dir, languages); err != nil {
		return nil, err
	}
	book, err := LoadBook(dir)
	if more, ok := err.(rules.Problems); ok {
		l.problems, book = append(l.problems, more...), DefaultBook() // whose names stand in the texts
	} else if err != nil {
		return nil, err
	}
	l.book = book
	s := &Set{languages: slices.Clone(languages), texts: map[string]map[string]*Template{}, pieces: map[string]map[string]*Piece{}}
	for _, lang := range languages {
		s.texts[lang] = l.parse(lang)
		s.pieces[lang] = l.piecesOf(lang, s.texts[lang])
	}
	if len(l.problems) > 0 {
		return nil, l.problems
	}
	s.book, s.checked = book, sync.OnceValue(s.tried)
	if dir != "" {
		s.unread = unreadIn(dir, s)
	}
	return s, nil
}

// Book gives the sentences that stand beside the reply texts.
func (s *Set) Book() *Book { return s.book }

// Names lists the situations there are texts for, sorted.
func (s *Set) Names() []string {
	for _, lang := range s.languages {
		return slices.Sorted(maps.Keys(s.texts[lang]))
	}
	return nil
}

// Languages lists the languages of the set; the first is the fallback.
func (s *Set) Languages() []string { return slices.Clone(s.languages) }

// Get returns a text. A language the house does not write falls back to its first.
func (s *Set) Get(language, name string) (*Template, error) {
	texts := s.texts[language]
	if texts == nil && len(s.languages) > 0 {
		texts = s.texts[s.languages[0]]
	}
	if t := texts[name]; t != nil {
		return t, nil
	}
	err := fmt.Errorf("there is no reply text named %q", name)
	if near := rules.Nearest(name, s.Names()); near != "" {
		err = fmt.Errorf("%w (did you mean %s?)", err, near)
	}
	return nil, err
}

// Pieces lists the names of all pieces in any language, sorted.
func (s *Set) Pieces() []string {
	names := map[string]bool{}
	for _, pieces := range s.pieces {
		for name := range pieces {
			names[name] = true
		}
	}
	return slices.Sorted(maps.Keys(names))
}

// GetPiece returns a piece as it is written.
func (s *Set) GetPiece(language, name string) (*Piece, error) {
	if p := s.pieces[language][name]; p != nil {
		return p, nil
	}
	return nil, fmt.Errorf("there is no piece %s/%s.md", language, name)
}

// Render fills in a text and gives the subject, as plain words, and the
// letter's Markdown.
func (t *Template) Render(d *Data) (subject, markdown string, err error) {
	var b bytes.Buffer
	own, err := counted(t.parsed)
	if err == nil {
		err = own.Execute(&limited{w: &b, left: maxOutput}, d)
	}
	if err != nil {
		return "", "", &job.Fault{Message: job.Say("mistakes.not-filled", job.Args{"text": t.Path, "why": job.Why(ownError(err))}), Err: ownError(err)}
	}
	first, rest, _ := strings.Cut(settle(b.String()), "\n")
	subject = plain.OneLine(unescape(strings.TrimPrefix(first, subjectPrefix)))
	if subject == "" {
		return "", "", job.Refuse(job.Say("mistakes.empty-subject", job.Args{"text": t.Path}))
	}
	return subject, tidy(rest), nil
}

// Piece fills in one piece, e.g. "_question" with a Question, and gives its
// Markdown on one line.
func (s *Set) Piece(language, name string, data any) (string, error) {
	t, err := s.Get(language, s.Names()[0])
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	own, err := counted(t.parsed)
	if err == nil {
		err = own.ExecuteTemplate(&limited{w: &b, left: maxOutput}, name, data)
	}
	if err != nil {
		return "", &job.Fault{Message: job.Say("mistakes.not-filled", job.Args{"text": name + ".md", "why": job.Why(ownError(err))}), Err: ownError(err)}
	}
	return plain.OneLine(settle(b.String())), nil
}

// settle makes of soft spaces and breaks what they are at their place.
func settle(s string) string {
	if !strings.ContainsAny(s, softSpace+softBreak) {
		return s
	}
	return settleSpaces(besideSpaces(settleBreaks(strings.Trim(s, softSpace+softBreak))))
}

// The same as bytes.
const (
	softSpaceByte = '\x01'
	softBreakByte = '\x02'
)

// settleBreaks makes of each run of breaks, hard and soft, the hard ones in it, or one
// where all are soft. What soft spaces stand among them go; elsewhere a run is made one.
func settleBreaks(s string) []byte {
	out := make([]byte, 0, len(s))
	for i := 0; i < len(s); {
		hard, soft, from := 0, false, i
		for ; i < len(s) && strings.IndexByte("\n"+softSpace+softBreak, s[i]) >= 0; i++ {
			soft = soft || s[i] == softBreakByte
			if s[i] == '\n' {
				hard++
				out = append(out, '\n')
			}
		}
		switch {
		case i == from:
			out = append(out, s[i])
			i++
		case hard == 0 && soft:
			out = append(out, '\n')
		case hard == 0:
			out = append(out, softSpaceByte)
		}
	}
	return out
}

// besideSpaces takes out each soft space that a space stands before or after.
func besideSpaces(s []byte) []byte {
	out := s[:0]
	for i := 0; i < len(s); i++ {
		if pair := s[i:min(i+2, len(s))]; string(pair) == " "+softSpace || string(pair) == softSpace+" " {
			out = append(out, ' ')
			i++
			continue
		}
		out = append(out, s[i])
	}
	return out
}

// settleSpaces takes out each soft space before a stop that ends a word, and makes
// spaces of the others.
func settleSpaces(s []byte) string {
	out := make([]byte, 0, len(s))
	for i := 0; i < len(s); i++ {
		if s[i] != softSpaceByte {
			out = append(out, s[i])
			continue
		}
		end := beforeStop(s[i+1:])
		if end == 0 {
			out = append(out, ' ')
		}
		out = append(out, bytes.ReplaceAll(s[i+1:i+1+end], []byte(softSpace), []byte(" "))...)
		i += end
	}
	return string(out)
}

// beforeStop gives the length of the stop that s begins with and of the character
// after it, which is no letter and no digit; 0 where there is none.
func beforeStop(s []byte) int {
	if len(s) == 0 || strings.IndexByte(".,;?!)", s[0]) < 0 {
		return 0
	}
	r, size := utf8.DecodeRune(s[1:])
	if size > 0 && (unicode.IsLetter(r) || unicode.IsNumber(r)) {
		return 0
	}
	return 1 + size
}

// tidy takes out what the template's own line breaks leave behind: spaces at
// line ends and more than one blank line.
func tidy(s string) string {
	var out []string
	for line := range strings.SplitSeq(s, "\n") {
		line = strings.TrimRight(line, " \t\r")
		if line == "" && (len(out) == 0 || out[len(out)-1] == "") {
			continue
		}
		out = append(out, line)
	}
	return strings.TrimRight(strings.Join(out, "\n"), "\n") + "\n"
}

// limited writes up to a number of bytes and then fails.
type limited struct {
	w    io.Writer
	left int
}

var errTooLong = job.Refuse(job.Say("mistakes.too-long", nil))

func (l *limited) Write(p []byte) (int, error) {
	if len(p) > l.left {
		return 0, errTooLong
	}
	l.left -= len(p)
	return l.w.Write(p)
}

func hash(texts ...string) string {
	h := sha256.New()
	for _, t := range texts {
		fmt.Fprintf(h, "%d\n", len(t))
		io.WriteString(h, t)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// Files lists the built-in texts and pieces, as LANGUAGE/NAME.md, and the files of
// sentences, as LANGUAGE/NAME.toml.
func Files() []string {
	texts, err := fs.Glob(builtin, "*/*.md")
	sentences, also := fs.Glob(builtin, "*/*.toml")
	if err != nil || also != nil {
		return nil // the patterns are fixed and good
	}
	return append(texts, sentences...)
}

// Builtin gives the source of a built-in text or piece, to be copied and changed.
func Builtin(name string) ([]byte, error) {
	b, err := builtin.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("there is no built-in reply text %s", name)
	}
	return b, nil
}
