package letter

import (
	"encoding/base64"
	"regexp"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// encodedWord is RFC 2047, 2, with the language of RFC 2231, 5. It is read more
// freely than written: spaces inside the text occur in the wild.
var encodedWord = regexp.MustCompile(`=\?([^?*\s]+)(?:\*[^?\s]*)?\?([bBqQ])\?([^?]*)\?=`)

// decodeWords decodes the encoded words of RFC 2047 in an unfolded header
// value. White space between two encoded words is dropped (6.2), and words of
// the same charset are joined before their bytes are decoded, since some
// programs cut a character in two. Raw 8-bit text is guessed at.
func decodeWords(value string) string {
	var out strings.Builder
	var pending []byte
	charset, last := "", 0
	flush := func() {
		if len(pending) > 0 {
			text, _ := toUTF8(pending, charset)
			out.WriteString(text)
			pending = nil
		}
	}
	adjacent := false
	for _, m := range encodedWord.FindAllStringSubmatchIndex(value, -1) {
		raw, ok := wordBytes(value[m[4]:m[5]], value[m[6]:m[7]])
		if !ok {
			continue
		}
		between, name := value[last:m[0]], strings.ToLower(value[m[2]:m[3]])
		if !adjacent || strings.TrimSpace(between) != "" {
			flush()
			out.WriteString(guessCharset([]byte(between)))
		}
		if name != charset {
			flush()
		}
		pending, charset, last, adjacent = append(pending, raw...), name, m[1], true
	}
	flush()
	out.WriteString(guessCharset([]byte(value[last:])))
	return out.String()
}

// wordBytes decodes the text of one encoded word.
func wordBytes(encoding, text string) ([]byte, bool) {
	if strings.EqualFold(encoding, "q") {
		return qBytes(text), true
	}
	text = strings.TrimRight(strings.Map(dropSpace, text), "=")
	raw, err := base64.RawStdEncoding.DecodeString(text)
	if err != nil && len(raw) == 0 {
		return nil, false
	}
	return raw, true
}

func dropSpace(r rune) rune {
	if unicode.IsSpace(r) {
		return -1
	}
	return r
}

// qBytes decodes the Q encoding (RFC 2047, 4.2).
func qBytes(text string) []byte {
	out := make([]byte, 0, len(text))
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '_':
			out = append(out, ' ')
		case c == '=' && i+2 < len(text) && isHex(text[i+1]) && isHex(text[i+2]):
			out = append(out, unhex(text[i+1])<<4|unhex(text[i+2]))
			i += 2
		default:
			out = append(out, c)
		}
	}
	return out
}

func isHex(c byte) bool {
	return '0' <= c && c <= '9' || 'a' <= c && c <= 'f' || 'A' <= c && c <= 'F'
}

func unhex(c byte) byte {
	switch {
	case c <= '9':
		return c - '0'
	case c <= 'F':
		return c - 'A' + 10
	}
	return c - 'a' + 10
}

// shown makes one line of text that is safe to show: no control or direction
// characters, single spaces, at most limit characters.
func shown(text string, limit int) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case r == '\t' || r == '\n' || r == '\r' || r == '\u00a0':
			return ' '
		case unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == unicode.ReplacementChar:
			return -1
		}
		return r
	}, text)
	text = norm.NFC.String(strings.Join(strings.Fields(text), " "))
	if r := []rune(text); len(r) > limit {
		text = strings.TrimSpace(string(r[:limit]))
	}
	return text
}
