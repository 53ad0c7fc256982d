package draft

import (
	"regexp"
	"strings"

	"meshclerk/intake/plain"
)

// replyMarks are what mail programs put before a subject, in several languages.
var replyMarks = regexp.MustCompile(`(?i)^\s*(?:(?:re|ref|réf|fwd?|aw|wg|tr|rv|enc)\s*(?:\[\d+\])?\s*[:\x{ff1a}]\s*)+`)

// bareSubject is a subject without reply marks and without our token.
func bareSubject(s, token string) string {
	if token != "" {
		s = strings.ReplaceAll(s, "["+token+"]", " ")
	}
	return strings.Join(strings.Fields(replyMarks.ReplaceAllString(s, "")), " ")
}

// maxSubject keeps a subject readable in a list of letters, in characters.
const maxSubject = 120

// withToken puts the conversation's token behind a subject, once.
func withToken(s, token string) string {
	s = plain.OneLine(s)
	if token != "" {
		s = strings.Join(strings.Fields(strings.ReplaceAll(s, "["+token+"]", " ")), " ")
	}
	if r := []rune(s); len(r) > maxSubject {
		s = strings.TrimSpace(string(r[:maxSubject-1])) + "…"
	}
	if token == "" {
		return s
	}
	return s + " [" + token + "]"
}
