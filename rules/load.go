package rules

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"meshclerk/intake/job"
)

//go:embed *.toml
var builtin embed.FS

// maxFile bounds a rule file; the built-in ones are a few kilobytes.
const maxFile = 1 << 20

// Default returns the built-in rules: those of the invented Larkfield Public
// Library, which the demo and the tests use. A test guards that they are valid.
func Default() *Rules {
	r, err := Load("")
	if err != nil {
		panic("the built-in rules are broken: " + err.Error())
	}
	return r
}

// Load reads the house rules. Each file in dir replaces the built-in file of
// the same name; an empty dir means the built-in rules. The error is Problems
// when the files themselves are wrong, with every problem that was found.
func Load(dir string) (*Rules, error) {
	l := loader{rules: &Rules{}, files: map[string]*source{}, broken: map[string]bool{}}
	if err := l.read(dir); err != nil {
		return nil, err
	}
	l.decode()
	l.check()
	if len(l.problems) > 0 {
		return nil, l.sorted()
	}
	l.rules.Hash = l.hash()
	l.rules.sources = l.files
	return l.rules, nil
}

// Files lists the names of the rule files in the order they are read.
func Files() []string {
	var names []string
	for _, t := range targets(&Rules{}) {
		names = append(names, t.file)
	}
	return names
}

// Builtin returns the text of a built-in rule file, to be copied and changed.
func Builtin(name string) ([]byte, error) {
	b, err := builtin.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("there is no rule file %s (there are: %s)", name, strings.Join(Files(), ", "))
	}
	return b, nil
}

// Fault makes an error about a key of a loaded rule file, in the same form as
// Load's own, for rooms that understand a value better than this one, e.g.
// Fault("checks.toml", "own[0].when", "unknown measure heigth_mm", "did you mean height_mm?").
func (r *Rules) Fault(file, key, text, hint string) error {
	s, ok := r.sources[file]
	if !ok {
		return Problem{File: file, Text: job.Plain(text), Hint: job.Plain(hint)}
	}
	at, _ := s.find(key)
	return s.problem(at, job.Plain(text), job.Plain(hint))
}

// loader gathers the problems of one Load.
type loader struct {
	rules    *Rules
	files    map[string]*source
	problems Problems
	broken   map[string]bool // files that were not understood in full
}

// target says which file fills which part of the rules.
type target struct {
	file string
	into any
	free bool // keys may be left out: the file is a list of what the house added or changed
}

func targets(r *Rules) []target {
	return []target{
		{"library.toml", &r.Library, false},
		{"printers.toml", &printerFile{&r.Printers}, false},
		{"materials.toml", &materialFile{&r.Materials}, false},
		{"printing.toml", &r.Printing, false},
		{"prices.toml", &r.Prices, false},
		{"limits.toml", &r.Limits, false},
		{"agreement.toml", &r.Agreement, false},
		{"mailbox.toml", &r.Mailbox, false},
		{"caps.toml", &r.Caps, false},
		{"checks.toml", &r.Checks, true},
		{"words.toml", &r.Words, true},
		{"refusals.toml", &refusalFile{&r.Refusals}, false},
	}
}

type printerFile struct {
	Printers *[]Printer `toml:"printer"`
}

type materialFile struct {
	Materials *[]Material `toml:"material"`
}

// read fetches every file, from dir when it is there, else the built-in one.
func (l *loader) read(dir string) error {
	for _, name := range Files() {
		b, err := builtin.ReadFile(name)
		if err == nil {
			l.files[name] = &source{name: name, path: "built-in " + name, data: b}
		}
	}
	if dir == "" {
		return nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("the rules folder cannot be read: %w (give a folder with .toml files, or none for the built-in rules)", err)
	}
	for _, e := range entries {
		if err := l.override(dir, e); err != nil {
			return err
		}
	}
	return nil
}

// override takes one entry of the rules folder.
func (l *loader) override(dir string, e fs.DirEntry) error {
	name, path := e.Name(), filepath.Join(dir, e.Name())
	if strings.HasPrefix(name, ".") || strings.HasSuffix(name, "~") || e.IsDir() {
		return nil
	}
	if !slices.Contains(Files(), name) {
		l.problems = append(l.problems, Problem{File: path, Text: job.Say("rules.no-rule-file", nil), Hint: didYouMean(name, Files())})
		return nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("the rule file cannot be read: %w", err)
	}
	if info.Size() > maxFile {
		l.problems = append(l.problems, Problem{File: path, Text: job.Say("rules.file-too-large", job.Args{"bytes": info.Size(), "most": maxFile})})
		return nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("the rule file cannot be read: %w", err)
	}
	l.files[name] = &source{name: name, path: path, data: b}
	return nil
}

// decode fills the rules from the files and reports unknown and missing keys.
func (l *loader) decode() {
	for _, t := range targets(l.rules) {
		if s := l.files[t.file]; s != nil {
			before := len(l.problems)
			l.decodeFile(s, t)
			l.broken[t.file] = len(l.problems) > before
		}
	}
}

