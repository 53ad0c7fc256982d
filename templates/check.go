package templates

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"text/template"
	"text/template/parse"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// checker follows a parsed text with the types of Data, so that a field which
// does not exist is found at load, also in a branch that no sample takes.
type checker struct {
	l      *loader
	all    *template.Template
	lang   string
	src    *source
	seen   map[string]bool // piece and type already checked
	pieces map[string]bool
	funcs  map[string]reflect.Type
}

// scope is what stands for the dot and the variables at a place.
type scope struct {
	dot  reflect.Type
	vars map[string]reflect.Type
}

// check looks at a text and the pieces it takes in, and gives the names of those pieces, sorted.
func (l *loader) check(all *template.Template, lang string, s *source) []string {
	c := &checker{l: l, all: all, lang: lang, src: s, seen: map[string]bool{}, pieces: map[string]bool{}, funcs: map[string]reflect.Type{}}
	for name, f := range funcs(lang) {
		c.funcs[name] = reflect.TypeOf(f).Out(0)
	}
	data := reflect.TypeFor[*Data]()
	c.tree(s.name, scope{data, map[string]reflect.Type{"$": data}})
	return slices.Sorted(maps.Keys(c.pieces))
}

func (c *checker) tree(name string, sc scope) {
	if t := c.all.Lookup(name); t != nil && t.Tree != nil {
		c.list(t.Root, sc)
	}
}

func (c *checker) list(n *parse.ListNode, sc scope) {
	if n == nil {
		return
	}
	for _, node := range n.Nodes {
		c.node(node, sc)
	}
}

func (c *checker) node(n parse.Node, sc scope) {
	switch n := n.(type) {
	case *parse.ActionNode:
		c.pipe(n.Pipe, sc)
	case *parse.IfNode:
		c.pipe(n.Pipe, sc)
		c.list(n.List, sc.inner())
		c.list(n.ElseList, sc.inner())
	case *parse.WithNode:
		in := sc.inner()
		in.dot = c.pipe(n.Pipe, in)
		c.list(n.List, in)
		c.list(n.ElseList, sc.inner())
	case *parse.RangeNode:
		c.loop(n, sc)
	case *parse.TemplateNode:
		c.piece(n, sc)
	}
}

// inner is a scope within: variables declared there end there.
func (s scope) inner() scope { return scope{s.dot, maps.Clone(s.vars)} }

func (c *checker) loop(n *parse.RangeNode, sc scope) {
	in := sc.inner()
	before := len(c.l.problems)
	item := elem(c.pipe(n.Pipe, in))
	if item == nil && len(c.l.problems) == before {
		c.tell(n, n.Pipe.String(), job.Say("mistakes.range", nil), nil)
	}
	in.dot = item
	switch decl := n.Pipe.Decl; len(decl) {
	case 1:
		in.vars[decl[0].Ident[0]] = item
	case 2:
		in.vars[decl[0].Ident[0]] = reflect.TypeFor[int]()
		in.vars[decl[1].Ident[0]] = item
	}
	c.list(n.List, in)
	c.list(n.ElseList, sc.inner())
}

func elem(t reflect.Type) reflect.Type {
	if t == nil {
		return nil
	}
	switch t.Kind() {
	case reflect.Slice, reflect.Array, reflect.Map:
		return t.Elem()
	}
	return nil
}

// piece checks a text that is taken in, with the type it is given.
func (c *checker) piece(n *parse.TemplateNode, sc scope) {
	var dot reflect.Type
	if n.Pipe != nil {
		dot = c.pipe(n.Pipe, sc)
	}
	src := c.l.sources[c.lang][n.Name]
	switch {
	case src == nil || !strings.HasPrefix(n.Name, "_"):
		c.tell(n, n.Name, job.Say("mistakes.no-piece", job.Args{"piece": n.Name}), c.pieceNames())
		return
	case c.all.Lookup(n.Name) == nil:
		return // its syntax error was told already
	}
	c.pieces[n.Name] = true
	key := fmt.Sprint(n.Name, dot)
	if c.seen[key] {
		return
	}
	c.seen[key] = true
	in := *c
	in.src = src
	in.tree(n.Name, scope{dot, map[string]reflect.Type{"$": dot}})
}

