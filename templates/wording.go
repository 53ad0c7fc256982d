package templates

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"meshclerk/intake/job"
)

// A text in words is Markdown with names in braces:
//
//	Hello [{patron}],
//
//	**Yes, we can print {file}.** It costs **{price}** [and can be ready {days}].
//
// A sentence or a line of a list of which a name has nothing to give is left out, and
// so is a heading when what stands right below it is left out. In square brackets stand
// words that may be left out alone, or a choice: the first of [this {a} | that {b} |
// neither] that can be said. [when …: words] hangs on a condition of the list instead.
// At the beginning of a paragraph or line, [when …], [otherwise] and [for each …] rule
// that paragraph or line; alone on a line, all down to [end]. A backslash makes a brace
// or bracket an ordinary sign.
//
// It is compiled to what text/template takes, so that the limits, the checks and the
// harmless words of strangers hold for both. A text that has double braces is not in
// words, and is taken as it stands.

// inWords reports whether a text is to be compiled.
func inWords(text string) bool { return !strings.Contains(text, "{{") }

// Signs that stand in what is compiled and are settled when a letter is filled in: a
// space and a line break that are there only between words. No text from outside has
// them (plain.OneLine).
const (
	softSpace = "\x01"
	softBreak = "\x02"
)

// thing is what names are looked up in: of which kind it is, and where.
type thing struct{ of, at string }

// compiler turns one text in words into text/template.
type compiler struct {
	l        *loader
	lang     string
	src      *source
	names    *vocabulary
	things   []thing // innermost last
	loops    int
	sections []section // open ones
	chain    []string  // tests of the [when …] right before, for [otherwise]
	items    []item
}

// section is an open [when …] or [for each …] alone on its line.
type section struct {
	rule   rule
	things int // how many there were before
}

// rule is a [when …], [otherwise], [for each …] or [end].
type rule struct {
	kind   string // "when", "otherwise", "each", "end"
	test   string
	loop   *loop
	overs  []string
	place  position
	source string
}

// position is a place in a file, counted from 1.
type position struct{ line, column int }

// item is one paragraph, line, heading or gap, as it is compiled.
type item struct {
	code    string
	test    string // when it gives anything; "" for always
	heading bool
	line    bool // a line of its own, of a list or a table
	alone   bool // one name, which may give lines
	gap     bool
	hard    bool // a line break follows that Markdown keeps
}

// compile gives a text in words as text/template; another as it is.
func (l *loader) compile(lang string, s *source) string {
	if !inWords(s.text) {
		l.mixed(lang, s)
		return s.text
	}
	c := &compiler{l: l, lang: lang, src: s, names: l.vocabulary(lang)}
	c.things = []thing{{"part", "$.Part"}, {"letter", "$"}}
	if of := givenTo[s.name]; of != "" {
		c.things = []thing{{of, "$"}}
	}
	lines := strings.Split(s.text, "\n")
	head, from := "", 0
	if !strings.HasPrefix(s.name, "_") { // the subject is never left out
		head, from = c.said(c.inline(lines[0], position{1, 1}))+"\n\n", 1
	}
	c.text(lines, from)
	for _, open := range c.sections {
		c.tell(open.rule.place, len(open.rule.source), job.Say("mistakes.words-no-end", job.Args{"words": open.rule.source, "end": c.names.end}),
			job.Say("mistakes.hint.words-no-end", job.Args{"end": c.names.end}))
	}
	return head + c.written()
}

// text compiles the lines from one of them on.
func (c *compiler) text(lines []string, from int) {
	for i := from; i < len(lines); {
		if strings.TrimSpace(lines[i]) == "" {
			c.items = append(c.items, item{gap: true})
			i++
			continue
		}
		next := i + 1
		for next < len(lines) && c.goesOn(lines[i], lines[next]) {
			next++
		}
		c.unit(strings.Join(lines[i:next], "\n"), i+1)
		i = next
	}
}

var (
	markerOf = regexp.MustCompile(`^(?: *(?:[-*+]|\d{1,9}[.)]) +|#{1,6} +|\| +)`)
	oneName  = regexp.MustCompile(`^\{[^{}]*\}\s*$`)
)

