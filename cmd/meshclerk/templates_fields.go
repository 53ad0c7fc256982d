package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"meshclerk/templates"
)

type templatesFieldsCmd struct {
	house
	For       string `default:"quote" placeholder:"TEXT" help:"The text, or a piece such as _question; quote otherwise."`
	Job       string `placeholder:"ID" help:"What they give for this job, e.g. LP-000042."`
	Sample    string `default:"full" help:"What they give for this sample, where no job is named."`
	Templates string `placeholder:"DIR" help:"Folder of reply texts; the installation's or the built-in ones otherwise."`
	Language  string `placeholder:"en|fr|es" help:"Another language than the library's first."`
	JSON      bool   `name:"json" help:"As JSON."`
}

func (c *templatesFieldsCmd) Run(e *env) error {
	r, err := c.rules()
	if err != nil {
		return err
	}
	set, err := (&templatesPreviewCmd{house: c.house, Templates: c.Templates}).set(r)
	if err != nil {
		return err
	}
	lang := c.Language
	if lang == "" {
		lang = r.Library.Languages[0]
	}
	if !slices.Contains(set.Languages(), lang) {
		return wrongUse("the library writes no letters in %q", lang)
	}
	d, err := c.data(e, set, lang)
	if err != nil {
		return err
	}
	names, err := set.Fields(lang, c.For, d)
	if err != nil {
		return wrongUse("%w", err)
	}
	if c.JSON {
		return writeJSON(e, names)
	}
	return writeNames(e, names)
}

// data is the letter of a job, or a sample.
func (c *templatesFieldsCmd) data(e *env, set *templates.Set, lang string) (*templates.Data, error) {
	if c.Job == "" {
		return set.Sample(lang, c.Sample)
	}
	o, err := c.office(e)
	if err != nil {
		return nil, err
	}
	defer o.Ledger.Close()
	return o.PreviewData(e.ctx, set, jobID(c.Job), c.For, lang)
}

// groups are the headings of the list, by the kind of name.
var groups = map[string]string{
	"field":     "fields: each gives words",
	"piece":     "pieces: each gives the words of a file of its own",
	"condition": "conditions: yes or no",
	"list":      "lists: a line for each, and how many there are",
}

// writeNames writes the list in groups. What is of one thing in a list has a heading of
// its own.
func writeNames(e *env, names []templates.Given) error {
	var b strings.Builder
	last := ""
	for _, n := range names {
		head := groups[n.Kind]
		if n.Of != "" {
			head = fmt.Sprintf("known in a line about %s", n.Of)
		}
		if head != last {
			fmt.Fprintf(&b, "%s%s\n", strings.Repeat("\n", min(1, b.Len())), head)
			last = head
		}
		gives := n.Gives
		if gives == "" && n.Of == "" {
			gives = "–"
		}
		line := fmt.Sprintf("  %s  %s  %s", padded(n.Written, 44), padded(gives, 48), n.What)
		if n.Of != "" {
			line = fmt.Sprintf("  %s  %s", padded(n.Written, 44), n.What)
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	_, err := e.out.Write([]byte(b.String()))
	return err
}

// padded fills up with spaces, counted in characters.
func padded(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(s)))
}
