package tagger

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"meshclerk/rules"
)

// Features are known by a 32-bit hash (FNV-1a); two that fall together share a weight.
type feature = uint32

const (
	fnvStart feature = 2166136261
	fnvPrime feature = 16777619
)

func hash(h feature, s string) feature {
	for i := range len(s) {
		h = (h ^ feature(s[i])) * fnvPrime
	}
	return (h ^ 0xff) * fnvPrime // so that "ab"+"c" is not "a"+"bc"
}

// whole marks the features of acts that are whole words, signs or cues.
const whole feature = 1

func hashByte(h feature, c byte) feature { return (h ^ feature(c)) * fnvPrime }

// Words knows the house's lists: what sort of value a single word is ("colour",
// "number", "unit" …), and the phrases of its cues ("accept", "if", "price" …).
type Words struct {
	class map[string]string
	cues  map[string]map[string][]phrase // by language and first word
}

// phrase is one way of writing a cue.
type phrase struct {
	words []string
	cue   string
}

// cue is a phrase that begins at a token and covers n of them.
type cue struct {
	name string
	n    int
}

// NewWords takes the house's lists.
func NewWords(w rules.Words, branches []rules.Branch, materials []rules.Material) *Words {
	c := &Words{class: map[string]string{}, cues: map[string]map[string][]phrase{}}
	for _, set := range []struct {
		name string
		lex  rules.Lexicon
	}{
		{"colour", w.Colours}, {"number", w.Numbers}, {"times", w.Times}, {"unit", w.Units}, {"material", w.Materials},
		{"day", w.Days}, {"month", w.Months}, {"feast", w.Feasts},
	} {
		for _, keys := range set.lex {
			for _, ways := range keys {
				c.add(set.name, ways)
			}
		}
	}
	for _, m := range materials {
		c.add("material", append([]string{m.Name}, m.Words...))
	}
	for _, b := range branches {
		c.add("branch", append([]string{b.Name}, b.Words...))
	}
	for _, language := range []string{"en", "fr", "es"} {
		c.cues[language] = map[string][]phrase{}
		for _, lex := range []rules.Lexicon{w.Cues, w.Replies, w.Supports, w.Scales, w.Axes} {
			c.addCues(language, lex["any"])
			c.addCues(language, lex[language])
		}
	}
	return c
}

// Hash is the SHA-256 of the lists. Weights read a letter as they were learned only with
// the lists that they were learned with.
func (c *Words) Hash() [32]byte {
	var lines []string
	for word, class := range c.class {
		lines = append(lines, word+" is "+class)
	}
	for language, by := range c.cues {
		for first, phrases := range by {
			for k, p := range phrases {
				lines = append(lines, fmt.Sprint(language, " ", first, " ", k, " ", strings.Join(p.words, " "), " is ", p.cue))
			}
		}
	}
	slices.Sort(lines)
	return sha256.Sum256([]byte(strings.Join(lines, "\n")))
}

// add takes the single words of a list. Of phrases only a branch's words count:
// "a couple" does not make a number of every "a".
func (c *Words) add(name string, ways []string) {
	for _, way := range ways {
		toks := tokens(way)
		for _, t := range toks {
			if old, known := c.class[t.fold]; len(toks) == 1 && (!known || name < old) || name == "branch" && !known && len(t.fold) > 3 {
				c.class[t.fold] = name
			}
		}
	}
}

func (c *Words) addCues(language string, keys map[string][]string) {
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		for _, way := range keys[key] {
			var p phrase
			for _, t := range tokens(way) {
				p.words = append(p.words, t.fold)
			}
			if p.cue = key; len(p.words) > 0 {
				first := p.words[0]
				c.cues[language][first] = append(c.cues[language][first], p)
			}
		}
	}
}

// classify names the sort of each token and the cues that begin there. Digits are
// sorted by their form.
func (c *Words) classify(toks []token, language string) {
	for i := range toks {
		t := &toks[i]
		r, _ := utf8.DecodeRuneInString(t.text)
		switch {
		case isDigit(t.text[0]):
			t.class = figures(t.fold)
		case unicode.IsLetter(r):
			t.class = c.class[t.fold]
		case strings.ContainsRune("½¼¾⅓⅔⅛⅜⅝⅞", r):
			t.class = "fraction"
		}
		for k := range c.cues[language][t.fold] {
			if p := &c.cues[language][t.fold][k]; p.stands(toks[i:]) {
				t.cues = append(t.cues, cue{p.cue, len(p.words)})
				end := &toks[i+len(p.words)-1]
				end.ending = append(end.ending, p.cue)
			}
		}
	}
}

