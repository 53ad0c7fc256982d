package letter

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// What is kept of each part of a letter, where there is one more than the bound allows.
func TestKeptOfALetter(t *testing.T) {
	runes := utf8.RuneCountInString
	subject := func(head string) string {
		return read(t, "From: a@example.org\r\n"+head+"\r\n\r\nx", house(t.TempDir())).Subject
	}
	entry := func(value string) job.Address { return addresses(value)[0] }
	inline := func(lines int, length int) string {
		return Own(strings.Repeat("> "+strings.Repeat("q", length)+"\n", lines) + "Yes.\n> end").Inline[0].Quoted
	}
	var many []int
	links, ids := "", ""
	for i := range 41 {
		many = once(many, i)
	}
	for i := range 9 {
		links += fmt.Sprintf(`<a href="https://example.org/%d">y`, i)
	}
	for i := range 501 {
		ids += fmt.Sprintf("<%d@x>", i)
	}
	for what, c := range map[string]struct{ got, want int }{
		"characters of a subject":            {runes(subject("Subject: " + strings.Repeat("é", 501))), 500},
		"characters of a name":               {runes(entry(`"` + strings.Repeat("é", 121) + `" <a@example.org>`).Name), 120},
		"characters of an address":           {runes(exactly(strings.Repeat("a", 400)+"@example.org", true)), 320},
		"bytes of an address field":          {len(addresses(strings.Repeat("a@example.org,,", 4400))), 4369}, // 65,536 of 15 each
		"things that a letter tells":         {len(many), 40},
		"lines with an answer":               {strings.Count(inline(14, 3), "\n") + 1, 12},
		"bytes with an answer":               {len(inline(12, 250)), 2000},
		"bytes of quoted mail":               {len(Own(strings.Repeat("> "+strings.Repeat("q", 99)+"\n", 90)).Quoted), 7999}, // and a line's end
		"pieces of a field":                  {len(splitParams(strings.Repeat("a=b;", 300))), 201},                           // the last holds the rest
		"links that are open at once":        {strings.Count(rendered(links+strings.Repeat("</a>", 9)), "example.org"), 8},
		"messages that are referred to":      {len(messageIDs(ids)), 500},
		"bytes of a Message-ID":              {len(ownID("<" + strings.Repeat("i", 900) + ">")), 902},
		"bytes of one that is too long":      {len(ownID("<" + strings.Repeat("i", 901) + ">")), 0},
		"bytes of one without its signs":     {len(ownID(strings.Repeat("i", 989))), 991},
		"and of one that is too long":        {len(ownID(strings.Repeat("i", 990))), 0},
		"lines of an attribution":            {(&cutter{lines: []string{"On Tuesday, 3 November 2026,", "at half past nine", "in the morning,", "Ada wrote:", "> q"}}).attribution(0), 4},
		"lines of a longer one":              {(&cutter{lines: []string{"On Tuesday, 3 November 2026,", "at half past nine", "in the morning,", "my friend", "Ada wrote:", "> q"}}).attribution(0), 0},
		"characters of a boundary, kept":     {len(read(t, boundaryOf(200), house(t.TempDir())).Attachments), 1},
		"characters of a boundary, too many": {len(read(t, boundaryOf(201), house(t.TempDir())).Attachments), 0},
	} {
		if c.got != c.want {
			t.Errorf("%s: %d, want %d", what, c.got, c.want)
		}
	}
}

func rendered(html string) string {
	text, _ := renderHTML(html, 1<<20, nil)
	return text
}

// boundaryOf is a letter with a file whose boundary has n characters.
func boundaryOf(n int) string {
	b := strings.Repeat("b", n)
	return top + "Content-Type: multipart/mixed; boundary=\"" + b + "\"\r\n\r\n--" + b + "\r\n" + filePart("a.stl", binarySTL(1)) + "\r\n--" + b + "--\r\n"
}

// An address of 320 characters stands as it is (RFC 5321, 4.5.3.1: 64, the sign, and
// 255); one more, or one with nothing before its sign, equals none.
func TestAddressAtItsBound(t *testing.T) {
	domain := "@" + strings.Repeat("d", 251) + ".org"
	for address, plain := range map[string]bool{
		strings.Repeat("a", 64) + domain: true, strings.Repeat("a", 65) + domain: false, "@example.org": false, "a@example.org": true,
	} {
		if got := exactly(address, true); (got == address) != plain {
			t.Errorf("%d characters, %.20q: %q", len(address), address, got)
		}
	}
}

// A letter's language is told from its first 20,000 bytes.
func TestLanguageOfTheBeginning(t *testing.T) {
	words := rules.Default().Words.Cues
	spanish := "Hola, quisiera imprimir esta pieza, por favor. ¿Cuánto cuesta? Muchas gracias. "
	for before, want := range map[int]string{20000 - len(spanish): "es", 20000: "en"} {
		if got := language(strings.Repeat(" ", before)+spanish, "", []string{"en"}, words); got != want {
			t.Errorf("behind %d bytes: %s, want %s", before, got, want)
		}
	}
}

