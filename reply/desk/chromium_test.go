package desk

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox/mailtest"
	"meshclerk/intake/mailbox/wire"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/reply/outbox"
)

// css is how the tests name elements.
type css = chromedp.CSS

// chromium starts a real browser, or skips where there is none.
func chromium(t *testing.T) context.Context {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
			t.Fatal("chromium is not installed, and MESHCLERK_REQUIRE_SERVERS=1 asks for it (Debian: apt-get install chromium)")
		}
		t.Skip("chromium is not installed: the pages are not tried in a real browser (Debian: apt-get install chromium)")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	t.Cleanup(cancel)
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("use-gl", "angle"), chromedp.Flag("use-angle", "swiftshader"),
		chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.WindowSize(1280, 900))
	ctx, cancel = chromedp.NewExecAllocator(ctx, opts...)
	t.Cleanup(cancel)
	return ctx
}

// tab opens a window of its own, without the cookies of the others, and fails
// the test on any complaint of the browser's console.
func tab(t *testing.T, browser context.Context, opts ...chromedp.ContextOption) context.Context {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser, opts...)
	messages := chromedp.Console(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for m, err := range messages {
			if err != nil {
				return
			}
			// A refused form is answered with a page and a status, which the browser logs.
			if (m.Type == "error" || m.Type == chromedp.ConsoleException) && !strings.Contains(m.Text, "status of 4") {
				t.Errorf("the browser's console: %s (%s)", m.Text, m.URL)
			}
		}
	}()
	t.Cleanup(func() {
		cancel()
		<-done
	})
	return ctx
}

func run(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	bounded, cancel := context.WithTimeout(ctx, 40*time.Second)
	defer cancel()
	if err := chromedp.Do(bounded, steps...); err != nil {
		t.Fatal(err)
	}
}

// ready waits until the page's scripts have run, so that keys are heard.
func ready(t *testing.T, ctx context.Context) {
	t.Helper()
	eval[bool](t, ctx, `new Promise(done => document.readyState === "complete" ? done(true) : addEventListener("load", () => done(true)))`)
}

