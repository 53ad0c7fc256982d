package desk

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/picture"
	"meshclerk/rules"
	"meshclerk/templates"
)

// Every code of the ledger, the rules and the reply texts has its word.
func TestCodesHaveWords(t *testing.T) {
	b := templates.DefaultBook()
	has := func(kind string, codes ...string) {
		t.Helper()
		for _, c := range codes {
			if _, ok := b.Args("codes." + kind + "." + c); !ok {
				t.Errorf("no word for the %s %s", kind, c)
			}
		}
	}
	set := templates.Default()
	has("kind", set.Names()...)
	has("piece", set.Pieces()...)
	has("rules", rules.Files()...)
	has("audit", ledger.AuditedActs()...)
	has("finding", templates.Codes()...)
	has("header", shownHeaders...)
	for _, mm := range []float64{2, 20, 100, 400} {
		has("familiar", picture.FamiliarFor([3]float64{mm, 1, 1}).Key)
	}
	for _, k := range set.Samples("en") {
		has("sample", k.Name)
	}
	for _, st := range job.Stages() {
		has("stage", string(st))
	}
	for view := range views {
		if view != "corner" { // which says what it is at more length
			has("view", view)
		}
	}
}

func TestFrench(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, d := h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.post("/language", url.Values{"language": {"fr"}, "back": {"/reply/" + d}})
	holds(t, page, `<html lang="fr">`, "Approuver et envoyer", "3 heures", "3,40")
	lacks(t, page, "Approve and send", "Their letter", "for each job", "layers of 0.3")
	holds(t, page, "Environ 3 cm² sont en surplomb", "Faut-il l’imprimer avec des supports?", "Forfait par demande", "Couches de 0,3")
}

func attr(n *html.Node, key string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val, true
		}
	}
	return "", false
}

func words(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
		if alt, ok := attr(c, "alt"); ok {
			b.WriteString(alt)
		}
	}
	return strings.TrimSpace(b.String())
}

// readable holds a page against what can be told from its HTML: one main heading,
// labelled fields, named buttons and frames, a language, no id twice, headings
// that skip no level. The criteria are those of WCAG 2.2: 1.1.1, 1.3.1, 2.4.2,
// 2.4.6, 3.1.1, 3.3.2, 4.1.2.
func readable(t *testing.T, name, lang, page string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	ids, labels := map[string]bool{}, map[string]bool{}
	h1, level, mains := 0, 1, 0
	wrong := func(format string, args ...any) {
		t.Helper()
		t.Errorf("%s (%s): %s", name, lang, fmt.Sprintf(format, args...))
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if v, ok := attr(n, "id"); ok {
			if ids[v] {
				wrong("two elements have the id %q", v)
			}
			ids[v] = true
		}
		if v, ok := attr(n, "for"); ok && n.Data == "label" && words(n) != "" {
			labels[v] = true
		}
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		named := func() bool {
			if v, _ := attr(n, "aria-label"); v != "" {
				return true
			}
			v, _ := attr(n, "title")
			return v != ""
		}
		id, _ := attr(n, "id")
		kind, _ := attr(n, "type")
		switch n.Data {
		case "html":
			if v, _ := attr(n, "lang"); v != lang {
				wrong("the page says it is in %q", v)
			}
		case "main":
			mains++
		case "img":
			if _, ok := attr(n, "alt"); !ok {
				wrong("a picture has no text")
			}
		case "input", "select", "textarea":
			if kind != "hidden" && !labels[id] && !named() {
				wrong("the field %q has no label", id)
			}
		case "button", "a", "summary":
			_, later := attr(n, "data-keys-toggle") // named by the script that shows it
			if words(n) == "" && !named() && !later {
				wrong("a %s has no words", n.Data)
			}
		case "iframe":
			if !named() {
				wrong("a frame has no title")
			}
		case "h1", "h2", "h3", "h4":
			l := int(n.Data[1] - '0')
			if l == 1 {
				h1++
			}
			if l > level+1 {
				wrong("%s follows a heading of level %d", n.Data, level)
			}
			level = l
		}
		for _, key := range []string{"aria-labelledby", "aria-describedby"} {
			if v, ok := attr(n, key); ok && !ids[v] {
				wrong("%s points to %q, which is not there", key, v)
			}
		}
	}
	if h1 != 1 || mains != 1 {
		wrong("%d main headings, %d mains", h1, mains)
	}
}

// Contrast of text against what it stands on: WCAG 2.2, 1.4.3, at least 4.5 to 1.
func TestContrast(t *testing.T) {
	b, err := files.ReadFile("static/desk.css")
	if err != nil {
		t.Fatal(err)
	}
	css := string(b)
	light, dark, ok := strings.Cut(css, "@media (prefers-color-scheme: dark)")
	if !ok {
		t.Fatal("there is no dark scheme")
	}
	dark, _, _ = strings.Cut(dark, "\n}\n")
	for scheme, part := range map[string]string{"light": light, "dark": dark} {
		c := map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(part, -1) {
			c[m[1]] = m[2]
		}
		for _, p := range [][2]string{{"ink", "paper"}, {"ink", "sheet"}, {"quiet", "paper"}, {"quiet", "sheet"}, {"quiet", "note-bg"}, {"link", "paper"}, {"link", "sheet"}, {"link", "ask-bg"}, {"green", "paper"}, {"green", "sheet"},
			{"on-green", "green"}, {"stop", "stop-bg"}, {"ask", "ask-bg"}, {"ink", "note-bg"}, {"ink", "said-bg"}, {"ink", "ask-bg"}, {"ink", "stop-bg"}} {
			if r := contrast(t, c[p[0]], c[p[1]]); r < 4.5 {
				t.Errorf("%s: %s on %s has %.2f to 1", scheme, p[0], p[1], r)
			}
		}
	}
}

