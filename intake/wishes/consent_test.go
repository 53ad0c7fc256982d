package wishes

import (
	"testing"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// spoilers turn a phrase of consent into none; %s is the phrase.
var spoilers = map[string][2][]string{
	"en": {
		{"I would say", "Not yet. Later perhaps", "I can't say", "I never said", "I'm not sure whether to say", "Maybe", "Please don't", "Do not", "Before I write", "You asked me to answer",
			"My wife must decide if it's", "If it were cheaper,", "What if I wrote", "Who told you", "Is it enough to write", "> ", "No. I did not mean", "I was told to write"},
		{"if it is under $5", "unless it takes long", "but in green", "?", "once I have measured again", "as long as it is free", "provided it holds", "after I have talked to my wife", "in red", "but only 2 copies",
			", can you make it 2?", ", but not yet", "depending on the price", "only if you can do it today", "when I have the money", "until I say otherwise, wait", "with option 3", "but smaller",
			". How do I pay?", ". Actually, hold on.", ". Please use the new file.", ". Oh, and make it black.", ", and add another one", "and print two", "at half size"},
	},
	"fr": {
		{"Je dirais", "Je ne dis pas", "Pas encore :", "Je ne suis pas sûr :", "Peut-être", "Si c'était moins cher,", "Faut-il écrire", "Avant d'écrire", "Je dois demander à ma femme avant de dire"},
		{"si c'est moins de 5 $", "mais en vert", "?", "à condition que ce soit prêt samedi", "sauf si c'est trop long", "mais seulement deux copies", ", pouvez-vous en faire deux ?", ", mais pas encore", "en rouge",
			". Combien de temps ?", "une fois que j'aurai mesuré", ". Utilisez plutôt le nouveau fichier."},
	},
	"es": {
		{"Yo diría", "No digo", "Todavía no:", "No estoy seguro:", "Quizás", "Si fuera más barato,", "¿Debo escribir", "Antes de escribir", "Tengo que preguntar antes de decir"},
		{"si cuesta menos de 5 dólares", "pero en verde", "?", "siempre que esté listo el sábado", "a menos que tarde mucho", "pero solo dos copias", ", ¿pueden hacer dos?", ", pero todavía no", "en rojo",
			". ¿Cuánto tarda?", "una vez que lo haya medido", ". Mejor usen el archivo nuevo."},
	},
}

// TestNoFalseConsent puts every phrase of consent of the house's words beside
// every spoiler: none may be taken for an acceptance.
func TestNoFalseConsent(t *testing.T) {
	words, r := rules.Default().Words, houseReader()
	tried := 0
	for lang, pre := range spoilers {
		for _, kind := range []string{"accept", "acceptstart", "yes", "ok"} {
			for _, phrase := range words.Replies[lang][kind] {
				texts := map[string]bool{}
				for _, s := range pre[0] {
					texts[s+" "+phrase+"."] = true
				}
				for _, s := range pre[1] {
					texts[phrase+" "+s] = true
				}
				for text := range texts {
					tried++
					if w := r.Understand(Input{Text: text, Language: lang, Answer: true, Date: monday}); w.Answer == job.Accept {
						t.Errorf("%s: %q was taken for an acceptance", lang, text)
					}
				}
			}
		}
	}
	if tried < 3000 {
		t.Errorf("only %d texts were tried", tried)
	}
}

// TestConsent: each phrase alone, with thanks and a signature, is an acceptance.
func TestConsent(t *testing.T) {
	words, r := rules.Default().Words, houseReader()
	for lang, after := range map[string]string{"en": ", thank you.\n\nBest regards,\nVera", "fr": ". Merci.\n\nCordialement,\nVera", "es": ". Gracias.\n\nSaludos,\nVera"} {
		for _, kind := range []string{"accept", "acceptstart", "yes"} {
			for _, phrase := range words.Replies[lang][kind] {
				text := phrase + after
				if w := r.Understand(Input{Text: text, Language: lang, Answer: true, Date: monday}); w.Answer != job.Accept {
					t.Errorf("%s: %q is %q, not an acceptance", lang, text, w.Answer)
				}
			}
		}
	}
}

// A branch is where the part is to be collected, in words that no list has; not where
// somebody lives.
func TestBranchInOrdinaryWords(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for _, c := range []struct{ language, text, want string }{
		{"en", "Would you make me two in white? I pass Fernhill every day on my way home from work.", "Fernhill"},
		{"en", "I'm at uni near Central so that one's easiest for pickup", "Central"},
		{"en", "It ought to be black. I can walk to Fernhill.", "Fernhill"},
		{"en", "Yes yes I want it. Color is white. I come take in Central.", "Central"},
		{"fr", "Pourriez-vous les laisser à Fernhill? Ils peuvent être déposés à Fernhill.", "Fernhill"},
		{"es", "De momento uno, negro, y me acerco yo a Central.", "Central"},
		{"es", "Yo llego a traerlo a Millbrook con mis dos patojos.", "Millbrook"},
		{"en", "I study near Central. One of these in purple, please.", ""},
		{"en", "I live behind Fernhill and would like one in grey.", ""},
		{"fr", "Faudrait que je l'aie en main ce jour-là.", ""},
	} {
		if got := r.Understand(Input{Text: c.text, Language: c.language, Date: monday}).Pickup; got != c.want {
			t.Errorf("%q: collected at %q, want %q", c.text, got, c.want)
		}
	}
}

// One branch for another changes nothing else, so that nobody need read it; what else is
// to change beside it is not read.
func TestBranchForAnother(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for _, c := range []struct {
		language, text string
		unread         bool
	}{
		{"en", "I will collect it at Fernhill instead.", false},
		{"en", "The treasurer is off sick. Could the knobs be left at Fernhill instead of Central?", false},
		{"fr", "Je passerai plutôt le chercher à Fernhill.", false},
		{"fr", "Un petit changement : notre local déménage. Nous viendrons finalement chercher les plaquettes à Fernhill et non à Central.", false},
		{"es", "Mejor lo recojo en Fernhill, en lugar de Central.", false},
		{"es", "Un cambio: pasaré a recogerlo a Fernhill.", false},
		{"en", "Make it thicker instead, and I'll collect it at Fernhill.", true},
		{"fr", "Faites-le plus épais, et je passerai le chercher à Fernhill.", true},
		{"es", "Háganlo más grueso, y lo recojo en Fernhill.", true},
	} {
		w := r.Understand(Input{Text: c.text, Language: c.language, Date: monday, Answer: true, Earlier: job.Wishes{Copies: ptr(7), Colours: []string{"blue"}, Pickup: "Central"}})
		if unread := len(w.Unread) > 0; w.Pickup != "Fernhill" || unread != c.unread || w.Answer == job.Accept {
			t.Errorf("%q: collected at %q, unread %v, %q", c.text, w.Pickup, w.Unread, w.Answer)
		}
	}
}

// The Spanish "que" without its accent asks nothing.
func TestSpanishQueAsksNothing(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for text, want := range map[string]job.Reply{
		"Sí, sale, háganlas por favor, que con este calor me urgen": job.Accept,
		"Sí, adelante, qué día puedo ir":                            job.Question,
	} {
		if got := r.Understand(Input{Text: text, Language: "es", Date: monday, Answer: true}).Answer; got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// A yes in a sentence of its own, beside a question, is told as such; not where anything
// else holds back, and where the question wishes something.
func TestYesBesideAQuestion(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for _, c := range []struct {
		language, text string
		agrees         bool
	}{
		{"en", "Yes, please go ahead. Could my brother pick it up for me?", true},
		{"en", "Yes, please go ahead. Is it safe in a dishwasher?", true}, // whoever reads it knows that the yes may depend on it
		{"fr", "Oui, allez-y. Est-ce que mon chum peut aller le chercher à ma place?", true},
		{"es", "Está perfecto, sí, imprímanlo. Oigan, ¿y puede pasar mi primo a recogerlo en mi lugar?\nEmiliano", true},
		{"en", "Yes, please go ahead. Could my friend have one too?", false},
		{"en", "Yes, please go ahead if my brother may pick it up. May he?", false},
		{"en", "Yes, please go ahead, but when will it be ready?", false},
		{"en", "Yes, please go ahead. When will it be ready? I need it by Friday or not at all.", false},
		{"en", "Should I say yes, go ahead? When will it be ready?", false},
		{"en", "Yes, please go ahead. Could it be green?", false},
		{"fr", "Oui, allez-y. Pourriez-vous en faire deux?", false},
		{"es", "Sí, adelante. ¿Podría ser en verde?", false},
	} {
		w := r.Understand(Input{Text: c.text, Language: c.language, Date: monday, Answer: true, Earlier: job.Wishes{Copies: ptr(1), Colours: []string{"red"}, Pickup: "Central"}})
		if w.Agrees != c.agrees || w.Answer == job.Accept {
			t.Errorf("%q: agrees %v, %q", c.text, w.Agrees, w.Answer)
		}
	}
}

// A day that the writer takes back is none, and a yes beside it is one.
func TestDayTakenBack(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for _, c := range []struct{ language, text string }{
		{"en", "The fair has been put back a month, so forget what I said about Saturday, there's no rush now. Yes, print them at the price you gave."},
		{"fr", "Oubliez ce que j'ai dit pour samedi, la fête est remise. Oui, allez-y."},
		{"es", "Olviden lo que dije del sábado, la feria se pospuso. Sí, adelante."},
	} {
		w := r.Understand(Input{Text: c.text, Language: c.language, Date: monday, Answer: true, Earlier: job.Wishes{Copies: ptr(10), Colours: []string{"green"}, Pickup: "Central"}})
		if w.NeededBy != "" || len(w.Unread) > 0 || w.Answer != job.Accept {
			t.Errorf("%q: by %q, unread %v, %q", c.text, w.NeededBy, w.Unread, w.Answer)
		}
	}
}

// A no with thanks below the question about supports is a no to them, and leaves the yes
// beside it one; as all that the letter says, it is left to a person. A no to the job stays one.
func TestNoToTheSupports(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	asks := map[string]string{"en": "May we print it with supports?", "fr": "Voulez-vous des supports?", "es": "¿Ponemos soportes?"}
	for _, c := range []struct {
		language, text, under, supports string
		want                            job.Reply
	}{
		{"en", "Yes, please print it.", "No, thanks.", "no", job.Accept},
		{"fr", "Oui, allez-y.", "Non, merci.", "no", job.Accept},
		{"es", "Sí, adelante.", "No, gracias.", "no", job.Accept},
		{"en", "Yes, please print it.", "Cancel it.", "", ""},
		{"en", "No, thanks.", "", "", ""},
		{"fr", "Non, merci.", "", "", ""},
		{"es", "No, gracias.", "", "", ""},
		{"en", "No, thanks, please cancel the order.", "", "", job.Decline},
	} {
		in := Input{Text: c.text, Language: c.language, Date: monday, Answer: true, Questions: []string{asks[c.language]}}
		if c.under != "" {
			in.Inline = []job.Inline{{Quoted: "> 1. " + asks[c.language], Text: c.under}}
			in.Text += "\n\n" + c.under
		}
		if w := r.Understand(in); w.Answer != c.want || c.supports != "" && w.Supports != c.supports {
			t.Errorf("%q with %q below: %q, supports %q; want %q", c.text, c.under, w.Answer, w.Supports, c.want)
		}
	}
}

// What only brings something agrees to nothing.
func TestHereItIsAgreesToNothing(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for language, texts := range map[string][]string{
		"en": {"Here it is.", "Here you go.", "Here you go, the form.", "See attached.", "Hi, here you go.", "And here it is.", "Okay, here it is.", "OK here you go", "Yes, here it is.", "Yes, attached."},
		"fr": {"Le voici.", "Voilà.", "Ci-joint.", "Et voilà.", "Tenez, le voilà.", "Oui, le voici."},
		"es": {"Aquí está.", "Ahí les va.", "Pues aquí está.", "Hola, aquí lo tienen.", "Ya está.", "Sí, aquí está."},
	} {
		for _, text := range texts {
			if w := r.Understand(Input{Text: text, Language: language, Date: monday, Answer: true}); w.Answer != "" {
				t.Errorf("%q: %q", text, w.Answer)
			}
		}
	}
	for text, language := range map[string]string{"Here it is: yes, please go ahead.": "en", "Here you go. Print away!": "en", "Here you go, signed. Yes please.": "en", "Voici ma réponse : oui, allez-y.": "fr", "Aquí va mi respuesta: sí, adelante.": "es"} {
		if w := r.Understand(Input{Text: text, Language: language, Date: monday, Answer: true}); w.Answer != job.Accept {
			t.Errorf("%q: %q", text, w.Answer)
		}
	}
}

// All of those that were offered, by their number: what is said of further ones beside it
// holds nothing back, unless it wishes something.
func TestYesToAllByTheirNumber(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for _, c := range []struct {
		language, text string
		parts          int
		want           job.Reply
	}{
		{"en", "That suits us very well. Yes please, print all five. I shall think about the other two\nwith the class.", 5, job.Accept},
		{"en", "Yes please, print all five. The other two can wait.", 5, job.Accept},
		{"fr", "Oui, imprimez toutes les cinq. Je vais réfléchir pour les deux autres.", 5, job.Accept},
		{"es", "Sí, impriman las cinco. Ya pensaré en las otras dos.", 5, job.Accept},
		{"en", "Yes please, print all five. I shall think about the other two.", 7, ""}, // which five?
		{"en", "Yes please, print all five. The other two in red.", 5, ""},
		{"en", "Yes please, print all five. Cancel the others.", 5, ""},
		{"en", "Yes please, print it. I shall think about the other two.", 3, ""},
	} {
		w := r.Understand(Input{Text: c.text, Language: c.language, Date: monday, Answer: true, Parts: c.parts, Earlier: job.Wishes{Copies: ptr(1), Colours: []string{"blue"}, Pickup: "Central"}})
		if got := w.Answer == job.Accept; got != (c.want == job.Accept) {
			t.Errorf("%q of %d: %q", c.text, c.parts, w.Answer)
		}
	}
}

// An exclamation and a face hold nothing back: "what a pity that there is none :( then purple".
func TestAnExclamationAsksNothing(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for _, c := range []struct{ language, question, text, colour string }{
		{"es", "¿De qué color?", "ay qué mal que no hay :( bueno, entonces morado. sí lo quiero, háganlo porfa!!\nximena", "purple"},
		{"es", "¿De qué color?", "Qué lástima. Entonces morado. Sí, adelante.", "purple"},
		{"en", "Which colour?", "What a pity :( Then in purple. Yes, please print it.", "purple"},
		{"fr", "Quelle couleur?", "Quel dommage :( Alors en violet. Oui, allez-y.", "purple"},
	} {
		w := r.Understand(Input{Text: c.text, Language: c.language, Date: monday, Answer: true, Questions: []string{c.question}})
		if w.Answer != job.Accept || len(w.Colours) != 1 || w.Colours[0] != c.colour || len(w.Unread) > 0 {
			t.Errorf("%q: %q in %v, unread %v", c.text, w.Answer, w.Colours, w.Unread)
		}
	}
}

// One of it, as it is said in other words; and the number of the files of a letter, which is
// no count.
func TestOneOfIt(t *testing.T) {
	h := rules.Default()
	r := New(h.Words, h.Library.Branches, h.Materials)
	for text, language := range map[string]string{"Lo quiero en azul. Es uno nomás.": "es", "Lo quiero en azul. Nomás uno.": "es", "Lo quiero en azul. Solo es uno.": "es", "I'd like it in blue. It is one only.": "en"} {
		if w := r.Understand(Input{Text: text, Language: language, Date: monday}); w.Copies == nil || *w.Copies != 1 || len(w.Unread) > 0 {
			t.Errorf("%q: %v copies, unread %v", text, w.Copies, w.Unread)
		}
	}
	for text, language := range map[string]string{"All three pieces in blue, please.": "en", "Toutes les trois pièces en bleu, s'il vous plaît.": "fr", "Todas las tres piezas en azul, por favor.": "es"} {
		if w := r.Understand(Input{Text: text, Language: language, Date: monday, Parts: 3}); w.Copies != nil || len(w.Unread) > 0 || len(w.Colours) != 1 {
			t.Errorf("%q: %v copies, unread %v, %v", text, w.Copies, w.Unread, w.Colours)
		}
	}
}
