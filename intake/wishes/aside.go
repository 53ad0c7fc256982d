package wishes

import (
	"slices"
	"strings"
	"unicode"

	"meshclerk/intake/job"
)

// setAside marks what holds no wish: the greeting, the signature, quoted
// phrases, and what is said of earlier prints.
func (d *doc) setAside() {
	d.greeting()
	lines, names := d.lines(), senderNames(d.in.From)
	d.signature(lines, names)
	d.footers(lines, names)
	d.quotations()
	d.beyond()
	for _, s := range d.sents {
		d.past(s)
		d.nearly(s)
	}
}

// nearly sets aside what the writer nearly asked for, up to a "but": "I was going to
// ask for blue, but the red is fine".
func (d *doc) nearly(s span) {
	for i := s.from; i < s.to; i++ {
		n := d.cue(i, "nearly")
		if n == 0 || d.isQuestion(i) {
			continue
		}
		end := i + n
		for end < s.to && d.cue(end, "but", "then") == 0 && !(d.fold(end) == "," && d.cue(end+1, "and", "but") > 0) {
			end++
		}
		d.away(i, end)
		i = end - 1
	}
}

func (d *doc) away(from, to int) {
	for i := from; i < to; i++ {
		d.toks[i].away = true
	}
}

// beyond sets aside sentences about further parts, where another says yes or no to all
// of those that were offered, by their number: "print all five; I shall think about the
// other two".
func (d *doc) beyond() {
	all := -1
	for i := range d.toks {
		if d.allOfThem(i) > 0 {
			all = d.toks[i].sent
		}
	}
	if all < 0 {
		return
	}
	for k, s := range d.sents {
		if k != all && d.has(s, "otherparts") >= 0 && d.has(s, "colour", "othercolour", "change", "decline", "dropping") < 0 {
			d.away(s.from, s.to)
		}
	}
}

// greeting is "Dear Ms Green," at the head of the letter.
func (d *doc) greeting() {
	for k := range min(2, len(d.sents)) {
		s := d.sents[k]
		if d.cue(s.from, "hello") == 0 {
			continue
		}
		for i := s.from; i < min(s.to, s.from+6); i++ {
			if d.toks[i].fold == "," || d.toks[i].fold == "!" || d.toks[i].fold == ":" || i == s.to-1 && i+1 < len(d.toks) && d.toks[i+1].newline {
				d.away(s.from, i+1)
				return
			}
		}
	}
}

// signature is what follows the last line of closing words, "Thanks,\nViolet", or the
// line of RFC 3676, 4.3; else the name at the end.
func (d *doc) signature(lines []span, names []string) {
	for k := len(lines) - 1; k >= max(0, len(lines)-8); k-- {
		if k > 0 && (d.closes(lines[k]) || d.words(lines[k].from, lines[k].to) == "--") {
			d.away(lines[k].to, len(d.toks))
			return
		}
	}
	if n := len(lines); n > 1 && (d.isName(lines[n-1]) || d.isFullName(lines[n-1])) {
		d.away(lines[n-1].from, len(d.toks))
		return
	}
	if at := d.sender(lines, names); at > 0 {
		d.away(at, len(d.toks))
	}
}

// footers sets aside what a mail program or an office puts below every letter: "This
// email and any attachments are confidential …", "Please consider the environment …", up
// to the next empty line; and above them the line with the writer's name alone, below
// which their office stands.
func (d *doc) footers(lines []span, names []string) {
	for k := len(lines) - 1; k > 0; k-- {
		l := lines[k]
		if len(lines)-k <= mostFooter && len(names) > 1 && l.to-l.from > 1 && d.isCapital(l.from) && d.allOfName(l, names) {
			d.away(l.from, l.to)
		}
		if d.cue(l.from, "footer") == 0 {
			continue
		}
		end := k + 1
		for end < len(lines) && strings.Count(d.text[d.toks[lines[end].from-1].end:d.toks[lines[end].from].start], "\n") < 2 {
			end++
		}
		d.away(l.from, lines[end-1].to)
	}
}

// mostFooter is how many lines from the end the writer's name may stand, above their
// office, its address and its telephone.
const mostFooter = 8

func (d *doc) allOfName(s span, names []string) bool {
	for i := s.from; i < s.to; i++ {
		if !d.ofName(i, names) {
			return false
		}
	}
	return true
}

