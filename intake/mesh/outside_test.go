package mesh_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// TestBunny: 69,451 triangles and 5 holes on G. Turk's page about the Stanford
// bunny; 34,834 used vertices and 223 open edges are what six tools agree on.
// The file is that of npm stl-models 0.12.0, in both forms.
func TestBunny(t *testing.T) {
	for _, name := range []string{"bunny.bin.stl", "bunny.ascii.stl"} {
		m, f := readFile(t, fetched(t, "stl-models/objects/"+name))
		s := examine(t, m, f).Shape
		if s.Triangles != 69451 || s.Vertices != 34834 || s.OpenEdges != 223 || s.Holes != 5 || s.Watertight || s.Genus != 0 || s.Parts != 1 {
			t.Errorf("%s: %+v", name, s)
		}
	}
}

// TestBoat: the benchmark boat's published size is 60 x 31 x 48 mm and its
// published volume 15.55 cm3. The file has 225,706 triangles, 552 of them
// degenerate, and is closed once those are dropped.
func TestBoat(t *testing.T) {
	m, f := readFile(t, fetched(t, "boat.stl"))
	s := examine(t, m, f).Shape
	if s.Triangles != 225706 || s.DegenerateTris != 552 || !s.EnclosesVolume || s.Genus != 5 || s.Parts != 1 {
		t.Errorf("%+v", s)
	}
	if math.Abs(s.VolumeMM3-15550.5) > 0.05 {
		t.Errorf("volume %.3f mm3", s.VolumeMM3)
	}
	for k, want := range [3]float64{60, 31, 48} {
		if math.Abs(s.SizeMM[k]-want) > 0.01 {
			t.Errorf("size %v", s.SizeMM)
		}
	}
}

// TestNodeSTL: the figures that npm node-stl 0.7.3 publishes in its own tests;
// volumes in cm3. The third-party figure for a mesh with holes is left out: an
// open mesh has no volume.
func TestNodeSTL(t *testing.T) {
	for name, want := range map[string]struct {
		volume, area float64
		centroid     [3]float64
		size         [3]float64
		watertight   bool
	}{
		"WALLY_1plate.stl":     {volume: 22.86382329, watertight: true},
		"RasPiCaseLight.stl":   {volume: 1.09192985, watertight: true},
		"002.STL":              {volume: 48.62510078, watertight: true},
		"box_2x3x4.stl":        {volume: 0.024, area: 52, size: [3]float64{2, 3, 4}, watertight: true},
		"box_3x3x3_offset.stl": {volume: 0.027, area: 54, centroid: [3]float64{1.50001, 1.5, 1.5}, watertight: true},
	} {
		m, f := readFile(t, fetched(t, "node-stl/test/test_data/"+name))
		s := examine(t, m, f).Shape
		if !within(s.VolumeMM3/1000, want.volume, 1e-7) || s.Watertight != want.watertight {
			t.Errorf("%s: volume %.8f cm3, watertight %v", name, s.VolumeMM3/1000, s.Watertight)
		}
		if want.area > 0 && !within(s.AreaMM2, want.area, 1e-7) {
			t.Errorf("%s: area %g", name, s.AreaMM2)
		}
		for k := range 3 {
			if want.centroid[0] > 0 && math.Abs(s.CentroidMM[k]-want.centroid[k]) > 1e-5 {
				t.Errorf("%s: centroid %v", name, s.CentroidMM)
			}
			if want.size[0] > 0 && s.SizeMM[k] != want.size[k] {
				t.Errorf("%s: size %v", name, s.SizeMM)
			}
		}
	}
}

// TestNpmSTL: npm stl 1.1.1 calls its 32-facet file a cube of 20 mm with a hole
// and a wall of 5 mm, and its header begins with "solid".
func TestNpmSTL(t *testing.T) {
	m, f := readFile(t, kept("polytopes/cube-20mm-with-hole.stl"))
	s := examine(t, m, f).Shape
	if f.Format != "binary" || s.Triangles != 32 || s.Genus != 1 || !within(s.VolumeMM3, 3000, 1e-9) {
		t.Errorf("%s %+v", f.Format, s)
	}
}

// TestAgainstAdmesh: Debian's admesh on random bodies with random flaws: facets,
// degenerate ones, facets beside an open edge, parts, size and volume.
func TestAgainstAdmesh(t *testing.T) {
	path := tool(t, "admesh")
	dir := t.TempDir()
	for seed := range uint64(25) {
		r := rand.New(rand.NewPCG(seed, 20))
		file := filepath.Join(dir, fmt.Sprintf("%d.stl", seed))
		if err := os.WriteFile(file, binaryOf(t, assortment(r)), 0o600); err != nil {
			t.Fatal(err)
		}
		// Only exact matching, and the walk that counts parts: no repairs.
		out, err := exec.Command(path, "--exact", "--normal-directions", file).CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		m, f := readFile(t, file)
		top := examine(t, m, f)
		nonManifold := map[int]bool{} // sides in an edge with more than two facets
		for _, fan := range top.Edges.Fans() {
			for _, h := range fan {
				nonManifold[int(h)] = true
			}
		}
		facetsOpen := map[int]int{} // by open sides: facets
		for g := range m.Triangles {
			n := 0
			for k := range 3 {
				if _, met := top.Edges.Mate(3*g + k); !met && !nonManifold[3*g+k] {
					n++
				}
			}
			facetsOpen[n]++
		}
		s := top.Shape
		for what, got := range map[string]float64{
			`Number of facets +: +(\d+)`: float64(s.Triangles), `Degenerate facets +: +(\d+)`: float64(s.DegenerateTris),
			`with 1 disconnected edge +: +(\d+)`: float64(facetsOpen[1]), `Total disconnected facets +: +(\d+)`: float64(facetsOpen[1] + facetsOpen[2] + facetsOpen[3]),
			`Number of parts +: +(\d+)`: float64(s.Shells),
			`Min X = +(\S+),`:           m.Bounds().Min[0], `Max X = +(\S+)`: m.Bounds().Max[0], `Max Z = +(\S+)`: m.Bounds().Max[2],
		} {
			if want := figure(t, out, what); math.Abs(got-want) > 1e-4 {
				t.Errorf("seed %d: %s: %g, admesh %g", seed, what, got, want)
			}
		}
	}
}

