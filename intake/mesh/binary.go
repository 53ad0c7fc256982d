package mesh

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"runtime"

	"github.com/hschendel/stl"

	"meshclerk/intake/job"
	"meshclerk/intake/parallel"
)

// StereoLithography Interface Specification, 3D Systems 1989: an 80-byte
// header, the number of facets as u32, 50 bytes a facet, little-endian.
const (
	headerBytes = 84
	facetBytes  = 50
)

// readBinary hands the facets to the library in sections, side by side, each
// shown as a well-formed file of its own.
func readBinary(ctx context.Context, r io.ReaderAt, size int64, head []byte, lim Limits, facts *Facts) (*soup, error) {
	if size < headerBytes+facetBytes && (size < headerBytes || promised(head) > 0) {
		return nil, unreadable(job.Say("findings.unread.cut-bytes", job.Args{"bytes": size}))
	}
	if size != headerBytes+facetBytes*int64(promised(head)) && bytes.Count(head, []byte("\xef\xbf\xbd")) > 2 {
		return nil, unreadable(job.Say("findings.unread.as-text", nil))
	}
	n, err := trueCount(r, size, head, lim, facts)
	if err != nil {
		return nil, err
	}
	if n > int64(lim.Facets) {
		return nil, unreadable(job.Say("findings.unread.too-many", job.Args{"facets": n, "most": lim.Facets}))
	}
	s, err := readSections(ctx, r, int(n), lim)
	if err != nil {
		return nil, err
	}
	s.promised = promised(head)
	facts.Facets, facts.Degenerate = s.facets, s.degenerate
	return s, nil
}

func promised(head []byte) uint32 { return binary.LittleEndian.Uint32(head[80:headerBytes]) }

// trueCount returns how many facets the file really holds. The header's count is
// believed where the size agrees, or where what follows the counted facets does
// not look like further ones.
func trueCount(r io.ReaderAt, size int64, head []byte, lim Limits, facts *Facts) (int64, error) {
	says, held := int64(promised(head)), (size-headerBytes)/facetBytes
	extra := size - headerBytes - facetBytes*min(says, held)
	switch {
	case extra == 0 && says <= held:
		return says, nil
	case says > held:
		return held, nil // checkPromise judges it once the surface is known
	}
	more, err := facetsFollow(r, says, held, lim)
	if err != nil {
		return 0, err
	}
	if more {
		facts.note("the header counts %d facets, but the file holds %d; all were read", says, held)
		return held, nil
	}
	facts.note("%d bytes after the last facet were left out", extra)
	return says, nil
}

// facetsFollow reports whether the bytes after facet `from` look like facets: sane
// corners of about the size of those before, and not all zero.
func facetsFollow(r io.ReaderAt, from, to int64, lim Limits) (bool, error) {
	if to == from {
		return false, nil
	}
	limit := lim.CoordinateMM
	buf := make([]byte, facetBytes*min(to-from, 256))
	if n := min(from, 256); n > 0 {
		before := buf[:facetBytes*min(n, int64(len(buf)/facetBytes))]
		if _, err := r.ReadAt(before, headerBytes); err != nil {
			return false, fmt.Errorf("the file cannot be read: %w", err)
		}
		limit = min(limit, 1000*largest(before))
	}
	if _, err := r.ReadAt(buf, headerBytes+facetBytes*from); err != nil {
		return false, fmt.Errorf("the file cannot be read: %w", err)
	}
	size := largest(buf)
	return size > 0 && size <= limit, nil
}

// largest returns the largest absolute coordinate of encoded facets, or infinity
// where one is no number or a length so small that it is none either.
func largest(facets []byte) float64 {
	most := 0.0
	for f := 0; f+facetBytes <= len(facets); f += facetBytes {
		for i := f + 12; i < f+48; i += 4 {
			v := math.Abs(float64(math.Float32frombits(binary.LittleEndian.Uint32(facets[i:]))))
			if v != v || v != 0 && v < 1e-18 {
				return math.Inf(1)
			}
			most = max(most, v)
		}
	}
	return most
}

