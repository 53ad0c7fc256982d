package templates

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"meshclerk/intake/plain"
)

// Text is words from outside or from the rules. Printed in a reply text it is
// one line of plain words: nothing in it acts as Markdown, HTML or a link.
type Text string

// String gives the words as Markdown that shows exactly them (CommonMark
// 0.31.2, 2.4: a backslash before ASCII punctuation makes it literal).
func (t Text) String() string { return escape(plain.OneLine(string(t))) }

// Note is a person's own words, which may run over several paragraphs.
type Note string

// String gives each line as plain words; blank lines stay.
func (n Note) String() string {
	var out []string
	for line := range strings.SplitSeq(strings.ReplaceAll(string(n), "\r\n", "\n"), "\n") {
		out = append(out, escape(plain.OneLine(line)))
	}
	return strings.Trim(strings.Join(out, "\n"), "\n")
}

// Name makes a Text of a name that a stranger chose: shortened, and without
// web addresses, which a mail program would turn into links.
func Name(s string, longest int) Text {
	s = webAddress.ReplaceAllString(plain.OneLine(s), "…")
	if r := []rune(s); len(r) > longest {
		// The end of a file's name tells what it is.
		keep := max(1, longest-1)
		s = strings.TrimSpace(string(r[:keep-keep/3])) + "…" + string(r[len(r)-keep/3:])
	}
	return Text(s)
}

var webAddress = regexp.MustCompile(`(?i)(?:\b[a-z][a-z0-9+.-]*:/+|\bwww\.)\S*`)

// escape puts a backslash before what Markdown would understand, and only
// there, so that a person who edits the text still reads words.
func escape(s string) string {
	var b strings.Builder
	runes := []rune(s)
	for i, r := range runes {
		if special(runes, i, r) {
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}

func special(runes []rune, i int, r rune) bool {
	switch r {
	case '\\', '`', '*', '[', ']', '<', '>', '&', '|', '~':
		return true
	case '_':
		// Between letters or digits an underscore is only itself (CommonMark 6.2).
		return i == 0 || i == len(runes)-1 || !wordRune(runes[i-1]) || !wordRune(runes[i+1])
	case '!':
		return i+1 < len(runes) && runes[i+1] == '['
	case '#':
		// Would begin a heading, or end one: what stands last in it, behind a space, is
		// dropped (CommonMark 4.2).
		return i == 0 || runes[i-1] == ' ' && !slices.ContainsFunc(runes[i:], func(r rune) bool { return r != '#' })
	case '=', ':':
		return i == 0 // would underline a heading
	case '+', '-':
		return i == 0 && !(i+1 < len(runes) && wordRune(runes[i+1])) // would begin a list or a rule
	case '.', ')':
		// Would begin a numbered list, of at most nine digits (CommonMark 5.2).
		return i > 0 && i < 10 && allDigits(runes[:i]) && (i == len(runes)-1 || runes[i+1] == ' ')
	}
	return false
}

func wordRune(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

func allDigits(runes []rune) bool {
	for _, r := range runes {
		if r < '0' || r > '9' {
			return false
		}
	}
	return true
}

var escaped = regexp.MustCompile("\\\\([!-/:-@\\[-`{-~])")

// unescape undoes escape, for the subject, which is no Markdown.
func unescape(s string) string { return escaped.ReplaceAllString(s, "$1") }

// Plain is a filled-in piece as plain words, for where there is no Markdown.
func Plain(piece string) string { return unescape(piece) }
