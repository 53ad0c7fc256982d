package tagger

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Act is what a sentence does.
type Act uint8

// The acts. A sentence may do several things, or none.
const (
	Yes    Act = iota // agrees that the library prints at the offer
	No                // gives the job up, or says no to the offer
	If                // makes it depend on something, postpones, takes a yes back
	Ask               // asks something that wants an answer
	Wish              // says how or how many it should be
	Tell              // tells what changes nothing of the print
	Polite            // greets, thanks, signs
	Doubt             // complains, mocks, objects
	Acts              // how many there are
)

var actNames = [Acts]string{"yes", "no", "if", "ask", "wish", "tell", "polite", "doubt"}

func (a Act) String() string { return actNames[a] }

// Role is what a word stands for.
type Role uint8

// The roles. None is a word that settles nothing of the print.
const (
	None      Role = iota
	Copies         // how many of a part
	Total          // a sum over several counts
	Colour         // a wanted colour
	NotColour      // a refused one
	Size           // a wished length with its unit
	Scale          // a wished factor
	Material       //
	Infill         //
	Date           // the day by which it is needed
	Phone          //
	Card           //
	Pickup         // the branch that is wanted
	Part           // what the patron calls a part
	Old            // a value that no longer holds
	Roles          // how many there are
)

var roleNames = [Roles]string{"", "copies", "total", "colour", "notcolour", "size", "scale", "material", "infill", "date", "phone", "card", "pickup", "part", "old"}

func (r Role) String() string { return roleNames[r] }

// Marked is a letter with what a reader marked in it.
type Marked struct {
	Name, Language string
	Writer         string // the file it stands in
	Answer         bool
	ActsOnly       bool // values are not marked in it
	Alone          bool // a single sentence of an answer
	Sentences      []MarkedSentence
}

// MarkedSentence is one sentence, with its acts and the roles of its words.
type MarkedSentence struct {
	Text  string
	Acts  [Acts]bool
	Spans []Span
}

// Span is bytes Start..End-1 of a text and their role. P is how sure it is, 0 to 1.
type Span struct {
	Start, End int
	Role       Role
	P          float64
}

// ParseMarked reads letters in the form of testdata/wishes/marked. An error says
// which line is at fault.
func ParseMarked(text string) ([]Marked, error) {
	var out []Marked
	for n, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		head, isHead := strings.CutPrefix(line, "=== ")
		switch f := strings.Fields(head); {
		case line == "" || strings.HasPrefix(line, "#"):
		case isHead && len(f) == 3 && slices.Contains([]string{"answer", "first", "acts", "sentences"}, f[2]):
			out = append(out, Marked{Name: f[0], Language: f[1], Answer: f[2] != "first", ActsOnly: f[2] == "acts" || f[2] == "sentences", Alone: f[2] == "sentences"})
		case isHead || len(out) == 0:
			return nil, fmt.Errorf("line %d: want \"=== name language answer|first|acts|sentences\"", n+1)
		default:
			s, err := parseSentence(line)
			if err != nil {
				return nil, fmt.Errorf("line %d: %w", n+1, err)
			}
			if l := out[len(out)-1]; l.Alone && len(l.Sentences) > 0 {
				l.Sentences = nil
				out = append(out, l)
			}
			l := &out[len(out)-1]
			l.Sentences = append(l.Sentences, s)
		}
	}
	return out, nil
}

func parseSentence(line string) (MarkedSentence, error) {
	var s MarkedSentence
	acts, text, ok := strings.Cut(line, "|")
	if !ok {
		return s, fmt.Errorf("no sign | behind the acts")
	}
	for _, name := range strings.Split(acts, "+") {
		a := slices.Index(actNames[:], strings.TrimSpace(name))
		if a < 0 {
			return s, fmt.Errorf("no act %q", strings.TrimSpace(name))
		}
		s.Acts[a] = true
	}
	return s, s.marks(strings.TrimSpace(text))
}

// marks takes the "[words|role]" out of a text. A bracket without a role is the
// writer's own.
func (s *MarkedSentence) marks(text string) error {
	var b strings.Builder
	for text != "" {
		open := strings.IndexByte(text, '[')
		if open < 0 {
			break
		}
		end := strings.IndexByte(text[open:], ']')
		words, role, ok := strings.Cut(text[open+1:open+max(end, 1)], "|")
		if end < 0 || !ok {
			b.WriteString(text[:open+1])
			text = text[open+1:]
			continue
		}
		r := slices.Index(roleNames[:], strings.TrimSpace(role))
		if r <= 0 {
			return fmt.Errorf("no role %q", role)
		}
		b.WriteString(text[:open])
		s.Spans = append(s.Spans, Span{Start: b.Len(), End: b.Len() + len(words), Role: Role(r), P: 1})
		b.WriteString(words)
		text = text[open+end+1:]
	}
	b.WriteString(text)
	s.Text = b.String()
	return nil
}

// roles gives each token of the sentence its role.
func (s *MarkedSentence) roles(toks []token) []Role {
	out := make([]Role, len(toks))
	for i, t := range toks {
		for _, p := range s.Spans {
			if t.start < p.End && t.end > p.Start {
				out[i] = p.Role
			}
		}
	}
	return out
}

// ReadMarked reads all letters of a folder, by the names of its files, and the
// SHA-256 of their text.
func ReadMarked(folder string) (letters []Marked, sum [32]byte, err error) {
	files, err := filepath.Glob(filepath.Join(folder, "*.txt"))
	if err != nil {
		return nil, sum, err
	}
	h := sha256.New()
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			return nil, sum, err
		}
		ls, err := ParseMarked(string(b))
		if err != nil {
			return nil, sum, fmt.Errorf("%s: %w", file, err)
		}
		for k := range ls {
			ls[k].Writer = filepath.Base(file)
		}
		letters = append(letters, ls...)
		h.Write(b)
	}
	return letters, [32]byte(h.Sum(nil)), nil
}

// ReadAll reads the marked letters and the more sentences of testdata/wishes, and the
// SHA-256 of both.
func ReadAll(folder string) (letters, more []Marked, sum [32]byte, err error) {
	letters, one, err := ReadMarked(filepath.Join(folder, "marked"))
	if err != nil {
		return nil, nil, sum, err
	}
	more, two, err := ReadMarked(filepath.Join(folder, "sentences"))
	return letters, more, sha256.Sum256(slices.Concat(one[:], two[:])), err
}
