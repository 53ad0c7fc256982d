package preflight

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

// Files that are joined stay bodies of their own where they share whole faces, and keep
// their places.
func TestJoinKeepsBodiesApart(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, m *mesh.Mesh) string {
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, m); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	// Two letters on a plate; and on another file's box one of the same size, face on face.
	plate := write("base.stl", shapes.Box(60, 30, 4))
	letters := write("letters.stl", shapes.Merge(shapes.Moved(shapes.Box(10, 10, 2), 5, 10, 4), shapes.Moved(shapes.Box(12, 10, 2), 30, 10, 4)))
	lower, upper := write("lower.stl", shapes.Box(20, 20, 5)), write("upper.stl", shapes.Moved(shapes.Box(20, 20, 5), 0, 0, 5))
	for _, c := range []struct {
		paths  []string
		bodies [][]int
		size   [3]float64
	}{
		{[]string{plate, letters}, [][]int{{1}, {3, 2}}, [3]float64{60, 30, 6}},
		{[]string{letters, plate}, [][]int{{3, 2}, {1}}, [3]float64{60, 30, 6}},
		{[]string{lower, upper}, [][]int{{1}, {2}}, [3]float64{20, 20, 10}},
	} {
		var out bytes.Buffer
		got, err := Join(t.Context(), c.paths, rules.Default().Caps, &out)
		if err != nil || !reflect.DeepEqual(got, c.bodies) {
			t.Errorf("bodies %v, %v; want %v", got, err, c.bodies)
		}
		path := filepath.Join(dir, "joined.stl")
		if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		r := Check(t.Context(), path, rules.Default(), job.Settings{Colour: "black", Second: &job.SecondColour{Colour: "red", Bodies: got[1]}}, Options{})
		if r.Mesh == nil || r.Estimate == nil {
			t.Fatalf("%+v", r.Findings)
		}
		for k, want := range c.size {
			if d := r.Mesh.SizeMM[k] - want; d < -0.001 || d > 0.001 {
				t.Errorf("size %v, want %v", r.Mesh.SizeMM, c.size)
			}
		}
		if r.Estimate.SecondMM3 <= 0 || r.Estimate.ColourChanges < 1 {
			t.Errorf("of two colours: %g mm3 in the second, %d changes", r.Estimate.SecondMM3, r.Estimate.ColourChanges)
		}
	}
}
