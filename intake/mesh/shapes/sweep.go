package shapes

import (
	"math"

	"meshclerk/intake/mesh"
)

// Point is a point of the plane: x and y, or radius and height of a profile.
type Point [2]float64

// Outline is a simple closed polygon, counter-clockwise.
type Outline []Point

// Turned makes the body that a profile sweeps about the z axis in n steps. The
// profile's points are radius and height, from the axis at the bottom to the
// axis at the top.
func Turned(profile Outline, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rows := make([][]int32, len(profile))
	for i, p := range profile {
		rows[i] = turnedRow(m, p, n)
	}
	for i := 1; i < len(rows); i++ {
		band(m, rows[i-1], rows[i])
	}
	return m
}

// TurnedRing is Turned for a closed profile that stays away from the axis.
func TurnedRing(profile Outline, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rows := make([][]int32, len(profile))
	for i, p := range profile {
		rows[i] = turnedRow(m, p, n)
	}
	for i := range rows {
		band(m, rows[i], rows[(i+1)%len(rows)])
	}
	return m
}

// turnedRow adds the circle of a profile's point; on the axis it is one vertex.
func turnedRow(m *mesh.Mesh, p Point, n int) []int32 {
	if p[0] == 0 {
		n = 1
	}
	row := make([]int32, n)
	for j := range row {
		sin, cos := math.Sincos(2 * math.Pi * float64(j) / float64(n))
		row[j] = int32(len(m.Vertices))
		m.Vertices = append(m.Vertices, vec{p[0] * cos, p[0] * sin, p[1]})
	}
	return row
}

// band joins two closed rows of the same length, or of one vertex, by facets
// that face away from the axis when the second row is higher.
func band(m *mesh.Mesh, low, high []int32) {
	n := max(len(low), len(high))
	for j := range n {
		k := (j + 1) % n
		a, b := low[j%len(low)], low[k%len(low)]
		c, d := high[j%len(high)], high[k%len(high)]
		if a != b {
			m.Triangles = append(m.Triangles, [3]int32{a, b, d})
		}
		if c != d {
			m.Triangles = append(m.Triangles, [3]int32{a, d, c})
		}
	}
}

// Loft makes the body between stacked rings of the same number of points, lowest
// first, each counter-clockwise seen from above; both ends are closed by a fan
// about their middle.
func Loft(rings [][]mesh.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	add := func(points ...vec) []int32 {
		row := make([]int32, len(points))
		for i, p := range points {
			row[i] = int32(len(m.Vertices))
			m.Vertices = append(m.Vertices, p)
		}
		return row
	}
	last := add(middle(rings[0]))
	for _, r := range rings {
		row := add(r...)
		band(m, last, row)
		last = row
	}
	band(m, last, add(middle(rings[len(rings)-1])))
	return m
}

func middle(points []vec) vec {
	var sum vec
	for _, p := range points {
		sum = sum.Add(p)
	}
	return sum.Mul(1 / float64(len(points)))
}

// Extrude makes the upright body over an outline, from z = 0 to h, with the
// given holes through it.
func Extrude(h float64, outer Outline, holes ...Outline) *mesh.Mesh {
	m := &mesh.Mesh{}
	points, facets := triangulate(outer, holes)
	n := int32(len(points))
	for _, z := range []float64{0, h} {
		for _, p := range points {
			m.Vertices = append(m.Vertices, vec{p[0], p[1], z})
		}
	}
	for _, f := range facets {
		m.Triangles = append(m.Triangles, [3]int32{f[0], f[2], f[1]}, [3]int32{f[0] + n, f[1] + n, f[2] + n})
	}
	wall(m, 0, n, int32(len(outer)))
	at := int32(len(outer))
	for _, hole := range holes {
		wall(m, at, n, int32(len(hole)))
		at += int32(len(hole))
	}
	return m
}

// wall joins the points from..from+count to those n further on, which lie above.
func wall(m *mesh.Mesh, from, n, count int32) {
	for i := range count {
		a, b := from+i, from+(i+1)%count
		m.Triangles = append(m.Triangles, [3]int32{a, b, b + n}, [3]int32{a, b + n, a + n})
	}
}

// Relief makes a plate over an outline, of the given thickness, with islands
// that rise above its top.
func Relief(thickness, rise float64, outer Outline, islands ...Island) *mesh.Mesh {
	m := &mesh.Mesh{}
	index := map[vec]int32{}
	at := func(p Point, z float64) int32 {
		v := vec{p[0], p[1], z}
		i, ok := index[v]
		if !ok {
			i = int32(len(m.Vertices))
			index[v] = i
			m.Vertices = append(m.Vertices, v)
		}
		return i
	}
	face := func(z float64, up bool, outer Outline, holes []Outline) {
		points, facets := triangulate(outer, holes)
		for _, f := range facets {
			if !up {
				f[1], f[2] = f[2], f[1]
			}
			m.Triangles = append(m.Triangles, [3]int32{at(points[f[0]], z), at(points[f[1]], z), at(points[f[2]], z)})
		}
	}
	rim := func(o Outline, low, high float64) {
		for i, p := range o {
			q := o[(i+1)%len(o)]
			a, b, c, d := at(p, low), at(q, low), at(q, high), at(p, high)
			m.Triangles = append(m.Triangles, [3]int32{a, b, c}, [3]int32{a, c, d})
		}
	}
	var feet []Outline
	top := thickness + rise
	for _, i := range islands {
		feet = append(feet, reversed(i.Outer))
		face(top, true, i.Outer, i.Holes)
		rim(i.Outer, thickness, top)
		for _, h := range i.Holes {
			rim(h, thickness, top)
			face(thickness, true, reversed(h), nil)
		}
	}
	face(0, false, outer, nil)
	rim(outer, 0, thickness)
	face(thickness, true, outer, feet)
	return m
}

// Island is a raised region of a Relief: an outline, and clockwise holes in it.
type Island struct {
	Outer Outline
	Holes []Outline
}

// Circle is a regular outline of n points about a centre.
func Circle(n int, x, y, r float64) Outline {
	o := make(Outline, n)
	for i := range o {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		o[i] = Point{x + r*cos, y + r*sin}
	}
	return o
}

// Hole is a Circle the other way around, as Extrude takes it.
func Hole(n int, x, y, r float64) Outline { return reversed(Circle(n, x, y, r)) }

func reversed(o Outline) Outline {
	out := make(Outline, len(o))
	for i, p := range o {
		out[len(o)-1-i] = p
	}
	return out
}
