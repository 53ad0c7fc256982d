package desk

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// axe is the source of axe-core (github.com/dequelabs/axe-core), a rule set for
// WCAG that Debian does not carry; testdata/fetch.sh fetches it. "" where it is
// not there.
func axe(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("MESHCLERK_DATA")
	if dir == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			t.Fatal(err)
		}
		dir = filepath.Join(cache, "meshclerk-testdata")
	}
	b, err := os.ReadFile(filepath.Join(dir, "axe-core", "axe.min.js"))
	if err != nil && os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
		t.Fatal("axe-core is not fetched, and MESHCLERK_REQUIRE_SERVERS=1 asks for it (testdata/fetch.sh): ", err)
	}
	return string(b)
}

// axeRun gives one line for each thing that breaks a rule of WCAG 2.2 A or AA,
// or a rule that axe-core calls a best practice.
const axeRun = `axe.run(document, {iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}).then(r =>
	r.violations.flatMap(v => v.nodes.map(n => v.id + " (" + v.impact + "): " + n.target.join(" ") + ": " + n.failureSummary.replace(/\s+/g, " "))))`

// holdsAgainstAxe tells of every rule that the page breaks.
func holdsAgainstAxe(t *testing.T, ctx context.Context, source, name string) {
	t.Helper()
	eval[bool](t, ctx, source+"\n;true")
	for _, wrong := range eval[[]string](t, ctx, axeRun) {
		t.Errorf("%s: %s", name, wrong)
	}
}

// stop is where Tab came to.
type stop struct {
	At     int    // place in the document
	Name   string // to find it by
	Hidden bool
	Under  bool // wholly under the bar at the foot of the page
	Ring   bool // it can be seen that one is there
}

const stopHere = `(() => { const e = document.activeElement; if (!e || e === document.body) return "";
	const r = e.getBoundingClientRect(), bar = document.querySelector(".decide"), over = bar && !bar.contains(e) && bar.getBoundingClientRect();
	const ringed = n => n && getComputedStyle(n).outlineStyle !== "none";
	return JSON.stringify({At: [...document.querySelectorAll("*")].indexOf(e), Name: (e.getAttribute("aria-label") || e.innerText || e.id || e.tagName).trim().slice(0, 40),
		Hidden: !e.checkVisibility() || r.bottom < 0 || r.top > innerHeight || r.right < 0, Under: !!over && r.top >= over.top && r.bottom <= over.bottom,
		Ring: ringed(e) || ringed(e.closest(".slip")) || e.tagName === "IFRAME"}); })()`

// With Tab alone a person comes to everything, in the order of the page, and sees
// where they are (WCAG 2.2: 2.1.1, 2.4.3, 2.4.7, 2.4.11).
func TestTabGoesThroughThePage(t *testing.T) {
	h := newHouse(t, nil)
	id, d := rich(t, h)
	ctx := tab(t, chromium(t))
	signInAs(t, ctx, h, "owen")
	run(t, ctx, chromedp.EmulateViewport(1280, 800))
	for name, path := range sights(id, d) {
		run(t, ctx, chromedp.Navigate(h.server.URL+path), chromedp.WaitVisible(css("main")))
		ready(t, ctx)
		walkByTab(t, ctx, name)
	}
}

func walkByTab(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	// Of a group of radio buttons Tab comes to one, the arrows go on from there (WAI-ARIA APG, radio group).
	reachable := eval[int](t, ctx, `[...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0'], iframe")].filter(e => e.checkVisibility() && !e.disabled && e.tabIndex >= 0 && (e.type !== "radio" || document.querySelector("input[type=radio][name='" + e.name + "']") === e)).length`)
	last, seen := -1, map[int]bool{}
	for range 400 {
		run(t, ctx, chromedp.KeyEvent("\t"))
		at := eval[string](t, ctx, stopHere)
		if at == "" {
			break // round to the browser's own parts
		}
		var s stop
		if err := json.Unmarshal([]byte(at), &s); err != nil {
			t.Fatal(err)
		}
		switch {
		case s.At < last && seen[s.At]: // round to the first
			last = 1 << 30
		case s.At < last:
			t.Errorf("%s: Tab goes back to %q", name, s.Name)
		case s.Hidden:
			t.Errorf("%s: %q is focused and cannot be seen", name, s.Name)
		case s.Under:
			t.Errorf("%s: %q lies under the bar when it is focused", name, s.Name)
		case !s.Ring:
			t.Errorf("%s: %q does not show that it is focused", name, s.Name)
		}
		if last == 1<<30 {
			break
		}
		last, seen[s.At] = s.At, true
	}
	if len(seen) < reachable {
		t.Errorf("%s: Tab comes to %d of %d things", name, len(seen), reachable)
	}
}
