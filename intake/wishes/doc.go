package wishes

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

const (
	maxBytes  = 32 << 10 // of a letter's words are looked at
	maxTokens = 16 << 10
	near      = 12 // tokens that a word reaches back or ahead at most
)

// doc is a letter cut into tokens, sentences and clauses, with the phrases of
// the lexicon that stand in it. Topic names the field that was asked for when
// the text is the answer to one question.
type doc struct {
	text      string
	letter    string // the text before it was revised, when cuts tell that it was
	cuts      []cut  // in the order of the revised text
	toks      []token
	tags      [][]tag // phrases by the token they begin at
	ends      [][]tag // phrases by the token they end before
	sents     []span
	clauses   []span
	topic     string
	topics    []string          // of the questions that the letter answers
	changeAt  span              // the length at which the colour changes
	counted   map[int]bool      // tokens right behind a count of copies
	given     map[int]bool      // tokens at which a value begins that another is exchanged for
	loose     map[int]string    // tokens at which a length or a date begins that was not taken for a wish, with what it is about
	asked     map[string]bool   // see askedStems
	learned   []tagger.Sentence // of the letter as written
	verdicts  []*verdict        // by sentence; see seen
	leftOver  []job.Unread      // see left
	leftKnown bool
	in        *Input
}

// span is tokens from..to-1.
type span struct{ from, to int }

// newDoc reads a text in one language.
func newDoc(text string, lex *lexicon, in *Input) *doc {
	d := &doc{text: clean(text), in: in, counted: map[int]bool{}, given: map[int]bool{}, loose: map[int]string{}}
	d.toks = tokens(d.text, maxTokens)
	d.mark(lex)
	d.revise(lex)
	d.listMarks()
	d.sentences()
	d.setAside()
	d.addresses()
	d.idioms()
	d.scopes()
	return d
}

// mark finds the phrases of the lexicon, by where they begin and where they end.
func (d *doc) mark(lex *lexicon) {
	n := len(d.toks) + 1
	d.tags, d.ends = make([][]tag, n), make([][]tag, n)
	all, from, ending := make([]tag, 0, n), make([]int, n+1), make([]int, n)
	for i := range d.toks {
		all = lex.match(all, d.toks, i)
		from[i+1] = len(all)
		for _, t := range all[from[i]:] {
			ending[i+t.n]++
		}
	}
	ends := make([]tag, len(all))
	for i, k := range ending {
		d.ends[i], ends = ends[:0:k], ends[k:]
	}
	for i := range d.toks {
		d.tags[i] = all[from[i]:from[i+1]:from[i+1]]
		for _, t := range d.tags[i] {
			d.ends[i+t.n] = append(d.ends[i+t.n], t)
		}
	}
}

