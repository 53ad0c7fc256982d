package draft

import (
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"meshclerk/templates"
)

// ease is how easily a text reads, from 0 (hard) to 100 (easy), by a published
// formula of its language; the formulas are cited from memory.
//
//   - English: R. Flesch, "A new readability yardstick", Journal of Applied Psychology 32 (1948).
//   - French: L. Kandel and A. Moles, "Application de l'indice de Flesch à la langue française", Cahiers d'études de radio-télévision 19 (1958).
//   - Spanish: J. Fernández Huerta, "Medidas sencillas de lecturabilidad", Consigna 214 (1959), with words for each sentence.
func ease(lang, text string) float64 {
	words, sentences, syllables := 0.0, 0.0, 0.0
	for _, s := range sentencesOf(text) {
		n := 0
		for _, w := range strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && r != '\'' }) {
			n++
			syllables += float64(syllablesIn(lang, w))
		}
		if n > 0 {
			words, sentences = words+float64(n), sentences+1
		}
	}
	long, heavy := words/sentences, syllables/words
	switch lang {
	case "fr":
		return 207 - 1.015*long - 73.6*heavy
	case "es":
		return 206.84 - 60*heavy - 1.02*long
	}
	return 206.835 - 1.015*long - 84.6*heavy
}

var (
	notRead     = regexp.MustCompile(`(?m)^-+$|^.*\S {2,}\S.*$|https?://\S+|\S+\.(?:stl|step|dat|zip)\b`) // rules, tables, addresses, names of files
	endOfPhrase = regexp.MustCompile(`[.?!…](?:\s|$)|\n\n|\n(?:- |\d+\. )`)
)

// sentencesOf are the sentences of a plain letter; a heading and an item of a list are one.
func sentencesOf(text string) []string {
	return endOfPhrase.Split(notRead.ReplaceAllString(text, ""), -1)
}

// syllablesIn counts the syllables of a word by its groups of vowels: near enough for
// an average, and the same for two versions of a text.
func syllablesIn(lang, word string) int {
	word = strings.ToLower(word)
	n := len(vowelGroups[lang].FindAllString(word, -1))
	if mute := muteEnds[lang]; mute != nil && n > 1 && mute.MatchString(word) {
		n--
	}
	return max(1, n)
}

var vowelGroups = map[string]*regexp.Regexp{
	"en": regexp.MustCompile(`[aeiouy]+`),
	"fr": regexp.MustCompile(`[aeiouyàâäéèêëîïôöùûüœ]+`),
	"es": regexp.MustCompile(`[iuü]?[aeoáéó][iuy]?|[íú]|[iuü]+`), // two strong vowels are two syllables, and so is an accent on a weak one
}

var muteEnds = map[string]*regexp.Regexp{
	"en": regexp.MustCompile(`[^aeiouyl]e$|[aeiouy]le$|[^aeioudty]ed$`),
	"fr": regexp.MustCompile(`[^aeiouyéè](?:e|es)$`),
}

// Syllables as dictionaries divide these words (from memory).
func TestSyllables(t *testing.T) {
	for lang, words := range map[string]map[string]int{
		"en": {"print": 1, "we": 1, "printed": 2, "agreement": 3, "library": 3, "file": 1, "answer": 2, "collected": 3, "table": 2, "people": 2, "asked": 1, "working": 2, "supports": 2, "email": 2},
		"fr": {"pièce": 1, "imprimer": 3, "bibliothèque": 4, "courriel": 2, "réponse": 2, "fichier": 2, "lettre": 1, "couleur": 2, "dites": 1, "jours": 1, "filament": 3, "demande": 2},
		"es": {"pieza": 2, "imprimir": 3, "biblioteca": 4, "mensaje": 3, "respuesta": 3, "archivo": 3, "día": 2, "teléfono": 4, "color": 2, "Leo": 2, "acuerdo": 3, "tamaño": 3},
	} {
		for word, want := range words {
			if got := syllablesIn(lang, word); got != want {
				t.Errorf("%s %s: %d syllables, want %d", lang, word, got, want)
			}
		}
	}
}

// offers are the letters that a patron has to read to the end.
var offers = []string{templates.TextQuote, templates.TextSeveral, templates.TextNeedsAgreement, templates.TextChangedQuote}

