package wishes

import (
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// A change of colour at a height is read with the colours below and above it; a length
// that says anything else stays one.
func TestColourChangesAtAHeight(t *testing.T) {
	r := rules.Default()
	reader := New(r.Words, r.Library.Branches, r.Materials)
	for text, want := range map[string]string{
		"en: Could you print this sign, the first 3 mm white, the rest red?":      "3 white red",
		"en: Please print it in white up to 2.5 mm, then red.":                    "2.5 white red",
		"en: White for the first 3 mm and then red, please.":                      "3 white red",
		"en: Please start in white and change to red at 3 mm.":                    "3 white red",
		"en: I would like it red from 4 mm up, black below.":                      "4 black red",
		"en: The first 3 mm in black please. The rest in red.":                    "3 black red",
		"fr: Les 3 premiers mm en blanc, le reste en rouge, svp.":                 "3 white red",
		"fr: Je voudrais les premiers 3 mm en noir puis en rouge.":                "3 black red",
		"es: Los primeros 3 mm en blanco, el resto en rojo, por favor.":           "3 white red",
		"es: Quisiera blanco hasta 2 mm, luego rojo.":                             "2 white red",
		"en: White with the top 5 mm in red.":                                     "5 from the top white red",
		"en: the top 5 mm in red, the rest white please":                          "5 from the top white red",
		"en: black please, only the last 2 mm in red":                             "2 from the top black red",
		"en: In white, and the upper 4 mm green.":                                 "4 from the top white green",
		"fr: Les 5 mm du haut en rouge, le reste en blanc.":                       "5 from the top white red",
		"fr: Les 5 derniers mm en rouge, le reste en blanc.":                      "5 from the top white red",
		"es: Los 5 mm de arriba en rojo, el resto en blanco.":                     "5 from the top white red",
		"es: Los últimos 5 mm en rojo, el resto en blanco.":                       "5 from the top white red",
		"en: Please change from white to red at 3 mm.":                            "3 white red",
		"en: Could you switch from black to yellow at 3 mm?":                      "3 black yellow",
		"fr: Passez du blanc au rouge à 3 mm, svp.":                               "3 white red",
		"es: Cambien de blanco a rojo a los 3 mm.":                                "3 white red",
		"en: The first 3 mm black, the rest turquoise.":                           "3 black turquoise?",
		"fr: Les 3 premiers mm en rose, le reste en noir.":                        "3 rose? black",
		"en: Please change from red to blue, 30 mm tall.":                         "-",
		"en: In red, 30 mm tall please.":                                          "-",
		"en: The first one white, 30 mm tall, the rest red.":                      "-",
		"en: It goes under a shelf of 20 mm, in white or red.":                    "-",
		"en: Two white ones and one red one, all 40 mm wide, by the first of May": "-",
	} {
		lang, text, _ := strings.Cut(text, ": ")
		if got := layersOf(reader.Understand(Input{Text: text, Language: lang})); got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
	for _, c := range [][4]string{
		{"en", "Is that right, or at which height shall it change?", "At 2 mm please.", "2"},
		{"fr", "Est-ce juste, ou à quelle hauteur faut-il changer?", "À 2,5 mm.", "2.5"},
		{"es", "¿Es correcto, o a qué altura debe cambiar?", "A los 2 mm.", "2"},
	} {
		w := reader.Understand(Input{Text: c[2], Language: c[0], Answer: true, Questions: []string{c[1]}})
		if got := layersOf(w); got != c[3] || w.Size != nil || len(w.Unread) > 0 {
			t.Errorf("%s: %s, size %v, unread %v; want %s", c[2], got, w.Size, w.Unread, c[3])
		}
	}
}

// Letters in a colour of their own, on a print that is called nothing, are two colours of
// one print.
func TestLettersInAColourOfTheirOwn(t *testing.T) {
	r := rules.Default()
	reader := New(r.Words, r.Library.Branches, r.Materials)
	for text, want := range map[string]string{
		"en: Please print the sign in black, with the letters on top in red.": "black, letters red",
		"en: Black with red lettering please.":                                "black, lettering red",
		"en: The base black, the letters red, please.":                        "base black, letters red",
		"fr: En noir, avec les lettres en rouge, svp.":                        "black, lettres red",
		"es: En negro, con las letras en rojo, por favor.":                    "black, letras red",
		"en: The base black, the letters pink, please.":                       "black, letters pink?",
		"fr: Le fond en noir, les lettres en rose, svp.":                      "black, lettres rose?",
		"en: Please write the letters in black or red.":                       "-",
		"en: Two in black and two red letters please.":                        "-",
	} {
		lang, text, _ := strings.Cut(text, ": ")
		var got []string
		for _, i := range reader.Understand(Input{Text: text, Language: lang}).Items {
			if i.Copies < 2 {
				colour := strings.Join(i.Colours, "/")
				if i.Other != "" {
					colour = i.Other + "?"
				}
				got = append(got, strings.TrimSpace(strings.TrimPrefix(i.Part, "the ")+" "+colour))
			}
		}
		if s := strings.Join(got, ", "); s != want && (want != "-" || s != "") {
			t.Errorf("%s: %s, want %s", text, s, want)
		}
	}
}

// A height in an answer moves the change of colour that was wished before.
func TestHeightMovesTheChange(t *testing.T) {
	r := rules.Default()
	reader := New(r.Words, r.Library.Branches, r.Materials)
	three := 3.0
	before := job.Wishes{ChangeMM: &three, Colours: []string{"white", "red"}, Items: []job.Item{{Colours: []string{"white"}}, {Colours: []string{"red"}}}}
	for text, want := range map[string]string{
		"Could you change to red at 6 mm instead, please?": "6 white red",
		"Please change to blue at 6 mm.":                   "6 white blue",
	} {
		w := reader.Understand(Input{Text: text, Language: "en", Answer: true, Earlier: before})
		if got := layersOf(w); got != want || w.Size != nil || w.Answer != job.Change {
			t.Errorf("%s: %s, size %v, answer %q; want %s", text, got, w.Size, w.Answer, want)
		}
	}
}

func layersOf(w job.Wishes) string {
	if w.ChangeMM == nil {
		return "-"
	}
	out := fmt.Sprint(*w.ChangeMM)
	if w.FromTop {
		out += " from the top"
	}
	for _, i := range w.Items {
		out += " " + strings.Join(i.Colours, "/")
		if i.Other != "" {
			out += i.Other + "?"
		}
	}
	return out
}
