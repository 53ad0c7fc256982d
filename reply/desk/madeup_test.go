package desk

import (
	"bytes"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"

	"meshclerk/intake/agreement"
	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/intake/plain"
	"meshclerk/intake/preflight"
	"meshclerk/reply/quote"
	"meshclerk/rules"
	"meshclerk/templates"
	"meshclerk/templates/madeup"
)

// inMadeUp gives a desk a folder of texts with the made-up language in it.
func inMadeUp(t *testing.T) func(*Config) {
	return func(c *Config) {
		t.Helper()
		dir := t.TempDir()
		if err := madeup.Write("../../templates/en", dir); err != nil {
			t.Fatal(err)
		}
		set, err := templates.Load(dir, c.Office.Rules.Library.Languages)
		if err != nil {
			t.Fatal(err)
		}
		c.Office.Templates = set
	}
}

// names are the people, places, printers, materials and files of the test's house,
// and what its people typed.
var names = strings.NewReplacer(pairs(
	"Meshclerk", ledger.Robot, "Larkfield Public Library", "Central", "Millbrook", "Fernhill", "Harbour Road", "Bench 1", "Bench 2", "PLA", "PETG",
	"Marisol Teague", "Owen Dufresne", "Priya Lindqvist", "Amara Okafor", "Amara", "Okafor", "Tomas Lindgren", "Hélène Marchand", "Wei Tan", "Greta Solheim", "Omar Benali", "Priya Raman", "Ada Moreau",
	"bracket.stl", "pen box.stl", "boîte à thé.stl", "gear.stl", "vase.stl", "lid.stl",
	"Shelf bracket", "Une boîte", "look at this letter")...)

// pairs takes each name away.
func pairs(names ...string) (out []string) {
	for _, n := range names {
		out = append(out, n, "")
	}
	return out
}

// texts are the names of the reply texts.
var texts = sync.OnceValue(func() []string { return templates.Default().Names() })

// houses are the sentences of the house's own rules, in the languages that it speaks.
var houses = sync.OnceValue(func() []string {
	var out []string
	for _, f := range rules.Default().Refusals {
		out = append(out, plain.Capital(f.Say["en"]))
	}
	return out
})

// isName reports whether a text is names, numbers and signs only, or a name as a
// whole: of a reply text or a rules file, as it is on disk, or of a language (Unicode
// CLDR).
func isName(text string) bool {
	text = strings.Trim(notWords.ReplaceAllString(names.Replace(text), ""), " ,·")
	if !strings.ContainsFunc(text, unicode.IsLetter) {
		return true
	}
	return slices.Contains(texts(), text) || slices.Contains(houses(), text) || slices.Contains(rules.Files(), text) || slices.Contains([]string{"English", "French", "Spanish"}, text)
}

// notWords are numbers of the ledger, addresses, signs of units (SI) and times.
var notWords = regexp.MustCompile(`‹[^›]*›|[\w.+-]+@[\w.-]+|\b[A-Z]{1,3}-[0-9]{6}\b|[0-9]+ (?:h|min|g|mm|MB)\b|[0-9]+\.[0-9]{2} [A-Z]{3}\b|STL`)

