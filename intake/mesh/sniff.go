package mesh

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// headBytes is how much of a file sniff looks at.
const headBytes = 1 << 16

// kind is what a file turned out to be: binary STL unless it says otherwise.
type kind struct {
	ascii  bool
	refuse error
}

// sniff reports what a file is by its first bytes and its size. Names and media
// types are not asked: they are wrong too often.
func sniff(head []byte, size int64) kind {
	if len(head) >= headerBytes && promised(head) > 0 && size == headerBytes+facetBytes*int64(promised(head)) {
		return kind{} // whatever the header says, "solid" among it
	}
	for _, m := range magics {
		if len(head) > m.offset && bytes.HasPrefix(head[m.offset:], []byte(m.bytes)) {
			return kind{refuse: describe(m, head)}
		}
	}
	text := plainText(head)
	switch {
	case isText(text) || speaksSTL(text):
		return sniffText(text)
	case size < headerBytes:
		return kind{refuse: notSTL("this is not an STL file: it holds only %d bytes", size)}
	}
	return kind{}
}

// magic is a format told by fixed bytes.
type magic struct {
	offset int
	bytes  string
	what   string
	advice string
}

const exportIt = "; please export the model as STL and send that"

var magics = []magic{
	{0, "PK\x03\x04", "a zip archive", "; please send the STL file that is in it"},
	{0, "PK\x05\x06", "an empty zip archive", ""},
	{0, "7z\xbc\xaf\x27\x1c", "a 7z archive", "; please send the STL file that is in it"},
	{0, "Rar!\x1a\x07", "a RAR archive", "; please send the STL file that is in it"},
	{0, "\x1f\x8b", "a gzip file", "; please unpack it and send the STL file"},
	{0, "BZh", "a bzip2 file", "; please unpack it and send the STL file"},
	{0, "\xfd7zXZ\x00", "an xz file", "; please unpack it and send the STL file"},
	{257, "ustar", "a tar archive", "; please send the STL file that is in it"},
	{0, "%PDF-", "a PDF document", ""},
	{0, "{\\rtf", "a word processor document (RTF)", ""},
	{0, "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an office document or a drawing in a program's own format", exportIt},
	{0, "\x89PNG\r\n", "a picture (PNG)", ""},
	{0, "\xff\xd8\xff", "a picture (JPEG)", ""},
	{0, "GIF8", "a picture (GIF)", ""},
	{0, "II*\x00", "a picture (TIFF)", ""},
	{0, "MM\x00*", "a picture (TIFF)", ""},
	{8, "WEBP", "a picture (WebP)", ""},
	{4, "ftypheic", "a picture (HEIC)", ""},
	{4, "ftyp", "a film", ""},
	{0, "glTF", "a glTF model", exportIt},
	{0, "Kaydara FBX Binary", "an FBX model", exportIt},
	{0, "ply\n", "a PLY model", exportIt},
	{0, "ply\r", "a PLY model", exportIt},
	{0, "AutoCAD Binary DXF", "a DXF drawing", exportIt},
	{0, "MZ", "a Windows program", ""},
	{0, "\x7fELF", "a program", ""},
}

// describe names what a magic number announces; zip archives are looked into.
func describe(m magic, head []byte) error {
	what, advice := m.what, m.advice
	if m.bytes == "PK\x03\x04" {
		for _, z := range []struct{ holds, what, advice string }{
			{"3D/", "a 3MF model", exportIt},
			{"3dmodel.model", "a 3MF model", exportIt},
			{"word/", "a word processor document", ""},
			{"xl/", "a spreadsheet", ""},
			{"ppt/", "a slide show", ""},
			{"application/vnd.oasis.opendocument", "an office document", ""},
		} {
			if bytes.Contains(head, []byte(z.holds)) {
				what, advice = z.what, z.advice
				break
			}
		}
	}
	return notSTL("this is %s, not an STL file%s", what, advice)
}

// plainText takes a byte order mark off, and the zero bytes of UTF-16.
func plainText(head []byte) []byte {
	if t, ok := bytes.CutPrefix(head, []byte("\xef\xbb\xbf")); ok {
		return t
	}
	if isUTF16(head) {
		return bytes.ReplaceAll(head[2:], []byte{0}, nil)
	}
	return head
}

