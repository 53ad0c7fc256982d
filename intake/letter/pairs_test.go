package letter

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// Each file format is told by its first bytes at their place, to the last of them, and by
// nothing less. The values are those of the formats' specifications; from memory.
func TestSignaturesToTheByte(t *testing.T) {
	for _, c := range []struct {
		at    int
		magic string
		want  job.Kind
	}{
		{0, "PK\x03\x04", job.KindArchive}, {0, "PK\x05\x06", job.KindArchive}, {0, "Rar!\x1a\x07", job.KindArchive}, {0, "7z\xbc\xaf\x27\x1c", job.KindArchive},
		{0, "\x1f\x8b\x08", job.KindArchive}, {0, "BZh", job.KindArchive}, {0, "\xfd7zXZ\x00", job.KindArchive}, {257, "ustar", job.KindArchive},
		{0, "ISO-10303-21", job.KindModel}, {0, "ply\n", job.KindModel}, {0, "ply\r", job.KindModel}, {0, "glTF", job.KindModel}, {0, "#VRML", job.KindModel}, {0, "OFF\n", job.KindModel},
		{0, "\x89PNG\r\n\x1a\n", job.KindPicture}, {0, "\xff\xd8\xff", job.KindPicture}, {0, "GIF8", job.KindPicture}, {0, "II*\x00", job.KindPicture}, {0, "MM\x00*", job.KindPicture},
		{8, "WEBP", job.KindPicture}, {4, "ftypheic", job.KindPicture}, {4, "ftypheix", job.KindPicture}, {4, "ftypmif1", job.KindPicture}, {4, "ftypavif", job.KindPicture},
		{0, `{\rtf`, job.KindDocument},
	} {
		for off, want := range map[int]job.Kind{0: c.want, 1: ""} {
			head := []byte(strings.Repeat("~", c.at+off) + c.magic)
			if got := kindByContent(sample{head: head, size: int64(len(head))}); got != want {
				t.Errorf("%q at %d: %q, want %q", c.magic, c.at+off, got, want)
			}
		}
		short := []byte(strings.Repeat("~", c.at) + c.magic[:len(c.magic)-1])
		if got := kindByContent(sample{head: short, size: int64(len(short))}); got != "" {
			t.Errorf("%q cut by a byte: %q", c.magic, got)
		}
	}
}

// A name is shown whole up to 120 characters; of a longer one the ending is kept, unless
// that is no ending.
func TestNamesOfFilesAtTheirBounds(t *testing.T) {
	for name, want := range map[string]string{
		strings.Repeat("n", 116) + ".stl":                        strings.Repeat("n", 116) + ".stl",
		strings.Repeat("n", 117) + ".stl":                        strings.Repeat("n", 116) + ".stl",
		strings.Repeat("n", 120) + "." + strings.Repeat("e", 11): strings.Repeat("n", 108) + "." + strings.Repeat("e", 11),
		strings.Repeat("n", 121) + "." + strings.Repeat("e", 12): strings.Repeat("n", 120),
		"../../etc/x.stl": "x.stl",
		`C:\parts\x.stl`:  "x.stl",
		" '..' ":          "",
		strings.Repeat("d/", 997) + "a.stl" + strings.Repeat("z", 9): "a.stlz", // of 2,000 characters
	} {
		if got := fileName(name); got != want {
			t.Errorf("%.20q… of %d: %q, want %q", name, len(name), got, want)
		}
	}
}

// What systems add to an archive unasked is not listed, nor are folders and links.
func TestWhatIsListedOfAnArchive(t *testing.T) {
	for name, want := range map[string]bool{
		"a.stl": true, "sub/a.stl": true, "sub/": false, "__MACOSX/a.stl": false, "sub/._a.stl": false, ".DS_Store": false, "sub/.DS_Store": false,
		"thumbs.db": false, `sub\Thumbs.DB`: false, "desktop.ini": false, "my desktop.ini": true,
	} {
		if got := shownInArchive(&zip.File{FileHeader: zip.FileHeader{Name: name}}); got != want {
			t.Errorf("%s: listed %v", name, got)
		}
	}
	for _, mode := range []fs.FileMode{fs.ModeSymlink, fs.ModeDevice, fs.ModeDir} {
		f := zip.FileHeader{Name: "a.stl"}
		f.SetMode(mode | 0o600)
		if shownInArchive(&zip.File{FileHeader: f}) {
			t.Errorf("listed: %v", mode)
		}
	}
}

