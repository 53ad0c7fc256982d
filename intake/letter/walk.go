package letter

import (
	"bufio"
	"bytes"
	"io"
	"path"
	"slices"
	"strings"

	"github.com/emersion/go-message/textproto"

	"meshclerk/intake/job"
)

// body is what a part shows, as plain text and, where there is some, as the text of its HTML.
type body struct{ plain, html string }

// text is the better of the two.
func (b body) text() string {
	if strings.TrimSpace(b.plain) != "" && !onlyHTMLNotice(b.plain) {
		return b.plain
	}
	if strings.TrimSpace(b.html) != "" {
		return b.html
	}
	return b.plain
}

// then puts the text of the next part below.
func (b body) then(next body) body {
	join := func(a, c, instead string) string {
		if strings.TrimSpace(c) == "" {
			c = instead
		}
		if strings.TrimSpace(a) == "" || strings.TrimSpace(c) == "" {
			return a + c
		}
		return strings.TrimRight(a, "\n") + "\n\n" + c
	}
	return body{plain: join(b.plain, next.plain, next.html), html: join(b.html, next.html, next.plain)}
}

// message reads one message, whose depth is that of the parts around it.
func (r *reader) message(in io.Reader, depth int) (*message, error) {
	br := bufio.NewReader(newRepairer(in, &r.log, &r.headerLeft, r.caps.Depth-depth))
	h, err := textproto.ReadHeader(br)
	if r.failed() != nil {
		return nil, r.failed()
	}
	if err != nil && h.Len() == 0 {
		return nil, ErrNotMail
	}
	m := &message{header: h}
	m.body, err = r.part(m, h, br, place{depth: depth})
	return m, err
}

// place says where a part stands.
type place struct {
	depth  int
	within string // the multipart's type, or empty for the whole message
	first  bool   // the first part of it
}

// field is the media type or disposition of a part.
type field struct {
	word   string
	params map[string]string
}

// described is what a part's header says about it.
type described struct {
	media, disposition field
	encoding, name, id string
}

func describe(h textproto.Header) described {
	var d described
	d.media.word, d.media.params = parseMedia(rawValue(h, "Content-Type"))
	d.disposition.word, d.disposition.params = parseMedia(rawValue(h, "Content-Disposition"))
	d.encoding = h.Get("Content-Transfer-Encoding")
	d.id = strings.Trim(h.Get("Content-Id"), "<> \t")
	d.name = d.disposition.params["filename"]
	for _, name := range []string{d.media.params["name"], d.media.params["filename"], d.disposition.params["name"], titleName(h)} {
		if d.name == "" {
			d.name = name
		}
	}
	return d
}

// titleName is a Content-Description that reads like a file name.
func titleName(h textproto.Header) string {
	title := decodeWords(h.Get("Content-Description"))
	if k := ending(title); k == ".stl" || kindByEnding[k] != "" {
		return title
	}
	return ""
}

// rawValue is a field's value, unfolded by joining: RFC 5322, 2.2.3 says to take
// out only the line ends, which keeps a name that was folded in its middle whole.
func rawValue(h textproto.Header, name string) string {
	raw, err := h.Raw(name)
	if err != nil || raw == nil {
		return ""
	}
	_, value, _ := strings.Cut(string(raw), ":")
	return strings.TrimSpace(strings.NewReplacer("\r\n\t", " ", "\r\n", "", "\n", "").Replace(value))
}

// part reads one part with all that is in it.
func (r *reader) part(m *message, h textproto.Header, in io.Reader, at place) (body, error) {
	if r.parts++; r.parts > r.caps.Parts {
		r.note(job.Say("reading.many-parts", job.Args{"n": r.caps.Parts}))
		return body{}, nil
	}
	d := describe(h)
	if d.media.word == "" && at.within == "multipart/digest" { // RFC 2046, 5.1.5
		d.media.word = "message/rfc822"
	}
	if strings.HasPrefix(d.media.word, "multipart/") {
		return r.multipart(m, d, in, at)
	}
	decoded := r.decode(d, in)
	switch {
	case isMessage(d):
		return r.inner(m, d, decoded, at)
	case d.media.word == "message/delivery-status" || d.media.word == "message/disposition-notification":
		m.delivery = true
		return body{}, nil
	case d.media.word == "message/external-body":
		return body{}, r.externalBody(d)
	}
	peek := bufio.NewReaderSize(decoded, headBytes)
	head, _ := peek.Peek(headBytes)
	if r.isText(d, head, at) {
		r.last = -1
		return r.textPart(d, peek)
	}
	return body{}, r.filePart(d, peek, at)
}

