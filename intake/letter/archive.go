package letter

import (
	"archive/zip"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"meshclerk/intake/job"
)

// archive is an opened zip file.
type archive struct {
	file *os.File
	zip  *zip.Reader
}

func (a *archive) close() {
	if a != nil {
		_ = a.file.Close() // opened for reading only
	}
}

// directoryBytes bounds the list of contents that is read into memory.
func (r *reader) directoryBytes() int64 { return 256<<10 + 1024*int64(r.caps.ArchiveFiles) }

// metered fails once more than left bytes were read through it.
type metered struct {
	in   io.ReaderAt
	left int64
	off  bool
}

var errLongDirectory = errors.New("the list of contents is too long")

func (m *metered) ReadAt(p []byte, at int64) (int, error) {
	if m.left -= int64(len(p)); m.left < 0 && !m.off {
		return 0, errLongDirectory
	}
	return m.in.ReadAt(p, at)
}

// openArchive reads the contents of a zip file, and corrects the kind of what
// only looks like an archive: some models and office files are zip files too.
// It returns nil, and says why in the note, when nothing can be unpacked.
func (r *reader) openArchive(f stored, a *job.Attachment) *archive {
	if len(f.head) < 4 || string(f.head[:2]) != "PK" {
		a.Note = job.Say("reading.file.not-zip", nil)
		if strings.EqualFold(path.Ext(a.Name), ".zip") {
			a.Note = job.Say("reading.file.archive-damaged", nil)
		}
		return nil
	}
	file, err := r.store.root.Open(f.base)
	if err != nil {
		a.Note = job.Say("reading.file.archive-gone", nil)
		return nil
	}
	m := &metered{in: file, left: r.directoryBytes()}
	z, err := zip.NewReader(m, f.size)
	m.off = true
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		a.Note = job.Say("reading.file.archive-damaged", nil)
		if errors.Is(err, errLongDirectory) {
			a.Note = job.Say("reading.file.archive-lists-more", nil)
		}
		if k := kindByEnding[strings.ToLower(path.Ext(a.Name))]; k != "" {
			a.Kind = k
		}
		_ = file.Close()
		return nil
	}
	if kind := kindOfZip(z, a.Name); kind != job.KindArchive {
		a.Kind = kind
		_ = file.Close()
		return nil
	}
	return &archive{file: file, zip: z}
}

// kindOfZip returns the kind of a zip file, judged by the names inside: 3MF keeps its model under
// 3D/ (3MF Core Specification, 2), office formats have a list of content types.
func kindOfZip(z *zip.Reader, called string) job.Kind {
	if k := kindByEnding[strings.ToLower(path.Ext(called))]; k == job.KindModel || k == job.KindDocument {
		return k
	}
	packaged := false
	for _, f := range z.File {
		name := strings.ToLower(f.Name)
		switch {
		case strings.HasPrefix(name, "3d/") && strings.HasSuffix(name, ".model"):
			return job.KindModel
		case name == "[content_types].xml" || name == "mimetype" || name == "meta-inf/manifest.xml":
			packaged = true
		}
	}
	if packaged {
		return job.KindDocument
	}
	return job.KindArchive
}

// unpack lists and unpacks the files of the archive that stands at index at.
func (r *reader) unpack(a *archive, at, depth int) error {
	if a == nil {
		return nil
	}
	name := r.files[at].Name
	if depth >= r.caps.ArchiveDepth {
		r.files[at].Note = job.Say("reading.file.archive-deep", nil)
		return nil
	}
	for _, f := range a.zip.File {
		if !shownInArchive(f) {
			continue
		}
		if r.archived++; r.archived > r.caps.ArchiveFiles {
			r.files[at].Note = job.Say("reading.file.archive-files", job.Args{"n": r.caps.ArchiveFiles})
			return nil
		}
		if err := r.unpackOne(f, name, depth); err != nil {
			return err
		}
		if r.unpacked >= r.caps.ArchiveBytes {
			r.files[at].Note = job.Say("reading.file.archive-large", job.Args{"size": bytesOf(r.caps.ArchiveBytes)})
			return nil
		}
	}
	return nil
}

