package mesh_test

import (
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// assortment is random bodies with random flaws.
func assortment(r *rand.Rand) *mesh.Mesh {
	var all []*mesh.Mesh
	for i := range 1 + r.IntN(4) {
		var m *mesh.Mesh
		switch r.IntN(6) {
		case 0:
			m = shapes.UVSphere(3+4*r.Float64(), 8+2*r.IntN(8), 8)
		case 1:
			m = shapes.Torus(6, 1+2*r.Float64(), 12+r.IntN(10), 9)
		case 2:
			m = shapes.BoxWithVoid(8+r.Float64(), 9, 10, 1+r.Float64())
		case 3:
			m = shapes.BoxWithHole(10, 10+r.Float64(), 10, 3)
		case 4:
			m = shapes.Gear(8+r.IntN(8), 1, 3, 2)
		default:
			m = shapes.Tube(16+r.IntN(8), 6, 1, 9)
		}
		if r.IntN(3) == 0 {
			m = shapes.Without(m, r.IntN(len(m.Triangles)))
		}
		if r.IntN(3) == 0 {
			m = shapes.Flipped(m, r.IntN(len(m.Triangles)))
		}
		if r.IntN(4) == 0 {
			m = shapes.InsideOut(m)
		}
		m = shapes.Rotated(m, mesh.Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}, 360*r.Float64())
		all = append(all, shapes.Moved(m, 30*float64(i), 5*r.Float64(), 5*r.Float64()))
	}
	return shuffled(shapes.Merge(all...), r)
}

// counts are the parts of a shape that no motion changes.
func counts(s job.Shape) job.Shape {
	s.VolumeMM3, s.AreaMM2, s.SizeMM, s.AtMM, s.CentroidMM, s.WeldToleranceMM = 0, 0, [3]float64{}, [3]float64{}, [3]float64{}, 0
	return s
}

// TestMeasuresFollow: turned, moved, scaled and with its facets in another
// order, a mesh has the counts it had, and its measures follow.
func TestMeasuresFollow(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 15))
		m, f := throughFile(t, assortment(r))
		f.Facets = 0
		before := examine(t, m, f).Shape
		scale := 0.2 + 3*r.Float64()
		rot := shapes.Rotation(mesh.Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}, 360*r.Float64())
		move := mesh.Vec{100 * r.NormFloat64(), 100 * r.NormFloat64(), 100 * r.NormFloat64()}
		changed := shuffled(shapes.Moved(m.Transformed(rot, scale), move[0], move[1], move[2]), r)
		after := examine(t, changed, mesh.Facts{Degenerate: f.Degenerate, Duplicate: f.Duplicate}).Shape
		if counts(before) != counts(after) {
			t.Errorf("seed %d:\n%+v\n%+v", seed, counts(before), counts(after))
		}
		if !within(after.VolumeMM3, before.VolumeMM3*scale*scale*scale, 1e-9) || !within(after.AreaMM2, before.AreaMM2*scale*scale, 1e-9) {
			t.Errorf("seed %d: volume %g to %g, area %g to %g at scale %g", seed, before.VolumeMM3, after.VolumeMM3, before.AreaMM2, after.AreaMM2, scale)
		}
		if box := changed.Bounds(); after.AtMM != box.Min || after.SizeMM != box.Size() {
			t.Errorf("seed %d: at %v, %v large, want %v and %v", seed, after.AtMM, after.SizeMM, box.Min, box.Size())
		}
		c := before.CentroidMM
		for k := range 3 {
			want := scale*(rot[k][0]*c[0]+rot[k][1]*c[1]+rot[k][2]*c[2]) + move[k]
			if before.VolumeMM3 > 1 && math.Abs(after.CentroidMM[k]-want) > 1e-6 {
				t.Errorf("seed %d: centroid %v, want %g along %d", seed, after.CentroidMM, want, k)
			}
		}
	}
}

