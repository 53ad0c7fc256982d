package picture

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"meshclerk/intake/mesh"
)

// Tone is a kind of mark: a colour and a pattern that go together, so that the
// pattern alone is enough to tell two tones apart.
type Tone int

// The tones.
const (
	Vermilion Tone = iota // cannot be printed as it is
	Blue                  // needs support
	Yellow                // thin or fine
	Green                 // good to know
)

// Colours of M. Okabe and K. Ito, "Color Universal Design" (2008), which people
// with the common forms of colour blindness can tell apart; from memory.
var tones = [...]color.RGBA{
	Vermilion: {213, 94, 0, 255},
	Blue:      {0, 114, 178, 255},
	Yellow:    {240, 228, 66, 255},
	Green:     {0, 158, 115, 255},
}

// clay is the colour of an unmarked part.
var clay = color.RGBA{226, 221, 211, 255}

// Colours of what is no part: the thing beside it, and cut surfaces.
var (
	cardboard = color.RGBA{176, 190, 196, 255}
	cut       = color.RGBA{238, 226, 200, 255}
	hatch     = color.RGBA{150, 128, 96, 255}
)

// Colour is the tone's colour.
func (t Tone) Colour() color.RGBA { return tones[t%Tone(len(tones))] }

// inked reports whether the tone's pattern has ink at a pixel: full, stripes,
// dots or a lattice.
func (t Tone) inked(x, y int) bool {
	switch t {
	case Blue:
		return (x+y)%8 < 5
	case Yellow:
		return x%6 < 4 && y%6 < 4
	case Green:
		return (x-y+8192)%8 < 5
	}
	return true
}

// drawSizes writes width, depth and height along the edges of the part's box.
func drawSizes(img *image.RGBA, b mesh.Box, c camera, o Options) {
	ink := color.RGBA{60, 60, 66, 255}
	if o.Dark {
		ink = color.RGBA{206, 208, 214, 255}
	}
	size := b.Size()
	for axis := range 3 {
		from, to := sizeEdge(b, c, axis)
		x0, y0 := c.onPage(from)
		x1, y1 := c.onPage(to)
		if math.Hypot(x1-x0, y1-y0) < 12 {
			continue // seen end on
		}
		mx, my := outward(c, b, (x0+x1)/2, (y0+y1)/2)
		const off = 12
		line(img, x0+mx*off, y0+my*off, x1+mx*off, y1+my*off, ink)
		tick(img, x0, y0, mx, my, ink)
		tick(img, x1, y1, mx, my, ink)
		label := Millimetres(size[axis])
		if o.Comma {
			label = strings.Replace(label, ".", ",", 1)
		}
		write(img, (x0+x1)/2+mx*(off+28), (y0+y1)/2+my*(off+12), label, ink)
	}
}

// sizeEdge is the edge of the box along an axis that lies furthest down and
// out on the page, so that the mark does not cross the part.
func sizeEdge(b mesh.Box, c camera, axis int) (from, to mesh.Vec) {
	best := math.Inf(-1)
	corners := [2]mesh.Vec{b.Min, b.Max}
	for k := range 4 {
		p := b.Min
		p[(axis+1)%3] = corners[k&1][(axis+1)%3]
		p[(axis+2)%3] = corners[k>>1][(axis+2)%3]
		q := p
		q[axis] = b.Max[axis]
		x0, y0 := c.onPage(p)
		x1, y1 := c.onPage(q)
		score := (y0 + y1) / 2
		if math.Abs(x1-x0) < math.Abs(y1-y0)/4 { // upright: to the left
			score = -(x0 + x1) / 2
		}
		if score > best {
			best, from, to = score, p, q
		}
	}
	return from, to
}

// outward is the unit direction on the page from the middle of the part to a point.
func outward(c camera, b mesh.Box, x, y float64) (dx, dy float64) {
	cx, cy := c.onPage(b.Min.Add(b.Max).Mul(0.5))
	dx, dy = x-cx, y-cy
	l := math.Hypot(dx, dy)
	if l < 1e-9 {
		return 0, 1
	}
	return dx / l, dy / l
}

