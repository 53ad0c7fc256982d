package letter

import (
	"strings"
	"testing"
)

// BenchmarkLetter reads a letter of 50 KB: text, HTML and a small picture.
func BenchmarkLetter(b *testing.B) {
	words := strings.Repeat("Hello, could you print this part in red for me? On Monday I will be there.\r\n", 120)
	raw := mixed("Content-Type: multipart/alternative; boundary=a\r\n\r\n--a\r\n"+textPart(words)+"\r\n--a\r\nContent-Type: text/html\r\n\r\n<p>"+
		strings.ReplaceAll(words, "\r\n", "<br>\r\n")+"</p>\r\n--a--", filePart("sketch.png", append([]byte("\x89PNG\r\n\x1a\n"), make([]byte, 22000)...)))
	opts := house("")
	b.SetBytes(int64(len(raw)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(b.Context(), strings.NewReader(raw), opts); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBigLetter reads a letter of 60 MB, which is one mesh.
func BenchmarkBigLetter(b *testing.B) {
	opts := house(b.TempDir())
	b.SetBytes(60 << 20)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(b.Context(), endless(60<<20), opts); err != nil {
			b.Fatal(err)
		}
	}
}
