package outbox

import (
	"bytes"
	"fmt"
	"meshclerk/intake/job"
	"mime"
	"slices"
	"strings"
	"unicode/utf8"
)

// lineOctets is the longest line without its CRLF (RFC 5322, 2.1.1).
const lineOctets = 998

// headerOctets bounds the header of a reply.
const headerOctets = 64 << 10

// dropped are fields that must not leave, or mean something only in a folder
// of drafts: blind copies are part of no envelope of ours, and the return path
// is the delivering server's (RFC 5321, 4.4).
var dropped = map[string]bool{
	"bcc": true, "resent-bcc": true, "return-path": true, "fcc": true,
	"x-unsent": true, "status": true, "x-status": true, "x-keywords": true,
}

// single are the fields of which there is at most one (RFC 5322, 3.6).
var single = []string{"from", "sender", "reply-to", "to", "cc", "date", "message-id", "in-reply-to", "references", "subject"}

// Canonical gives the message in the form in which it travels, and in which it
// is hashed and approved: CRLF line ends, no line above 998 octets, no NUL, a
// header of plain ASCII, but for recipients' addresses that cannot be, without the
// fields that must not leave. Canonical of
// a canonical message is the message itself. What cannot be brought into form
// without changing what it says is an error for a person.
func Canonical(raw []byte) ([]byte, error) {
	if bytes.IndexByte(raw, 0) >= 0 {
		return nil, job.Refuse(job.Say("faults.nul", nil))
	}
	header, body, err := split(crlf(raw))
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	for _, f := range header {
		if dropped[strings.ToLower(f.name)] {
			continue
		}
		line, err := f.canonical()
		if err != nil {
			return nil, err
		}
		out.WriteString(line)
	}
	if out.Len() == 0 {
		return nil, errNoHeader
	}
	if out.Len() > headerOctets {
		return nil, job.Refuse(job.Say("faults.long-header", job.Args{"n": out.Len(), "most": headerOctets}))
	}
	if err := once(header); err != nil {
		return nil, err
	}
	out.WriteString("\r\n")
	out.Write(body)
	return out.Bytes(), longLines(out.Bytes())
}

// crlf makes every line end CRLF and ends the last line. A CR or LF alone is
// a line end that some program wrote in its own way (RFC 5322, 2.3).
func crlf(raw []byte) []byte {
	out := make([]byte, 0, len(raw)+len(raw)/32+2)
	for i := 0; i < len(raw); i++ {
		switch raw[i] {
		case '\r':
			if i+1 < len(raw) && raw[i+1] == '\n' {
				i++
			}
			out = append(out, '\r', '\n')
		case '\n':
			out = append(out, '\r', '\n')
		default:
			out = append(out, raw[i])
		}
	}
	if len(out) > 0 && !bytes.HasSuffix(out, []byte("\r\n")) {
		out = append(out, '\r', '\n')
	}
	return out
}

// longLines finds a line that mail cannot carry.
func longLines(raw []byte) error {
	n := 0
	for line := range bytes.SplitSeq(raw, []byte("\r\n")) {
		n++
		if len(line) > lineOctets {
			return job.Refuse(job.Say("faults.long-line", job.Args{"line": n, "n": len(line), "most": lineOctets}))
		}
	}
	return nil
}

func once(header []field) error {
	count := map[string]int{}
	for _, f := range header {
		count[strings.ToLower(f.name)]++
	}
	for _, name := range single {
		if count[name] > 1 {
			return job.Refuse(job.Say("faults.line-twice", job.Args{"n": count[name], "name": name}))
		}
	}
	return nil
}

// field is one header field as it stands, with its folding and line ends.
type field struct {
	name string
	text string
}

// value is what follows the colon.
func (f field) value() string { return f.text[strings.IndexByte(f.text, ':')+1:] }

func unfold(s string) string {
	return strings.TrimSpace(strings.ReplaceAll(s, "\r\n", ""))
}

// onlyAddresses reports whether nothing in a list of recipients but their addresses
// has other than ASCII letters: those stand there in UTF-8 (RFC 6532, 3.2).
func (f field) onlyAddresses() bool {
	if !utf8.ValidString(f.text) || !strings.EqualFold(f.name, "To") && !strings.EqualFold(f.name, "Cc") {
		return false
	}
	list, err := addresses(unfold(f.value()))
	if err != nil {
		return false
	}
	rest := f.text
	for _, a := range list {
		rest = strings.Replace(rest, a, "", 1)
	}
	return ascii(rest)
}

// canonical encodes a subject that somebody typed with other than ASCII
// letters (RFC 2047). In other fields such letters are a fault: where they may
// be encoded depends on the field's grammar.
func (f field) canonical() (string, error) {
	if ascii(f.text) || f.onlyAddresses() {
		return f.text, nil
	}
	if !strings.EqualFold(f.name, "Subject") || !utf8.ValidString(f.text) {
		return "", job.Refuse(job.Say("faults.header-letters", job.Args{"name": f.name}))
	}
	words := mime.QEncoding.Encode("utf-8", unfold(f.value()))
	return f.name + ": " + strings.ReplaceAll(words, "?= =?", "?=\r\n =?") + "\r\n", nil
}

var errNoHeader = job.Refuse(job.Say("faults.no-header", nil))

// split takes the header apart from the body. raw has CRLF line ends.
func split(raw []byte) ([]field, []byte, error) {
	var out []field
	rest := raw
	for n := 1; len(rest) > 0; n++ {
		end := bytes.Index(rest, []byte("\r\n"))
		if end < 0 {
			return nil, nil, badLine(n)
		}
		line := rest[:end+2]
		rest = rest[end+2:]
		switch colon := bytes.IndexByte(line, ':'); {
		case end == 0:
			if len(out) == 0 {
				return nil, nil, errNoHeader
			}
			return out, rest, nil
		case line[0] == ' ' || line[0] == '\t':
			if len(out) == 0 {
				return nil, nil, badLine(n)
			}
			out[len(out)-1].text += string(line)
		case colon < 1 || bytes.ContainsFunc(line[:colon], func(r rune) bool { return r <= ' ' || r > '~' }):
			return nil, nil, badLine(n)
		default:
			out = append(out, field{string(line[:colon]), string(line)})
		}
	}
	if len(out) == 0 {
		return nil, nil, job.Refuse(job.Say("faults.empty-message", nil))
	}
	return out, nil, nil
}

func badLine(n int) error {
	return job.Refuse(job.Say("faults.no-header-line", job.Args{"line": n}))
}

// Field is a header field to fill in.
type Field struct{ Name, Value string }

// Complete puts in the fields that the message lacks and leaves those that it
// has: a mail program in which a draft was edited may have dropped the thread
// or the Message-ID. Values are ASCII and already folded.
func Complete(raw []byte, missing ...Field) ([]byte, error) {
	header, body, err := split(crlf(raw))
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	for _, m := range missing {
		if m.Value != "" && !slices.ContainsFunc(header, m.sets) {
			fmt.Fprintf(&out, "%s: %s\r\n", m.Name, m.Value)
		}
	}
	for _, f := range header {
		if unfold(f.value()) != "" { // RFC 5322, 3.6: a field without a value is none
			out.WriteString(f.text)
		}
	}
	out.WriteString("\r\n")
	out.Write(body)
	return out.Bytes(), nil
}

// sets says whether the message gives this field a value of its own.
func (m Field) sets(f field) bool {
	return strings.EqualFold(f.name, m.Name) && unfold(f.value()) != ""
}