func (l *loader) decodeFile(s *source, t target) {
	s.data = bytes.TrimPrefix(s.data, []byte("\xef\xbb\xbf")) // some editors begin a file with a byte order mark
	s.index()
	var misspelt []string
	err := toml.NewDecoder(bytes.NewReader(s.data)).DisallowUnknownFields().Decode(t.into)
	if strict, ok := errors.AsType[*toml.StrictMissingError](err); ok {
		misspelt = l.unknown(s, t.into, strict)
	} else if bad, ok := errors.AsType[*toml.DecodeError](err); ok {
		l.syntax(s, t.into, bad)
		return
	} else if err != nil {
		l.problems = append(l.problems, Problem{File: s.path, Text: job.Plain(err.Error())})
		return
	}
	if !t.free {
		l.missing(s, "", reflect.TypeOf(t.into).Elem(), misspelt)
	}
}

// syntax reports a file that is not TOML, or of a value of the wrong kind.
func (l *loader) syntax(s *source, into any, bad *toml.DecodeError) {
	row, col := bad.Position()
	at := place{s.lineStart(row) + col - 1, 1}
	says := strings.TrimPrefix(bad.Error(), "toml: ") // the reader's own words
	text, hint := job.Plain(says), job.Say("rules.hint.quotes", nil)
	if key := bad.Key(); len(key) > 0 {
		if t := typeAt(reflect.TypeOf(into).Elem(), key); t != nil && strings.Contains(says, "cannot decode") {
			text, hint = job.Say("rules.kind", job.Args{"key": key[len(key)-1], "kind": kindWord(t)}), none
		}
	}
	l.problems = append(l.problems, s.problem(at, text, hint))
}

// replaced has the keys that stand in place of those that earlier versions had.
var replaced = map[string]string{
	"printers.toml outer_wall":  "outside",
	"printers.toml inner_wall":  "shells",
	"printers.toml skin":        "solid",
	"printing.toml skin_layers": "solid_layers",
	"printing.toml top_skin":    "solid_top",
	"caps.toml check_seconds":   "check_work",
}

// insteadOf says how the key is written that stands in place of an earlier one.
func insteadOf(key string) job.Message {
	if key == "check_work" { // it counts something else
		return job.Say("rules.hint.check-work", nil)
	}
	return job.Say("rules.hint.renamed", job.Args{"key": key})
}

// unknown reports each key that no rule has, with the nearest one that a rule
// has; it returns those that were near, since they are misspelt and not missing.
func (l *loader) unknown(s *source, into any, strict *toml.StrictMissingError) (misspelt []string) {
	for _, e := range strict.Errors {
		row, col := e.Position()
		key := e.Key()
		name := key[len(key)-1]
		known := keysOf(typeAt(reflect.TypeOf(into).Elem(), key[:len(key)-1]))
		at := place{s.lineStart(row) + col - 1, len(name)}
		if now, was := replaced[s.name+" "+name]; was {
			l.problems = append(l.problems, s.problem(at, job.Say("rules.no-longer", job.Args{"key": name}), insteadOf(now)))
			misspelt = append(misspelt, now)
			continue
		}
		l.problems = append(l.problems, s.problem(at, job.Say("rules.unknown-key", job.Args{"key": name}), didYouMean(name, known)))
		misspelt = append(misspelt, Nearest(name, known))
	}
	return misspelt
}

// sorted puts the problems into the order of files and lines.
func (l *loader) sorted() Problems {
	slices.SortStableFunc(l.problems, func(a, b Problem) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line))
	})
	return l.problems
}

// lineStart is the offset of a line, counted from 1.
func (s *source) lineStart(row int) int {
	offset := 0
	for ; row > 1; row-- {
		n := bytes.IndexByte(s.data[offset:], '\n')
		if n < 0 {
			return len(s.data)
		}
		offset += n + 1
	}
	return offset
}

// missing reports each key that must be there and is not.
func (l *loader) missing(s *source, path string, t reflect.Type, misspelt []string) {
	for f := range fields(element(t)) {
		key := join(path, f.name)
		at, found := s.find(key)
		switch {
		case found:
			l.missingInside(s, key, f.typ, misspelt)
		case !f.optional && !slices.Contains(misspelt, f.name):
			p := Problem{File: s.path, Text: job.Say("rules.missing", job.Args{"key": f.name})}
			if path != "" {
				p = s.problem(at, job.Say("rules.missing-here", job.Args{"key": f.name}), none)
			}
			p.Hint = job.Say("rules.hint.add-line", job.Args{"key": f.name, "file": s.name})
			l.problems = append(l.problems, p)
		}
	}
}

// missingInside looks into tables, and into each table of an array.
func (l *loader) missingInside(s *source, key string, t reflect.Type, misspelt []string) {
	switch {
	case element(t).Kind() != reflect.Struct:
	case t.Kind() != reflect.Pointer && t.Kind() != reflect.Slice:
		l.missing(s, key, t, misspelt)
	default:
		for i := 0; ; i++ {
			item := fmt.Sprintf("%s[%d]", key, i)
			if _, ok := s.keys[item]; !ok {
				return
			}
			l.missing(s, item, element(t), misspelt)
		}
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// hash is the SHA-256 over all files with their names and lengths.
func (l *loader) hash() string {
	h := sha256.New()
	for _, name := range Files() {
		if s := l.files[name]; s != nil {
			fmt.Fprintf(h, "%s %d\n", name, len(s.data))
			h.Write(s.data)
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}