// TestVolumeAgainstAdmesh: for sound bodies the volumes agree too.
func TestVolumeAgainstAdmesh(t *testing.T) {
	path := tool(t, "admesh")
	dir := t.TempDir()
	for i, m := range []*mesh.Mesh{shapes.Gear(24, 2, 6, 8), shapes.Vase(120, 40, 2), shapes.Knob(16, 24), shapes.NamePlate("WEI TAN", 20), shapes.BoxWithVoid(30, 20, 10, 2)} {
		file := filepath.Join(dir, fmt.Sprintf("%d.stl", i))
		if err := os.WriteFile(file, binaryOf(t, m), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(path, file).CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		m, f := readFile(t, file)
		if got, want := examine(t, m, f).Shape.VolumeMM3, figure(t, out, `Volume +: +(\S+)`); !within(got, want, 1e-5) {
			t.Errorf("%d: %g, admesh %g", i, got, want)
		}
	}
}

func figure(t *testing.T, out []byte, pattern string) float64 {
	t.Helper()
	found := regexp.MustCompile(pattern).FindSubmatch(out)
	if found == nil {
		t.Fatalf("%q is not in\n%s", pattern, out)
	}
	v, err := strconv.ParseFloat(string(found[1]), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestAgainstGTS: Debian's gtscheck counts boundary and non-manifold edges and
// incompatible faces, and lists the faces by which a manifold crosses itself.
func TestAgainstGTS(t *testing.T) {
	stl2gts, gtscheck := tool(t, "stl2gts"), tool(t, "gtscheck")
	crossing := 0
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 21))
		m := shapes.Rotated(shapes.UVSphere(10, 12, 8), mesh.Vec{1, 2, 3}, 360*r.Float64())
		switch seed % 4 {
		case 1, 2: // a second body, which mostly crosses the first
			far := 6 + 20*r.Float64()
			m = shapes.Merge(m, shapes.Moved(shapes.Rotated(shapes.Torus(8, 2, 10, 8), mesh.Vec{3, 1, 2}, 360*r.Float64()), far, 1, 2))
		case 3:
			m = shapes.Without(m, r.IntN(len(m.Triangles)), r.IntN(len(m.Triangles)))
		}
		m, f := throughFile(t, m)
		top, err := mesh.Examine(t.Context(), m, f, mesh.Options{Places: 1 << 20})
		if err != nil {
			t.Fatal(err)
		}
		faces := map[int]bool{}
		for _, c := range top.Crossings {
			faces[c.A], faces[c.B] = true, true
		}
		cmd := exec.Command(gtscheck, "-v")
		cmd.Stdin = bytes.NewReader(run(t, stl2gts, ascii(m)))
		var stats, out bytes.Buffer
		cmd.Stderr, cmd.Stdout = &stats, &out
		err = cmd.Run()
		if code := cmd.ProcessState.ExitCode(); code != 0 && code != 3 || (code == 3) != (len(faces) > 0) {
			t.Errorf("seed %d: %v, and %d faces cross", seed, err, len(faces))
		}
		if open := figure(t, stats.Bytes(), `boundary edges: (\d+)`); int(open) != top.Shape.OpenEdges {
			t.Errorf("seed %d: %d open edges, gtscheck %g", seed, top.Shape.OpenEdges, open)
		}
		if len(faces) > 0 {
			crossing++
			if want := figure(t, out.Bytes(), `^\d+ \d+ (\d+)`); int(want) != len(faces) {
				t.Errorf("seed %d: %d faces cross, gtscheck %g", seed, len(faces), want)
			}
		}
	}
	if crossing < 5 {
		t.Errorf("only %d of the bodies cross: this test shows little", crossing)
	}
}

// ascii writes a mesh as ASCII STL, to the last bit of single precision.
func ascii(m *mesh.Mesh) []byte {
	var b bytes.Buffer
	b.WriteString("solid m\n")
	for f := range m.Triangles {
		p, q, r := m.Corners(f)
		b.WriteString("facet normal 0 0 0\nouter loop\n")
		for _, v := range []mesh.Vec{p, q, r} {
			fmt.Fprintf(&b, "vertex %.9g %.9g %.9g\n", v[0], v[1], v[2])
		}
		b.WriteString("endloop\nendfacet\n")
	}
	b.WriteString("endsolid m\n")
	return b.Bytes()
}
