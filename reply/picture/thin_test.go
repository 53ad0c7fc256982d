package picture

import (
	"image"
	"image/color"
	"math"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// yellow is the rectangle of pixels that bear the ink of the tone Yellow, and
// their number.
func yellow(img *image.RGBA) (image.Rectangle, int) {
	r, n := image.Rectangle{Min: img.Rect.Max}, 0
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			if p := img.RGBAAt(x, y); int(p.B)*2 < int(p.R) && int(p.B)*2 < int(p.G) {
				r, n = r.Union(image.Rect(x, y, x+1, y+1)), n+1
			}
		}
	}
	return r, n
}

// wedge is an upright wall, 60 mm long and 30 high, that grows from 0.2 mm at
// the left to 2 mm at the right; its front lies in the plane of the page.
func wedge() *mesh.Mesh {
	return shapes.Extrude(30, shapes.Outline{{0, 0}, {60, 0}, {60, 2}, {0, 0.2}})
}

// A wall is marked as far as it is thin: below 0.8 mm, which here is the first
// third, (0.8 - 0.2) / (2 - 0.2) of 60 mm. Its two large facets are marked in part.
func TestThinWallsAreMarkedByArea(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{"as it is": wedge(), "inside out": shapes.InsideOut(wedge())} {
		img := Draw(m, Front, Options{Spots: ThinWalls(m, 0.8)})
		part := covered(img)
		marked, n := yellow(img)
		if got := float64(marked.Dx()) / float64(part.Dx()); math.Abs(got-1.0/3) > 0.02 || marked.Min.X > part.Min.X+6 {
			t.Errorf("%s: %.3f of the wall is marked (%v of %v), want a third from the left", name, got, marked, part)
		}
		if share := float64(n) / float64(marked.Dx()*marked.Dy()); share < 0.3 || share > 0.6 { // dots: 16 pixels of 36
			t.Errorf("%s: %.2f of the marked area has ink, which is no pattern", name, share)
		}
	}
}

func TestThickPartsAreNotMarked(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{"box": shapes.Box(20, 20, 20), "ball": shapes.UVSphere(10, 48, 24), "thick wall": shapes.OpenBox(40, 40, 20, 2), "cone": shapes.Cone(48, 10, 20)} {
		if _, n := yellow(Draw(m, Corner, Options{Spots: ThinWalls(m, 0.8)})); n > 0 {
			t.Errorf("%s: %d pixels are marked as thin", name, n)
		}
	}
	m := shapes.OpenBox(40, 40, 20, 0.6)
	if _, n := yellow(Draw(m, Corner, Options{Spots: ThinWalls(m, 0.8)})); n < 1000 {
		t.Errorf("thin walls: only %d pixels are marked", n)
	}
}

// The familiar thing beside a part is no part of it, and a cut surface keeps its hatching.
func TestSpotsAreThePartsOwn(t *testing.T) {
	m := shapes.OpenBox(40, 40, 20, 2)
	card := FamiliarFor(m.Bounds().Size())
	always := func(facet int, at mesh.Vec) (Tone, bool) {
		if facet >= len(m.Triangles) {
			t.Error("the thing beside the part is asked about")
		}
		return Yellow, true
	}
	Draw(m, Corner, Options{Spots: always, Beside: &card})
	open := 0
	lit := func(v uint8) uint8 { return uint8(int(v) * 235 / 255) }
	img := Inside(m, nil, Options{Spots: always})
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			if img.RGBAAt(x, y) == (color.RGBA{lit(cut.R), lit(cut.G), lit(cut.B), 255}) {
				open++
			}
		}
	}
	if open < 500 {
		t.Errorf("only %d pixels of the cut surface are seen", open)
	}
}