// A file may unpack to what is left, and to so many times its packed size, to the byte.
func TestBombToTheByte(t *testing.T) {
	for name, c := range map[string]struct {
		guard bombGuard
		size  int
		met   bool
	}{
		"all that is left":      {bombGuard{left: 1000, packed: 1000, ratio: 1}, 1000, false},
		"a byte more":           {bombGuard{left: 1000, packed: 1000, ratio: 1}, 1001, true},
		"a small one":           {bombGuard{left: 9 << 20, packed: 1, ratio: 1}, 1 << 20, false},
		"too much of a large":   {bombGuard{left: 9 << 20, packed: 1, ratio: 1}, 1<<20 + 1, true},
		"just its ratio":        {bombGuard{left: 9 << 20, packed: 1 << 20, ratio: 2}, 2 << 20, false},
		"a byte over its ratio": {bombGuard{left: 9 << 20, packed: 1 << 20, ratio: 2}, 2<<20 + 1, true},
		"packed to nothing":     {bombGuard{left: 9 << 20, packed: 0, ratio: 3 << 20}, 2 << 20, false},
	} {
		c.guard.in = bytes.NewReader(make([]byte, c.size))
		_, err := io.Copy(io.Discard, &c.guard)
		if errors.Is(err, errBomb) != c.met || c.guard.met != c.met {
			t.Errorf("%s: %v, met %v", name, err, c.guard.met)
		}
		if c.met {
			if n, err := c.guard.Read(make([]byte, 1)); n > 0 || !errors.Is(err, errBomb) {
				t.Errorf("%s: read on, %d bytes, %v", name, n, err)
			}
		}
	}
}

// Archives are unpacked until the cap of all their bytes is met, and what comes then is
// not listed.
func TestArchiveUpToItsBytes(t *testing.T) {
	for most, listed := range map[int64]int{2 * 134: 3, 2*134 + 1: 4} { // the archive and two or three files
		opts := house(t.TempDir())
		opts.Caps.ArchiveBytes = most
		l := read(t, mixed(filePart("a.zip", zipped(t, member{"1.stl", binarySTL(1)}, member{"2.stl", binarySTL(1)}, member{"3.stl", binarySTL(1)}))), opts)
		note := find(t, l, "a.zip").Note.Key
		if len(l.Attachments) != listed || note != "reading.file.archive-large" {
			t.Errorf("%d bytes: %d files, %q", most, len(l.Attachments), note)
		}
	}
}

// A part is taken for base64 with one sign in twelve that is none, and always where it is
// too short to tell. A line behind its end is read on only where it can be nothing else.
func TestWhatMayBeBase64(t *testing.T) {
	for head, want := range map[string]bool{
		strings.Repeat("A", 12) + "!": true, strings.Repeat("A", 11) + "!": false, strings.Repeat("!", 7): true, strings.Repeat("!", 8): false,
		strings.Repeat("AAAA=\r\n", 9): true, "": true,
	} {
		if got := couldBeBase64([]byte(head)); got != want {
			t.Errorf("%q: may be base64 %v", head, got)
		}
	}
	for line, want := range map[string]bool{
		strings.Repeat("A", 41): true, strings.Repeat("A", 39): false, strings.Repeat("A", 36): true, "AA==": true, "AAA=": true, "AAA": false, "AAAA\r\n": true,
		"-_-_": false, strings.Repeat("A", 40) + " A": false, "Regards, Ada": false,
	} {
		if got := surelyBase64([]byte(line)); got != want {
			t.Errorf("%q: surely base64 %v", line, got)
		}
	}
	for in, want := range map[string]string{"QUJD": "ABC", "QUI=": "AB", "QQ==": "A", "QQ": "A", "Q": "", "QUJDRA": "ABCD", "QU-_": "AO\xbf"} { // RFC 4648, 10 and 5
		if got, err := io.ReadAll(lines(strings.NewReader(in), &base64Lines{})); err != nil || string(got) != want {
			t.Errorf("%s: %q, %v, want %q", in, got, err, want)
		}
	}
}

