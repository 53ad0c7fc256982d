package letter

import (
	"archive/zip"
	"bytes"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// Where a letter is judged by several circumstances at once, each row here differs in one
// of them.

// What the trusted server found out counts where it found one thing, and the letter has
// one sender.
func TestVerdictOfOneSender(t *testing.T) {
	const ours = "Authentication-Results: mx.larkfield.example; "
	for name, c := range map[string]struct {
		head string
		want job.Verdict
	}{
		"two that agree":          {ours + "dmarc=pass; dmarc=pass\r\nFrom: pat@example.org", job.Pass},
		"three, one otherwise":    {ours + "dmarc=pass; dmarc=pass; dmarc=none\r\nFrom: pat@example.org", job.None},
		"a dot at its domain":     {ours + "dmarc=pass header.from=example.org.\r\nFrom: pat@example.org", job.Pass},
		"another's domain":        {ours + "dmarc=pass header.from=example.com\r\nFrom: pat@example.org", job.None},
		"its domain's parent":     {ours + "dmarc=pass header.from=org\r\nFrom: pat@example.org", job.None},
		"two in one field":        {ours + "dmarc=pass\r\nFrom: pat@example.org, kim@example.org", job.None},
		"the same field twice":    {ours + "dmarc=pass\r\nFrom: pat@example.org\r\nFrom: pat@example.org", job.None},
		"no address":              {ours + "dmarc=pass\r\nFrom: Pat", job.None},
		"no result, then nothing": {ours + "none\r\nFrom: pat@example.org", job.None},
		"none beside another":     {ours + "none; dmarc=pass\r\nFrom: pat@example.org", job.Pass},
		"none with more":          {ours + "none x; dmarc=pass\r\nFrom: pat@example.org", job.None},
		"something without value": {ours + "spf; dmarc=pass\r\nFrom: pat@example.org", job.None},
		"a quote and an address":  {ours + "spf=pass smtp.mailfrom=\"a b\"@example.org; dmarc=pass\r\nFrom: pat@example.org", job.Pass},
		"a quote and a word":      {ours + "spf=pass smtp.mailfrom=\"a b\"x; dmarc=pass\r\nFrom: pat@example.org", job.None},
		"capital letters":         {ours + "DMARC=PASS HEADER.FROM=EXAMPLE.ORG\r\nFrom: pat@example.org", job.Pass},
		"a Z":                     {ours + "zZ9=pass; dmarc=pass\r\nFrom: pat@example.org", job.Pass},
		"below the first station": {"Received: from a by b; Tue, 3 Nov 2026 10:00:00 -0500\r\n" + ours + "dmarc=pass\r\nFrom: pat@example.org", job.Pass},
	} {
		l := read(t, c.head+"\r\nSubject: x\r\n\r\nhello\r\n", Options{AuthservID: "mx.larkfield.example"})
		if l.Authenticated != c.want {
			t.Errorf("%s: got %s, want %s", name, l.Authenticated, c.want)
		}
	}
}

// A letter that staff pass on is that of the first outsider inside it; one that only
// staff wrote is theirs.
func TestWhoseLetterIsPassedOn(t *testing.T) {
	attached := func(from string) string {
		return "Content-Type: message/rfc822\r\n\r\nFrom: " + from + "\r\nSubject: in\r\n\r\nplease print this"
	}
	const outsider, nobody = "tomas.vega@example.com", "Tomas"
	opts := house("")
	staffs := opts.Staff[0]
	for name, c := range map[string]struct {
		from  string
		parts []string
		want  string
	}{
		"an outsider's":          {staffs, []string{textPart("see below"), attached(outsider)}, outsider},
		"staff's own":            {staffs, []string{textPart("see below"), attached(staffs)}, staffs},
		"the house's":            {staffs, []string{textPart("see below"), attached(opts.OwnAddresses[0])}, staffs},
		"without a sender":       {staffs, []string{textPart("see below"), attached(nobody)}, staffs},
		"the second":             {staffs, []string{textPart("see below"), attached(staffs), attached(outsider)}, outsider},
		"passed on by a patron":  {"pat@example.org", []string{textPart("see below"), attached(outsider)}, "pat@example.org"},
		"nothing but their text": {staffs, []string{textPart("see below")}, staffs},
	} {
		raw := "From: " + c.from + "\r\nTo: print@larkfield.example\r\nSubject: x\r\nMIME-Version: 1.0\r\nContent-Type: multipart/mixed; boundary=\"b\"\r\n\r\n--b\r\n" + strings.Join(c.parts, "\r\n--b\r\n") + "\r\n--b--\r\n"
		if l := read(t, raw, opts); l.From.Address != c.want || (l.Forwarder != nil) != (c.want == outsider) {
			t.Errorf("%s: of %s, passed on %v; want %s", name, l.From.Address, l.Forwarder != nil, c.want)
		}
	}
}

// Which parts are the writer's words, and which are files.
func TestWhatIsTextAndWhatIsAFile(t *testing.T) {
	for name, c := range map[string]struct {
		part string
		file bool
	}{
		"plain":                          {"Content-Type: text/plain\r\n\r\nmore words", false},
		"attached":                       {"Content-Type: text/plain\r\nContent-Disposition: attachment\r\n\r\nmore words", true},
		"named":                          {"Content-Type: text/plain; name=notes.txt\r\n\r\nmore words", true},
		"inline and named":               {"Content-Type: text/plain; name=notes.txt\r\nContent-Disposition: inline\r\n\r\nmore words", true},
		"a mesh by its content":          {"Content-Type: text/plain\r\n\r\n" + strings.ReplaceAll(textSTL, "\n", "\r\n"), true},
		"a letter":                       {"Content-Type: message/rfc822\r\n\r\nFrom: a@example.org\r\n\r\nmore words", false},
		"a letter by its name":           {"Content-Type: application/octet-stream; name=a.eml\r\n\r\nFrom: a@example.org\r\n\r\nmore words", false},
		"a text by that name":            {"Content-Type: text/plain; name=a.eml\r\nContent-Disposition: attachment\r\n\r\nFrom: a@example.org\r\n\r\nmore words", true},
		"a part that is no words at all": {"Content-Type: application/octet-stream; name=a.bin\r\n\r\nmore words", true},
	} {
		l := read(t, mixed(textPart("Hello."), c.part), house(t.TempDir()))
		if file := len(l.Attachments) == 1; file != c.file {
			t.Errorf("%s: a file %v: %+v", name, file, l.Attachments)
		}
	}
	for name, c := range map[string]struct {
		head string
		text bool
	}{
		"alone":                {"", true},
		"alone, as words":      {"Content-Type: text/plain; name=hello.txt\r\n", true},
		"alone, as a page":     {"Content-Type: text/html; name=hello.html\r\n", true},
		"alone, as old page":   {"Content-Type: text/html; name=hello.htm\r\n", true},
		"alone, as a document": {"Content-Type: text/plain; name=hello.pdf\r\n", false},
		"alone, attached":      {"Content-Disposition: attachment\r\n", false},
	} {
		l := read(t, top+c.head+"\r\nplease print this\r\n", house(t.TempDir()))
		if text := strings.Contains(l.Text, "please print this") && len(l.Attachments) == 0; text != c.text {
			t.Errorf("%s: words %v: %q %+v", name, text, l.Text, l.Attachments)
		}
	}
	for name, c := range map[string]struct {
		part string
		text bool
	}{
		"first, named":    {"Content-Type: text/plain; name=words.dat\r\n\r\nplease print this", true},
		"first, accepted": {"Content-Type: text/plain; name=words.stl\r\n\r\nplease print this", false},
		"first, inline":   {"Content-Type: text/plain; name=words.dat\r\nContent-Disposition: inline\r\n\r\nplease print this", false},
	} {
		l := read(t, mixed(c.part), house(t.TempDir()))
		if text := strings.Contains(l.Text, "please print this"); text != c.text {
			t.Errorf("%s: words %v: %q %+v", name, text, l.Text, l.Attachments)
		}
	}
}

// What a zip file is by the names inside it (3MF Core Specification, 2; ISO/IEC 26300-3
// and ECMA-376-2 for packages of documents).
func TestKindOfAZip(t *testing.T) {
	for name, c := range map[string]struct {
		called string
		names  []string
		want   job.Kind
	}{
		"files":                    {"a.zip", []string{"1.stl", "2.stl"}, job.KindArchive},
		"a model":                  {"a.zip", []string{"3D/3dmodel.model"}, job.KindModel},
		"another's in that folder": {"a.zip", []string{"3D/notes.txt"}, job.KindArchive},
		"a model elsewhere":        {"a.zip", []string{"x/3dmodel.model"}, job.KindArchive},
		"a document":               {"a.zip", []string{"[Content_Types].xml"}, job.KindDocument},
		"one of the other kind":    {"a.zip", []string{"mimetype"}, job.KindDocument},
		"a program's":              {"a.zip", []string{"META-INF/MANIFEST.MF.xml"}, job.KindArchive},
		"a model in a package":     {"a.zip", []string{"[Content_Types].xml", "3D/3dmodel.model"}, job.KindModel},
		"a document by its name":   {"a.docx", []string{"1.stl"}, job.KindDocument},
		"a model by its name":      {"a.3mf", []string{"1.stl"}, job.KindModel},
		"a picture by its name":    {"a.jpg", []string{"1.stl"}, job.KindArchive},
	} {
		var members []member
		for _, n := range c.names {
			members = append(members, member{n, []byte("x")})
		}
		raw := zipped(t, members...)
		z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
		if err != nil {
			t.Fatal(err)
		}
		if got := kindOfZip(z, c.called); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// The marks of a quote are taken off where every line with words bears one.
func TestUnmarkedWhereEveryLineIsMarked(t *testing.T) {
	for in, want := range map[string]string{"> a\n> b": "a\nb", "> a\n\n> b": "a\n\nb", "> a\nb": "> a\nb", "a\n> b": "a\n> b", ">a\n>> b": "a\n> b"} {
		if got := strings.Join(unmarked(strings.Split(in, "\n")), "\n"); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// The list that a letter comes from is ours by either of its fields, and by our whole address.
func TestOurOwnList(t *testing.T) {
	own := Options{OwnAddresses: []string{"print@larkfield.example"}}
	for head, want := range map[string]job.Disposition{
		"List-Post: <mailto:print@larkfield.example>":     job.Request,
		"List-Post: <mailto:blueprint@larkfield.example>": job.Automatic,
		"List-Post: <mailto:print@larkfield.example.org>": job.Automatic,
		"List-Id: <print.larkfield.example>":              job.Request,
		"List-Id: Printing <print.larkfield.example>":     job.Request,
		"List-Id: <blueprint.larkfield.example>":          job.Automatic,
		"List-Help: <mailto:help@example.org>":            job.Automatic,
		"X-Autoreply: false":                              job.Request,
		"X-Autoreply:":                                    job.Request,
	} {
		l := read(t, head+"\r\nFrom: Pat <pat@example.org>\r\nSubject: part\r\n\r\nPlease print this cup.\r\n", own)
		if l.Disposition != want {
			t.Errorf("%s: got %s (%s), want %s", head, l.Disposition, l.Why, want)
		}
	}
}
