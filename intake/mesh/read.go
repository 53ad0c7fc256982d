package mesh

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"meshclerk/intake/budget"
	"meshclerk/intake/job"
)

// mostFacets is what fits into the numbers of sides.
const mostFacets = 700_000_000

// Limits bound what one file may cost. A zero field takes its default:
// 250 MB, 5,000,000 facets, coordinates within 1,000,000 mm (a kilometre, where
// single precision resolves 0.06 mm).
type Limits struct {
	Bytes        int64
	Facets       int
	CoordinateMM float64 // largest absolute coordinate
}

func (l Limits) orDefault() Limits {
	if l.Bytes <= 0 {
		l.Bytes = 250_000_000
	}
	if l.Facets <= 0 {
		l.Facets = 5_000_000
	}
	l.Facets = min(l.Facets, mostFacets)
	if l.CoordinateMM <= 0 {
		l.CoordinateMM = 1e6
	}
	return l
}

// Facts is what reading found out about a file, beyond the mesh.
type Facts struct {
	Format        string  // "binary" or "ascii"
	Facets        int     // in the file, before any were dropped
	Degenerate    int     // facets left out because they have no area: a corner twice, or a needless sliver
	Slivers       int     // facets that stay though their three corners lie on a line: the surface needs them
	Duplicate     int     // facets with the same three corners as an earlier one
	WeldTolerance float64 // mm; 0 when equal coordinates were enough
	Notes         []string

	edges *Edges // of the clean mesh, so that Examine need not find them again
}

func (f *Facts) note(format string, args ...any) {
	f.Notes = append(f.Notes, fmt.Sprintf(format, args...))
}

// Unreadable is the error of a file that holds no mesh we can take. Its sentence
// says what the file really is, for the person who sent it.
type Unreadable struct {
	What   job.Message // e.g. "this is a web page, not an STL file"
	NotSTL bool        // the file is known to be something else than STL
}

func (u *Unreadable) Error() string { return u.What.String() }

// Unwrap gives the fault that whoever shows it to a person says.
func (u *Unreadable) Unwrap() error { return job.Refuse(u.What) }

func unreadable(what job.Message) error { return &Unreadable{What: what} }

func notSTL(what job.Message) error { return &Unreadable{What: what, NotSTL: true} }

// ReadFile reads the STL file at path. A file that is not one, or is damaged,
// gives an *Unreadable; other errors come from the disk or from ctx.
func ReadFile(ctx context.Context, path string, lim Limits) (*Mesh, Facts, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, Facts{}, fmt.Errorf("the file cannot be opened: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, Facts{}, fmt.Errorf("the file cannot be looked at: %w", err)
	}
	if !info.Mode().IsRegular() {
		return nil, Facts{}, fmt.Errorf("%s is a folder or a device: %w", path, fs.ErrInvalid)
	}
	return Read(ctx, f, info.Size(), lim)
}

// readCost is what a byte of a file costs in units of work, until its facets are
// welded and their edges found.
const readCost = 1

// Read reads an STL file of the given size. The error is as ReadFile's.
func Read(ctx context.Context, r io.ReaderAt, size int64, lim Limits) (*Mesh, Facts, error) {
	lim = lim.orDefault()
	if size == 0 {
		return nil, Facts{}, unreadable(job.Say("findings.unread.empty", nil))
	}
	if size > lim.Bytes {
		return nil, Facts{}, unreadable(job.Say("findings.unread.too-large", job.Args{"mb": size / 1e6, "most": lim.Bytes / 1e6}))
	}
	budget.From(ctx).Spend(readCost * int(size))
	if err := ctx.Err(); err != nil {
		return nil, Facts{}, err
	}
	head := make([]byte, min(size, headBytes))
	if _, err := r.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return nil, Facts{}, fmt.Errorf("the file cannot be read: %w", err)
	}
	var facts Facts
	s, err := readSoup(ctx, r, size, head, lim, &facts)
	if err != nil {
		return nil, facts, err
	}
	if facts.Facets == 0 {
		return nil, facts, unreadable(job.Say("findings.unread.no-facets", nil))
	}
	m, err := settle(ctx, s.mesh(), s.slivers, &facts)
	if err != nil {
		return nil, facts, err
	}
	if len(m.Triangles) == 0 {
		return nil, facts, unreadable(job.Say("findings.unread.no-area", job.Args{"facets": facts.Facets}))
	}
	if err := s.checkPromise(&facts); err != nil {
		return nil, facts, err
	}
	noteCoarseness(m, &facts)
	return m, facts, nil
}

// readSoup chooses the reader and runs it.
func readSoup(ctx context.Context, r io.ReaderAt, size int64, head []byte, lim Limits, facts *Facts) (*soup, error) {
	switch what := sniff(head, size); {
	case what.refuse != nil:
		return nil, what.refuse
	case what.ascii:
		facts.Format = "ascii"
		return readASCII(ctx, r, size, lim, facts)
	default:
		facts.Format = "binary"
		return readBinary(ctx, r, size, head, lim, facts)
	}
}

// noteCoarseness notes a model so far from the origin that single precision
// blurs it: the step between neighbouring numbers is 2^-23 of their size.
func noteCoarseness(m *Mesh, facts *Facts) {
	b := m.Bounds()
	far, size := 0.0, b.Size().Len()
	for k := range 3 {
		far = max(far, -b.Min[k], b.Max[k])
	}
	if step := far / (1 << 23); step > size*1e-4 {
		facts.note("the model lies %.0f mm from the origin of its drawing, so its coordinates are only exact to %.2g mm", far, step)
	}
}