func isUTF16(head []byte) bool {
	if len(head) < 4 || head[0] != 0xff && head[0] != 0xfe {
		return false
	}
	return head[0] == 0xff && head[1] == 0xfe && head[3] == 0 || head[0] == 0xfe && head[1] == 0xff && head[2] == 0
}

// isText reports whether there are no control characters but those of texts.
func isText(b []byte) bool {
	for _, c := range b {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' && c != '\f' && c != '\v' && c != 0x1a {
			return false
		}
	}
	return true
}

// speaksSTL reports whether a file with a few odd bytes in it is ASCII STL all the same.
func speaksSTL(b []byte) bool {
	odd := 0
	for _, c := range b {
		if c < '\t' {
			odd++
		}
	}
	if odd > 2+len(b)/100 {
		return false
	}
	low := bytes.ToLower(b)
	return bytes.Contains(low, []byte("facet")) && bytes.Contains(low, []byte("vertex")) && bytes.Contains(low, []byte("loop"))
}

func sniffText(text []byte) kind {
	low := bytes.ToLower(bytes.TrimLeft(text, " \t\r\n\f\v\x00"))
	if len(low) == 0 || bytes.HasPrefix(low, []byte("solid")) || bytes.HasPrefix(low, []byte("facet")) || speaksSTL(low) {
		return kind{ascii: true}
	}
	what, advice := textKind(string(low))
	return kind{refuse: notSTL("this is %s, not an STL file%s", what, advice)}
}

// textKind names a text, given in lower case and without leading blanks.
func textKind(low string) (what, advice string) {
	start := low[:min(len(low), 2048)]
	line, _, _ := strings.Cut(start, "\n")
	line = strings.TrimSpace(line)
	switch {
	case strings.HasPrefix(start, "<!doctype html"), strings.Contains(start, "<html"), strings.Contains(start, "<body"):
		return "a web page", "; please download the STL file itself from that page and send it"
	case strings.HasPrefix(start, "<"):
		return markupKind(start)
	case strings.HasPrefix(start, "iso-10303-21"):
		return "a STEP drawing", exportIt
	case line == "ply":
		return "a PLY model", exportIt
	case line == "off" || line == "coff":
		return "an OFF model", exportIt
	case strings.HasPrefix(start, "#vrml"):
		return "a VRML model", exportIt
	case len(line) >= 73 && line[72] == 's':
		return "an IGES drawing", exportIt
	case line == "0" && strings.Contains(start, "section"), line == "999" && strings.Contains(start, "section"):
		return "a DXF drawing", exportIt
	case strings.HasPrefix(start, "{") && strings.Contains(start, `"asset"`):
		return "a glTF model", exportIt
	case strings.HasPrefix(start, "{"), strings.HasPrefix(start, "["):
		return "a JSON file", ""
	}
	return linesKind(low)
}

func markupKind(start string) (what, advice string) {
	for _, k := range [][2]string{{"<amf", "an AMF model"}, {"<collada", "a COLLADA model"}, {"<x3d", "an X3D model"}, {"<svg", "an SVG picture"}} {
		if strings.Contains(start, k[0]) {
			return k[1], exportIt
		}
	}
	return "an XML file", ""
}

// linesKind counts what the lines look like.
func linesKind(low string) (what, advice string) {
	var obj, gcode, lines int
	for line := range strings.Lines(low) {
		word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		if word == "" || strings.HasPrefix(word, "#") || strings.HasPrefix(word, ";") {
			continue
		}
		lines++
		switch word {
		case "v", "vn", "vt", "f", "mtllib", "usemtl":
			if rest != "" {
				obj++
			}
		}
		if isGCode(word) {
			gcode++
		}
		if lines == 200 {
			break
		}
	}
	switch {
	case obj*2 > lines:
		return "an OBJ model", exportIt
	case gcode*2 > lines:
		return "G-code made for a certain printer", exportIt
	case !utf8.ValidString(low[:min(len(low), 1024)]) && lines < 2:
		return "data of an unknown kind", ""
	}
	return "a plain text", ""
}

// isGCode reports whether a word is a G-code command (ISO 6983-1): G, M or T and a number.
func isGCode(word string) bool {
	if len(word) < 2 || !strings.ContainsRune("gmt", rune(word[0])) {
		return false
	}
	return strings.Trim(word[1:], "0123456789.") == ""
}
