package picture

import (
	"cmp"
	"image"
	"image/color"
	"math"
	"runtime"
	"slices"

	"meshclerk/intake/mesh"
	"meshclerk/intake/parallel"
)

// sampling is how many samples stand for one pixel along each axis.
const sampling = 2

// depthBuffer holds, for each sample, the depth of the nearest facet and its light.
type depthBuffer struct {
	w, h  int
	depth []float32
	light []uint8 // 0 for background, else brightness 1..255
	tone  []uint8 // 0 for plain, else Tone+1, or one of the two below
	facet []int32 // the nearest facet; nil where nobody asks
}

// Values of a sample that are no tone.
const (
	section = 254 // the cut surface of a part
	grey    = 255 // the familiar thing beside it
)

func newDepthBuffer(w, h int, facets bool) *depthBuffer {
	f := &depthBuffer{w: w, h: h, depth: make([]float32, w*h), light: make([]uint8, w*h), tone: make([]uint8, w*h)}
	if facets {
		f.facet = make([]int32, w*h)
	}
	for i := range f.depth {
		f.depth[i] = float32(math.Inf(-1))
	}
	return f
}

// draw draws every facet. The buffer is cut into bands of rows, one a core;
// each band draws only its own rows, so no two cores write the same sample.
// Facets from thing on are not the part's.
func (f *depthBuffer) draw(m *mesh.Mesh, thing int, c camera, o Options) {
	pts := f.projected(m, c)
	order := f.affordable(m, pts)
	bands := runtime.GOMAXPROCS(0)
	parallel.Do(bands, func(k int) { f.drawBand(m, thing, pts, order, c, o, k*f.h/bands, (k+1)*f.h/bands) })
}

func (f *depthBuffer) projected(m *mesh.Mesh, c camera) [][3]float32 {
	pts := make([][3]float32, len(m.Vertices))
	for i, v := range m.Vertices {
		x, y, z := c.project(v)
		pts[i] = [3]float32{float32(x), float32(y), float32(z)}
	}
	return pts
}

// overdraw is how many times the whole buffer may be covered. A part that was made
// to be printed covers it some ten times; a mesh of thousands of layers that each
// fill the picture was made for something else.
const overdraw = 200

// affordable returns the facets that are drawn, those in front first, where all of
// them would cover the buffer too often. It is nil where they would not. What is
// left out lies behind what covers the buffer overdraw times.
func (f *depthBuffer) affordable(m *mesh.Mesh, pts [][3]float32) []int32 {
	left := float64(overdraw * f.w * f.h)
	all := 0.0
	for i := range m.Triangles {
		all += cost(m, pts, i)
	}
	if all <= left {
		return nil
	}
	order := make([]int32, len(m.Triangles))
	front := make([]float32, len(m.Triangles))
	for i, t := range m.Triangles {
		order[i], front[i] = int32(i), max(pts[t[0]][2], pts[t[1]][2], pts[t[2]][2])
	}
	slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(front[b], front[a]) })
	for n, i := range order {
		if left -= cost(m, pts, int(i)); left < 0 {
			return order[:n]
		}
	}
	return order
}

// cost is about how many samples are tested for a facet; a facet itself costs
// little, so that any number of small ones is drawn.
func cost(m *mesh.Mesh, pts [][3]float32, facet int) float64 {
	t := m.Triangles[facet]
	a, b, d := pts[t[0]], pts[t[1]], pts[t[2]]
	area := math.Abs(float64(b[0]-a[0])*float64(d[1]-a[1])-float64(b[1]-a[1])*float64(d[0]-a[0])) / 2
	return area + 2*float64(max(a[1], b[1], d[1])-min(a[1], b[1], d[1]))
}