// contrast follows the formula of WCAG 2.2 ("contrast ratio", "relative luminance").
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func TestContrastFormula(t *testing.T) {
	if r := contrast(t, "#000000", "#ffffff"); r < 20.99 || r > 21.01 { // WCAG 2.2: 21 to 1
		t.Errorf("black on white has %.2f", r)
	}
}

// A mistake in a reply text is shown with file, line and hint, and nothing is saved;
// a good one is saved, used, and the wording before it can be had again.
func TestTextIsCheckedSavedAndRestored(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	used := func() bool {
		text, err := h.desk.office.Texts().Get("en", "reminder")
		return err == nil && strings.Contains(text.Source, "our new wording")
	}
	b := h.browser("owen")
	code, page := b.post("/texts/en/reminder", url.Values{"source": {"Subject: Hello\n\nDear {{.Patrn}},\n"}, "do": {"save"}})
	if code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", code)
	}
	holds(t, page, "Nothing was saved", "en/reminder.md:3", "Patron", "{{.Patrn}}")
	if entries, err := os.ReadDir(h.texts); err != nil || len(entries) != 0 {
		t.Errorf("saved: %v %v", entries, err)
	}
	good := "Subject: Your print\n\nDear {{.Patron}}, this is our new wording.\n"
	code, page = b.post("/texts/en/reminder", url.Values{"source": {good}, "do": {"check"}})
	if code != http.StatusOK || used() {
		t.Errorf("check: %d, used %t\n%s", code, used(), page)
	}
	holds(t, page, "Dear Ada, this is our new wording.")
	code, page = b.post("/texts/en/reminder", url.Values{"source": {good}, "do": {"save"}})
	if code != http.StatusOK || !used() {
		t.Fatalf("save: %d, used %t\n%s", code, used(), page)
	}
	holds(t, page, "Saved. New replies use it from now on.", "changed by Owen Dufresne")
	m := regexp.MustCompile(`href="(/texts/en/reminder\?version=[^"]+)"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatal("no earlier version is listed")
	}
	_, page = b.get(html.UnescapeString(m[1]))
	old, err := templates.Builtin("en/reminder.md")
	if err != nil {
		t.Fatal(err)
	}
	first, _, _ := strings.Cut(string(old), "\n")
	holds(t, page, html.EscapeString(first))
	if code, _ = b.get("/texts/en/reminder?version=..%2F..%2Fsecret"); code != http.StatusUnprocessableEntity {
		t.Errorf("a version that is none gives %d", code)
	}
}

func TestAgreementIsPutOnFile(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	b := h.browser("marisol")
	form := url.Values{"address": {"Priya.Raman@example.com"}, "name": {"Priya Raman"}, "signed": {"2026-11-20"}, "version": {h.rules.Agreement.Current}}
	code, page := b.post("/agreements", form)
	if code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	holds(t, page, "The agreement is on file.", "priya.raman@example.com")
	for field, bad := range map[string]string{"address": "nobody", "name": "", "signed": "2027-01-01", "expires": "soon"} {
		f := url.Values{}
		for k, v := range form {
			f[k] = v
		}
		f.Set(field, bad)
		if code, page = b.post("/agreements", f); code != http.StatusUnprocessableEntity || !strings.Contains(page, `role="alert"`) {
			t.Errorf("%s %q: %d", field, bad, code)
		}
	}
	_, page = b.get("/agreements?text=raman")
	holds(t, page, "Priya Raman")
	_, page = b.get("/agreements?text=nobody+here")
	holds(t, page, "Nobody on file is like that.")
}

func TestMovingJobs(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	rich(t, h)
	b := h.browser("marisol")
	_, page := b.get("/prints")
	holds(t, page, "LP-000004", "LP-000005", "LP-000006", "555-0142", "6 h 00")
	if code, _ := b.post("/job/LP-000005/move", url.Values{"to": {"agreed"}, "back": {"prints"}}); code != http.StatusOK { // the machine prints one thing at a time
		t.Errorf("%d", code)
	}
	code, page := b.post("/job/LP-000004/move", url.Values{"to": {"printing"}, "back": {"prints"}})
	if code != http.StatusOK || !strings.Contains(page, "LP-000004 is now: printing.") {
		t.Errorf("%d", code)
	}
	code, page = b.post("/job/LP-000004/move", url.Values{"to": {"collected"}, "paid": {"0"}})
	if code != http.StatusConflict {
		t.Errorf("%d", code)
	}
	holds(t, page, "cannot become collected; it may become ")
}

func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	var c [3]int
	if _, err := fmt.Sscanf(hex, "#%02x%02x%02x", &c[0], &c[1], &c[2]); err != nil {
		t.Fatalf("%q is no colour: %v", hex, err)
	}
	l := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		v := float64(c[i]) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		l += weight * v
	}
	return l
}
