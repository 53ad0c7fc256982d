package mailtest

import "testing"

// A server that answers at the port is taken for ours only where it greets as ours: another
// may have been given the same port in between.
func TestGreetingIsOurs(t *testing.T) {
	s := Dovecot(t)
	other := &Server{Port: s.Port, dir: s.dir + "x", t: t}
	if !s.greets() || other.greets() {
		t.Errorf("ours greets %v, and for another %v", s.greets(), other.greets())
	}
}
