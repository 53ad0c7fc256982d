package draft

import (
	"html"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"meshclerk/templates"
)

// TestPlain: how Markdown reads as plain mail.
func TestPlain(t *testing.T) {
	for _, c := range []struct{ markdown, want string }{
		{"a  \nb\\\nc\nd", "a\nb\nc d\n"},
		{"**yes** and *so* and `code`", "*yes* and so and code\n"},
		{"## Title\n\ntext", "Title\n-----\n\ntext\n"},
		{"- one\n- two\n  - inner\n", "- one\n- two\n\n  - inner\n"},
		{"3. three\n4. four", "3. three\n4. four\n"},
		{"- loose\n\n- list", "- loose\n\n- list\n"},
		{"> quoted\n> words", "> quoted words\n"},
		{"[map](https://x.example/m) <https://y.example>", "map <https://x.example/m> https://y.example\n"},
		{"![a part](cid:x)", "[a part]\n"},
		{"---", "--------------------\n"},
		{"    code  here", "    code  here\n"},
		{"<b>raw</b> &amp; \\& \\&lt; &notanentity; &", "raw & & &lt; &notanentity; &\n"},
		{"<div>\nblock\n</div>\n\nafter", "after\n"},
		{"6 ×\u00a03\u00a0cm", "6 ×\u00a03\u00a0cm\n"},
		{strings.Repeat("word ", 20), strings.TrimSpace(strings.Repeat("word ", 14)) + " word\n" + strings.TrimSpace(strings.Repeat("word ", 5)) + "\n"},
		{strings.Repeat("x", 200) + " y", strings.Repeat("x", 200) + "\ny\n"},
		{"| a | b |\n|---|---:|\n| long cell | 1 |\n| **x** |", "a          b\n------------\nlong cell  1\nx\n"},
		{"", "\n"},
	} {
		if got, _ := Render(c.markdown, "en", ""); got != c.want {
			t.Errorf("%q:\n got %q\nwant %q", c.markdown, got, c.want)
		}
	}
}

// TestWideTable: a table wider than a letter becomes a list, row by row.
func TestWideTable(t *testing.T) {
	name := strings.Repeat("a-long-name-", 6) + ".stl"
	got, _ := Render("| | File | Result |\n|---:|---|---|\n| 1 | "+name+" | can be printed |\n| 2 | b.stl | not as it is |\n", "en", "")
	want := "1 " + name + "\n  Result: can be printed\n\n2 b.stl\n  Result: not as it is\n"
	want = strings.Replace(want, "1 "+name, "1\n"+name, 1) // the name alone fills a line
	if got != want {
		t.Errorf("got %q\nwant %q", got, want)
	}
}

// TestHTML: the document says its language, scales on a phone, keeps the
// reader's colours and marks column heads.
func TestHTML(t *testing.T) {
	_, got := Render("## T\n\n| a |\n|---|\n| b |\n", "fr", "A & B")
	for _, want := range []string{`<html lang="fr">`, `<title>A &amp; B</title>`, `name="viewport"`, `name="color-scheme" content="light dark"`, `<th style="`, `scope="col"`} {
		if !strings.Contains(got, want) {
			t.Errorf("no %s in %s", want, got)
		}
	}
	_, body, _ := strings.Cut(got, "<body>")
	if strings.Contains(body, "background") || strings.Contains(body, ";color") || strings.Contains(body, "\"color") {
		t.Errorf("an element sets a colour of its own: %s", body)
	}
}

// A program that drops every style still shows the picture no wider than a telephone.
func TestPictureWithoutStyles(t *testing.T) {
	_, got := Render("![a part](cid:x)\n", "en", "")
	if !strings.Contains(got, `width="320"`) {
		t.Error(got)
	}
}

// TestWriteForReading writes every letter as a page, for a person to look at,
// into the folder named by MESHCLERK_LOOK.
func TestWriteForReading(t *testing.T) {
	dir := os.Getenv("MESHCLERK_LOOK")
	if dir == "" {
		t.Skip("set MESHCLERK_LOOK to a folder to have every letter written there as a page")
	}
	for _, lang := range []string{"en", "fr", "es"} {
		for name, in := range cases(t, lang) {
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, lang+"-"+name+".html"), []byte(m.HTML), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestContrast: WCAG 2.2, 1.4.3: small text needs a contrast of 4.5 to 1, on
// white and on the near-black of a dark scheme.
func TestContrast(t *testing.T) {
	light, dark, _ := strings.Cut(style, "@media (prefers-color-scheme:dark)")
	for scheme, background := range map[string]string{light: "ffffff", dark: "1e1e1e"} {
		colours := regexp.MustCompile(`color:#([0-9a-f]{6})`).FindAllStringSubmatch(scheme, -1)
		if len(colours) < 2 {
			t.Fatalf("%d colours in %q", len(colours), scheme)
		}
		for _, c := range colours {
			a, b := luminance(t, c[1]), luminance(t, background)
			if ratio := (max(a, b) + 0.05) / (min(a, b) + 0.05); ratio < 4.5 {
				t.Errorf("#%s on #%s has a contrast of %.1f", c[1], background, ratio)
			}
		}
	}
}

// luminance is the relative luminance of WCAG 2.2.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(hex, 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	channel := func(shift uint) float64 {
		c := float64(n>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*channel(16) + 0.7152*channel(8) + 0.0722*channel(0)
}

var (
	tagOrText  = regexp.MustCompile(`(?s)<(?:style|title).*?</(?:style|title)>|<[^>]*>`)
	altOf      = regexp.MustCompile(`<img[^>]* alt="([^"]*)"[^>]*>`)
	listNumber = regexp.MustCompile(`(?m)^\d{1,2}\. `) // of a list, which a browser counts itself
	oneWord    = regexp.MustCompile(`[\pL\pN]+`)
)

// Both parts of a letter say the same words in the same order, in every language.
func TestBothPartsSayTheSame(t *testing.T) {
	for _, lang := range templates.Languages() {
		for name, in := range cases(t, lang) {
			m, err := Compose(in)
			if err != nil {
				t.Fatal(err)
			}
			shown := html.UnescapeString(tagOrText.ReplaceAllString(altOf.ReplaceAllString(m.HTML, " $1 "), " "))
			if got, want := oneWord.FindAllString(listNumber.ReplaceAllString(m.Plain, ""), -1), oneWord.FindAllString(shown, -1); !slices.Equal(got, want) {
				t.Errorf("%s/%s: %q\nas HTML %q", lang, name, got, want)
			}
		}
	}
}
