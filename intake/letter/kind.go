package letter

import (
	"bytes"
	"encoding/binary"
	"path"
	"regexp"
	"slices"
	"strings"

	"meshclerk/intake/job"
)

// headBytes is how much of a file is looked at to tell its kind.
const headBytes = 4096

// sample is what is known of a file when its kind is asked.
type sample struct {
	name, media string
	head        []byte // the first headBytes
	size        int64
}

// kindOf returns the sort of a file, by its content first and its name second.
// One rule goes before: a file that is named as a mesh counts as one whatever is
// in it. The patron means it to be printed, and the preflight says what it really is.
func kindOf(s sample, accepted []string) job.Kind {
	ending := strings.ToLower(path.Ext(s.name))
	if ending != "" && (ending == ".stl" || slices.Contains(accepted, ending)) {
		return job.KindMesh
	}
	if k := kindByContent(s); k != "" {
		return k
	}
	if k := kindByEnding[ending]; k != "" {
		return k
	}
	return kindByMedia(s.media)
}

// signatures are the first bytes of file formats, as their specifications give
// them. [memory]
var signatures = []struct {
	at    int
	magic string
	kind  job.Kind
}{
	{0, "PK\x03\x04", job.KindArchive}, {0, "PK\x05\x06", job.KindArchive}, {0, "Rar!\x1a\x07", job.KindArchive},
	{0, "7z\xbc\xaf\x27\x1c", job.KindArchive}, {0, "\x1f\x8b\x08", job.KindArchive}, {0, "BZh", job.KindArchive},
	{0, "\xfd7zXZ\x00", job.KindArchive}, {257, "ustar", job.KindArchive},
	{0, "ISO-10303-21", job.KindModel}, {0, "ply\n", job.KindModel}, {0, "ply\r", job.KindModel},
	{0, "glTF", job.KindModel}, {0, "#VRML", job.KindModel}, {0, "OFF\n", job.KindModel}, {0, "OFF\r", job.KindModel},
	{0, "\x89PNG\r\n\x1a\n", job.KindPicture}, {0, "\xff\xd8\xff", job.KindPicture}, {0, "GIF8", job.KindPicture},
	{0, "II*\x00", job.KindPicture}, {0, "MM\x00*", job.KindPicture}, {8, "WEBP", job.KindPicture},
	{4, "ftypheic", job.KindPicture}, {4, "ftypheix", job.KindPicture}, {4, "ftypmif1", job.KindPicture}, {4, "ftypavif", job.KindPicture},
	{0, `{\rtf`, job.KindDocument},
}

func kindByContent(s sample) job.Kind {
	switch {
	case isBinarySTL(s.head, s.size) || isTextSTL(s.head):
		return job.KindMesh
	case bytes.Contains(s.head[:min(len(s.head), 1024)], []byte("%PDF-")): // ISO 32000: within the first 1024 bytes
		return job.KindDocument
	}
	for _, g := range signatures {
		if len(s.head) >= g.at+len(g.magic) && string(s.head[g.at:g.at+len(g.magic)]) == g.magic {
			return g.kind
		}
	}
	if isOBJ(s.head) || isToolpath(s.head) {
		return job.KindModel
	}
	return ""
}

// isBinarySTL: 80 bytes, a count, and 50 bytes a facet (StereoLithography Interface
// Specification, 3D Systems 1989).
func isBinarySTL(head []byte, size int64) bool {
	if len(head) < 84 || size < 134 {
		return false
	}
	return size == 84+50*int64(binary.LittleEndian.Uint32(head[80:]))
}

// isTextSTL: "solid", then facets.
func isTextSTL(head []byte) bool {
	text := bytes.ToLower(bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\ufeff")), " \t\r\n"))
	return bytes.HasPrefix(text, []byte("solid")) && textFacet.Match(text)
}

var (
	textFacet = regexp.MustCompile(`\n\s*facet\s+normal\s`)
	objVertex = regexp.MustCompile(`(?m)^v[ \t]+-?[0-9.eE+-]+[ \t]+-?[0-9.eE+-]+[ \t]+-?[0-9.eE+-]+`)
	toolMove  = regexp.MustCompile(`(?m)^(G0|G1|G28|G90|M10[49]|M1[49]0)\b`)
)

func isOBJ(head []byte) bool {
	return bytes.Contains(head, []byte("\nv")) && len(objVertex.FindAll(head, 4)) == 4
}

func isToolpath(head []byte) bool {
	return bytes.Contains(head, []byte("\nG")) && len(toolMove.FindAll(head, 4)) == 4
}

// kindByEnding: common practice, no source.
var kindByEnding = endings(map[job.Kind]string{
	job.KindModel: "3mf obj step stp iges igs ply amf 3ds dae fbx glb gltf blend scad dxf dwg sldprt sldasm ipt iam f3d " +
		"f3z skp x3d wrl off x_t x_b sat catpart prt par fcstd 3dm usdz usd vox gcode gco bgcode",
	job.KindArchive:  "zip rar 7z tar gz tgz bz2 xz zipx",
	job.KindDocument: "pdf doc docx odt rtf txt pages xls xlsx ods csv md html htm ppt pptx odp",
	job.KindPicture:  "png jpg jpeg gif tif tiff webp heic heif bmp svg avif",
})

func endings(lists map[job.Kind]string) map[string]job.Kind {
	out := map[string]job.Kind{}
	for kind, list := range lists {
		for _, e := range strings.Fields(list) {
			out["."+e] = kind
		}
	}
	return out
}

// meshMedia are the media types that .stl comes as and that mean nothing else.
var meshMedia = []string{"model/stl", "model/x.stl-ascii", "model/x.stl-binary", "application/vnd.ms-pki.stl",
	"application/sla", "application/x-navistyle"}

func kindByMedia(media string) job.Kind {
	switch {
	case slices.Contains(meshMedia, media):
		return job.KindMesh
	case strings.HasPrefix(media, "model/"):
		return job.KindModel
	case strings.HasPrefix(media, "image/"):
		return job.KindPicture
	case media == "application/pdf" || media == "application/msword" || media == "application/rtf" ||
		strings.HasPrefix(media, "application/vnd.openxmlformats") || strings.HasPrefix(media, "application/vnd.oasis.opendocument"):
		return job.KindDocument
	case media == "application/zip" || media == "application/x-zip-compressed":
		return job.KindArchive
	}
	return job.KindOther
}

// endingFor names a file that has no name.
func endingFor(kind job.Kind, media string) string {
	switch {
	case kind == job.KindMesh:
		return ".stl"
	case media == "application/pdf":
		return ".pdf"
	case media == "image/jpeg":
		return ".jpg"
	case strings.HasPrefix(media, "image/"):
		return "." + strings.Trim(strings.TrimPrefix(media, "image/"), ".+/")
	case kind == job.KindArchive:
		return ".zip"
	}
	return ""
}

const fileNameLen = 120

// fileName makes a patron's name for a file fit to be shown: no path, no control
// characters, bounded, its ending kept.
func fileName(name string) string {
	name = shown(name, 2000)
	name = strings.Trim(name[strings.LastIndexAny(name, `/\`)+1:], " '\"")
	if strings.Trim(name, ". ") == "" {
		return ""
	}
	r := []rune(name)
	if len(r) <= fileNameLen {
		return name
	}
	end := []rune(path.Ext(name))
	if len(end) > 12 {
		end = nil
	}
	return string(r[:fileNameLen-len(end)]) + string(end)
}
