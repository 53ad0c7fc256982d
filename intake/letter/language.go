package letter

import (
	"maps"
	"slices"
	"strings"
	"unicode"

	"meshclerk/rules"
)

// stopWords are words that a letter can hardly do without in one language and
// that the other two do not use, or hardly. Common knowledge, no source.
var stopWords = map[string]string{
	"en": `the and is are was were be been have has had do does did will would could should can may must i you he she it we they my
		your his her its our their me him them us this that these those with without from for of to in on at by as an if or but not
		please thanks thank hello hi dear regards best sincerely print printed printing need want would like how what when where
		which who just about there here any some one two three also sent attached file need by yes no sounds go ahead great ta`,
	"fr": `le la les un une des du de et est sont était être avoir ai as avons avez ont je tu il elle nous vous ils elles mon ma mes
		ton ta tes votre vos notre nos son sa ses ce cet cette ces dans avec sans pour par sur sous chez que qui quoi dont où ou mais
		donc pas ne plus très bien oui non bonjour bonsoir merci salut madame monsieur cordialement svp voici voilà imprimer
		impression imprimez imprimé pourriez pouvez puis voudrais aimerais souhaite besoin fichier pièce joint jointe ci aussi
		quel quelle quand comment combien d'accord parfait jour au aux`,
	"es": `el la los las un una unos unas y e o de del en es son era ser estar está están estoy he ha han hemos yo tú él ella nosotros
		ustedes usted mi mis tu tus su sus nuestro nuestra este esta esto estos estas ese esa eso con sin para por sobre que quien
		cual cuando cómo como dónde cuánto cuánta cuesta pero no sí más muy bien hola buenos buenas días tardes gracias saludos
		atentamente favor quisiera quiero necesito podrían podría pueden puede imprimir impresión imprima impreso archivo adjunto
		adjunta adjunté también al le les acuerdo perfecto`,
}

// weighed is the points that a word gives to each language.
type weighed map[string]map[string]float64

// weigh gives each word one point, shared among the languages that use it: our words,
// and those by which the house knows a language (the cue common in words.toml), which
// may be one more than ours.
func weigh(cues rules.Lexicon) weighed {
	weights := weighed{}
	add := func(lang, w string) {
		if weights[w] == nil {
			weights[w] = map[string]float64{}
		}
		weights[w][lang] = 1
	}
	for lang, list := range stopWords {
		for _, w := range strings.Fields(list) {
			add(lang, w)
		}
	}
	for lang, ways := range cues {
		for _, w := range ways["common"] {
			add(lang, strings.ToLower(w))
		}
	}
	for _, langs := range weights {
		for lang := range langs {
			langs[lang] = 1 / float64(len(langs)*len(langs))
		}
	}
	return weights
}

// hints are letters that point to one language.
var hints = map[rune]string{'ñ': "es", '¿': "es", '¡': "es", 'í': "es", 'ó': "es", 'á': "es", 'ú': "es",
	'ç': "fr", 'è': "fr", 'ê': "fr", 'à': "fr", 'ù': "fr", 'œ': "fr", 'î': "fr", 'ô': "fr", 'â': "fr", 'û': "fr"}

// elided are the words that French shortens: l'objet, j'ai, qu'il.
var elided = map[string]bool{"l'": true, "d'": true, "j'": true, "c'": true, "n'": true, "m'": true, "s'": true, "t'": true, "qu'": true}

const scoredBytes = 20000 // of a text are enough to tell its language

// language returns the language of a letter, e.g. "en", judged from its own text
// and from its subject where the text says too little. The first of house is the
// answer when nothing can be told.
func language(text, subject string, house []string, cues rules.Lexicon) string {
	fallback := "en"
	if len(house) > 0 {
		fallback = house[0]
	}
	scores, weights := map[string]float64{}, weigh(cues)
	weights.score(scores, text[:min(len(text), scoredBytes)], 1)
	weights.score(scores, subject, 0.5)
	return highest(scores, fallback)
}

// highest is the language with most points, or the fallback where none has more.
func highest(scores map[string]float64, fallback string) string {
	best := fallback
	for _, lang := range slices.Sorted(maps.Keys(scores)) {
		if scores[lang] > scores[best] {
			best = lang
		}
	}
	return best
}

// A text of so few words is taken for another language than the conversation's only when
// that has a third of the words more: "Smashing, ta very much!" has one French word.
const (
	fewWords = 8
	ahead    = 1.0 / 3
)

// Language returns the language of an answer's own text. A word or two may tell
// nothing: then it is the one that the conversation was held in.
func Language(text, before string, words rules.Words) string {
	scores := map[string]float64{}
	weigh(words.Cues).score(scores, text[:min(len(text), scoredBytes)], 1)
	best := highest(scores, before)
	if n := len(strings.Fields(text)); n < fewWords && scores[best]-scores[before] < ahead*float64(n) {
		return before
	}
	return best
}

func (weights weighed) score(scores map[string]float64, text string, weight float64) {
	text = strings.ReplaceAll(strings.ToLower(text), "’", "'")
	if mayHoldLink(text) {
		text = webLink.ReplaceAllString(text, " ")
	}
	for _, r := range text {
		if lang := hints[r]; lang != "" {
			scores[lang] += 0.3 * weight
		}
	}
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && r != '\'' }) {
		for lang, points := range weights[w] {
			scores[lang] += points * weight
		}
		if elided[strings.SplitAfter(w, "'")[0]] {
			scores["fr"] += 0.7 * weight
		}
	}
}
