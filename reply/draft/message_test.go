package draft

import (
	"bytes"
	"encoding/json"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"meshclerk/intake/job"
	"meshclerk/templates"
)

func contains(m Message, s string) bool {
	return strings.Contains(m.Plain, s) || strings.Contains(m.HTML, s) || bytes.Contains(m.Raw, []byte(s))
}

// read takes a message apart with the standard library: its headers, and its
// parts by media type, decoded.
func read(t testing.TB, raw []byte) (mail.Header, map[string][]byte) {
	t.Helper()
	msg, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	parts := map[string][]byte{}
	walk(t, msg.Header.Get("Content-Type"), msg.Header.Get("Content-Transfer-Encoding"), msg.Body, parts)
	return msg.Header, parts
}

func walk(t testing.TB, contentType, encoding string, body io.Reader, parts map[string][]byte) {
	t.Helper()
	media, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(media, "multipart/") {
		if encoding == "quoted-printable" {
			body = quotedprintable.NewReader(body)
		}
		if parts[media], err = io.ReadAll(body); err != nil {
			t.Fatal(err)
		}
		return
	}
	r := multipart.NewReader(body, params["boundary"])
	for {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		walk(t, p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p, parts)
	}
}

func unix(b []byte) string { return strings.ReplaceAll(string(b), "\r\n", "\n") }

// TestReadBack: the standard library reads from the bytes what was put in.
func TestReadBack(t *testing.T) {
	for _, lang := range templates.Languages() {
		for name, in := range cases(t, lang) {
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			h, parts := read(t, m.Raw)
			if unix(parts["text/plain"]) != m.Plain || unix(parts["text/html"]) != m.HTML {
				t.Errorf("%s/%s: a part came back changed", lang, name)
			}
			subject, err := new(mime.WordDecoder).DecodeHeader(h.Get("Subject"))
			if err != nil || subject != m.Subject {
				t.Errorf("%s/%s: subject %q, want %q (%v)", lang, name, subject, m.Subject, err)
			}
			if h.Get("Message-Id") != "<D-000007@larkfield.example>" || m.MessageID != h.Get("Message-Id") {
				t.Errorf("message id %q", h.Get("Message-Id"))
			}
			from, err := h.AddressList("From")
			if err != nil || from[0].Address != "print@larkfield.example" {
				t.Errorf("from %v %v", from, err)
			}
			if len(in.Jobs) > 0 && !strings.HasSuffix(subject, " [7QK2-M9TX]") {
				t.Errorf("%s/%s: no token in %q", lang, name, subject)
			}
			// RFC 3834, 5: only an automatic answer says auto-replied; a person sends these.
			for _, no := range []string{"Auto-Submitted", "Reply-To", "Cc", "Bcc", "User-Agent", "X-Mailer"} {
				if h.Get(no) != "" {
					t.Errorf("%s/%s: has %s: %s", lang, name, no, h.Get(no))
				}
			}
		}
	}
}

// Beside a file that was checked, a locked one is told of too, in each language;
// a letter with nothing but a locked one is asked for it without a password.
func TestFilesThatCouldNotBeOpened(t *testing.T) {
	locked := job.Attachment{Name: "lid.stl", Inside: "parts.zip", Kind: job.KindMesh, Note: job.Say("reading.file.locked", nil)}
	for lang, words := range map[string]string{"en": "protected by a password", "fr": "un mot de passe le protège", "es": "protegido con una contraseña"} {
		in := input(t, lang)
		in.Letter.Attachments = append(in.Letter.Attachments, locked)
		in.Jobs = []*job.Job{settled(part(lang))}
		alone := input(t, lang)
		alone.Letter.Attachments = []job.Attachment{{Name: "parts.zip", Kind: job.KindArchive}, locked}
		for want, in := range map[string]Input{"quote": in, "cannot-open": alone} {
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			if m.Template != want || !strings.Contains(strings.Join(strings.Fields(m.Plain), " "), words) || !strings.Contains(m.Plain, "lid.stl") || strings.Contains(m.Plain, "parts.zip") {
				t.Errorf("%s: %s does not tell of the locked file:\n%s", lang, m.Template, m.Plain)
			}
		}
	}
}