// sender is the token at which the writer's own name begins that ends the letter: on a
// line of its own, behind the end of a sentence or behind closing words, "Yes please.\nJ.
// Brown". 0 is none. A colour that was asked for and stands there alone is an answer,
// whatever they are called.
func (d *doc) sender(lines []span, names []string) int {
	if len(lines) == 0 || len(names) == 0 {
		return 0
	}
	last := lines[len(lines)-1]
	at := last.to
	for at > last.from && d.ofName(at-1, names) {
		at--
	}
	for at < last.to && at > last.from && d.toks[at].kind == mark {
		at++ // it ends what stands before the name
	}
	switch {
	case at == 0 || at == last.to || !unicode.IsUpper(firstRune(d.toks[at].text)) && d.toks[at].kind == word:
		return 0
	case at > last.from && !strings.ContainsAny(d.toks[at-1].fold, ".!?") && !d.closes(span{last.from, at}):
		return 0
	case at == last.to-1 && d.toks[at].fold != names[0] && len(d.in.Questions) > 0 && d.cue(at, "colour") > 0:
		return 0
	}
	return at
}

// ofName tells of a word of a name, its initial, or a sign that stands around one.
func (d *doc) ofName(i int, names []string) bool {
	t := d.toks[i]
	return t.kind == mark && strings.Contains(".,-–—~/", t.fold) || t.kind == word &&
		slices.ContainsFunc(names, func(n string) bool { return t.fold == n || len(t.fold) == 1 && strings.HasPrefix(n, t.fold) })
}

// senderNames are the words of the writer's name as their mail has it, the given one
// first, or of their address where it has none.
func senderNames(from job.Address) []string {
	name, _, _ := strings.Cut(from.Address, "@")
	if strings.TrimSpace(from.Name) != "" {
		name = from.Name
	}
	return strings.FieldsFunc(fold(name), func(r rune) bool { return !unicode.IsLetter(r) })
}

func (d *doc) lines() []span {
	var lines []span
	for i := range d.toks {
		if i == 0 || d.toks[i].newline {
			lines = append(lines, span{i, i})
		}
		lines[len(lines)-1].to = i + 1
	}
	return lines
}

// closes tells whether a line has only closing words.
func (d *doc) closes(s span) bool {
	for i := s.from; i < s.to; {
		n := d.cue(i, "closing")
		if n == 0 && (i == s.from || d.toks[i].kind != mark) {
			return false
		}
		i += max(1, n)
	}
	return true
}

// isName tells of a last line such as "- Violet" or "/Rose Black".
func (d *doc) isName(s span) bool {
	if !slices.Contains([]string{"-", "/", "~", "–", "—"}, d.toks[s.from].fold) || s.to-s.from > 5 {
		return false
	}
	for _, t := range d.toks[s.from+1 : s.to] {
		if t.kind == number || t.kind == word && !unicode.IsUpper(firstRune(t.text)) {
			return false
		}
	}
	return s.to-s.from > 1
}

// isFullName tells of a last line such as "Percival Grey", below an empty one.
func (d *doc) isFullName(s span) bool {
	n := s.to - s.from
	if n < 2 || n > 3 || len(d.tags[s.from]) > 0 || strings.Count(d.text[d.toks[s.from-1].end:d.toks[s.from].start], "\n") < 2 {
		return false
	}
	for _, t := range d.toks[s.from:s.to] {
		if t.kind != word || !unicode.IsUpper(firstRune(t.text)) {
			return false
		}
	}
	return true
}

// quotations of two words and more are somebody's words, or are to be written
// on the part.
func (d *doc) quotations() {
	open := -1
	for i, t := range d.toks {
		switch {
		case open >= 0 && (t.sent != d.toks[open].sent && i-open > 3*near):
			open = -1
		case t.fold == "«" || open < 0 && t.fold == `"` && !t.tight:
			open = i
		case open >= 0 && (t.fold == "»" || t.fold == `"`):
			if i-open > 2 {
				d.away(open, i+1)
			}
			open = -1
		}
	}
}

// past sets aside what is told of earlier prints. A word of wishing, or "but",
// brings the sentence back.
func (d *doc) past(s span) {
	told, from := false, s.from
	first := true
	for i := s.from; i < s.to; i++ {
		switch {
		case d.cue(i, "hope") > 0:
			i += d.cue(i, "hope") - 1
			told, first = false, false
		case d.cue(i, "past") > 0:
			for k := from; first && k < i; k++ {
				d.toks[k].told = d.toks[k].clause == d.toks[i].clause || !d.wishesOnly(d.clauseOf(k)) // "just one, in orange, I paid 4 $ last time"
			}
			told, first = true, false
		case d.cue(i, "now", "but", "want", "ask") > 0, d.fold(i) == ":" && !d.isTight(i+1):
			told, first = false, false
		}
		d.toks[i].told = d.toks[i].told || told
	}
}
