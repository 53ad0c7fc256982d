package letter

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// find returns the attachment of that name.
func find(t *testing.T, l *job.Letter, name string) job.Attachment {
	t.Helper()
	for _, a := range l.Attachments {
		if a.Name == name {
			return a
		}
	}
	t.Fatalf("no attachment %q in %+v", name, l.Attachments)
	return job.Attachment{}
}

func TestZipMembersAreTheFiles(t *testing.T) {
	dir := t.TempDir()
	mesh := binarySTL(100)
	l := read(t, mixed(textPart("print"), filePart("parts.zip", zipped(t, member{`..\..\up.stl`, mesh}, member{"/abs/a.stl", mesh},
		member{"a/.hidden.stl", mesh}, member{"link/", nil}))), house(dir))
	for _, name := range []string{"up.stl", "a.stl", ".hidden.stl"} {
		a := find(t, l, name)
		got, err := os.ReadFile(a.Path)
		if err != nil || !bytes.Equal(got, mesh) || a.Inside != "parts.zip" || a.Kind != job.KindMesh {
			t.Errorf("%s: %v, %d bytes, %+v", name, err, len(got), a)
		}
	}
	if len(l.Attachments) != 4 {
		t.Errorf("got %d attachments, want the zip and three files", len(l.Attachments))
	}
}