// Of a tiny part nothing is said twice, and no other way to print it is offered
// that is neither sooner nor cheaper.
func TestTinyPart(t *testing.T) {
	in := input(t, "en")
	j := settled(part("en"))
	e := j.Report.Estimate
	e.PrintTimeS, e.LowS, e.HighS, e.MassG = 240, 230, 260, 0.1
	e.WhatIf = []job.Choice{{Label: layers(0.3), Settings: job.Settings{LayerMM: 0.3}, PrintTimeS: 235, MassG: 0.1, Plates: 1, Within: true, Total: j.Report.Quote.Total}}
	in.Jobs = []*job.Job{j}
	m, err := Compose(in)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(m.Plain, "5 minutes (") || strings.Contains(m.Plain, "Other ways") {
		t.Errorf("%s", m.Plain)
	}
}

// TestPythonReads: another reader of mail finds no defect in the bytes
// (Python's email package, policy default).
func TestPythonReads(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
			t.Fatal("python3 is needed to read the messages")
		}
		t.Skip("python3 is not installed, so no second reader of the messages")
	}
	const script = `
import sys, json, email, email.policy
m = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.default)
parts = [p for p in m.walk()]
print(json.dumps({
 "defects": [str(d) for p in parts for d in p.defects] + [str(d) for h in m.values() for d in getattr(h, "defects", [])],
 "types": [p.get_content_type() for p in parts],
 "subject": m["subject"], "refs": m["references"] or "", "to": str(m["to"]),
 "plain": m.get_body(("plain",)).get_content(), "html": m.get_body(("html",)).get_content()}))`
	for _, lang := range templates.Languages() {
		in := cases(t, lang)["quote"]
		in.Letter.From.Name = "Zoë \"Ada\" Ångström, née Müller; a very long name that goes on and on"
		in.Letter.Subject = "Pièce n° 1: “très” longue, mit Umlauten äöü und 部品 und noch viel mehr, bis die Zeile umbrochen wird"
		m, err := Compose(in)
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(python, "-c", script)
		cmd.Stdin = bytes.NewReader(m.Raw)
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		var got struct {
			Defects, Types                 []string
			Subject, Refs, To, Plain, HTML string
		}
		if err := json.Unmarshal(out, &got); err != nil {
			t.Fatal(err)
		}
		want := []string{"multipart/related", "multipart/alternative", "text/plain", "text/html", "image/png"}
		if len(got.Defects) > 0 || !slices.Equal(got.Types, want) {
			t.Errorf("defects %v, parts %v", got.Defects, got.Types)
		}
		for what, pair := range map[string][2]string{"subject": {got.Subject, m.Subject}, "plain": {unix([]byte(got.Plain)), m.Plain}, "html": {unix([]byte(got.HTML)), m.HTML}, "references": {got.Refs, "<first.1@example.org>"}} {
			if pair[0] != pair[1] {
				t.Errorf("%s: %s read back as %q, was %q", lang, what, pair[0], pair[1])
			}
		}
	}
}

