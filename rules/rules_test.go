package rules

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
)

// TestDefaults: the built-in rules are valid and complete.
func TestDefaults(t *testing.T) {
	r, err := Load("")
	if err != nil {
		t.Fatal(err)
	}
	if r.Library.Name != "Larkfield Public Library" || len(r.Library.Branches) != 4 || r.Limits.JobHours != 8 {
		t.Errorf("not the rules of the demo library: %+v", r.Library)
	}
	if r.Mailbox.Poll.Seconds() != 60 {
		t.Errorf("poll = %v, want 60s", r.Mailbox.Poll)
	}
	if len(r.Hash) != 64 {
		t.Errorf("hash = %q, want 64 hex digits", r.Hash)
	}
}

// TestPublishedValues checks the defaults against handbook figures.
func TestPublishedValues(t *testing.T) {
	r := Default()
	ranges := map[string][4]float64{ // density g/cm3, softening C
		"PLA":  {1.22, 1.26, 55, 60},  // ASTM D792 on two resin data sheets: 1.24; Tg 55-60
		"PETG": {1.25, 1.29, 75, 85},  // from memory
		"PVA":  {1.19, 1.31, 30, 100}, // from memory
	}
	for _, m := range r.Materials {
		want, ok := ranges[m.Name]
		if !ok {
			t.Errorf("no published figures for %s", m.Name)
			continue
		}
		if m.Density < want[0] || m.Density > want[1] || m.SoftensC < want[2] || m.SoftensC > want[3] {
			t.Errorf("%s: %v g/cm3, softens at %v C; published %v", m.Name, m.Density, m.SoftensC, want)
		}
	}
	// University of Maryland Libraries, guide 912: a layer is 25 to 75 % of the nozzle.
	for _, mm := range r.Printing.LayerChoices {
		if mm < 0.1 || mm > 0.3 {
			t.Errorf("layer choice %v is not 25 to 75 %% of a 0.4 mm nozzle", mm)
		}
	}
	// Common practice, no source: basic prints need 5 to 10 % infill; supports beyond 45 degrees.
	if r.Printing.Infill < 0.05 || r.Printing.Infill > 0.10 || r.Printing.SupportAngleDeg != 45 {
		t.Errorf("infill %v, support angle %v", r.Printing.Infill, r.Printing.SupportAngleDeg)
	}
}

// TestRoundTrip: each file, decoded and written again by the library, loads to
// the same rules; so nothing in a file is lost on the way into the types.
func TestRoundTrip(t *testing.T) {
	want := Default()
	dir := t.TempDir()
	for _, target := range targets(want) {
		b, err := toml.Marshal(target.into)
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, target.file), b)
	}
	got, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, target := range targets(got) {
		if other := targets(want)[i].into; !reflect.DeepEqual(target.into, other) && !(target.free && marshal(t, target.into) == marshal(t, other)) {
			t.Errorf("%s changed on the way:\n got %+v\nwant %+v", target.file, target.into, targets(want)[i].into)
		}
	}
}

func marshal(t *testing.T, v any) string {
	t.Helper()
	b, err := toml.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestOverride: a folder replaces file by file and changes the hash.
func TestOverride(t *testing.T) {
	dir := t.TempDir()
	b, err := Builtin("limits.toml")
	if err != nil {
		t.Fatal(err)
	}
	b = bytes.Replace(b, []byte("job_hours = 8"), []byte("job_hours = 4"), 1)
	write(t, filepath.Join(dir, "limits.toml"), append([]byte("\xef\xbb\xbf"), b...))
	write(t, filepath.Join(dir, ".hidden"), nil)
	write(t, filepath.Join(dir, "limits.toml~"), []byte("an editor's leftovers"))
	r, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if r.Limits.JobHours != 4 || r.Library.Name != Default().Library.Name {
		t.Errorf("job_hours = %v, library = %q", r.Limits.JobHours, r.Library.Name)
	}
	if r.Hash == Default().Hash {
		t.Error("the hash does not tell the changed rules from the built-in ones")
	}
}

// TestEveryKeyIsExplained: the built-in files are the admins' handbook, so each
// key of the types stands in them, below a comment.
func TestEveryKeyIsExplained(t *testing.T) {
	for _, target := range targets(&Rules{}) {
		b, err := Builtin(target.file)
		if err != nil {
			if target.free {
				continue
			}
			t.Fatal(err)
		}
		var keys func(reflect.Type)
		keys = func(typ reflect.Type) {
			for f := range fields(element(typ)) {
				if f.optional && strings.Contains(string(b), f.name) {
					continue // named in a comment
				}
				if !strings.Contains(string(b), f.name+" =") && !strings.Contains(string(b), f.name+"]") && !target.free {
					t.Errorf("%s does not show the key %s", target.file, f.name)
				}
				keys(f.typ)
			}
		}
		keys(reflect.TypeOf(target.into))
		if !strings.HasPrefix(string(b), "# ") {
			t.Errorf("%s does not begin with a comment that says what it is for", target.file)
		}
	}
}

// TestFault: other rooms report a value in the same form, with its place.
func TestFault(t *testing.T) {
	err := Default().Fault("printers.toml", "printer[1].speed.travel", "too fast for the belt", "try 120")
	want := "built-in printers.toml:"
	if !strings.HasPrefix(err.Error(), want) || !strings.Contains(err.Error(), "travel = 150") || !strings.Contains(err.Error(), "^^^") {
		t.Errorf("got %q", err)
	}
}

// TestNearest: swaps, drops and wrong letters are near; other words are not.
func TestNearest(t *testing.T) {
	known := []string{"layer_mm", "infill", "shells"}
	for word, want := range map[string]string{"layre_mm": "layer_mm", "inffil": "infill", "SHELLS": "shells", "colour": "", "": ""} {
		if got := Nearest(word, known); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

// FuzzLoad: no rule file, however broken, does more than give an error.
func FuzzLoad(f *testing.F) {
	for _, name := range Files() {
		if b, err := Builtin(name); err == nil {
			f.Add(name, b)
		}
	}
	f.Add("printers.toml", []byte("[[printer]]\nspeed = {a = [1, {b = 2}]}\n[printer.x]\n[[printer.y]]\n"))
	f.Fuzz(func(t *testing.T, name string, b []byte) {
		if !strings.HasSuffix(name, ".toml") || name != filepath.Base(name) || strings.ContainsAny(name, "\x00/") || len(name) > 100 {
			t.Skip()
		}
		dir := t.TempDir()
		write(t, filepath.Join(dir, name), b)
		r, err := Load(dir)
		if (r == nil) == (err == nil) {
			t.Errorf("rules %v with error %v", r, err)
		}
	})
}

func write(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}
