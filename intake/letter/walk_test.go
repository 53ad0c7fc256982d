package letter

import (
	"bytes"
	"os"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// A part in binary encoding holds line ends of every sort and things that look like boundaries.
func TestBinaryPartsStayWhole(t *testing.T) {
	mesh := binarySTL(30)
	copy(mesh[84:], "\r\n--c\r\n\n\r\r\n--\n--bb\r\n")
	l := read(t, top+"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\nContent-Type: model/stl; name=a.stl\r\nContent-Transfer-Encoding: binary\r\n\r\n"+string(mesh)+"\r\n--b--\r\n", house(t.TempDir()))
	a := find(t, l, "a.stl")
	got, err := os.ReadFile(a.Path)
	if err != nil || !bytes.Equal(got, mesh) {
		t.Errorf("%d bytes, %v, want the %d bytes that were sent", len(got), err, len(mesh))
	}
}

func TestPartsThatAreNoFiles(t *testing.T) {
	signed := top + "Content-Type: multipart/signed; boundary=b; protocol=\"application/pgp-signature\"\r\n\r\n--b\r\n" + textPart("Please print this.") +
		"\r\n--b\r\nContent-Type: application/pgp-signature; name=signature.asc\r\n\r\nxyz\r\n--b--\r\n"
	double := top + "Content-Type: multipart/appledouble; boundary=b\r\n\r\n--b\r\nContent-Type: application/applefile; name=a.stl\r\n\r\nfork\r\n--b\r\n" + filePart("a.stl", binarySTL(1)) + "\r\n--b--\r\n"
	if l := read(t, signed, house("")); len(l.Attachments) != 0 || l.Text != "Please print this." {
		t.Errorf("signed: %+v %q", l.Attachments, l.Text)
	}
	if l := read(t, double, house("")); len(l.Attachments) != 1 || l.Attachments[0].Bytes != 134 {
		t.Errorf("two forks: %+v", l.Attachments)
	}
}

// RFC 2046, 5.2.3 and RFC 2017: a body that lies elsewhere is told, not fetched.
func TestExternalBody(t *testing.T) {
	l := read(t, mixed(textPart("Please print it."), "Content-Type: message/external-body; access-type=URL;\r\n URL*0=\"https://files.example.net/\";\r\n URL*1=\"big part.stl\"\r\n\r\nContent-Type: model/stl\r\n\r\n"), house(""))
	if !slices.Equal(l.Links, []string{"https://files.example.net/bigpart.stl"}) || len(l.Notes) != 1 {
		t.Errorf("links %q, notes %v", l.Links, l.Notes)
	}
}

func TestSealedParts(t *testing.T) {
	l := read(t, top+"Content-Type: application/pkcs7-mime; name=smime.p7m\r\nContent-Transfer-Encoding: base64\r\n\r\nMIAG", house(""))
	if len(l.Notes) != 1 || l.Notes[0].Key != "reading.sealed" {
		t.Errorf("notes %v", l.Notes)
	}
}

func TestTextsInManyCharsets(t *testing.T) {
	for name, c := range map[string]struct{ charset, raw, want string }{
		"windows-1252":      {"windows-1252", "5 \x80 \x96 pi\xe8ce", "5 € – pièce"},
		"iso-8859-1":        {"iso-8859-1", "5 \x80", "5 €"}, // the web's reading of it, and mail programs'
		"iso-8859-15":       {"iso-8859-15", "5 \xa4", "5 €"},
		"koi8-r":            {"koi8-r", "\xd0\xd2\xc9\xd7\xc5\xd4", "привет"},
		"shift_jis":         {"Shift_JIS", "\x93\xfa\x96{", "日本"},
		"utf-16":            {"utf-16", "\xff\xfea\x00b\x00", "ab"},
		"quoted":            {"\"utf-8\"", "\xc3\xa9", "é"},
		"ascii that is not": {"us-ascii", "pi\xc3\xa8ce", "pièce"},
		"utf-8 that is not": {"utf-8", "pi\xe8ce", "pièce"},
		"unknown":           {"x-unknown-99", "pi\xe8ce", "pièce"},
		"unknown, utf-8":    {"x-unknown-99", "pi\xc3\xa8ce", "pièce"},
		"with a comment":    {"us-ascii (Plain text)", "a", "a"},
		"decomposed":        {"utf-8", "pie\xcc\x80ce", "pièce"},
		"ibm850":            {"cp850", "pi\x8ace", "pièce"},
		"macintosh":         {"macintosh", "pi\x8fce", "pièce"},
	} {
		l := read(t, top+"Content-Type: text/plain; charset="+c.charset+"\r\nContent-Transfer-Encoding: 8bit\r\n\r\n"+c.raw, house(""))
		if l.Text != c.want {
			t.Errorf("%s: got %q, want %q", name, l.Text, c.want)
		}
		if unknown := strings.Contains(strings.Join(shownAs(l.Repairs), ""), "reading.repair.charset"); unknown != strings.Contains(c.charset, "x-unknown") {
			t.Errorf("%s: repairs %v", name, l.Repairs)
		}
	}
}

func TestHTMLNamesItsCharset(t *testing.T) {
	l := read(t, top+"Content-Type: text/html\r\n\r\n<html><head><meta charset=iso-8859-15></head><body>5 \xa4</body></html>", house(""))
	if l.Text != "5 €" {
		t.Errorf("got %q", l.Text)
	}
}

func TestWordsInsideTheSignatureAreNotLost(t *testing.T) {
	l := read(t, top+"Content-Type: text/html\r\n\r\n<div id=Signature><p>Please print this in red.</p></div>", house(""))
	if l.Text != "Please print this in red." {
		t.Errorf("got %q", l.Text)
	}
}

func TestManyUuencodedFiles(t *testing.T) {
	opts := house(t.TempDir())
	opts.Caps.Parts = 10
	l := read(t, top+"\r\n"+strings.Repeat("begin 644 a.stl\n#86)C\n`\nend\n", 500), opts)
	if len(l.Attachments) >= 10 || len(l.Attachments) == 0 {
		t.Errorf("%d files were written for a letter that may have 10 parts", len(l.Attachments))
	}
}

func TestDates(t *testing.T) {
	for date, want := range map[string]string{
		"Tue, 3 Nov 2026 10:12:00 -0500":       "2026-11-03T15:12:00Z",
		"3 Nov 2026 10:12 EST":                 "2026-11-03T15:12:00Z", // RFC 5322, 4.3
		"Tue, 3 Nov 2026 10:12:00 GMT":         "2026-11-03T10:12:00Z",
		"Tue, 3 Nov 2026 10:12:00 +0100 (CET)": "2026-11-03T09:12:00Z",
		"tomorrow":                             "2026-11-03T08:00:00Z", // our server's
	} {
		l := read(t, "Received: from a by b; Tue, 3 Nov 2026 08:00:00 +0000\r\nDate: "+date+"\r\n"+top+"\r\nx", house(""))
		if got := l.Date.UTC().Format("2006-01-02T15:04:05Z07:00"); got != want {
			t.Errorf("%s: got %s, want %s", date, got, want)
		}
	}
	if l := read(t, top+"\r\nx", house("")); !l.Date.Equal(house("").Now) {
		t.Errorf("no date at all: got %s, want the time of reading", l.Date)
	}
}

func TestIdentifiers(t *testing.T) {
	l := read(t, "Message-ID: a.b@example.org\r\nIn-Reply-To: your letter <x@y> of Monday\r\nReferences: <x@y>\r\n <z@y> <x@y> rubbish\r\n"+top+"\r\nx", house(""))
	if l.MessageID != "<a.b@example.org>" || l.InReplyTo != "<x@y>" || !slices.Equal(l.References, []string{"<x@y>", "<z@y>"}) || l.Disposition != job.Answer {
		t.Errorf("%q %q %q %s", l.MessageID, l.InReplyTo, l.References, l.Disposition)
	}
}

// A picture that the text shows is decoration below 32 kB, and a file of the letter
// from there on.
func TestPicturesOfTheText(t *testing.T) {
	for size, listed := range map[int]bool{32<<10 - 1: false, 32 << 10: true} {
		png := append([]byte("\x89PNG\r\n\x1a\n"), make([]byte, size-8)...)
		l := read(t, mixed("Content-Type: text/html\r\n\r\n<p>Please print this: <img src=\"cid:one\">",
			"Content-Type: image/png; name=one.png\r\nContent-Id: <one>\r\nContent-Transfer-Encoding: base64\r\n\r\n"+wrapped(png)), house(""))
		if got := len(l.Attachments) == 1; got != listed {
			t.Errorf("a picture of %d bytes in the text: %+v", size, l.Attachments)
		}
	}
}
