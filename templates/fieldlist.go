package templates

import (
	"bytes"
	"slices"
	"strconv"
	"strings"
	"text/template"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// Given is one name that a text may have, with what it gives for one letter.
type Given struct {
	Kind    string `json:"kind"` // "field", "condition" or "list"
	Written string `json:"written"`
	What    string `json:"what,omitempty"`  // what it gives, in general
	Gives   string `json:"gives,omitempty"` // for this letter; "" for nothing
	Of      string `json:"of,omitempty"`    // of what else than the letter it is known
}

// longestGiven is how much of what a field gives is shown, in characters.
const longestGiven = 60

// Fields lists the names that a text or piece may have, with what they give for a
// letter. What only one line of a list knows, gives nothing here.
func (s *Set) Fields(language, name string, d *Data) ([]Given, error) {
	t, err := s.Get(language, name)
	if err != nil {
		piece, wrong := s.GetPiece(language, name)
		if wrong != nil {
			return nil, err
		}
		if t, err = s.Get(language, append(slices.Clone(piece.UsedBy), s.Names()...)[0]); err != nil {
			return nil, err
		}
	}
	own, err := counted(t.parsed)
	if err != nil {
		return nil, err
	}
	l := &lister{own: own, d: d, say: s.book.In(t.Language, t.Language, ""), at: map[string]string{"letter": "$", "part": "$.Part"}}
	if of := givenTo[name]; of != "" {
		if l.at = map[string]string{of: "$.Part"}; of != "part" {
			l.at = map[string]string{of: ""}
		}
	}
	return l.list(name), nil
}

// lister gathers the names of one text.
type lister struct {
	own *template.Template
	d   *Data
	say *Localizer
	at  map[string]string // where each kind of thing is that the text knows by itself; "" for nowhere here
}

func (l *lister) list(text string) (out []Given) {
	add := func(n Given, of string) {
		if _, here := l.at[of]; !here {
			n.Of, n.Gives = l.say.Word("fields.thing."+of), ""
		}
		if !slices.ContainsFunc(out, func(was Given) bool {
			return was.Kind == n.Kind && was.Written == n.Written && (was.Of == n.Of || was.Of == "")
		}) {
			out = append(out, n)
		}
	}
	for _, f := range fieldList {
		if len(f.only) > 0 && !strings.HasPrefix(text, "_") && !slices.Contains(f.only, text) {
			continue
		}
		gives := l.filled("{{if "+has(f)+"}}{{"+f.show+"}}{{end}}", f.of)
		add(Given{"field", "{" + l.say.Word("fields.name."+f.id) + "}", l.say.Word("fields.what." + f.id), gives, ""}, f.of)
	}
	for _, w := range conditionList {
		gives := ""
		if l.filled("{{if "+w.test+"}}yes{{end}}", w.of) != "" {
			gives = l.say.Word("fields.word.yes")
		}
		add(Given{"condition", "[" + l.say.Word("fields.when."+w.id) + "]", "", gives, ""}, w.of)
	}
	for _, each := range loopList {
		count := 0
		for _, over := range each.over {
			n, _ := strconv.Atoi(l.filled("{{len "+over+"}}", each.of))
			count += n
		}
		gives := ""
		if count > 0 {
			gives = strconv.Itoa(count)
		}
		add(Given{"list", "[" + l.say.Word("fields.each."+each.id) + "]", "", gives, ""}, each.of)
	}
	slices.SortStableFunc(out, func(a, b Given) int { return order(a) - order(b) })
	return out
}

// order puts what the whole letter knows first.
func order(n Given) int {
	if n.Of != "" {
		return 1
	}
	return 0
}

// has is what is empty when a field gives nothing.
func has(f field) string {
	if f.has == "" {
		return f.show
	}
	return f.has
}

// filled works out an expression for the letter; "" when its thing is not here.
func (l *lister) filled(expr, of string) string {
	at := l.at[of]
	if at == "" {
		return ""
	}
	t, err := l.own.New("_given").Parse(fill(expr, at))
	if err != nil {
		return ""
	}
	var b bytes.Buffer
	if err := t.Execute(&limited{w: &b, left: maxOutput}, l.d); err != nil {
		return ""
	}
	return plain.Shorten(unescape(plain.OneLine(settle(b.String()))), longestGiven)
}

// Sample gives the data of one of the samples.
func (s *Set) Sample(language, name string) (*Data, error) {
	var names []string
	for _, sample := range s.Samples(language) {
		if sample.Name == name {
			return &sample.Data, nil
		}
		names = append(names, sample.Name)
	}
	return nil, job.Refuse(job.Say("mistakes.no-sample", job.Args{"name": name, "names": names}))
}
