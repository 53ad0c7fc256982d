package templates

import (
	"maps"
	"net/url"
	"slices"
	"strings"
	"text/template"
)

// funcs are the functions a reply text may use beside those of text/template.
func funcs(lang string) template.FuncMap {
	l := Locale{Language: lang}
	return template.FuncMap{
		// plural chooses a word by a count: {{plural .Copies "copy" "copies"}}.
		"plural": func(n int, one, more string) string { return many(l.IsPlural(n), one, more) },
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

// link gives an autolink (CommonMark 6.5) for a web address, else plain words.
func link(t Text) string {
	u, err := url.Parse(string(t))
	if err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || strings.ContainsAny(string(t), "<> \t\r\n") {
		return t.String()
	}
	return "<" + string(t) + ">"
}
