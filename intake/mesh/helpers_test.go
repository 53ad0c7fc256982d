package mesh_test

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"meshclerk/intake/mesh"
)

// fetched returns the path of a mesh that testdata/fetch.sh fetches.
func fetched(t testing.TB, name string) string {
	t.Helper()
	dir := os.Getenv("MESHCLERK_DATA")
	if dir == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			t.Fatal(err)
		}
		dir = filepath.Join(cache, "meshclerk-testdata")
	}
	path := filepath.Join(dir, name)
	if _, err := os.Stat(path); err != nil {
		absent(t, name+" is not there: run testdata/fetch.sh")
	}
	return path
}

// tool returns the path of an oracle.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		absent(t, name+" is not installed")
	}
	return path
}

func absent(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("MESHCLERK_REQUIRE_SERVERS") == "1" {
		t.Fatal(what)
	}
	t.Skip(what)
}

func kept(name string) string { return filepath.Join("..", "..", "testdata", "meshes", name) }

func readFile(t testing.TB, path string) (*mesh.Mesh, mesh.Facts) {
	t.Helper()
	m, f, err := mesh.ReadFile(context.Background(), path, mesh.Limits{})
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return m, f
}

func readBytes(b []byte) (*mesh.Mesh, mesh.Facts, error) {
	return mesh.Read(context.Background(), bytes.NewReader(b), int64(len(b)), mesh.Limits{})
}

func examine(t testing.TB, m *mesh.Mesh, f mesh.Facts) *mesh.Topology {
	t.Helper()
	top, err := mesh.Examine(context.Background(), m, f, mesh.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return top
}

// binaryOf writes a mesh as binary STL.
func binaryOf(t testing.TB, m *mesh.Mesh) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := mesh.WriteSTL(&buf, m); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

// throughFile writes and reads a mesh, as if it had come by mail.
func throughFile(t testing.TB, m *mesh.Mesh) (*mesh.Mesh, mesh.Facts) {
	t.Helper()
	out, f, err := readBytes(binaryOf(t, m))
	if err != nil {
		t.Fatal(err)
	}
	return out, f
}

func refused(t testing.TB, err error) *mesh.Unreadable {
	t.Helper()
	var u *mesh.Unreadable
	if !errors.As(err, &u) {
		t.Fatalf("not refused: %v", err)
	}
	if !strings.HasPrefix(u.What.Key, "findings.unread.") {
		t.Errorf("not a sentence of the book: %q", words(u))
	}
	return u
}

// words shows what a refusal says: the key and what is filled in.
func words(u *mesh.Unreadable) string { return u.What.String() }

// within reports whether two figures agree to a share of the second.
func within(got, want, share float64) bool {
	return math.Abs(got-want) <= share*math.Max(math.Abs(want), 1e-300)
}

// shuffled returns the mesh with its facets in random order, each starting at a
// random corner.
func shuffled(m *mesh.Mesh, r *rand.Rand) *mesh.Mesh {
	out := &mesh.Mesh{Vertices: m.Vertices, Triangles: append([][3]int32(nil), m.Triangles...)}
	r.Shuffle(len(out.Triangles), func(i, j int) {
		out.Triangles[i], out.Triangles[j] = out.Triangles[j], out.Triangles[i]
	})
	for i, t := range out.Triangles {
		k := r.IntN(3)
		out.Triangles[i] = [3]int32{t[k], t[(k+1)%3], t[(k+2)%3]}
	}
	return out
}

// run pipes input through an oracle.
func run(t *testing.T, tool string, in []byte, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(tool, args...)
	cmd.Stdin = bytes.NewReader(in)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", tool, err, errs.String())
	}
	return out
}
