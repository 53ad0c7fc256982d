package mesh_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
)

// hostileBytes is the size of hostile files: 10 MB where everything is checked,
// less in everyday work.
func hostileBytes() int {
	if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
		return 10_000_000
	}
	return 1_000_000
}

// hostileFiles are files that are made to cost as much as can be.
func hostileFiles(t testing.TB) map[string]func() []byte {
	fill := func(start, part string) func() []byte {
		return func() []byte { return []byte(start + strings.Repeat(part, (hostileBytes()-len(start))/len(part))) }
	}
	file := func(m func() *mesh.Mesh) func() []byte { return func() []byte { return binaryOf(t, m()) } }
	n := (hostileBytes() - 84) / 50
	facets := func(facet func(i int) [3]mesh.Vec) func() []byte {
		return file(func() *mesh.Mesh {
			m := &mesh.Mesh{}
			for i := range n {
				p := facet(i)
				at := int32(len(m.Vertices))
				m.Vertices = append(m.Vertices, p[0], p[1], p[2])
				m.Triangles = append(m.Triangles, [3]int32{at, at + 1, at + 2})
			}
			return m
		})
	}
	r := rand.New(rand.NewPCG(22, 23))
	point := func(size float64) mesh.Vec {
		return mesh.Vec{size * r.Float64(), size * r.Float64(), size * r.Float64()}
	}
	facetText := "facet normal 0 0 1 outer loop vertex 0 0 0 vertex 1 0 0 vertex 0 1 0 endloop endfacet\n"
	many := header(binaryOf(t, shapes.Box(1, 1, 1)), "", math.MaxUint32)
	return map[string]func() []byte{
		"blank lines":             fill("", "\n"),
		"blank lines after solid": fill("solid x", "\r\n"),
		"blank lines in a facet":  fill("solid x\nfacet normal 0 0 1\nouter loop\nvertex", "\n"),
		"one word":                fill("solid ", "x"),
		"one number":              fill("solid\nfacet normal 0 0 0 outer loop vertex ", "1"),
		"one line of facets":      fill("solid x ", strings.ReplaceAll(facetText, "\n", " ")),
		"facets in the name":      fill("solid ", "facet "),
		"solids":                  fill("", "solid\n"),
		"corners":                 fill("solid\nfacet\nouter loop\n", "vertex 0 1 2\n"),
		"corners anywhere":        fill("solid\nfacet\nouter loop\n", "vertex 1 2 3\nvertex 2 3 9\nvertex 4 9 1\n"),
		"zero bytes":              fill("solid", "\x00"),
		"a count of four billion": fill(string(many), "\x07"),
		"the same facet":          facets(func(int) [3]mesh.Vec { return [3]mesh.Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}} }),
		"the same, both ways": facets(func(i int) [3]mesh.Vec {
			return [3]mesh.Vec{{0, 0, 0}, {float64(i % 2), float64(1 - i%2), 0}, {float64(1 - i%2), float64(i % 2), 0}}
		}),
		"slivers in a line":     facets(func(i int) [3]mesh.Vec { x := float64(i); return [3]mesh.Vec{{x, 0, 0}, {x + 1, 0, 0}, {x + 2, 0, 0}} }),
		"slivers about a point": facets(func(i int) [3]mesh.Vec { d := point(9); return [3]mesh.Vec{{}, d, d.Mul(2)} }),
		"facets about a point":  facets(func(i int) [3]mesh.Vec { return [3]mesh.Vec{{}, point(10), point(10)} }),
		"facets about an edge":  facets(func(i int) [3]mesh.Vec { return [3]mesh.Vec{{}, {0, 0, 10}, point(10)} }),
		"facets anywhere":       facets(func(i int) [3]mesh.Vec { return [3]mesh.Vec{point(100), point(100), point(100)} }),
		"facets in one spot":    facets(func(i int) [3]mesh.Vec { return [3]mesh.Vec{point(1e-3), point(1e-3), {100, float64(i), 0}} }),
		"facets in one plane": facets(func(i int) [3]mesh.Vec {
			a := point(100)
			a[2] = 0
			return [3]mesh.Vec{a, a.Add(mesh.Vec{3, 0, 0}), a.Add(mesh.Vec{0, 3, 0})}
		}),
		"facets in a slanted plane": facets(func(i int) [3]mesh.Vec {
			a := point(100)
			flat := func(x, y float64) mesh.Vec { return mesh.Vec{x, y, float64(float32(x)) + float64(float32(y))} }
			return [3]mesh.Vec{flat(a[0], a[1]), flat(a[0]+3, a[1]), flat(a[0], a[1]+3)}
		}),
		"shells in shells":   file(func() *mesh.Mesh { return nested(n / 8) }),
		"shells in a row":    file(func() *mesh.Mesh { return row(n / 8) }),
		"shells along a ray": file(func() *mesh.Mesh { return alongRay(n / 8) }),
		"a sheet of holes":   file(func() *mesh.Mesh { return checkered(int(math.Sqrt(float64(n)))) }),
		"both sides of a sheet": file(func() *mesh.Mesh {
			s := sheet(int(math.Sqrt(float64(n)/4)), 20)
			return shapes.Merge(s, shapes.InsideOut(s))
		}),
		"a comb of one long rim": file(func() *mesh.Mesh { return comb(n) }),
		"cracked all over":       file(func() *mesh.Mesh { return exploded(shapes.UVSphere(20, 400, 250), 1e-4, r) }),
		"numbers without end":    fill("solid\n", "facet normal 0 0 0 outer loop vertex 0.1234567890123456789012345678901234567890e-3 1 2 vertex 1 2 3 vertex 3 4 7 endloop endfacet\n"),
	}
}

