package plain

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// ligatures are letters that have no decomposition.
var ligatures = strings.NewReplacer("œ", "oe", "æ", "ae", "ø", "o", "ß", "ss", "ł", "l")

// Fold is a text in lower case and without accents, as names are compared: by the
// compatibility decomposition of Unicode Standard Annex 15, less its marks.
func Fold(text string) string {
	if isASCII(text) {
		return strings.ToLower(text)
	}
	return ligatures.Replace(strings.ToLower(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFKD.String(text))))
}

func isASCII(s string) bool {
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}
