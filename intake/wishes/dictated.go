package wishes

import (
	"regexp"
	"strings"
)

// sign is a punctuation sign in the words in which people dictate it.
type sign struct{ words, sign string }

// spokenSigns are hardly ever words of a letter; maybeSigns are words too.
var (
	spokenSigns = map[string][]sign{
		"en": {{"exclamation mark", "!"}, {"exclamation point", "!"}, {"question mark", "?"}, {"full stop", "."}, {"semicolon", ";"}, {"new line", "\n"}, {"new paragraph", "\n\n"}},
		"fr": {{"point d'exclamation", "!"}, {"point d’exclamation", "!"}, {"point d'interrogation", "?"}, {"point d’interrogation", "?"}, {"point final", "."}, {"point virgule", ";"}, {"à la ligne", "\n"}, {"nouveau paragraphe", "\n\n"}},
		"es": {{"signo de exclamación", "!"}, {"signo de admiración", "!"}, {"signo de interrogación", "?"}, {"punto final", "."}, {"punto y aparte", ".\n"}, {"punto y seguido", "."}, {"punto y coma", ";"}, {"nueva línea", "\n"}},
	}
	maybeSigns = map[string][]sign{
		"en": {{"comma", ","}, {"period", "."}, {"colon", ":"}},
		"fr": {{"virgule", ","}, {"point", "."}, {"deux points", ":"}},
		"es": {{"coma", ","}, {"punto", "."}, {"dos puntos", ":"}},
	}
	spoken, maybe = shapes(spokenSigns), shapes(maybeSigns)
)

// shapes are those that find the signs of each language as words of their own.
func shapes(lists map[string][]sign) map[string]*regexp.Regexp {
	out := map[string]*regexp.Regexp{}
	for language, list := range lists {
		var words []string
		for _, s := range list {
			words = append(words, s.words)
		}
		out[language] = regexp.MustCompile(`(?i)\s+(` + strings.Join(words, "|") + `)(?:[\s.,;!?]|$)`)
	}
	return out
}

// namesSign ends with a word that makes the next one a thing: "a question mark on it".
var namesSign = regexp.MustCompile(`(?i)(?:^|[\s'’])(?:an?|the|this|that|my|your|its|each|every|no|with|une?|le|la|les|ce|cette|au|du|de|mon|d|l|el|los|las|este|esta|mi|en|del|al)$`)

// dictated reads the signs that were spoken as those signs. The words that are signs only
// sometimes are, where others were spoken, or where more than one of them stands in a
// letter without a written sign.
func dictated(text, language string) string {
	out, said := writeSigns(text, spoken[language], spokenSigns[language])
	more, n := writeSigns(out, maybe[language], maybeSigns[language])
	if n > 0 && (said > 0 || n > 1 && !strings.ContainsAny(text, ".,")) {
		return more
	}
	return out
}

// writeSigns puts the signs in the place of their words and counts them.
func writeSigns(text string, shape *regexp.Regexp, list []sign) (string, int) {
	if shape == nil {
		return text, 0
	}
	var b strings.Builder
	at, n := 0, 0
	for _, m := range shape.FindAllStringSubmatchIndex(text, 200) {
		if namesSign.MatchString(text[at:m[0]]) {
			continue
		}
		for _, s := range list {
			if strings.EqualFold(s.words, text[m[2]:m[3]]) {
				b.WriteString(text[at:m[0]] + s.sign)
				at, n = m[3], n+1
			}
		}
	}
	return b.String() + text[at:], n
}
