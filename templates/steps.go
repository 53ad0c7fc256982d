package templates

import (
	"errors"
	"fmt"
	"text/template"
	"text/template/parse"

	"meshclerk/intake/job"
)

// A text is filled in within a bounded number of steps, so that no text, and no
// letter about very many things, keeps the robot busy: text/template itself can be
// bounded by its output alone, and loops within loops need put out nothing.
//
// A step is a turn of a {{range}}, a text taken in with {{template}}, or anything else
// in double braces. The loader puts a call of stepName before each, and every time a
// text is filled in that name stands for a counter of its own. What one step makes is
// bounded too: the functions that make text of others give at most mostMade bytes.
const (
	mostSteps = 50_000
	mostMade  = 8 << 10
	stepName  = "_step"
)

var (
	errTooManySteps = job.Refuse(job.Say("mistakes.too-many-steps", job.Args{"most": mostSteps}))
	errMadeTooLong  = job.Refuse(job.Say("mistakes.made-too-long", job.Args{"most": mostMade}))
)

// counted gives a set of texts whose steps are counted from none.
func counted(t *template.Template) (*template.Template, error) {
	own, err := t.Clone()
	if err != nil {
		return nil, err
	}
	left := mostSteps
	return own.Funcs(template.FuncMap{stepName: func() (string, error) {
		if left--; left < 0 {
			return "", errTooManySteps
		}
		return "", nil
	}}), nil
}

// ownError is the part of an error of text/template that a person needs.
func ownError(err error) error {
	for _, own := range []error{errTooManySteps, errMadeTooLong, errTooLong} {
		if errors.Is(err, own) {
			return own
		}
	}
	return err
}

// bounded are the functions of text/template that make text, with what they make bounded.
func bounded() template.FuncMap {
	short := func(s string) (string, error) {
		if len(s) > mostMade {
			return "", errMadeTooLong
		}
		return s, nil
	}
	of := func(f func(...any) string) func(...any) (string, error) {
		return func(args ...any) (string, error) { return short(f(args...)) }
	}
	return template.FuncMap{
		"print": of(fmt.Sprint), "println": of(fmt.Sprintln),
		"html": of(template.HTMLEscaper), "js": of(template.JSEscaper), "urlquery": of(template.URLQueryEscaper),
		"printf": func(format string, args ...any) (string, error) { return short(fmt.Sprintf(format, args...)) },
		stepName: func() string { return "" },
	}
}

// countSteps puts a call of stepName into every text and every loop of a set, and
// before everything in them that is worked out.
func countSteps(all *template.Template) error {
	call, err := template.New("").Funcs(bounded()).Parse("{{" + stepName + "}}")
	if err != nil {
		return err
	}
	for _, t := range all.Templates() {
		if t.Tree != nil {
			countIn(t.Root, call.Root.Nodes[0])
		}
	}
	return nil
}

func countIn(list *parse.ListNode, step parse.Node) {
	if list == nil {
		return
	}
	counted := []parse.Node{step.Copy()}
	for _, n := range list.Nodes {
		switch n := n.(type) {
		case *parse.TextNode, *parse.CommentNode:
			counted = append(counted, n)
			continue
		case *parse.IfNode:
			countIn(n.List, step)
			countIn(n.ElseList, step)
		case *parse.WithNode:
			countIn(n.List, step)
			countIn(n.ElseList, step)
		case *parse.RangeNode:
			countIn(n.List, step)
			countIn(n.ElseList, step)
		}
		counted = append(counted, step.Copy(), n)
	}
	list.Nodes = counted
}
