package desk

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// A person decides two letters from the list, without opening anything else: one is a
// change, filled in beside the words, one is a yes. Then a request is declined after its
// letter was read, and taken up again.
func TestActsBesideALetterInChromium(t *testing.T) {
	h := newHouse(t, nil)
	id, d := h.letter(okafor())
	h.offered(id, d)
	n := 24
	first := h.left(id, ledger.NoticeQuestion, "Bus 24 brings me on Friday. Three of them?", job.Wishes{Copies: &n, Words: map[string]string{"copies": "24"},
		Unread: []job.Unread{{Text: "Three of them?", About: "number"}}})
	ctx := tab(t, chromium(t))
	signInAs(t, ctx, h, "marisol")
	left := "#left-" + first
	if s := text(t, ctx, left+" mark.read"); s != "24" {
		t.Errorf("marked as read: %q", s)
	}
	if s := text(t, ctx, left+" mark.unread"); s != "Three of them?" {
		t.Errorf("marked as unread: %q", s)
	}
	run(t, ctx, chromedp.Click(css(left+" summary")), chromedp.WaitVisible(css("#copies-"+first)))
	eval[bool](t, ctx, `(document.querySelector("#copies-`+first+`").value = "", true)`)
	run(t, ctx, chromedp.SendKeys(css("#copies-"+first), "3"), chromedp.Click(css(left+` button[value="change"]`)), chromedp.WaitVisible(css(".strip.said")))
	if s := text(t, ctx, ".strip.said"); !strings.Contains(s, "bracket.stl is being checked; the letter about it is drafted then.") {
		t.Errorf("said: %q", s)
	}
	if j := h.job(id); j.Stage != job.Taken || j.Settings.Copies != 3 {
		t.Errorf("%s %+v", j.Stage, j.Settings)
	}

	other, d2 := h.letter(okafor())
	h.offered(other, d2)
	second := h.left(other, ledger.NoticeQuestion, "Oh well, why not.", job.Wishes{})
	run(t, ctx, chromedp.Navigate(h.server.URL+"/"), chromedp.WaitVisible(css("#left-"+second)),
		chromedp.Click(css("#left-"+second+` button[value="yes"]`)), chromedp.WaitVisible(css(".strip.said")))
	if s := text(t, ctx, ".strip.said"); !strings.Contains(s, "bracket.stl is on the print list.") {
		t.Errorf("said: %q", s)
	}

	run(t, ctx, chromedp.Navigate(h.server.URL+"/job/"+string(other)), chromedp.Click(css(`a[href$="/decline"]`)), chromedp.WaitVisible(css("#as-weapon")),
		chromedp.Click(css("#as-weapon")), chromedp.Click(css(`button[value="show"]`)), chromedp.WaitVisible(css(".letter")))
	if s := strings.Join(strings.Fields(text(t, ctx, ".letter")), " "); !strings.Contains(s, "we cannot print bracket.stl: it is a weapon or a part of one, or made to look like one.") {
		t.Errorf("the letter: %q", s)
	}
	run(t, ctx, chromedp.Click(css(`button[value="decline"]`)), chromedp.WaitVisible(css(".strip.said")))
	if j := h.job(other); j.Stage != job.Declined {
		t.Error(j.Stage)
	}
	run(t, ctx, chromedp.Click(css(`form[action$="/reopen"] button`)), chromedp.WaitVisible(css(`a[href$="/decline"]`)), chromedp.WaitVisible(css(".strip.said")))
	if s, j := text(t, ctx, ".strip.said"), h.job(other); j.Stage != job.Taken || !strings.Contains(s, "Taken up again.") {
		t.Errorf("%s %q", j.Stage, s)
	}
}
