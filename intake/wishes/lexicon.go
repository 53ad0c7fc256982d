package wishes

import (
	"strings"

	"meshclerk/rules"
)

// lexicon finds the phrases of the house's words in a token sequence.
type lexicon struct {
	first map[string][]phrase // by the first word
	stems map[string][]phrase // by the first letters: "recog*" is every word that begins so
	spell speller
	other []*lexicon // of the other languages, for what we wrote ourselves
}

const stemBytes = 4 // least length of a stem, and by how much of it it is found

// phrase is one way of writing a stock word.
type phrase struct {
	words []string
	group string // "colour", "day", or the name of a cue
	plain string // a word of one letter as it is written: "a" is not "à"
	key   string // the stock word, or "" for a cue
}

// tag says that a phrase stands at some token.
type tag struct {
	group, key string
	n          int // tokens it covers
}

// newLexicon compiles the words of one language, with those of "any".
func newLexicon(in *Input, lang string) *lexicon {
	l := &lexicon{first: map[string][]phrase{}, stems: map[string][]phrase{},
		spell: speller{words: map[string]tag{}, near: map[string][]string{}, known: map[string]bool{}}}
	w := &in.Words
	for _, set := range []struct {
		group string
		words rules.Lexicon
	}{
		{"colour", w.Colours}, {"material", w.Materials}, {"number", w.Numbers}, {"times", w.Times}, {"unit", w.Units}, {"axis", w.Axes},
		{"scale", w.Scales}, {"supports", w.Supports}, {"day", w.Days}, {"month", w.Months}, {"feast", w.Feasts},
		{"topic", w.Topics},
	} {
		for _, language := range []string{"any", lang} {
			l.addAll(set.group, set.words[language])
		}
	}
	for _, cues := range []rules.Lexicon{w.Replies, w.Cues, w.Guards} {
		for _, language := range []string{"any", lang} {
			for cue, ways := range cues[language] {
				l.addWays(cue, "", ways)
			}
		}
	}
	l.addHouse(in)
	return l
}

// addHouse adds the names of branches and of materials on the shelf.
func (l *lexicon) addHouse(in *Input) {
	for _, b := range in.Branches {
		l.addWays("branch", b.Name, append([]string{b.Name}, b.Words...))
	}
	for _, m := range in.Materials {
		l.addWays("material", m.Name, append([]string{m.Name}, m.Words...))
	}
}

func (l *lexicon) addAll(group string, ways map[string][]string) {
	for key, list := range ways {
		l.addWays(group, key, list)
	}
}

func (l *lexicon) addWays(group, key string, ways []string) {
	for _, way := range ways {
		if stem := fold(strings.TrimSuffix(way, "*")); stem != fold(way) && len(stem) >= stemBytes {
			l.stems[stem[:stemBytes]] = append(l.stems[stem[:stemBytes]], phrase{words: []string{stem}, group: group, key: key})
			continue
		}
		var words []string
		for _, t := range tokens(way, maxTokens) {
			if t.fold != "-" {
				words = append(words, t.fold)
			}
		}
		if len(words) > 0 {
			p := phrase{words: words, group: group, key: key}
			if len(way) == 1 {
				p.plain = way
			}
			l.first[words[0]] = append(l.first[words[0]], p)
			if len(words) == 1 {
				l.spell.add(words[0], tag{group, key, 1})
			}
			if len(words) == 1 && group == "spelt" {
				l.spell.known[words[0]] = true
			}
		}
	}
}

// match adds the phrases that begin at a token, the long and the short ones.
func (l *lexicon) match(tags []tag, toks []token, i int) []tag {
	before := len(tags)
	starting := l.first[toks[i].fold]
	for k := range starting {
		p := &starting[k]
		if n := p.length(toks[i:]); n > 0 {
			tags = append(tags, tag{p.group, p.key, n})
		}
	}
	if f := toks[i].fold; toks[i].kind == word && len(f) >= stemBytes {
		for _, p := range l.stems[f[:stemBytes]] {
			if strings.HasPrefix(f, p.words[0]) {
				tags = append(tags, tag{p.group, p.key, 1})
			}
		}
	}
	if len(tags) == before {
		if t, ok := l.spell.correct(toks, i); ok {
			tags = append(tags, t)
		}
	}
	return tags
}

// find gives the longest phrase of a group.
func find(tags []tag, group string) (best tag, found bool) {
	for _, t := range tags {
		if t.group == group && (t.n > best.n || t.n == best.n && t.key < best.key) {
			best, found = t, true
		}
	}
	return best, found
}

// length is how many tokens the phrase covers, or 0 when it does not stand
// here. Hyphens between its words do not count: "water-soluble".
func (p *phrase) length(toks []token) int {
	if p.plain != "" && len(toks[0].text) > 1 {
		return 0
	}
	at := 0
	for k, w := range p.words {
		if k > 0 && at+1 < len(toks) && toks[at].fold == "-" && toks[at].tight {
			at++
		}
		if at >= len(toks) || toks[at].fold != w || toks[at].kind == opaque && len(p.words) == 1 && strings.ContainsAny(w, "@_/") {
			return 0
		}
		at++
	}
	return at
}
