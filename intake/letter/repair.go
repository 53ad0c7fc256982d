package letter

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"

	"meshclerk/intake/job"
)

// repairer rewrites one message, as a stream, into MIME that the parser reads
// without complaint: every header line is well formed, every multipart has a
// boundary that occurs nowhere else, every boundary line is exact and every
// multipart is closed. Bodies pass through byte for byte; what stands before the
// first boundary or after the last is dropped, as RFC 2046, 5.1.1 asks, unless a
// multipart has no parts at all.
type repairer struct {
	in     *bufio.Reader
	log    *log
	budget *int64 // header bytes that the letter may still use
	depth  int    // multiparts that may still be opened

	out     bytes.Buffer
	mode    mode
	open    []delimiter
	salt    string
	made    int
	inLine  bool   // the last piece read did not end its line
	held    []byte // the line ending before the next line, which may belong to a boundary
	root    bool   // still in the message's own header
	dropped bool   // the header met its cap

	fields [][]byte // of the header being read, folded lines kept with CRLF inside
	quoted bool     // the last of them has a quote open
	stray  [][]byte // lines among the fields that are no fields
}

type mode int

const (
	inHeader mode = iota
	inPreamble
	inBody
	inEpilogue
)

// delimiter is a multipart that is still open.
type delimiter struct {
	theirs, ours string
	seen         bool // a part was begun
	kept         []byte
}

const (
	pieceBytes   = 64 << 10 // longest piece of a line handled at once
	boundaryLen  = 200      // RFC 2046, 5.1.1 allows 70; some programs use more
	keptPreamble = 64 << 10
)

func newRepairer(in io.Reader, log *log, budget *int64, depth int) *repairer {
	salt := make([]byte, 12)
	_, _ = rand.Read(salt) // never fails, see crypto/rand
	return &repairer{in: bufio.NewReaderSize(in, pieceBytes), log: log, budget: budget, depth: depth,
		salt: fmt.Sprintf("%x", salt), root: true}
}

// Read implements io.Reader.
func (r *repairer) Read(p []byte) (int, error) {
	for r.out.Len() == 0 {
		if err := r.step(); err != nil {
			if r.out.Len() > 0 {
				break
			}
			return 0, err
		}
	}
	return r.out.Read(p)
}

// step takes in one line, or one piece of a long one.
func (r *repairer) step() error {
	line, err := r.in.ReadSlice('\n')
	if err != nil && !errors.Is(err, bufio.ErrBufferFull) && !errors.Is(err, io.EOF) {
		return err
	}
	if len(line) == 0 {
		r.finish()
		return io.EOF
	}
	start := !r.inLine
	r.inLine = line[len(line)-1] != '\n'
	if start {
		if i, closing, ok := r.boundary(line); ok {
			r.cross(i, closing)
			return nil
		}
	}
	switch r.mode {
	case inHeader:
		r.headerLine(line, start)
	case inPreamble:
		r.preambleLine(line, start)
	case inBody:
		r.bodyLine(line)
	}
	return nil
}

// boundary reports whether a line is the boundary of an open multipart, innermost first.
func (r *repairer) boundary(line []byte) (index int, closing, ok bool) {
	if len(r.open) == 0 || !bytes.HasPrefix(line, []byte("--")) {
		return 0, false, false
	}
	rest := string(bytes.TrimRight(line[2:], " \t\r\n"))
	for i := len(r.open) - 1; i >= 0; i-- {
		switch theirs := r.open[i].theirs; {
		case theirs == "":
		case rest == theirs:
			return i, false, true
		case rest == theirs+"--":
			return i, true, true
		}
	}
	return 0, false, false
}

// cross goes over a boundary of the multipart at index i.
func (r *repairer) cross(i int, closing bool) {
	if r.mode == inHeader {
		r.endHeader()
	}
	if i >= len(r.open) {
		return
	}
	if i < len(r.open)-1 {
		r.log.repair(job.Say("reading.repair.group-open", nil))
	}
	r.closeDownTo(i + 1)
	r.held = r.held[:0]
	d := &r.open[i]
	if closing {
		r.closeDownTo(i)
		r.mode = inEpilogue
		return
	}
	d.seen = true
	fmt.Fprintf(&r.out, "\r\n--%s\r\n", d.ours)
	r.beginHeader()
}

// closeDownTo closes open multiparts until n are left.
func (r *repairer) closeDownTo(n int) {
	for len(r.open) > n {
		d := r.open[len(r.open)-1]
		r.open = r.open[:len(r.open)-1]
		if !d.seen {
			r.log.repair(job.Say("reading.repair.no-parts", nil))
			fmt.Fprintf(&r.out, "\r\n--%s\r\n\r\n%s", d.ours, d.kept)
		}
		fmt.Fprintf(&r.out, "\r\n--%s--\r\n", d.ours)
	}
}

