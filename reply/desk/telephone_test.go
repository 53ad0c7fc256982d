package desk

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"meshclerk/reply/draft"
	"meshclerk/templates"
)

var dressed = regexp.MustCompile(`(?s)<style>.*?</style>| style="[^"]*"`)

// wide is a picture as wide as ours are.
const wide = "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' width='960' height='640'%3E%3Crect width='960' height='640' fill='%23ccc'/%3E%3C/svg%3E"

// triedOn reports whether a letter is looked at with a sample.
func triedOn(sample, text, scheme string) bool {
	switch sample {
	case "full":
		return true
	case "several":
		return text == templates.TextSeveral
	}
	return sample == "awkward" && scheme == "light" && slices.Contains([]string{templates.TextQuote, templates.TextSeveral, templates.TextReady, templates.TextCannotOpen}, text)
}

// On a telephone of 360 px no letter scrolls sideways: with everything in it, about
// several parts, and with the longest names that a stranger may choose; in light and in
// dark, and without style sheets. MESHCLERK_PICTURES=DIR keeps a picture of each.
func TestLettersOnATelephone(t *testing.T) {
	ctx := tab(t, chromium(t))
	run(t, ctx, chromedp.EmulateViewport(360, 800))
	dir, kept := t.TempDir(), os.Getenv("MESHCLERK_PICTURES")
	set := templates.Default()
	for _, scheme := range []string{"light", "dark", "bare"} {
		if scheme == "dark" && kept == "" { // as wide as light
			continue
		}
		media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}
		if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
			t.Fatal(err)
		}
		for _, lang := range set.Languages() {
			for _, name := range set.Names() {
				for _, sample := range set.Samples(lang) {
					if !triedOn(sample.Name, name, scheme) {
						continue
					}
					if sample.Name == "awkward" { // and has no space to break at
						long := templates.Name(strings.Repeat("x", 56)+".stl", 60)
						sample.Data.Part.File, sample.Data.Subjects, sample.Data.Parts[0].File, sample.Data.Unopened[0].Name = long, long, long, long
					}
					tm, err := set.Get(lang, name)
					if err != nil {
						t.Fatal(err)
					}
					subject, markdown, err := tm.Render(&sample.Data)
					if err != nil {
						t.Fatal(err)
					}
					_, html := draft.Render(markdown, lang, subject)
					html = strings.ReplaceAll(html, "cid:part@larkfield.example", wide)
					if scheme == "bare" {
						html = dressed.ReplaceAllString(html, "")
					}
					at := filepath.Join(dir, "letter.html")
					if err := os.WriteFile(at, []byte(html), 0o644); err != nil {
						t.Fatal(err)
					}
					run(t, ctx, chromedp.Navigate("file://"+at))
					what := fmt.Sprintf("%s-%s-%s-%s", lang, name, sample.Name, scheme)
					if px := eval[int64](t, ctx, `document.documentElement.scrollWidth`); px > 360 {
						t.Errorf("%s is %d px wide", what, px)
					}
					if kept != "" {
						b, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
						if err == nil {
							err = os.WriteFile(filepath.Join(kept, what+".png"), b, 0o644)
						}
						if err != nil {
							t.Fatal(err)
						}
					}
				}
			}
		}
	}
}
