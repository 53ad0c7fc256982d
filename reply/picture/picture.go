// Package picture draws a part so that a patron and a technician see at once
// what would be printed, how large it is, and where the trouble lies.
//
// A picture is made in three layers: the facets, through a depth buffer of our own
// under a fixed light; the marks, drawn over the places of findings in colours
// and patterns that colour-blind people can tell apart; and the size marks in
// millimetres, with their numbers. Everything is orthographic, so that lengths
// along an axis may be compared by eye. The same input gives the same bytes.
package picture

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"

	"meshclerk/intake/mesh"
)

// View is the direction a part is looked at from: Turn degrees about the
// upright axis, from the front towards the right, and Rise degrees above the bed.
type View struct {
	Name       string
	Turn, Rise float64
}

// The four views that show a part whole.
var (
	Corner = View{"from the front right corner", 35, 28}
	Front  = View{"from the front", 0, 0}
	Side   = View{"from the right", 90, 0}
	Top    = View{"from above", 0, 90}
)

// Below shows what the bed would hide, and the overhangs.
var Below = View{"from below", 35, -28}

// Mark is a place worth pointing at.
type Mark struct {
	At    mesh.Vec // mm, in the mesh's own coordinates
	Label string   // a number or a short word
	Tone  Tone
}

// Options say how a picture is made. The zero value draws 640 x 480 pixels.
type Options struct {
	Width, Height int
	Sizes         bool // draw size marks in mm
	Comma         bool // with a decimal comma
	Marks         []Mark
	Shade         func(facet int) (Tone, bool)              // facets to be shown in a tone and pattern; nil for none
	Spots         func(facet int, at mesh.Vec) (Tone, bool) // the same, asked at each pixel; covers Shade
	Cut           *Plane                                    // what lies in front of it is left out, so that the inside shows
	Dark          bool                                      // for a dark page
	Beside        *Familiar                                 // drawn next to the part
	BesideLabel   string                                    // what it is called
}

// Plane cuts at Offset mm along Normal, a unit vector.
type Plane struct {
	Normal mesh.Vec
	Offset float64
}

// Draw makes the picture of a part seen from one direction.
func Draw(m *mesh.Mesh, v View, o Options) *image.RGBA {
	if o.Width <= 0 || o.Height <= 0 {
		o.Width, o.Height = 640, 480
	}
	all, thing := m, len(m.Triangles)
	if o.Beside != nil {
		all, thing = o.Beside.beside(m)
	}
	c := aim(all.Bounds(), v, o)
	buf := newDepthBuffer(o.Width*sampling, o.Height*sampling, o.Spots != nil)
	buf.draw(all, thing, c, o)
	if o.Spots != nil {
		buf.applySpots(c, o.Spots)
	}
	img := buf.resolve(o)
	if o.Sizes {
		drawSizes(img, m.Bounds(), c, o)
	}
	if o.Beside != nil && o.BesideLabel != "" {
		nameThing(img, all, thing, c, o)
	}
	drawMarks(img, c, o)
	return img
}

// Strip draws a turntable: n views round the part, side by side.
func Strip(m *mesh.Mesh, n int, o Options) *image.RGBA {
	if o.Width <= 0 || o.Height <= 0 {
		o.Width, o.Height = 240, 200
	}
	out := image.NewRGBA(image.Rect(0, 0, n*o.Width, o.Height))
	for i := range n {
		one := Draw(m, View{Turn: 360 * float64(i) / float64(n), Rise: Corner.Rise}, o)
		for y := range o.Height {
			copy(out.Pix[out.PixOffset(i*o.Width, y):], one.Pix[one.PixOffset(0, y):one.PixOffset(0, y)+4*o.Width])
		}
	}
	return out
}

// WritePNG writes the picture with few colours, so that it stays small.
func WritePNG(w io.Writer, img *image.RGBA) error { return writeIn(w, img, 5) }

// Within returns the picture as a PNG of at most so many bytes: in fewer shades,
// then smaller, until it fits. A rough surface is noise to a compressor, and a
// letter must stay light all the same.
func Within(img *image.RGBA, most int) ([]byte, error) {
	for {
		for _, step := range []int{5, 12, 24, 48} {
			var b bytes.Buffer
			if err := writeIn(&b, img, step); err != nil {
				return nil, err
			}
			if b.Len() <= most {
				return b.Bytes(), nil
			}
		}
		if img.Rect.Dx() < 64 {
			return nil, fmt.Errorf("the picture cannot be made smaller than %d bytes", most)
		}
		img = halved(img)
	}
}

