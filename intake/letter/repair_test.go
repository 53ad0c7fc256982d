package letter

import (
	"io"
	"slices"
	"strings"
	"testing"
)

// repaired runs a message through the repairer.
func repaired(t *testing.T, raw string, depth int) (string, *log) {
	t.Helper()
	budget, l := int64(1<<20), &log{}
	r := newRepairer(strings.NewReader(raw), l, &budget, depth)
	out, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(string(out), r.salt, "S"), l
}

func TestRepairLeavesGoodMailAlone(t *testing.T) {
	for name, raw := range map[string]string{
		"plain":         "From: a@example.org\r\nX: folded\r\n\tvalue\r\n\r\nline\r\n\r\n--not a boundary\r\nFrom here\r\n",
		"no last end":   "From: a@example.org\r\n\r\nline",
		"empty body":    "From: a@example.org\r\n\r\n",
		"binary body":   "From: a@example.org\r\n\r\n\x00\r\n\n\r\x80\xff\n\n",
		"one long line": "From: a@example.org\r\n\r\n" + strings.Repeat("x", 3*pieceBytes+7) + "\r\ny",
	} {
		got, l := repaired(t, raw, 5)
		if got != raw || len(l.repairs) > 0 {
			t.Errorf("%s:\ngot  %.200q\nwant %.200q\nsaid %q", name, got, raw, l.repairs)
		}
	}
}

func TestRepairRewritesMultiparts(t *testing.T) {
	const canonical = "From: a@example.org\r\nContent-Type: multipart/mixed; boundary=\"=_S_1\"\r\n\r\n" +
		"\r\n--=_S_1\r\nContent-Type: text/plain\r\n\r\none\r\n--=_S_1\r\n\r\ntwo\r\n--=_S_1--\r\n"
	for name, c := range map[string]struct{ raw, repair string }{
		"good":            {"From: a@example.org\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\npreamble\r\n--b\r\nContent-Type: text/plain\r\n\r\none\r\n--b\r\n\r\ntwo\r\n--b--\r\nepilogue", ""},
		"unix line ends":  {"From: a@example.org\nContent-Type: multipart/mixed; boundary=b\n\n--b\nContent-Type: text/plain\n\none\n--b\n\ntwo\n--b--\n", ""},
		"mixed line ends": {"From: a@example.org\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n--b\nContent-Type: text/plain\r\n\none\r\n--b\r\n\ntwo\n--b--", ""},
		"trailing spaces": {"From: a@example.org\r\nContent-Type: multipart/mixed; boundary=\"b \"\r\n\r\n--b \t\r\nContent-Type: text/plain\r\n\r\none\r\n--b\r\n\r\ntwo\r\n--b-- \r\n", ""},
		"not closed":      {"From: a@example.org\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\nContent-Type: text/plain\r\n\r\none\r\n--b\r\n\r\ntwo", "reading.repair.part-open"},
		"wrong boundary":  {"From: a@example.org\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n--c\r\nContent-Type: text/plain\r\n\r\none\r\n--c\r\n\r\ntwo\r\n--c--\r\n", "reading.repair.boundary"},
		"no boundary":     {"From: a@example.org\r\nContent-Type: multipart/mixed\r\n\r\n--c\r\nContent-Type: text/plain\r\n\r\none\r\n--c\r\n\r\ntwo\r\n--c--\r\n", "reading.repair.boundary"},
		"no content type": {"From: a@example.org\r\n\r\n--c\r\nContent-Type: text/plain\r\n\r\none\r\n--c\r\n\r\ntwo\r\n--c--\r\n", "reading.repair.parts-unsaid"},
		"long preamble":   {"From: a@example.org\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n" + strings.Repeat("y", 9000) + "\r\n--b\r\nContent-Type: text/plain\r\n\r\none\r\n--b\r\n\r\ntwo\r\n--b--\r\n", ""},
	} {
		got, l := repaired(t, c.raw, 5)
		if got = strings.TrimSuffix(got, "\r\n"); got != strings.TrimSuffix(canonical, "\r\n") {
			t.Errorf("%s:\ngot  %q\nwant %q", name, got, canonical)
		}
		said := strings.Join(shownAs(l.repairs), "; ")
		if !strings.Contains(said, c.repair) || c.repair == "" && said != "" {
			t.Errorf("%s: said %q, want %q", name, said, c.repair)
		}
	}
}

