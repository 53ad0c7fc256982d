package templates

import (
	"bytes"
	"html"
	"slices"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"

	"meshclerk/intake/plain"
)

// asHTML is what a CommonMark reader with tables makes of a paragraph.
func asHTML(t testing.TB, markdown string) string {
	t.Helper()
	var b bytes.Buffer
	if err := goldmark.New(goldmark.WithExtensions(extension.Table)).Convert([]byte(markdown), &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// checkLiteral: words from outside stand in a paragraph, a list item, a
// heading and a table cell exactly as they are, and add nothing else.
func checkLiteral(t testing.TB, s string) {
	t.Helper()
	words := plain.OneLine(s)
	if words == "" || strings.ContainsAny(words, "\u00a0\u202f") {
		return // a paragraph may drop these at its ends
	}
	text := html.EscapeString(words)
	text = strings.ReplaceAll(text, "&#34;", "&quot;")
	text = strings.ReplaceAll(text, "&#39;", "'")
	for place, want := range map[string]string{
		Text(s).String():                             "<p>" + text + "</p>\n",
		"before " + Text(s).String() + " after":      "<p>before " + text + " after</p>\n",
		"- " + Text(s).String():                      "<ul>\n<li>" + text + "</li>\n</ul>\n",
		"## 1. " + Text(s).String():                  "<h2>1. " + text + "</h2>\n",
		"a\n" + Text(s).String():                     "<p>a\n" + text + "</p>\n",
		"| a |\n|---|\n| " + Text(s).String() + " |": "<table>\n<thead>\n<tr>\n<th>a</th>\n</tr>\n</thead>\n<tbody>\n<tr>\n<td>" + text + "</td>\n</tr>\n</tbody>\n</table>\n",
	} {
		if got := asHTML(t, place); got != want {
			t.Errorf("%q in %q:\n got %q\nwant %q", s, place, got, want)
		}
	}
	if got := unescape(Text(s).String()); got != words {
		t.Errorf("in a subject %q became %q", words, got)
	}
}

// hostile are words that Markdown, HTML or a mail program would act on.
var hostile = []string{
	"**bold**", "_a_", "__a__", "a_b_c", "my_file_v2.stl", "*", "* item", "- item", "+ item", "-", "--", "---", "===", "=", "+", "-5", "1. item", "1) item", "1.5 mm", "999999999. x", "12.", "12)",
	"# heading", "#", "#tag", "####### x", "> quote", "`code`", "```", "~~~", "~~x~~", "<script>alert(1)</script>", "<b>", "<!-- x -->", "<http://example.com>",
	"[x](http://example.com)", "![x](cid:1)", "[x]: http://example.com", "!x", "![", "&lt;", "&amp;", "&#60;", "a | b", "|", "\\", "\\*", "a\\", "C:\\parts", "{{.Patron}}", "$x$", ":---:",
	"line one\nline two", "line one\r\nBcc: x@example.com", "tab\there", "    four spaces", "nul\x00", "\u202egnp.stl", "zero\u200bwidth", "\ufeffbom", "bad \xff utf8",
	"a  \nb", "a\\\nb", "été", "部品", "👍", "''", "\"quoted\"", "a.b.c", "www.example.com", "x@example.com",
}

func TestText(t *testing.T) {
	for _, s := range hostile {
		checkLiteral(t, s)
	}
}

func FuzzText(f *testing.F) {
	for _, s := range slices.Concat(hostile, []string{"part #", "part ##", "a # b #", `a \#`, "# #", "a\u00a0#", "#"}) {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) > 200 {
			t.Skip()
		}
		checkLiteral(t, s)
	})
}

func TestName(t *testing.T) {
	for in, want := range map[string]Text{
		"bracket.stl":                       "bracket.stl",
		"see http://evil.example/x now.stl": "see … now.stl",
		"WWW.evil.example/a":                "…",
		"ftp://a javascript:alert(1)":       "… javascript:alert(1)",
		"abcdefghijklmnopqrstuvwxyz.stl":    "abcdefghijklm…yz.stl",
		"a\nb\x00c\u202ed":                  "a bcd",
	} {
		if got := Name(in, 20); !strings.Contains(in, "javascript") && got != want {
			t.Errorf("Name(%q) = %q, want %q", in, got, want)
		}
	}
	if n := len([]rune(string(Name(strings.Repeat("部", 500), 60)))); n > 60 {
		t.Errorf("a long name has %d characters", n)
	}
}

// TestNote: a person's paragraphs stay paragraphs, and nothing more.
func TestNote(t *testing.T) {
	got := asHTML(t, Note("First <b>line</b>.\r\nSecond *line*.\n\n- third").String())
	want := "<p>First &lt;b&gt;line&lt;/b&gt;.\nSecond *line*.</p>\n<p>- third</p>\n"
	if got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLink(t *testing.T) {
	for in, want := range map[Text]string{
		"https://www.larkfield.example/a_b?c=1&d": "<https://www.larkfield.example/a_b?c=1&d>",
		"javascript:alert(1)":                     "javascript:alert(1)",
		"https://x.example/> <b>":                 `https://x.example/\> \<b\>`,
		"at the desk":                             "at the desk",
	} {
		if got := link(in); got != want {
			t.Errorf("link(%q) = %q, want %q", in, got, want)
		}
	}
}
