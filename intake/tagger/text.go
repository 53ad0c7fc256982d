package tagger

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

const (
	maxBytes    = 32 << 10 // of a letter are looked at
	maxSentence = 120      // tokens; a longer one is cut
)

// token is one word, run of digits or sign, with the bytes it stands on.
type token struct {
	fold       string // lower case, without accents
	text       string
	start, end int
	space      bool     // white space stands before it
	class      string   // what sort of value it may be, or ""
	cues       []cue    // that begin here
	ending     []string // names of cues that end here
}

// sentence is a stretch of the letter that is judged by itself.
type sentence struct {
	toks []token
	last byte // the sign it ends with: '?', '!', '.', ':' or 0
}

// tokens cuts a text. Letters and digits that are grown together are cut apart
// ("10cm", "x2"), and so are French elisions ("d'orange").
func tokens(text string) []token {
	var out []token
	space := false
	for at := 0; at < len(text); {
		r, n := utf8.DecodeRuneInString(text[at:])
		if unicode.IsSpace(r) {
			space, at = true, at+n
			continue
		}
		switch {
		case unicode.IsLetter(r):
			n = letters(text[at:])
		case isDigit(text[at]):
			n = digits(text[at:])
		default:
			n = signs(text[at:], n)
		}
		if f := fold(text[at : at+n]); f != "" { // an accent that stands alone is no token
			out = append(out, token{text: text[at : at+n], fold: f, start: at, end: at + n, space: space})
			space = false
		}
		at += n
	}
	return out
}

// letters is the length of the word at the head of a text, with the apostrophes in it.
func letters(s string) int {
	for at := 0; at < len(s); {
		r, n := utf8.DecodeRuneInString(s[at:])
		if isApostrophe(r) {
			if elision(s[:at]) {
				return at + n
			}
			if next, _ := utf8.DecodeRuneInString(s[at+n:]); !unicode.IsLetter(next) {
				return at
			}
		} else if !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) {
			return at
		}
		at += n
	}
	return len(s)
}

// digits is the length of a run of digits, with one decimal sign in it.
func digits(s string) int {
	n, sign := 0, false
	for n < len(s) && (isDigit(s[n]) || !sign && (s[n] == '.' || s[n] == ',') && n+1 < len(s) && isDigit(s[n+1])) {
		sign = sign || !isDigit(s[n])
		n++
	}
	return n
}

// signs takes "...", "!!!" and the joined parts of a picture sign as one.
func signs(s string, n int) int {
	if c := s[0]; c < utf8.RuneSelf {
		for c != '(' && c != ')' && c != '"' && n < len(s) && s[n] == c {
			n++
		}
		return n
	}
	for n < len(s) {
		r, m := utf8.DecodeRuneInString(s[n:])
		if r != '\u200d' && r != '\ufe0f' && (r < 0x1f3fb || r > 0x1f3ff) {
			break
		}
		n += m
	}
	return n
}

func isDigit(c byte) bool      { return c >= '0' && c <= '9' }
func isApostrophe(r rune) bool { return r == '\'' || r == '’' || r == '‘' || r == '`' || r == '´' }

func elision(head string) bool {
	switch fold(head) {
	case "l", "d", "c", "j", "n", "s", "m", "t", "qu", "jusqu", "lorsqu", "puisqu":
		return true
	}
	return false
}

// fold brings a word to the form in which words are compared.
func fold(s string) string {
	plain := true
	for i := range len(s) {
		plain = plain && s[i] < utf8.RuneSelf && (s[i] < 'A' || s[i] > 'Z')
	}
	if plain {
		return s
	}
	var b strings.Builder
	for _, r := range norm.NFKD.String(strings.ToLower(s)) {
		switch {
		case isApostrophe(r):
			b.WriteByte('\'')
		case !unicode.Is(unicode.Mn, r):
			b.WriteRune(r)
		}
	}
	return b.String()
}

// sentences cuts a letter at its signs and at line breaks that were meant.
func sentences(text string) []sentence {
	text = text[:min(len(text), maxBytes)]
	toks, width := tokens(text), width(text)
	var out []sentence
	from := 0
	for i := range toks {
		if i+1 == len(toks) || i+1-from >= maxSentence || ends(text, toks[from:], i-from, width) {
			out = append(out, newSentence(toks[from:i+1]))
			from = i + 1
		}
	}
	return out
}

func newSentence(toks []token) sentence {
	s := sentence{toks: toks}
	for k := len(toks) - 1; k >= max(0, len(toks)-2); k-- {
		if c := toks[k].fold[0]; strings.IndexByte("?!.:", c) >= 0 && (s.last == 0 || c == '?') {
			s.last = c
		}
	}
	return s
}

// ends reports whether the sentence is over behind its token i.
func ends(text string, toks []token, i, width int) bool {
	t, next := &toks[i], &toks[i+1]
	if !next.space {
		return false
	}
	if gap := text[t.end:next.start]; strings.Contains(gap, "\n") && meant(text, t.end, next, gap, width) {
		return true
	}
	switch t.fold[0] {
	case '!', '?':
		return true
	case '.':
		return len(t.fold) > 1 || !abbreviated(toks, i)
	}
	return t.fold == "…"
}

// meant reports whether a line break was: the next word would still have fitted.
func meant(text string, end int, next *token, gap string, width int) bool {
	if strings.Count(gap, "\n") > 1 || strings.ContainsAny(next.text[:1], "-*>•") || isDigit(next.text[0]) {
		return true
	}
	line := text[strings.LastIndexByte(text[:end], '\n')+1 : end]
	return utf8.RuneCountInString(line)+1+utf8.RuneCountInString(next.text) <= width
}

// width is the width that the letter's lines are filled to.
func width(text string) int {
	w := 40
	for line := range strings.Lines(text) {
		w = max(w, min(78, utf8.RuneCountInString(strings.TrimSpace(line))))
	}
	return w
}

// abbreviated reports whether the point behind a token belongs to it: "Mr.",
// "J. Smith", and the "1." that numbers a list.
func abbreviated(toks []token, i int) bool {
	if i == 0 || toks[i].space {
		return false
	}
	before := &toks[i-1]
	switch before.fold {
	case "mr", "mrs", "ms", "dr", "mme", "sr", "sra", "approx", "env", "tel", "no", "st", "ca", "ext":
		return true
	}
	return i == 1 && isDigit(before.fold[0]) || utf8.RuneCountInString(before.text) == 1 && unicode.IsUpper([]rune(before.text)[0])
}
