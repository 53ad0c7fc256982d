package desk

import (
	"image"
	"image/png"
	"net/http"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh/shapes"
)

func (b *browser) image(path string) image.Image {
	b.h.t.Helper()
	r, err := b.Get(b.h.server.URL + path)
	if err != nil {
		b.h.t.Fatal(err)
	}
	defer r.Body.Close()
	img, err := png.Decode(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		b.h.t.Fatalf("%s: %d, %v", path, r.StatusCode, err)
	}
	return img
}

// yellow counts the pixels in the tone that stands for thin.
func yellow(img image.Image) int {
	n := 0
	for y := img.Bounds().Min.Y; y < img.Bounds().Max.Y; y++ {
		for x := img.Bounds().Min.X; x < img.Bounds().Max.X; x++ {
			if r, g, b, _ := img.At(x, y).RGBA(); 2*b < r && 2*b < g {
				n++
			}
		}
	}
	return n
}

// Walls that the check found thin are marked all over, also the way up that is
// advised; a part of which it found nothing of the kind is not.
func TestThinWallsAreMarkedInPictures(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	a := okafor()
	a.File, a.Mesh = "box.stl", shapes.OnBed(shapes.OpenBox(40, 40, 20, 0.6))
	a.Findings = []job.Finding{{Code: "thin-wall", Level: job.Ask, Text: job.Say("findings.thin-wall-lost", job.Args{"area": job.Figure{Amount: 3000, Unit: "mm2"}, "thinnest": job.Figure{Amount: 0.3, Unit: "mm"}, "line": job.Figure{Amount: 0.4, Unit: "mm"}}), Amount: 3000, Unit: "mm2", At: &[3]float64{20, 0, 10}}}
	thin, _ := h.letter(a)
	a.Findings = nil
	plain, _ := h.letter(a)
	b := h.browser("marisol")
	for _, view := range []string{"corner", "front", "turned", "top"} {
		marked, not := yellow(b.image("/job/"+string(thin)+"/picture/"+view+".png")), yellow(b.image("/job/"+string(plain)+"/picture/"+view+".png"))
		if marked < 300 || not > 0 {
			t.Errorf("%s: %d pixels are marked, and %d where nothing was found", view, marked, not)
		}
	}
}

// The cut goes through what there is to see inside.
func TestCutGoesThroughTheHollow(t *testing.T) {
	at := func(y float64) *[3]float64 { return &[3]float64{0, y, 0} }
	j := job.Job{Report: &job.Report{Findings: []job.Finding{{Code: "overhang", At: at(1)}, {Code: "thin-wall", At: at(2)}, {Code: "sealed-void", At: at(3)}, {Code: "holes"}}}}
	for _, want := range []float64{3, 2, 1} {
		if got := cutAt(j); got == nil || got[1] != want {
			t.Errorf("%v, want y = %g", got, want)
		}
		n := len(j.Report.Findings)
		j.Report.Findings = append(j.Report.Findings[:n-2:n-2], j.Report.Findings[n-1])
	}
	if got := cutAt(j); got != nil {
		t.Errorf("%v for a part without places", got)
	}
}
