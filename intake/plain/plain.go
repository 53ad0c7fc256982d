// Package plain holds the few ways in which words from outside are made safe to
// show, the same on the page, in letters and on a terminal.
package plain

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// OneLine returns s as one line: white space is folded to single blanks, which
// leaves no-break spaces inside, and characters that Hidden reports are dropped.
// Bytes that are no UTF-8 become U+FFFD.
func OneLine(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) && r != '\u00a0' && r != '\u202f':
			return ' '
		case Hidden(r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }), " ")
}

// Hidden reports whether a character changes how the words around it are read,
// or does not show: controls, marks that turn the reading direction, and the
// like (Unicode categories Cc, Cf and Co, but not the zero width joiner, which
// some scripts need).
func Hidden(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) && r != '\u200d' || unicode.Is(unicode.Co, r)
}

// Shorten cuts s to at most longest characters, the last an ellipsis.
func Shorten(s string, longest int) string {
	if utf8.RuneCountInString(s) <= longest {
		return s
	}
	return string([]rune(s)[:longest-1]) + "…"
}

// Capital returns s with its first letter in upper case.
func Capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 || r == utf8.RuneError && n == 1 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