func (f *depthBuffer) drawBand(m *mesh.Mesh, thing int, pts [][3]float32, order []int32, c camera, o Options, from, to int) {
	for n := range m.Triangles {
		i := n
		if order != nil {
			if n == len(order) {
				return
			}
			i = int(order[n])
		}
		t := m.Triangles[i]
		a, b, d := pts[t[0]], pts[t[1]], pts[t[2]]
		if max(a[1], b[1], d[1]) < float32(from) || min(a[1], b[1], d[1]) > float32(to) {
			continue
		}
		light, back := shade(m, i, c)
		tone := uint8(0)
		switch {
		case i >= thing:
			tone = grey
		case back && o.Cut != nil:
			// Seen through the cut: the inside of a wall, which stands for its
			// cut surface, since nothing of the solid lies before it.
			light, tone = 235, section
		case o.Shade != nil:
			if n, ok := o.Shade(i); ok {
				tone = uint8(n) + 1
			}
		}
		f.fill(a, b, d, face{light, tone, int32(i)}, from, to, c, o.Cut)
	}
}

// face is what a facet's samples have in common.
type face struct {
	light, tone uint8
	facet       int32
}

// applySpots asks at each pixel of the part whether its place has a tone of its own,
// which covers the facet's.
func (f *depthBuffer) applySpots(c camera, ask func(facet int, at mesh.Vec) (Tone, bool)) {
	parallel.Do(f.h/sampling, func(row int) {
		for x := 0; x < f.w; x += sampling {
			f.applySpot(x, row*sampling, c, ask)
		}
	})
}

func (f *depthBuffer) applySpot(x, y int, c camera, ask func(facet int, at mesh.Vec) (Tone, bool)) {
	i := y*f.w + x
	if f.light[i] == 0 || f.tone[i] == grey || f.tone[i] == section {
		return
	}
	tone, ok := ask(int(f.facet[i]), c.place(float32(x)+0.5, float32(y)+0.5, f.depth[i]))
	if !ok {
		return
	}
	for k := range sampling * sampling {
		j := (y+k/sampling)*f.w + x + k%sampling
		if f.light[j] != 0 && f.tone[j] != grey && f.tone[j] != section {
			f.tone[j] = uint8(tone) + 1
		}
	}
}

// shade is the light on a facet, from two lamps: one over the viewer's left
// shoulder, a weaker one from the right. The back of a facet is lit as well,
// darker, so that open or inside-out parts still show.
func shade(m *mesh.Mesh, facet int, c camera) (light uint8, back bool) {
	a, b, d := m.Corners(facet)
	n := b.Sub(a).Cross(d.Sub(a))
	l := n.Len()
	if l == 0 {
		return 120, false
	}
	n = n.Mul(1 / l)
	x, y, z := n.Dot(c.right), n.Dot(c.up), n.Dot(c.eye)
	back = z < 0
	if back {
		x, y, z = -x, -y, -z
	}
	v := 0.30 + 0.62*max(0, -0.45*x+0.55*y+0.70*z) + 0.14*max(0, 0.8*x-0.1*y+0.6*z)
	if back {
		v *= 0.55
	}
	return uint8(1 + 254*min(1, max(0, v))), back
}

// fill draws one triangle by its edge functions, over the rows [from, to).
func (f *depthBuffer) fill(a, b, d [3]float32, l face, from, to int, c camera, cut *Plane) {
	area := (b[0]-a[0])*(d[1]-a[1]) - (b[1]-a[1])*(d[0]-a[0])
	if area == 0 {
		return
	}
	y0 := max(from, int(min(a[1], b[1], d[1])))
	y1 := min(to-1, int(max(a[1], b[1], d[1]))+1)
	inv := 1 / area
	for y := y0; y <= y1; y++ {
		py := float32(y) + 0.5
		x0, x1 := row(a, b, d, py)
		for x := max(0, int(x0)); x <= min(f.w-1, int(x1)+1); x++ {
			px := float32(x) + 0.5
			u := ((b[0]-px)*(d[1]-py) - (b[1]-py)*(d[0]-px)) * inv
			v := ((d[0]-px)*(a[1]-py) - (d[1]-py)*(a[0]-px)) * inv
			w := 1 - u - v
			if u < 0 || v < 0 || w < 0 {
				continue
			}
			z := u*a[2] + v*b[2] + w*d[2]
			i := y*f.w + x
			if z <= f.depth[i] || cut != nil && c.before(px, py, z, *cut) {
				continue
			}
			f.depth[i], f.light[i], f.tone[i] = z, l.light, l.tone
			if f.facet != nil {
				f.facet[i] = l.facet
			}
		}
	}
}