// goesOn reports whether a line carries on the paragraph or line of a list before it.
func (c *compiler) goesOn(before, line string) bool {
	switch {
	case strings.TrimSpace(line) == "", strings.HasPrefix(before, "#"), strings.HasPrefix(before, "|"), strings.HasPrefix(line, "|"):
		return false
	case markerOf.MatchString(line), oneName.MatchString(line), oneName.MatchString(before):
		return false
	}
	if _, rest, is := c.rule(line, position{}, true); is && rest != line {
		return false
	}
	_, rest, is := c.rule(before, position{}, true)
	return !is || strings.TrimSpace(rest) != ""
}

// unit compiles one paragraph, line or heading.
func (c *compiler) unit(text string, line int) {
	marker := markerOf.FindString(text)
	if strings.Trim(text, "|-: ") == "" { // the line below the head of a table
		marker = ""
	}
	rest, at := text[len(marker):], position{line, len(marker) + 1}
	if r, after, is := c.rule(rest, at, false); is && marker == "" && strings.TrimSpace(after) == "" {
		c.section(r)
		return
	}
	it := item{heading: strings.HasPrefix(marker, "#"), hard: strings.HasSuffix(text, `\`) || strings.HasSuffix(text, "  ")}
	it.alone = oneName.MatchString(text)
	it.line = marker != "" || strings.HasPrefix(text, "|")
	chain := c.chain
	c.chain = nil
	it.code, it.test = c.ruled(&it, chain, marker, rest, at)
	c.items = append(c.items, it)
}

// ruled compiles words with the rules in front of them, and says when they give anything.
func (c *compiler) ruled(it *item, chain []string, marker, text string, at position) (code, test string) {
	r, rest, is := c.rule(text, at, false)
	if !is {
		return c.one(it, marker, text, at)
	}
	at = at.after(text[:len(text)-len(rest)])
	switch r.kind {
	case "each":
		it.line = true
		for _, over := range r.overs {
			c.enter(r)
			one, _ := c.ruled(it, nil, marker, rest, at)
			code += "{{range " + c.top().at + " := " + over + "}}" + one + "{{end}}"
			c.things = c.things[:len(c.things)-1]
		}
		c.chain = nil
		return code, either(r.overs)
	case "end":
		c.tell(r.place, len(r.source), job.Say("mistakes.words-alone", job.Args{"words": r.source}), job.Message{})
		return "", ""
	case "otherwise":
		if len(chain) == 0 {
			c.tell(r.place, len(r.source), job.Say("mistakes.words-otherwise", job.Args{"words": r.source}), job.Message{})
			return "", ""
		}
		r.test = "not (" + either(chain) + ")"
	default:
		c.chain = append(chain, r.test)
	}
	kept := c.chain
	code, _ = c.ruled(it, nil, marker, rest, at)
	c.chain = kept
	return "{{if " + r.test + "}}" + code + "{{end}}", r.test
}

// one compiles the words of a unit.
func (c *compiler) one(it *item, marker, rest string, at position) (code, test string) {
	var tests []string
	always := false
	list := sentences(c.inline(rest, at))
	for i, s := range list {
		need := all(s.tests)
		tests, always = append(tests, need), always || need == ""
		if need != "" && !(it.line && i == 0) {
			s.code = "{{if " + need + "}}" + s.code + "{{end}}"
		}
		if i > 0 {
			s.code = softSpace + s.code
		}
		code += s.code
	}
	code = marker + code
	if it.line {
		code = softBreak + code + softBreak
		if len(list) > 0 && tests[0] != "" {
			return "{{if " + tests[0] + "}}" + code + "{{end}}", tests[0]
		}
		return code, ""
	}
	if always || len(tests) == 0 {
		return code, ""
	}
	return code, either(tests)
}

func (c *compiler) top() thing { return c.things[len(c.things)-1] }

// enter goes into a [for each …].
func (c *compiler) enter(r rule) {
	c.loops++
	c.things = append(c.things, thing{r.loop.item, "$i" + strconv.Itoa(c.loops)})
}

// section opens, turns or closes what stands between lines of their own.
func (c *compiler) section(r rule) {
	c.chain = nil
	code := ""
	switch open := len(c.sections) - 1; {
	case r.kind == "when":
		c.sections = append(c.sections, section{r, len(c.things)})
		code = "{{if " + r.test + "}}"
	case r.kind == "each":
		c.sections = append(c.sections, section{r, len(c.things)})
		c.enter(r)
		code = "{{range " + c.top().at + " := " + r.overs[0] + "}}"
	case open < 0, r.kind == "otherwise" && c.sections[open].rule.kind != "when":
		wrong := job.Say("mistakes.words-end", job.Args{"words": r.source})
		if r.kind == "otherwise" {
			wrong = job.Say("mistakes.words-otherwise", job.Args{"words": r.source})
		}
		c.tell(r.place, len(r.source), wrong, job.Message{})
		return
	case r.kind == "otherwise":
		c.sections[open].rule.kind = "otherwise" // it has had its one
		code = "{{else}}"
	default:
		c.things = c.things[:c.sections[open].things]
		c.sections = c.sections[:open]
		code = "{{end}}"
	}
	c.items = append(c.items, item{code: code})
}

// written puts the items together.
func (c *compiler) written() string {
	var b strings.Builder
	for i, it := range c.items {
		code := it.code
		if it.heading {
			if test := c.below(i + 1); test != "" {
				code = "{{if " + test + "}}" + code + "{{end}}"
			}
		}
		if it.alone && (i > 0 && !c.items[i-1].gap || i < len(c.items)-1 && !c.items[i+1].gap) {
			code = softBreak + code + softBreak
		}
		b.WriteString(code)
		switch {
		case it.gap:
			b.WriteString("\n\n")
		case it.hard && i < len(c.items)-1 && !c.items[i+1].gap:
			b.WriteString("\n")
		case !it.line && !it.alone && i < len(c.items)-1:
			b.WriteString(softSpace)
		}
	}
	return b.String()
}

// below is when anything stands right below a heading; "" for always.
func (c *compiler) below(i int) string {
	for i < len(c.items) && c.items[i].gap {
		i++
	}
	var tests []string
	for ; i < len(c.items) && !c.items[i].gap; i++ {
		if c.items[i].test == "" {
			return ""
		}
		tests = append(tests, c.items[i].test)
	}
	return either(tests)
}

func either(tests []string) string { return joined("or", tests) }
func all(tests []string) string    { return joined("and", tests) }

func joined(word string, tests []string) string {
	var parts []string
	for _, t := range tests {
		if t != "" && !slices.Contains(parts, t) {
			parts = append(parts, t)
		}
	}
	if len(parts) < 2 {
		return strings.Join(parts, "")
	}
	for i, t := range parts {
		if strings.Contains(t, " ") {
			parts[i] = "(" + t + ")"
		}
	}
	return word + " " + strings.Join(parts, " ")
}

// node is a run of words, a name, or a choice in brackets.
type node struct {
	text   string
	code   string
	tests  []string
	choice bool
	closed bool // a choice that ends a sentence, whatever is chosen
}

type phrase struct {
	code  string
	tests []string
}

var sentenceEnd = regexp.MustCompile(`[.?!…][*_\p{Pe}\p{Pf}"]*[ \n]+`)

var endsSentence = regexp.MustCompile(`[.?!…][*_\p{Pe}\p{Pf}"]*$`)

// sentences parts nodes where one sentence ends and another begins.
func sentences(nodes []node) []phrase {
	s := splitter{nodes: nodes}
	for i, n := range nodes {
		if n.words() {
			s.words(i)
		} else {
			s.cur.code, s.cur.tests = s.cur.code+n.code, append(s.cur.tests, n.tests...)
		}
	}
	s.flush()
	return s.out
}

// words reports whether a node is a run of words.
func (n node) words() bool { return n.code == "" && !n.choice }

// splitter gathers sentences.
type splitter struct {
	nodes []node
	cur   phrase
	out   []phrase
}

func (s *splitter) flush() {
	if s.cur.code != "" {
		s.out = append(s.out, s.cur)
	}
	s.cur = phrase{}
}

// words takes a run of words, of which whole sentences may be a part.
func (s *splitter) words(i int) {
	rest := s.nodes[i].text
	if unspaced := strings.TrimLeft(rest, " \n"); i > 0 && s.nodes[i-1].closed && unspaced != rest {
		s.flush()
		rest = unspaced
	}
	afterChoice := i > 0 && s.nodes[i-1].choice && s.cur.code != ""
	for {
		end := sentenceEndIn(rest, i == len(s.nodes)-1)
		if end < 0 {
			break
		}
		s.cur.code += edges(strings.TrimRight(rest[:end], " \n"), afterChoice, false)
		s.flush()
		rest, afterChoice = rest[end:], false
	}
	s.cur.code += edges(rest, afterChoice, i < len(s.nodes)-1 && s.nodes[i+1].choice)
}

// sentenceEndIn is where the first sentence of the words ends and another begins, or -1.
func sentenceEndIn(words string, last bool) int {
	for from := 0; ; {
		m := sentenceEnd.FindStringIndex(words[from:])
		if m == nil {
			return -1
		}
		end := from + m[1]
		if end == len(words) && !last || end < len(words) && begins(words[end:]) {
			return end
		}
		from = end
	}
}

// edges makes the spaces beside a choice soft.
func edges(text string, left, right bool) string {
	before, after := "", ""
	if t := strings.TrimLeft(text, " \n"); left && t != text {
		text, before = t, softSpace
	}
	if t := strings.TrimRight(text, " \n"); right && t != text {
		text, after = t, softSpace
	}
	return before + wordsCode(text) + after
}

// begins reports whether a sentence may begin so.
func begins(s string) bool {
	r, _ := utf8.DecodeRuneInString(strings.TrimLeft(s, "*_"))
	return unicode.IsUpper(r) || unicode.IsDigit(r) || unicode.In(r, unicode.Ps, unicode.Pi) || strings.ContainsRune(`¿¡"`, r)
}

// wordsCode is a run of words in text/template; lines that a paragraph is broken into are one.
func wordsCode(s string) string {
	lines := strings.Split(s, "\n")
	out := lines[0]
	for i, line := range lines[1:] {
		if strings.HasSuffix(lines[i], `\`) || strings.HasSuffix(lines[i], "  ") {
			out += "\n" + line
		} else {
			out = strings.TrimRight(out, " ") + softSpace + strings.TrimLeft(line, " ")
		}
	}
	return strings.NewReplacer("{", `{{"{"}}`, "}", `{{"}"}}`).Replace(out)
}

// said is all nodes one after the other, of which nothing is left out.
func (c *compiler) said(nodes []node) string {
	code := ""
	for i, n := range nodes {
		if n.choice || n.code != "" {
			code += n.code
			continue
		}
		code += edges(n.text, i > 0 && nodes[i-1].choice, i < len(nodes)-1 && nodes[i+1].choice)
	}
	return code
}

func (p position) after(text string) position {
	if i := strings.LastIndexByte(text, '\n'); i >= 0 {
		return position{p.line + strings.Count(text, "\n"), len(text) - i}
	}
	return position{p.line, p.column + len(text)}
}

// inline reads words, names and choices.
func (c *compiler) inline(text string, at position) []node {
	r := inlineReader{c: c, text: text, start: at}
	for r.i < len(text) && !r.broken {
		switch text[r.i] {
		case '\\':
			r.escaped()
		case '{':
			r.name()
		case '[':
			r.brackets()
		case '}', ']':
			r.stray()
		default:
			r.run += text[r.i : r.i+1]
			r.i++
		}
	}
	if r.broken {
		return nil
	}
	r.flush()
	return r.out
}

// inlineReader goes through one run of text.
type inlineReader struct {
	c      *compiler
	text   string
	start  position
	i      int    // where it is
	run    string // words that are no node yet
	out    []node
	broken bool // a sign has no other; it was told
}

func (r *inlineReader) flush() {
	if r.run != "" {
		r.out = append(r.out, node{text: r.run})
	}
	r.run = ""
}

// position is that of a place in the run, within the file.
func (r *inlineReader) position(i int) position { return r.start.after(r.text[:i]) }

// escaped takes a sign behind a backslash.
func (r *inlineReader) escaped() {
	end := min(r.i+2, len(r.text))
	if r.i+1 < len(r.text) && strings.ContainsRune("{}|", rune(r.text[r.i+1])) {
		r.i++ // Markdown has no need of the backslash
	}
	r.run += r.text[r.i:end]
	r.i = end
}

// name takes a name in braces.
func (r *inlineReader) name() {
	end := closing(r.text, r.i)
	if end < 0 || strings.Contains(r.text[r.i:end], "\n") {
		r.wrong("mistakes.words-brace", "mistakes.hint.words-brace", nil)
		return
	}
	r.flush()
	r.out = append(r.out, r.c.name(r.text[r.i+1:end], r.position(r.i+1)))
	r.i = end + 1
}

// brackets takes a choice; where nothing in the brackets can be left out, they are a link
// or signs of the letter.
func (r *inlineReader) brackets() {
	end := closing(r.text, r.i)
	if end < 0 {
		r.wrong("mistakes.words-bracket", "mistakes.hint.words-bracket", nil)
		return
	}
	inner, at := r.text[r.i+1:end], r.position(r.i+1)
	if n, is := r.c.choice(inner, at); is && !strings.HasPrefix(r.text[end+1:], "(") {
		r.flush()
		r.out = append(r.out, n)
	} else {
		r.run += "["
		r.flush()
		r.out = append(r.out, r.c.inline(inner, at)...)
		r.run = "]"
	}
	r.i = end + 1
}

// stray tells of a sign that closes nothing.
func (r *inlineReader) stray() {
	opens := map[byte]string{'}': "{", ']': "["}[r.text[r.i]]
	r.wrong("mistakes.words-stray", "mistakes.hint.words-stray", job.Args{"sign": r.text[r.i : r.i+1], "opens": opens})
}

func (r *inlineReader) wrong(text, hint string, args job.Args) {
	r.c.tell(r.position(r.i), 1, job.Say(text, args), job.Say(hint, args))
	r.broken = true
}

// closing gives the place of the sign that closes the one at i, or -1.
func closing(text string, i int) int {
	var open []byte
	for ; i < len(text); i++ {
		switch ch := text[i]; ch {
		case '\\':
			i++
		case '[':
			open = append(open, ']')
		case '{':
			open = append(open, '}')
		case ']', '}':
			if open[len(open)-1] != ch {
				return -1
			}
			if open = open[:len(open)-1]; len(open) == 0 {
				return i
			}
		}
	}
	return -1
}

// parted cuts at the bars that stand in no bracket within.
func parted(text string) (out []string) {
	depth, from := 0, 0
	for i := 0; i < len(text); i++ {
		switch text[i] {
		case '\\':
			i++
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case '|':
			if depth == 0 {
				out, from = append(out, text[from:i]), i+1
			}
		}
	}
	return append(out, text[from:])
}

// choice compiles what stands in brackets; it is none when nothing in it can be left out.
func (c *compiler) choice(text string, at position) (node, bool) {
	alternatives := parted(text)
	n := node{choice: true, closed: true}
	ended := false
	for i, a := range alternatives {
		where := at.after(strings.Join(alternatives[:i], "|"))
		if i > 0 {
			where.column++
		}
		code, tests, closed := c.alternative(a, where, i == 0, i == len(alternatives)-1)
		n.closed = n.closed && closed
		switch test := all(tests); {
		case ended:
		case test == "" && i == 0:
			return node{}, false
		case test == "":
			n.code, ended = n.code+"{{else}}"+code, true
		case i == 0:
			n.code = "{{if " + test + "}}" + code
		default:
			n.code += "{{else if " + test + "}}" + code
		}
	}
	n.code += "{{end}}"
	return n, true
}

// alternative compiles one of a choice.
func (c *compiler) alternative(text string, at position, first, last bool) (code string, tests []string, closed bool) {
	words := text
	if test, rest, is := c.condition(text, at); is {
		tests = append(tests, test)
		at, words, first = at.after(text[:len(text)-len(rest)]), rest, false
	}
	left := strings.TrimLeft(words, " \n")
	at, before, after := at.after(words[:len(words)-len(left)]), "", ""
	trimmed := strings.TrimRight(left, " \n")
	if first && left != words {
		before = softSpace
	}
	if last && trimmed != left {
		after = softSpace
	}
	nodes := c.inline(trimmed, at)
	for _, n := range nodes {
		tests = append(tests, n.tests...)
	}
	closed = endsSentence.MatchString(trimmed)
	return before + c.said(nodes) + after, tests, closed
}
