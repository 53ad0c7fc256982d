package draft

import (
	"regexp"
	"strings"
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
	s = oneLine(s)
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

// oneLine drops control characters, among them line breaks.
func oneLine(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, "\ufffd"), func(r rune) bool { return r <= ' ' || r == 0x7f || r == '\u2028' || r == '\u2029' || r == '\u0085' }), " ")
}