// finish writes what the end of the input left open.
func (r *repairer) finish() {
	if r.mode == inHeader {
		r.endHeader()
	}
	r.out.Write(r.held)
	r.held = nil
	if len(r.open) > 0 {
		r.log.unclosed = true
		r.log.repair(job.Say("reading.repair.part-open", nil))
	}
	r.closeDownTo(0)
	r.mode = inEpilogue
}

// bodyLine passes a line on, but holds its ending back: before a boundary it
// belongs to the boundary (RFC 2046, 5.1.1).
func (r *repairer) bodyLine(line []byte) {
	r.out.Write(r.held)
	text := bytes.TrimSuffix(bytes.TrimSuffix(line, []byte("\n")), []byte("\r"))
	r.out.Write(text)
	r.held = append(r.held[:0], line[len(text):]...)
}

// preambleLine looks for a boundary that the header does not name.
func (r *repairer) preambleLine(line []byte, start bool) {
	d := &r.open[len(r.open)-1]
	if start && bytes.HasPrefix(line, []byte("--")) {
		name := string(bytes.TrimRight(line[2:], " \t\r\n"))
		if name != "" && len(name) <= boundaryLen && (d.theirs == "" || r.fieldAhead(partField)) {
			r.log.repair(job.Say("reading.repair.boundary", nil))
			d.theirs = name
			r.cross(len(r.open)-1, false)
			return
		}
	}
	if len(d.kept) < keptPreamble {
		d.kept = append(d.kept, line...)
	}
}

var (
	partField = regexp.MustCompile(`(?i)^content-[a-z-]+[ \t]*:`)
	anyField  = regexp.MustCompile(`^[!-9;-~]+[ \t]*:`)
	nakedPart = regexp.MustCompile(`(?i)^\s*--([^\r\n]{1,200}?)[ \t]*\r?\ncontent-[a-z-]+[ \t]*:`)
)

// fieldAhead reports whether the next line looks like a header field.
func (r *repairer) fieldAhead(field *regexp.Regexp) bool {
	next, _ := r.in.Peek(256)
	return field.Match(next)
}

func (r *repairer) beginHeader() {
	r.mode, r.dropped = inHeader, false
	r.fields, r.stray = r.fields[:0], r.stray[:0]
}

// headerLine takes in one line of a header.
func (r *repairer) headerLine(line []byte, start bool) {
	if *r.budget -= int64(len(line)); *r.budget < 0 && !r.dropped {
		r.dropped = true
		r.log.note(job.Say("reading.header-long", nil))
	}
	raw := bytes.TrimRight(line, "\r\n")
	blank := len(bytes.Trim(raw, " \t\x00")) == 0
	if r.dropped && !(start && blank) {
		return
	}
	text := string(raw)
	if strings.ContainsRune(text, 0) {
		r.log.repair(job.Say("reading.repair.zero-bytes", nil))
		text = strings.ReplaceAll(text, "\x00", "")
	}
	switch {
	case start && text == "":
		r.blankLine()
	case start && blank && !r.fieldAhead(anyField):
		r.blankLine()
	case blank:
	case !start || text[0] == ' ' || text[0] == '\t':
		r.continued(text, start)
	case r.root && len(r.fields)+len(r.stray) == 0:
		r.firstLine(text)
	case anyField.MatchString(text):
		r.settleStray()
		r.begin(text)
	default:
		r.stray = append(r.stray, []byte(text))
	}
}

// begin takes in the first line of a field.
func (r *repairer) begin(text string) {
	r.fields, r.quoted = append(r.fields, nil), false
	r.extend("", text)
}

// extend adds to the last field. It is a slice of bytes, and not a string, so that
// a field of very many lines takes no more than its length.
func (r *repairer) extend(sep, text string) {
	last := &r.fields[len(r.fields)-1]
	*last = append(append(*last, sep...), text...)
	r.quoted = r.quoted != (strings.Count(text, `"`)%2 == 1)
}

// firstLine takes in the first line of the whole message.
func (r *repairer) firstLine(text string) {
	if bare := strings.TrimPrefix(text, "\ufeff"); bare != text {
		r.log.repair(job.Say("reading.repair.byte-order-mark", nil))
		text = bare
	}
	switch {
	case strings.HasPrefix(text, "From ") || strings.HasPrefix(text, ">From "):
		r.log.repair(job.Say("reading.repair.separator", nil))
	case anyField.MatchString(text):
		r.begin(text)
	default:
		r.stray = append(r.stray, []byte(text))
	}
}

// blankLine ends the header, unless nothing has come yet but empty lines.
func (r *repairer) blankLine() {
	if r.root && len(r.fields)+len(r.stray) == 0 && (r.fieldAhead(anyField) || r.fieldAhead(emptyLine)) {
		r.log.repair(job.Say("reading.repair.empty-lines", nil))
		return
	}
	r.endHeader()
	if r.mode == inBody && len(r.stray) > 0 {
		r.bodyLine([]byte("\r\n"))
	}
}