// TestThread: RFC 5322, appendix A.2: Mary answers John, and John answers Mary.
func TestThread(t *testing.T) {
	in := input(t, "en")
	in.Letter.MessageID, in.Letter.References, in.Letter.InReplyTo = "<1234@local.machine.example>", nil, ""
	if got := References(&in); !slices.Equal(got, []string{"<1234@local.machine.example>"}) {
		t.Errorf("answer to a first letter: %v", got)
	}
	in.Letter.MessageID = "<3456@example.net>"
	in.Letter.InReplyTo, in.Letter.References = "<1234@local.machine.example>", []string{"<1234@local.machine.example>"}
	want := []string{"<1234@local.machine.example>", "<3456@example.net>"}
	if got := References(&in); !slices.Equal(got, want) {
		t.Errorf("answer to an answer: %v", got)
	}
	// 3.6.4: without References, an In-Reply-To with one identifier takes their place.
	in.Letter.References = nil
	if got := References(&in); !slices.Equal(got, want) {
		t.Errorf("without references: %v", got)
	}
	m, err := Compose(in)
	if err != nil {
		t.Fatal(err)
	}
	h, _ := read(t, m.Raw)
	if h.Get("In-Reply-To") != "<3456@example.net>" || h.Get("References") != "<1234@local.machine.example> <3456@example.net>" {
		t.Errorf("headers %q, %q", h.Get("In-Reply-To"), h.Get("References"))
	}
	in.Letter.References = []string{"<a@b>", "no brackets", "<spa ce@x>", "<line\r\nBcc: x@y>", "<a@b>", "<ü@x>", "<" + strings.Repeat("x", 300) + "@y>"}
	in.Letter.MessageID = "<last@x>"
	if got := References(&in); !slices.Equal(got, []string{"<a@b>", "<last@x>"}) {
		t.Errorf("odd identifiers: %v", got)
	}
	in.Letter.References = nil
	for i := range 500 {
		in.Letter.References = append(in.Letter.References, "<n"+strings.Repeat("i", i%7)+string(rune('a'+i%26))+string(rune('a'+i/26))+"@x>")
	}
	first := in.Letter.References[0]
	if got := References(&in); len(got) != maxReferences || got[0] != first || got[len(got)-1] != "<last@x>" {
		t.Errorf("a long thread keeps %d: %v", len(got), got)
	}
}

// said gives the words of a reply's notes, in English.
func said(notes []job.Message) string {
	l := templates.DefaultBook().In("en", "en-CA", "CAD")
	var out []string
	for _, n := range notes {
		out = append(out, l.Say(n))
	}
	return strings.Join(out, "\n")
}

// TestTo: answers go to the sender, or to his Reply-To within his own domain.
func TestTo(t *testing.T) {
	for _, c := range []struct{ replyTo, to, note string }{
		{"", "ada.marlowe@example.org", ""},
		{"ada.marlowe@example.org", "ada.marlowe@example.org", ""},
		{"lab@example.org", "lab@example.org", "this reply goes to lab@example.org"},
		{"ada@evil.example", "ada.marlowe@example.org", "another domain"},
		{"print@larkfield.example", "ada.marlowe@example.org", "another domain"},
		{"x@example.org\r\nBcc: y@example.org", "ada.marlowe@example.org", "cannot be written to"},
		{"\"a b\"@example.org", "ada.marlowe@example.org", "cannot be written to"},
	} {
		in := cases(t, "en")["quote"]
		in.Letter.ReplyTo = c.replyTo
		m, err := Compose(in)
		if err != nil {
			t.Fatal(err)
		}
		if notes := said(m.Notes); m.To.Address != c.to || (c.note == "") != (notes == "") || !strings.Contains(notes, c.note) {
			t.Errorf("reply-to %q: to %s, notes %q", c.replyTo, m.To.Address, notes)
		}
	}
	in := cases(t, "en")["quote"]
	in.Letter.Authenticated = job.Fail
	if m, err := Compose(in); err != nil || len(m.Notes) != 1 || !strings.Contains(said(m.Notes), "did not prove") {
		t.Errorf("an unproven sender: %v %v", m.Notes, err)
	}
}

