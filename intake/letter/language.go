package letter

import (
	"strings"
	"unicode"
)

// stopWords are words that a letter can hardly do without in one language and
// that the other two do not use, or hardly. Common knowledge, no source.
var stopWords = map[string]string{
	"en": `the and is are was were be been have has had do does did will would could should can may must i you he she it we they my
		your his her its our their me him them us this that these those with without from for of to in on at by as an if or but not
		please thanks thank hello hi dear regards best sincerely print printed printing need want would like how what when where
		which who just about there here any some one two three also sent attached file need by yes no sounds go ahead great`,
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

var wordWeights = weigh()

// weigh gives each word one point, shared among the languages that use it.
func weigh() map[string]map[string]float64 {
	weights := map[string]map[string]float64{}
	for lang, list := range stopWords {
		for _, w := range strings.Fields(list) {
			if weights[w] == nil {
				weights[w] = map[string]float64{}
			}
			weights[w][lang] = 1
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

// language returns "en", "fr" or "es" for a letter, judged from its own text
// and from its subject where the text says too little. The first of house is the
// answer when nothing can be told.
func language(text, subject string, house []string) string {
	fallback := "en"
	if len(house) > 0 {
		fallback = house[0]
	}
	scores := map[string]float64{}
	score(scores, text[:min(len(text), scoredBytes)], 1)
	score(scores, subject, 0.5)
	best := fallback
	for _, lang := range []string{"en", "fr", "es"} {
		if scores[lang] > scores[best] {
			best = lang
		}
	}
	return best
}

// Language returns the language of an answer's own text. A word or two may tell
// nothing: then it is the one that the conversation was held in.
func Language(text, before string) string {
	return language(text, "", []string{before})
}

func score(scores map[string]float64, text string, weight float64) {
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
		for lang, points := range wordWeights[w] {
			scores[lang] += points * weight
		}
		if elided[strings.SplitAfter(w, "'")[0]] {
			scores["fr"] += 0.7 * weight
		}
	}
}
