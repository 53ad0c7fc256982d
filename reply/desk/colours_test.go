package desk

import (
	"net/http"
	"slices"
	"testing"

	"meshclerk/intake/mesh/shapes"
)

// Staff choose on the page what of a part is printed in a second colour: bodies of the
// file, or all from a height up; beside it stand the time and the price of that.
func TestSecondColourIsChosenOnThePage(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	a := okafor()
	a.Mesh = shapes.Merge(shapes.Box(60, 30, 4), shapes.Moved(shapes.Box(10, 10, 2), 5, 5, 4.0001), shapes.Moved(shapes.Box(8, 10, 2), 30, 5, 4.0001))
	id, d := h.letter(a)
	h.offered(id, d)
	b := h.browser("marisol")
	path := "/job/" + string(id) + "/settings"
	form := settingsForm("1")
	form.Set("do", "use")
	_, page := b.post(path, form)
	holds(t, page, `name="body" value="3"`, "body 2: 1 × 1 × 0.2\u00a0cm, 5 mm from the left, 5 mm from the front, 4 mm up")

	form.Set("second", "red")
	form["body"] = []string{"3"}
	form.Set("do", "try")
	_, page = b.post(path, form)
	holds(t, page, "Worked out, not saved", `name="body" value="3" checked`, `<option value="red" selected`)
	lacks(t, page, `name="body" value="2" checked`)
	form.Set("do", "use")
	b.post(path, form)
	if two := h.job(id).InTwo(); two == nil || two.Colour != "red" || !slices.Equal(two.Bodies, []int{3}) {
		t.Fatalf("kept: %+v", two)
	}
	if e := h.job(id).Report.Estimate; e.SecondMM3 < 30 || e.SecondMM3 > 200 || e.ColourChanges == 0 {
		t.Errorf("planned: %+v", e)
	}

	form["body"] = nil
	form.Set("second-height", "4")
	_, page = b.post(path, form)
	if two := h.job(id).InTwo(); two == nil || two.FromMM < 3.9 || two.FromMM > 4.1 || h.job(id).Report.Estimate.ColourChanges != 1 {
		t.Fatalf("kept: %+v %+v", two, h.job(id).Report.Estimate)
	}
	holds(t, page, "blue, then red from 4.05\u00a0mm up")

	for field, value := range map[string]string{"second-height": "200", "second": "blue", "body": "x"} {
		bad := settingsForm("1")
		bad.Set("second", "red")
		bad.Set(field, value)
		if code, page := b.post(path, bad); code != http.StatusUnprocessableEntity {
			t.Errorf("%s %s: %d\n%s", field, value, code, page)
		}
	}
	turned := settingsForm("1")
	turned.Set("second", "red")
	turned.Set("second-height", "4")
	turned.Set("way", "advised")
	for _, do := range []string{"try", "use"} { // the height is that of the part as it was sent
		turned.Set("do", do)
		code, page := b.post(path, turned)
		if now := h.job(id).Settings; code != http.StatusUnprocessableEntity || now.Reoriented || now.Second == nil {
			t.Errorf("%s, turned with a change at a height: %d, %+v", do, code, now)
		}
		holds(t, page, "A part whose colour changes at a height is printed the way it was sent")
	}
	turned.Set("second", "")
	turned.Set("second-height", "")
	if code, page := b.post(path, turned); code != http.StatusOK || !h.job(id).Settings.Reoriented {
		t.Errorf("turned, in one colour: %d\n%s", code, page)
	}
	form.Set("second", "")
	b.post(path, form)
	if two := h.job(id).Settings.Second; two != nil {
		t.Errorf("one colour: %+v", two)
	}
}