// TestCannot: what is missing or wrong is said, and no half draft comes back.
func TestCannot(t *testing.T) {
	for what, c := range map[string]struct {
		change func(*Input)
		want   string
	}{
		"no rules":      {func(in *Input) { in.Rules = nil }, "the house rules and reply texts are not loaded"},
		"nobody":        {func(in *Input) { in.Letter, in.Jobs = nil, nil }, "there is neither a letter nor a job to write about"},
		"bad id":        {func(in *Input) { in.ID = "D 1>" }, "makes no Message-ID"},
		"bad domain":    {func(in *Input) { in.Domain = "x\r\ny" }, "makes no Message-ID"},
		"bad token":     {func(in *Input) { in.Token = "a b" }, "thread token"},
		"own address":   {func(in *Input) { in.Letter.From.Address = "print@larkfield.example" }, `{"key":"faults.from-ourselves",`},
		"no address":    {func(in *Input) { in.Letter.From.Address = "not an address" }, `{"key":"faults.not-an-address",`},
		"unknown text":  {func(in *Input) { in.Template = "qoute" }, "did you mean quote?"},
		"not a picture": {func(in *Input) { in.Picture = &Picture{PNG: []byte("GIF89a")} }, "no PNG"},
	} {
		in := cases(t, "en")["quote"]
		c.change(&in)
		m, err := Compose(in)
		if c.want == "" {
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.want) || m.Raw != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
}

// TestEdited: a person's own words replace the text, and the bytes follow.
func TestEdited(t *testing.T) {
	in := cases(t, "en")["quote"]
	before, err := Compose(in)
	if err != nil {
		t.Fatal(err)
	}
	in.Markdown = "Hello Ada,\n\ncome and **see** us. <script>alert(1)</script> [map](javascript:alert(1))\n"
	in.Subject = "Re: something\r\nBcc: x@example.com"
	m, err := Compose(in)
	if err != nil {
		t.Fatal(err)
	}
	if m.SHA256 == before.SHA256 || m.Subject != "Re: something Bcc: x@example.com [7QK2-M9TX]" || len(m.Questions) != 0 {
		t.Errorf("%q %v", m.Subject, m.Questions)
	}
	if strings.Contains(m.HTML, "<script") || strings.Contains(m.HTML, "javascript:") || !strings.Contains(m.HTML, "<strong>see</strong>") {
		t.Errorf("html: %s", m.HTML)
	}
	if h, _ := read(t, m.Raw); h.Get("Bcc") != "" {
		t.Error("a header was injected")
	}
	again := in
	again.Subject = m.Subject // an edited subject comes back with its token
	if m2, err := Compose(again); err != nil || m2.Subject != m.Subject {
		t.Errorf("token twice: %q", m2.Subject)
	}
}

var amount = regexp.MustCompile(`\$ ?[0-9]|[0-9] ?\$`)

// TestNoPriceOfOurOwn: promise 7, never a price that the rules do not give.
func TestNoPriceOfOurOwn(t *testing.T) {
	for _, lang := range templates.Languages() {
		for name, in := range cases(t, lang) {
			in.Paid = ""
			for _, jobs := range [][]*job.Job{in.Jobs, in.Before} {
				for _, j := range jobs {
					j.Report.Quote = nil
					if j.Report.Estimate != nil {
						for i := range j.Report.Estimate.WhatIf {
							j.Report.Estimate.WhatIf[i].Total = ""
						}
					}
				}
			}
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			if found := amount.FindString(strings.ReplaceAll(m.Plain, "\u00a0", " ")); found != "" {
				t.Errorf("%s/%s: without a quote the letter says %q", lang, name, found)
			}
		}
	}
	// One of two parts without a price: it is not offered, and the total is not said to be for both.
	in := input(t, "en")
	a, b := part("en"), part("en")
	b.Report.Quote = nil
	in.Jobs = []*job.Job{a, b}
	if m, err := Compose(in); err != nil || strings.Count(m.Plain, "not known yet") != 1 || !strings.Contains(m.Plain, "print 1 of your 2 files.* It costs *$3.45*") || strings.Count(m.Plain, "Printing: ") != 1 {
		t.Errorf("a part without a price: %v\n%s", err, m.Plain)
	}
}

// hostileInput puts words of an attacker wherever a patron's words can reach.
func hostileInput(t testing.TB, lang, words string) Input {
	in := cases(t, lang)["quote"]
	in.Letter.Subject, in.Letter.From.Name = words, words
	for range 2 {
		in.Letter.Attachments = append(in.Letter.Attachments, job.Attachment{Name: words, Kind: job.KindModel})
	}
	in.Letter.Links = []string{words}
	j := in.Jobs[0]
	j.File, j.Wishes.Material, j.Wishes.Colours, j.Wishes.Words = words, words, []string{words}, map[string]string{"copies": words}
	j.Patron.Name = words
	second := *j
	second.File = words + "2"
	in.Jobs = []*job.Job{j, &second}
	return in
}

// elements are all that a letter's HTML is made of.
var elements = []string{"html", "head", "meta", "title", "style", "body", "div", "p", "h2", "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td", "strong", "em", "br", "img", "a"}

// checkSafe: the HTML has only our elements and links, and the headers only ours.
func checkSafe(t testing.TB, m Message) {
	t.Helper()
	z := html.NewTokenizer(strings.NewReader(m.HTML))
	for {
		switch z.Next() {
		case html.ErrorToken:
			h, parts := read(t, m.Raw)
			if len(parts) != 3 || len(h["Subject"]) != 1 || len(h["To"]) != 1 || h.Get("Bcc") != "" {
				t.Errorf("parts %d, headers %v", len(parts), h)
			}
			return
		case html.CommentToken:
			t.Errorf("a comment: %s", z.Raw())
		case html.StartTagToken, html.SelfClosingTagToken:
			token := z.Token()
			if !slices.Contains(elements, token.Data) {
				t.Errorf("the element %s", token)
			}
			for _, a := range token.Attr {
				bad := strings.HasPrefix(a.Key, "on") ||
					a.Key == "href" && !strings.HasPrefix(a.Val, "https://www.larkfield.example/3d-print") ||
					a.Key == "src" && a.Val != "cid:D-000007.part@larkfield.example"
				if bad {
					t.Errorf("the attribute %s=%q", a.Key, a.Val)
				}
			}
		}
	}
}

var attacks = []string{
	"<script>alert(1)</script>.stl", "<img src=x onerror=alert(1)>", "[click](http://evil.example)", "![x](http://evil.example/p.png)",
	"<a href=\"http://evil.example\">x</a>", "<http://evil.example>", "x\r\nBcc: victim@example.com", "x\nContent-Type: text/html\n\n<b>", "=?utf-8?q?=0D=0ABcc:_x@y?=",
	"\r\n\r\n--boundary\r\nContent-Type: text/html\r\n\r\n<b>x</b>", "{{.Library.Address}}", "a | b | c\n|---|", "\u202egnp.exe", strings.Repeat("A", 5000), strings.Repeat("𝔘 ", 900),
	"\x00\x01\x02", "\xff\xfe", "# Heading\n\n- list\n\n1. one", "```\ncode", "[x]: http://evil.example \"t\"\n[x]", "&lt;script&gt;", "</div></body></html><h1>x", "\\", "```", "~~~", "    indented",
}

func TestHostileWords(t *testing.T) {
	for _, words := range attacks {
		m, err := Compose(hostileInput(t, "en", words))
		if err != nil {
			t.Fatalf("%q: %v", words, err)
		}
		checkSafe(t, m)
	}
}

func FuzzCompose(f *testing.F) {
	for _, words := range attacks {
		f.Add(words)
	}
	f.Fuzz(func(t *testing.T, words string) {
		if len(words) > 4000 {
			t.Skip()
		}
		m, err := Compose(hostileInput(t, "fr", words))
		if err != nil {
			t.Fatal(err)
		}
		checkSafe(t, m)
	})
}

// TestPlainSaysWhatHTMLSays: both parts have the same words in the same order.
func TestPlainSaysWhatHTMLSays(t *testing.T) {
	for _, lang := range templates.Languages() {
		for name, in := range cases(t, lang) {
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			if plain, rich := wordsOf(m.Plain), wordsOf(visible(m.HTML)); plain != rich {
				t.Errorf("%s/%s:\nplain %s\nhtml  %s", lang, name, plain, rich)
			}
		}
	}
}

// visible is the text of the body of an HTML document, an image by its alt text.
func visible(document string) string {
	_, body, _ := strings.Cut(document, "<body>")
	z := html.NewTokenizer(strings.NewReader(body))
	var b strings.Builder
	for {
		switch z.Next() {
		case html.ErrorToken:
			return b.String()
		case html.TextToken:
			b.WriteString(string(z.Text()) + " ")
		case html.StartTagToken, html.SelfClosingTagToken:
			for _, a := range z.Token().Attr {
				if a.Key == "alt" {
					b.WriteString(a.Val + " ")
				}
			}
		}
	}
}

// wordsOf leaves out what only one part has: list numbers, rules, marks, headings of narrow tables.
func wordsOf(s string) string {
	s = html.UnescapeString(s)
	keep := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r > 0xbf && r != '–')
	}
	return strings.Join(strings.FieldsFunc(s, keep), " ")
}
