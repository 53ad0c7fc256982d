package wishes

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"meshclerk/intake/tagger"
)

type kind uint8

const (
	word   kind = iota
	number      // digits, or a fraction sign; value holds it
	mark        // one punctuation sign
	opaque      // a file name, an address, a part number: nothing in it is a wish
)

// token is one word, number or sign of a letter.
type token struct {
	text       string // as written
	fold       string // lower case, without accents
	kind       kind
	value      float64
	start, end int
	tight      bool // follows the token before without a space
	newline    bool // begins a line

	sent, clause int         // which sentence and clause it belongs to
	away         bool        // in a greeting, a signature or a quotation: no word to us
	told         bool        // said of earlier prints: no wish
	refused      bool        // a value that is not wished: "not in red", "two is too many"
	used         bool        // some field was read from it
	role         tagger.Role // what was learned of it, and how sure that is, 0 to 1
	sure         float64
	says         int  // which sentence of doc.learned it stands in
	claimed      bool // already understood as another thing, such as a telephone number
}

// fold brings a word to the form in which words are compared.
func fold(s string) string {
	s = strings.ToLower(s)
	if isASCII(s) {
		return s
	}
	var b strings.Builder
	for _, r := range norm.NFKD.String(s) {
		if !unicode.Is(unicode.Mn, r) {
			b.WriteRune(r)
		}
	}
	return b.String()
}

