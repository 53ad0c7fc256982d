package letter

import (
	"io"
	"mime"
	"net/mail"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/emersion/go-message/textproto"

	"meshclerk/intake/job"
)

const (
	nameLen    = 120
	addressLen = 320 // RFC 5321, 4.5.3.1: 64 + 1 + 255
	subjectLen = 500
)

var (
	angled = regexp.MustCompile(`<\s*([^<>\s"]+@[^<>\s"]+?)\s*>`)
	bare   = regexp.MustCompile(`[^\s<>"(),:;\[\]\\]+@[^\s<>"(),:;\[\]\\]+`)
)

// addresses reads an address list (RFC 5322, 3.4). What the standard's grammar
// refuses is searched for anything that looks like an address. One that does not
// stand in the field as it is, plain, comes out quoted (see exactly).
func addresses(value string) []job.Address {
	if len(value) > 64<<10 {
		value = value[:64<<10]
	}
	p := mail.AddressParser{WordDecoder: &mime.WordDecoder{CharsetReader: wordReader}}
	var out []job.Address
	if list, err := p.ParseList(value); err == nil {
		plain := plainIn(bareOf(value))
		for _, a := range list {
			out = append(out, clean(a.Name, exactly(a.Address, plain[a.Address])))
		}
		return out
	}
	for _, piece := range splitAddresses(value) {
		alone := bareOf(piece)
		if m := angled.FindStringSubmatchIndex(piece); m != nil {
			out = append(out, clean(unquote(decodeWords(piece[:m[0]])), exactly(piece[m[2]:m[3]], strings.Count(alone, "<") == 1 && plainIn(alone)[piece[m[2]:m[3]]])))
		} else if m := bare.FindStringIndex(piece); m != nil {
			name := strings.Trim(decodeWords(piece[:m[0]]+" "+piece[m[1]:]), ` "'<>()`)
			out = append(out, clean(name, exactly(piece[m[0]:m[1]], strings.Count(piece, "@") == 1 && !strings.ContainsAny(piece, `"<>()\`))))
		}
	}
	return out
}

// splitAddresses cuts at commas outside quotes and encoded words.
func splitAddresses(value string) []string {
	var out []string
	words := encodedWord.FindAllStringIndex(value, -1)
	start, quoted, ends := 0, false, closers(value)
	for i := 0; i < len(value); i++ {
		if len(words) > 0 && i == words[0][0] {
			i = words[0][1] - 1
			words = words[1:]
			continue
		}
		switch c := value[i]; {
		case c == '\\' && quoted:
			i++
		case c == '"':
			quoted = !quoted && ends.after(i)
		case (c == ',' || c == ';') && !quoted:
			out = append(out, value[start:i])
			start = i + 1
		}
	}
	return append(out, value[start:])
}

func clean(name, address string) job.Address {
	name = shown(decodeWords(name), nameLen)
	return job.Address{Name: strings.Trim(name, `"' `), Address: address}
}

// exactly returns an address in the form in which it is kept. One that stands in
// the field as it is, of nothing but the characters of a plain address (RFC 5322,
// 3.4.1, dot-atom; RFC 6532, 3.2), keeps them all. Any other, with a quoted local part, a comment within,
// invisible characters or too long, comes out with its local part quoted, so that it
// equals no plain address: a sender may write it, but is not the patron whom it
// resembles.
func exactly(address string, stands bool) string {
	at := strings.LastIndexByte(address, '@')
	if stands && at > 0 && plainLocal(address[:at]) && plainDomain(address[at+1:]) && utf8.RuneCountInString(address) <= addressLen {
		return job.NormalAddress(address)
	}
	quoted := strconv.QuoteToGraphic(address[:max(0, at)]) + "@" + strings.Trim(strconv.QuoteToGraphic(address[at+1:]), `"`)
	if r := []rune(quoted); len(r) > addressLen {
		quoted = string(r[:addressLen])
	}
	return job.NormalAddress(strings.ToValidUTF8(quoted, "\ufffd"))
}

// plainLocal reports whether a local part needs no quoting. Dots are let through
// anywhere: some hosts give out such addresses.
func plainLocal(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return !(wordRune(r) || strings.ContainsRune("!#$%&'*+-/=?^_`{|}~.", r))
	})
}

func plainDomain(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool { return !(wordRune(r) || r == '-' || r == '.') })
}

// wordRune is a letter or digit, of any script.
func wordRune(r rune) bool {
	return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r) || r >= 0x80 && unicode.IsMark(r))
}

// plainIn returns the addresses of a list without quoted strings and comments, which
// stand there alone or in angle brackets.
func plainIn(bare string) map[string]bool {
	plain := map[string]bool{}
	for piece := range strings.FieldsFuncSeq(bare, func(r rune) bool { return r == ',' || r == ';' || r == ':' }) {
		if _, in, ok := strings.Cut(piece, "<"); ok {
			piece, _, _ = strings.Cut(in, ">")
		}
		plain[strings.Trim(piece, " \t\r\n")] = true
	}
	return plain
}

// bareOf takes the quoted strings and comments (RFC 5322, 3.2.2 and 3.2.4) out of a
// field and leaves a space for each, so that nothing is joined over them.
func bareOf(value string) string {
	var out strings.Builder
	quoted, depth := false, 0
	for i := 0; i < len(value); i++ {
		c := value[i]
		switch {
		case c == '\\' && (quoted || depth > 0):
			i++
		case quoted:
			quoted = c != '"'
		case c == '"' && depth == 0:
			quoted = true
			out.WriteByte(' ')
		case c == '(':
			depth++
			out.WriteByte(' ')
		case depth > 0 && c == ')':
			depth--
		case depth == 0:
			out.WriteByte(c)
		}
	}
	return out.String()
}

func wordReader(charset string, in io.Reader) (io.Reader, error) {
	raw, err := io.ReadAll(io.LimitReader(in, 64<<10))
	if err != nil {
		return nil, err
	}
	text, _ := toUTF8(raw, charset)
	return strings.NewReader(text), nil
}

func first(list []job.Address) job.Address {
	if len(list) == 0 {
		return job.Address{}
	}
	return list[0]
}

// sender is the From address, or what else names the writer when From is of no use.
func sender(h textproto.Header) job.Address {
	for _, name := range []string{"From", "Sender", "Reply-To", "Return-Path"} {
		if a := first(addresses(h.Get(name))); a.Address != "" {
			return a
		}
	}
	return job.Address{Name: shown(decodeWords(h.Get("From")), nameLen)}
}

var messageID = regexp.MustCompile(`<[^<>\s]{1,900}>`)

// messageIDs lists the identifiers of a field in order, each once (RFC 5322, 3.6.4).
func messageIDs(value string) []string {
	out := []string{}
	seen := map[string]bool{}
	for _, id := range messageID.FindAllString(value, 500) {
		if !seen[id] {
			seen[id] = true
			out = append(out, id)
		}
	}
	return out
}

// ownID is the Message-ID, put in brackets when they are missing.
func ownID(value string) string {
	if ids := messageIDs(value); len(ids) > 0 {
		return ids[0]
	}
	if value = strings.TrimSpace(value); value != "" && len(value) < 990 && !strings.ContainsAny(value, " \t<>") {
		return "<" + value + ">"
	}
	return ""
}

// namedZones are the zones of RFC 5322, 4.3 that carry an offset.
var namedZones = strings.NewReplacer(" EST", " -0500", " EDT", " -0400", " CST", " -0600", " CDT", " -0500",
	" MST", " -0700", " MDT", " -0600", " PST", " -0800", " PDT", " -0700", " UT", " +0000", " GMT", " +0000")

var numericZone = regexp.MustCompile(`[+-]\d{4}`)

// written is when the letter was written: its Date, else when our server got it.
func written(h textproto.Header) time.Time {
	values := []string{h.Get("Date")}
	if received := h.Get("Received"); received != "" {
		values = append(values, received[strings.LastIndexByte(received, ';')+1:])
	}
	for _, v := range values {
		if !numericZone.MatchString(v) {
			v = strings.Replace(namedZones.Replace(v), " +0000C", " +0000", 1)
		}
		if t, err := mail.ParseDate(strings.TrimSpace(v)); err == nil && t.Year() > 1970 && t.Year() < 2200 {
			return t
		}
	}
	return time.Time{}
}
