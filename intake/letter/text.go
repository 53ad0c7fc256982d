package letter

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"regexp"
	"strings"

	"golang.org/x/net/html/charset"
	"golang.org/x/text/unicode/norm"

	"meshclerk/intake/job"
)

// markupFactor is how many times longer the markup of a text may be than the text.
const markupFactor = 8

// textPart reads a part of what the writer wrote.
func (r *reader) textPart(d described, in *bufio.Reader) (body, error) {
	head, _ := in.Peek(512)
	if isHTML(d.media.word, head) {
		raw, err := r.capped(in, r.textLeft*markupFactor)
		return body{html: r.html(raw, d.media.params["charset"])}, err
	}
	raw, err := r.plainText(d, in)
	text := tidy(r.decoded(raw, d.media.params["charset"]))
	if strings.EqualFold(d.media.params["format"], "flowed") {
		text = unflow(text, strings.EqualFold(d.media.params["delsp"], "yes"))
	}
	return body{plain: text}, err
}

var htmlStart = regexp.MustCompile(`(?i)^\s*(<!doctype html|<html[\s>]|<head[\s>]|<body[\s>])`)

func isHTML(media string, head []byte) bool {
	return media == "text/html" || media == "text/x-amp-html" || media == "application/xhtml+xml" || htmlStart.Match(head)
}

// html renders HTML, in the charset that its part or it itself names.
func (r *reader) html(raw []byte, label string) string {
	if label == "" {
		_, label, _ = charset.DetermineEncoding(raw, "")
		if label == "windows-1252" { // which also means: nothing was found
			label = ""
		}
	}
	source := r.decoded(raw, label)
	text, shown := renderHTML(source, int(r.textLeft), signatureNames)
	if strings.TrimSpace(text) == "" { // some people write inside their signature
		text, shown = renderHTML(source, int(r.textLeft), nil)
	}
	for _, id := range shown {
		r.shown[id] = true
	}
	return tidy(text)
}

func (r *reader) decoded(raw []byte, label string) string {
	label, _, _ = strings.Cut(strings.TrimSpace(label), " ")
	label = strings.TrimPrefix(strings.ToLower(label), "charset=")
	text, known := toUTF8(raw, label)
	if !known {
		r.repair(job.Say("reading.repair.charset", job.Args{"name": shown(label, 30)}))
	}
	return norm.NFC.String(text)
}

func tidy(text string) string {
	return strings.NewReplacer("\r\n", "\n", "\r", "\n", "\x00", "", "\u00a0", " ", "\u200b", "", "\ufeff", "").Replace(text)
}

// capped reads at most limit bytes and says when there was more.
func (r *reader) capped(in io.Reader, limit int64) ([]byte, error) {
	raw, _ := io.ReadAll(io.LimitReader(in, limit+1)) // a source that fails is seen by failed
	if int64(len(raw)) > limit {
		raw = raw[:limit]
		r.longText()
	}
	return raw, r.failed()
}

func (r *reader) longText() {
	r.note(job.Say("reading.text-long", job.Args{"size": bytesOf(r.caps.TextBytes)}))
}

// plainText reads text up to the cap, and takes uuencoded files out of it.
func (r *reader) plainText(d described, in *bufio.Reader) ([]byte, error) {
	var text []byte
	for start := true; ; {
		line, err := in.ReadSlice('\n')
		if name, ok := uuBegin(bytes.TrimRight(line, "\r\n")); ok && start && r.parts < r.caps.Parts && r.uuAhead(in) {
			r.parts++
			if _, err := r.attach(name, "", "", 0, &uuSource{in: in}); err != nil {
				return text, err
			}
			continue
		}
		start = bytes.HasSuffix(line, []byte("\n"))
		if room := r.textLeft - int64(len(text)); int64(len(line)) > room {
			line = line[:max(room, 0)]
			r.longText()
		}
		text = append(text, line...)
		if err != nil && !errors.Is(err, bufio.ErrBufferFull) {
			r.textLeft -= int64(len(text))
			return text, r.failed()
		}
	}
}

