package job

import (
	"strings"
	"unicode"
)

// NormalAddress gives the form in which mail addresses are kept and compared: no
// outer space, lower case. A letter outside ASCII stays what it is where its lower
// case would be an ASCII letter (the Kelvin sign), so that no two addresses that a
// mail server tells apart become one. RFC 5321, 2.4 lets a local part mind its
// case; no host in use does.
func NormalAddress(address string) string {
	return strings.Map(func(r rune) rune {
		if low := unicode.ToLower(r); r < 0x80 || low >= 0x80 {
			return low
		}
		return r
	}, strings.TrimSpace(address))
}

// SameAddress reports whether two addresses are one, character by character. It is
// not strings.EqualFold, to which the Kelvin sign is a k and the long s an s.
func SameAddress(a, b string) bool { return NormalAddress(a) == NormalAddress(b) }