// Boundaries that begin like each other, the bane of prefix matching.
func TestRepairTellsSimilarBoundariesApart(t *testing.T) {
	l := read(t, top+"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\nContent-Type: multipart/alternative; boundary=b-1\r\n\r\n"+
		"--b-1\r\n\r\nplain\r\n--b-1\r\nContent-Type: text/html\r\n\r\n<p>html\r\n--b-1--\r\n--b\r\n\r\n--bc is text\r\n--b--\r\n", Options{})
	if want := "plain\n\n--bc is text"; l.Text != want {
		t.Errorf("got %q, want %q", l.Text, want)
	}
}

func TestRepairHeaders(t *testing.T) {
	for name, c := range map[string]struct {
		raw, header string
		repairs     []string
	}{
		"mailbox separator": {"From a@b Tue\r\nSubject: x\r\n\r\n", "Subject: x\r\n", []string{"reading.repair.separator"}},
		"empty lines first": {"\r\n\r\nSubject: x\r\n\r\n", "Subject: x\r\n", []string{"reading.repair.empty-lines"}},
		"byte order mark":   {"\ufeffSubject: x\r\n\r\n", "Subject: x\r\n", []string{"reading.repair.byte-order-mark"}},
		"no colon":          {"Subject: x\r\nrubbish here\r\nTo: y\r\n\r\n", "Subject: x\r\nTo: y\r\n", []string{"reading.repair.no-colon"}},
		"wrapped badly":     {"Content-Type: text/plain;\r\ncharset=utf-8\r\nTo: y\r\n\r\n", "Content-Type: text/plain;\r\n charset=utf-8\r\nTo: y\r\n", []string{"reading.repair.wrapped"}},
		"zero bytes":        {"Sub\x00ject: x\x00y\r\n\r\n", "Subject: xy\r\n", []string{"reading.repair.zero-bytes"}},
		"indented first":    {" Subject: x\r\nTo: y\r\n\r\n", "Subject: x\r\nTo: y\r\n", []string{"reading.repair.mid-line"}},
		"blank in between":  {"Subject: x\r\n \r\nTo: y\r\n\r\n", "Subject: x\r\nTo: y\r\n", nil},
	} {
		got, l := repaired(t, c.raw, 5)
		if got != c.header+"\r\n" || !slices.Equal(shownAs(l.repairs), c.repairs) {
			t.Errorf("%s:\ngot  %q %q\nwant %q %q", name, got, l.repairs, c.header, c.repairs)
		}
	}
}

func TestDecoders(t *testing.T) {
	for _, c := range []struct{ encoding, in, want string }{
		{"base64", "SGVsbG8=", "Hello"},
		{"BASE64 (comment)", "SGVsbG8", "Hello"},
		{"base64", "SGVs\r\n\r\nbG8=\r\n", "Hello"},
		{"base64", "S G!V*s\x80bG8=", "Hello"},
		{"base64", "SGVsbG8=\r\n\r\nthe neighbours list\r\n", "Hello"},
		{"base64", "SGVsbG8=\r\nIFdvcmxkIQ==\r\n", "Hello World!"},
		{"base64", "SGVsbG8gV29ybGQ_Pz8-", "Hello World???>"},
		{"base64", "S", ""},
		{"quoted-printable", "caf=C3=A9=\r\n x  \r\ny", "café x\r\ny"},
		{"quoted-printable", "50=% of =ZZ=", "50=% of =ZZ"},
		{"Quoted-Printable", "a=3", "a=3"},
		{"x-uuencode", "begin 644 a\n#86)C\n`\nend\nmore", "abc"},
		{"x-uuencode", "text first\nbegin 644 a\n#86)C\n", "abc"},
		{"8BIT", "a\x00b", "a\x00b"},
	} {
		r, ok := decoder(c.encoding, strings.NewReader(c.in))
		if !ok {
			t.Errorf("%s is not known", c.encoding)
			continue
		}
		got, err := io.ReadAll(r)
		if err != nil || string(got) != c.want {
			t.Errorf("%s %q: got %q, %v, want %q", c.encoding, c.in, got, err, c.want)
		}
	}
	// RFC 2045, 6.7: escapes that fall on the end of a buffer
	long := strings.Repeat("=41", pieceBytes)
	r, _ := decoder("quoted-printable", strings.NewReader(long))
	if got, err := io.ReadAll(r); err != nil || string(got) != strings.Repeat("A", pieceBytes) {
		t.Errorf("a long line: %d bytes, %v", len(got), err)
	}
}
