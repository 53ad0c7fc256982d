package picture

import (
	"bytes"
	"image"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
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

// Also of a surface as rough as can be, of which every facet has a light of its
// own, and of a picture that is nothing but noise.
func TestPictureOfRoughSurfaceIsSmall(t *testing.T) {
	rough, dice := shapes.Torus(40, 20, 600, 300), rand.New(rand.NewPCG(1, 2))
	for i := range rough.Vertices {
		for k := range 3 {
			rough.Vertices[i][k] += 0.6 * dice.Float64()
		}
	}
	noise := image.NewRGBA(image.Rect(0, 0, 640, 480))
	for i := range noise.Pix {
		noise.Pix[i] = uint8(dice.IntN(256))
	}
	for name, img := range map[string]*image.RGBA{"rough": Draw(rough, Corner, Options{Sizes: true}), "noise": noise} {
		b, err := Within(img, 150_000)
		if err != nil || len(b) > 150_000 {
			t.Fatalf("%s: %d bytes, %v", name, len(b), err)
		}
		back, err := png.Decode(bytes.NewReader(b))
		if err != nil || back.Bounds().Dx() < 160 {
			t.Errorf("%s: reads back as %v, %v", name, back.Bounds(), err)
		}
		var plain bytes.Buffer
		if err := WritePNG(&plain, img); err != nil || name == "noise" && plain.Len() <= 150_000 {
			t.Errorf("%s: it was small anyhow, with %d bytes (%v)", name, plain.Len(), err)
		}
	}
	if _, err := Within(noise, 10); err == nil {
		t.Error("a picture of ten bytes")
	}
}

func TestTypefaceParses(t *testing.T) {
	if _, err := typeface(); err != nil {
		t.Fatal(err)
	}
}

// A hollow box cut open shows its cut walls hatched and, behind, the hollow: the cut
// surface of a 60 x 40 x 30 box with walls of 5 is that of a frame, 60 x 30 less 50 x 20.
func TestInsideShowsTheVoid(t *testing.T) {
	m := shapes.OnBed(shapes.BoxWithVoid(60, 40, 30, 5))
	y := (m.Bounds().Min[1] + m.Bounds().Max[1]) / 2
	o := Options{Cut: &Plane{Normal: mesh.Vec{0, -1, 0}, Offset: -y}}
	img := Draw(m, Front, o)
	walls, all := 0, covered(img)
	for py := all.Min.Y; py < all.Max.Y; py++ {
		for px := all.Min.X; px < all.Max.X; px++ {
			if p := img.RGBAAt(px, py); int(p.R)-int(p.B) > 20 { // the warm tints of cut and hatch
				walls++
			}
		}
	}
	got := float64(walls) / float64(all.Dx()*all.Dy())
	if want := 1 - 50.0*20/(60*30); math.Abs(got-want) > 0.03 {
		t.Errorf("%.3f of the picture is cut surface, want %.3f", got, want)
	}
	save(t, "inside", Inside(m, nil, Options{Sizes: true}))
}

// Overhangs are the facets beyond the angle and off the bed: of a cube on the bed none,
// of a mushroom's cap the flat underside; 45 degrees exactly is printed without support.
func TestOverhangs(t *testing.T) {
	area := func(m *mesh.Mesh, angle float64) (sum float64) {
		over := Overhangs(m, angle)
		for f := range m.Triangles {
			if _, ok := over(f); ok {
				a, b, c := m.Corners(f)
				sum += b.Sub(a).Cross(c.Sub(a)).Len() / 2
			}
		}
		return sum
	}
	if a := area(shapes.OnBed(shapes.Box(20, 20, 20)), 45); a != 0 {
		t.Errorf("a cube on the bed hangs over by %g mm2", a)
	}
	// A T of bar 30 over a stem of 10, both 8 deep: the two undersides, 2 x 10 x 8 mm.
	if a := area(shapes.OnBed(shapes.T(10, 50, 30, 8)), 45); math.Abs(a-160) > 1e-6 {
		t.Errorf("the T hangs over by %g mm2, want 160", a)
	}
	cone := shapes.OnBed(upsideDown(shapes.Cone(64, 10, 10))) // sides at 45 degrees
	if a := area(cone, 46); a != 0 {
		t.Errorf("45 degrees hangs over at 46: %g mm2", a)
	}
	if a := area(cone, 44); a < 100 {
		t.Errorf("45 degrees does not hang over at 44: %g mm2", a)
	}
}

// A library card beside the part has the size of ISO/IEC 7810 ID-1 at the part's scale.
func TestFamiliarSize(t *testing.T) {
	m := block(100, 20, 40)
	card := FamiliarFor(m.Bounds().Size())
	if card.Key != "card" {
		t.Fatalf("beside a part of 100 mm: %s", card.Key)
	}
	both, from := card.beside(m)
	box := mesh.Box{Min: both.Vertices[len(m.Vertices)], Max: both.Vertices[len(both.Vertices)-1]}
	if s := box.Size(); math.Abs(s[0]-85.60) > 1e-9 || math.Abs(s[2]-53.98) > 1e-9 || from != len(m.Triangles) {
		t.Errorf("the card measures %v", s)
	}
	if box.Min[0] <= 100 || box.Min[2] != 0 {
		t.Errorf("the card stands at %v", box.Min)
	}
	for size, want := range map[float64]string{2: "pencil", 9: "pencil", 12: "cell", 29: "cell", 31: "card", 259: "card", 300: "sheet"} {
		if got := FamiliarFor(mesh.Vec{size, 1, 1}).Key; got != want {
			t.Errorf("beside %g mm: %s, want %s", size, got, want)
		}
	}
	save(t, "beside", Draw(m, Corner, Options{Sizes: true, Beside: &card, BesideLabel: "library card"}))
}

// The simpler mesh keeps to the bound and to the shape.
func TestSimplified(t *testing.T) {
	m := shapes.Torus(40, 12, 400, 100)
	s, err := Simplified(t.Context(), m, 20_000)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(s.Triangles); n > 20_000 || n < 5_000 {
		t.Errorf("%d facets of %d are left", n, len(m.Triangles))
	}
	if a, b := m.Bounds().Size(), s.Bounds().Size(); a.Sub(b).Len() > 2 {
		t.Errorf("the size was %v and is %v", a, b)
	}
	if same, err := Simplified(t.Context(), m, len(m.Triangles)); err != nil || same != m {
		t.Error("a mesh that is small enough was changed")
	}
	if b := Corners(block(1, 2, 3)); len(b) != 12*36 {
		t.Errorf("%d bytes for 12 facets", len(b))
	}
}

// The patterns tell tones apart without colour: each inks another share of the page.
func TestPatternsDiffer(t *testing.T) {
	shares := map[int]Tone{}
	for _, tone := range []Tone{Vermilion, Blue, Yellow, Green} {
		var pattern [24 * 24]byte
		n := 0
		for i := range pattern {
			if tone.inked(i%24, i/24) {
				pattern[i], n = 1, n+1
			}
		}
		key := n*1000 + int(pattern[5]) + 2*int(pattern[24*3+3]) + 4*int(pattern[24*7]) + 8*int(pattern[24*2+6])
		if other, ok := shares[key]; ok {
			t.Errorf("tones %d and %d have one pattern", tone, other)
		}
		shares[key] = tone
	}
}

// Odd meshes are drawn without harm: no facets, no size, facets without area, far away.
func TestOddMeshes(t *testing.T) {
	flat := &mesh.Mesh{Vertices: []mesh.Vec{{0, 0, 0}, {10, 0, 0}, {10, 10, 0}}, Triangles: [][3]int32{{0, 1, 2}, {0, 0, 1}}}
	point := &mesh.Mesh{Vertices: []mesh.Vec{{5, 5, 5}}, Triangles: [][3]int32{{0, 0, 0}}}
	far := shapes.Moved(block(10, 10, 10), 900_000, -900_000, 900_000)
	for name, m := range map[string]*mesh.Mesh{"nothing": {}, "flat": flat, "a point": point, "far": far} {
		for _, v := range []View{Corner, Front, Side, Top, Below} {
			card := FamiliarFor(m.Bounds().Size())
			img := Draw(m, v, Options{Width: 80, Height: 60, Sizes: true, Beside: &card, BesideLabel: "x", Shade: Overhangs(m, 45)})
			if img.Rect.Dx() != 80 {
				t.Errorf("%s: %v", name, img.Rect)
			}
		}
		Inside(m, nil, Options{Width: 80, Height: 60})
	}
}

func upsideDown(m *mesh.Mesh) *mesh.Mesh { return shapes.Rotated(m, mesh.Vec{1, 0, 0}, 180) }

// save writes a picture where MESHCLERK_PICTURES names a folder.
func save(t *testing.T, name string, img *image.RGBA) {
	t.Helper()
	dir := os.Getenv("MESHCLERK_PICTURES")
	if dir == "" {
		return
	}
	var b bytes.Buffer
	if err := WritePNG(&b, img); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(dir+"/"+name+".png", b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}
