package mesh_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// cubeText is a 20 mm cube as ASCII STL.
func cubeText() string {
	var b strings.Builder
	m := shapes.Box(20, 20, 20)
	b.WriteString("solid cube\n")
	for f := range m.Triangles {
		p, q, r := m.Corners(f)
		b.WriteString("  facet normal 0 0 1\n    outer loop\n")
		for _, v := range []mesh.Vec{p, q, r} {
			fmt.Fprintf(&b, "      vertex %.6e %.6e %.6e\n", v[0], v[1], v[2])
		}
		b.WriteString("    endloop\n  endfacet\n")
	}
	b.WriteString("endsolid cube\n")
	return b.String()
}

// TestASCIIInTheWild: each of these is the same cube.
func TestASCIIInTheWild(t *testing.T) {
	text := cubeText()
	body := strings.TrimSuffix(strings.TrimPrefix(text, "solid cube\n"), "endsolid cube\n")
	lines := strings.SplitAfter(body, "endfacet\n")
	first, second := strings.Join(lines[:6], ""), strings.Join(lines[6:], "")
	replace := func(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(text) }
	for name, in := range map[string]string{
		"plain":              text,
		"bare solid":         replace("solid cube", "solid"),
		"tabs":               replace(" ", "\t"),
		"CR":                 replace("\n", "\r"),
		"CRLF":               replace("\n", "\r\n"),
		"upper case":         strings.ToUpper(text),
		"BOM":                "\xef\xbb\xbf" + text,
		"UTF-16":             utf16(text),
		"leading blanks":     "\n\n  \t\r\n" + text,
		"missing endsolid":   replace("endsolid cube\n", ""),
		"missing solid":      replace("solid cube\n", "", "endsolid cube\n", ""),
		"two blocks":         "solid a\n" + first + "endsolid a\nsolid b\n" + second + "endsolid b\n",
		"no end between":     "solid a\n" + first + "solid b\n" + second,
		"comma decimals":     replace(".", ","),
		"commas between":     replace("e+01 ", "e+01, ", "e+00 ", "e+00, "),
		"one line":           replace("\n", " "),
		"no last line end":   strings.TrimSuffix(text, "\n"),
		"name with keywords": replace("solid cube", "solid the facet of a vertex"),
		"name not ASCII":     replace("solid cube", "solid cube caf\xe9"),
		"name with a zero":   replace("solid cube", "solid cube\x00\x00"),
		"no normals":         replace("facet normal 0 0 1", "facet"),
		"zero normals":       replace("normal 0 0 1", "normal 0 0 0"),
		"NaN normals":        replace("normal 0 0 1", "normal nan nan nan"),
		"long numbers":       replace("2.000000e+01", "20.00000000000000000000000000", "0.000000e+00", "-0"),
		"capital E":          replace("e+", "E+"),
		"trailing words":     text + "written by a program 1.2.3\n",
		"much blank":         strings.ReplaceAll(text, "\n", strings.Repeat(" \n", 3000)),
		"facets ended short": replace("endloop", "", "endfacet", ""),
	} {
		t.Run(name, func(t *testing.T) {
			m, f, err := readBytes([]byte(in))
			if err != nil {
				t.Fatal(err)
			}
			s := examine(t, m, f).Shape
			if f.Format != "ascii" || s.Triangles != 12 || s.Vertices != 8 || s.VolumeMM3 != 8000 || !s.EnclosesVolume {
				t.Errorf("%s %+v", f.Format, s)
			}
		})
	}
}

func utf16(s string) string {
	var b bytes.Buffer
	b.WriteString("\xff\xfe")
	for _, c := range []byte(s) {
		b.Write([]byte{c, 0})
	}
	return b.String()
}

// header changes the header of a binary file.
func header(b []byte, text string, count uint32) []byte {
	b = bytes.Clone(b)
	copy(b[:80], make([]byte, 80))
	copy(b, text)
	binary.LittleEndian.PutUint32(b[80:], count)
	return b
}

