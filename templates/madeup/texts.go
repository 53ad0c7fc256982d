package madeup

import (
	"regexp"
	"strings"
	"unicode"
)

// WriteTexts puts the language's reply texts beside its sentences, from the folder of
// the English ones: dir/qps/quote.md and so on, each run of their own words between
// marks. What a text only shows, such as a name, stands outside.
func WriteTexts(english, dir string) error { return rewrite(english, dir, "*.md", markedText) }

var (
	action = regexp.MustCompile(`(?s)\{\{.*?\}\}|\{[^{}]*\}|\[(?:when|for each) [^\]:]*[:\]]|\|\s*when [^:|]*:|\[otherwise\]|\[end\]|\[|\]`)
	// counted is a name with a word for each plural form.
	counted = regexp.MustCompile(`^(\{[^{}:]*:)(?:[^{}|]*\|)*([^{}|]*)\}$`)
	// says is an action whose quoted words a patron reads.
	says    = regexp.MustCompile(`^\{\{-?\s*(?:plural|or)\s`)
	oneForm = regexp.MustCompile(`(plural\s+\S+\s+)"[^"]*"\s+("[^"]*")`)
	// markup is what Markdown does not count among the words, and the end of a sentence,
	// which may be left out alone.
	markup = regexp.MustCompile(`(?m)^\s*(?:#+|[-*]|\d+\.)\s+|[.?!] +|[|*\n<>]+`)
)

// markedText puts marks around the words of a reply text.
func markedText(source string) string {
	head := ""
	if rest, ok := strings.CutPrefix(source, "Subject: "); ok {
		head, source = "Subject: ", rest
	}
	return head + between(source, action, words, func(a string) string {
		if m := counted.FindStringSubmatch(a); m != nil {
			return m[1] + run(m[2]) + "}"
		}
		a = oneForm.ReplaceAllString(a, "$1$2") // the language has no plural
		if !says.MatchString(a) {
			return a
		}
		return quoted.ReplaceAllStringFunc(a, func(s string) string { return `"` + run(s[1:len(s)-1]) + `"` })
	})
}

func words(text string) string {
	return between(text, markup, run, func(m string) string { return m })
}

// run marks words, the blanks around them left out; what has no letter is none.
func run(text string) string {
	if !strings.ContainsFunc(text, unicode.IsLetter) {
		return text
	}
	bare := strings.TrimSpace(text)
	at := strings.Index(text, bare)
	return text[:at] + Begin + bare + End + text[at+len(bare):]
}

// between changes what matches a pattern, and what stands between the matches.
func between(text string, pattern *regexp.Regexp, other, match func(string) string) string {
	var b strings.Builder
	at := 0
	for _, m := range pattern.FindAllStringIndex(text, -1) {
		b.WriteString(other(text[at:m[0]]) + match(text[m[0]:m[1]]))
		at = m[1]
	}
	return b.String() + other(text[at:])
}
