package casework

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"meshclerk/intake/job"
	"meshclerk/rules"
)

// said is what a letter's own words are, for looking whether a phrase of the house's
// words stands in them: lower case, without accents and marks.
type said []string

// mostSaid bounds the words of a letter that are looked at.
const mostSaid = 400

func saidIn(text string) said {
	plain := strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Mn, r):
			return -1
		case r == '%' || unicode.IsLetter(r) || unicode.IsDigit(r):
			return unicode.ToLower(r)
		case r == '\'' || r == '’':
			return -1 // "don't" is one word
		}
		return ' '
	}, norm.NFD.String(cut(text, 4000)))
	words := strings.Fields(plain)
	return words[:min(len(words), mostSaid)]
}

// cut gives the first bytes of a text, whole characters only.
func cut(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most], "")
}

// at gives how many words of one of the phrases begin at word i; the longest counts.
func (s said) at(i int, phrases []string) int {
	longest := 0
	for _, p := range phrases {
		want := saidIn(p)
		if n := len(want); n > longest && i+n <= len(s) && slices.Equal(s[i:i+n], want) {
			longest = n
		}
	}
	return longest
}

// onlyOf reports whether nothing is said but some phrases and some single words.
func (s said) onlyOf(phrases []string, own said) bool {
	for i := 0; i < len(s); {
		n := s.at(i, phrases)
		if n == 0 && slices.Contains(own, s[i]) {
			n = 1
		}
		if n == 0 {
			return false
		}
		i += n
	}
	return true
}

// has reports whether one of the phrases stands anywhere.
func (s said) has(phrases []string) bool {
	for i := range s {
		if s.at(i, phrases) > 0 {
			return true
		}
	}
	return false
}

// key gives the stock word whose phrase stands there, the longest first, or "".
func (s said) key(words rules.Lexicon, language string) string {
	found, longest := "", 0
	for _, lang := range []string{"any", language} {
		for stock, ways := range words[lang] {
			for i := range s {
				if n := s.at(i, ways); n > longest || n == longest && n > 0 && stock < found {
					found, longest = stock, n
				}
			}
		}
	}
	return found
}

// courtesies are the parts of speech that a letter of thanks is made of.
var courtesies = []string{"closing", "hello", "filler", "please", "harmless"}

// thumbs are the signs that stand for thanks or for "I have read it".
const thumbs = "👍👌🙏🙂😊😀😃😄❤♥🎉👏💯✅"

// thanks reports whether an answer only thanks, by what was learned of its sentences or
// by its words.
func thanks(l *job.Letter, w rules.Words) bool { return l.Wishes.Courtesy || onlyThanks(l, w) }

// onlyThanks reports whether a letter says nothing but thanks, a greeting, that it was
// received, and its writer's name.
func onlyThanks(l *job.Letter, w rules.Words) bool {
	if strings.ContainsAny(l.Text, "?¿") || len(l.Text) > 600 || len(l.Attachments) > 0 {
		return false
	}
	words, own := saidIn(l.Text), saidIn(l.From.Name)
	for _, name := range own {
		_, size := utf8.DecodeRuneInString(name)
		own = append(own, name[:size]) // "A. Pellow"
	}
	if len(words) == 0 {
		return onlyThumbs(l.Text)
	}
	phrases := slices.Concat(w.Replies[l.Language]["weak"], w.Replies[l.Language]["ok"], w.Replies[l.Language]["thanks"], w.Guards[l.Language]["kindness"])
	for _, c := range courtesies {
		phrases = append(phrases, w.Cues[l.Language][c]...)
	}
	return words.onlyOf(phrases, own)
}

func onlyThumbs(text string) bool {
	found := false
	for _, r := range text {
		switch {
		case strings.ContainsRune(thumbs, r):
			found = true
		case unicode.IsSpace(r), unicode.IsPunct(r), r == 0xFE0F, r >= 0x1F3FB && r <= 0x1F3FF: // the skin's tones
		default:
			return false
		}
	}
	return found
}