// Names without the UTF-8 flag are in code page 437 (APPNOTE, appendix D).
func TestZipNamesInCodePage437(t *testing.T) {
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	f, err := w.CreateHeader(&zip.FileHeader{Name: "pi\x8ace.stl", NonUTF8: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(binarySTL(1)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	find(t, read(t, mixed(filePart("a.zip", out.Bytes())), house("")), "pièce.stl")
}

func TestZipThatCannotBeOpened(t *testing.T) {
	good := zipped(t, member{"a.stl", bytes.Repeat([]byte("facet "), 2000)})
	central := bytes.Index(good, []byte("PK\x01\x02"))
	method := bytes.Clone(good)
	binary.LittleEndian.PutUint16(method[central+10:], 14) // LZMA
	damaged := bytes.Clone(good)
	damaged[60] ^= 0xff
	for name, c := range map[string]struct {
		data       []byte
		file, note string
	}{
		"cut short":      {good[:len(good)-30], "x.zip", "damaged"},
		"unknown method": {method, "a.stl", "reading.file.packing"},
		"flipped bits":   {damaged, "a.stl", "damaged"},
		"not a zip":      {[]byte("this is text"), "x.zip", "damaged"},
		"rar":            {[]byte("Rar!\x1a\x07\x00xxxx"), "x.zip", ""},
	} {
		l := read(t, mixed(filePart("x.zip", c.data)), house(""))
		if a := find(t, l, c.file); !strings.Contains(a.Note.String(), c.note) || a.Note.IsZero() {
			t.Errorf("%s: note %v, want %q in it", name, a.Note, c.note)
		}
	}
}

// A file whose packed size is a lie must not unpack beyond the caps.
func TestZipBombs(t *testing.T) {
	opts := house(t.TempDir())
	opts.Caps.ArchiveBytes, opts.Caps.ArchiveRatio = 8<<20, 50
	zeros := make([]byte, 4<<20)
	l := read(t, mixed(filePart("bomb.zip", zipped(t, member{"bomb.stl", zeros}, member{"ok.stl", binarySTL(10)}))), opts)
	bomb, ok := find(t, l, "bomb.stl"), find(t, l, "ok.stl")
	if bomb.Note.Key != "reading.file.bomb" || bomb.Path != "" || bomb.Bytes > 2<<20 {
		t.Errorf("the bomb: %+v", bomb)
	}
	if !ok.Note.IsZero() || ok.Path == "" {
		t.Errorf("the file beside the bomb: %+v", ok)
	}
	left, err := os.ReadDir(opts.Dir)
	if err != nil {
		t.Fatal(err)
	}
	var kept int64
	for _, e := range left {
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		kept += info.Size()
	}
	if kept > 100_000 {
		t.Errorf("%d bytes were kept on disk", kept)
	}
}

// An archive that holds itself, as far as depth goes: each level holds the next.
func TestZipInZip(t *testing.T) {
	data := zipped(t, member{"core.stl", binarySTL(1)})
	for i := 5; i > 0; i-- {
		data = zipped(t, member{fmt.Sprintf("level%d.zip", i), data})
	}
	opts := house("")
	opts.Caps.ArchiveDepth = 2
	l := read(t, mixed(filePart("outer.zip", data)), opts)
	if a := find(t, l, "level2.zip"); a.Note.Key != "reading.file.archive-deep" || a.Inside != "level1.zip" {
		t.Errorf("the archive at the depth cap: %+v", a)
	}
	if len(l.Attachments) != 3 {
		t.Errorf("got %d attachments, want outer, level1 and level2", len(l.Attachments))
	}
}

func TestZipWithALongDirectory(t *testing.T) {
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for i := range 20_000 {
		if _, err := w.Create(fmt.Sprintf("%d/%s", i, strings.Repeat("n", 100))); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	l := read(t, mixed(filePart("many.zip", out.Bytes())), house(""))
	if a := find(t, l, "many.zip"); a.Note.Key != "reading.file.archive-lists-more" || len(l.Attachments) != 1 {
		t.Errorf("%d attachments, the archive: %+v", len(l.Attachments), a)
	}
}

func TestPackagedFormats(t *testing.T) {
	types := member{"[Content_Types].xml", []byte("<Types/>")}
	for name, c := range map[string]struct {
		data []byte
		want job.Kind
	}{
		"cup":      {zipped(t, types, member{"3D/3dmodel.model", []byte("<model/>")}), job.KindModel},
		"cup.3mf":  {zipped(t, member{"odd", nil}), job.KindModel},
		"form":     {zipped(t, types, member{"word/document.xml", []byte("<x/>")}), job.KindDocument},
		"form.odt": {zipped(t, member{"mimetype", []byte("x")}), job.KindDocument},
		"a.zip":    {zipped(t, member{"a.stl", binarySTL(1)}), job.KindArchive},
	} {
		l := read(t, mixed(filePart(name, c.data)), house(""))
		if a := find(t, l, name); a.Kind != c.want || !a.Note.IsZero() {
			t.Errorf("%s: %+v, want %s", name, a, c.want)
		}
	}
}

func FuzzZip(f *testing.F) {
	f.Add(zipped(f, member{"a.stl", binarySTL(2)}, member{"b/c.txt", []byte("x")}))
	f.Add(zipped(f, member{"in.zip", zipped(f, member{"a.stl", []byte(textSTL)})}))
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Fuzz(func(t *testing.T, data []byte) {
		opts := house(t.TempDir())
		opts.Caps = small()
		l := read(t, mixed(filePart("x.zip", data)), opts)
		checkFiles(t, opts.Dir, l)
		checkWhole(t, l)
		if len(l.Attachments) > opts.Caps.ArchiveFiles+1 {
			t.Errorf("%d attachments", len(l.Attachments))
		}
	})
}

// small caps make hostile input meet them soon.
func small() rules.Caps {
	return rules.Caps{LetterBytes: 1 << 20, HeaderBytes: 4096, Parts: 10, Depth: 4, TextBytes: 4096, ArchiveFiles: 5,
		ArchiveBytes: 1 << 20, ArchiveRatio: 20, ArchiveDepth: 2, MeshBytes: 1 << 19, Facets: 100, CoordinateMM: 1000, CheckWork: 100, Attempts: 1}
}

// What archives unpack to is capped for the letter, and not for each file: of two files
// that are within the cap each, in one archive or in two, the second is left out.
func TestArchivesShareTheirCap(t *testing.T) {
	stl := binarySTL(10) // 584 bytes
	for name, raw := range map[string]string{
		"one archive":    mixed(filePart("a.zip", zipped(t, member{"1.stl", stl}, member{"2.stl", stl}))),
		"two archives":   mixed(filePart("a.zip", zipped(t, member{"1.stl", stl})), filePart("b.zip", zipped(t, member{"2.stl", stl}))),
		"one in another": mixed(filePart("a.zip", zipped(t, member{"1.stl", stl}, member{"b.zip", zipped(t, member{"2.stl", stl})}))),
	} {
		for size, both := range map[int64]bool{1000: false, 2*584 + 500: true} {
			opts := house(t.TempDir())
			opts.Caps.ArchiveBytes = size
			l := read(t, raw, opts)
			if got := find(t, l, "1.stl"); got.SHA256 == "" || !got.Note.IsZero() {
				t.Errorf("%s, %d bytes: the first is %+v", name, size, got)
			}
			kept := false
			for _, a := range l.Attachments {
				kept = kept || a.Name == "2.stl" && a.SHA256 != ""
			}
			if kept != both {
				t.Errorf("%s, %d bytes: the second is kept %v: %+v", name, size, kept, l.Attachments)
			}
			checkFiles(t, opts.Dir, l)
		}
	}
}