// checkPromise refuses a file that holds fewer facets than its header promises,
// unless its surface is closed: then only the count is wrong. A count so large
// that no file of the kind exists is wrong, whatever the surface.
func (s *soup) checkPromise(facts *Facts) error {
	if int64(s.promised) <= int64(s.facets) {
		return nil
	}
	absurd := int64(s.promised) > 1000*int64(s.facets)+1_000_000
	if facts.edges.Open > 0 && !absurd {
		return unreadable(job.Say("findings.unread.cut-facets", job.Args{"promised": s.promised, "there": s.facets}))
	}
	facts.note("the header counts %d facets, but the file holds %d; all were read", s.promised, s.facets)
	return nil
}

// readSections reads n facets, each section on a core of its own.
func readSections(ctx context.Context, r io.ReaderAt, n int, lim Limits) (*soup, error) {
	parts := max(1, min(runtime.GOMAXPROCS(0), 8, n/20_000))
	soups, errs := make([]*soup, parts), make([]error, parts)
	parallel.Do(parts, func(i int) {
		from, to := n*i/parts, n*(i+1)/parts
		room := to - from
		if i == 0 {
			room = n // the others are joined to it
		}
		soups[i] = newSoup(to-from, room, lim)
		errs[i] = readSection(ctx, r, from, to, soups[i])
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	soups[0].join(soups[1:])
	return soups[0], nil
}

func readSection(ctx context.Context, r io.ReaderAt, from, to int, s *soup) error {
	s.before = from
	err := stl.CopyAll(newSection(ctx, r, from, to, s), &gatherer{s})
	switch {
	case s.bad != nil:
		return s.bad
	case ctx.Err() != nil:
		return ctx.Err()
	case err != nil:
		return fmt.Errorf("the file cannot be read: %w", err)
	}
	return nil
}

// gatherer is the stl.Writer that feeds a soup.
type gatherer struct{ *soup }

func (gatherer) SetName(string)          {}
func (gatherer) SetBinaryHeader([]byte)  {}
func (gatherer) SetASCII(bool)           {}
func (gatherer) SetTriangleCount(uint32) {}
func (g gatherer) AppendTriangle(t stl.Triangle) {
	a, b, c := &t.Vertices[0], &t.Vertices[1], &t.Vertices[2]
	g.add(point{a[0], a[1], a[2]}, point{b[0], b[1], b[2]}, point{c[0], c[1], c[2]})
}

// section shows facets from..to of a file as a whole file, with a header whose
// count is right. Its reads fail as soon as the context or the soup says stop.
type section struct {
	ctx  context.Context
	into *soup
	body *io.SectionReader
	head [headerBytes]byte
	at   int64
	buf  []byte // read ahead, of body at bufAt
	next []byte
}

func newSection(ctx context.Context, r io.ReaderAt, from, to int, into *soup) *section {
	s := &section{ctx: ctx, into: into, buf: make([]byte, 1<<18)}
	s.body = io.NewSectionReader(r, headerBytes+facetBytes*int64(from), facetBytes*int64(to-from))
	binary.LittleEndian.PutUint32(s.head[80:], uint32(to-from))
	return s
}

// Seek implements io.Seeker for what the library does: to the end and back to the start.
func (s *section) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekStart:
		s.at = offset
	case io.SeekCurrent:
		s.at += offset
	case io.SeekEnd:
		s.at = headerBytes + s.body.Size() + offset
	}
	s.next = nil
	_, err := s.body.Seek(max(0, s.at-headerBytes), io.SeekStart)
	return s.at, err
}

func (s *section) Read(p []byte) (int, error) {
	if s.at < headerBytes {
		n := copy(p, s.head[s.at:])
		s.at += int64(n)
		return n, nil
	}
	if len(s.next) == 0 {
		if err := s.fill(); err != nil {
			return 0, err
		}
	}
	n := copy(p, s.next)
	s.next = s.next[n:]
	s.at += int64(n)
	return n, nil
}

func (s *section) fill() error {
	if s.into.bad != nil {
		return s.into.bad
	}
	if err := s.ctx.Err(); err != nil {
		return err
	}
	n, err := s.body.Read(s.buf)
	s.next = s.buf[:n]
	if n > 0 {
		return nil
	}
	return err
}