// nameThing writes the name of the familiar thing over it, where no size mark stands.
func nameThing(img *image.RGBA, all *mesh.Mesh, thing int, c camera, o Options) {
	top, x0, x1 := math.Inf(1), math.Inf(1), math.Inf(-1)
	for _, t := range all.Triangles[thing:] {
		for _, i := range t {
			x, y := c.onPage(all.Vertices[i])
			top, x0, x1 = min(top, y), min(x0, x), max(x1, x)
		}
	}
	ink := color.RGBA{60, 60, 66, 255}
	if o.Dark {
		ink = color.RGBA{206, 208, 214, 255}
	}
	write(img, (x0+x1)/2, top-12, o.BesideLabel, ink)
}

// Millimetres writes a length as it stands on a picture.
func Millimetres(mm float64) string {
	if mm < 10 {
		return fmt.Sprintf("%.1f mm", mm)
	}
	return fmt.Sprintf("%.0f mm", mm)
}

// drawMarks rings each place and writes its label beside it.
func drawMarks(img *image.RGBA, c camera, o Options) {
	for _, m := range o.Marks {
		x, y := c.onPage(m.At)
		ring(img, x, y, 9, color.RGBA{255, 255, 255, 255}, 5)
		ring(img, x, y, 9, m.Tone.Colour(), 3)
		if m.Label != "" {
			ink := color.RGBA{20, 20, 24, 255}
			plate(img, x+20, y-16, m.Label)
			write(img, x+20, y-16, m.Label, ink)
		}
	}
}

func plate(img *image.RGBA, x, y float64, text string) {
	w := float64(7*len(text)+8) / 2
	for py := int(y - 9); py <= int(y+9); py++ {
		for px := int(x - w); px <= int(x+w); px++ {
			dot(img, px, py, color.RGBA{255, 255, 255, 255})
		}
	}
}

func ring(img *image.RGBA, x, y, r float64, ink color.RGBA, width float64) {
	for py := int(y - r - width); py <= int(y+r+width); py++ {
		for px := int(x - r - width); px <= int(x+r+width); px++ {
			if math.Abs(math.Hypot(float64(px)-x, float64(py)-y)-r) <= width/2 {
				dot(img, px, py, ink)
			}
		}
	}
}

func tick(img *image.RGBA, x, y, dx, dy float64, ink color.RGBA) {
	line(img, x+dx*5, y+dy*5, x+dx*16, y+dy*16, ink)
}

func line(img *image.RGBA, x0, y0, x1, y1 float64, ink color.RGBA) {
	n := int(max(math.Abs(x1-x0), math.Abs(y1-y0))) + 1
	for i := range n + 1 {
		s := float64(i) / float64(n)
		dot(img, int(math.Round(x0+s*(x1-x0))), int(math.Round(y0+s*(y1-y0))), ink)
	}
}

func dot(img *image.RGBA, x, y int, ink color.RGBA) {
	if image.Pt(x, y).In(img.Rect) {
		img.SetRGBA(x, y, ink)
	}
}

// write centres text on a point and keeps it on the page.
func write(img *image.RGBA, x, y float64, text string, ink color.RGBA) {
	face, err := typeface()
	if err != nil {
		return // the embedded typeface always parses; a test guards it
	}
	defer face.Close()
	d := font.Drawer{Dst: img, Src: image.NewUniform(ink), Face: face}
	w := d.MeasureString(text).Ceil()
	left := min(max(2, int(x)-w/2), img.Rect.Dx()-w-2)
	base := min(max(14, int(y)+5), img.Rect.Dy()-5)
	d.Dot = fixed.P(left, base)
	d.DrawString(text)
}

func typeface() (font.Face, error) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, err
	}
	return opentype.NewFace(f, &opentype.FaceOptions{Size: 14, DPI: 72, Hinting: font.HintingFull})
}
