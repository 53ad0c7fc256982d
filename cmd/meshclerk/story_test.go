package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"meshclerk/cmd/meshclerk/sample"
	"meshclerk/intake/mesh"
	"meshclerk/intake/mesh/shapes"
	"meshclerk/rules"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"meshclerk": main})
}

// The stories under testdata/story are what a person types and reads.
func TestStories(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/story", Setup: things, UpdateScripts: os.Getenv("MESHCLERK_UPDATE") != ""})
}

// things puts meshes and a letter into a story's folder.
func things(e *testscript.Env) error {
	for name, m := range map[string]*mesh.Mesh{
		"cube.stl": shapes.Box(20, 20, 20), "holed.stl": shapes.DiceTower(50, 50, 110, 3), "mushroom.stl": shapes.Mushroom(48, 6, 40, 40),
	} {
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, m); err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(e.WorkDir, name), b.Bytes(), 0o644); err != nil {
			return err
		}
	}
	letters, err := sample.Letters()
	if err != nil {
		return err
	}
	for _, l := range letters {
		raw, err := l.Compose(time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(e.WorkDir, l.Key+".eml"), raw, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// Wrong use is exit code 2, as scripts rely on; other trouble is 1.
func TestExitCodes(t *testing.T) {
	cube := filepath.Join(t.TempDir(), "cube.stl")
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, shapes.Box(20, 20, 20)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(cube, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	text := filepath.Join(t.TempDir(), "notes.stl")
	if err := os.WriteFile(text, []byte("milk, bread, eggs\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want int
	}{
		{[]string{"--help"}, 0},
		{[]string{"preflight", "--json", cube}, 0},
		{[]string{"preflight", "--json", text}, 0}, // a bad file that was correctly reported
		{[]string{"preflight", "--json", "--infill", "1.5", cube}, 2},
		{[]string{"preflight", "--json", "--material", "unobtainium", cube}, 2},
		{[]string{"preflight", "--json", cube + ".missing"}, 2},
		{[]string{"preflight"}, 2},
		{[]string{"conjure"}, 2},
		{[]string{"run"}, 2},
		{[]string{"rules", "check", "--rules", filepath.Join(t.TempDir(), "none")}, 1},
	} {
		var out, errs bytes.Buffer
		err := run(context.Background(), c.args, func(string) string { return "" }, &bytes.Buffer{}, &out, &errs)
		if got := exitCode(err, &errs); got != c.want {
			t.Errorf("meshclerk %v: exit code %d, want %d (%s)", c.args, got, c.want, errs.String())
		}
	}
}

func mustRules(t *testing.T) *rules.Rules {
	t.Helper()
	r, err := loadRules("")
	if err != nil {
		t.Fatal(err)
	}
	return r
}
