package plain_test

import (
	"fmt"
	"testing"
	"unicode/utf8"

	"meshclerk/intake/plain"
)

func TestOneLine(t *testing.T) {
	for in, want := range map[string]string{
		"":                       "",
		" a \t b\r\n c ":         "a b c",
		"a\u2028b\u2029c\u0085d": "a b c d", // line and paragraph separators, next line
		"10\u00a0mm":             "10\u00a0mm",
		"a\x1b[2Jb":              "a[2Jb",
		"evil\u202egnp.exe":      "evilgnp.exe", // right-to-left override
		"\u2066a\u2069\u200eb":   "ab",          // isolates, left-to-right mark
		"क्\u200dष":              "क्\u200dष",   // the joiner stays
		"bad \xff byte":          "bad \ufffd byte",
	} {
		if got := plain.OneLine(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestShorten(t *testing.T) {
	for in, want := range map[string]string{"": "", "äöü": "äöü", "äöüß": "äöüß", "äöüße": "äöü…"} {
		if got := plain.Shorten(in, 4); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestCapital(t *testing.T) {
	for in, want := range map[string]string{"": "", "été": "Été", "a b": "A b", "1 part": "1 part", "\xff": "\xff"} {
		if got := plain.Capital(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// What was made one line stays as it is, and is UTF-8.
func FuzzOneLine(f *testing.F) {
	f.Add("a\u202e \n b\xff")
	f.Fuzz(func(t *testing.T, s string) {
		once := plain.OneLine(s)
		if again := plain.OneLine(once); again != once || !utf8.ValidString(once) {
			t.Errorf("%q, then %q", once, again)
		}
	})
}

func ExampleOneLine() {
	fmt.Println(plain.OneLine("  two\r\n\tlines "))
	// Output: two lines
}
