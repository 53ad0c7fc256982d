package wishes

import (
	"testing"

	"meshclerk/intake/job"
)

// TestDictated: signs that were spoken are signs; a thing that is called so is none.
func TestDictated(t *testing.T) {
	r := houseReader()
	for text, want := range map[[2]string]string{
		{"en", "yes please go ahead exclamation mark I will fetch it full stop"}: "yes please go ahead! I will fetch it.",
		{"en", "can my daughter collect it question mark I don't get out"}:       "can my daughter collect it? I don't get out",
		{"en", "hello comma yes comma print it"}:                                 "hello, yes, print it",
		{"en", "hello comma yes print it full stop"}:                             "hello, yes print it.",
		{"en", "Please print the question mark, for a period costume."}:          "Please print the question mark, for a period costume.",
		{"en", "It has to be period, like the rest."}:                            "It has to be period, like the rest.",
		{"fr", "bonjour virgule oui point merci point d'exclamation"}:            "bonjour, oui. merci!",
		{"fr", "Imprimez le point d'interrogation, à ce point."}:                 "Imprimez le point d'interrogation, à ce point.",
		{"es", "hola coma sí adelante punto final gracias"}:                      "hola, sí adelante. gracias",
		{"fr", "bonjour virgule oui point merci point d’exclamation"}:            "bonjour, oui. merci!",
		{"es", "que no coma pienso, y punto."}:                                   "que no coma pienso, y punto.",
	} {
		if got := r.said[text[0]].read(text[1]); got != want {
			t.Errorf("%q is read as %q, want %q", text[1], got, want)
		}
	}
	in := Input{Text: "hello this is Raymond comma the answer is yes please go ahead full stop thank you goodbye full stop", Language: "en", Answer: true, Date: monday}
	if w := r.Understand(in); w.Answer != job.Accept {
		t.Errorf("a dictated yes is %q", w.Answer)
	}
	in.Text = "can my daughter collect it for me or must it be myself question mark I don't get out much"
	if w := r.Understand(in); w.Answer != job.Question {
		t.Errorf("a dictated question is %q", w.Answer)
	}
}