func (p *phrase) stands(toks []token) bool {
	if len(p.words) > len(toks) {
		return false
	}
	for k, w := range p.words {
		if toks[k].fold != w {
			return false
		}
	}
	return true
}

// figures sorts a number by its form: one, small, tens, hundreds, long, decimal.
func figures(s string) string {
	switch {
	case strings.ContainsAny(s, ".,"):
		return "#decimal"
	case s == "1":
		return "#one"
	case len(s) == 1:
		return "#small"
	case len(s) == 2:
		return "#tens"
	case len(s) == 3:
		return "#hundreds"
	case len(s) == 4:
		return "#four"
	}
	return "#long"
}

// form is the word as features know it: figures and branches by their sort.
func (t *token) form() string {
	if t.class != "" && (t.class[0] == '#' || t.class == "branch") {
		return t.class
	}
	return t.fold
}

// place is where a sentence stands in its letter.
type place struct {
	language      string
	answer        bool
	alone         bool // it was written by itself, for no letter
	n, of         int
	before, after *sentence // neighbours, or nil
}

// actFeatures are those of one sentence: its words, two and three words in a row,
// parts of words, its last sign, its place, and the words of its neighbours.
func actFeatures(fs []feature, s *sentence, p *place) []feature {
	lang := hash(fnvStart, p.language)
	prev, prev2 := "^", ""
	for i := range s.toks {
		t := s.toks[i].form()
		fs = append(fs, hash(hash(fnvStart, "w"), t)|whole, hash(hash(lang, "w"), t)|whole, hash(hash(hash(fnvStart, "ww"), prev), t)|whole)
		if prev2 != "" {
			fs = append(fs, hash(hash(hash(hash(fnvStart, "www"), prev2), prev), t)|whole)
		}
		if c := s.toks[i].class; c != "" {
			fs = append(fs, hash(hash(fnvStart, "c"), c))
		}
		fs = cueFeatures(fs, s, i)
		fs = grams(fs, t)
		prev2, prev = prev, t
	}
	fs = append(fs, hash(hash(hash(fnvStart, "ww"), prev), "$"), hash(hash(hash(hash(fnvStart, "www"), prev2), prev), "$"))
	return placeFeatures(fs, s, p)
}

// cueFeatures are the cues that begin at a token, and those that end before it.
func cueFeatures(fs []feature, s *sentence, i int) []feature {
	for _, q := range s.toks[i].cues {
		h := hash(hash(fnvStart, "q"), q.name)
		fs = append(fs, h|whole, hashByte(h, s.last)|whole)
		if i == 0 {
			fs = append(fs, hash(hash(hash(fnvStart, "qq"), "^"), q.name))
			continue
		}
		for _, before := range s.toks[i-1].ending {
			fs = append(fs, hash(hash(hash(fnvStart, "qq"), before), q.name))
		}
	}
	return fs
}

// grams are the parts of a word, three to five letters, with its ends.
func grams(fs []feature, w string) []feature {
	if len(w) < 3 || w[0] == '#' || isDigit(w[0]) {
		return fs
	}
	w = "<" + w + ">"
	seed := hash(fnvStart, "g")
	for i := range len(w) {
		h := seed
		for k := i; k < min(len(w), i+5); k++ {
			if h = hashByte(h, w[k]); k-i >= 2 {
				fs = append(fs, h&^whole)
			}
		}
	}
	return fs
}

func placeFeatures(fs []feature, s *sentence, p *place) []feature {
	is := func(ok bool, name string) {
		if ok {
			fs = append(fs, hash(hash(fnvStart, "p"), name))
		}
	}
	from := len(fs)
	fs = append(fs, hashByte(hash(fnvStart, "last"), s.last), hash(hash(fnvStart, "lang"), p.language))
	is(true, "bias")
	is(p.answer, "answer")
	is(!p.alone && p.n == 0, "first")
	is(!p.alone && p.n == p.of-1, "end")
	is(!p.alone && p.n >= p.of-2, "ending")
	is(!p.alone && p.of == 1, "only")
	is(len(s.toks) < 4, "short")
	is(len(s.toks) > 15, "long")
	if p.before != nil {
		fs = append(fs, hashByte(hash(fnvStart, "before"), p.before.last))
		fs = append(fs, hash(hash(fnvStart, "before first"), p.before.toks[0].form()))
	}
	if p.after != nil {
		fs = append(fs, hashByte(hash(fnvStart, "after"), p.after.last))
		fs = append(fs, hash(hash(fnvStart, "after first"), p.after.toks[0].form()))
	}
	for k := from; k < len(fs); k++ {
		fs[k] &^= whole
	}
	return fs
}