// shownInArchive reports whether a member is listed: it leaves out folders, links and what systems add unasked.
func shownInArchive(f *zip.File) bool {
	name := strings.ReplaceAll(f.Name, `\`, "/")
	base := path.Base(name)
	return !strings.HasSuffix(name, "/") && f.Mode()&(fs.ModeDir|fs.ModeSymlink|fs.ModeDevice) == 0 &&
		!strings.HasPrefix(name, "__MACOSX/") && !strings.HasPrefix(base, "._") &&
		base != ".DS_Store" && !strings.EqualFold(base, "thumbs.db") && !strings.EqualFold(base, "desktop.ini")
}

// unpackOne unpacks one file of an archive, or says in its note why not.
func (r *reader) unpackOne(f *zip.File, inside string, depth int) error {
	name := memberName(f)
	if f.Flags&1 != 0 { // APPNOTE 4.4.4: bit 0, encrypted
		r.listOnly(name, inside, f, job.Say("reading.file.locked", nil))
		return nil
	}
	in, err := f.Open()
	if errors.Is(err, zip.ErrAlgorithm) {
		r.listOnly(name, inside, f, job.Say("reading.file.packing", nil))
		return nil
	}
	if err != nil {
		r.listOnly(name, inside, f, job.Say("reading.file.member-damaged", nil))
		return nil
	}
	defer in.Close()
	guard := &bombGuard{in: in, left: r.caps.ArchiveBytes - r.unpacked, packed: int64(f.CompressedSize64), ratio: r.caps.ArchiveRatio}
	before := len(r.files)
	if _, err := r.attach(name, "", inside, depth+1, guard); err != nil {
		return err
	}
	r.unpacked += guard.n
	if guard.met {
		a := &r.files[before]
		a.Note = job.Say("reading.file.bomb", nil)
		if a.Path != "" {
			_ = r.store.root.Remove(filepath.Base(a.Path)) // the store is the caller's; what stays is harmless
		}
		a.Path, a.SHA256 = "", ""
		r.log.note(ofFile(a))
	}
	return nil
}

func (r *reader) listOnly(name, inside string, f *zip.File, note job.Message) {
	name = fileName(name)
	if name == "" {
		name = "unnamed"
	}
	s := sample{name: name, size: -1}
	r.files = append(r.files, job.Attachment{Name: name, Kind: kindOf(s, r.opts.Accepted), Inside: inside,
		Bytes: int64(min(f.UncompressedSize64, 1<<62)), Note: note})
}

// memberName decodes a name inside a zip: UTF-8 when it says so or is so, else
// the code page of the format's first days (APPNOTE, appendix D).
func memberName(f *zip.File) string {
	if !f.NonUTF8 || utf8.ValidString(f.Name) {
		return f.Name
	}
	if name, err := charmap.CodePage437.NewDecoder().String(f.Name); err == nil {
		return name
	}
	return guessCharset([]byte(f.Name))
}

// bombGuard ends a file that unpacks to more than the caps allow.
type bombGuard struct {
	in      io.Reader
	n, left int64
	packed  int64
	ratio   float64
	met     bool
}

var errBomb = errors.New("unpacks to too much")

// harmless is the size, in bytes, up to which the ratio is not looked at.
const harmless = 1 << 20

func (g *bombGuard) Read(p []byte) (int, error) {
	if g.met {
		return 0, errBomb
	}
	n, err := g.in.Read(p)
	g.n += int64(n)
	if g.n > g.left || g.n > harmless && float64(g.n) > g.ratio*float64(max(g.packed, 1)) {
		g.met = true
		return n, errBomb
	}
	return n, err
}
