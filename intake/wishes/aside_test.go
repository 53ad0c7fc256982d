package wishes

import (
	"fmt"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// A plain yes is one whoever signs it: the writer's name at the end is no colour and no
// wish, in each language, on a line of its own or behind the sentence.
func TestNameAtTheEnd(t *testing.T) {
	r := houseReader()
	for lang, c := range map[string]struct{ yes, ends, names []string }{
		"en": {[]string{"Yes please, go ahead.", "Yes please, make it.", "Yes, that's fine.", "OK!", "The price is fine with me."},
			[]string{"\n%s", " %s", "\n\n%s", "\n- %s", "\nThanks, %s", "\n\nHave a nice weekend!\n%s", "\n\n-- \n%s\nHead of Music"},
			[]string{"Jane Brown", "Rose", "White", "Rose White", "Violet"}},
		"fr": {[]string{"Oui, allez-y.", "C'est d'accord pour moi.", "Le prix me convient.", "OK!"},
			[]string{"\n%s", " %s", "\n\n%s", "\nMerci, %s", "\nBonne journée\n%s"}, []string{"Rose Leblanc", "Rose", "Violette Petit"}},
		"es": {[]string{"Sí, adelante.", "Está bien, pueden imprimirla.", "Acepto el presupuesto.", "¡OK!"},
			[]string{"\n%s", " %s", "\n\n%s", "\nGracias, %s", "\nBuen día\n%s", "\n\n-- \n%s\nMaestra de música"}, []string{"Rosa Morales", "Rosa", "Celeste", "Blanca Verde"}},
	} {
		for _, yes := range c.yes {
			for _, end := range c.ends {
				for _, name := range c.names {
					in := Input{Text: yes + fmt.Sprintf(end, name), Language: lang, Answer: true, From: job.Address{Name: name, Address: "reader@example.org"}}
					if w := r.Understand(in); w.Answer != job.Accept || len(w.Colours) > 0 || len(w.Unread) > 0 {
						t.Errorf("%q is %q, colours %q, unread %v", in.Text, w.Answer, w.Colours, w.Unread)
					}
				}
			}
		}
	}
}

// Which words at the end are the writer's name: initials and the name in an address too,
// but not what stands in the sentence, what is not theirs, or a colour that was asked for.
func TestWhatIsTheWritersName(t *testing.T) {
	r := houseReader()
	for text, c := range map[string]struct {
		from  job.Address
		asked []string
		want  string // the colour that is read
	}{
		"One of these, please.\nJ. Green":       {job.Address{Name: "James Green"}, nil, ""},
		"One of these, please.\nGreen, J.":      {job.Address{Name: "James Green"}, nil, ""},
		"One of these, please.\nRose Green":     {job.Address{Address: "rose.green@example.org"}, nil, ""},
		"One of these, please.\nRed":            {job.Address{Name: "James Green"}, nil, "red"},
		"One of these in green, please.":        {job.Address{Name: "James Green"}, nil, "green"},
		"One of these, please, for James Green": {job.Address{Name: "James Green"}, nil, ""},
		"One of these, please.\ngreen":          {job.Address{Name: "James Green"}, nil, "green"},
		"Yes please.\nGreen":                    {job.Address{Name: "James Green"}, []string{"Which colour would you like?"}, "green"},
		"Yes please.\nBlue":                     {job.Address{Name: "Blue Harper"}, []string{"Which colour would you like?"}, ""},
		"Green":                                 {job.Address{Name: "James Green"}, nil, "green"},
	} {
		w := r.Understand(Input{Text: text, From: c.from, Questions: c.asked, Answer: c.asked != nil})
		if got := strings.Join(w.Colours, " "); got != c.want {
			t.Errorf("%q from %v: colour %q, want %q", text, c.from, got, c.want)
		}
	}
}

// What a mail program or an office puts below every letter says nothing, up to the next
// empty line; the same words in a letter of the patron's own are heard.
func TestFooters(t *testing.T) {
	r := houseReader()
	for text, c := range map[string]struct {
		lang string
		want job.Reply
	}{
		"Yes please, go ahead.\n\nThis email and any attachments are confidential. If you are not the addressee, stop reading and delete them.": {"en", job.Accept},
		"Yes please, go ahead.\n\nPlease consider the environment before printing this email.":                                                  {"en", job.Accept},
		"Yes please, go ahead.\n\nDisclaimer: the council cannot accept liability\nfor any statement made.\n\nNo, wait, do not print it yet.":   {"en", ""},
		"Disclaimer: I am new to this. Please go ahead.":                                                                                        {"en", job.Accept},
		"Oui, allez-y.\n\nCe courriel et ses pièces jointes sont confidentiels. Si vous l'avez reçu par erreur, veuillez le détruire.":          {"fr", job.Accept},
		"Oui, allez-y.\n\nAvant de l'imprimer, dites-moi si ma sœur peut la prendre.":                                                           {"fr", job.Question},
		"Sí, adelante.\n\nPiense en el medio ambiente antes de imprimir este mensaje.":                                                          {"es", job.Accept},
		"Sí, adelante.\n\nAntes de imprimir, quiero saber si es resistente al agua.":                                                            {"es", job.Question},
		"Sí, adelante.\n\nRosa Morales\nMaestra de música\nEscuela La Loma, calle Alisos 14":                                                    {"es", job.Accept},
		"Yes please, go ahead.\n\nRosa Morales\nHead of Music\n\nNo, forget it, we do not need it any more.":                                    {"en", ""},
	} {
		w := r.Understand(Input{Text: text, Language: c.lang, Answer: true, From: job.Address{Name: "Rosa Morales"}})
		if c.want == job.Accept && w.Answer != c.want || c.want != job.Accept && w.Answer == job.Accept {
			t.Errorf("%q is %q, want %q (unread %v)", text, w.Answer, c.want, w.Unread)
		}
	}
}

// Thanks with a name below stay thanks, whatever the name is.
func TestThanksWithAName(t *testing.T) {
	r := houseReader()
	for text, lang := range map[string]string{"Thank you so much!\n\nRosa": "en", "¡Muchas gracias, quedó preciosa!\n\nRosa Morales": "es", "Merci beaucoup!\n\nRosa Morales": "fr", "Muchas gracias a todos.\nRosa": "es"} {
		if w := r.Understand(Input{Text: text, Language: lang, Answer: true, From: job.Address{Name: "Rosa Morales"}}); !w.Courtesy || w.Answer != "" {
			t.Errorf("%q: courtesy %v, answer %q", text, w.Courtesy, w.Answer)
		}
	}
}
