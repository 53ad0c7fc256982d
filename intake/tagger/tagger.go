package tagger

import (
	"math"
	"slices"
)

// Sentence is one sentence of a letter: where it stands, how probable each act
// is, and the words in it that have a role.
type Sentence struct {
	Start, End int // bytes of the text
	Acts       [Acts]float64
	Spans      []Span
}

// Is returns how probable it is that the sentence does one of some acts.
func (s *Sentence) Is(acts ...Act) float64 {
	p := 0.0
	for _, a := range acts {
		p = max(p, s.Acts[a])
	}
	return p
}

// Tagger reads letters with one model and one house's words. It may be used by
// several goroutines at once.
type Tagger struct {
	model *Model
	words *Words
}

// New returns a tagger with the weights that were learned from testdata/wishes/marked.
func New(words *Words) *Tagger { return learned().With(words) }

// With returns a tagger with this model.
func (m *Model) With(words *Words) *Tagger { return &Tagger{m, words} }

// Read returns the sentences of a letter in their order. No more than the first
// 32 kB are looked at.
func (g *Tagger) Read(text, language string, answer bool) []Sentence {
	ss := sentences(text)
	for k := range ss {
		g.words.classify(ss[k].toks, language)
	}
	out := make([]Sentence, len(ss))
	chain, broad, fs := g.model.letter(ss, placesOf(ss, language, answer))
	for k := range ss {
		s := &ss[k]
		out[k] = Sentence{Start: s.toks[0].start, End: s.toks[len(s.toks)-1].end, Acts: broad[k]}
		var path []Role
		var sure []float64
		path, sure, fs = g.model.path(fs, s, language, actLetters(&chain[k]))
		out[k].Spans = spans(s.toks, path, sure)
	}
	return out
}

// placesOf are the places of a letter's sentences.
func placesOf(ss []sentence, language string, answer bool) []place {
	out := make([]place, len(ss))
	for k := range ss {
		p := place{language: language, answer: answer, n: k, of: len(ss)}
		if k > 0 {
			p.before = &ss[k-1]
		}
		if k+1 < len(ss) {
			p.after = &ss[k+1]
		}
		out[k] = p
	}
	return out
}

// guess is one of the models of acts.
type guess int

// Each model guesses twice: by the sentence itself, then beside what the others of its
// letter probably do. What was learned of letters alone the chain sees; what was learned
// of single sentences too is what a sentence is said to do.
const (
	chainFirst guess = iota
	chainAgain
	broadFirst
	broadAgain
	guesses // how many there are
)

// scores are what speaks for each act, by guess, and whether a whole word, sign or cue
// speaks for a yes.
type scores struct {
	of   [guesses * guess(Acts)]float32
	word [guesses]bool
}

// add adds the weights of features for some of the guesses.
func (t *table) add(s *scores, fs []feature, only ...guess) {
	for _, f := range fs {
		row := t.row(f)
		if row == nil {
			continue
		}
		for _, g := range only {
			from := g * guess(Acts)
			own := row[from : from+guess(Acts)]
			for a, w := range own {
				s.of[int(from)+a] += w
			}
			s.word[g] = s.word[g] || f&whole != 0 && own[Yes] > 0
		}
	}
}

// odds are how probable each act is by one guess over n features.
func (s *scores) odds(g guess, n int) [Acts]float64 {
	return odds((*[Acts]float32)(s.of[g*guess(Acts):]), evenness(n), s.word[g])
}

// letter returns how probable each act of each sentence is, as the chain sees it and as
// the model of single sentences too does.
func (m *Model) letter(ss []sentence, places []place) (chain, broad [][Acts]float64, fs []feature) {
	seen, n := make([]scores, len(ss)), make([]int, len(ss))
	chain, broad = make([][Acts]float64, len(ss)), make([][Acts]float64, len(ss))
	for k := range ss {
		fs = actFeatures(fs[:0], &ss[k], &places[k])
		n[k] = len(fs)
		m.acts.add(&seen[k], fs, chainFirst, chainAgain, broadFirst, broadAgain)
		chain[k], broad[k] = seen[k].odds(chainFirst, n[k]), seen[k].odds(broadFirst, n[k])
	}
	return m.again(seen, n, chain, chainAgain, places), m.again(seen, n, broad, broadAgain, places), fs
}

// again guesses once more, beside what the first guess says of the others.
func (m *Model) again(seen []scores, n []int, first [][Acts]float64, g guess, places []place) [][Acts]float64 {
	out, most := make([][Acts]float64, len(first)), summitsOf(first)
	var fs []feature
	for k := range first {
		fs = aroundActs(fs[:0], first, k, most, places[k].alone)
		m.acts.add(&seen[k], fs, g)
		out[k] = seen[k].odds(g, n[k]+len(fs))
	}
	return out
}

// judge returns how probable each act is by a table of one guess.
func (t *table) judge(fs []feature) (out [Acts]float64) {
	var score [Acts]float32
	word := false // a whole word, sign or cue speaks for a yes
	for _, f := range fs {
		row := t.row(f)
		for a, w := range row {
			score[a] += w
		}
		word = word || f&whole != 0 && row != nil && row[Yes] > 0
	}
	return odds(&score, evenness(len(fs)), word)
}

func odds(score *[Acts]float32, scale float64, word bool) (out [Acts]float64) {
	for a := range out {
		out[a] = sigmoid(float64(score[a]) * scale)
	}
	if !word {
		out[Yes] = 0
	}
	return out
}

// evenness weighs the features of a sentence, so that a long one is no surer
// than a short one.
func evenness(n int) float64 { return 2 / math.Sqrt(float64(n+4)) }

func sigmoid(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// actLetters names what a sentence probably does, for the features of its words.
func actLetters(p *[Acts]float64) string {
	b := make([]byte, 0, Acts)
	for a, v := range p {
		if v >= 0.5 {
			b = append(b, 'a'+byte(a))
		}
	}
	return string(b)
}

// path finds the role of each token by the most probable sequence, and how
// probable that role is by itself.
func (m *Model) path(fs []feature, s *sentence, language, acts string) ([]Role, []float64, []feature) {
	c := newChain(m, len(s.toks))
	for i := range s.toks {
		fs = roleFeatures(fs[:0], s, i, language, acts)
		for _, f := range fs {
			for r, w := range m.roles.row(f) {
				c.score[i][r] += float64(w)
			}
		}
	}
	path := c.best()
	c.marginals()
	sure := make([]float64, len(path))
	for i, r := range path {
		sure[i] = c.p[i][r]
	}
	return path, sure, fs
}

// spans joins neighbours of one role. A span is as sure as its least sure token.
// What has no role is a span only where a value might have stood.
func spans(toks []token, path []Role, sure []float64) []Span {
	var out []Span
	for i, r := range path {
		n := len(out)
		switch {
		case r == None && toks[i].class == "":
		case r != None && n > 0 && i > 0 && path[i-1] == r && out[n-1].Role == r:
			out[n-1].End, out[n-1].P = toks[i].end, min(out[n-1].P, sure[i])
		default:
			out = append(out, Span{toks[i].start, toks[i].end, r, sure[i]})
		}
	}
	return slices.Clip(out)
}