// Whatever page is shown, in whatever state: in the made-up language each sentence
// of ours has its marks.
func TestMadeUpLanguageOnEveryPage(t *testing.T) {
	ways := states(t, inMadeUp(t))
	readers := map[string]*browser{}
	marked := func(t *testing.T, name string, r request) {
		t.Helper()
		by := fmt.Sprintf("%p %s", r.h, r.who)
		if readers[by] == nil {
			readers[by] = r.h.browser(r.who)
			readers[by].post("/language", url.Values{"language": {madeup.Language}})
		}
		hasMarks(t, name, readers[by], r)
	}
	for name, three := range ways {
		for _, r := range three {
			marked(t, name, r)
		}
	}
	full := ways["waiting"][1].h
	addNotices(t, full)
	for n := range 6 {
		for _, path := range []string{"/reply/D-00000", "/job/LP-00000", "/letter/L-00000"} {
			marked(t, "one of each", request{h: full, who: "marisol", path: path + strconv.Itoa(n+1)})
		}
	}
	for _, path := range []string{"/state", ways["reply"][1].path + "/state", "/job/LP-000001/state"} { // what the script says
		if _, state := readers[fmt.Sprintf("%p %s", full, "marisol")].get(path); !strings.Contains(state, `"stale":"`+madeup.Begin) {
			t.Errorf("%s: %s", path, state)
		}
	}
	for _, r := range refusals(full, ways["reply"][1].path) {
		marked(t, "refused", r)
	}
}

// addNotices tells staff of everything that there is to be told.
func addNotices(t *testing.T, h *house) {
	t.Helper()
	book := templates.DefaultBook()
	for _, key := range book.Keys() {
		if strings.HasPrefix(key, "notices.") && !book.FilledIn(key) {
			h.do(func(tx *ledger.Tx) error {
				return tx.AddNotice(t.Context(), "odd", key, job.Say(key, book.SampleArgs(key, 2)))
			})
		}
	}
}

// refusals are requests that are answered with a reason why nothing was done, and
// those that are answered with what was done.
func refusals(h *house, reply string) (out []request) {
	add := func(who, path string, form url.Values) {
		out = append(out, request{h: h, who: who, path: path, form: form})
	}
	field := func(pairs ...string) url.Values {
		v := url.Values{}
		for i := 0; i+1 < len(pairs); i += 2 {
			v.Set(pairs[i], pairs[i+1])
		}
		return v
	}
	one := "/job/LP-000001"
	add("marisol", reply+"/note", field("note", " "))
	add("marisol", reply+"/note", field("note", strings.Repeat("x", 2001)))
	add("marisol", reply+"/settle", field("sent", "perhaps"))
	add("marisol", reply+"/edit", field("subject", ""))
	add("marisol", "/letter/L-000001/file/9", nil)
	add("marisol", "/letter/L-000001/file/1", nil)
	add("marisol", "/letter/L-000001/again", field())
	add("marisol", "/go-on", field())
	add("marisol", "/notice/N-000001/done", field("times", "x"))
	add("marisol", one+"/picture/behind.png", nil)
	add("marisol", one+"/sheet", nil)
	add("marisol", one+"/settings", field("layer", "thick"))
	add("marisol", one+"/settings", field("supports", "perhaps"))
	add("marisol", one+"/settings", field("do", "try", "material", "wood"))
	add("marisol", one+"/confirm", field())
	for _, to := range []string{"", "printing", "ready", "failed", "declined", "collected", "taken"} {
		add("marisol", one+"/move", field("to", to))
	}
	add("marisol", one+"/assign", field("printer", "none"))
	add("marisol", one+"/assign", field("printer", "Bench 2"))
	add("marisol", "/texts/xx/quote", nil)
	add("marisol", "/texts/en/none", nil)
	add("marisol", "/texts/en/quote", field("source", "x"))
	add("owen", "/texts/en/quote?version=none", nil)
	add("owen", "/texts/en/quote?job=LP-999999", nil)
	for _, e := range []url.Values{field("address", "a@example.org"), field("address", "a@example.org", "name", "Ada Moreau"), field("address", "a@example.org", "name", "Ada Moreau", "signed", "2099-01-01"),
		field("address", "a@example.org", "name", "Ada Moreau", "signed", "2026-01-01", "minor", "on"), field("address", "a@example.org", "name", "Ada Moreau", "signed", "2026-01-01", "expires", "soon"),
		field("address", "a@example.org", "name", "Ada Moreau", "signed", "2026-01-01", "version", "2026")} {
		add("marisol", "/agreements", e)
	}
	add("marisol", reply+"/aside", field("why", ""))
	add("marisol", reply+"/reopen", field())
	add("", reply, field())
	return out
}

