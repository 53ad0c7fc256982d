package shapes

import (
	"math"

	"meshclerk/intake/mesh"
)

// T makes an upright T: a stem of the given width and a bar across its top.
// Upright its bar hangs over; on its head it needs no support.
func T(width, height, bar, depth float64) *mesh.Mesh {
	w, b := width/2, bar/2
	front := Extrude(depth, Outline{{-w, 0}, {w, 0}, {w, height - width}, {b, height - width}, {b, height}, {-b, height}, {-b, height - width}, {-w, height - width}})
	return OnBed(Rotated(front, mesh.Vec{1, 0, 0}, 90))
}

// Mushroom makes a thin stem with a wide flat cap on top.
func Mushroom(n int, stem, cap, height float64) *mesh.Mesh {
	return Turned(Outline{{0, 0}, {stem, 0}, {stem, height * 0.7}, {cap, height * 0.7}, {cap, height * 0.8}, {cap * 0.6, height}, {0, height}}, n)
}

// BoxWithHole makes a box with a square hole from front to back through its middle.
func BoxWithHole(x, y, z, hole float64) *mesh.Mesh {
	h := hole / 2
	return Extrude(z, Outline{{0, 0}, {x, 0}, {x, y}, {0, y}},
		Outline{{x/2 - h, y/2 - h}, {x/2 - h, y/2 + h}, {x/2 + h, y/2 + h}, {x/2 + h, y/2 - h}})
}

// BoxWithVoid makes a box with a sealed box-shaped void in its middle: two shells, one part.
func BoxWithVoid(x, y, z, wall float64) *mesh.Mesh {
	void := Moved(Box(x-2*wall, y-2*wall, z-2*wall), wall, wall, wall)
	return Merge(Box(x, y, z), InsideOut(void))
}

// Vase makes a hollow vase with a twisted, fluted wall of about the given thickness.
func Vase(height, radius, wall float64) *mesh.Mesh {
	const n, steps = 96, 60
	at := func(h, inset float64) []vec {
		ring := make([]vec, n)
		waist := radius * (0.72 + 0.28*math.Sin(1.1+4.2*h/height))
		for j := range ring {
			a := 2 * math.Pi * float64(j) / n
			r := waist*(1+0.05*math.Cos(8*a+2.5*h/height)) - inset
			sin, cos := math.Sincos(a)
			ring[j] = vec{r * cos, r * sin, h}
		}
		return ring
	}
	var rings [][]vec
	for i := range steps + 1 {
		rings = append(rings, at(height*float64(i)/steps, 0))
	}
	for i := steps; i >= 0; i-- {
		rings = append(rings, at(max(height*float64(i)/steps, wall*2), wall))
		if height*float64(i)/steps <= wall*2 {
			break
		}
	}
	return Loft(rings)
}

// Knob makes a drawer knob with a fluted grip and a blind hole for its screw.
func Knob(radius, height float64) *mesh.Mesh {
	const n = 120
	ring := func(r, flute, z float64) []vec {
		out := make([]vec, n)
		for j := range out {
			a := 2 * math.Pi * float64(j) / n
			sin, cos := math.Sincos(a)
			s := r + flute*math.Cos(12*a)
			out[j] = vec{s * cos, s * sin, z}
		}
		return out
	}
	f := radius * 0.05
	const hole = 2.1
	return Loft([][]vec{
		ring(hole, 0, height*0.6), ring(hole, 0, 0), ring(radius*0.55, 0, 0), ring(radius*0.5, 0, height*0.3),
		ring(radius*0.92, f, height*0.55), ring(radius, f, height*0.65), ring(radius, f, height*0.88), ring(radius*0.9, f/2, height),
	})
}

// Gear makes a spur gear of involute-like teeth with a bore.
func Gear(teeth int, module, thickness, bore float64) *mesh.Mesh {
	pitch := module * float64(teeth) / 2
	root, tip := pitch-1.25*module, pitch+module
	var o Outline
	for i := range teeth {
		for _, p := range []struct{ at, r float64 }{{-0.5, root}, {-0.28, root}, {-0.22, pitch}, {-0.11, tip}, {0.11, tip}, {0.22, pitch}, {0.28, root}} {
			sin, cos := math.Sincos(2 * math.Pi * (float64(i) + p.at) / float64(teeth))
			o = append(o, Point{p.r * cos, p.r * sin})
		}
	}
	return Extrude(thickness, o, Hole(48, 0, 0, bore/2))
}

// Bracket makes an L-shaped shelf bracket with a brace, lying on its side, with
// a round hole through its brace.
func Bracket(leg, width float64) *mesh.Mesh {
	const t = 5
	return Extrude(width, Outline{{0, 0}, {leg, 0}, {leg, t}, {leg * 0.45, t}, {t, leg * 0.45}, {t, leg}, {0, leg}}, Hole(32, leg*0.17, leg*0.17, leg*0.07))
}

