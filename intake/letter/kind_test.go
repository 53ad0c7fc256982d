package letter

import (
	"encoding/binary"
	"testing"

	"meshclerk/intake/job"
)

func TestKindOf(t *testing.T) {
	truncated := binarySTL(4)[:200]
	miscounted := binarySTL(4)
	binary.LittleEndian.PutUint32(miscounted[80:], 5)
	solidBinary := binarySTL(4)
	copy(solidBinary, "solid made by a program that does not know better") // a well known trap: binary with an ASCII beginning
	obj := "# comment\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1.5e-3\nf 1 2 3\n"
	for _, c := range []struct {
		what, name, media string
		content           []byte
		want              job.Kind
	}{
		{"binary mesh, no name", "", "application/octet-stream", binarySTL(4), job.KindMesh},
		{"binary mesh called solid", "x", "", solidBinary, job.KindMesh},
		{"binary mesh, wrong count, no name", "", "", miscounted, job.KindOther},
		{"binary mesh, wrong count, named", "a.stl", "", miscounted, job.KindMesh},
		{"binary mesh, cut short, named", "a.STL", "", truncated, job.KindMesh},
		{"text mesh named .txt", "a.txt", "text/plain", []byte(textSTL), job.KindMesh},
		{"prose that begins with solid", "a.txt", "text/plain", []byte("Solid oak, the normal facet of life\n"), job.KindDocument},
		{"pdf named .stl", "a.stl", "application/pdf", []byte("%PDF-1.4"), job.KindMesh},
		{"mesh by media type only", "", "model/stl", []byte("whatever"), job.KindMesh},
		{"mesh by old media type only", "", "application/vnd.ms-pki.stl", []byte("whatever"), job.KindMesh},
		{"pdf named .jpg", "a.jpg", "image/jpeg", []byte("%PDF-1.4"), job.KindDocument},
		{"pdf with a line before", "a", "", []byte("\r\n%PDF-1.4"), job.KindDocument},
		{"jpeg named .pdf", "a.pdf", "application/pdf", []byte("\xff\xd8\xff\xe0 JFIF"), job.KindPicture},
		{"telephone picture", "IMG.HEIC", "", []byte("\x00\x00\x00\x18ftypheic"), job.KindPicture},
		{"obj by content", "a.dat", "", []byte(obj), job.KindModel},
		{"step by content", "a.dat", "", []byte("ISO-10303-21;\n"), job.KindModel},
		{"ply by content", "a.dat", "", []byte("ply\nformat ascii 1.0\n"), job.KindModel},
		{"tool path", "a.dat", "", []byte("G28\nG1 X1 Y1\nG1 X2\nM104 S200\n"), job.KindModel},
		{"model by name", "a.SLDPRT", "", []byte("\xd0\xcf\x11\xe0"), job.KindModel},
		{"model by media type", "", "model/obj", []byte("x"), job.KindModel},
		{"seven zip", "a.stl.7z", "", []byte("7z\xbc\xaf\x27\x1c"), job.KindArchive},
		{"rar", "a", "", []byte("Rar!\x1a\x07\x00"), job.KindArchive},
		{"word", "form.doc", "application/msword", []byte("\xd0\xcf\x11\xe0"), job.KindDocument},
		{"calendar", "a.ics", "text/calendar", []byte("BEGIN:VCALENDAR"), job.KindOther},
		{"nothing", "", "", nil, job.KindOther},
	} {
		s := sample{name: c.name, media: c.media, head: c.content, size: int64(len(c.content))}
		if got := kindOf(s, []string{".stl"}); got != c.want {
			t.Errorf("%s: got %s, want %s", c.what, got, c.want)
		}
	}
}

func TestHouseMayAcceptMoreEndings(t *testing.T) {
	s := sample{name: "cup.OBJ", head: []byte("x"), size: 1}
	if got := kindOf(s, []string{".stl", ".obj"}); got != job.KindMesh {
		t.Errorf("an ending that the house accepts: got %s", got)
	}
}