// hasMarks asks for a page and tells of what has no mark.
func hasMarks(t *testing.T, name string, b *browser, r request) {
	t.Helper()
	_, page := r.ask(b)
	if !strings.Contains(page, `<html lang="`+madeup.Language+`">`) || strings.Count(page, madeup.Begin) < 5 {
		t.Errorf("%s, %s: it is not in the made-up language:\n%.300s", name, r.path, page)
	}
	left, err := madeup.Left(page, isName)
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range left {
		t.Errorf("%s, %s %v: %q has no mark", name, r.path, r.form, text)
	}
}

// What the register of agreements and the preflight really say of real parts is in the
// book, down to the last word.
func TestRoomsSayWhatIsInTheBook(t *testing.T) {
	dir := t.TempDir()
	if err := madeup.Write("../../templates/en", dir); err != nil {
		t.Fatal(err)
	}
	book, err := templates.LoadBook(dir)
	if err != nil {
		t.Fatal(err)
	}
	l, r := book.In(madeup.Language, "en-CA", "CAD"), rules.Default()
	said := 0
	marked := func(m job.Message) {
		t.Helper()
		if m.IsZero() {
			return
		}
		said++
		if words := l.Say(m); l.Missing(m) != nil || m.Key == "" || !isName(madeup.Unmarked(words)) {
			t.Errorf("%v is said as %q", m, words)
		}
	}
	for _, e := range []agreement.Entry{
		{Address: "ada@example.org", Name: "Ada Moreau", Version: r.Agreement.Current, Signed: "2026-05-04"},
		{Address: "ada@example.org", Name: "Ada Moreau", Version: r.Agreement.Current, Signed: "2020-05-04"},
		{Address: "ada@example.org", Name: "Ada Moreau", Version: "1999", Signed: "2026-05-04"},
		{Address: "ada@example.org", Version: r.Agreement.Current, Signed: "2031-05-04"},
		{Address: "lin@example.org", Version: r.Agreement.Current, Signed: "2026-05-04"},
	} {
		for _, auth := range []job.Verdict{job.Pass, job.Fail, job.None} {
			now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
			marked(agreement.Judge(job.Address{Address: "ada@example.org"}, auth, "", now, []agreement.Entry{e}, r.Agreement).Why)
		}
	}
	for _, m := range []*mesh.Mesh{shapes.T(10, 50, 50, 12), shapes.Box(8, 8, 100), shapes.UVSphere(10, 48, 48), shapes.Box(20, 20, 20), shapes.OpenBox(60, 40, 50, 0.6),
		shapes.BoxWithVoid(60, 40, 30, 3), shapes.Mushroom(48, 6, 40, 40), shapes.Box(500, 20, 20), shapes.DiceTower(50, 50, 110, 3)} {
		path := filepath.Join(t.TempDir(), "part.stl")
		var file bytes.Buffer
		if err := errors.Join(mesh.WriteSTL(&file, m), os.WriteFile(path, file.Bytes(), 0o600)); err != nil {
			t.Fatal(err)
		}
		report := preflight.Check(t.Context(), path, r, job.Settings{}, preflight.Options{WhatIf: true})
		marked(report.Error)
		for _, f := range report.Findings {
			marked(f.Text)
			marked(f.Question)
		}
		for _, a := range report.Advice {
			marked(a.Do)
			marked(a.Why)
		}
		if report.Orientation != nil {
			marked(report.Orientation.Why)
		}
		if report.Estimate == nil {
			continue
		}
		for _, c := range report.Estimate.WhatIf {
			marked(c.Label)
		}
		q, err := quote.Price(*report.Estimate, r.Prices, time.Now())
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range q.Lines {
			marked(line.Label)
		}
	}
	if said < 60 {
		t.Errorf("only %d sentences", said)
	}
}
