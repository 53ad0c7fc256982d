package preflight

import (
	"math"

	"meshclerk/intake/mesh"
	"meshclerk/intake/room"
)

// orientation is a way up: the part stays where the file puts it, and the plate is
// thought to lie under it, square to up at the height low.
type orientation struct {
	up, east, north mesh.Vec
	low, high       float64 // along up, mm
}

// upright is the way the file puts it.
var upright = mesh.Vec{0, 0, 1}

// standing puts the part's corners on the plate with the given direction up.
func standing(up mesh.Vec, corners []mesh.Vec) orientation {
	s := orientation{up: up, low: math.Inf(1), high: math.Inf(-1)}
	r := rotationTo(up)
	s.east, s.north = r[0], r[1]
	for _, c := range corners {
		h := c.Dot(up)
		s.low, s.high = min(s.low, h), max(s.high, h)
	}
	if len(corners) == 0 {
		s.low, s.high = 0, 0
	}
	return s
}

// rotation turns the file's coordinates so that up points along z.
func (s orientation) rotation() [3][3]float64 {
	return [3][3]float64{s.east, s.north, s.up}
}

// height is how far a place lies above the plate, mm.
func (s orientation) height(p mesh.Vec) float64 { return p.Dot(s.up) - s.low }

// onto gives a place as seen from above.
func (s orientation) onto(p mesh.Vec) point { return point{p.Dot(s.east), p.Dot(s.north)} }

// plan gives the convex outline as seen from above.
func (s orientation) plan(corners []mesh.Vec) []point {
	flat := make([]point, len(corners))
	for i, c := range corners {
		flat[i] = s.onto(c)
	}
	return room.Outline(flat)
}

// side is a horizontal direction, at an angle from east.
func (s orientation) side(angle float64) mesh.Vec {
	sin, cos := math.Sincos(angle)
	return s.east.Mul(cos).Add(s.north.Mul(sin))
}

// rotationTo gives the rows of the smallest rotation that turns up to z;
// quarter and half turns come out exact.
func rotationTo(up mesh.Vec) [3]mesh.Vec {
	if up[2] < -1+1e-9 {
		return [3]mesh.Vec{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}
	}
	x, y, z := up[0], up[1], up[2]
	k := 1 / (1 + z)
	return [3]mesh.Vec{{1 - k*x*x, 0 - k*x*y, 0 - x}, {0 - k*x*y, 1 - k*y*y, 0 - y}, {x, y, z}}
}

// unit gives the direction of v, or zero for no direction.
func unit(v mesh.Vec) mesh.Vec {
	l := v.Len()
	if l == 0 {
		return v
	}
	return v.Mul(1 / l)
}

// axes are the six directions of the file.
func axes() []mesh.Vec {
	return []mesh.Vec{{0, 0, 1}, {0, 0, -1}, {0, 1, 0}, {0, -1, 0}, {1, 0, 0}, {-1, 0, 0}}
}

// sphere gives n directions spread evenly (Fibonacci lattice).
func sphere(n int) []mesh.Vec {
	golden := math.Pi * (3 - math.Sqrt(5))
	out := make([]mesh.Vec, n)
	for i := range out {
		z := 1 - (2*float64(i)+1)/float64(n)
		r := math.Sqrt(1 - z*z)
		sin, cos := math.Sincos(golden * float64(i))
		out[i] = mesh.Vec{r * cos, r * sin, z}
	}
	return out
}