// TestBinaryInTheWild: each of these is the same cube.
func TestBinaryInTheWild(t *testing.T) {
	cube := binaryOf(t, shapes.Box(20, 20, 20))
	for name, c := range map[string]struct {
		in    []byte
		notes int
	}{
		"plain":                     {cube, 0},
		"solid in header":           {header(cube, "solid cube written by some program", 12), 0},
		"solid facet in header":     {header(cube, "solid cube  facet normal outer loop vertex", 12), 0},
		"trailing text":             {append(bytes.Clone(cube), "made with care\n"...), 1},
		"trailing zeroes":           {append(bytes.Clone(cube), make([]byte, 5000)...), 1},
		"keywords and count off":    {header(cube, "solid cube  facet normal outer loop vertex", 13), 1},
		"trailing blanks":           {append(bytes.Clone(cube), bytes.Repeat([]byte(" "), 500)...), 1},
		"solid and trailing bytes":  {append(header(cube, "solid", 12), 1, 2, 3), 1},
		"count too low":             {header(cube, "", 10), 1},
		"count zero":                {header(cube, "", 0), 1},
		"count too high":            {header(cube, "", 13), 1},
		"count of four billion":     {header(cube, "", math.MaxUint32), 1},
		"solid and count too high":  {header(cube, "solid x", 99), 1},
		"count high and more bytes": {append(header(cube, "", 4000), "tail"...), 1},
	} {
		t.Run(name, func(t *testing.T) {
			m, f, err := readBytes(c.in)
			if err != nil {
				t.Fatal(err)
			}
			s := examine(t, m, f).Shape
			if f.Format != "binary" || s.Triangles != 12 || s.Vertices != 8 || s.VolumeMM3 != 8000 || !s.EnclosesVolume {
				t.Errorf("%s %+v", f.Format, s)
			}
			if len(f.Notes) != c.notes {
				t.Errorf("notes %q", f.Notes)
			}
		})
	}
}

