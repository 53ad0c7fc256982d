package letter

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strings"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// house is how the invented library reads its mail.
func house(dir string) Options {
	return OptionsFrom(rules.Default(), dir, time.Date(2026, 11, 3, 12, 0, 0, 0, time.UTC))
}

func read(t *testing.T, raw string, opts Options) *job.Letter {
	t.Helper()
	l, err := Read(t.Context(), strings.NewReader(raw), opts)
	if err != nil {
		t.Fatalf("Read: %v", err)
	}
	return l
}

// TestLetters reads every letter of testdata/letters as a person would.
func TestLetters(t *testing.T) {
	cases, err := filepath.Glob("../../testdata/letters/*/in.eml")
	if err != nil || len(cases) < 40 {
		t.Fatalf("found %d letters (%v); the folder testdata/letters must be there", len(cases), err)
	}
	for _, path := range cases {
		t.Run(filepath.Base(filepath.Dir(path)), func(t *testing.T) {
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			want, err := os.ReadFile(filepath.Join(filepath.Dir(path), "want.json"))
			if err != nil {
				t.Fatal(err)
			}
			dir := t.TempDir()
			l := read(t, string(raw), house(dir))
			for _, difference := range differences(t, l, want) {
				t.Error(difference)
			}
			checkFiles(t, dir, l)
			checkWhole(t, l)
		})
	}
}

// differences compares the fields that want names.
func differences(t *testing.T, l *job.Letter, want []byte) []string {
	t.Helper()
	got, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	var g, w map[string]any
	if err := json.Unmarshal(got, &g); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(want, &w); err != nil {
		t.Fatalf("want.json: %v", err)
	}
	return subset("", g, w)
}

func subset(at string, got, want any) []string {
	switch w := want.(type) {
	case map[string]any:
		g, _ := got.(map[string]any)
		var out []string
		for _, k := range sortedKeys(w) {
			out = append(out, subset(at+"."+k, g[k], w[k])...)
		}
		return out
	case []any:
		g, _ := got.([]any)
		if len(g) != len(w) {
			return []string{fmt.Sprintf("%s: got %v, want %v", at, got, want)}
		}
		var out []string
		for i := range w {
			out = append(out, subset(fmt.Sprintf("%s[%d]", at, i), g[i], w[i])...)
		}
		return out
	}
	if !reflect.DeepEqual(got, want) {
		return []string{fmt.Sprintf("%s:\ngot  %q\nwant %q", at, got, want)}
	}
	return nil
}

func sortedKeys(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// checkFiles holds the attachments against the files that were written.
func checkFiles(t *testing.T, dir string, l *job.Letter) {
	t.Helper()
	for _, a := range l.Attachments {
		if a.Name == "" || strings.ContainsAny(a.Name, "/\\\x00\r\n\u202e") {
			t.Errorf("attachment name %q", a.Name)
		}
		if a.Path == "" {
			continue
		}
		if filepath.Dir(a.Path) != dir {
			t.Errorf("%s was written outside its folder: %s", a.Name, a.Path)
		}
		info, err := os.Stat(a.Path)
		if err != nil || info.Size() != a.Bytes {
			t.Errorf("%s: %v, %v bytes on disk, want %d", a.Name, err, info, a.Bytes)
		}
	}
}

// checkWhole holds what is true of every letter.
func checkWhole(t *testing.T, l *job.Letter) {
	t.Helper()
	if l.Disposition == "" || l.Why.Key == "" || l.Authenticated == "" || l.Language == "" {
		t.Errorf("incomplete: %q %q %q %q", l.Disposition, l.Why, l.Authenticated, l.Language)
	}
	if l.References == nil || l.Wishes.Colours == nil || l.Attachments == nil || l.Links == nil {
		t.Error("a list is nil and would be null in JSON")
	}
	if l.From.Address != strings.ToLower(l.From.Address) {
		t.Errorf("address %q is not in lower case", l.From.Address)
	}
	if bytes.ContainsRune([]byte(l.Text), 0) {
		t.Error("the text holds zero bytes")
	}
}