// eval runs a script on the page and waits for what it promises.
func eval[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	bounded, cancel := context.WithTimeout(ctx, 40*time.Second)
	defer cancel()
	v, err := chromedp.Run(bounded, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func signInAs(t *testing.T, ctx context.Context, h *house, name string) {
	t.Helper()
	run(t, ctx, chromedp.Navigate(h.server.URL+"/"), chromedp.WaitVisible(css("#sign-in")),
		chromedp.SendKeys(css("#sign-in"), name), chromedp.SendKeys(css("#password"), password), chromedp.Submit(css("#password")), chromedp.WaitVisible(css("nav")))
}

func text(t *testing.T, ctx context.Context, sel string) string {
	t.Helper()
	return eval[string](t, ctx, fmt.Sprintf(`document.querySelector(%q).innerText`, sel))
}

// A person reads, edits with the keyboard alone, works out other settings, turns
// the part, and approves; a second browser sees each of it and is refused.
func TestApproveInChromium(t *testing.T) {
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	browser := chromium(t)
	one := tab(t, browser)
	signInAs(t, one, h, "marisol")
	two := tab(t, one, chromedp.WithNewBrowserContext())
	signInAs(t, two, h, "owen")

	ready(t, one)
	run(t, one, chromedp.KeyEvent("j"), chromedp.KeyEvent("\r"), chromedp.WaitVisible(css(".decide")))
	run(t, two, chromedp.Navigate(h.server.URL+"/reply/"+d), chromedp.WaitVisible(css("[data-others]")))
	if s := text(t, two, "[data-others]"); !strings.Contains(s, "Marisol Teague") {
		t.Errorf("the second person is told %q", s)
	}

	// The part can be turned: the canvas shows something else after an arrow key.
	pixels := `(() => { const c = document.querySelector("canvas.turning"); const o = document.createElement("canvas"); o.width = 64; o.height = 48;
		const x = o.getContext("2d"); document.querySelector("canvas.turning").dispatchEvent(new KeyboardEvent("keydown", {key: "%s"}));
		return new Promise(done => requestAnimationFrame(() => { x.drawImage(c, 0, 0, 64, 48); done(o.toDataURL()); })); })()`
	run(t, one, chromedp.Click(css("[data-turn]")), chromedp.WaitVisible(css("canvas.turning")))
	before, after := eval[string](t, one, fmt.Sprintf(pixels, "ArrowUp")), eval[string](t, one, fmt.Sprintf(pixels, "ArrowLeft"))
	if before == after {
		t.Error("turning the part changes nothing")
	}

	// Other settings are worked out.
	run(t, one, chromedp.Blur(css("canvas.turning")), chromedp.KeyEvent("s"), chromedp.WaitVisible(css("#copies-"+string(id))),
		chromedp.SetValue(css("#copies-"+string(id)), "4"), chromedp.Click(css("#settings-"+string(id)+" button[value=try]")), chromedp.WaitVisible(css(".trial")))
	four := job.Settings{Material: "PLA", Colour: "blue", LayerMM: 0.2, Shells: 2, Infill: 0.1, Scale: 1, Copies: 4}
	want, err := h.desk.office.Recheck(t.Context(), id, four)
	if err != nil {
		t.Fatal(err)
	}
	hours := strings.ReplaceAll(string(h.desk.pages.localizers["en"].Exact(want.Estimate.PrintTimeS)), "\u00a0", " ")
	if s := strings.ReplaceAll(text(t, one, ".trial"), "\u00a0", " "); !strings.Contains(s, hours) || !strings.Contains(s, "$"+want.Quote.Total) {
		t.Errorf("worked out: %s, want %s and $%s", s, hours, want.Quote.Total)
	}

	// Edit by keyboard: e brings to the field.
	run(t, one, chromedp.Navigate(h.server.URL+"/reply/"+d), chromedp.WaitVisible(css(".decide")))
	ready(t, one)
	run(t, one, chromedp.KeyEvent("e"), chromedp.WaitVisible(css("#markdown")),
		chromedp.SendKeys(css("#markdown"), "\n\nWe look forward to it.\n"), chromedp.Click(css(`button[value="save"]`)), chromedp.WaitVisible(css(".strip.said")))
	run(t, two, chromedp.WaitVisible(css("[data-stale]")))
	if s := text(t, two, "[data-stale]"); !strings.Contains(s, "Marisol Teague") {
		t.Errorf("the second page says %q", s)
	}
	run(t, two, chromedp.KeyEvent("a"), chromedp.KeyEvent("\r"), chromedp.WaitVisible(css(".refusal")))
	if s := text(t, two, ".refusal"); !strings.Contains(s, "We look forward to it.") {
		t.Errorf("refused with: %s", s)
	}
	ready(t, one)
	shown := eval[string](t, one, fmt.Sprintf(`fetch("/reply/%s/source").then(r => r.text())`, d))
	run(t, one, chromedp.KeyEvent("a"), chromedp.KeyEvent("\r"), chromedp.WaitVisible(css(".strip.said")))
	got, err := h.ledger.Draft(t.Context(), d)
	if err != nil || got.State != ledger.DraftApproved || got.Approval.By != "Marisol Teague" {
		t.Errorf("%+v, %v", got, err)
	}
	arrives(t, h, d, shown)
}

// arrives hands an approved reply to a mail server and compares what comes out
// there with what the browser had shown, byte for byte.
func arrives(t *testing.T, h *house, d, shown string) {
	t.Helper()
	sink := mailtest.SMTP(t, mailtest.Accept)
	_, raw, err := h.ledger.BeginSend(t.Context(), d, "test")
	if err != nil {
		t.Fatal(err)
	}
	server := outbox.Config{Config: wire.Config{Host: sink.Host, Port: sink.Port, TLS: "none", CommandTimeout: 20 * time.Second}, Hello: "print.larkfield.example"}
	out := outbox.Send(t.Context(), server, mailtest.Password(t, sink.User, sink.Password), outbox.Message{From: "print@larkfield.example", To: []string{"amara.okafor@example.org"}, Raw: raw}, slog.New(slog.DiscardHandler))
	got := sink.Delivered()
	if out.State != outbox.Sent || len(got) != 1 || string(got[0].Raw) != shown || !strings.Contains(shown, "We look forward to it.") {
		t.Errorf("%v: what arrived is not what was shown:\n%q", out, shown)
	}
}

// An admin breaks a reply text, reads where and what to do, mends it, and goes
// back to the wording before; all in the browser.
func TestTextInChromium(t *testing.T) {
	h := newHouse(t, nil)
	ctx := tab(t, chromium(t))
	signInAs(t, ctx, h, "owen")
	source := css("#source")
	run(t, ctx, chromedp.Navigate(h.server.URL+"/texts/en/_closing"), chromedp.WaitVisible(source),
		chromedp.SetValue(source, "Bye, {{.Patrn}}!"), chromedp.Click(css(`button[value="save"]`)), chromedp.WaitVisible(css("#wrong")))
	if s := text(t, ctx, "#wrong"); !strings.Contains(s, "Nothing was saved") || !strings.Contains(s, "en/_closing.md:1") || !strings.Contains(s, "did you mean Patron?") {
		t.Errorf("told: %s", s)
	}
	run(t, ctx, chromedp.SetValue(source, "Bye, {{.Patron}}!"), chromedp.Click(css(`button[value="check"]`)), chromedp.WaitNotPresent(css("#wrong")), chromedp.WaitVisible(css(".typed")))
	if s := text(t, ctx, ".typed"); !strings.Contains(s, "Bye, Ada!") || !strings.Contains(s, "Hello Ada") {
		t.Errorf("shown: %s", s)
	}
	run(t, ctx, chromedp.Click(css(`button[value="save"]`)), chromedp.WaitVisible(css(".strip.said")))
	if b, err := os.ReadFile(filepath.Join(h.texts, "en", "_closing.md")); err != nil || string(b) != "Bye, {{.Patron}}!" {
		t.Errorf("saved: %q, %v", b, err)
	}
	run(t, ctx, chromedp.Click(css(`a[href*="version="]`)), chromedp.WaitVisible(source))
	if s := eval[string](t, ctx, `document.querySelector("#source").value`); !strings.Contains(s, "Kind regards") {
		t.Errorf("the wording before: %s", s)
	}
}

// A letter that is all script shows as text in a real browser, and each key leads
// to what the help says.
func TestHostileLetterAndKeysInChromium(t *testing.T) {
	h := newHouse(t, nil)
	a := okafor()
	a.Name, a.Subject, a.File, a.Text = "Eve "+evil, "Subject "+evil, "part"+evil+".stl", "Body "+evil
	_, d := h.letter(a)
	_, next := h.letter(okafor())
	ctx := tab(t, chromium(t))
	signInAs(t, ctx, h, "marisol")
	for _, path := range []string{"/", "/jobs", "/record", "/letter/L-000001", "/reply/" + d} {
		run(t, ctx, chromedp.Navigate(h.server.URL+path), chromedp.WaitVisible(css("main")))
		ready(t, ctx)
		if bad := eval[int](t, ctx, `document.querySelectorAll("img[src=x], main script, [onerror]").length + (document.title === "owned" ? 1 : 0)`); bad > 0 {
			t.Errorf("%s: the letter became part of the page", path)
		}
	}
	if s := text(t, ctx, ".letter"); !strings.Contains(s, "<script>document.title='owned'</script>") {
		t.Errorf("the letter reads %q", s)
	}
	if s := text(t, ctx, ".decide [data-keyhelp]"); !strings.Contains(s, "approve") || !strings.Contains(s, "send back") {
		t.Errorf("the help says %q", s)
	}
	for key, want := range map[string]string{"a": "Approve and send", "x": "Put aside", "b": "note", "e": "subject"} {
		eval[bool](t, ctx, `document.activeElement.blur(), true`)
		run(t, ctx, chromedp.KeyEvent(key))
		if on := eval[string](t, ctx, `document.activeElement.id || document.activeElement.innerText`); on != want {
			t.Errorf("%s leads to %q, want %q", key, on, want)
		}
	}
	eval[bool](t, ctx, `document.activeElement.blur(), true`)
	run(t, ctx, chromedp.KeyEvent("s"))
	if on := eval[string](t, ctx, `document.activeElement.id`); !strings.HasPrefix(on, "layer-") {
		t.Errorf("s leads to %q", on)
	}
	eval[bool](t, ctx, `document.activeElement.blur(), true`)
	run(t, ctx, chromedp.KeyEvent("n"), chromedp.WaitVisible(css(`[data-state="/reply/`+next+`/state"]`)))
	ready(t, ctx)
	run(t, ctx, chromedp.KeyEvent("?"), chromedp.WaitVisible(css(".keys")), chromedp.KeyEvent("w"), chromedp.WaitVisible(css(".slips")))
}

// The list in one browser follows what is done in another by itself, and the
// person stays where they were in it.
func TestListFollowsInChromium(t *testing.T) {
	h := newHouse(t, nil)
	_, first := h.letter(okafor())
	_, second := h.letter(okafor())
	ctx := tab(t, chromium(t))
	signInAs(t, ctx, h, "marisol")
	ready(t, ctx)
	run(t, ctx, chromedp.KeyEvent("j"), chromedp.KeyEvent("j"))
	other := h.browser("owen")
	_, page := other.get("/reply/" + first)
	if code, page := other.post("/reply/"+first+"/approve", url.Values{"sha": {sha(t, page)}}); code != http.StatusOK {
		t.Fatalf("%d\n%s", code, page)
	}
	run(t, ctx, chromedp.WaitVisible(css("#onway")))
	if on := eval[string](t, ctx, `document.activeElement.getAttribute("href")`); on != "/reply/"+second {
		t.Errorf("the person is at %q now", on)
	}
	if n := eval[int](t, ctx, `document.querySelectorAll("main").length`); n != 1 {
		t.Errorf("%d mains", n)
	}
	_, third := h.letter(okafor())
	run(t, ctx, chromedp.WaitVisible(css(`[href="/reply/`+third+`"]`)), chromedp.KeyEvent("j"), chromedp.KeyEvent("\r"), chromedp.WaitVisible(css(`[data-state="/reply/`+third+`/state"]`)))
}

// rich fills a house so that every page has something to show.
func rich(t *testing.T, h *house) (id job.ID, d string) {
	t.Helper()
	h.register()
	id, d = h.letter(okafor())
	h.clock.pass(50 * time.Minute)
	no := okafor()
	no.Name, no.Address, no.File, no.Auth = "Tomas Lindgren", "tomas.lindgren@example.net", "", job.Fail
	no.File, no.Mesh = "pen box.stl", shapes.OnBed(shapes.OpenBox(60, 40, 50, 0.6))
	no.Findings = []job.Finding{{Code: "thin-wall", Level: job.Ask, Text: job.Say("findings.thin-wall", job.Args{"area": job.Figure{Amount: 9600, Unit: "mm2"}, "bound": job.Figure{Amount: 0.8, Unit: "mm"}, "thinnest": job.Figure{Amount: 0.6, Unit: "mm"}}), Amount: 9600, Unit: "mm2", At: &[3]float64{30, 0, 25}, Question: job.Say("findings.ask.thin-wall", nil)}}
	no.Agreement = job.Agreement{State: job.AgreementUnproven, Why: job.Say("remarks.unproven", job.Args{"address": no.Address})}
	h.letter(no)
	h.clock.pass(25 * time.Minute)
	fr := okafor()
	fr.Name, fr.Address, fr.File, fr.Language, fr.Subject = "Hélène Marchand", "helene.marchand@example.com", "boîte à thé.stl", "fr", "Une boîte"
	fr.Text, fr.Mesh = "Bonjour,\n\nPourriez-vous imprimer cette boîte en bleu ?\n\nHélène", shapes.OnBed(shapes.BoxWithVoid(60, 40, 30, 3))
	fr.Findings = []job.Finding{{Code: "sealed-void", Level: job.Stop, Text: job.Say("findings.sealed-void", job.Args{"n": 1, "volume": job.Figure{Amount: 44000, Unit: "mm3"}}), Amount: 44000, Unit: "mm3", At: &[3]float64{0, 0, 15}}}
	h.letter(fr)
	for i, to := range [][]job.Stage{{job.Quoted, job.Agreed}, {job.Quoted, job.Agreed, job.Printing}, {job.Quoted, job.Agreed, job.Printing, job.Ready}} {
		a := okafor()
		a.Name, a.Address, a.File = []string{"Wei Tan", "Greta Solheim", "Omar Benali"}[i], "p"+fmt.Sprint(i)+"@example.org", []string{"gear.stl", "vase.stl", "lid.stl"}[i]
		j, dr := h.letter(a)
		got, err := h.ledger.Draft(t.Context(), dr)
		if err != nil {
			t.Fatal(err)
		}
		if err := h.ledger.Approve(t.Context(), dr, got.SHA256, "Owen Dufresne", ledger.ViaPage); err != nil {
			t.Fatal(err)
		}
		s, _, err := h.ledger.BeginSend(t.Context(), dr, ledger.Robot)
		if err != nil {
			t.Fatal(err)
		}
		outcome := ledger.Delivered
		if i == 0 {
			outcome = ledger.Uncertain
		}
		if err := h.ledger.EndSend(t.Context(), s, outcome, job.Say("servers.no-answer", job.Args{"server": "smtp.larkfield.example:465"}), ledger.Robot); err != nil {
			t.Fatal(err)
		}
		h.do(func(tx *ledger.Tx) error {
			for _, stage := range to {
				if err := h.moves(tx, j, stage); err != nil {
					return err
				}
			}
			if i == 2 {
				if err := tx.RecordPayment(t.Context(), j, "3.40", "CAD", "Owen Dufresne"); err != nil {
					return err
				}
				return tx.RecordPrint(t.Context(), j, "", 3.2, 25, true, "Owen Dufresne")
			}
			return nil
		})
	}
	h.left(id, ledger.NoticeQuestion, "Millbrook, Amara Okafor", job.Wishes{Pickup: "Millbrook", Words: map[string]string{"pickup": "Millbrook"}, Unread: []job.Unread{{Text: "Amara", About: "other"}}})
	h.left(id, ledger.NoticeStray, "Shelf bracket", job.Wishes{})
	later := okafor()
	later.Name, later.Address, later.File = "Wei Tan", "p9@example.org", "gear.stl"
	_, aside := h.letter(later)
	if err := h.desk.office.SetAside(t.Context(), aside, "Owen Dufresne", ""); err != nil {
		t.Fatal(err)
	}
	h.do(func(tx *ledger.Tx) error { return tx.SavePoll(t.Context(), h.rules.Mailbox.Inbox, 1, 2) })
	return id, d
}

// sights are the pages that are looked at.
func sights(id job.ID, d string) map[string]string {
	return map[string]string{"waiting": "/", "reply": "/reply/" + d, "reply-void": "/reply/D-000003", "reply-thin": "/reply/D-000002", "job": "/job/" + string(id), "jobs": "/jobs", "prints": "/prints", "agreements": "/agreements?address=x@example.org",
		"texts": "/texts", "text": "/texts/en/quote", "rules": "/rules", "report": "/report", "record": "/record", "piece": "/texts/fr/_closing", "keys": "/keys", "letter": "/letter/L-000001", "letter-left": "/letter/L-000007", "decline": "/job/" + string(id) + "/decline", "missing": "/nowhere"}
}

// Every page in light, in dark and on a phone: no sideways scroll, no rule of
// axe-core broken (WCAG 2.2 A and AA, and what it calls best practice), and a
// screenshot for a person to look at where MESHCLERK_PICTURES names a folder.
func TestSights(t *testing.T) {
	h := newHouse(t, nil)
	id, d := rich(t, h)
	ctx := tab(t, chromium(t))
	rulesOfAxe := axe(t)
	out := os.Getenv("MESHCLERK_PICTURES")
	shoot := func(name string) {
		if out == "" {
			return
		}
		eval[bool](t, ctx, `(async () => { document.querySelectorAll("img[loading]").forEach(i => i.loading = "eager");
			await Promise.all([...document.images].filter(i => i.checkVisibility()).map(i => i.decode().catch(() => {}))); return true; })()`)
		b, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(out, name+".png"), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	run(t, ctx, chromedp.Navigate(h.server.URL+"/sign-in"))
	shoot("sign-in-light")
	signInAs(t, ctx, h, "owen")
	for _, look := range []struct {
		name   string
		width  int64
		scheme string
	}{{"light", 1280, "light"}, {"dark", 1280, "dark"}, {"phone", 360, "light"}} {
		media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: look.scheme}}}
		if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
			t.Fatal(err)
		}
		run(t, ctx, chromedp.EmulateViewport(look.width, 800))
		for name, path := range sights(id, d) {
			run(t, ctx, chromedp.Navigate(h.server.URL+path), chromedp.WaitVisible(css("main")))
			if wide := eval[int64](t, ctx, `document.documentElement.scrollWidth`); wide > look.width {
				t.Errorf("%s at %d px scrolls sideways: it is %d px wide", name, look.width, wide)
			}
			shoot(name + "-" + look.name)
			eval[bool](t, ctx, `document.querySelectorAll("details").forEach(d => d.open = true), true`)
			if wide := eval[int64](t, ctx, `document.documentElement.scrollWidth`); wide > look.width {
				t.Errorf("%s, unfolded, at %d px scrolls sideways: it is %d px wide", name, look.width, wide)
			}
			if rulesOfAxe != "" {
				ready(t, ctx)
				holdsAgainstAxe(t, ctx, rulesOfAxe, name+", "+look.name)
			}
		}
	}
	if rulesOfAxe == "" {
		t.Skip("axe-core is not fetched: the pages are not held against its rules (testdata/fetch.sh)")
	}
}
