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
	acts, fs := g.model.letter(ss, language, answer)
	for k := range ss {
		s := &ss[k]
		out[k] = Sentence{Start: s.toks[0].start, End: s.toks[len(s.toks)-1].end, Acts: acts[k]}
		var path []Role
		var sure []float64
		path, sure, fs = g.model.path(fs, s, language, actLetters(&out[k].Acts))
		out[k].Spans = spans(s.toks, path, sure)
	}
	return out
}

func placeOf(ss []sentence, k int, language string, answer bool) *place {
	p := &place{language: language, answer: answer, n: k, of: len(ss)}
	if k > 0 {
		p.before = &ss[k-1]
	}
	if k+1 < len(ss) {
		p.after = &ss[k+1]
	}
	return p
}

// letter returns how probable each act of each sentence is: first of each by
// itself, then once more beside what the others of the letter probably do.
func (m *Model) letter(ss []sentence, language string, answer bool) (out [][Acts]float64, fs []feature) {
	first, from := make([][Acts]float64, len(ss)), make([]int, len(ss)+1)
	for k := range ss {
		fs = actFeatures(fs, &ss[k], placeOf(ss, k, language, answer))
		from[k+1] = len(fs)
		first[k] = m.first.judge(fs[from[k]:])
	}
	out = make([][Acts]float64, len(ss))
	var own []feature
	most := summitsOf(first)
	for k := range ss {
		own = aroundActs(append(own[:0], fs[from[k]:from[k+1]]...), first, k, most)
		out[k] = m.acts.judge(own)
	}
	return out, fs
}

// judge returns how probable each act is.
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