// decode undoes the transfer encoding, unless it is not known or cannot be true.
func (r *reader) decode(d described, in io.Reader) io.Reader {
	raw := bufio.NewReaderSize(in, headBytes)
	head, _ := raw.Peek(headBytes)
	if strings.Contains(strings.ToLower(d.encoding), "base64") && !couldBeBase64(head) {
		r.repair(job.Say("reading.repair.not-base64", nil))
		return raw
	}
	decoded, ok := decoder(d.encoding, raw)
	if !ok {
		r.note(job.Say("reading.encoding", job.Args{"name": shown(d.encoding, 40)}))
	}
	return decoded
}

func isMessage(d described) bool {
	return d.media.word == "message/rfc822" || d.media.word == "message/global" ||
		strings.EqualFold(path.Ext(fileName(d.name)), ".eml") && !strings.HasPrefix(d.media.word, "text/")
}

// multipart reads the parts of a multipart. RFC 2046, 5.1.4: of alternatives the
// plainest comes first and the richest last.
func (r *reader) multipart(m *message, d described, in io.Reader, at place) (body, error) {
	var all body
	if at.depth >= r.caps.Depth {
		r.note(job.Say("reading.parts-deep", job.Args{"n": r.caps.Depth}))
		return all, nil
	}
	mr := textproto.NewMultipartReader(in, d.media.params["boundary"])
	for n := 0; ; n++ {
		p, err := mr.NextPart()
		if r.failed() != nil {
			return all, r.failed()
		}
		if err != nil {
			return all, nil // the repairer closes every multipart: nothing is left in this one
		}
		b, err := r.part(m, p.Header, p, place{depth: at.depth + 1, within: d.media.word, first: n == 0})
		if err != nil {
			return all, err
		}
		if r.parts > r.caps.Parts {
			return all, nil
		}
		if d.media.word != "multipart/alternative" {
			all = all.then(b)
			continue
		}
		if strings.TrimSpace(all.plain) == "" {
			all.plain = b.plain
		}
		if strings.TrimSpace(b.html) != "" {
			all.html = b.html
		}
	}
}

// inner reads a message inside the letter.
func (r *reader) inner(m *message, d described, in io.Reader, at place) (body, error) {
	if at.depth >= r.caps.Depth {
		r.note(job.Say("reading.letters-deep", job.Args{"n": r.caps.Depth}))
		return body{}, nil
	}
	inner, err := r.message(in, at.depth+1)
	if err == ErrNotMail {
		r.note(job.Say("reading.inner-no-header", nil))
		return body{}, nil
	}
	if err != nil {
		return body{}, err
	}
	m.inner = append(m.inner, inner)
	return body{}, nil
}

// externalBody notes a part that lies elsewhere (RFC 2046, 5.2.3). It is never fetched.
func (r *reader) externalBody(d described) error {
	r.note(job.Say("reading.elsewhere", nil))
	if url := strings.Join(strings.Fields(d.media.params["url"]), ""); isWebLink(url) { // RFC 2017, 3
		r.external = append(r.external, url)
	}
	return nil
}

// isText reports whether a part belongs to what the writer wrote.
func (r *reader) isText(d described, head []byte, at place) bool {
	kind := d.media.word
	text := kind == "text/plain" || kind == "text/html" || kind == "text" || kind == "text/enriched" || kind == "" ||
		!strings.Contains(kind, "/") || kind == "text/x-amp-html" || kind == "application/xhtml+xml"
	switch {
	case !text || surelyFile(head):
		return false
	case d.disposition.word == "attachment":
		return false
	case at.within == "" || at.within == "multipart/alternative":
		return kindByEnding[ending(d.name)] == "" || ending(d.name) == ".txt" || ending(d.name) == ".html" || ending(d.name) == ".htm"
	case d.name == "":
		return true
	}
	return at.first && d.disposition.word == "" && ending(d.name) != ".stl" && !slices.Contains(r.opts.Accepted, ending(d.name))
}

// surelyFile reports whether the content of a part declared as text is that of a file.
func surelyFile(head []byte) bool {
	kind := kindByContent(sample{head: head})
	return kind == job.KindMesh || kind == job.KindPicture || bytes.HasPrefix(head, []byte("%PDF-"))
}

func ending(name string) string { return strings.ToLower(path.Ext(fileName(name))) }

// filePart reads a part that is a file.
func (r *reader) filePart(d described, in io.Reader, at place) error {
	switch {
	case at.within == "multipart/signed" && !at.first: // RFC 1847: the signature, not a file
		return nil
	case d.media.word == "application/applefile": // RFC 1740: what one system keeps beside a file
		return nil
	}
	if d.media.word == "application/pkcs7-mime" || d.media.word == "application/pgp-encrypted" {
		r.note(job.Say("reading.sealed", nil))
	}
	r.last = len(r.files)
	a, err := r.attach(d.name, d.media.word, "", 0, in)
	if err != nil || a == nil {
		return err
	}
	if a.Kind == job.KindPicture && d.id != "" && d.disposition.word != "attachment" && a.Bytes < decoration {
		r.pictures = append(r.pictures, picture{at: r.last, id: d.id})
	}
	return nil
}
