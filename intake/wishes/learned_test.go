package wishes

import (
	"testing"

	"meshclerk/intake/job"
)

// TestLearnedAnswers: what only the tagger knows decides where nothing in the
// letter speaks against it, and never where something does.
func TestLearnedAnswers(t *testing.T) {
	r := houseReader()
	two := 2
	for text, want := range map[string]job.Reply{
		"Hi Nadia,\nThat's a green light from me!\nBest,\nTobiah":                                           job.Accept,
		"That's a green light from me if it is under 5 dollars":                                             "",
		"That's a green light from me! Oh, but can it go in the dishwasher?":                                job.Question,
		"That's a green light from me! But make it three.":                                                  job.Change,
		"cancelenlo x fa, mi mama no me dio permiso":                                                        job.Decline,
		"nvm dont print it found one at the thrift store":                                                   job.Decline,
		"Yes, the box in blue and the lid in yellow. Please go ahead.":                                      job.Accept,
		"Yes, the box in blue and the lid in red. Please go ahead.":                                         job.Change,
		"> That's a green light from me!\n> two in red, please go ahead":                                    "",
		"You asked me to answer yes or no.":                                                                 "",
		"Please print it for the price you said. I am 84 and the cat is 12, and my car is red.\nThank you.": job.Accept,
	} {
		in := Input{Text: text, Language: "en", Answer: true, Date: monday, Earlier: job.Wishes{Copies: &two, Colours: []string{"blue", "yellow"},
			Items: []job.Item{{Part: "box", Copies: 1, Colours: []string{"blue"}}, {Part: "lid", Copies: 1, Colours: []string{"yellow"}}}}}
		if w := r.Understand(in); w.Answer != want {
			t.Errorf("%q is %q, want %q (unread %v)", text, w.Answer, want, w.Unread)
		}
	}
}

// TestWitnesses: what only tells holds nothing back, two witnesses in a sentence
// agree, what repeats the offer changes nothing, and a question is only given
// where something is asked.
func TestWitnesses(t *testing.T) {
	r, two := houseReader(), 2
	for text, want := range map[string]job.Reply{
		"Please go ahead as quoted. I showed it to nobody, there is no one here but the cat, and it never once complained.": job.Accept,
		"Go for it!! my kid cant wait lol":                                              job.Accept,
		"On behalf of the anglers I accept your quotation of $14.75 for two rod hooks.": job.Accept,
		"Please make them as quoted.":                                                   job.Accept,
		"Please make them as quoted but bigger.":                                        job.Change,
		"Could we make it three instead of two?":                                        job.Change,
		"Could we make it three instead of two? And what would that cost?":              job.Change,
		"Yes but":                           "",
		"Yes, if it is under five dollars.": "",
		"Yes, go ahead. What are your opening hours?":                              job.Question,
		"Thank you for the quote. Please close the request, we no longer need it.": job.Decline,
	} {
		in := Input{Text: text, Language: "en", Answer: true, Date: monday, Earlier: job.Wishes{Copies: &two, Colours: []string{"blue"}}}
		if w := r.Understand(in); w.Answer != want {
			t.Errorf("%q is %q, want %q (unread %v)", text, w.Answer, want, w.Unread)
		}
	}
}

// TestYesToSomethingElse: a yes that goes on with an answer to some question is no
// consent.
func TestYesToSomethingElse(t *testing.T) {
	r := houseReader()
	for lang, texts := range map[string][]string{
		"en": {"Yes, in inches, sorry.", "Yes, that is the right file.", "Yes, I am over eighteen.", "Yes, we met on Monday.", "Yes, millimetres."},
		"fr": {"Oui, en pouces, désolé.", "Oui, c'est le bon fichier.", "Oui, en millimètres."},
		"es": {"Sí, en pulgadas, perdón.", "Sí, es el archivo correcto.", "Sí, en milímetros."},
	} {
		for _, text := range texts {
			if w := r.Understand(Input{Text: text, Language: lang, Answer: true, Date: monday}); w.Answer == job.Accept {
				t.Errorf("%q was taken for an acceptance", text)
			}
		}
	}
}

// TestYesAndNo: yes to one question and a no, or words of declining, below another
// are neither.
func TestYesAndNo(t *testing.T) {
	r := houseReader()
	asked := []string{"Shall we go ahead?", "Is there anything that you would like changed, or shall we cancel it?"}
	for _, text := range []string{"1. Yes, print it.\n2. Cancel it please.", "1. Yes\n2. Please cancel the order.", "1. Yes please\n2. Forget it"} {
		if w := r.Understand(Input{Text: text, Language: "en", Answer: true, Date: monday, Questions: asked}); w.Answer == job.Accept {
			t.Errorf("%q was taken for an acceptance", text)
		}
	}
}

// TestQuotedGivesNothing: the tagger reads no quoted line either.
func TestQuotedGivesNothing(t *testing.T) {
	w := houseReader().Understand(Input{Text: "> I'd like three of the lids, in red\n> 10 cm tall", Quoted: "three in red, go ahead", Language: "en", Answer: true, Date: monday})
	if w.Copies != nil || len(w.Colours) > 0 || w.Size != nil || w.Answer != "" || len(w.Unread) > 0 {
		t.Errorf("a letter of nothing but quoted lines wishes %+v", w)
	}
}

// TestOnlyCourtesy: thanks in other words than the house's lists have are thanks, and
// what tells, asks or complains beside them is more.
func TestOnlyCourtesy(t *testing.T) {
	r := houseReader()
	for text, want := range map[string]bool{
		"Smashing, ta very much!": true, "Wonderful, thanks a million.": true, "Thank you so much, my grandson was over the moon!": true,
		"Thanks, but it broke.": false, "Thanks, but no.": false, "Many thanks. Please print another one.": false, "Thank you, I will come on Friday.": false, "thank you!! when can I come?": false,
	} {
		if w := r.Understand(Input{Text: text, Language: "en", Answer: true, Date: monday}); w.Courtesy != want {
			t.Errorf("%q: courtesy %v", text, w.Courtesy)
		}
	}
	for text, want := range map[string]bool{"Estupendo, muchísimas gracias por todo. Son ustedes muy amables.\nAnselmo": true, "Estupendo, muchísimas gracias por todo.": true, "Gracias, pero está rota.": false} {
		if w := r.Understand(Input{Text: text, Language: "es", Answer: true, Date: monday}); w.Courtesy != want {
			t.Errorf("%q: courtesy %v", text, w.Courtesy)
		}
	}
}

// TestCorrected: a letter says that ours is wrong, or that nothing in it is.
func TestCorrected(t *testing.T) {
	r := houseReader()
	for text, want := range map[[2]string]bool{
		{"en", "Please correct this."}: true, {"en", "Nothing to correct, go ahead."}: false,
		{"fr", "Corrigez et allez-y."}: true, {"fr", "Rien à corriger, imprimez."}: false,
		{"es", "Corríjanlo, por favor."}: true, {"es", "Nada que corregir, impriman."}: false,
	} {
		in := Input{Text: text[1], Language: text[0], Answer: true, Words: r.house.Words, Branches: r.house.Branches, Materials: r.house.Materials}
		if got := newDoc(in.Text, r.lex[in.Language], &in).corrected(); got != want {
			t.Errorf("%q: wrong %v, want %v", text[1], got, want)
		}
	}
}
