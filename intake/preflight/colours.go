package preflight

import (
	"cmp"
	"slices"

	"meshclerk/intake/mesh"
)

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

func size(s mesh.Shell) float64 { return max(s.Volume, -s.Volume) }

// bodyOf is the body that a shell belongs to: itself, or the body around a cavity.
func (x examined) bodyOf(shell int) int {
	for i := shell; i >= 0; i = x.topo.Shells[i].Inside {
		if x.topo.Shells[i].Outer {
			return i
		}
	}
	return shell
}