// TestSameOnAnyMachine: the figures do not depend on the number of cores, to the
// last bit.
func TestSameOnAnyMachine(t *testing.T) {
	file := binaryOf(t, shapes.Merge(shapes.UVSphere(20, 300, 150), shapes.Torus(30, 5, 60, 60)))
	var first job.Shape
	for i, procs := range []int{1, 2, 3, 8} {
		before := runtime.GOMAXPROCS(procs)
		m, f, err := readBytes(file)
		if err != nil {
			t.Fatal(err)
		}
		s := examine(t, m, f).Shape
		runtime.GOMAXPROCS(before)
		if i == 0 {
			first = s
		} else if s != first {
			t.Errorf("with %d cores:\n%+v\nwith one:\n%+v", procs, s, first)
		}
	}
}

// TestCrossingWork: the search for crossings keeps to its work, says that it was
// not complete, and ends at the same place whatever else the machine does.
func TestCrossingWork(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 17))
	m := cloud(4000, r)
	for i := range m.Vertices {
		m.Vertices[i] = m.Vertices[i].Mul(0.05) // all in a heap: millions of pairs
	}
	var first *mesh.Topology
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, procs := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(procs)
		top, err := mesh.Examine(context.Background(), m, mesh.Facts{}, mesh.Options{CrossingWork: 100_000, Places: 5})
		if err != nil {
			t.Fatal(err)
		}
		if top.Shape.IntersectionsExact || len(top.Crossings) > 5 || top.Shape.SelfIntersections == 0 {
			t.Errorf("complete %v, %d found, %d places", top.Shape.IntersectionsExact, top.Shape.SelfIntersections, len(top.Crossings))
		}
		if first == nil {
			first = top
		}
		if top.Shape != first.Shape || !slices.Equal(top.Crossings, first.Crossings) {
			t.Errorf("with %d cores:\n%+v\nwith one:\n%+v", procs, top.Shape, first.Shape)
		}
	}
	whole, err := mesh.Examine(context.Background(), m, mesh.Facts{}, mesh.Options{Places: 5})
	if err != nil || !whole.Shape.IntersectionsExact || whole.Shape.SelfIntersections <= first.Shape.SelfIntersections {
		t.Errorf("in full: %v, %+v; in part %d were found", err, whole.Shape, first.Shape.SelfIntersections)
	}
}

// TestCrossings counts pairs of facets that cross in bodies whose crossings can
// be counted by hand.
func TestCrossings(t *testing.T) {
	spike := &mesh.Mesh{Vertices: []mesh.Vec{{5, 4, -5}, {6, 5, -5}, {5.5, 4.4, 25}}, Triangles: [][3]int32{{0, 1, 2}}}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want int
	}{
		{"a facet through two sides of a box", shapes.Merge(shapes.Box(20, 20, 20), spike), 2},
		{"one sheet through another", shapes.Merge(sheet(1, 10), shapes.Moved(shapes.Rotated(sheet(1, 10), mesh.Vec{1, 0, 0}, 90), 3.3, 3.1, -5)), 2},
		{"a sheet that only touches", shapes.Merge(sheet(1, 10), shapes.Moved(shapes.Rotated(sheet(1, 10), mesh.Vec{1, 0, 0}, 90), 3.3, 3.1, 0)), 0},
		{"sheets that overlap in a plane", shapes.Merge(sheet(1, 10), shapes.Moved(sheet(1, 10), 20, 3, 0), shapes.Moved(sheet(1, 2), 1, 3, 0)), 2},
		{"the same face to face", shapes.Merge(sheet(1, 10), shapes.Moved(shapes.InsideOut(sheet(1, 2)), 1, 3, 0)), 0},
	} {
		top := examine(t, c.m, mesh.Facts{})
		if top.Shape.SelfIntersections != c.want || !top.Shape.IntersectionsExact {
			t.Errorf("%s: %d, want %d", c.name, top.Shape.SelfIntersections, c.want)
		}
		for _, x := range top.Crossings {
			for _, f := range []int{x.A, x.B} {
				one := &mesh.Mesh{Vertices: c.m.Vertices, Triangles: c.m.Triangles[f : f+1]}
				if _, _, d := mesh.NewBVH(one).Nearest(x.At); d > 1e-9 {
					t.Errorf("%s: the place %v is not on facet %d", c.name, x.At, f)
				}
			}
		}
	}
}
