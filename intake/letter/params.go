package letter

import (
	"regexp"
	"sort"
	"strconv"
	"strings"
)

// parseMedia reads the value of a Content-Type or Content-Disposition field
// (RFC 2045, 5.1; RFC 2183, 2): its lower-case word and its parameters, decoded.
// It takes parameters in every form that occurs: RFC 2231 charsets and
// continuations, RFC 2047 words, percent signs, raw 8-bit text, unquoted values
// with spaces, a missing quote, a missing semicolon. Of duplicates the first counts.
func parseMedia(value string) (word string, params map[string]string) {
	pieces := splitParams(value)
	head := strings.TrimSpace(pieces[0])
	word, rest := head, ""
	if i := strings.IndexAny(head, " \t("); i >= 0 {
		word, rest = head[:i], strings.TrimSpace(head[i:])
	}
	pieces[0] = rest
	return strings.ToLower(notToken.ReplaceAllString(word, "")), decodeParams(pieces)
}

var notToken = regexp.MustCompile(`[^A-Za-z0-9!#$%&'*+./^_{|}~-]`)

// maxParams bounds the work that one field may cause.
const maxParams = 200

// splitParams cuts at semicolons that do not stand in quotes. A quote that is
// never closed ends where the next parameter seems to begin.
func splitParams(value string) []string {
	var pieces []string
	start, quoted, ends := 0, false, closers(value)
	for i := 0; i < len(value) && len(pieces) < maxParams; i++ {
		switch c := value[i]; {
		case c == '\\' && quoted:
			i++
		case c == '"':
			quoted = !quoted && ends.after(i)
		case c == ';' && !quoted:
			pieces = append(pieces, value[start:i])
			start = i + 1
		}
	}
	return append(pieces, value[start:])
}

// closing records for each place of a text whether a quote that is opened there is
// closed somewhere before the end. It is worked out once, from the end: looking
// ahead from each quote would take the square of the length.
type closing []bool

func closers(text string) closing {
	if !strings.Contains(text, `"`) {
		return nil
	}
	c := make(closing, len(text)+2) // c[i]: reading on at i meets a quote
	for i := len(text) - 1; i >= 0; i-- {
		switch text[i] {
		case '"':
			c[i] = true
		case '\\':
			c[i] = c[i+2]
		default:
			c[i] = c[i+1]
		}
	}
	return c
}

func (c closing) after(i int) bool { return c != nil && c[i+1] }

// section is one piece of a parameter value (RFC 2231, 3).
type section struct {
	number   int // -1 for the plain parameter
	extended bool
	value    string
}

func decodeParams(pieces []string) map[string]string {
	sections := map[string][]section{}
	for _, piece := range pieces {
		name, value, ok := strings.Cut(piece, "=")
		name = strings.ToLower(strings.TrimSpace(name))
		if !ok || name == "" {
			continue
		}
		s := section{number: -1, value: unquote(value)}
		name, s.extended = strings.CutSuffix(name, "*")
		if base, digits, ok := strings.Cut(name, "*"); ok {
			n, err := strconv.Atoi(digits)
			if err != nil || n < 0 {
				continue
			}
			name, s.number = base, n
		}
		sections[name] = append(sections[name], s)
	}
	params := make(map[string]string, len(sections))
	for name, list := range sections {
		params[name] = joinSections(list)
	}
	return params
}

// joinSections puts a value together. A continued or extended value is believed
// before a plain one (RFC 2231, 4; programs send both for old readers).
func joinSections(list []section) string {
	var charset string
	var raw []byte
	sort.SliceStable(list, func(a, b int) bool { return list[a].number < list[b].number })
	const done = -2
	plain, next := "", 0
	for _, s := range list {
		switch {
		case s.number < 0 && !s.extended:
			if plain == "" {
				plain = s.value
			}
		case s.number < 0 && next == 0: // name*=charset'language'text
			charset, raw = extended(s.value)
			next = done
		case s.number == next && s.extended && next == 0:
			charset, raw = extended(s.value)
			next++
		case s.number == next && s.extended:
			raw = append(raw, percent(s.value)...)
			next++
		case s.number == next:
			raw = append(raw, s.value...)
			next++
		}
	}
	if next == 0 {
		return decodePlain(plain)
	}
	text, _ := toUTF8(raw, charset)
	return text
}

// extended reads charset'language'text (RFC 2231, 4).
func extended(value string) (charset string, raw []byte) {
	if parts := strings.SplitN(value, "'", 3); len(parts) == 3 {
		return parts[0], percent(parts[2])
	}
	return "", percent(value)
}

func percent(text string) []byte {
	out := make([]byte, 0, len(text))
	for i := 0; i < len(text); i++ {
		if text[i] == '%' && i+2 < len(text) && isHex(text[i+1]) && isHex(text[i+2]) {
			out = append(out, unhex(text[i+1])<<4|unhex(text[i+2]))
			i += 2
			continue
		}
		out = append(out, text[i])
	}
	return out
}

// percented is a value whose every percent sign begins an encoded byte.
var percented = regexp.MustCompile(`^[^%]*(%[0-9A-Fa-f]{2}[^%]*)+$`)

// decodePlain decodes what programs put into a plain value against RFC 2231.
func decodePlain(value string) string {
	if percented.MatchString(value) && !strings.Contains(value, "=?") {
		return guessCharset(percent(value))
	}
	return decodeWords(value)
}

// unquote takes quotes off a value. A backslash is only an escape before a quote
// or another backslash: programs send C:\part.stl in quotes.
func unquote(value string) string {
	value = strings.TrimSpace(strings.NewReplacer("\r\n", "", "\n", "").Replace(value))
	body, ok := strings.CutPrefix(value, `"`)
	if !ok {
		return value
	}
	var out strings.Builder
	for i := 0; i < len(body); i++ {
		c := body[i]
		if c == '"' {
			break
		}
		if c == '\\' && i+1 < len(body) && (body[i+1] == '"' || body[i+1] == '\\') {
			i++
			c = body[i]
		}
		out.WriteByte(c)
	}
	return out.String()
}
