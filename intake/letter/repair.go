package letter

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"

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
