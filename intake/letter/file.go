package letter

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"meshclerk/intake/job"
)

// store is the folder that decoded files are written to, under names of ours.
type store struct {
	root *os.Root
	dir  string
	keep bool // false: the files are removed once they are counted and hashed
	made int
}

// openStore opens dir, or a temporary folder when dir is empty.
func openStore(dir string) (*store, error) {
	s := &store{dir: dir, keep: dir != ""}
	if !s.keep {
		temp, err := os.MkdirTemp("", "letter-")
		if err != nil {
			return nil, fmt.Errorf("no room for the files of a letter could be made: %w", err)
		}
		s.dir = temp
	}
	root, err := os.OpenRoot(s.dir)
	if err != nil {
		return nil, fmt.Errorf("the folder for the files of a letter cannot be opened: %w", err)
	}
	s.root = root
	return s, nil
}

func (s *store) close() error {
	err := s.root.Close()
	if !s.keep {
		err = os.RemoveAll(s.dir)
	}
	return err
}

// stored is a file as it was written down.
type stored struct {
	base string // its name in the store
	size int64
	sum  string
	head []byte
}

// write copies a decoded file to disk. Of a source that fails midway, what came is kept.
func (s *store) write(in io.Reader) (stored, error) {
	s.made++
	out := stored{base: fmt.Sprintf("part-%03d", s.made)}
	f, err := s.root.OpenFile(out.base, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return out, fmt.Errorf("a file of a letter could not be written: %w", err)
	}
	sum, head := sha256.New(), &prefix{limit: headBytes}
	w := &counted{w: io.MultiWriter(f, sum, head)}
	wide := bufio.NewWriterSize(w, pieceBytes) // decoded lines are short
	_, readErr := io.Copy(wide, in)
	if err := firstError(wide.Flush(), f.Close()); w.err != nil || err != nil {
		return out, fmt.Errorf("a file of a letter could not be written to %s: %w", filepath.Base(s.dir), firstError(w.err, err))
	}
	out.size, out.sum, out.head = w.n, hex.EncodeToString(sum.Sum(nil)), head.buf
	return out, readErr
}

// path is where a stored file lies, or empty when files are not kept.
func (s *store) path(f stored) string {
	if !s.keep {
		return ""
	}
	return filepath.Join(s.dir, f.base)
}

func (s *store) remove(f stored) error { return s.root.Remove(f.base) }

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// counted counts the bytes written, and keeps the error of the writer apart from that
// of the source.
type counted struct {
	w   io.Writer
	n   int64
	err error
}

func (c *counted) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	c.err = firstError(c.err, err)
	return n, err
}

// prefix keeps the first bytes that are written to it.
type prefix struct {
	buf   []byte
	limit int
}

func (p *prefix) Write(b []byte) (int, error) {
	if room := p.limit - len(p.buf); room > 0 {
		p.buf = append(p.buf, b[:min(room, len(b))]...)
	}
	return len(b), nil
}

// attach writes one file down, tells its kind, opens it when it is an archive,
// and lists it; it returns nil for a file without name and content. inside and depth say in which archive it came.
func (r *reader) attach(name, media, inside string, depth int, in io.Reader) (*job.Attachment, error) {
	f, err := r.store.write(in)
	if f.sum == "" && err != nil {
		return nil, err
	}
	var note job.Message
	if err != nil {
		note = job.Say("reading.file.damaged", nil)
	}
	if r.failed() != nil {
		return nil, r.failed()
	}
	s := sample{name: fileName(name), media: media, head: f.head, size: f.size}
	if s.name == "" && s.size == 0 {
		return nil, r.store.remove(f)
	}
	a := job.Attachment{Name: s.name, Kind: kindOf(s, r.opts.Accepted), Bytes: f.size, Inside: inside,
		MediaType: media, SHA256: f.sum, Path: r.store.path(f), Note: note}
	var contents *archive
	if a.Kind == job.KindArchive {
		contents = r.openArchive(f, &a)
		defer contents.close()
	}
	if a.Name == "" {
		a.Name = "unnamed" + endingFor(a.Kind, media)
	}
	r.judge(&a, f)
	if !r.store.keep {
		defer func() { _ = r.store.remove(f) }() // close removes what is left
	}
	r.files = append(r.files, a)
	at := len(r.files) - 1
	if err := r.unpack(contents, at, depth); err != nil {
		return nil, err
	}
	return &r.files[at], nil
}

// judge adds what staff should know about a file.
func (r *reader) judge(a *job.Attachment, f stored) {
	switch {
	case !a.Note.IsZero():
	case f.size == 0:
		a.Note = job.Say("reading.file.empty", nil)
	case a.Kind == job.KindMesh && f.size > r.caps.MeshBytes:
		a.Note = job.Say("reading.file.mesh-large", job.Args{"size": bytesOf(r.caps.MeshBytes)})
	case a.MediaType == "application/ms-tnef" || isParcel(f.head):
		a.Kind = job.KindOther
		a.Note = job.Say("reading.file.winmail", nil)
		r.log.note(ofFile(a))
	}
}

// isParcel: [MS-OXTNEF], 2.1.3.1, the signature 0x223E9F78. [memory]
func isParcel(head []byte) bool {
	return len(head) >= 4 && string(head[:4]) == "\x78\x9f\x3e\x22"
}

// ofFile returns a file's note with the file's name.
func ofFile(a *job.Attachment) job.Message {
	return job.Say("reading.of-file", job.Args{"file": a.Name, "note": a.Note})
}

// endedEarly marks the file that the end of the letter may have cut short.
func (r *reader) endedEarly() {
	if r.unclosed && r.last >= 0 && r.last < len(r.files) && r.files[r.last].Note.IsZero() {
		r.files[r.last].Note = job.Say("reading.file.last", nil)
	}
}

// decoration is a size below which a picture shown in the text is a logo or a smiley.
const decoration = 32 << 10

// picture is a small picture that the HTML text may show.
type picture struct {
	at int // index in files
	id string
}

// listed is every file that a reader would call an attachment.
func (r *reader) listed() []job.Attachment {
	drop := map[int]bool{}
	for _, p := range r.pictures {
		drop[p.at] = r.shown[p.id]
	}
	out := []job.Attachment{}
	for i, a := range r.files {
		if !drop[i] {
			out = append(out, a)
		} else if a.Path != "" {
			_ = r.store.root.Remove(filepath.Base(a.Path)) // the store is the caller's; what stays is harmless
		}
	}
	return out
}