// Escapes of quoted-printable stand for their byte, broken ones for themselves (RFC 2045,
// 6.7), wherever the pieces of a long line end.
func TestQuotedPrintableAtItsEdges(t *testing.T) {
	for in, want := range map[string]string{
		"a=C3=A9b": "aéb", "=41": "A", "=4": "=4", "=": "", "a=": "a", "=4G": "=4G", "a =\r\nb": "a b", "a \t\r\nb": "a\r\nb", "a\n": "a\n", "=3D=": "=",
	} {
		if got, err := io.ReadAll(lines(strings.NewReader(in), &quotedLines{})); err != nil || string(got) != want {
			t.Errorf("%q: %q, %v, want %q", in, got, err, want)
		}
	}
	for _, before := range []int{pieceBytes - 2, pieceBytes - 1, pieceBytes} {
		in := strings.Repeat("x", before) + "=41y"
		if got, err := io.ReadAll(lines(strings.NewReader(in), &quotedLines{})); err != nil || string(got) != strings.Repeat("x", before)+"Ay" {
			t.Errorf("cut at %d: ends in %q, %v", before, got[max(0, len(got)-5):], err)
		}
	}
}

// A line that begins a uuencoded file has a mode of three or four octal digits and a name
// (POSIX, uuencode), and what may follow it has the length that it says.
func TestUuencodeAtItsBounds(t *testing.T) {
	for line, want := range map[string]bool{
		"begin 644 a.stl": true, "begin 0644 a.stl": true, "begin 64 a.stl": false, "begin 00644 a.stl": false, "begin 648 a.stl": false, "begin 644": false, "begins 644 a": false,
		"begin 644 " + strings.Repeat("n", 296): true, "begin 644 " + strings.Repeat("n", 297): false,
	} {
		if _, got := uuBegin([]byte(line)); got != want {
			t.Errorf("%.40q: begins a file %v", line, got)
		}
	}
	full := "M" + strings.Repeat("x", 60) // 45 bytes
	for line, want := range map[string]bool{
		"#86)C": true, "#86)C12": true, "#86)C123": false, "end": true, "": false, "`": true, "a": false, full: true, full + "xx": true, full + "xxx": false,
		"`ab": true, "`abc": false, "_" + strings.Repeat("x", 86): true, "_" + strings.Repeat("x", 87): false,
	} {
		if got := plausibleUU([]byte(line)); got != want {
			t.Errorf("%q: may be a line of a file %v", line, got)
		}
	}
	var out bytes.Buffer
	for _, line := range []string{"#86)C", "$86)C9", "`", ""} {
		uuLine(&out, []byte(line))
	}
	if got := out.String(); got != "abcabcd" {
		t.Errorf("decoded %q", got)
	}
}

