package rules

import "testing"

func TestDefaults(t *testing.T) {
	if _, err := Load(""); err != nil {
		t.Fatal(err)
	}
}
