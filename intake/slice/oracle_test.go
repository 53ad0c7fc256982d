package slice

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
)

// python finds an interpreter that has shapely.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import shapely, numpy").Run() == nil {
			return name
		}
	}
	if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
		t.Fatal("shapely is not there; install python3-shapely")
	}
	t.Skip("shapely is not there to compare with; install python3-shapely")
	return ""
}

type asked struct {
	Z      float64   `json:"z"`
	Above  []float64 `json:"above"`
	Below  []float64 `json:"below"`
	Ends   bool      `json:"ends"` // within the solid bottom or top
	Width  float64   `json:"width"`
	Shells int       `json:"shells"`
	Angle  float64   `json:"angle"`
}

type answered struct {
	Area, Length, Inside, Solid, Sparse, Hatch float64
	Shells                                     []float64
}

// ask has shapely look at some layers.
func ask(t *testing.T, s *sliced, layers []int) []answered {
	t.Helper()
	var qs []asked
	for _, i := range layers {
		q := asked{Z: s.layers[i].middle(), Width: s.width, Shells: s.shellCount, Angle: 45, Above: []float64{}, Below: []float64{}}
		if i%2 == 1 {
			q.Angle = -45
		}
		for k := 1; k <= s.printing.SolidLayers; k++ {
			if i-k < 0 || i+k >= len(s.layers) {
				q.Ends = true
				continue
			}
			q.Above = append(q.Above, s.layers[i+k].middle())
			q.Below = append(q.Below, s.layers[i-k].middle())
		}
		qs = append(qs, q)
	}
	body, err := json.Marshal(map[string]any{"vertices": s.part.vertices, "triangles": s.part.triangles, "layers": qs})
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python(t), "testdata/oracle.py")
	cmd.Stdin = bytes.NewReader(body)
	var out, msg bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &msg
	if err := cmd.Run(); err != nil {
		t.Fatalf("%v\n%s", err, &msg)
	}
	var as []answered
	if err := json.Unmarshal(out.Bytes(), &as); err != nil {
		t.Fatal(err)
	}
	return as
}

// Areas and lengths of layers within 1 % of what shapely finds. What is small
// in a layer may be off by a thousandth of the layer.
func TestLayersAgainstShapely(t *testing.T) {
	parts := []struct {
		name  string
		mesh  *mesh.Mesh
		parts []float64 // of the height
	}{
		{"boat", boat(t), []float64{0.003, 0.25, 0.5, 0.9}},
		{"bumpy ball", ball(15, 20000, 0.05), []float64{0.05, 0.3, 0.5, 0.93}},
		{"overlapping boxes", joined(box(0, 0, 0, 20, 20, 10), box(11.3, 7.7, 3, 20, 8, 12), box(-3, 15, 0, 8, 14, 14)), []float64{0.1, 0.5, 0.71, 0.9}},
		{"box with a tilted tunnel", tunnelled(), []float64{0.2, 0.5, 0.8}},
	}
	for _, p := range parts {
		t.Run(p.name, func(t *testing.T) {
			s := slicedWith(t, p.mesh, job.Settings{})
			var layers []int
			for _, r := range p.parts {
				layers = append(layers, int(r*float64(len(s.layers))))
			}
			for k, a := range ask(t, s, layers) {
				compareLayer(t, s, layers[k], a)
			}
		})
	}
}

func compareLayer(t *testing.T, s *sliced, i int, a answered) {
	t.Helper()
	b := &s.cuts[i]
	same := func(what string, got, want, small float64) {
		t.Helper()
		near(t, fmt.Sprintf("layer %d: %s", i, what), got, want, 0.01*want+small)
	}
	speck := 0.001 * a.Area
	same("area", b.area, a.Area, 0)
	region := s.shapeLength(i)
	same("outline", region, a.Length, 0)
	for k, w := range a.Shells {
		got := 0.0
		if k < len(b.shells) {
			got = lengthOf(b.shells[k].lines)
		}
		same(fmt.Sprintf("wall %d", k), got, w, 0.2)
	}
	f := s.fillsOf(i)
	same("inside", b.inside.length()*s.width, a.Inside, speck)
	same("lines inside", b.inside.length(), a.Hatch, 0.2)
	same("solid", (f.carried.length()+f.bridge.length())*s.width, a.Solid, 5*speck)
	same("sparse", f.sparse.length()*s.width, a.Sparse, 5*speck)
}

// shapeLength cuts a layer again for the length of its outline.
func (s *sliced) shapeLength(i int) float64 {
	zs := []float64{s.layers[i].middle()}
	facets := sortFacets(s.part, zs)
	var c cutter
	c.begin(facets, 0)
	return lengthOf(c.layer(facets, 0))
}

func slicedWith(t *testing.T, m *mesh.Mesh, set job.Settings) *sliced {
	t.Helper()
	p, part := prepared(t, m, inputFor(t, m, set))
	s, err := sliceAll(context.Background(), part, p, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// tunnelled is a box with a square void that runs askew through it, as a body
// wound the other way.
func tunnelled() *mesh.Mesh {
	v := box(-4, -4, -4, 8, 8, 8)
	s, c := math.Sincos(0.4)
	v = v.Transformed([3][3]float64{{c, -s, 0}, {s * c, c * c, -s}, {s * s, s * c, c}}, 1)
	for i := range v.Vertices {
		v.Vertices[i] = v.Vertices[i].Add(mesh.Vec{12, 11, 9})
	}
	return joined(box(0, 0, 0, 24, 22, 18), insideOut(v))
}
