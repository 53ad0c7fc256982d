package templates

import (
	"fmt"
	"slices"
	"text/template/parse"

	"golang.org/x/text/feature/plural"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// Check says every sentence in every language with made-up arguments, and gives what
// went wrong as rules.Problems, or nil.
func (b *Book) Check() error {
	var problems rules.Problems
	for _, lang := range b.Languages() {
		l := b.In(lang, "en-CA", "CAD")
		for _, key := range b.Keys() {
			for _, n := range []int{1, 2} {
				if err := l.Missing(job.Say(key, b.SampleArgs(key, n))); err != nil {
					problems = append(problems, rules.Problem{File: lang, Text: job.Plain(fmt.Sprintf("the sentence %s: %v", key, err))})
					break
				}
			}
		}
	}
	if len(problems) > 0 {
		return problems
	}
	return nil
}

// SampleArgs makes up what a sentence may be given, with n wherever it counts.
func (b *Book) SampleArgs(key string, n int) job.Args {
	s := b.languages[english][key]
	if s == nil || len(s.args) == 0 {
		return nil
	}
	lists, counts := used(s)
	out := job.Args{}
	for _, a := range s.args {
		switch {
		case slices.Contains(lists, a):
			out[a] = []string{"LP-000001", "LP-000002"}
		case slices.Contains(counts, a) || a == "n":
			out[a] = n
		default:
			out[a] = "‹" + a + "›"
		}
	}
	return out
}

// used lists the arguments of a sentence that are lists and those that are counted.
func used(s *sentence) (lists, counts []string) {
	for _, form := range []plural.Form{plural.Other, plural.One} {
		if t := s.forms[form]; t != nil {
			calls(t.Root, func(name string, args []parse.Node) {
				last, ok := args[len(args)-1].(*parse.FieldNode)
				switch {
				case !ok:
				case name == "all" || name == "any" || name == "join":
					lists = append(lists, last.Ident[0])
				case name == "count":
					counts = append(counts, last.Ident[0])
				}
			})
		}
	}
	return lists, counts
}

// calls goes through the functions that a sentence calls.
func calls(n parse.Node, see func(name string, args []parse.Node)) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n == nil {
			return
		}
		for _, c := range n.Nodes {
			calls(c, see)
		}
	case *parse.IfNode:
		calls(n.Pipe, see)
		calls(n.List, see)
		calls(n.ElseList, see)
	case *parse.ActionNode:
		calls(n.Pipe, see)
	case *parse.PipeNode:
		for _, c := range n.Cmds {
			if id, ok := c.Args[0].(*parse.IdentifierNode); ok && len(c.Args) > 1 {
				see(id.Ident, c.Args[1:])
			}
		}
	}
}

// FilledIn reports whether another sentence takes this one in.
func (b *Book) FilledIn(key string) bool {
	for _, s := range b.languages[english] {
		taken := false
		for _, t := range s.forms {
			calls(t.Root, func(name string, args []parse.Node) {
				of, ok := args[0].(*parse.StringNode)
				taken = taken || name == "count" && ok && of.Text == key
			})
		}
		if taken {
			return true
		}
	}
	return false
}
