package mesh

import (
	"bufio"
	"fmt"
	"io"

	"github.com/hschendel/stl"
)

// headerText begins the header of written files. It must not begin with
// "solid", which some readers take for the text form.
const headerText = "binary STL, millimetres, written by meshclerk"

// WriteSTL writes the mesh as binary STL, with the normals of its facets. The
// coordinates are rounded to single precision, as the format has it.
func WriteSTL(w io.Writer, m *Mesh) error {
	out := stl.Solid{Name: headerText, Triangles: make([]stl.Triangle, len(m.Triangles))}
	for f := range m.Triangles {
		a, b, c := m.Corners(f)
		n := b.Sub(a).Cross(c.Sub(a))
		if l := n.Len(); l > 0 {
			n = n.Mul(1 / l)
		}
		out.Triangles[f] = stl.Triangle{Normal: single(n), Vertices: [3]stl.Vec3{single(a), single(b), single(c)}}
	}
	buf := bufio.NewWriterSize(w, 1<<18)
	if err := out.WriteAll(buf); err != nil {
		return fmt.Errorf("the STL file cannot be written: %w", err)
	}
	if err := buf.Flush(); err != nil {
		return fmt.Errorf("the STL file cannot be written: %w", err)
	}
	return nil
}

func single(v Vec) stl.Vec3 { return stl.Vec3{float32(v[0]), float32(v[1]), float32(v[2])} }
