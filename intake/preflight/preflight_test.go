package preflight

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/mesh"
	"meshclerk/rules"
)

// saved writes a mesh as a file.
func saved(t testing.TB, m *mesh.Mesh) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "part.stl")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := mesh.WriteSTL(f, m); err != nil {
		t.Fatal(err)
	}
	return path
}

// checked runs a whole check of a mesh under the built-in rules.
func checked(t testing.TB, m *mesh.Mesh, s job.Settings) job.Report {
	t.Helper()
	r := Check(context.Background(), saved(t, m), rules.Default(), s, Options{})
	kept(t, r)
	return r
}

func tell(r job.Report) string {
	s := words(r.Error)
	for _, f := range r.Findings {
		s += fmt.Sprintf("\n   %-5s %-18s %8.2f %-7s %s", f.Level, f.Code, f.Amount, f.Unit, words(f.Text))
		if f.At != nil {
			s += fmt.Sprintf(" (%.1f %.1f %.1f)", f.At[0], f.At[1], f.At[2])
		}
	}
	if o := r.Orientation; o != nil {
		s += fmt.Sprintf("\n   way up %.2v: %s; height %.1f bed %.1f", o.Rotation, words(o.Why), o.HeightMM, o.BedMM2)
	}
	for _, a := range r.Advice {
		s += fmt.Sprintf("\n   advice %s: %s, %s", a.About, words(a.Do), words(a.Why))
	}
	return s
}

// words shows what a message says: the key and the figures, or plain text.
func words(m job.Message) string { return m.String() }