// row returns the span that a triangle covers at one height.
func row(a, b, d [3]float32, y float32) (x0, x1 float32) {
	x0, x1 = float32(math.Inf(1)), float32(math.Inf(-1))
	for _, e := range [3][2][3]float32{{a, b}, {b, d}, {d, a}} {
		p, q := e[0], e[1]
		if p[1] == q[1] {
			if p[1] == y {
				x0, x1 = min(x0, p[0], q[0]), max(x1, p[0], q[0])
			}
			continue
		}
		s := (y - p[1]) / (q[1] - p[1])
		if s < 0 || s > 1 {
			continue
		}
		x := p[0] + s*(q[0]-p[0])
		x0, x1 = min(x0, x), max(x1, x)
	}
	if x0 > x1 {
		return 0, -2
	}
	return x0, x1
}

// before reports whether a point of the buffer lies on the cut-away side of the plane.
func (c camera) before(x, y, z float32, p Plane) bool {
	return c.place(x, y, z).Dot(p.Normal) > p.Offset
}

// resolve averages the samples of each pixel, draws the outline where depth
// jumps, and lays on colour and pattern.
func (f *depthBuffer) resolve(o Options) *image.RGBA {
	paper := color.RGBA{255, 255, 255, 255}
	if o.Dark {
		paper = color.RGBA{24, 26, 31, 255}
	}
	img := image.NewRGBA(image.Rect(0, 0, f.w/sampling, f.h/sampling))
	for y := range f.h / sampling {
		for x := range f.w / sampling {
			var r, g, b int
			for k := range sampling * sampling {
				sx, sy := x*sampling+k%sampling, y*sampling+k/sampling
				p := f.sample(sx, sy, paper)
				r, g, b = r+int(p.R), g+int(p.G), b+int(p.B)
			}
			n := sampling * sampling
			img.SetRGBA(x, y, color.RGBA{uint8(r / n), uint8(g / n), uint8(b / n), 255})
		}
	}
	return img
}

func (f *depthBuffer) sample(x, y int, paper color.RGBA) color.RGBA {
	i := y*f.w + x
	if f.light[i] == 0 {
		return paper
	}
	base := clay
	switch t := f.tone[i]; {
	case t == grey:
		base = cardboard
	case t == section:
		base = cut
		if (x/sampling+y/sampling)%7 < 2 {
			base = hatch
		}
	case t > 0 && Tone(t-1).inked(x/sampling, y/sampling):
		base = Tone(t - 1).Colour()
	}
	v := int(f.light[i])
	if f.edge(x, y) {
		v = v * 55 / 100
	}
	return color.RGBA{uint8(int(base.R) * v / 255), uint8(int(base.G) * v / 255), uint8(int(base.B) * v / 255), 255}
}

// edge reports whether the depth falls away sharply to the right or below.
func (f *depthBuffer) edge(x, y int) bool {
	if x+1 >= f.w || y+1 >= f.h {
		return false
	}
	i := y*f.w + x
	if f.tone[i] == section {
		return f.tone[i+1] != section || f.tone[i+f.w] != section
	}
	jump := float32(f.w) * 0.012
	return f.depth[i]-f.depth[i+1] > jump || f.depth[i]-f.depth[i+f.w] > jump ||
		f.depth[i+1]-f.depth[i] > jump && f.light[i+1] != 0
}
