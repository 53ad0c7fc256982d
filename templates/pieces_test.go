package templates

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// A piece can be read as it is written, and tells which texts take it in, also
// through another piece.
func TestPieces(t *testing.T) {
	set := Default()
	names := set.Pieces()
	if !slices.Contains(names, "_closing") || slices.ContainsFunc(names, func(n string) bool { return !strings.HasPrefix(n, "_") }) {
		t.Fatalf("pieces: %q", names)
	}
	for _, lang := range set.Languages() {
		p, err := set.GetPiece(lang, "_closing")
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(p.UsedBy, set.Names()) {
			t.Errorf("%s: the closing ends %q, of all %q", lang, p.UsedBy, set.Names())
		}
		b, err := Builtin(lang + "/_closing.md")
		if err != nil || p.Source != string(b) {
			t.Errorf("%s: %q, written is %q (%v)", lang, p.Source, b, err)
		}
	}
	question, err := set.GetPiece("en", "_question") // taken in by _questions
	if err != nil || !slices.Contains(question.UsedBy, "quote") {
		t.Errorf("%+v, %v", question, err)
	}
	if _, err := set.GetPiece("en", "_nothing"); err == nil {
		t.Error("a piece that is not there is given")
	}
}

func TestOwnPieceChangesWhatTakesItIn(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "en"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "en", "_closing.md"), []byte("See you soon.\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	set, err := Load(dir, Languages())
	if err != nil {
		t.Fatal(err)
	}
	old, err := Default().Get("en", "quote")
	if err != nil {
		t.Fatal(err)
	}
	now, err := set.Get("en", "quote")
	if err != nil || now.Hash == old.Hash || now.Source != old.Source {
		t.Errorf("the quote does not know its new closing: %v", err)
	}
	if p, err := set.GetPiece("en", "_closing"); err != nil || p.Source != "See you soon.\n" || !strings.HasPrefix(p.Path, dir) {
		t.Errorf("%+v, %v", p, err)
	}
}