// TestRefused: what cannot be taken is refused with a sentence that says what it is.
func TestRefused(t *testing.T) {
	cube := binaryOf(t, shapes.Box(20, 20, 20))
	sphere := binaryOf(t, shapes.UVSphere(10, 32, 16))
	text := cubeText()
	with := func(v float32) []byte {
		b := bytes.Clone(cube)
		binary.LittleEndian.PutUint32(b[84+3*50+12:], math.Float32bits(v))
		return b
	}
	nan := float32(math.NaN())
	for name, c := range map[string]struct {
		in     string
		says   string
		notSTL bool
	}{
		"empty":                  {"", "empty", false},
		"blanks":                 {" \n\n\t ", "blanks", false},
		"cut in a facet":         {string(cube[:len(cube)-25]), `unread.cut-facets {"promised":12,"there":11}`, false},
		"cut between facets":     {string(sphere[:84+50*400]), `unread.cut-facets {"promised":960,"there":400}`, false},
		"cut in the header":      {string(cube[:60]), `unread.few-bytes {"bytes":60}`, true},
		"cut after the header":   {string(cube[:84]), `unread.cut-bytes {"bytes":84}`, false},
		"no facets":              {string(header(cube[:84], "", 0)), `unread.no-facets`, false},
		"NaN":                    {string(with(nan)), `unread.facet-nan {"facet":4}`, false},
		"Inf":                    {string(with(float32(math.Inf(1)))), `unread.facet-infinite {"facet":4}`, false},
		"absurd":                 {string(with(3e30)), `unread.facet-far {"facet":4,"is":"3e+30","most":"1e+06"}`, false},
		"beyond the limit":       {string(with(2e6)), `unread.facet-far {"facet":4,"is":"2e+06","most":"1e+06"}`, false},
		"flat points":            {string(binaryOf(t, shapes.Scaled(shapes.Box(1, 1, 1), 0, 0, 1))), `unread.no-area {"facets":12}`, false},
		"ASCII empty":            {"solid x\nendsolid x\n", `unread.no-facets`, false},
		"ASCII cut in a facet":   {text[:len(text)/2+40], `unread.cut-line {"facet":7,"line":46}`, false},
		"ASCII cut in a number":  {text[:strings.LastIndex(text, "vertex")+12], `unread.cut-line {"facet":12,"line":83}`, false},
		"ASCII NaN":              {strings.Replace(text, "2.000000e+01", "nan", 1), `unread.line-nan {"line":4}`, false},
		"ASCII NaN, other words": {strings.Replace(text, "2.000000e+01", "-1.#IND", 1), `unread.line-nan {"line":4}`, false},
		"ASCII Inf":              {strings.Replace(text, "2.000000e+01", "inf", 1), "infinite", false},
		"ASCII Inf, other words": {strings.Replace(text, "2.000000e+01", "1.#INF", 1), "infinite", false},
		"ASCII absurd":           {strings.Replace(text, "2.000000e+01", "2e+300", 1), `unread.line-far {"line":4,"most":"1e+06","word":"2e+300"}`, false},
		"ASCII beyond the limit": {strings.Replace(text, "2.000000e+01", "2e+7", 1), `unread.facet-far {"facet":1,"is":"2e+07","most":"1e+06"}`, false},
		"ASCII garbled number":   {strings.Replace(text, "2.000000e+01", "2.0x", 1), `unread.no-coordinate {"line":4,"word":"\"2.0x\""}`, false},
		"ASCII two coordinates":  {strings.Replace(text, " 2.000000e+01\n", "\n", 1), `unread.no-coordinate {"line":12,"word":"\"vertex\""}`, false},
		"ASCII four coordinates": {strings.Replace(text, " 2.000000e+01\n", " 1 2 3\n", 1), `unread.no-corner {"line":11,"word":"\"2\""}`, false},
		`unread.download {"kind":{"key":"findings.kind.web-page"}}`: {"<!DOCTYPE html>\n<html><head><title>Download</title></head>", `unread.download {"kind":{"key":"findings.kind.web-page"}}`, true},
		"web page, blanks": {"\n\n  <HTML lang=en><body>solid facet normal</body>", `unread.download {"kind":{"key":"findings.kind.web-page"}}`, true},
		"zip":              {"PK\x03\x04\x14\x00\x00\x00\x08\x00cube.stl" + strings.Repeat("\x11\x00", 100), `unread.inside-archive {"kind":{"key":"findings.kind.zip"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.3mf"}}`: {"PK\x03\x04\x14\x00\x00\x00\x08\x00[Content_Types].xml....3D/3dmodel.model" + strings.Repeat("\x11\x00", 100), `unread.export {"kind":{"key":"findings.kind.3mf"}}`, true},
		"word document": {"PK\x03\x04\x14\x00\x06\x00\x08\x00word/document.xml" + strings.Repeat("\x11\x00", 100), `unread.other-kind {"kind":{"key":"findings.kind.document"}}`, true},
		`unread.other-kind {"kind":{"key":"findings.kind.pdf"}}`: {"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", `unread.other-kind {"kind":{"key":"findings.kind.pdf"}}`, true},
		"PNG":  {"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", `unread.other-kind {"kind":{"key":"findings.kind.png"}}`, true},
		"JPEG": {"\xff\xd8\xff\xe0\x00\x10JFIF\x00", `unread.other-kind {"kind":{"key":"findings.kind.jpeg"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.obj"}}`:  {"# a cube\nmtllib cube.mtl\no cube\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", `unread.export {"kind":{"key":"findings.kind.obj"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.step"}}`: {"ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION((''),'2;1');\n", `unread.export {"kind":{"key":"findings.kind.step"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.iges"}}`: {fmt.Sprintf("%-72sS      1\n%-72sG      1\n", "a drawing", "1H,,1H;"), `unread.export {"kind":{"key":"findings.kind.iges"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.ply"}}`:  {"ply\nformat ascii 1.0\nelement vertex 8\n", `unread.export {"kind":{"key":"findings.kind.ply"}}`, true},
		"PLY, CRLF": {"ply\r\nformat binary_little_endian 1.0\r\n\x00\x01\x02", `unread.export {"kind":{"key":"findings.kind.ply"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.off"}}`:  {"OFF\n8 6 12\n0 0 0\n", `unread.export {"kind":{"key":"findings.kind.off"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.dxf"}}`:  {"0\nSECTION\n2\nHEADER\n", `unread.export {"kind":{"key":"findings.kind.dxf"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.vrml"}}`: {"#VRML V2.0 utf8\nShape {}\n", `unread.export {"kind":{"key":"findings.kind.vrml"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.gltf"}}`: {"{\"asset\":{\"version\":\"2.0\"}}", `unread.export {"kind":{"key":"findings.kind.gltf"}}`, true},
		"glTF binary": {"glTF\x02\x00\x00\x00\x00\x10\x00\x00", `unread.export {"kind":{"key":"findings.kind.gltf"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.amf"}}`:      {"<?xml version=\"1.0\"?>\n<amf unit=\"millimeter\"></amf>", `unread.export {"kind":{"key":"findings.kind.amf"}}`, true},
		`unread.other-kind {"kind":{"key":"findings.kind.xml"}}`:  {"<?xml version=\"1.0\"?>\n<note/>", `unread.other-kind {"kind":{"key":"findings.kind.xml"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.svg"}}`:      {"<svg xmlns=\"http://www.w3.org/2000/svg\"/>", `unread.export {"kind":{"key":"findings.kind.svg"}}`, true},
		`unread.export {"kind":{"key":"findings.kind.gcode"}}`:    {"; layer height 0.2\nM104 S200\nG28 ; home\nG1 X10 Y10 F3000\nG1 X20 E1\n", `unread.export {"kind":{"key":"findings.kind.gcode"}}`, true},
		`unread.other-kind {"kind":{"key":"findings.kind.json"}}`: {"{\"name\": 1}", `unread.other-kind {"kind":{"key":"findings.kind.json"}}`, true},
		"text":           {"Hello,\nplease print the model I sent last week.\n", `unread.other-kind {"kind":{"key":"findings.kind.text"}}`, true},
		"solid in prose": {"solid advice is rare, they say\nand so on\n", `unread.no-facets-text`, false},
		"too short":      {"\x01\x02\x03", `unread.few-bytes {"bytes":3}`, true},
		"odd binary":     {string(bytes.Repeat([]byte{0x9c, 0x00, 0xff, 0x7f, 0xe1}, 300)), `unread.facet-nan {"facet":1}`, false},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := readBytes([]byte(c.in))
			u := refused(t, err)
			if !strings.Contains(words(u), c.says) || u.NotSTL != c.notSTL {
				t.Errorf("%q, not STL %v; want %q, %v", words(u), u.NotSTL, c.says, c.notSTL)
			}
		})
	}
}

// TestLimits: over a cap the file is refused before it is read.
func TestLimits(t *testing.T) {
	b := binaryOf(t, shapes.UVSphere(10, 32, 16))
	for says, lim := range map[string]mesh.Limits{
		`unread.too-many {"facets":960,"most":959}`:         {Facets: 959},
		"unread.too-large":                                  {Bytes: 1000},
		`unread.facet-far {"facet":1,"is":"10","most":"9"}`: {CoordinateMM: 9},
	} {
		_, _, err := mesh.Read(context.Background(), bytes.NewReader(b), int64(len(b)), lim)
		if u := refused(t, err); !strings.Contains(words(u), says) {
			t.Errorf("%q does not say %q", words(u), says)
		}
	}
	_, _, err := mesh.Read(context.Background(), strings.NewReader(cubeText()), int64(len(cubeText())), mesh.Limits{Facets: 11})
	if u := refused(t, err); !strings.Contains(words(u), `unread.more-than {"most":11}`) {
		t.Errorf("%q", words(u))
	}
}

// TestReadEndsWithItsContext: a cancelled context ends the work, and is no fault of the file.
func TestReadEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	b := binaryOf(t, shapes.UVSphere(10, 32, 16))
	if _, _, err := mesh.Read(ctx, bytes.NewReader(b), int64(len(b)), mesh.Limits{}); err != context.Canceled {
		t.Errorf("binary: %v", err)
	}
	if _, _, err := mesh.Read(ctx, strings.NewReader(cubeText()), int64(len(cubeText())), mesh.Limits{}); err != context.Canceled {
		t.Errorf("ASCII: %v", err)
	}
}

// TestNotAFile: folders and missing files are errors of the call, not of a mesh.
func TestNotAFile(t *testing.T) {
	for _, path := range []string{t.TempDir(), t.TempDir() + "/none.stl"} {
		if _, _, err := mesh.ReadFile(context.Background(), path, mesh.Limits{}); err == nil {
			t.Errorf("%s was read", path)
		}
	}
}

// TestBrokenFolder: npm stl-models 0.12.0 collects files with one fault each; see
// testdata/meshes/SOURCES.md.
func TestBrokenFolder(t *testing.T) {
	for name, want := range map[string]struct {
		fault      string // of the error
		triangles  int
		watertight bool
		degenerate int
		duplicate  int
	}{
		"empty.stl":                    {fault: "unread.empty"},
		"faceless.ascii.stl":           {fault: "unread.no-facets"},
		"multiWordName.bin.stl":        {fault: "unread.as-text"}, // its bytes were replaced by U+FFFD
		"fourVertices.ascii.stl":       {triangles: 5, watertight: true, duplicate: 1},
		"quad.ascii.stl":               {triangles: 5, watertight: true, degenerate: 1},
		"twoVertices.ascii.stl":        {triangles: 4, degenerate: 1},
		"missingFace.ascii.stl":        {triangles: 3},
		"singleFace.ascii.stl":         {triangles: 1},
		"incorrectFaceCounter.bin.stl": {triangles: 4, watertight: true},
		"missingEndsolid.ascii.stl":    {triangles: 4, watertight: true},
		"missingNormal.ascii.stl":      {triangles: 4, watertight: true},
		"notANumberNormal.ascii.stl":   {triangles: 4, watertight: true},
		"solidNameMismatch.ascii.stl":  {triangles: 4, watertight: true},
		"wrongHeader.bin.stl":          {triangles: 12, watertight: true},
		"wrongNormal.ascii.stl":        {triangles: 4, watertight: true},
		"wrongNormals.ascii.stl":       {triangles: 4, watertight: true},
		"namelessSolid.ascii.stl":      {triangles: 4, watertight: true},
		"multiWordName.ascii.stl":      {triangles: 4, watertight: true},
	} {
		t.Run(name, func(t *testing.T) {
			m, f, err := mesh.ReadFile(context.Background(), kept("broken/"+name), mesh.Limits{})
			if want.fault != "" {
				if u := refused(t, err); !strings.Contains(words(u), want.fault) {
					t.Errorf("%q", words(u))
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			s := examine(t, m, f).Shape
			if s.Triangles != want.triangles || s.Watertight != want.watertight || s.DegenerateTris != want.degenerate || s.DuplicateTris != want.duplicate {
				t.Errorf("%+v", s)
			}
		})
	}
	if all, err := os.ReadDir(kept("broken")); err != nil || len(all) != 18 {
		t.Errorf("%d files in the folder, not 18: %v", len(all), err)
	}
}

// TestMinusZero: minus zero and zero are one coordinate.
func TestMinusZero(t *testing.T) {
	m, f := readFile(t, kept("polytopes/tetrahedronMinusZero.bin.stl"))
	if s := examine(t, m, f).Shape; s.Vertices != 4 || !s.EnclosesVolume {
		t.Errorf("%+v", s)
	}
}
