package letter

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"

	"meshclerk/intake/job"
)

var (
	partField = regexp.MustCompile(`(?i)^content-[a-z-]+[ \t]*:`)
	nakedPart = regexp.MustCompile(`(?i)^\s*--([^\r\n]{1,200}?)[ \t]*\r?\ncontent-[a-z-]+[ \t]*:`)
)

// delimiter is a multipart that is still open.
type delimiter struct {
	theirs, ours string
	seen         bool // a part was begun
	kept         []byte
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
