package letter

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"
)

// decoder undoes a Content-Transfer-Encoding (RFC 2045, 6). Unlike the strict
// readers of the libraries these never give up: what cannot be decoded is passed
// over or left as it is. ok is false when the encoding is not known.
func decoder(encoding string, in io.Reader) (out io.Reader, ok bool) {
	encoding, _, _ = strings.Cut(strings.ToLower(encoding), "(")
	switch strings.Trim(encoding, " \t\"';") {
	case "base64", "base-64", "x-base64", "b64":
		return lines(in, &base64Lines{}), true
	case "quoted-printable", "quoted_printable", "quotedprintable", "qp":
		return lines(in, &quotedLines{}), true
	case "x-uuencode", "x-uu", "uuencode", "x-uue":
		return lines(in, &uuLines{}), true
	case "", "7bit", "7-bit", "8bit", "8-bit", "binary", "none":
		return in, true
	}
	return in, false
}

// lineDecoder decodes line by line. A line longer than the buffer comes in pieces.
type lineDecoder interface {
	line(out *bytes.Buffer, piece []byte)
	end(out *bytes.Buffer)
}

// lineReader makes a reader of a line decoder.
type lineReader struct {
	in  *bufio.Reader
	dec lineDecoder
	out bytes.Buffer
	err error
}

func lines(in io.Reader, dec lineDecoder) io.Reader {
	return &lineReader{in: bufio.NewReaderSize(in, pieceBytes), dec: dec}
}

// Read implements io.Reader.
func (r *lineReader) Read(p []byte) (int, error) {
	for r.out.Len() == 0 && r.err == nil {
		piece, err := r.in.ReadSlice('\n')
		if errors.Is(err, bufio.ErrBufferFull) {
			err = nil
		}
		r.dec.line(&r.out, piece)
		if err != nil {
			r.dec.end(&r.out)
			r.err = err
		}
	}
	if r.out.Len() == 0 {
		return 0, r.err
	}
	return r.out.Read(p)
}

// base64Lines decodes base64 (RFC 2045, 6.8) with any rubbish between its
// characters, without padding, and with padding in its middle. After padding or an
// empty line only a line that can be nothing else is read on: lists append footers.
type base64Lines struct {
	quad  [4]byte
	n     int
	begun bool // something was decoded
	ended bool // padding or an empty line came: this may be the end
}

var base64Value = func() (t [256]byte) {
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
	for i := range t {
		t[i] = 0xFF
	}
	for i := range len(alphabet) {
		t[alphabet[i]] = byte(i)
	}
	t['-'], t['_'] = 62, 63 // RFC 4648, 5
	return t
}()

func (d *base64Lines) line(out *bytes.Buffer, piece []byte) {
	if len(bytes.TrimSpace(piece)) == 0 {
		d.ended = d.begun
		return
	}
	if d.ended && !surelyBase64(piece) {
		return
	}
	d.begun, d.ended = true, false
	for _, c := range piece {
		v := base64Value[c]
		switch {
		case v < 64:
			d.quad[d.n] = v
			if d.n++; d.n == 4 {
				d.flush(out)
			}
		case c == '=':
			d.ended = true
			d.flush(out)
		}
	}
}

// couldBeBase64 reports whether the beginning of a part is mostly of base64's
// alphabet and has no lines of words.
func couldBeBase64(head []byte) bool {
	foreign := 0
	for _, c := range head {
		if base64Value[c] > 63 && c != '=' && c != '\r' && c != '\n' {
			foreign++
		}
	}
	return foreign*12 < len(head) || len(head) < 8
}

func surelyBase64(piece []byte) bool {
	text := bytes.TrimRight(piece, " \t\r\n")
	whole := len(text)%4 == 0 && !bytes.ContainsAny(text, "-_")
	if len(text) < 40 && !bytes.HasSuffix(text, []byte("=")) && !whole {
		return false
	}
	for _, c := range bytes.TrimRight(text, "=") {
		if base64Value[c] > 63 {
			return false
		}
	}
	return len(text) > 0
}

