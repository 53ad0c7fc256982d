package templates

import (
	"slices"
	"strconv"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// vocabulary is what the names of one language mean: its own, and the English ones.
type vocabulary struct {
	fields, whens, loops map[string]string // name, as normal writes it -> id
	openers              []string          // the words that a condition or list begins with
	otherwise, ends      []string
	end                  string
	book                 *Localizer
}

// normal is a name without what does not tell names apart: capitals, kinds of apostrophe and space.
func normal(name string) string {
	name = strings.NewReplacer("’", "'", "\u00a0", " ", "\u202f", " ").Replace(strings.ToLower(name))
	return strings.Join(strings.Fields(name), " ")
}

func (l *loader) vocabulary(lang string) *vocabulary {
	if l.vocabularies == nil {
		l.vocabularies = map[string]*vocabulary{}
	}
	if v := l.vocabularies[lang]; v != nil {
		return v
	}
	if l.book == nil {
		l.book = DefaultBook()
	}
	v := newVocabulary(l.book, lang)
	l.vocabularies[lang] = v
	return v
}

func newVocabulary(b *Book, lang string) *vocabulary {
	v := &vocabulary{fields: map[string]string{}, whens: map[string]string{}, loops: map[string]string{}, book: b.In(lang, lang, "")}
	for _, of := range []*Localizer{v.book, b.In(english, english, "")} { // a language's own come first
		for _, f := range fieldList {
			v.add(v.fields, of.Word("fields.name."+f.id), f.id)
		}
		for _, t := range conditionList {
			v.add(v.whens, of.Word("fields.when."+t.id), t.id)
		}
		for _, l := range loopList {
			v.add(v.loops, of.Word("fields.each."+l.id), l.id)
		}
		v.openers = append(v.openers, normal(of.Word("fields.word.each")))
		for _, t := range conditionList { // "si" and "s'il"
			first, _, _ := strings.Cut(normal(of.Word("fields.when."+t.id)), " ")
			if !slices.Contains(v.openers, first) {
				v.openers = append(v.openers, first)
			}
		}
		v.otherwise = append(v.otherwise, normal(of.Word("fields.word.otherwise")))
		v.ends = append(v.ends, normal(of.Word("fields.word.end")))
	}
	v.end = "[" + v.book.Word("fields.word.end") + "]"
	return v
}

func (v *vocabulary) add(names map[string]string, name, id string) {
	if _, has := names[normal(name)]; !has {
		names[normal(name)] = id
	}
}

func (v *vocabulary) opens(words string) bool {
	return slices.ContainsFunc(v.openers, func(o string) bool { return strings.HasPrefix(normal(words), o+" ") })
}

// condition reads "when …:" at the beginning of words in brackets.
func (c *compiler) condition(text string, at position) (test, rest string, is bool) {
	name, rest, colon := strings.Cut(text, ":")
	if !colon || strings.ContainsAny(name, "[]{}|") || !c.names.opens(name) {
		return "", text, false
	}
	test, _ = c.test(name, at)
	return test, rest, true
}

// test looks up a condition.
func (c *compiler) test(name string, at position) (string, bool) {
	id, known := c.names.whens[normal(name)]
	if known {
		for _, t := range slices.Backward(c.things) {
			for _, w := range conditionList {
				if w.id == id && w.of == t.of {
					return fill(w.test, t.at), true
				}
			}
		}
		for _, w := range conditionList {
			if w.id == id {
				c.elsewhere(name, w.of, at)
				return "true", false
			}
		}
	}
	trimmed := strings.TrimSpace(name)
	c.tell(at.after(name[:strings.Index(name, trimmed)]), len(trimmed), job.Say("mistakes.words-no-condition", job.Args{"name": trimmed}),
		c.hintNear(trimmed, c.here(c.names.whens, conditionOf)))
	return "true", false
}

// rule reads a [when …], [otherwise], [for each …] or [end] at the beginning of a text.
// When it is quiet, it tells of no problem.
func (c *compiler) rule(text string, at position, quiet bool) (r rule, rest string, is bool) {
	if !strings.HasPrefix(text, "[") {
		return r, text, false
	}
	end := closing(text, 0)
	if end < 0 {
		return r, text, false
	}
	inner := text[1:end]
	r.place, r.source, rest = at, text[:end+1], strings.TrimLeft(text[end+1:], " ")
	word := normal(inner)
	switch {
	case strings.ContainsAny(inner, "[]{}|:\n") || strings.HasPrefix(text[end+1:], "("):
		return r, text, false
	case slices.Contains(c.names.otherwise, word):
		r.kind = "otherwise"
	case slices.Contains(c.names.ends, word):
		r.kind = "end"
	case !c.names.opens(inner):
		return r, text, false
	case quiet:
		r.kind = "when"
	default:
		c.look(&r, inner, position{at.line, at.column + 1})
	}
	return r, rest, true
}

// look fills in the list or the condition of a rule.
func (c *compiler) look(r *rule, name string, at position) {
	id, known := c.names.loops[normal(name)]
	if !known {
		r.kind = "when"
		r.test, _ = c.test(name, at)
		return
	}
	for _, t := range slices.Backward(c.things) {
		for _, l := range loopList {
			if l.id == id && l.of == t.of {
				r.kind, r.loop = "each", &l
				for _, over := range l.over {
					r.overs = append(r.overs, fill(over, t.at))
				}
				return
			}
		}
	}
	for _, l := range loopList {
		if l.id == id {
			c.elsewhere(name, l.of, at)
		}
	}
	r.kind, r.test = "when", "true"
}

// fill writes the place of a thing into an expression.
func fill(expr, at string) string { return strings.ReplaceAll(expr, "@", at) }

// counts are the fields that are whole numbers.
var counts = []string{"questions-count", "files-count", "offered-count", "sent-count", "later-count", "links-count", "keep-days", "pickup-days",
	"most-copies", "most-files", "months", "age", "number", "copies", "rounds", "shells", "colour-changes", "shortest", "longest"}

// name compiles what stands in braces: a name, or a name and the words for its count.
func (c *compiler) name(text string, at position) node {
	name, words, counted := strings.Cut(text, ":")
	f, t := c.field(name, at)
	if f == nil {
		return node{code: `{{""}}`}
	}
	show := fill(f.show, t.at)
	n := node{code: "{{" + show + "}}", tests: f.tests(t.at)}
	switch {
	case !counted:
	case !slices.Contains(counts, f.id):
		c.tell(at, len(name), job.Say("mistakes.words-no-count", job.Args{"name": name}), job.Message{})
	default:
		n.code = c.plural(show, words, at, len(text))
	}
	return n
}

// tests are what must not be empty for a field to give something; none when it always does.
func (f *field) tests(at string) []string {
	switch f.has {
	case "":
		return []string{fill(f.show, at)}
	case "true":
		return nil
	}
	return []string{fill(f.has, at)}
}

// plural chooses the word for a count, one for each form that the language has.
func (c *compiler) plural(show, words string, at position, width int) string {
	forms, all := formsOf(c.lang), parted(words)
	if len(all) != len(forms.forms) {
		c.tell(at, width, job.Say("mistakes.plural", job.Args{"needs": len(forms.forms), "language": c.lang,
			"forms": strings.Join(forms.names(), ", "), "has": len(all)}), job.Message{})
	}
	code := "{{plural (" + show + ")"
	for _, w := range all {
		code += " " + strconv.Quote(strings.TrimSpace(w))
	}
	return code + "}}"
}

// field looks up a name.
func (c *compiler) field(name string, at position) (*field, thing) {
	id, known := c.names.fields[normal(name)]
	for _, t := range slices.Backward(c.things) {
		for _, f := range fieldList {
			if known && f.id == id && f.of == t.of {
				c.belongs(f, name, at)
				return &f, t
			}
		}
	}
	for _, f := range fieldList {
		if known && f.id == id {
			c.elsewhere(name, f.of, at)
			return nil, thing{}
		}
	}
	if piece := "_" + name; c.l.sources[c.lang][piece] != nil && givenTo[piece] == "" && len(c.things) > 1 { // a house's own
		return &field{id: piece, show: `template "` + piece + `" @`, has: "true"}, thing{"letter", "$"}
	}
	c.tell(at, len(name), job.Say("mistakes.words-no-field", job.Args{"name": name}), c.hintNear(name, c.here(c.names.fields, fieldOf)))
	return nil, thing{}
}

// belongs tells of a field that the letter never has, and of a piece that is not there.
func (c *compiler) belongs(f field, name string, at position) {
	if len(f.only) > 0 && !strings.HasPrefix(c.src.name, "_") && !slices.Contains(f.only, c.src.name) {
		c.tell(at, len(name), job.Say("mistakes.words-not-here", job.Args{"name": name, "texts": f.only}), job.Say("mistakes.hint.words-not-here", nil))
	}
	if piece, is := f.piece(); is && c.l.sources[c.lang][piece] == nil {
		c.tell(at, len(name), job.Say("mistakes.no-piece", job.Args{"piece": piece}), job.Message{})
	}
}

// piece is the piece that a field takes in.
func (f field) piece() (string, bool) {
	rest, is := strings.CutPrefix(f.show, `template "`)
	piece, _, _ := strings.Cut(rest, `"`)
	return piece, is
}

// elsewhere tells of a name that another kind of thing has, and where that can stand.
func (c *compiler) elsewhere(name, of string, at position) {
	hint := job.Message{}
	var lists []string
	for _, l := range loopList {
		if l.item == of {
			lists = append(lists, "["+c.names.book.Word("fields.each."+l.id)+"]")
		}
	}
	if len(lists) > 0 {
		hint = job.Say("mistakes.hint.words-in-list", job.Args{"lists": lists})
	}
	c.tell(at, len(name), job.Say("mistakes.words-elsewhere", job.Args{"name": strings.TrimSpace(name), "of": job.Say("fields.thing."+of, nil)}), hint)
}

func fieldOf(id, of string) bool {
	return slices.ContainsFunc(fieldList, func(f field) bool { return f.id == id && f.of == of })
}

func conditionOf(id, of string) bool {
	return slices.ContainsFunc(conditionList, func(w condition) bool { return w.id == id && w.of == of })
}

// here lists the names that can stand at this place.
func (c *compiler) here(names map[string]string, has func(id, of string) bool) (out []string) {
	for name, id := range names {
		if slices.ContainsFunc(c.things, func(t thing) bool { return has(id, t.of) }) {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// hintNear offers the name that was perhaps meant; one that would say something else is
// worse than none.
func (c *compiler) hintNear(word string, known []string) job.Message {
	if near := closest(normal(word), known); near != "" {
		return job.Say("rules.hint.near", job.Args{"word": near})
	}
	if all := sharing(normal(word), known); len(all) > 0 && len(all) <= 3 {
		return job.Say("mistakes.hint.words-perhaps", job.Args{"names": all})
	}
	return job.Say("mistakes.hint.words-list", job.Args{"text": c.src.name})
}

// closest is a name that differs from what was written by a slip of the keys only.
func closest(word string, known []string) string {
	known = slices.DeleteFunc(slices.Clone(known), func(k string) bool { return denies(k) != denies(word) })
	near := rules.Nearest(word, known)
	if near == "" || rules.Distance(strings.ToLower(word), strings.ToLower(near)) > min(3, len(word)/3+1) {
		return ""
	}
	return near
}

// negations turn a condition into its opposite.
var negations = []string{"no", "not", "nothing", "cannot", "without", "ne", "pas", "sans", "aucun", "sin", "ningún", "nada"}

func denies(name string) bool {
	return slices.ContainsFunc(strings.FieldsFunc(name, func(r rune) bool { return r == ' ' || r == '\'' }), func(w string) bool {
		return slices.Contains(negations, w) || w == "n"
	})
}

// sharing finds the names that have the most telling words in common.
func sharing(name string, known []string) (best []string) {
	most := 0
	words := strings.Fields(name)
	for _, k := range known {
		n := 0
		for _, w := range strings.Fields(k) {
			if len(w) > 4 && slices.Contains(words, w) {
				n++
			}
		}
		if n > most {
			best, most = nil, n
		}
		if n > 0 && n == most && denies(k) == denies(name) {
			best = append(best, k)
		}
	}
	return best
}

func (c *compiler) tell(at position, width int, text, hint job.Message) {
	p := c.src.problem(at.line, at.column, width, text, hint)
	if !slices.ContainsFunc(c.l.problems, func(was rules.Problem) bool { return was.Error() == p.Error() }) {
		c.l.tell(p)
	}
}

// mixed tells of names in single braces in a text that has double ones: they would
// stand in the letter as they are.
func (l *loader) mixed(lang string, s *source) {
	v := l.vocabulary(lang)
	for i, line := range strings.Split(s.text, "\n") {
		for from := 0; ; {
			open := strings.IndexByte(line[from:], '{')
			if open < 0 {
				break
			}
			open += from
			end := strings.IndexByte(line[open:], '}')
			if end < 0 {
				break
			}
			if name := line[open+1 : open+end]; v.fields[normal(name)] != "" {
				l.tell(s.problem(i+1, open+1, end+1, job.Say("mistakes.words-mixed", job.Args{"name": name}), job.Say("mistakes.hint.words-mixed", nil)))
			}
			from = open + 1
		}
	}
}
