package wishes

import (
	"testing"

	"meshclerk/intake/job"
)

// notCounts speak of numbers that count no copies.
var notCounts = []string{
	"I need 2 hours to get there.", "My 3 kids love it.", "It uses M3 screws.", "It takes two M5 bolts.", "I have 4 cats.", "Make it 2 inches wide.", "Make 2 holes in it.",
	"Please print it in 2 colours.", "Please print it in two halves.", "We are 5 people.", "It is for grade 4.", "Room 12 please.", "I live at number 7.", "Print at 3 walls.",
	"My son is 9.", "He turns 10 on Sunday.", "It weighs 20 g.", "I would like to pay 5 dollars.", "I'd like 10% infill.", "Print with 3 perimeters.", "Layer height 0.2 please.",
	"I came by at 2 pm.", "I can come at 4 or 5.", "See page 3.", "Option 2 please.", "I need 1/2 inch clearance.", "It holds 6 AA batteries.", "It has 4 legs.", "Two of my friends have one.",
	"I need 30 minutes to explain.", "I would like 2 more questions answered.", "I want one more thing.", "One of these days I will learn it.", "One question: does it print?",
	"The one in the file is wrong.", "This one please.", "Print the second one.", "I like the blue one.", "I need this one by Friday.", "Version 2 is attached.", "Attached are 3 files.",
	"There are 2 files in the zip.", "I have printed 12 copies before.", "Last year you printed 4 of these.", "It is 10 x 20 x 5 mm.", "Scale it 2x the size.", "Make it 3 times as big.",
	"My card is 12345.", "Call me at 555-0142.", "The deadline is December 12.", "I need it by the 3rd.", "In 3 weeks please.", "The box comes in 4 pieces.", "It consists of 3 parts.",
	"I read your 2 emails.", "It took me 5 tries.", "Nozzle 0.4, bed 60.", "205 C works well.", "I am 68 years old.", "It was 35 dollars.", "Between 2 and 3 copies.", "At least 5 copies.",
	"Up to 10 copies.", "Two or three copies.", "Not 2 copies.", "How much are 2 hours of printing?", "2026 was a good year.", "Please add 2 mm to the wall.", "Give me 2 days.",
	"I want 2 of the holes closed.", "Print it in one piece.", "I need one of those agreement forms.", "Get back to me in 2 days.", "Send me 2 copies of the agreement.", "I need 15 minutes with a 3D person.",
	"J'ai 3 enfants.", "Il me faut 2 heures.", "J'ai besoin de 2 jours.", "Imprimez-le en 2 couleurs.", "Mon fils a 8 ans.", "Je voudrais un dragon.", "Imprimez-le en deux parties.", "J'ai deux questions.",
	"Tengo 3 hijos.", "Necesito 2 horas.", "Mi hija cumple 6 años.", "Quiero un dragón.", "Tengo dos preguntas.", "Imprímanlo en dos colores.",
}

// TestNoFalseCount: none of those numbers is a count, alone or after a greeting.
func TestNoFalseCount(t *testing.T) {
	r := houseReader()
	for _, text := range notCounts {
		for _, letter := range []string{text, "Hello,\n\nhere is my file. " + text + "\n\nThanks,\nVera"} {
			if w := r.Understand(Input{Text: letter, Date: monday}); w.Copies != nil {
				t.Errorf("%q: %d copies", letter, *w.Copies)
			}
		}
	}
}

// notColours speak of colours that are not wished.
var notColours = []string{
	"My car is red.", "It goes on my black bike.", "I saw the red sample.", "The green bin is full.", "My name is Jordan White.", "Is blue available?", "Do you have it in green?",
	"We met in the Red Lion.", "It broke on Black Friday.", "I love orange juice.", "The one you printed last year was white.", "My black cat knocked it over.", "It is for a blue wall.",
	"The red one broke.", "He wears a green jacket.", "red dragon.stl is attached.", "See black_vase.stl.", "What would it look like in blue?", "I live on Greenwood Avenue.",
	"The file shows it in grey, ignore that.", "I read the white paper.", "My eyes are green.", "Which is stronger, black or white filament?", "The form is yellow.", "I will paint it blue myself.",
	"Il est pour ma voiture rouge.", "Le chat noir l'a cassé.", "Avez-vous du bleu?", "Mi coche es rojo.", "¿Tienen azul?", "Es para mi bicicleta negra.",
}

// TestNoFalseColour: none of those is a wish for a colour.
func TestNoFalseColour(t *testing.T) {
	r := houseReader()
	for _, text := range notColours {
		for _, letter := range []string{text, "Hello,\n\nhere is my file. " + text + "\n\nThanks,\nVera"} {
			if w := r.Understand(Input{Text: letter, Date: monday}); len(w.Colours) > 0 {
				t.Errorf("%q: %v", letter, w.Colours)
			}
		}
	}
}

