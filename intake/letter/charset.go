package letter

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/htmlindex"
	"golang.org/x/text/encoding/ianaindex"
	"golang.org/x/text/encoding/unicode"
)

// toUTF8 decodes text of the named charset. A charset that is not named, not
// known, or visibly wrong gives the best guess instead: UTF-8 where the bytes are
// valid UTF-8, else windows-1252. known is false when the name helped nothing.
func toUTF8(raw []byte, name string) (text string, known bool) {
	name = strings.ToLower(strings.Trim(name, " \t\"'"))
	enc := lookupCharset(name)
	switch {
	case name == "" || name == "us-ascii" || name == "ascii" || name == "utf-8" || name == "utf8":
		return guessCharset(raw), true
	case enc == nil:
		return guessCharset(raw), false
	}
	out, err := enc.NewDecoder().Bytes(raw)
	if err != nil {
		return guessCharset(raw), false
	}
	return string(out), true
}

// lookupCharset finds a charset by its mail name. The web's table comes first:
// it reads iso-8859-1 as windows-1252, which is what mail programs mean by it.
func lookupCharset(name string) encoding.Encoding {
	if strings.HasPrefix(name, "utf-16") && !strings.HasSuffix(name, "le") && !strings.HasSuffix(name, "be") {
		return unicode.UTF16(unicode.BigEndian, unicode.UseBOM) // RFC 2781, 4.3
	}
	if enc, err := htmlindex.Get(name); err == nil && enc != encoding.Replacement {
		return enc
	}
	if enc, err := ianaindex.MIME.Encoding(name); err == nil && enc != nil {
		return enc
	}
	return nil
}

// guessCharset decodes bytes that nothing reliable is said about.
func guessCharset(raw []byte) string {
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	if utf8.Valid(raw) {
		return string(raw)
	}
	if whole := cutRune(raw); utf8.Valid(whole) && len(whole) > 8 {
		return string(whole)
	}
	out, err := charmap.Windows1252.NewDecoder().Bytes(raw)
	if err != nil {
		return strings.ToValidUTF8(string(raw), "\ufffd")
	}
	return string(out)
}

// cutRune drops the beginning of a character that a cap cut in two.
func cutRune(raw []byte) []byte {
	for i := 1; i <= 3 && i <= len(raw); i++ {
		if b := raw[len(raw)-i]; b >= 0xC0 {
			return raw[:len(raw)-i]
		} else if b < 0x80 {
			break
		}
	}
	return raw
}
