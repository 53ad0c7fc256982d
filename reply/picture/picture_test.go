package picture

import (
	"bytes"
	"image"
	"image/png"
	"math"
	"os"
	"testing"

	"meshclerk/intake/mesh"
)

// brick is a box of the given size, with one corner at the origin.
func brick(w, d, h float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		m.Vertices = append(m.Vertices, mesh.Vec{w * float64(i&1), d * float64(i>>1&1), h * float64(i>>2)})
	}
	m.Triangles = [][3]int32{{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4}, {2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}}
	return m
}

// covered is the rectangle of pixels that are not paper.
func covered(img *image.RGBA) image.Rectangle {
	r := image.Rectangle{Min: img.Rect.Max}
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			if p := img.RGBAAt(x, y); p.R == 255 && p.G == 255 && p.B == 255 {
				continue
			}
			r.Min.X, r.Min.Y = min(r.Min.X, x), min(r.Min.Y, y)
			r.Max.X, r.Max.Y = max(r.Max.X, x+1), max(r.Max.Y, y+1)
		}
	}
	return r
}

// Orthographic views keep proportions: a 60 x 20 x 30 brick is seen as 60:30
// from the front, 20:30 from the right, 60:20 from above.
func TestViewsKeepProportions(t *testing.T) {
	for _, c := range []struct {
		view View
		want float64
	}{{Front, 60.0 / 30}, {Side, 20.0 / 30}, {Top, 60.0 / 20}} {
		r := covered(Draw(brick(60, 20, 30), c.view, Options{}))
		got := float64(r.Dx()) / float64(r.Dy())
		if math.Abs(got-c.want) > 0.02*c.want {
			t.Errorf("%s: %d x %d pixels, ratio %.3f, want %.3f", c.view.Name, r.Dx(), r.Dy(), got, c.want)
		}
	}
}

// What stands in front hides what is behind: a thin red-marked plate in front of a brick.
func TestNearestFacetWins(t *testing.T) {
	m := brick(60, 20, 30)
	front := brick(20, 1, 10)
	for _, v := range front.Vertices {
		m.Vertices = append(m.Vertices, v.Add(mesh.Vec{20, -10, 10}))
	}
	for _, f := range front.Triangles {
		m.Triangles = append(m.Triangles, [3]int32{f[0] + 8, f[1] + 8, f[2] + 8})
	}
	marked := Options{Shade: func(f int) (Tone, bool) { return Vermilion, f >= 12 }}
	mid := func(v View) bool {
		img := Draw(m, v, marked)
		p := img.RGBAAt(img.Rect.Dx()/2, img.Rect.Dy()/2)
		return int(p.R) > 2*int(p.G)
	}
	if !mid(Front) {
		t.Error("the plate in front does not show from the front")
	}
	if mid(View{Turn: 180}) {
		t.Error("the plate shows through the brick from behind")
	}
}

// A cut at the middle opens the view to the far wall's inside.
func TestCutOpensTheInside(t *testing.T) {
	m := brick(40, 40, 40)
	whole := Draw(m, Front, Options{})
	open := Draw(m, Front, Options{Cut: &Plane{Normal: mesh.Vec{0, -1, 0}, Offset: -20}})
	c := image.Pt(whole.Rect.Dx()/2, whole.Rect.Dy()/2)
	if whole.RGBAAt(c.X, c.Y) == open.RGBAAt(c.X, c.Y) {
		t.Error("the cut changes nothing in the middle of the picture")
	}
}

// A letter's picture stays under 150 KB and is a PNG that reads back the same size.
func TestPictureIsSmall(t *testing.T) {
	var b bytes.Buffer
	if err := WritePNG(&b, Draw(brick(60, 20, 30), Corner, Options{Sizes: true, Marks: []Mark{{At: mesh.Vec{60, 0, 30}, Label: "1"}}})); err != nil {
		t.Fatal(err)
	}
	if b.Len() > 150_000 {
		t.Errorf("the picture has %d bytes", b.Len())
	}
	if dir := os.Getenv("MESHCLERK_PICTURES"); dir != "" {
		if err := os.WriteFile(dir+"/brick.png", b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	img, err := png.Decode(&b)
	if err != nil || img.Bounds().Dx() != 640 {
		t.Errorf("read back: %v, %v", img.Bounds(), err)
	}
}

func TestTypefaceParses(t *testing.T) {
	if _, err := typeface(); err != nil {
		t.Fatal(err)
	}
}
