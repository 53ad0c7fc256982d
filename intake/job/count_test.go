package job

import "testing"

func TestCount(t *testing.T) {
	for n, want := range map[int]string{0: "0 letters", 1: "1 letter", 2: "2 letters"} {
		if got := Count(n, "letter", "letters"); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