var emptyLine = regexp.MustCompile(`^[ \t]*\r?\n`)

// continued adds a folded line, or a piece of a long one, to the field it belongs to.
func (r *repairer) continued(text string, start bool) {
	sep := ""
	if start {
		sep = "\r\n"
	}
	switch {
	case len(r.stray) > 0:
		last := &r.stray[len(r.stray)-1]
		*last = append(append(*last, sep...), text...)
	case len(r.fields) > 0:
		r.extend(sep, text)
	default:
		r.log.repair(job.Say("reading.repair.mid-line", nil))
		if text = strings.TrimLeft(text, " \t"); anyField.MatchString(text) {
			r.begin(text)
		}
	}
}

// settleStray decides what lines without a colon are once a field follows them:
// the rest of a field that was wrapped without indenting, or rubbish.
func (r *repairer) settleStray() {
	for _, text := range r.stray {
		if n := len(r.fields); n > 0 && (r.quoted || brokenWrap(r.fields[n-1], text)) {
			r.log.repair(job.Say("reading.repair.wrapped", nil))
			r.extend("\r\n ", string(text))
			continue
		}
		r.log.repair(job.Say("reading.repair.no-colon", nil))
	}
	r.stray = r.stray[:0]
}

// brokenWrap reports whether text continues field: the field is long or visibly unfinished.
func brokenWrap(field, text []byte) bool {
	last := bytes.TrimRight(field[bytes.LastIndexByte(field, '\n')+1:], " \t")
	return len(last) > 60 || bytes.HasSuffix(last, []byte(";")) || bytes.HasSuffix(last, []byte(",")) || bytes.HasPrefix(text, []byte("=?"))
}

// endHeader writes the collected header and goes on to what follows it.
// Stray lines at its very end are the beginning of a body whose empty line is missing.
func (r *repairer) endHeader() {
	if len(r.stray) > 0 && len(r.fields) > 0 {
		r.log.repair(job.Say("reading.repair.no-empty-line", nil))
	}
	media, encoding := fieldValue(r.fields, "content-type"), fieldValue(r.fields, "content-transfer-encoding")
	kind, params := parseMedia(media)
	multi := strings.HasPrefix(kind, "multipart/")
	if name := r.nakedBoundary(kind); !multi && encoding == "" && name != "" {
		r.log.repair(job.Say("reading.repair.parts-unsaid", nil))
		kind, params, multi = "multipart/mixed", map[string]string{"boundary": name}, true
	}
	multi = multi && len(r.open) < r.depth
	for _, f := range r.fields {
		if !multi || !isField(f, "content-type") {
			r.out.Write(f)
			r.out.WriteString("\r\n")
		}
	}
	r.mode, r.root = inBody, false
	if multi {
		r.openMultipart(kind, params)
		r.mode = inPreamble
	}
	r.out.WriteString("\r\n")
	r.held = r.held[:0]
	for _, text := range r.stray {
		if r.mode == inBody {
			r.bodyLine(append(text, "\r\n"...))
		}
	}
}

// nakedBoundary finds the boundary of parts that no Content-Type announces.
func (r *repairer) nakedBoundary(kind string) string {
	if kind != "" && kind != "text/plain" && strings.Contains(kind, "/") {
		return ""
	}
	ahead, _ := r.in.Peek(1024)
	if m := nakedPart.FindSubmatch(ahead); m != nil && len(r.stray) == 0 {
		return string(m[1])
	}
	return ""
}

// openMultipart writes the Content-Type of a multipart under a boundary of ours.
func (r *repairer) openMultipart(kind string, params map[string]string) {
	r.made++
	d := delimiter{ours: fmt.Sprintf("=_%s_%d", r.salt, r.made)}
	if b := strings.TrimRight(params["boundary"], " \t"); len(b) <= boundaryLen {
		d.theirs = b
	}
	r.open = append(r.open, d)
	fmt.Fprintf(&r.out, "Content-Type: %s; boundary=\"%s\"", kind, d.ours)
	if report := params["report-type"]; report != "" {
		fmt.Fprintf(&r.out, "; report-type=%q", report)
	}
	r.out.WriteString("\r\n")
}

func isField(line []byte, name string) bool {
	got, _, ok := bytes.Cut(line, []byte(":"))
	return ok && bytes.EqualFold(bytes.TrimRight(got, " \t"), []byte(name))
}

// fieldValue returns the unfolded value of the first field of that name.
func fieldValue(fields [][]byte, name string) string {
	for _, f := range fields {
		if isField(f, name) {
			_, v, _ := strings.Cut(string(f), ":")
			return strings.TrimSpace(strings.NewReplacer("\r\n", "").Replace(v))
		}
	}
	return ""
}