// nested is octahedra one in the other.
func nested(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	o := shapes.Octahedron(1)
	for i := range n {
		add(m, o, 1+float64(i)*0.01, mesh.Vec{})
	}
	return m
}

// row is octahedra that do not touch, inside a large one.
func row(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	o := shapes.Octahedron(1)
	add(m, o, 1000, mesh.Vec{})
	for i := range n - 1 {
		add(m, o, 0.5, mesh.Vec{float64(i%100) - 50, float64(i/100%100) - 50, float64(i/10000) - 50})
	}
	return m
}

// alongRay is octahedra that lie where the search for containers looks.
func alongRay(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	o := shapes.Octahedron(1)
	add(m, o, 1e5, mesh.Vec{})
	for i := range n - 1 {
		add(m, o, 0.5, mesh.Vec{0.531, 0.297, 0.794}.Mul(float64(i)))
	}
	return m
}

func add(m, part *mesh.Mesh, scale float64, at mesh.Vec) {
	base := int32(len(m.Vertices))
	for _, v := range part.Vertices {
		m.Vertices = append(m.Vertices, v.Mul(scale).Add(at))
	}
	for _, t := range part.Triangles {
		m.Triangles = append(m.Triangles, [3]int32{t[0] + base, t[1] + base, t[2] + base})
	}
}

// checkered is a sheet in which every other square is a hole.
func checkered(n int) *mesh.Mesh {
	full := sheet(n, 100)
	m := &mesh.Mesh{Vertices: full.Vertices}
	for i := range n * n {
		if (i/n+i%n)%2 == 0 {
			m.Triangles = append(m.Triangles, full.Triangles[2*i], full.Triangles[2*i+1])
		}
	}
	return m
}

// comb is a strip of facets, whose rim is one loop.
func comb(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n + 2 {
		m.Vertices = append(m.Vertices, mesh.Vec{float64(i), float64(i%2) * 3, 0})
	}
	for i := range int32(n) {
		t := [3]int32{i, i + 1, i + 2}
		if i%2 == 1 {
			t[0], t[1] = t[1], t[0]
		}
		m.Triangles = append(m.Triangles, t)
	}
	return m
}

// TestHostile: no file makes reading and examining crash, hang, or hold more than
// 20 times the file's size and 64 MiB.
func TestHostile(t *testing.T) {
	if testing.Short() {
		t.Skip("reads thirty large files")
	}
	for name, made := range hostileFiles(t) {
		t.Run(name, func(t *testing.T) {
			file := made()
			ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
			defer cancel()
			peak := watchHeap()
			start, cpu := time.Now(), cpuTime()
			m, f, err := mesh.Read(ctx, bytes.NewReader(file), int64(len(file)), mesh.Limits{})
			read := time.Since(start)
			if err == nil {
				_, err = mesh.Examine(ctx, m, f, mesh.Options{CrossingWork: 100_000_000})
			}
			held := peak()
			t.Logf("%s: read in %v, all in %v, %v of processor; held %d MB; %d facets; %v", name, read.Round(time.Millisecond), time.Since(start).Round(time.Millisecond), cpuTime()-cpu, held>>20, f.Facets, err)
			var u *mesh.Unreadable
			if err != nil && !errors.As(err, &u) {
				t.Error(err)
			}
			if most := uint64(20*len(file) + 64<<20); held > most {
				t.Errorf("held %d MB, and at most %d MB are allowed", held>>20, most>>20)
			}
		})
	}
}

// cpuTime is what the process has used of all processors.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano()).Round(time.Millisecond)
}