// before are the words of each letter, and the ease of all and of the offers, as they were
// when a quote took five screens of a telephone.
var before = map[string]struct {
	all, offers float64
	words       map[string]int
}{
	"en": {84.2, 87.0, map[string]int{"accepted": 142, "agreement-arrived": 333, "agreement-expired": 385, "cannot-open": 106, "cannot-print": 203, "changed-quote": 399, "collected": 83, "declined": 96, "failed": 106, "forgotten-attachment": 148, "lapsed": 93, "link": 119, "needs-agreement": 421, "not-collected": 84, "pickup-reminder": 91, "question": 74, "quote": 492, "ready": 174, "reminder": 151, "several": 543, "still-needed": 119, "too-big": 166, "too-long": 177, "unfinished": 129, "unreadable": 135, "withdrawn": 80, "wrong-file-type": 127}},
	"fr": {83.7, 85.6, map[string]int{"accepted": 143, "agreement-arrived": 341, "agreement-expired": 377, "cannot-open": 112, "cannot-print": 201, "changed-quote": 407, "collected": 83, "declined": 100, "failed": 101, "forgotten-attachment": 154, "lapsed": 96, "link": 123, "needs-agreement": 421, "not-collected": 87, "pickup-reminder": 98, "question": 76, "quote": 496, "ready": 191, "reminder": 151, "several": 528, "still-needed": 120, "too-big": 164, "too-long": 171, "unfinished": 131, "unreadable": 143, "withdrawn": 83, "wrong-file-type": 134}},
	"es": {80.7, 81.3, map[string]int{"accepted": 144, "agreement-arrived": 332, "agreement-expired": 376, "cannot-open": 107, "cannot-print": 191, "changed-quote": 403, "collected": 84, "declined": 94, "failed": 99, "forgotten-attachment": 147, "lapsed": 94, "link": 116, "needs-agreement": 413, "not-collected": 85, "pickup-reminder": 98, "question": 74, "quote": 471, "ready": 187, "reminder": 157, "several": 509, "still-needed": 115, "too-big": 157, "too-long": 165, "unfinished": 121, "unreadable": 135, "withdrawn": 83, "wrong-file-type": 129}},
}

// floor is what the letters of each language reach now, rounded down.
var floor = map[string]float64{"en": 85, "fr": 83, "es": 79}

// The ease of all letters of a language, and of its offers, does not fall below what was
// measured.
func TestReadable(t *testing.T) {
	for _, lang := range templates.Languages() {
		all, offered := "", ""
		for name, text := range letterTexts(t, lang) {
			all += text + "\n\n"
			if slices.Contains(offers, name) {
				offered += text + "\n\n"
			}
		}
		t.Logf("%s: all letters read at %.1f (%.1f before), the offers at %.1f (%.1f before)", lang, ease(lang, all), before[lang].all, ease(lang, offered), before[lang].offers)
		if least := min(ease(lang, all), ease(lang, offered)); least < floor[lang] {
			t.Errorf("%s: the letters read at %.1f, less than %.1f", lang, least, floor[lang])
		}
	}
}

// An offer has under 300 words, and under 200 before the details; no other letter is
// longer than it was.
func TestShort(t *testing.T) {
	for _, lang := range templates.Languages() {
		for name, text := range letterTexts(t, lang) {
			n := wordsIn(text)
			if n > before[lang].words[name] {
				t.Errorf("%s/%s has %d words, %d before", lang, name, n, before[lang].words[name])
			}
			if !slices.Contains(offers, name) {
				continue
			}
			first, _, ok := strings.Cut(text, map[string]string{"en": "\nDetails\n", "fr": "\nDétails\n", "es": "\nDetalles\n"}[lang])
			if name == templates.TextSeveral {
				first, _, ok = strings.Cut(text, "\nbracket.stl\n")
			}
			if !ok || n >= 300 || wordsIn(first) >= 200 {
				t.Errorf("%s/%s has %d words, %d before the details (%v)", lang, name, n, wordsIn(first), ok)
			}
		}
	}
}

// The table of word counts in templates/README.md has today's figures.
func TestWordCountsAreTold(t *testing.T) {
	readme, err := os.ReadFile("../../templates/README.md")
	if err != nil {
		t.Fatal(err)
	}
	row := func(what string, figure func(lang string) string) {
		line := "| " + what + " |"
		for _, lang := range []string{"en", "fr", "es"} {
			line += " " + figure(lang) + " |"
		}
		if !strings.Contains(string(readme), line+"\n") {
			t.Errorf("templates/README.md has no line\n%s", line)
		}
	}
	texts := map[string]map[string]string{}
	for _, lang := range templates.Languages() {
		texts[lang] = letterTexts(t, lang)
	}
	for _, name := range append(slices.Clone(offers), templates.TextReady, templates.TextReminder, templates.TextCollected) {
		row("`"+name+"`", func(lang string) string {
			return fmt.Sprintf("%d (%d)", wordsIn(texts[lang][name]), before[lang].words[name])
		})
	}
	row("ease of all letters", func(lang string) string {
		all := ""
		for _, name := range slices.Sorted(maps.Keys(texts[lang])) {
			all += texts[lang][name] + "\n\n"
		}
		return fmt.Sprintf("%.1f (%.1f)", ease(lang, all), before[lang].all)
	})
}

// letterTexts are the plain letters of all cases of a language.
func letterTexts(t *testing.T, lang string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for name, in := range cases(t, lang) {
		m, err := Compose(in)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = m.Plain
	}
	return out
}

// wordsIn counts what has a letter or a digit in it, between spaces at which a line may
// break: "24 g" is one word.
func wordsIn(text string) int {
	n := 0
	for _, w := range strings.Fields(strings.ReplaceAll(text, "\u00a0", "_")) {
		if strings.ContainsFunc(w, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) {
			n++
		}
	}
	return n
}
