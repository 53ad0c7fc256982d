package letter

import (
	"bytes"
	"regexp"
	"strings"

	"meshclerk/intake/job"
)

var anyField = regexp.MustCompile(`^[!-9;-~]+[ \t]*:`)

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