// watchHeap samples the heap until the returned function is called, which gives
// its largest growth.
func watchHeap() func() uint64 {
	runtime.GC()
	var stats runtime.MemStats
	runtime.ReadMemStats(&stats)
	start, most := stats.HeapAlloc, stats.HeapAlloc
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			runtime.ReadMemStats(&stats)
			most = max(most, stats.HeapAlloc)
			select {
			case <-stop:
				return
			case <-time.After(2 * time.Millisecond):
			}
		}
	}()
	return func() uint64 {
		close(stop)
		<-stopped
		return most - start
	}
}

// FuzzBinary holds what Read promises of binary files against any bytes.
func FuzzBinary(f *testing.F) {
	cube := binaryOf(f, shapes.Box(20, 20, 20))
	f.Add(cube)
	f.Add(header(cube, "solid", 12))
	f.Add(header(cube, "", 500))
	f.Add(cube[:300])
	f.Add(binaryOf(f, shapes.BoxWithVoid(9, 9, 9, 2)))
	f.Add(binaryOf(f, shapes.Flipped(shapes.Without(shapes.UVSphere(9, 6, 4), 3), 5)))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) >= 84 && len(b) < 84+50*40 {
			// Most random counts are refused at once: try the right one too.
			c := bytes.Clone(b)
			binary.LittleEndian.PutUint32(c[80:], uint32((len(b)-84)/50))
			holds(t, c)
		}
		holds(t, b)
	})
}

// FuzzASCII holds what Read promises of text files against any text.
func FuzzASCII(f *testing.F) {
	text := cubeText()
	for _, s := range []string{
		text, strings.ToUpper(text), strings.ReplaceAll(text, ".", ","), "\xef\xbb\xbf" + text, text[:700], utf16(text[:400]),
		"solid\nfacet outer loop vertex 0,0,0 vertex 1,5 2 3 vertex nan inf 1e999 endloop endfacet endsolid",
		"solid a facet normal 0 0 0 vertex 1 2 3 vertex 1 2 4 vertex 1 5 3 vertex 9 9 9 solid b endsolid",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		holds(t, []byte(s))
		holds(t, []byte("solid "+s))
	})
}

// holds checks a file's outcome: an Unreadable with a sentence, or a clean mesh
// that can be examined, mended and written.
func holds(t *testing.T, b []byte) {
	t.Helper()
	m, facts, err := readBytes(b)
	if err != nil {
		refused(t, err)
		return
	}
	used := make([]bool, len(m.Vertices))
	seen := map[[3]int32]bool{}
	for _, tri := range m.Triangles {
		for k, v := range tri {
			used[v] = true
			if v == tri[(k+1)%3] {
				t.Fatalf("a corner twice: %v", tri)
			}
		}
		low := 0
		for k := range 3 {
			if tri[k] < tri[low] {
				low = k
			}
		}
		key := [3]int32{tri[low], tri[(low+1)%3], tri[(low+2)%3]}
		if seen[key] {
			t.Fatalf("a facet twice: %v", tri)
		}
		seen[key] = true
	}
	for i, v := range m.Vertices {
		if !used[i] || !(v.Len() < 1e7) {
			t.Fatalf("vertex %d: used %v, %v", i, used[i], v)
		}
	}
	if n := len(m.Triangles); n == 0 || n > facts.Facets || facts.Degenerate+facts.Duplicate > facts.Facets {
		t.Fatalf("%d triangles, %+v", n, facts)
	}
	s := examine(t, m, facts).Shape
	if s.Watertight != (s.OpenEdges == 0 && s.NonmanifoldEdges == 0) || s.EnclosesVolume && !(s.Watertight && s.ConsistentlyWound) ||
		s.Parts > s.Shells || s.Shells == 0 || !(s.AreaMM2 >= 0) || s.VolumeMM3 != s.VolumeMM3 || (s.Holes == 0) != (s.OpenEdges == 0) || s.Genus < 0 {
		t.Fatalf("%+v", s)
	}
	mendedHolds(t, m, facts)
}

func mendedHolds(t *testing.T, m *mesh.Mesh, facts mesh.Facts) {
	t.Helper()
	out, done, err := mesh.Mend(context.Background(), m, mesh.MendOptions{Facts: facts})
	if err != nil {
		if !errors.Is(err, mesh.ErrUnmendable) {
			t.Fatal(err)
		}
		return
	}
	s := examine(t, out, mesh.Facts{}).Shape
	if s.OpenEdges != 0 || s.FlippedEdges != 0 || s.InsideOut || !(s.VolumeMM3 > 0) {
		t.Fatalf("mended by %q: %+v", done, s)
	}
}