// uuAhead reports whether a file really follows a line that reads "begin".
func (r *reader) uuAhead(in *bufio.Reader) bool {
	next, _ := in.Peek(128)
	line, _, _ := bytes.Cut(next, []byte("\n"))
	return len(line) > 0 && plausibleUU(line)
}

// uuSource reads a uuencoded file out of a text, up to its end line.
type uuSource struct {
	in   *bufio.Reader
	out  bytes.Buffer
	done bool
}

func (s *uuSource) Read(p []byte) (int, error) {
	for s.out.Len() == 0 && !s.done {
		line, err := s.in.ReadSlice('\n')
		text := bytes.TrimRight(line, "\r\n")
		if s.done = err != nil || uuEnd(text); !uuEnd(text) {
			uuLine(&s.out, text)
		}
	}
	if s.out.Len() == 0 {
		return 0, io.EOF
	}
	return s.out.Read(p)
}

// unflow joins the soft line breaks of format=flowed (RFC 3676, 4).
func unflow(text string, delsp bool) string {
	var out strings.Builder
	var open bool
	depth := -1
	for _, line := range strings.Split(text, "\n") {
		rest := strings.TrimLeft(line, ">")
		d := len(line) - len(rest)
		rest = strings.TrimPrefix(rest, " ") // 4.4: space-stuffing
		if out.Len() > 0 && !(open && d == depth) {
			out.WriteByte('\n')
		}
		if !(open && d == depth) && d > 0 {
			out.WriteString(strings.Repeat(">", d) + " ")
		}
		// 4.3: the signature line is never flowed
		open = strings.HasSuffix(rest, " ") && rest != "-- "
		if open && delsp {
			rest = strings.TrimSuffix(rest, " ")
		}
		depth = d
		out.WriteString(rest)
	}
	return out.String()
}

// words fills in what the writer wrote, and the links in it. A writer who adds
// no word to a letter passed on means the words of that letter.
func (r *reader) words(l *job.Letter, m *message) {
	own := Own(m.body.text())
	l.Text, l.Inline, l.Quoted = own.Text, own.Inline, own.Quoted
	switch {
	case l.Text != "":
	case own.Forwarded != nil:
		l.Text = Own(own.Forwarded.Text).Text
	case len(m.inner) > 0:
		l.Text = Own(m.inner[0].body.text()).Text
	}
	l.Links = []string{}
	for _, text := range []string{l.Text, Own(m.body.html).Text} {
		for _, link := range links(text) {
			l.Links = once(l.Links, link)
		}
	}
	for _, link := range r.external {
		l.Links = once(l.Links, link)
	}
}

var webLink = regexp.MustCompile(`(?i)\bhttps?://[^\s<>"'\x60\]]{3,900}`)

// mayHoldLink reports whether a text may have a link in it, without the full search.
func mayHoldLink(text string) bool { return strings.Contains(text, "://") }

func isWebLink(s string) bool { return webLink.FindString(s) == s && s != "" }

func links(text string) []string {
	if !mayHoldLink(text) {
		return nil
	}
	found := webLink.FindAllString(text, logged)
	for i, link := range found {
		link = strings.TrimRight(link, ".,;:!?*")
		if strings.Count(link, ")") > strings.Count(link, "(") {
			link = strings.TrimRight(link, ").,;")
		}
		found[i] = link
	}
	return found
}

// htmlNotice is a plain part that only says that there is an HTML part.
var htmlNotice = regexp.MustCompile(`(?i)\bhtml\b`)

func onlyHTMLNotice(plain string) bool {
	plain = strings.TrimSpace(plain)
	return len(plain) < 250 && htmlNotice.MatchString(plain) && htmlNoticeVerb.MatchString(plain)
}

var htmlNoticeVerb = regexp.MustCompile(`(?i)(not (support|display)|(view|read|see) (this|the) (e-?mail|message)|enable html|html[- ](capable|compatible|enabled)|ne (prend|peut|supporte)|affich|no (admite|soporta|puede)|visualizar)`)
