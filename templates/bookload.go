package templates

import (
	"bytes"
	"cmp"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"slices"
	"strings"
	"text/template"
	"text/template/parse"

	"github.com/pelletier/go-toml/v2/unstable"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// place is where a sentence stands.
type place struct {
	file   *bookFile
	offset int
	length int
}

// bookFile is one file of sentences as it was read.
type bookFile struct {
	path string // as a person would find it
	data []byte
}

// bookLoader gathers the problems of one LoadBook.
type bookLoader struct {
	book     *Book
	original map[string]*sentence       // the built-in English ones, which say what each sentence is given
	files    map[string]map[string]bool // language -> files that have sentences of it
	problems rules.Problems
}

// readAll takes the built-in sentences, then what replaces them.
func (l *bookLoader) readAll(dir string) error {
	if err := l.readTree(builtin, "built-in ", false); err != nil || dir == "" {
		return err
	}
	return l.readTree(os.DirFS(dir), strings.TrimSuffix(dir, "/")+"/", true)
}

// readTree takes one folder of languages, English first: it says which sentences there are.
func (l *bookLoader) readTree(from fs.FS, prefix string, own bool) error {
	entries, err := fs.ReadDir(from, ".")
	if err != nil {
		return fmt.Errorf("the folder of reply texts cannot be read: %w (give a folder with en/*.md and so on, or none for the built-in texts)", err)
	}
	slices.SortStableFunc(entries, func(a, b fs.DirEntry) int { return cmp.Compare(later(a.Name()), later(b.Name())) })
	for _, e := range entries {
		if !e.IsDir() || ignored(e.Name()) {
			continue
		}
		for _, name := range bookFiles(from, e.Name()) {
			file := path.Join(e.Name(), name+".toml")
			b, err := fs.ReadFile(from, file)
			if err != nil {
				return fmt.Errorf("the sentences cannot be read: %w", err)
			}
			l.readFile(e.Name(), name, &bookFile{prefix + file, b}, own)
		}
	}
	return nil
}

func (l *bookLoader) readFile(lang, name string, f *bookFile, own bool) {
	if len(f.data) > maxFile {
		l.problems = append(l.problems, rules.Problem{File: f.path, Text: job.Plain(fmt.Sprintf("the file has %d bytes, more than the %d that a file of sentences may have", len(f.data), maxFile))})
		return
	}
	if l.files[lang] == nil {
		l.files[lang], l.book.languages[lang] = map[string]bool{}, map[string]*sentence{}
	}
	l.files[lang][name] = true
	all := l.written(f)
	if own && len(all) == 0 && !slices.Contains(l.originals(), name) {
		l.tell(place{file: f}, fmt.Sprintf("there is no file of sentences %s.toml, so nothing would read it", name), near(name, l.originals()))
	}
	for _, w := range all {
		l.take(lang, name, w, own)
	}
}

// originals names the files of sentences that there are.
func (l *bookLoader) originals() (names []string) {
	for key := range l.original {
		name, _, _ := strings.Cut(key, ".")
		names = append(names, name)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// written is one sentence, or one plural form of it, as a file has it.
type written struct {
	key  string // of the file's own, e.g. "stray"
	form string // "" or a CLDR category
	text string
	at   place
}

// written lists what stands in a file. Its keys may be dotted, in tables, or both.
func (l *bookLoader) written(f *bookFile) (out []written) {
	p := unstable.Parser{}
	p.Reset(f.data)
	prefix := ""
	for p.NextExpression() {
		switch e := p.Expression(); e.Kind {
		case unstable.Table:
			prefix, _ = dotted("", e.Key())
		case unstable.KeyValue:
			out = append(out, l.entry(f, prefix, e)...)
		default:
			l.tell(place{file: f}, "this is no sentence", "write key = \"sentence\"")
		}
	}
	if err := p.Error(); err != nil {
		at := place{file: f}
		if wrong, ok := err.(*unstable.ParserError); ok {
			r := p.Range(wrong.Highlight)
			at.offset, at.length = int(r.Offset), int(r.Length)
		}
		l.tell(at, "this is no TOML: "+err.Error(), "write key = \"sentence\"")
	}
	return out
}

func dotted(prefix string, key unstable.Iterator) (string, *unstable.Node) {
	var last *unstable.Node
	for key.Next() {
		last = key.Node()
		if prefix != "" {
			prefix += "."
		}
		prefix += string(last.Data)
	}
	return prefix, last
}

func (l *bookLoader) entry(f *bookFile, prefix string, kv *unstable.Node) (out []written) {
	key, node := dotted(prefix, kv.Key())
	at := place{f, int(node.Raw.Offset), int(node.Raw.Length)}
	switch v := kv.Value(); v.Kind {
	case unstable.String:
		return []written{{key, "", string(v.Data), at}}
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			n := it.Node()
			form, of := dotted("", n.Key())
			at := place{f, int(of.Raw.Offset), int(of.Raw.Length)}
			if n.Value().Kind != unstable.String || forms[form] == nil {
				l.tell(at, fmt.Sprintf("%q is no plural form", form), near(form, formNames()))
				continue
			}
			out = append(out, written{key, form, string(n.Value().Data), at})
		}
		return out
	}
	l.tell(at, fmt.Sprintf("%s is no sentence", key), "write it between quotation marks")
	return nil
}

// forms are the plural categories of the Unicode CLDR.
var forms = map[string]*plural.Form{"zero": ptr(plural.Zero), "one": ptr(plural.One), "two": ptr(plural.Two),
	"few": ptr(plural.Few), "many": ptr(plural.Many), "other": ptr(plural.Other)}

func ptr[T any](v T) *T { return &v }

func formNames() []string { return slices.Sorted(maps.Keys(forms)) }

// coloursFile is the one file to which a house may add: each colour of its stock.
const coloursFile = "colours"

// take keeps a sentence. Its key is the file's name and its own; what a language
// other than English, or a folder of the house's own, adds is an error.
func (l *bookLoader) take(lang, file string, w written, own bool) {
	key := file + "." + w.key
	reference := l.original[key]
	if reference == nil && file == coloursFile && (lang != english || own) {
		reference = &sentence{key: key} // one of the house's own, which takes nothing
	}
	if reference == nil && (lang != english || own) {
		l.tell(w.at, fmt.Sprintf("there is no sentence %s", key), near(key, slices.Sorted(maps.Keys(l.original))))
		return
	}
	form, of := plural.Other, w.form
	if of != "" {
		form = *forms[of]
	}
	s := l.book.languages[lang][key]
	if s == nil || s.at.file != w.at.file { // a file of the house's own replaces it whole
		s = &sentence{key: key, forms: map[plural.Form]*template.Template{}, at: w.at}
		l.book.languages[lang][key] = s
		if reference == nil {
			l.original[key] = s
		}
	} else if s.forms[form] != nil {
		l.tell(w.at, fmt.Sprintf("the sentence %s stands here twice", key), "take one away")
		return
	}
	t, args := l.parse(key, w)
	if t == nil {
		return
	}
	s.forms[form] = t
	if w.form != "" {
		args = union(args, []string{"n"})
	}
	s.args = union(s.args, args)
	if reference != nil && reference != s {
		l.surplus(reference, s, args, w)
	}
}

func union(a, b []string) []string {
	all := append(slices.Clone(a), b...)
	slices.Sort(all)
	return slices.Compact(all)
}

// surplus tells of arguments that a translation takes and is not given.
func (l *bookLoader) surplus(reference, s *sentence, args []string, w written) {
	for _, a := range args {
		if !slices.Contains(reference.args, a) {
			l.tell(w.at, fmt.Sprintf("the sentence %s is given no %s", s.key, a), near(a, reference.args))
		}
	}
}

// parse reads one sentence and lists its arguments.
func (l *bookLoader) parse(key string, w written) (*template.Template, []string) {
	if strings.TrimSpace(w.text) == "" {
		l.tell(w.at, fmt.Sprintf("the sentence %s is empty", key), "")
		return nil, nil
	}
	t, err := template.New(key).Funcs((&Localizer{}).funcs(0)).Option("missingkey=error").Parse(w.text)
	if err != nil {
		l.tell(w.at, strings.TrimPrefix(err.Error(), "template: "), "each {{ needs its }}, and each {{if}} its {{end}}")
		return nil, nil
	}
	args, wrong := arguments(t.Root)
	if wrong != "" {
		l.tell(w.at, wrong, "a sentence has fields, if, all, any, join and count only")
		return nil, nil
	}
	return t, args
}

// arguments lists the fields of a sentence, and says what it may not have.
func arguments(n parse.Node) (args []string, wrong string) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n == nil {
			return nil, ""
		}
		for _, c := range n.Nodes {
			more, bad := arguments(c)
			args, wrong = union(args, more), or(wrong, bad)
		}
	case *parse.TextNode, *parse.StringNode, *parse.NumberNode, *parse.IdentifierNode, *parse.CommentNode:
	case *parse.ActionNode:
		return arguments(n.Pipe)
	case *parse.IfNode:
		for _, c := range []parse.Node{n.Pipe, n.List, n.ElseList} {
			more, bad := arguments(c)
			args, wrong = union(args, more), or(wrong, bad)
		}
	case *parse.PipeNode:
		for _, c := range n.Cmds {
			for _, a := range c.Args {
				more, bad := arguments(a)
				args, wrong = union(args, more), or(wrong, bad)
			}
		}
	case *parse.FieldNode:
		if len(n.Ident) > 1 {
			return nil, fmt.Sprintf("%s has no fields of its own", n.Ident[0])
		}
		return n.Ident, ""
	default:
		return nil, fmt.Sprintf("%s has no place in a sentence", n)
	}
	return args, wrong
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// complete tells what a language lacks of the files that it has, and which plural
// forms its counts need.
func (l *bookLoader) complete(lang string) {
	tag, err := language.Parse(lang)
	if err != nil {
		l.problems = append(l.problems, rules.Problem{File: lang, Text: job.Plain(fmt.Sprintf("%q is no language (BCP 47), so its sentences would not be used", lang)), Hint: job.Plain("name the folder as in en, fr or pt-BR")})
		return
	}
	for _, key := range slices.Sorted(maps.Keys(l.original)) {
		reference, s := l.original[key], l.book.languages[lang][key]
		file, _, _ := strings.Cut(key, ".")
		switch {
		case s == nil && l.files[lang][file]:
			l.problems = append(l.problems, rules.Problem{File: lang + "/" + file + ".toml", Text: job.Plain(fmt.Sprintf("the sentence %s is not translated", key)),
				Hint: job.Plain(fmt.Sprintf("it stands in %s", reference.at.file.path))})
		case s == nil:
		default:
			l.whole(tag, reference, s)
		}
	}
}

func (l *bookLoader) whole(tag language.Tag, reference, s *sentence) {
	for _, a := range reference.args {
		if !slices.Contains(s.args, a) && !(a == "n" && len(reference.forms) > 1) {
			l.tell(s.at, fmt.Sprintf("the sentence %s does not say %s", s.key, a), "")
		}
	}
	if s.forms[plural.Other] == nil {
		l.tell(s.at, fmt.Sprintf("the sentence %s lacks its form other", s.key), "")
	}
	if len(reference.forms) < 2 {
		return
	}
	s.args = reference.args // one of its forms may leave the count unsaid
	for name, form := range forms {
		if s.forms[*form] == nil && needs(tag, *form) {
			l.tell(s.at, fmt.Sprintf("the sentence %s lacks its form %s", s.key, name), "")
		}
	}
}

// needs reports whether a language has its own form for some everyday count.
func needs(tag language.Tag, form plural.Form) bool {
	for n := range 200 {
		if plural.Cardinal.MatchPlural(tag, n, 0, 0, 0, 0) == form {
			return true
		}
	}
	return false
}

func near(word string, known []string) string {
	if n := rules.Nearest(word, known); n != "" {
		return "did you mean " + n + "?"
	}
	return ""
}

// tell notes a problem at its place.
func (l *bookLoader) tell(at place, text, hint string) {
	l.problems = append(l.problems, at.problem(job.Plain(text), job.Plain(hint)))
}

// problem is what is wrong at a place, with its line.
func (at place) problem(text, hint job.Message) rules.Problem {
	data := at.file.data
	offset := min(at.offset, len(data))
	start := bytes.LastIndexByte(data[:offset], '\n') + 1
	line, _, _ := bytes.Cut(data[start:], []byte("\n"))
	return rules.Problem{File: at.file.path, Line: bytes.Count(data[:start], []byte("\n")) + 1, Column: offset - start + 1,
		Width: max(1, at.length), Source: strings.TrimSuffix(string(line), "\r"), Text: text, Hint: hint}
}