func (c *checker) pieceNames() []string {
	var names []string
	for name := range c.l.sources[c.lang] {
		if strings.HasPrefix(name, "_") {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// pipe gives the type of what a pipeline yields; nil when it cannot be known.
func (c *checker) pipe(p *parse.PipeNode, sc scope) reflect.Type {
	var t reflect.Type
	for _, cmd := range p.Cmds {
		t = c.command(cmd, sc)
	}
	for _, v := range p.Decl {
		sc.vars[v.Ident[0]] = t
	}
	return t
}

// command gives the type of the first word; the others are only checked.
func (c *checker) command(cmd *parse.CommandNode, sc scope) reflect.Type {
	var first reflect.Type
	var args []reflect.Type
	for i, arg := range cmd.Args {
		t := c.operand(arg, sc)
		if i == 0 {
			first = t
		} else {
			args = append(args, t)
		}
	}
	if f, ok := cmd.Args[0].(*parse.IdentifierNode); ok {
		if f.Ident == "plural" {
			c.plural(f, len(args)-1)
		}
		return c.result(f.Ident, args)
	}
	return first
}

// plural checks that there is one word for each form that the language has.
func (c *checker) plural(at parse.Node, words int) {
	forms := formsOf(c.lang)
	if words == len(forms.forms) {
		return
	}
	c.tell(at, "plural", job.Say("mistakes.plural", job.Args{"needs": len(forms.forms), "language": c.lang,
		"forms": strings.Join(forms.names(), ", "), "has": words}), nil)
}

// result is the type that a function gives.
func (c *checker) result(name string, args []reflect.Type) reflect.Type {
	switch name {
	case "eq", "ne", "lt", "le", "gt", "ge", "not":
		return reflect.TypeFor[bool]()
	case "len":
		return reflect.TypeFor[int]()
	case "print", "printf":
		return reflect.TypeFor[string]()
	case "index":
		if len(args) == 2 {
			return elem(args[0])
		}
	case "and", "or":
		for _, a := range args[min(1, len(args)):] {
			if a != args[0] {
				return nil
			}
		}
		if len(args) > 0 {
			return args[0]
		}
	}
	return c.funcs[name]
}

func (c *checker) operand(n parse.Node, sc scope) reflect.Type {
	switch n := n.(type) {
	case *parse.DotNode:
		return sc.dot
	case *parse.FieldNode:
		return c.fields(n, sc.dot, n.Ident)
	case *parse.VariableNode:
		return c.fields(n, sc.vars[n.Ident[0]], n.Ident[1:])
	case *parse.ChainNode:
		return c.fields(n, c.operand(n.Node, sc), n.Field)
	case *parse.PipeNode:
		return c.pipe(n, sc)
	case *parse.StringNode:
		return reflect.TypeFor[string]()
	case *parse.NumberNode:
		return reflect.TypeFor[int]()
	case *parse.BoolNode:
		return reflect.TypeFor[bool]()
	}
	return nil
}

// fields follows a chain of names through structs.
func (c *checker) fields(n parse.Node, t reflect.Type, chain []string) reflect.Type {
	for _, name := range chain {
		if t == nil {
			return nil
		}
		if t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			c.tell(n, name, job.Say("mistakes.single-value", job.Args{"field": name}), nil)
			return nil
		}
		f, ok := t.FieldByName(name)
		if !ok {
			c.tell(n, name, job.Say("mistakes.no-field", job.Args{"field": name}), fieldNames(t))
			return nil
		}
		t = f.Type
	}
	return t
}

func fieldNames(t reflect.Type) []string {
	var names []string
	for i := range t.NumField() {
		names = append(names, t.Field(i).Name)
	}
	return names
}

// tell notes a problem at a node, with the nearest known name.
func (c *checker) tell(n parse.Node, word string, text job.Message, known []string) {
	if inWords(c.src.text) && slices.ContainsFunc(c.l.problems, func(p rules.Problem) bool { return p.File == c.src.path }) {
		return // the compiler told of it at its place
	}
	offset := min(int(n.Position()), len(c.src.code)) // of a text in words the compiler told already
	line := strings.Count(c.src.code[:offset], "\n") + 1
	start := strings.LastIndexByte(c.src.code[:offset], '\n') + 1
	column := offset - start + 1
	// The parser's position may be the end of a chain; the word itself is what to underline.
	if at := nearestOccurrence(c.src.line(line), word, column-1); at >= 0 {
		column = at + 1
	}
	var hint job.Message
	if near := rules.Nearest(word, known); near != "" {
		hint = job.Say("rules.hint.near", job.Args{"word": near})
	} else if len(known) > 0 {
		hint = job.Say("rules.hint.known", job.Args{"known": known})
	}
	p := c.src.problem(line, column, len(word), text, hint)
	if !slices.ContainsFunc(c.l.problems, func(was rules.Problem) bool { return was.Error() == p.Error() }) { // a piece may be taken in by many texts
		c.l.tell(p)
	}
}

// nearestOccurrence finds the word in the line, nearest to where it is said to be.
func nearestOccurrence(line, word string, around int) int {
	best := -1
	for from := 0; ; {
		i := strings.Index(line[from:], word)
		if i < 0 {
			return best
		}
		at := from + i
		if best < 0 || abs(at-around) < abs(best-around) {
			best = at
		}
		from = at + 1
	}
}

func abs(n int) int { return max(n, -n) }

// Check renders every text in every language for every sample, says every sentence,
// and gives what went wrong, or nil. A set never changes, so it is done once.
func (s *Set) Check() error { return s.checked() }

func (s *Set) tried() error {
	var problems rules.Problems
	for _, lang := range s.languages {
		samples := s.Samples(lang)
		for _, name := range s.Names() {
			for _, sample := range samples {
				t := s.texts[lang][name]
				if t == nil {
					continue
				}
				if _, _, err := t.Render(&sample.Data); err != nil {
					problems = append(problems, rules.Problem{File: t.Path, Text: job.Say("mistakes.sample", job.Args{"sample": sample.Name, "why": job.Why(err)})})
				}
			}
		}
	}
	if more, ok := s.book.Check().(rules.Problems); ok {
		problems = append(problems, more...)
	}
	if len(problems) > 0 {
		return problems
	}
	return nil
}
