package preflight

import (
	"cmp"
	"math"
	"slices"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// second is the second colour as it is planned for the file's mesh, the way it was sent:
// where it is measured from the top, at that height above the plate; of a single body
// nobody said more of than two colours, where the relief stands.
func (c check) second(x examined, m *mesh.Mesh) *job.SecondColour {
	two := c.set.Second
	if two == nil || two.FromMM > 0 || len(two.Bodies) > 0 || two.TopMM <= 0 && len(x.bodies()) > 1 {
		return two
	}
	at := *two
	if two.TopMM > 0 {
		at.FromMM = max(0, m.Bounds().Size()[2]*c.scale-two.TopMM)
		return &at
	}
	at.FromMM = reliefFrom(m, c.layer()/c.scale) * c.scale
	return &at
}

// leastFloor is how much of what is seen from above the flat face has to be that letters
// or a pattern stand on. Practice.
const leastFloor = 0.2

// reliefFrom is the height above the lowest point of the widest flat face that looks up
// and has at least a layer below it and a layer of something above; 0 where there is
// none that is wide enough.
func reliefFrom(m *mesh.Mesh, layer float64) float64 {
	box := m.Bounds()
	size := box.Size()
	const flat, step = 0.9999, 0.01 // of a normal; mm, within which heights are one
	floors := map[int]float64{}     // mm2 by height
	for _, t := range m.Triangles {
		a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		n := b.Sub(a).Cross(c.Sub(a))
		if twice := math.Sqrt(n.Dot(n)); twice > 0 && n[2] > flat*twice {
			floors[int(math.Round((a[2]-box.Min[2])/step))] += n[2] / 2
		}
	}
	best, most := 0, leastFloor*size[0]*size[1]
	for at, area := range floors {
		h := float64(at) * step
		if h >= layer && h <= size[2]-layer && (area > most || area == most && at < best) {
			best, most = at, area
		}
	}
	return float64(best) * step
}

// byColour divides a mesh, which is the file's in some way up, into what the first
// nozzle lays and what the second: the bodies with these numbers, of which the largest
// is 1, or all but the largest. The second is nil where that leaves nothing to one of
// the two.
func (x examined) byColour(m *mesh.Mesh, numbers []int) (first, second *mesh.Mesh) {
	bodies := x.bodies()
	other := make([]bool, len(x.topo.Shells))
	n := 0
	for i, shell := range bodies {
		if len(numbers) == 0 && i > 0 || slices.Contains(numbers, i+1) {
			other[shell], n = true, n+1
		}
	}
	if n == 0 || n == len(bodies) || len(m.Triangles) != len(x.topo.ShellOf) {
		return m, nil
	}
	first, second = &mesh.Mesh{Vertices: m.Vertices}, &mesh.Mesh{Vertices: m.Vertices}
	for f, t := range m.Triangles {
		if other[x.bodyOf(int(x.topo.ShellOf[f]))] {
			second.Triangles = append(second.Triangles, t)
		} else {
			first.Triangles = append(first.Triangles, t)
		}
	}
	return first, second
}

// bodies are the shells that are bodies, the largest first.
func (x examined) bodies() []int {
	var out []int
	for i, s := range x.topo.Shells {
		if s.Outer {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(size(x.topo.Shells[b]), size(x.topo.Shells[a])) })
	return out
}

// mostBodies is how many a person is shown to choose from.
const mostBodies = 24

// told lists the bodies of a file with more than one, so that a person can choose among
// them.
func (x examined) told() []job.Body {
	bodies := x.bodies()
	if len(bodies) < 2 {
		return nil
	}
	all := x.topo.Shells[bodies[0]].Box
	for _, i := range bodies {
		b := x.topo.Shells[i].Box
		for k := range 3 {
			all.Min[k] = min(all.Min[k], b.Min[k])
		}
	}
	var out []job.Body
	for _, i := range bodies[:min(len(bodies), mostBodies)] {
		b := x.topo.Shells[i].Box
		out = append(out, job.Body{SizeMM: b.Size(), AtMM: b.Min.Sub(all.Min)})
	}
	return out
}

// size is the volume by which bodies are put in order, to seven digits: what rounding
// makes of equal bodies is no order.
func size(s mesh.Shell) float32 { return float32(max(s.Volume, -s.Volume)) }

// bodyOf is the body that a shell belongs to: itself, or the body around a cavity.
func (x examined) bodyOf(shell int) int {
	for i := shell; i >= 0; i = x.topo.Shells[i].Inside {
		if x.topo.Shells[i].Outer {
			return i
		}
	}
	return shell
}
