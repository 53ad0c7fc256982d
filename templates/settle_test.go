package templates

import (
	"regexp"
	"testing"
)

// The rules of settle, one after the other, as they read as expressions.
var settling = []struct {
	what *regexp.Regexp
	by   string
}{
	{regexp.MustCompile(`^[\x01\x02]+|[\x01\x02]+$`), ""},
	{regexp.MustCompile("\x01*([\n\x02])\x01*"), "$1"}, // no soft space beside a break
	{regexp.MustCompile("\x02*\n\x02*"), "\n"},         // no soft break beside a hard one
	{regexp.MustCompile("\x02+"), "\n"},
	{regexp.MustCompile("(?: \x01+| ?\x01+ )"), " "},
	{regexp.MustCompile(`\x01+([.,;?!)](?:[^\pL\pN]|$))`), "$1"},
	{regexp.MustCompile("\x01+"), " "},
}

func settledByRules(s string) string {
	for _, r := range settling {
		s = r.what.ReplaceAllString(s, r.by)
	}
	return s
}

// FuzzSettle holds settle, which goes through a letter three times, against its rules.
func FuzzSettle(f *testing.F) {
	for _, s := range []string{
		"", "plain", "\x01a\x01", "a \x01 b", "a\x01 b", "a\x01\x01b", "a \x01\x01 \x01b", "a\x01 \x01b", "a\x01.", "a\x01. b", "a\x01.b", "a\x01.7", "a\x01.\x01.", "a\x01.\x01. b",
		"a\x01)\x01,\x01c", "a\x01.é", "a\x01.\xff", "a\x02b", "a\x02\n\x01\x02b", "a\n\x02\n\x02\x02\nb", "a\x01\x02\x01b", "a\x02\x02\x01\x02b", "\n\x01", " \x01\n\x01 x", "a \x02 b",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if got, want := settle(s), settledByRules(s); got != want {
			t.Errorf("%q becomes %q, want %q", s, got, want)
		}
	})
}

// Every text of up to six of the letters that matter.
func TestSettleByItsRules(t *testing.T) {
	for _, s := range everyString("\x01\x02\n .a", 6) {
		if got, want := settle(s), settledByRules(s); got != want {
			t.Fatalf("%q becomes %q, want %q", s, got, want)
		}
	}
}

// everyString lists the strings of up to so many of the letters.
func everyString(letters string, most int) []string {
	out, last := []string{""}, []string{""}
	for range most {
		var longer []string
		for _, s := range last {
			for _, r := range letters {
				longer = append(longer, s+string(r))
			}
		}
		out, last = append(out, longer...), longer
	}
	return out
}