// A letter passed on in the text is known by its header: a sender and two more fields,
// within fifteen lines and without gaps, at most five lines below the mark.
func TestForwardedHeaderAtItsBounds(t *testing.T) {
	const from, to, date, subject = "From: Tomas Vega <tomas.vega@example.com>", "To: Owen", "Date: Tue, 3 Nov 2026 10:12:00 -0500", "Subject: bracket"
	wrap := " and another"
	for name, c := range map[string]struct {
		lines []string
		want  int
	}{
		"two fields":              {[]string{from, to, subject, "", "words"}, 3},
		"one field":               {[]string{from, to, "", "words"}, 0},
		"no sender":               {[]string{to, date, subject}, 0},
		"a line between":          {[]string{from, "", to, "", subject, "", "words"}, 5},
		"two lines between":       {[]string{from, to, "", "", subject}, 0},
		"wrapped once and again":  {[]string{from, to, wrap, wrap, subject}, 5},
		"wrapped three times":     {[]string{from, to, wrap, wrap, wrap, subject}, 0},
		"the fifteenth line":      {append(append([]string{from}, slices.Repeat([]string{to, wrap}, 7)...), subject, wrap), 16},
		"a sixteenth line":        {append(append([]string{from}, slices.Repeat([]string{to, wrap}, 7)...), wrap, subject), 14},
		"a sender of 500 bytes":   {[]string{from + strings.Repeat("x", 500-len(from)), to, subject}, 3},
		"a sender of 501 bytes":   {[]string{from + strings.Repeat("x", 501-len(from)), to, subject}, 0},
		"a sender without a name": {[]string{"From:", to, subject}, 0},
	} {
		if got := headerBlock(c.lines, 0); got != c.want {
			t.Errorf("%s: a header of %d lines, want %d", name, got, c.want)
		}
	}
	for below, found := range map[int]bool{0: true, 5: true, 6: false} {
		lines := append(slices.Repeat([]string{""}, below), from, to, date, subject, "", "words")
		f := readForwarded(lines, 0)
		if (f != nil) != found || found && (f.From.Address != "tomas.vega@example.com" || f.Subject != "bracket" || f.Text != "words" || f.Date.IsZero()) {
			t.Errorf("%d lines below the mark: %+v", below, f)
		}
	}
	for length, want := range map[int]bool{200: true, 201: false} {
		line := "---------- Forwarded message ----------"
		if got := isSeparator(strings.Repeat("-", length-len(line)) + line); got != want {
			t.Errorf("a mark of %d bytes: %v", length, got)
		}
	}
}

// Whose letter it is that a member of staff passes on, and what counts of its proof.
func TestWhoseForwardedLetterItIs(t *testing.T) {
	text := "---------- Forwarded message ---------\nFrom: Tomas Vega <tomas.vega@example.com>\nDate: Tue, 3 Nov 2026\nSubject: bracket\nTo: <owen@larkfield.example>\n\nplease print it"
	plain := strings.Join(strings.Split(text, "\n")[1:], "\n")
	results := func(v, domain string) string {
		return "Authentication-Results: mx.larkfield.example; dmarc=" + v + " header.from=" + domain + "\r\n"
	}
	const owen, tomas = "owen.dufresne@larkfield.example", "tomas.vega@example.com"
	for name, c := range map[string]struct {
		raw  string
		from string
		want job.Verdict
	}{
		"marked":                      {staff + "Subject: bracket\r\n\r\n" + text, tomas, job.None},
		"proven":                      {results("pass", "larkfield.example") + staff + "Subject: bracket\r\n\r\n" + text, tomas, job.None}, // a name in a text proves nothing
		"by a forger":                 {results("fail", "larkfield.example") + staff + "Subject: bracket\r\n\r\n" + text, owen, job.Fail},
		"by the subject":              {staff + "Subject: Fwd: bracket\r\n\r\n" + plain, tomas, job.None},
		"quoted":                      {staff + "Subject: Re: bracket\r\n\r\n" + plain, owen, job.None},
		"by somebody else":            {"From: pat@example.org\r\nSubject: Fwd: bracket\r\n\r\n" + text, "pat@example.org", job.None},
		"of our own mailbox":          {staff + "Subject: Fwd: x\r\n\r\n" + strings.ReplaceAll(text, tomas, house("").OwnAddresses[0]), owen, job.None},
		"of a sender with no address": {staff + "Subject: Fwd: x\r\n\r\n" + strings.ReplaceAll(text, " <"+tomas+">", ""), owen, job.None},
	} {
		l := read(t, c.raw, house(""))
		if l.From.Address != c.from || l.Authenticated != c.want || (l.Forwarder != nil) != (c.from == tomas) {
			t.Errorf("%s: from %s, %s, by %+v; want %s, %s", name, l.From.Address, l.Authenticated, l.Forwarder, c.from, c.want)
		}
	}
}