// window is how far a word's features look to each side.
const window = 3

// roleFeatures are those of token i of a sentence. Acts are what the sentence
// probably does, one letter each.
func roleFeatures(fs []feature, s *sentence, i int, lang string, acts string) []feature {
	at := func(k int) (form, class string) {
		switch {
		case k < 0:
			return "^", "^"
		case k >= len(s.toks):
			return "$", "$"
		}
		t := &s.toks[k]
		if class = t.class; class == "" {
			class = kindOf(t)
		}
		return t.form(), class
	}
	var form, class [2*window + 1]string
	for k := range form {
		form[k], class[k] = at(i + k - window)
	}
	add := func(id byte, parts ...string) {
		h := hashByte(fnvStart, id)
		for _, p := range parts {
			h = hash(h, p)
		}
		fs = append(fs, h)
	}
	w, c := form[window], class[window]
	for k := range form {
		add('A'+byte(k), form[k])
		add('a'+byte(k), class[k])
		if k != window {
			add('N'+byte(k), class[k], c)
			add('n'+byte(k), form[k], c)
		}
	}
	const m = window
	add(0, form[m-1], w)
	add(1, w, form[m+1])
	add(2, form[m-2], form[m-1], c)
	add(3, form[m+1], form[m+2], c)
	add(4, class[m-1], c, class[m+1])
	add(5, form[m-1], c, form[m+1])
	add(6, class[m-2], class[m-1], c)
	add(7, c, class[m+1], class[m+2])
	add(8, lang, c)
	add(9, w[:min(3, len(w))])
	add(10, w[max(0, len(w)-3):])
	add(11, c, acts)
	add(12, c, string(s.last))
	for _, q := range s.toks[i].cues {
		add(14, c, q.name)
	}
	if i > 0 {
		for _, q := range s.toks[i-1].ending {
			add(15, c, q)
		}
	}
	if i+1 < len(s.toks) {
		for _, q := range s.toks[i+1].cues {
			add(16, c, q.name)
		}
	}
	if s.toks[i].class != "" {
		return aroundFeatures(fs, s, i, c)
	}
	return fs
}

// aroundFeatures are the words of the sentence before and behind a value, in no order.
func aroundFeatures(fs []feature, s *sentence, i int, c string) []feature {
	for k := max(0, i-12); k < min(len(s.toks), i+10); k++ {
		side := byte('<')
		if k > i {
			side = '>'
		}
		if k != i {
			fs = append(fs, hash(hash(hashByte(hashByte(fnvStart, 13), side), c), s.toks[k].form()))
		}
	}
	return fs
}

// kindOf sorts a token that no list knows: a sign by itself, words by their capitals.
func kindOf(t *token) string {
	r, n := utf8.DecodeRuneInString(t.text)
	switch {
	case !unicode.IsLetter(r):
		return t.fold
	case unicode.IsUpper(r) && n < len(t.text):
		return "Word"
	}
	return "word"
}

// aroundActs are what sentence k and the others of its letter probably do; most
// is what all of them do. Of a sentence that was written by itself nothing is known
// of others.
func aroundActs(fs []feature, p [][Acts]float64, k int, most *summits, alone bool) []feature {
	bin := func(v float64) byte { return '0' + byte(v*4.999) }
	for a := range Acts {
		fs = append(fs, hashByte(hashByte(hash(fnvStart, "own"), byte(a)), bin(p[k][a]))&^whole)
		if alone {
			continue
		}
		fs = append(fs, hashByte(hashByte(hash(fnvStart, "most"), byte(a)), bin(most[a].without(k)))&^whole)
		if k > 0 {
			fs = append(fs, hashByte(hashByte(hash(fnvStart, "prev"), byte(a)), bin(p[k-1][a]))&^whole)
		}
		if k+1 < len(p) {
			fs = append(fs, hashByte(hashByte(hash(fnvStart, "next"), byte(a)), bin(p[k+1][a]))&^whole)
		}
	}
	return fs
}

// summits are, for each act, the most probable sentence and the next after it.
type summits [Acts]summit

type summit struct {
	first, second float64
	at            int
}

// without is the greatest of all sentences but one.
func (s summit) without(k int) float64 {
	if s.at == k {
		return s.second
	}
	return s.first
}

func summitsOf(p [][Acts]float64) *summits {
	var m summits
	for k := range p {
		for a, v := range p[k] {
			switch s := &m[a]; {
			case v > s.first:
				s.first, s.second, s.at = v, s.first, k
			case v > s.second:
				s.second = v
			}
		}
	}
	return &m
}