// halved has the mean of each four pixels.
func halved(img *image.RGBA) *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, img.Rect.Dx()/2, img.Rect.Dy()/2))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			var r, g, b int
			for k := range 4 {
				p := img.RGBAAt(2*x+k%2, 2*y+k/2)
				r, g, b = r+int(p.R), g+int(p.G), b+int(p.B)
			}
			out.SetRGBA(x, y, color.RGBA{uint8(r / 4), uint8(g / 4), uint8(b / 4), 255})
		}
	}
	return out
}

func writeIn(w io.Writer, img *image.RGBA, step int) error {
	return png.Encode(w, reduced(img, step)) // the best compression saves a twentieth and takes ten times as long
}

// reduced maps a picture to a palette of at most 256 colours when it has no
// more, each channel rounded to steps; else it is left as it is.
func reduced(img *image.RGBA, step int) image.Image {
	index := map[color.RGBA]uint8{}
	var pal color.Palette
	out := image.NewPaletted(img.Rect, nil)
	var last color.RGBA // most pixels are as the one before; none is as this one
	var i uint8
	for y := range img.Rect.Dy() {
		for x := range img.Rect.Dx() {
			at := y*img.Stride + 4*x
			p := color.RGBA{img.Pix[at], img.Pix[at+1], img.Pix[at+2], 255}
			if p != last {
				last, p = p, color.RGBA{coarse(p.R, step), coarse(p.G, step), coarse(p.B, step), 255}
				var ok bool
				if i, ok = index[p]; !ok {
					if len(pal) == 256 {
						return img
					}
					i = uint8(len(pal))
					index[p], pal = i, append(pal, p)
				}
			}
			out.Pix[y*out.Stride+x] = i
		}
	}
	out.Palette = pal
	return out
}

// coarse rounds a channel to steps, white kept exact.
func coarse(v uint8, step int) uint8 { return uint8(min(255, (int(v)+step/2)/step*step)) }

// camera maps mesh coordinates to coordinates of the depth buffer: x right, y down, z towards
// the eye, all in sampled pixels.
type camera struct {
	right, up, eye mesh.Vec
	scale          float64 // sampled pixels per mm
	cx, cy         float64 // of the buffer
	centre         mesh.Vec
}

// aim points the camera at the middle of the box and fits it into the buffer,
// leaving a rim for the size marks.
func aim(b mesh.Box, v View, o Options) camera {
	turn, rise := v.Turn*math.Pi/180, v.Rise*math.Pi/180
	c := camera{
		right:  mesh.Vec{math.Cos(turn), math.Sin(turn), 0},
		centre: b.Min.Add(b.Max).Mul(0.5),
		cx:     float64(o.Width*sampling) / 2,
		cy:     float64(o.Height*sampling) / 2,
	}
	c.up = mesh.Vec{-math.Sin(rise) * math.Sin(turn), math.Sin(rise) * math.Cos(turn), math.Cos(rise)}
	c.eye = c.right.Cross(c.up)
	half := b.Size().Mul(0.5)
	w, h := spread(c.right, half), spread(c.up, half)
	rim := 0.42
	if o.Sizes {
		rim = 0.36
	}
	c.scale = min(rim*float64(o.Width*sampling)/max(w, 1e-9), rim*float64(o.Height*sampling)/max(h, 1e-9))
	return c
}

// spread is half the extent of a box along a direction.
func spread(d, half mesh.Vec) float64 {
	return math.Abs(d[0])*half[0] + math.Abs(d[1])*half[1] + math.Abs(d[2])*half[2]
}

// project maps a point to the depth buffer.
func (c camera) project(p mesh.Vec) (x, y, z float64) {
	d := p.Sub(c.centre)
	return c.cx + c.scale*d.Dot(c.right), c.cy - c.scale*d.Dot(c.up), c.scale * d.Dot(c.eye)
}

// place is where a point of the buffer lies, the other way round.
func (c camera) place(x, y, z float32) mesh.Vec {
	return c.centre.
		Add(c.right.Mul((float64(x) - c.cx) / c.scale)).
		Add(c.up.Mul((c.cy - float64(y)) / c.scale)).
		Add(c.eye.Mul(float64(z) / c.scale))
}

// onPage maps a point to the finished picture.
func (c camera) onPage(p mesh.Vec) (x, y float64) {
	x, y, _ = c.project(p)
	return x / sampling, y / sampling
}
