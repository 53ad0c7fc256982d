package templates

import (
	"testing"
)

func TestBuiltin(t *testing.T) {
	s, err := Load("", []string{"en"})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	tm, err := s.Get("en", "quote")
	if err != nil {
		t.Fatal(err)
	}
	for _, sm := range Samples("en")[:3] {
		sub, md, err := tm.Render(&sm.Data)
		t.Logf("%s: %q %v\n%s", sm.Name, sub, err, md)
	}
}