// notSizes speak of lengths and factors that are not wished for the part.
var notSizes = []string{
	"I am 6 feet tall.", "My shelf is 30 cm wide.", "The hole is 8 mm wide.", "Layer height 0.2 mm.", "It is 10 cm tall in the file.", "The wall is 2 mm thick.", "It was 12 cm tall last time.",
	"It goes around a 40 mm wide pole.", "The tank is 50 cm long.", "At most 10 cm tall.", "Between 8 and 10 cm tall.", "8-10 cm tall.", "The door is 2 m high.", "My bed is 220 mm wide.",
	"I live 2 km away.", "It is for a 5 mm wide slot.", "It's 1:10 scale.", "20% infill.", "I want a 20% discount.", "I'm 100% sure.", "50% of it is hollow.", "Is it possible that it is 10 cm tall?",
	"The lamp stands 40 cm high.", "My fence is 4 feet high.", "Mon étagère est 30 cm de large.", "Mi estante mide 30 cm de ancho.", "Je mesure 1 m 80.", "The original is 30 cm tall.",
}

// TestNoFalseSize: none of those is a wish for a size or a scale.
func TestNoFalseSize(t *testing.T) {
	r := houseReader()
	for _, text := range notSizes {
		for _, letter := range []string{text, "Hello,\n\nhere is my file. " + text + "\n\nThanks,\nVera"} {
			w := r.Understand(Input{Text: letter, Date: monday})
			if w.Size != nil {
				t.Errorf("%q: size %v", letter, *w.Size)
			}
			if w.Scale != nil {
				t.Errorf("%q: scale %v", letter, *w.Scale)
			}
		}
	}
}

// TestRepeatedCount: the offer's own count, said once more with an article, is read
// and changes nothing; a number that counts other things is none.
func TestRepeatedCount(t *testing.T) {
	r, two := houseReader(), 2
	for text, want := range map[string]int{"Oui pour les 2 en rouge, allez-y.": 2, "Allez-y. Mes 2 enfants ont hâte.": 0, "Oui, allez-y.": 0} {
		w := r.Understand(Input{Text: text, Language: "fr", Answer: true, Date: monday, Earlier: job.Wishes{Copies: &two, Colours: []string{"red"}}})
		got := 0
		if w.Copies != nil {
			got = *w.Copies
		}
		if got != want || w.Answer != job.Accept {
			t.Errorf("%q: %d copies and %q, want %d and an acceptance", text, got, w.Answer, want)
		}
	}
}

// "N times" and a number that takes the place of another are counts, in each language;
// how many times as large, how often it was printed and other ranges are none.
func TestTimesAndMovedCounts(t *testing.T) {
	r := houseReader()
	for text, c := range map[string]struct {
		lang string
		want int // 0 is none
	}{
		"Might I ask you to print the attached page clip twenty-four times, in black?": {"en", 24},
		"Please print the attached clip 24 times.":                                     {"en", 24},
		"Please print the attached clip 3 times as large.":                             {"en", 0},
		"Please print it 3 times the size.":                                            {"en", 0},
		"I have printed it 3 times.":                                                   {"en", 0},
		"Kindly amend the quantity from 6 to 16.":                                      {"en", 16},
		"Please change the order from two to four.":                                    {"en", 4},
		"Please change the quantity from 6 to 16 or 20.":                               {"en", 0},
		"The quantity could be from 6 to 16.":                                          {"en", 0},
		"The shop is open from 6 to 16.":                                               {"en", 0},
		"Pls quote for 50 x mudflap washer as attd. Black.":                            {"en", 50},
		"Veuillez imprimer la pince jointe vingt-quatre fois, en noir.":                {"fr", 24},
		"Veuillez l'imprimer 3 fois plus grande.":                                      {"fr", 0},
		"Veuillez modifier la quantité de 6 à 16.":                                     {"fr", 16},
		"Merci de me faire un devis pour 50 x rondelle.":                               {"fr", 50},
		"Impriman la pinza adjunta veinticuatro veces, en negro.":                      {"es", 24},
		"Imprímanla 3 veces más grande.":                                               {"es", 0},
		"Favor de modificar la cantidad de 6 a 16.":                                    {"es", 16},
		"Cotizar 50 x arandela, negro.":                                                {"es", 50},
	} {
		w := r.Understand(Input{Text: text, Language: c.lang})
		got := 0
		if w.Copies != nil {
			got = *w.Copies
		}
		if got != c.want {
			t.Errorf("%q: %d copies, want %d (unread %v)", text, got, c.want, w.Unread)
		}
	}
}