// What a machine sent is never answered, whoever passes it on, and what a person sent is.
func TestWhatAMachineSent(t *testing.T) {
	for head, want := range map[string]string{
		"Auto-Submitted: ": "", "Auto-Submitted: (x) no": "", "Auto-Submitted: auto-notified": "letters.auto-submitted",
		"Return-Path: (null) <>": "letters.no-return", "List-Help: <mailto:x@example.org>": "letters.list", "List-Post: NO": "letters.list",
		"Precedence: auto_reply": "letters.bulk", "Precedence:": "",
		"X-Autorespond: yes": "letters.reply-header", "X-Auto-Reply-From: x@example.org": "letters.reply-header", "X-Autogenerated: Reply": "letters.reply-header", "X-Autoreply: false": "",
		"Content-Type: multipart/report; boundary=x":                   "letters.report",
		"Content-Type: message/delivery-status":                        "letters.report",
		"Content-Type: message/disposition-notification":               "letters.report",
		"From: postmaster@example.org\r\nSubject: Undeliverable: part": "letters.daemon",
		"From: postmaster@example.org\r\nSubject: our parts":           "",
		"From: no-reply@example.org\r\nReply-To: noreply@example.org":  "letters.daemon",
		"From: no-reply@example.org\r\nReply-To: pat@example.org":      "",
		"Subject: Out of office\r\nIn-Reply-To: <x@larkfield.example>": "letters.away",
		"Subject: Out of office\r\nX-Auto-Response-Suppress: All":      "letters.away",
	} {
		if !strings.Contains(head, "From:") {
			head += "\r\nFrom: Pat <pat@example.org>"
		}
		l := read(t, head+"\r\n\r\nPlease print this cup.\r\n", Options{OwnAddresses: []string{"print@larkfield.example"}})
		machine := want != ""
		if (l.Disposition == job.Automatic) != machine || machine && l.Why.Key != want {
			t.Errorf("%q: %s, %s; want %q", head, l.Disposition, l.Why.Key, want)
		}
	}
	file := mixed(textPart("I am out of the office."), filePart("a.stl", binarySTL(1)))
	file = strings.Replace(file, "Subject: part", "Subject: Out of office", 1)
	if l := read(t, file, house("")); l.Disposition != job.Request {
		t.Errorf("with a file: %s, %s", l.Disposition, l.Why)
	}
	inner := "Content-Type: message/rfc822\r\n\r\nAuto-Submitted: auto-replied\r\nFrom: tomas.vega@example.com\r\nSubject: away\r\n\r\nback on Monday"
	if l := read(t, staff+"Subject: Fwd: away\r\n"+inner, house("")); l.Disposition != job.Automatic {
		t.Errorf("passed on by staff: %s, %s", l.Disposition, l.Why)
	}
}

