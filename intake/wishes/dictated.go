package wishes

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"meshclerk/rules"
)

// signOf are the signs by their names in the table signs of words.toml.
var signOf = map[string]string{"exclamation": "!", "question": "?", "stop": ".", "semicolon": ";", "line": "\n", "paragraph": "\n\n", "stopline": ".\n",
	"comma": ",", "period": ".", "colon": ":"}

// dictation finds the signs that were spoken in one language: those that are hardly ever
// words of a letter, and those that are words too.
type dictation struct{ spoken, maybe signs }

// signs are the words for some signs, and what finds them as words of their own.
type signs struct {
	shape *regexp.Regexp // nil when there are none
	sign  map[string]string
}

func newDictation(words rules.Words, language string) dictation {
	sure, maybe := map[string]string{}, map[string]string{}
	for name, ways := range words.Signs[language] {
		list := sure
		if name == "comma" || name == "period" || name == "colon" {
			list = maybe
		}
		for _, way := range ways {
			list[strings.Map(plainApostrophe, strings.ToLower(way))] = signOf[name]
		}
	}
	return dictation{newSigns(sure), newSigns(maybe)}
}

func newSigns(sign map[string]string) signs {
	var ways []string
	for way := range sign {
		ways = append(ways, strings.ReplaceAll(regexp.QuoteMeta(way), "'", "['’]"))
	}
	if len(ways) == 0 {
		return signs{}
	}
	slices.SortFunc(ways, func(a, b string) int { return cmp.Or(cmp.Compare(len(b), len(a)), cmp.Compare(a, b)) })
	return signs{regexp.MustCompile(`(?i)\s+(` + strings.Join(ways, "|") + `)(?:[\s.,;!?]|$)`), sign}
}

// namesSign ends with a word that makes the next one a thing: "a question mark on it".
var namesSign = regexp.MustCompile(`(?i)(?:^|[\s'’])(?:an?|the|this|that|my|your|its|each|every|no|with|une?|le|la|les|ce|cette|au|du|de|mon|d|l|el|los|las|este|esta|mi|en|del|al)$`)

// read writes the signs that were spoken as those signs. The words that are signs only
// sometimes are, where others were spoken, or where more than one of them stands in a
// letter without a written sign.
func (d *dictation) read(text string) string {
	out, said := d.spoken.write(text)
	more, n := d.maybe.write(out)
	if n > 0 && (said > 0 || n > 1 && !strings.ContainsAny(text, ".,")) {
		return more
	}
	return out
}

// write puts the signs in the place of their words and counts them.
func (s *signs) write(text string) (string, int) {
	if s.shape == nil {
		return text, 0
	}
	var b strings.Builder
	at, n := 0, 0
	for _, m := range s.shape.FindAllStringSubmatchIndex(text, 200) {
		if namesSign.MatchString(text[at:m[0]]) {
			continue
		}
		b.WriteString(text[at:m[0]] + s.sign[strings.Map(plainApostrophe, strings.ToLower(text[m[2]:m[3]]))])
		at, n = m[3], n+1
	}
	return b.String() + text[at:], n
}
