package letter

import (
	"testing"

	"meshclerk/rules"
)

// TestLanguageOfShortAnswer: a few words are in the conversation's language unless they
// are clearly in another.
func TestLanguageOfShortAnswer(t *testing.T) {
	words := rules.Default().Words
	for _, c := range []struct{ text, before, want string }{
		{"Smashing, ta very much!", "en", "en"},
		{"Ta!", "en", "en"},
		{"Super, merci beaucoup", "en", "fr"},
		{"Oui", "en", "fr"},
		{"Sí, adelante", "fr", "es"},
		{"ok", "es", "es"},
		{"Yes please", "fr", "en"},
		{"Perfecto, gracias", "en", "es"},
		{"Genial, mil", "es", "es"},
		{"Me sirve", "fr", "fr"}, // too little to tell
	} {
		if got := Language(c.text, c.before, words); got != c.want {
			t.Errorf("%q after %s is in %s, want %s", c.text, c.before, got, c.want)
		}
	}
}
