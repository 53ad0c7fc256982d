package letter

import (
	"archive/zip"
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"strings"
	"testing"
)

// Letters for tests are put together here.

const top = "From: Pat <pat@example.org>\r\nSubject: part\r\nMIME-Version: 1.0\r\n"

// mixed is a letter with these parts, each with its own header.
func mixed(parts ...string) string {
	return top + "Content-Type: multipart/mixed; boundary=\"b\"\r\n\r\n--b\r\n" + strings.Join(parts, "\r\n--b\r\n") + "\r\n--b--\r\n"
}

func textPart(text string) string { return "Content-Type: text/plain; charset=utf-8\r\n\r\n" + text }

func filePart(name string, data []byte) string {
	return fmt.Sprintf("Content-Type: application/octet-stream\r\nContent-Disposition: attachment; filename=%q\r\n"+
		"Content-Transfer-Encoding: base64\r\n\r\n%s", name, wrapped(data))
}

// wrapped is base64 in lines of 76 (RFC 2045, 6.8).
func wrapped(data []byte) string {
	var out strings.Builder
	text := base64.StdEncoding.EncodeToString(data)
	for len(text) > 76 {
		out.WriteString(text[:76] + "\r\n")
		text = text[76:]
	}
	return out.String() + text
}

// binarySTL is a file of n facets.
func binarySTL(n int) []byte {
	out := make([]byte, 84+50*n)
	binary.LittleEndian.PutUint32(out[80:], uint32(n))
	return out
}

const textSTL = "solid a\n facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 0\n   vertex 0 1 0\n  endloop\n endfacet\nendsolid a\n"

type member struct {
	name string
	data []byte
}

func zipped(t testing.TB, members ...member) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, m := range members {
		f, err := w.Create(m.name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write(m.data); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
