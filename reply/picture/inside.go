package picture

import (
	"image"
	"math"

	"meshclerk/intake/mesh"
)

// Inside draws a part cut open, so that voids and thin walls show: what lies in
// front of an upright plane is taken away, and the cut surface is hatched. The
// plane goes through a place, else through the middle.
func Inside(m *mesh.Mesh, through *mesh.Vec, o Options) *image.RGBA {
	b := m.Bounds()
	y := (b.Min[1] + b.Max[1]) / 2
	if through != nil {
		if d := 0.02 * b.Size()[1]; through[1] > b.Min[1]+d && through[1] < b.Max[1]-d {
			y = through[1]
		}
	}
	o.Cut = &Plane{Normal: mesh.Vec{0, -1, 0}, Offset: -y}
	return Draw(m, View{Turn: 20, Rise: 22}, o)
}

// Overhangs shades the facets that lean over more than angle degrees from the
// vertical and do not lie on the bed: those that need support.
func Overhangs(m *mesh.Mesh, angle float64) func(facet int) (Tone, bool) {
	bed := m.Bounds().Min[2] + 0.05
	steep := -math.Sin(angle * math.Pi / 180)
	return func(facet int) (Tone, bool) {
		a, b, c := m.Corners(facet)
		if a[2] < bed && b[2] < bed && c[2] < bed {
			return 0, false
		}
		n := b.Sub(a).Cross(c.Sub(a))
		l := n.Len()
		return Blue, l > 0 && n[2]/l < steep-1e-6
	}
}