// NamePlate makes a plate with a word in raised letters; the word is in capital
// letters that the built-in strokes know.
func NamePlate(word string, letter float64) *mesh.Mesh {
	var islands []Island
	x := letter * 0.4
	for _, r := range word {
		i, width := glyph(r, x, letter*0.35, letter)
		islands = append(islands, i...)
		x += width + letter*0.18
	}
	x += letter * 0.22
	y := letter * 1.7
	plate := roundedBox(x, y, letter*0.25)
	return Relief(3, 1.6, plate, islands...)
}

// roundedBox is an outline with rounded corners.
func roundedBox(x, y, r float64) Outline {
	var o Outline
	for i, c := range []Point{{x - r, r}, {x - r, y - r}, {r, y - r}, {r, r}} {
		for j := range 9 {
			sin, cos := math.Sincos(math.Pi/2*(float64(i)+float64(j)/8) - math.Pi/2)
			o = append(o, Point{c[0] + r*cos, c[1] + r*sin})
		}
	}
	return o
}

// Planter makes a large pot with thick walls and a drain in its floor.
func Planter(radius, height, wall float64) *mesh.Mesh {
	const drain = 6
	return TurnedRing(Outline{
		{drain, 0}, {radius * 0.75, 0}, {radius * 0.78, 3}, {radius, height - 8}, {radius, height}, {radius - wall, height},
		{radius*0.78 - wall, wall}, {drain, wall},
	}, 96)
}

// Shield makes a wide shallow dome with a rim.
func Shield(radius, thickness float64) *mesh.Mesh {
	var p Outline
	p = append(p, Point{0, radius * 0.25})
	for i := 1; i <= 12; i++ {
		a := float64(i) / 12
		p = append(p, Point{radius * 0.95 * a, radius * 0.25 * (1 - a*a)})
	}
	p = append(p, Point{radius, 0}, Point{radius, thickness * 2})
	for i := 12; i >= 1; i-- {
		a := float64(i) / 12
		p = append(p, Point{radius * 0.95 * a, radius*0.25*(1-a*a) + thickness})
	}
	p = append(p, Point{0, radius*0.25 + thickness})
	return OnBed(Turned(p, 96))
}

// OpenBox makes a box without a top, and Lid a lid that fits into it with the
// given clearance.
func OpenBox(x, y, z, wall float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	at := func(inset, h float64) [4]int32 {
		var row [4]int32
		for i, c := range [4]Point{{inset, inset}, {x - inset, inset}, {x - inset, y - inset}, {inset, y - inset}} {
			row[i] = int32(len(m.Vertices))
			m.Vertices = append(m.Vertices, vec{c[0], c[1], h})
		}
		return row
	}
	rows := [][4]int32{at(0, 0), at(0, z), at(wall, z), at(wall, wall)}
	for i := 1; i < len(rows); i++ {
		band(m, rows[i-1][:], rows[i][:])
	}
	floor := func(r [4]int32, up bool) {
		if !up {
			r[1], r[3] = r[3], r[1]
		}
		m.Triangles = append(m.Triangles, [3]int32{r[0], r[1], r[2]}, [3]int32{r[0], r[2], r[3]})
	}
	floor(rows[0], false)
	floor(rows[3], true)
	return m
}

// Lid makes the lid of an OpenBox of the same size.
func Lid(x, y, wall, clearance float64) *mesh.Mesh {
	in := wall + clearance
	plug := Outline{{in, in}, {x - in, in}, {x - in, y - in}, {in, y - in}}
	return Relief(wall, 4, Outline{{0, 0}, {x, 0}, {x, y}, {0, y}}, Island{Outer: plug})
}

// Stand makes a stand for a telephone: a bent strip, lying on its side.
func Stand(depth, height, width, thickness float64) *mesh.Mesh {
	t := thickness
	return Extrude(width, Outline{
		{0, 0}, {depth, 0}, {depth, 14}, {depth - t, 14}, {depth - t, t},
		{depth * 0.5, t}, {depth*0.18 + t, height}, {depth * 0.18, height}, {depth*0.5 - t*1.1, t}, {0, t},
	})
}

// DiceTower makes a tower without floor or top, with a slit in its front and
// two of its facets missing: a mesh with holes.
func DiceTower(x, y, z, wall float64) *mesh.Mesh {
	tower := Extrude(z, Outline{{0, 0}, {x, 0}, {x, y}, {0, y}}, Outline{{wall, wall}, {wall, y - wall}, {x - wall, y - wall}, {x - wall, wall}})
	return Without(tower, len(tower.Triangles)-1, len(tower.Triangles)-8)
}