// A file is told by its first bytes: a binary one has a facet at least, a text one has
// it within 4,096 bytes, a document says so within 1,024 (ISO 32000, as from memory).
func TestKindAtItsBounds(t *testing.T) {
	for _, c := range []struct {
		name string
		data []byte
		want job.Kind
	}{
		{"one facet", binarySTL(1), job.KindMesh}, {"no facet", binarySTL(0), job.KindOther},
		{"a byte more", append(binarySTL(1), 0), job.KindOther}, {"a head alone", make([]byte, 84), job.KindOther},
		{"facet just within", []byte("solid" + strings.Repeat(" ", 4096-5-15) + "\nfacet normal  0 0 1"), job.KindMesh},
		{"facet behind", []byte("solid" + strings.Repeat(" ", 4096) + "\nfacet normal 0 0 1"), job.KindOther},
		{"document just within", []byte(strings.Repeat(" ", 1019) + "%PDF-1.7"), job.KindDocument},
		{"document behind", []byte(strings.Repeat(" ", 1020) + "%PDF-1.7"), job.KindOther},
		{"four vertices", []byte("o\n" + strings.Repeat("v 1 0 0\n", 4)), job.KindModel},
		{"three vertices", []byte("o\n" + strings.Repeat("v 1 0 0\n", 3)), job.KindOther},
		{"four moves", []byte(";\n" + strings.Repeat("G1 X1\n", 4)), job.KindModel},
		{"three moves", []byte(";\n" + strings.Repeat("G1 X1\n", 3)), job.KindOther},
		{"the shortest magic", []byte("BZh"), job.KindArchive},
	} {
		l := read(t, mixed(filePart("file.dat", c.data)), house(t.TempDir()))
		if got := find(t, l, "file.dat").Kind; got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// A line between quoted ones is the rest of the one above where that is long, and it is
// short itself; else it is the writer's own.
func TestLostWrapAtItsBounds(t *testing.T) {
	for _, c := range []struct {
		above, line int
		own         bool
	}{{60, 5, false}, {59, 5, true}, {60, 39, false}, {60, 40, true}} {
		text := fmt.Sprintf("> %s\n%s\n> end", strings.Repeat("q", c.above), strings.Repeat("a", c.line))
		if got := Own(text).Text != ""; got != c.own {
			t.Errorf("%d characters below %d: own %v", c.line, c.above, got)
		}
	}
}

// A drawn rule has five signs; four may be a word of one's own. What a telephone adds
// has 200 bytes at most.
func TestLinesThatAreNoWords(t *testing.T) {
	for text, want := range map[string]string{
		"Yes.\n____": "Yes.\n____", "Yes.\n_____": "Yes.",
		"Yes.\nSent from my phone": "Yes.", "Yes.\nSent from my phone, really": "Yes.",
	} {
		if got := Own(text).Text; got != want {
			t.Errorf("%q: own %q, want %q", text, got, want)
		}
	}
}

// A year in which nobody wrote mail, or nobody will, is no date: the server's counts.
func TestYearsOfADate(t *testing.T) {
	for year, want := range map[int]int{1970: 2026, 1971: 1971, 2199: 2199, 2200: 2026} {
		raw := fmt.Sprintf("From: a@example.org\r\nReceived: by mail.example; Fri, 27 Nov 2026 12:00:00 +0000\r\nDate: 1 Jun %d 12:00:00 +0000\r\n\r\nx", year)
		if got := read(t, raw, house(t.TempDir())).Date.Year(); got != want {
			t.Errorf("a letter of %d is dated %d, want %d", year, got, want)
		}
	}
}

// An archive's list of contents is read up to its bound, to the byte.
func TestMeteredToTheByte(t *testing.T) {
	for size, whole := range map[int]bool{8: true, 9: false} {
		m := &metered{in: strings.NewReader(strings.Repeat("x", 20)), left: 8}
		if _, err := m.ReadAt(make([]byte, size), 0); (err == nil) != whole {
			t.Errorf("%d bytes of 8: %v", size, err)
		}
	}
	r := &reader{}
	r.caps.ArchiveFiles = 10
	if got := r.directoryBytes(); got != 272_384 { // 256 KiB, and one for each file
		t.Errorf("%d bytes of a list of contents", got)
	}
}

// A wish to print is looked for in the first 8,000 bytes, its two words ninety apart.
func TestHowFarAWishIsLookedFor(t *testing.T) {
	wish := "Could you print this 3D part for me?"
	for before, want := range map[int]bool{8000 - len(wish): true, 8000: false} {
		if got, why := wishToPrint(&job.Letter{Text: strings.Repeat(" ", before) + wish}); got != want {
			t.Errorf("behind %d bytes: a wish %v, %s", before, got, why)
		}
	}
}