func (d *base64Lines) flush(out *bytes.Buffer) {
	q := d.quad
	whole := [3]byte{q[0]<<2 | q[1]>>4, q[1]<<4 | q[2]>>2, q[2]<<6 | q[3]}
	if d.n > 1 {
		out.Write(whole[:d.n-1])
	}
	d.n, d.quad = 0, [4]byte{}
}

func (d *base64Lines) end(out *bytes.Buffer) { d.flush(out) }

// quotedLines decodes quoted-printable (RFC 2045, 6.7). A broken escape stays as it is.
type quotedLines struct{ carry []byte } // an escape that the end of a piece cut in two

func (d *quotedLines) line(out *bytes.Buffer, piece []byte) {
	if len(d.carry) > 0 {
		piece = append(d.carry, piece...)
		d.carry = nil
	}
	text := piece
	ending := []byte(nil)
	if bytes.HasSuffix(piece, []byte("\n")) {
		text = bytes.TrimRight(piece, " \t\r\n")
		ending = []byte("\n")
		if bytes.HasSuffix(piece, []byte("\r\n")) {
			ending = []byte("\r\n")
		}
		if soft, ok := bytes.CutSuffix(text, []byte("=")); ok {
			text, ending = soft, nil
		}
	} else if n := len(piece); n > 0 {
		if i := bytes.IndexByte(piece[max(0, n-2):], '='); i >= 0 {
			cut := max(0, n-2) + i
			text, d.carry = piece[:cut], bytes.Clone(piece[cut:])
		}
	}
	for i := 0; i < len(text); i++ {
		c := text[i]
		if c == '=' && i+2 < len(text) && isHex(text[i+1]) && isHex(text[i+2]) {
			c = unhex(text[i+1])<<4 | unhex(text[i+2])
			i += 2
		}
		out.WriteByte(c)
	}
	out.Write(ending)
}

func (d *quotedLines) end(out *bytes.Buffer) {
	if text := bytes.TrimPrefix(d.carry, []byte("=")); len(text) > 0 {
		out.Write(d.carry)
	}
	d.carry = nil
}

// uuLines decodes a uuencoded file (POSIX, uuencode) between its begin and end lines.
type uuLines struct{ begun, ended bool }

func (d *uuLines) line(out *bytes.Buffer, piece []byte) {
	text := bytes.TrimRight(piece, "\r\n")
	switch {
	case d.ended:
	case !d.begun:
		_, d.begun = uuBegin(text)
	case uuEnd(text):
		d.ended = true
	default:
		uuLine(out, text)
	}
}

func (*uuLines) end(*bytes.Buffer) {}

// uuBegin reads the line "begin 644 name".
func uuBegin(line []byte) (name string, ok bool) {
	rest, ok := bytes.CutPrefix(line, []byte("begin "))
	if !ok || len(rest) > 300 {
		return "", false
	}
	mode, after, ok := bytes.Cut(rest, []byte(" "))
	if !ok || len(mode) < 3 || len(mode) > 4 || len(bytes.Trim(mode, "01234567")) > 0 {
		return "", false
	}
	return guessCharset(bytes.TrimSpace(after)), true
}

func uuEnd(line []byte) bool { return string(bytes.TrimSpace(line)) == "end" }

// uuLine decodes one line; trailing spaces may have been lost on the way.
func uuLine(out *bytes.Buffer, line []byte) {
	if len(line) == 0 {
		return
	}
	at := func(i int) byte {
		if i >= len(line) {
			return 0
		}
		return (line[i] - ' ') & 0x3F
	}
	n := int(at(0))
	for i := 1; n > 0; i, n = i+4, n-3 {
		group := [3]byte{at(i)<<2 | at(i+1)>>4, at(i+1)<<4 | at(i+2)>>2, at(i+2)<<6 | at(i+3)}
		out.Write(group[:min(n, 3)])
	}
}

// plausibleUU reports whether a line can be a line of a uuencoded file.
func plausibleUU(line []byte) bool {
	line = bytes.TrimRight(line, " \t\r\n")
	if len(line) == 0 || uuEnd(line) {
		return len(line) > 0
	}
	want := 1 + (int((line[0]-' ')&0x3F)+2)/3*4
	return line[0] >= ' ' && line[0] <= '`' && len(line) <= want+2
}
