package wishes

import (
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// Files that are one print are told from parts that are only wished together, and from
// counts.
func TestFilesThatAreOnePrint(t *testing.T) {
	reader := houseReader()
	for text, want := range map[string]string{
		"en: base.stl and letters.stl are one part, the base black, the letters red.":         "yes",
		"en: The two files are one print: base in black, letters in red, please.":             "yes",
		"en: Please print both as one piece, base black and letters red.":                     "yes",
		"en: I need one piece of each, in black.":                                             "",
		"en: Just one print of the lid, please.":                                              "",
		"en: Could I have one of each in red?":                                                "",
		"en: Would it be cheaper if you printed them as one piece?":                           "",
		"en: Please print them as two separate parts.":                                        "no",
		"en: They should not be printed as one piece.":                                        "no",
		"fr: Les deux fichiers ne font qu'une pièce : le fond en noir, les lettres en rouge.": "yes",
		"fr: Le fond en noir et le relief en rouge, dans une seule impression.":               "yes",
		"fr: Une pièce de chaque, en noir.":                                                   "",
		"fr: Imprimez-les séparément, svp.":                                                   "no",
		"es: Los dos archivos son una sola pieza: la base en negro, las letras en rojo.":      "yes",
		"es: Una pieza de cada uno, en negro.":                                                "",
		"es: Imprímalas por separado, por favor.":                                             "no",
	} {
		lang, text, _ := strings.Cut(text, ": ")
		w := reader.Understand(Input{Text: text, Language: lang})
		if w.Together != want {
			t.Errorf("%s: %q, want %q", text, w.Together, want)
		}
		if want == "yes" && w.Copies != nil {
			t.Errorf("%s: %d copies", text, *w.Copies)
		}
	}
	for _, c := range []struct{ lang, question, answer, want string }{
		{"en", "As they are drawn, letters.stl stands on base.stl. Shall we print them as one piece?", "Yes, one piece please.", "yes"},
		{"en", "As they are drawn, letters.stl stands on base.stl. Shall we print them as one piece?", "Yes please.", "yes"},
		{"en", "As they are drawn, letters.stl stands on base.stl. Shall we print them as one piece?", "No, separately please.", "no"},
		{"en", "As they are drawn, letters.stl stands on base.stl. Shall we print them as one piece?", "No.", "no"},
		{"fr", "Faut-il les imprimer en une seule pièce?", "Oui, en une seule pièce.", "yes"},
		{"fr", "Faut-il les imprimer en une seule pièce?", "Non, séparément.", "no"},
		{"es", "¿Las imprimimos en una sola pieza?", "Sí, una sola pieza, por favor.", "yes"},
		{"es", "¿Las imprimimos en una sola pieza?", "No, por separado.", "no"},
	} {
		w := reader.Understand(Input{Text: c.answer, Language: c.lang, Answer: true, Questions: []string{c.question}})
		if w.Together != c.want || w.Copies != nil || len(w.Unread) > 0 || w.Answer == job.Decline {
			t.Errorf("%s: %q, copies %v, answer %q, unread %v; want %q", c.answer, w.Together, w.Copies, w.Answer, w.Unread, c.want)
		}
	}
}