// clean drops what is no word of the writer's, should any be left: lines that
// are quoted, and unusual spaces.
func clean(text string) string {
	if len(text) > maxBytes {
		text = text[:maxBytes]
	}
	text = strings.ToValidUTF8(text, " ")
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u200b", "", "″", `"`, "”", `"`, "“", `"`, "’", "'").Replace(text)
	lines := strings.Split(text, "\n")
	lines = slices.DeleteFunc(lines, func(l string) bool { return strings.HasPrefix(strings.TrimLeft(l, " \t"), ">") })
	return strings.Join(lines, "\n")
}

// listMarks claims the "1.", "2)" and "#3" that number a list.
func (d *doc) listMarks() {
	for i := range d.toks {
		t := &d.toks[i]
		if t.kind == number && t.newline && i+1 < len(d.toks) && d.toks[i+1].tight && strings.ContainsAny(d.toks[i+1].text, ".)") &&
			(i+2 == len(d.toks) || !d.toks[i+2].tight) {
			t.claimed, t.used = true, true
		}
	}
}

// sentences cuts the tokens into sentences and clauses.
func (d *doc) sentences() {
	width := d.width()
	from, clause := 0, 0
	for i := range d.toks {
		ends := d.endsSentence(i, width)
		if ends || d.endsClause(i) {
			d.clauses = append(d.clauses, span{clause, i + 1})
			clause = i + 1
		}
		d.toks[i].sent, d.toks[i].clause = len(d.sents), len(d.clauses)
		if clause == i+1 {
			d.toks[i].clause--
		}
		if ends {
			d.sents = append(d.sents, span{from, i + 1})
			from = i + 1
		}
	}
}

// width is the width that the letter's lines are filled to.
func (d *doc) width() int {
	w := 40
	for line := range strings.Lines(d.text) {
		w = max(w, min(78, utf8.RuneCountInString(strings.TrimSpace(line))))
	}
	return w
}

func (d *doc) endsSentence(i, width int) bool {
	if i+1 == len(d.toks) {
		return true
	}
	t, next := d.toks[i], d.toks[i+1]
	if next.newline && d.breaks(i, width) {
		return true
	}
	switch t.fold {
	case "!", "?", "…", ";", "¿":
		return t.fold != "¿" && !(next.kind == mark && !next.newline && strings.ContainsAny(next.fold, "!?.")) && next.fold != ")"
	case ".":
		return !next.tight && !d.abbreviated(i)
	case "(", ")": // a face: "what a pity that there is none :( then in purple"
		return t.tight && i > 0 && strings.Contains(":;-", d.toks[i-1].fold) && d.toks[i-1].kind == mark && !next.tight
	}
	return false
}

// breaks tells whether the line break after a token was meant: the next word
// would still have fitted, or a blank line or a list follows.
func (d *doc) breaks(i, width int) bool {
	t, next := d.toks[i], d.toks[i+1]
	if strings.Count(d.text[t.end:next.start], "\n") > 1 || next.claimed || next.kind == mark && strings.ContainsAny(next.fold, "-*•–+") {
		return true
	}
	line := d.text[strings.LastIndexByte(d.text[:t.end], '\n')+1 : t.end]
	return utf8.RuneCountInString(line)+1+utf8.RuneCountInString(next.text) <= width
}

// abbreviated tells whether the point after a short word is part of it.
func (d *doc) abbreviated(i int) bool {
	if i == 0 || !d.toks[i].tight || d.toks[i+1].newline {
		return false
	}
	before, next := d.toks[i-1], d.toks[i+1]
	if before.claimed && before.newline {
		return true // "1. blue"
	}
	lower := next.kind == word && unicode.IsLower(firstRune(next.text))
	switch before.fold {
	case "mr", "mrs", "ms", "dr", "mme", "sr", "sra", "approx", "env", "aprox", "ca", "tel", "ext", "max", "min", "st", "num", "pag", "ej":
		return true
	case "no", "nos":
		return next.kind == number && i+2 < len(d.toks) && d.toks[i+2].kind != word
	case "in", "ft", "pcs", "qty", "etc", "rd", "po", "cm", "mm":
		return lower
	}
	return before.kind == word && utf8.RuneCountInString(before.text) == 1 && lower && i > 1 && d.toks[i-2].fold == "."
}

func firstRune(s string) rune {
	r, _ := utf8.DecodeRuneInString(s)
	return r
}

func (d *doc) endsClause(i int) bool {
	t := d.toks[i]
	if i+1 < len(d.toks) && slices.ContainsFunc(d.tags[i+1], func(t tag) bool { return t.group == "but" }) {
		return true
	}
	switch t.fold {
	case ",", ":", "(", ")", "–", "—", ";", "|", "•":
		return true
	case "-", "/":
		return !t.tight && i+1 < len(d.toks) && !d.toks[i+1].tight
	}
	return false
}

// tag gives the phrase of a group that begins at a token and may be a wish.
func (d *doc) tag(i int, group string) (tag, bool) {
	if i < 0 || i >= len(d.toks) || d.toks[i].away || d.toks[i].told || d.toks[i].claimed {
		return tag{}, false
	}
	return find(d.tags[i], group)
}

// cue tells how many tokens of one of some cues begin at a token.
func (d *doc) cue(i int, names ...string) int {
	if i < 0 || i >= len(d.toks) {
		return 0
	}
	n := 0
	for _, t := range d.tags[i] {
		if slices.Contains(names, t.group) {
			n = max(n, t.n)
		}
	}
	return n
}

// ended tells how many tokens of one of some cues end right before a token.
func (d *doc) ended(i int, names ...string) int {
	if i < 0 || i >= len(d.ends) {
		return 0
	}
	n := 0
	for _, t := range d.ends[i] {
		if slices.Contains(names, t.group) {
			n = max(n, t.n)
		}
	}
	return n
}

// has tells where in a span one of some cues begins, or -1.
func (d *doc) has(s span, names ...string) int {
	for i := s.from; i < s.to; i++ {
		if d.cue(i, names...) > 0 {
			return i
		}
	}
	return -1
}

// sentence and clauseOf give the span around a token, at most near tokens to
// each side times four, so that one endless sentence costs no more than many.
func (d *doc) sentence(i int) span { return d.sents[d.toks[i].sent].around(i, 4*near) }
func (d *doc) clauseOf(i int) span { return d.clauses[d.toks[i].clause].around(i, 2*near) }

func (s span) around(i, n int) span { return span{max(s.from, i-n), min(s.to, i+n)} }

// fold is the token's folded text, or "" outside the text.
func (d *doc) fold(i int) string {
	if i < 0 || i >= len(d.toks) {
		return ""
	}
	return d.toks[i].fold
}

// claim marks tokens as understood.
func (d *doc) claim(from, to int) {
	for i := max(0, from); i < min(to, len(d.toks)); i++ {
		d.toks[i].claimed = true
	}
}

// use marks tokens that some field was read from.
func (d *doc) use(from, to int) {
	for i := max(0, from); i < min(to, len(d.toks)); i++ {
		d.toks[i].used = true
	}
}

// claimBytes marks the tokens over a part of the text as understood.
func (d *doc) claimBytes(from, to int) {
	for i := range d.toks {
		if d.toks[i].start < to && d.toks[i].end > from {
			d.toks[i].claimed, d.toks[i].used = true, true
		}
	}
}

// words gives the patron's own words from..to-1, in one line.
func (d *doc) words(from, to int) string {
	from, to = max(0, from), min(to, len(d.toks))
	if from >= to {
		return ""
	}
	s := strings.Join(strings.Fields(d.wordsOfLetter(from, to)), " ")
	if len(s) > 200 {
		s = strings.ToValidUTF8(s[:200], "")
	}
	return s
}
