package draft

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	netmail "net/mail"
	"regexp"
	"strings"

	"github.com/wneessen/go-mail"
)

// maxPicture bounds the inline picture, in bytes.
const maxPicture = 1 << 20

// pack writes the message: multipart/alternative of plain and HTML, within
// multipart/related when there is a picture.
func (in *Input) pack(m *Message) error {
	msg := mail.NewMsg(mail.WithNoDefaultUserAgent(), mail.WithEncoding(mail.EncodingQP), mail.WithCharset(mail.CharsetUTF8))
	msg.FromMailAddress(&netmail.Address{Name: m.From.Name, Address: m.From.Address})
	msg.ToMailAddress(&netmail.Address{Name: m.To.Name, Address: m.To.Address})
	msg.SetGenHeader(mail.HeaderSubject, encodeSubject(m.Subject))
	msg.SetDateWithValue(in.local(in.Now))
	msg.SetMessageIDWithValue(in.ID + "@" + in.Domain)
	msg.SetGenHeader("Content-Language", m.Language) // RFC 3282
	in.thread(msg)
	msg.SetBodyString(mail.TypeTextPlain, m.Plain)
	msg.AddAlternativeString(mail.TypeTextHTML, m.HTML)
	if err := in.embed(msg); err != nil {
		return err
	}
	var b bytes.Buffer
	if _, err := msg.WriteTo(&b); err != nil {
		return err
	}
	m.Raw = fixBoundaries(b.Bytes())
	return checkLines(m.Raw, m.To.Address)
}

// encodeSubject writes a subject in ASCII: as it is, or in encoded words short
// enough to be folded (RFC 2047, 2). What only looks like an encoded word is
// encoded too, so that nobody's reader decodes it.
func encodeSubject(s string) string {
	if !strings.Contains(s, "=?") && !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' }) {
		return s
	}
	var words []string
	chunk := ""
	for _, r := range s {
		// Beside "Subject: " a line of 76 has room for a word of 67.
		if len(forceQ(chunk+string(r))) > 65 {
			words = append(words, forceQ(chunk))
			chunk = ""
		}
		chunk += string(r)
	}
	return strings.Join(append(words, forceQ(chunk)), " ")
}

// forceQ makes one encoded word, also of plain ASCII.
func forceQ(s string) string {
	var b strings.Builder
	b.WriteString("=?utf-8?q?")
	for _, c := range []byte(s) {
		switch {
		case c == ' ':
			b.WriteByte('_')
		case c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "=%02X", c)
		}
	}
	return b.String() + "?="
}

// thread sets the threading headers. RFC 5322, 3.6.4: References is the
// parent's References and the parent's Message-ID; In-Reply-To is the latter.
func (in *Input) thread(msg *mail.Msg) {
	refs := References(in)
	if len(refs) == 0 {
		return
	}
	msg.SetGenHeader(mail.HeaderInReplyTo, refs[len(refs)-1])
	msg.SetGenHeader(mail.HeaderReferences, strings.Join(refs, " ")) // one value: several would be joined by commas
}

// maxReferences bounds the References; the first, by which programs find the
// thread, and the latest are kept.
const maxReferences = 20

// References lists the Message-IDs of the conversation, the parent last.
func References(in *Input) []string {
	refs := in.Thread
	if l := in.Letter; l != nil {
		refs = l.References
		if len(refs) == 0 && l.InReplyTo != "" {
			refs = []string{l.InReplyTo}
		}
		if l.MessageID != "" {
			refs = append(refs[:len(refs):len(refs)], l.MessageID)
		}
	}
	var out []string
	seen := map[string]bool{}
	for i := len(refs) - 1; i >= 0; i-- { // from the end: the parent's place is the last
		if id := refs[i]; msgID.MatchString(id) && len(id) <= 250 && !seen[id] {
			seen[id] = true
			out = append([]string{id}, out...)
		}
	}
	if len(out) > maxReferences {
		out = append(out[:1:1], out[len(out)-maxReferences+1:]...)
	}
	return out
}

// msgID is what may stand in a threading header: visible ASCII in angle
// brackets (RFC 5322, 3.6.4, and the liberal forms found in the wild).
var msgID = regexp.MustCompile(`^<[!-;=?-~]+>$`)

// pictureID is the Content-ID of the inline picture (RFC 2392).
func (in *Input) pictureID() string { return in.ID + ".part@" + in.Domain }

func (in *Input) embed(msg *mail.Msg) error {
	if in.Picture == nil {
		return nil
	}
	if !bytes.HasPrefix(in.Picture.PNG, []byte("\x89PNG\r\n\x1a\n")) || len(in.Picture.PNG) > maxPicture {
		return errors.New("the picture is no PNG of at most a megabyte")
	}
	return msg.EmbedReader("part.png", bytes.NewReader(in.Picture.PNG), mail.WithFileContentType("image/png"), mail.WithFileContentID(in.pictureID()))
}

// boundary finds the boundaries that the library drew by lot.
var boundary = regexp.MustCompile(`multipart/(?:related|alternative|mixed);\r\n boundary=([0-9a-f]{60})\r\n`)

// fixBoundaries puts boundaries in place that follow from the content, so that
// the same draft has the same bytes. Nobody can foresee them, since they hang
// on the hash of what they separate (RFC 2046, 5.1.1).
func fixBoundaries(raw []byte) []byte {
	rest := raw
	found := boundary.FindAllSubmatch(raw, -1)
	for _, f := range found {
		rest = bytes.ReplaceAll(rest, f[1], nil)
	}
	sum := sha256.Sum256(rest)
	for i, f := range found {
		own := sha256.Sum256(fmt.Appendf(sum[:], "%d", i))
		raw = bytes.ReplaceAll(raw, f[1], []byte(hex.EncodeToString(own[:])[:60]))
	}
	return raw
}

func ascii(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r > '~' })
}

// checkLines proves what RFC 5322, 2.1.1 and 2.3 ask: no line over 998 bytes,
// no bare CR or LF, and 7-bit throughout, but for an address that cannot be: it
// stands in the To field in UTF-8 (RFC 6532, 3.2).
func checkLines(raw []byte, to string) error {
	header := true
	for line := range bytes.SplitSeq(raw, []byte("\r\n")) {
		if header = header && len(line) > 0; header && !ascii(to) {
			line = bytes.Replace(line, []byte(to), bytes.Repeat([]byte("x"), len(to)), 1)
		}
		if len(line) > 998 {
			return fmt.Errorf("a line has %d bytes, more than mail allows", len(line))
		}
		if bytes.ContainsAny(line, "\r\n\x00") || bytes.ContainsFunc(line, func(r rune) bool { return r > 126 }) {
			return errors.New("a line has a character that mail does not allow")
		}
	}
	if !bytes.HasSuffix(raw, []byte("\r\n")) {
		return errors.New("the last line does not end")
	}
	return nil
}