func isASCII(s string) bool {
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// tokens cuts a text into at most limit tokens. Its work is linear in the text's length.
func tokens(text string, limit int) []token {
	s := scanner{text: text, newline: true, out: make([]token, 0, min(limit, len(text)/4+1))}
	for s.at < len(text) && len(s.out) < limit {
		s.next()
	}
	return s.out
}

type scanner struct {
	text    string
	at      int
	space   bool
	newline bool
	out     []token
}

// next takes one token, or white space.
func (s *scanner) next() {
	r, n := utf8.DecodeRuneInString(s.text[s.at:])
	switch {
	case unicode.IsSpace(r):
		s.newline = s.newline || r == '\n'
		s.space = true
		s.at += n
	case (s.space || s.at == 0) && s.opaque():
	case isDigit(r):
		s.number()
	case fractions[r] != 0:
		s.add(number, n, fractions[r])
	case unicode.IsLetter(r):
		s.word()
	default:
		s.add(mark, n, 0)
	}
}

var fractions = map[rune]float64{'½': 0.5, '¼': 0.25, '¾': 0.75, '⅓': 1.0 / 3, '⅔': 2.0 / 3, '⅛': 0.125, '⅜': 0.375, '⅝': 0.625, '⅞': 0.875}

func (s *scanner) add(k kind, n int, value float64) {
	text := s.text[s.at : s.at+n]
	s.out = append(s.out, token{text: text, fold: fold(text), kind: k, value: value,
		start: s.at, end: s.at + n, tight: !s.space && len(s.out) > 0, newline: s.newline})
	s.at += n
	s.space, s.newline = false, false
}

// opaque takes a chunk between spaces that names a file, an address or a place
// on the web.
func (s *scanner) opaque() bool {
	rest := s.text[s.at:]
	n := strings.IndexFunc(rest, unicode.IsSpace)
	if n < 0 {
		n = len(rest)
	}
	chunk := strings.TrimRight(rest[:n], `.,;:!?)]}>"'»”`)
	if chunk == "" || !looksOpaque(chunk) {
		return false
	}
	s.add(opaque, len(chunk), 0)
	return true
}

func looksOpaque(chunk string) bool {
	if !strings.ContainsAny(chunk, `.@_\:`) {
		return false
	}
	low := strings.ToLower(chunk)
	if strings.Contains(low, "://") || strings.HasPrefix(low, "www.") || strings.ContainsAny(chunk, "@_\\") {
		return true
	}
	dot := strings.LastIndexByte(low, '.')
	return dot > 0 && fileEndings[low[dot+1:]]
}

var fileEndings = map[string]bool{"stl": true, "obj": true, "3mf": true, "zip": true, "pdf": true, "step": true, "stp": true, "jpg": true, "jpeg": true, "png": true, "docx": true, "gcode": true, "dat": true, "com": true, "org": true, "net": true, "rar": true, "7z": true, "amf": true, "ply": true}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

// number takes digits with a decimal point or comma, and what is grown on to
// them: "10cm" is a number and a word, "3D" and "608zz" are names.
func (s *scanner) number() {
	rest := s.text[s.at:]
	n := digits(rest)
	whole := rest[:n]
	if n < len(rest)-1 && (rest[n] == '.' || rest[n] == ',') && !s.inGroups() {
		if m := digits(rest[n+1:]); m > 0 && !moreGroups(rest[n+1+m:]) {
			whole, n = decimal(whole, rest[n], rest[n+1:n+1+m]), n+1+m
		}
	}
	suffix := letters(rest[n:])
	if suffix != "" && !grownOn(fold(suffix)) {
		s.add(opaque, n+alphanumeric(rest[n:]), 0)
		return
	}
	value, err := strconv.ParseFloat(whole, 64)
	if err != nil {
		value = 0
	}
	s.add(number, n, value)
}

// inGroups tells of digits behind "27." that is grown on to: a date or a version.
func (s *scanner) inGroups() bool {
	n := len(s.out)
	return n > 1 && !s.space && s.out[n-1].text == "." && s.out[n-1].tight && s.out[n-2].kind == number
}

// decimal reads "12,5" as twelve and a half and "1,000" as a thousand.
func decimal(whole string, sign byte, part string) string {
	if sign == ',' && len(part) == 3 && whole != "0" {
		return whole + part
	}
	return whole + "." + part
}

// moreGroups tells of a second point: "555.010.0142" and "1.2.3" are no decimals.
func moreGroups(rest string) bool {
	return len(rest) > 1 && (rest[0] == '.' || rest[0] == ',') && isDigit(rune(rest[1]))
}

// grownOn tells whether letters may follow a number without a space.
func grownOn(suffix string) bool {
	switch suffix {
	case "mm", "cm", "m", "in", "inch", "inches", "ft", "x", "st", "nd", "rd", "th", "er", "re", "e", "eme", "h", "hr", "hrs", "am", "pm",
		"g", "kg", "pcs", "pc", "ea", "pouces", "po", "pulgadas", "pulg", "km", "lb", "lbs", "min", "mins", "copies", "copias", "ex", "o", "a":
		return true
	}
	return false
}

func digits(s string) int {
	n := 0
	for n < len(s) && isDigit(rune(s[n])) {
		n++
	}
	return n
}

func letters(s string) string {
	for i, r := range s {
		if !unicode.IsLetter(r) {
			return s[:i]
		}
	}
	return s
}

func alphanumeric(s string) int {
	for i, r := range s {
		if !unicode.IsLetter(r) && !isDigit(r) {
			return i
		}
	}
	return len(s)
}

// word takes letters with the apostrophes inside them. Letters with digits are
// a name ("M3", "A4"), but "x2" is a word and a number. French and Spanish
// elisions ("l'", "d'", "qu'") are words of their own.
func (s *scanner) word() {
	rest := s.text[s.at:]
	n := 0
	for n < len(rest) {
		r, size := utf8.DecodeRuneInString(rest[n:])
		if isApostrophe(r) && n > 0 && letters(rest[n+size:]) != "" {
			if elision(fold(rest[:n])) {
				s.add(word, n+size, 0)
				s.out[len(s.out)-1].fold = fold(rest[:n]) + "'"
				return
			}
		} else if !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) {
			break
		}
		n += size
	}
	if n < len(rest) && isDigit(rune(rest[n])) && fold(rest[:n]) != "x" {
		s.add(opaque, alphanumeric(rest), 0)
		return
	}
	s.add(word, n, 0)
	last := &s.out[len(s.out)-1]
	last.fold = strings.Map(plainApostrophe, last.fold)
}

func plainApostrophe(r rune) rune {
	if isApostrophe(r) {
		return '\''
	}
	return r
}

func isApostrophe(r rune) bool { return r == '\'' || r == '’' || r == '‘' || r == '`' || r == '´' }

func elision(head string) bool {
	switch head {
	case "l", "d", "c", "j", "n", "s", "m", "t", "qu", "jusqu", "lorsqu", "puisqu":
		return true
	}
	return false
}
