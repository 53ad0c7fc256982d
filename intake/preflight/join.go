package preflight

import (
	"bytes"
	"context"
	"io"

	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// hair (mm) is how far a file is moved where a corner of it is exactly one of another
// file: less than any printer can place, and enough that the two stay bodies of their own.
const hair = 1e-4

// Join writes one file of several, placed as they are drawn, and gives the bodies of each
// of them by their numbers in the new file, of which the largest is 1. The errors are
// those of Open.
func Join(ctx context.Context, paths []string, caps rules.Caps, w io.Writer) (bodies [][]int, err error) {
	all := &mesh.Mesh{}
	of := map[[3]float32]int{} // the file that a corner is from
	for n, path := range paths {
		f, err := Open(ctx, path, caps)
		if err != nil {
			return nil, err
		}
		all.Triangles = append(all.Triangles, shifted(f.Mesh, all, of, n)...)
	}
	var b bytes.Buffer
	if err := mesh.WriteSTL(io.MultiWriter(w, &b), all); err != nil {
		return nil, err
	}
	m, facts, err := readBack(ctx, b.Bytes(), caps)
	if err != nil {
		return nil, err
	}
	topo, err := mesh.Examine(ctx, m, facts, mesh.Options{SkipCrossings: true})
	if err != nil {
		return nil, err
	}
	x := examined{topo: topo}
	number := map[int]int{} // of a body, by its shell
	for i, shell := range x.bodies() {
		number[shell] = i + 1
	}
	bodies = make([][]int, len(paths))
	for f, shell := range topo.ShellOf {
		i := number[int(shell)]
		if i == 0 {
			continue // a cavity, or a body that was told of
		}
		number[int(shell)] = 0
		n := of[single(m.Vertices[m.Triangles[f][0]])]
		bodies[n] = append(bodies[n], i)
	}
	return bodies, nil
}

// shifted adds the corners of the n-th file to all, moved by a hair where one is there
// already, and gives its facets.
func shifted(m, all *mesh.Mesh, of map[[3]float32]int, n int) [][3]int32 {
	move := mesh.Vec{}
	for try := range 8 {
		move = mesh.Vec{hair, hair, hair}.Mul(float64(try))
		if !meets(m, move, of) {
			break
		}
	}
	from := int32(len(all.Vertices))
	for _, v := range m.Vertices {
		v = v.Add(move)
		all.Vertices = append(all.Vertices, v)
		of[single(v)] = n
	}
	out := make([][3]int32, len(m.Triangles))
	for i, t := range m.Triangles {
		out[i] = [3]int32{t[0] + from, t[1] + from, t[2] + from}
	}
	return out
}

// meets reports whether a corner of a moved mesh is one of those that are known.
func meets(m *mesh.Mesh, move mesh.Vec, known map[[3]float32]int) bool {
	for _, v := range m.Vertices {
		if _, ok := known[single(v.Add(move))]; ok {
			return true
		}
	}
	return false
}

// single is a corner as STL keeps it.
func single(v mesh.Vec) [3]float32 {
	return [3]float32{float32(v[0]), float32(v[1]), float32(v[2])}
}
