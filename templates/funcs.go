package templates

import (
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
	"text/template"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

// funcs are the functions a reply text may use beside those of text/template.
func funcs(lang string) template.FuncMap {
	forms := formsOf(lang)
	return template.FuncMap{
		// plural chooses a word by a count: {{plural .Copies "copy" "copies"}}.
		"plural": forms.choose,
		// picture places the inline picture, when there is one.
		"picture": func(d *Data) string { return string(d.Picture) },
		// link makes a link of a web address from the house rules.
		"link": link,
	}
}

func functionNames() []string {
	return append(slices.Sorted(maps.Keys(funcs("en"))),
		"and", "eq", "ge", "gt", "index", "le", "len", "lt", "ne", "not", "or", "print", "printf")
}

// counting are the plural forms of a language that whole numbers take, in the order of
// the Unicode CLDR: one and other in English; one, few and many in Polish.
type counting struct {
	tag   language.Tag
	forms []plural.Form
}

func formsOf(lang string) counting {
	tag, err := language.Parse(lang)
	if err != nil {
		tag = language.English
	}
	c := counting{tag: tag}
	for _, form := range []plural.Form{plural.Zero, plural.One, plural.Two, plural.Few, plural.Many, plural.Other} {
		if needs(tag, form) {
			c.forms = append(c.forms, form)
		}
	}
	return c
}

// names are the names of the forms, as in the files of sentences.
func (c counting) names() (out []string) {
	for _, form := range c.forms {
		for name, f := range forms {
			if *f == form {
				out = append(out, name)
			}
		}
	}
	return out
}

// choose returns the word for a count, of one word for each form.
func (c counting) choose(n int, words ...string) (string, error) {
	if len(words) != len(c.forms) {
		return "", fmt.Errorf("plural needs %d words in the language %s and has %d", len(c.forms), c.tag, len(words))
	}
	return words[slices.Index(c.forms, plural.Cardinal.MatchPlural(c.tag, n, 0, 0, 0, 0))], nil
}

// link gives an autolink (CommonMark 6.5) for a web address, else plain words.
func link(t Text) string {
	u, err := url.Parse(string(t))
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || strings.ContainsAny(string(t), "<> \t\r\n") {
		return t.String()
	}
	return "<" + string(t) + ">"
}