// A pass is for the domain of the one sender, with one address, of the one server that is
// trusted, on top.
func TestPassIsBelievedOfOneSender(t *testing.T) {
	const pass = "Authentication-Results: mx.larkfield.example; dmarc=pass"
	for name, c := range map[string]struct {
		head string
		want job.Verdict
	}{
		"one":                     {pass + " header.from=example.org\r\nFrom: pat@example.org", job.Pass},
		"a domain with a dot":     {pass + " header.from=example.org.\r\nFrom: pat@example.org", job.Pass},
		"another domain":          {pass + " header.from=example.net\r\nFrom: pat@example.org", job.None},
		"a domain below":          {pass + " header.from=sub.example.org\r\nFrom: pat@example.org", job.None},
		"two addresses":           {pass + " header.from=example.org\r\nFrom: pat@example.org, ada@example.org", job.None},
		"two fields":              {pass + " header.from=example.org\r\nFrom: pat@example.org\r\nFrom: pat@example.org", job.None},
		"another server":          {"Authentication-Results: mx.example.net; dmarc=pass\r\nFrom: pat@example.org", job.None},
		"a property said twice":   {pass + " header.from=evil.example header.from=example.org\r\nFrom: pat@example.org", job.None},
		"version 1":               {"Authentication-Results: mx.larkfield.example 1; dmarc=pass\r\nFrom: pat@example.org", job.Pass},
		"version 11":              {"Authentication-Results: mx.larkfield.example 11; dmarc=pass\r\nFrom: pat@example.org", job.None},
		"a server that begins so": {"Authentication-Results: mx.larkfield; dmarc=pass\r\nFrom: pat@example.org", job.None},
	} {
		if got := read(t, c.head+"\r\nSubject: x\r\n\r\nhello", Options{AuthservID: "mx.larkfield.example"}).Authenticated; got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// A letter is read to its cap, to the byte, and says so where there is more.
func TestLetterToItsCap(t *testing.T) {
	raw := top + "\r\nHello there."
	for less, noted := range map[int]bool{0: false, 1: true} {
		opts := house("")
		opts.Caps.LetterBytes = int64(len(raw) - less)
		l := read(t, raw, opts)
		if got := len(l.Notes) > 0; got != noted || l.Text != "Hello there."[:12-less] {
			t.Errorf("%d bytes less: %q, notes %v", less, l.Text, l.Notes)
		}
	}
}

// Text without a charset that is known is read as what it can be: cut UTF-8 is still UTF-8.
func TestCutCharacters(t *testing.T) {
	for in, want := range map[string]string{
		"12345678\xc3": "12345678\u00c3", "123456789\xc3": "123456789", "123456789\xe2\x82": "123456789", "123456789\xf0\x9f\x91": "123456789", "123456789\x80": "123456789€",
	} {
		if got := guessCharset([]byte(in)); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// HTML may nest a hundred lists and quotes; what is deeper is read as if it were not.
func TestNestedHTMLAtItsBounds(t *testing.T) {
	for n := range 2 {
		for _, tag := range []string{"ul", "ol", "blockquote"} {
			deep := 100 + n
			in := strings.Repeat("<"+tag+">", deep) + "x" + strings.Repeat("</"+tag+">", deep) + "<p>end"
			if text := strings.TrimSpace(rendered(in)); !strings.HasSuffix(text, "\nend") {
				t.Errorf("%d of %s: ends in %q", deep, tag, text[max(0, len(text)-20):])
			}
		}
	}
	if got := rendered(fmt.Sprintf("<ol>%s</ol>", strings.Repeat("<li>x", 12))); !strings.Contains(got, "12") {
		t.Errorf("the items are not counted: %q", got)
	}
}

// What stands alone is the letter's text by each of the types that texts come as, and a
// file by its own; addresses stand apart by a comma or a semicolon that no quote holds.
func TestTextsByTheirTypes(t *testing.T) {
	for media, text := range map[string]bool{
		"text/plain": true, "text/html": true, "text": true, "text/enriched": true, "application/xhtml+xml": true, "text/x-amp-html": true, "plain": true,
		"application/octet-stream": false, "image/png": false, "text/csv": false,
	} {
		l := read(t, top+"Content-Type: "+media+"\r\n\r\nPlease print this.", house(""))
		if got := l.Text == "Please print this."; got != text || (len(l.Attachments) == 0) != text {
			t.Errorf("%s: text %q, %d files", media, l.Text, len(l.Attachments))
		}
	}
	for value, want := range map[string]int{
		"a@example.org, b@example.org": 2, "a@example.org; b@example.org": 2, `"a, b" <a@example.org>`: 1, `"a\"; b" <a@example.org>`: 1, "a@example.org": 1, "": 0,
	} {
		if got := len(addresses(value)); got != want {
			t.Errorf("%q: %d addresses, want %d", value, got, want)
		}
	}
}
