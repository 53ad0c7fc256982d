package wishes

import "slices"

// languages are those whose wishes are read. Which one a letter is in, the room letter
// has told; one in another language is read as English.
var languages = []string{"en", "fr", "es"}

func readable(lang string) string {
	if slices.Contains(languages, lang) {
		return lang
	}
	return languages[0]
}
