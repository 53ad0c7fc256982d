package wishes

import (
	"strings"
	"unicode"
)

// speller knows the house's own words, for words that are misspelt by one letter:
// "blak", "grene", "purpel". It is never asked for words of yes and no.
type speller struct {
	words map[string]tag      // colours, materials, branches and numbers of one word
	near  map[string][]string // the words by themselves with one letter left out
	known map[string]bool     // words of the language that lie near and mean another thing
}

// leastSpelt is how many letters a house word has at least that may be misspelt.
var leastSpelt = map[string]int{"colour": 4, "material": 5, "number": 5, "branch": 6}

func (s *speller) add(w string, t tag) {
	least, ok := leastSpelt[t.group]
	if _, have := s.words[w]; have || !ok || len(w) < least || !isASCII(w) || t.group == "number" && t.key[0] == '0' {
		return
	}
	s.words[w] = t
	for _, left := range leavingOut(w) {
		s.near[left] = append(s.near[left], w)
	}
}

// leavingOut gives a word, and the word without each of its letters.
func leavingOut(w string) []string {
	out := []string{w}
	for i := range len(w) {
		out = append(out, w[:i]+w[i+1:])
	}
	return out
}

// correct gives the phrase that a token misspells by one letter left out, added,
// changed or swapped with its neighbour. Names and words near two of them are none.
func (s *speller) correct(toks []token, i int) (tag, bool) {
	t := &toks[i]
	first := i == 0 || !t.newline && strings.Contains(".!?", toks[i-1].fold)
	if t.kind != word || !isASCII(t.fold) || len(t.fold) < 3 || s.known[t.fold] || unicode.IsUpper(firstRune(t.text)) && !first {
		return tag{}, false
	}
	var best tag
	for _, left := range leavingOut(t.fold) {
		for _, w := range s.near[left] {
			switch c := s.words[w]; {
			case !oneApart(t.fold, w):
			case best.n > 0 && (best.group != c.group || best.key != c.key):
				return tag{}, false
			default:
				best = c
			}
		}
	}
	return best, best.n > 0
}

// oneApart tells whether two words differ by one letter (the distance of Damerau
// and Levenshtein is 1), but not in the first. In short words no letter is changed
// for another: too many words lie near.
func oneApart(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if len(b)-len(a) > 1 || a == b || a[0] != b[0] {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) < len(b) {
		return a[i:] == b[i+1:]
	}
	return len(a) > 4 && a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}
