package mesh

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"meshclerk/intake/job"
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
		return kind{refuse: notSTL(job.Say("findings.unread.few-bytes", job.Args{"bytes": size}))}
	}
	return kind{}
}

// magic is a format told by fixed bytes.
type magic struct {
	offset int
	bytes  string
	kind   string // in the book of sentences
	do     advice
}

// advice is what to do about a file that is something else.
type advice int

const (
	otherKind advice = iota
	export           // the model as STL
	fromArchive
	unpackIt
	download // from the page itself
)

// other says what a file is, by its kind in the book of sentences, and what to do.
func other(kind string, do advice) error {
	is := job.Say("findings.kind."+kind, nil)
	switch do {
	case export:
		return notSTL(job.Say("findings.unread.export", job.Args{"kind": is}))
	case fromArchive:
		return notSTL(job.Say("findings.unread.inside-archive", job.Args{"kind": is}))
	case unpackIt:
		return notSTL(job.Say("findings.unread.unpack", job.Args{"kind": is}))
	case download:
		return notSTL(job.Say("findings.unread.download", job.Args{"kind": is}))
	}
	return notSTL(job.Say("findings.unread.other-kind", job.Args{"kind": is}))
}

var magics = []magic{
	{0, "PK\x03\x04", "zip", fromArchive},
	{0, "PK\x05\x06", "zip-empty", otherKind},
	{0, "7z\xbc\xaf\x27\x1c", "7z", fromArchive},
	{0, "Rar!\x1a\x07", "rar", fromArchive},
	{0, "\x1f\x8b", "gzip", unpackIt},
	{0, "BZh", "bzip2", unpackIt},
	{0, "\xfd7zXZ\x00", "xz", unpackIt},
	{257, "ustar", "tar", fromArchive},
	{0, "%PDF-", "pdf", otherKind},
	{0, "{\\rtf", "rtf", otherKind},
	{0, "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "ole", export},
	{0, "\x89PNG\r\n", "png", otherKind},
	{0, "\xff\xd8\xff", "jpeg", otherKind},
	{0, "GIF8", "gif", otherKind},
	{0, "II*\x00", "tiff", otherKind},
	{0, "MM\x00*", "tiff", otherKind},
	{8, "WEBP", "webp", otherKind},
	{4, "ftypheic", "heic", otherKind},
	{4, "ftyp", "film", otherKind},
	{0, "glTF", "gltf", export},
	{0, "Kaydara FBX Binary", "fbx", export},
	{0, "ply\n", "ply", export},
	{0, "ply\r", "ply", export},
	{0, "AutoCAD Binary DXF", "dxf", export},
	{0, "MZ", "windows", otherKind},
	{0, "\x7fELF", "program", otherKind},
}

// describe names what a magic number announces; zip archives are looked into.
func describe(m magic, head []byte) error {
	kind, do := m.kind, m.do
	if m.bytes == "PK\x03\x04" {
		for _, z := range []struct {
			holds, kind string
			do          advice
		}{
			{"3D/", "3mf", export},
			{"3dmodel.model", "3mf", export},
			{"word/", "document", otherKind},
			{"xl/", "spreadsheet", otherKind},
			{"ppt/", "slides", otherKind},
			{"application/vnd.oasis.opendocument", "office", otherKind},
		} {
			if bytes.Contains(head, []byte(z.holds)) {
				kind, do = z.kind, z.do
				break
			}
		}
	}
	return other(kind, do)
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
	return kind{refuse: other(textKind(string(low)))}
}

// textKind names a text, given in lower case and without leading blanks.
func textKind(low string) (kind string, do advice) {
	start := low[:min(len(low), 2048)]
	line, _, _ := strings.Cut(start, "\n")
	line = strings.TrimSpace(line)
	switch {
	case strings.HasPrefix(start, "<!doctype html"), strings.Contains(start, "<html"), strings.Contains(start, "<body"):
		return "web-page", download
	case strings.HasPrefix(start, "<"):
		return markupKind(start)
	case strings.HasPrefix(start, "iso-10303-21"):
		return "step", export
	case line == "ply":
		return "ply", export
	case line == "off" || line == "coff":
		return "off", export
	case strings.HasPrefix(start, "#vrml"):
		return "vrml", export
	case len(line) >= 73 && line[72] == 's':
		return "iges", export
	case line == "0" && strings.Contains(start, "section"), line == "999" && strings.Contains(start, "section"):
		return "dxf", export
	case strings.HasPrefix(start, "{") && strings.Contains(start, `"asset"`):
		return "gltf", export
	case strings.HasPrefix(start, "{"), strings.HasPrefix(start, "["):
		return "json", otherKind
	}
	return linesKind(low)
}

func markupKind(start string) (kind string, do advice) {
	for _, k := range [][2]string{{"<amf", "amf"}, {"<collada", "collada"}, {"<x3d", "x3d"}, {"<svg", "svg"}} {
		if strings.Contains(start, k[0]) {
			return k[1], export
		}
	}
	return "xml", otherKind
}

// linesKind counts what the lines look like.
func linesKind(low string) (kind string, do advice) {
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
		return "obj", export
	case gcode*2 > lines:
		return "gcode", export
	case !utf8.ValidString(low[:min(len(low), 1024)]) && lines < 2:
		return "unknown", otherKind
	}
	return "text", otherKind
}

// isGCode reports whether a word is a G-code command (ISO 6983-1): G, M or T and a number.
func isGCode(word string) bool {
	if len(word) < 2 || !strings.ContainsRune("gmt", rune(word[0])) {
		return false
	}
	return strings.Trim(word[1:], "0123456789.") == ""
}
