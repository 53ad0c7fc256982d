package tagger

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
)

// Rounds, pace and the pull towards zero were chosen by leaving out one writer at
// a time; see the package comment.
const (
	actRounds  = 12
	actPace    = 0.1
	actPull    = 5e-4
	actLeast   = 3
	roleLeast  = 4
	roleRounds = 8
	rolePace   = 0.12
	rolePull   = 1e-4
	parts      = 4 // the acts that features of words see are guessed by a model of the other parts
)

// learner is a table whose weights move (AdaGrad with a pull towards zero: Duchi,
// Hazan, Singer 2011, "Adaptive subgradient methods").
type learner struct {
	table
	moved      []float32 // sum of the squares of all moves asked for
	pace, pull float64
}

func newLearner(wide int, pace, pull float64) *learner {
	return &learner{table: table{wide: wide, at: map[feature]int32{}}, pace: pace, pull: pull}
}

// know makes rows for the features that at least some examples have.
func (l *learner) know(examples [][]feature, least int) {
	type sight struct{ n, last int }
	seen := map[feature]sight{}
	for k, fs := range examples {
		for _, f := range fs {
			if s := seen[f]; s.n == 0 || s.last != k {
				if s.n+1 == least {
					l.at[f] = int32(len(l.at) * l.wide)
				}
				seen[f] = sight{s.n + 1, k}
			}
		}
	}
	l.w, l.moved = make([]float32, len(l.at)*l.wide), make([]float32, len(l.at)*l.wide)
}

// row is where the weights of a feature stand in the table, and whether it is a whole word.
type row struct {
	at    int32
	whole bool
}

// rows are where the weights of those features stand that the table knows.
func (l *learner) rows(fs []feature) []row {
	out := make([]row, 0, len(fs))
	for _, f := range fs {
		if at, ok := l.at[f]; ok {
			out = append(out, row{at, f&whole != 0})
		}
	}
	return slices.Clip(out)
}

// judgeRows is judge by rows.
func (l *learner) judgeRows(rows []row, scale float64) [Acts]float64 {
	var score [Acts]float32
	word := false
	for _, r := range rows {
		weights := l.w[r.at : int(r.at)+l.wide]
		for a, w := range weights {
			score[a] += w
		}
		word = word || r.whole && weights[Yes] > 0
	}
	return odds(&score, scale, word)
}

// move shifts the weights of a row against the slope of each column.
func (l *learner) move(at int32, slope []float64) {
	w, moved := l.w[at:int(at)+l.wide], l.moved[at:int(at)+l.wide]
	for k, g := range slope {
		if math.Abs(g) < 1e-3 {
			continue
		}
		moved[k] += float32(g * g)
		rate := l.pace / math.Sqrt(float64(moved[k])+1e-8)
		v := float64(w[k]) - rate*g
		w[k] = float32(math.Copysign(max(0, math.Abs(v)-rate*l.pull), v))
	}
}

// example is a sentence of the training text, made ready.
type example struct {
	letter   int
	first    [Acts]float64 // by the sentence itself, as a model guesses that has not seen it
	s        sentence
	language string
	acts     [Acts]bool
	roles    []Role
	fs       []feature // of its acts
	actsOnly bool
	alone    bool   // written by itself
	guessed  string // acts, as a model that has not seen it guesses
}

// Learn returns a model of marked letters and of more sentences, which the chain does
// not see. The same text gives the same model.
func Learn(letters, more []Marked, words *Words) *Model {
	m := &Model{}
	all := examples(letters, words)
	first, again := actsTwice(all)
	guessActs(all)
	broadFirst, broadAgain := actsTwice(examples(slices.Concat(letters, more), words))
	m.acts = join(first, again, broadFirst, broadAgain)
	m.learnRoles(slices.DeleteFunc(all, func(e *example) bool { return e.actsOnly }))
	return m
}

// join puts the rows of tables side by side.
func join(tables ...table) table {
	out := table{at: map[feature]int32{}}
	for _, t := range tables {
		for f := range t.at {
			if _, known := out.at[f]; !known {
				out.at[f] = 0
			}
		}
		out.wide += t.wide
	}
	out.w = make([]float32, len(out.at)*out.wide)
	for k, f := range slices.Sorted(maps.Keys(out.at)) {
		at := k * out.wide
		out.at[f] = int32(at)
		for _, t := range tables {
			copy(out.w[at:at+t.wide], t.row(f))
			at += t.wide
		}
	}
	return out
}

func examples(letters []Marked, words *Words) []*example {
	var all []*example
	for n, l := range letters {
		ss := make([]sentence, 0, len(l.Sentences))
		kept := make([]*MarkedSentence, 0, len(l.Sentences))
		for k := range l.Sentences {
			if toks := tokens(l.Sentences[k].Text); len(toks) > 0 {
				words.classify(toks, l.Language)
				ss, kept = append(ss, newSentence(toks)), append(kept, &l.Sentences[k])
			}
		}
		places := placesOf(ss, l.Language, l.Answer)
		for k := range ss {
			places[k].alone = l.Alone
			e := &example{letter: n, s: ss[k], language: l.Language, acts: kept[k].Acts, roles: kept[k].roles(ss[k].toks), actsOnly: l.ActsOnly, alone: l.Alone}
			e.fs = actFeatures(nil, &ss[k], &places[k])
			all = append(all, e)
		}
	}
	return all
}

// actsTwice fits the acts twice: by the sentence itself, and beside what the others of
// its letter do, as a model guesses that has not seen the letter.
func actsTwice(all []*example) (first, again table) {
	apart(all, func(learn, rest []*example) {
		t := learnActs(learn)
		for _, e := range rest {
			e.first = t.judge(e.fs)
		}
	})
	first = learnActs(all)
	withOthers(all)
	return first, learnActs(all)
}

// guessActs gives each example the acts that the chain will see.
func guessActs(all []*example) {
	apart(all, func(learn, rest []*example) {
		t := learnActs(learn)
		for _, e := range rest {
			p := t.judge(e.fs)
			e.guessed = actLetters(&p)
		}
	})
}

// apart shows each part of the examples beside all the others.
func apart(all []*example, do func(learn, rest []*example)) {
	for k := range parts {
		var learn, rest []*example
		for _, e := range all {
			if e.letter/8%parts == k {
				rest = append(rest, e)
			} else {
				learn = append(learn, e)
			}
		}
		do(learn, rest)
	}
}

// withOthers adds to each example what the sentences of its letter do.
func withOthers(all []*example) {
	for from := 0; from < len(all); {
		to := from
		var p [][Acts]float64
		for to < len(all) && all[to].letter == all[from].letter {
			p = append(p, all[to].first)
			to++
		}
		most := summitsOf(p)
		for k := from; k < to; k++ {
			all[k].fs = aroundActs(slices.Clip(all[k].fs), p, k-from, most, all[k].alone)
		}
		from = to
	}
}

// learnActs fits one logistic model for each act.
func learnActs(all []*example) table {
	l := newLearner(int(Acts), actPace, actPull)
	fs := make([][]feature, len(all))
	for k, e := range all {
		fs[k] = e.fs
	}
	l.know(fs, actLeast)
	rows := make([][]row, len(all))
	for k := range fs {
		rows[k] = l.rows(fs[k])
	}
	dice := rand.New(rand.NewPCG(1, 1))
	slope := make([]float64, Acts)
	for range actRounds {
		for _, k := range dice.Perm(len(all)) {
			scale := evenness(len(fs[k]))
			p := l.judgeRows(rows[k], scale)
			for a := range slope {
				slope[a] = (p[a] - truth(all[k].acts[a])) * scale
			}
			for _, r := range rows[k] {
				l.move(r.at, slope)
			}
		}
	}
	return l.table
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// learnRoles fits the chain, sentence by sentence.
func (m *Model) learnRoles(all []*example) {
	l := newLearner(int(Roles), rolePace, rolePull)
	next := newLearner(int(Roles), rolePace, rolePull)
	var flat [][]feature
	first := make([]int, len(all)) // of each example in flat
	for k, e := range all {
		first[k] = len(flat)
		for i := range e.s.toks {
			flat = append(flat, roleFeatures(nil, &e.s, i, e.language, e.guessed))
		}
	}
	l.know(flat, roleLeast)
	for q := range feature(Roles + 1) {
		next.at[q] = int32(q) * int32(Roles)
	}
	rows := make([][]row, len(flat))
	for k := range flat {
		rows[k] = l.rows(flat[k])
	}
	next.w, next.moved = make([]float32, (Roles+1)*Roles), make([]float32, (Roles+1)*Roles)
	m.roles = l.table
	dice := rand.New(rand.NewPCG(2, 2))
	for range roleRounds {
		for _, k := range dice.Perm(len(all)) {
			m.learnSentence(all[k].roles, rows[first[k]:first[k]+len(all[k].roles)], l, next)
		}
	}
}

func (m *Model) learnSentence(roles []Role, rows [][]row, l, next *learner) {
	for q := range m.next {
		for r, w := range next.row(feature(q)) {
			m.next[q][r] = float64(w)
			m.exp[q][r] = math.Exp(float64(w))
		}
	}
	c := &chain{model: m, score: make([][Roles]float64, len(roles)), next: &m.exp}
	for i := range roles {
		for _, known := range rows[i] {
			for r, w := range l.w[known.at : int(known.at)+l.wide] {
				c.score[i][r] += float64(w)
			}
		}
	}
	c.marginals()
	for i, role := range roles {
		slope := c.p[i]
		slope[role]--
		for _, known := range rows[i] {
			l.move(known.at, slope[:])
		}
	}
	c.learnNext(roles, next)
}

// learnNext moves the weights between neighbours by how often they should have
// followed one another, and how often they were expected to.
func (c *chain) learnNext(roles []Role, next *learner) {
	var slope [Roles + 1][Roles]float64
	slope[Roles] = c.p[0]
	slope[Roles][roles[0]]--
	for i := 1; i < len(roles); i++ {
		c.expected(i, &slope)
		slope[roles[i-1]][roles[i]]--
	}
	for q := range slope {
		next.move(next.at[feature(q)], slope[q][:])
	}
}

// expected adds how probable each pair of roles is at tokens i-1 and i.
func (c *chain) expected(i int, slope *[Roles + 1][Roles]float64) {
	var pair [Roles][Roles]float64
	for r := range Roles {
		in := 0.0 // what comes into role r from all roles before
		for q := range Roles {
			pair[q][r] = c.alpha[i-1][q] * c.next[q][r]
			in += pair[q][r]
		}
		for q := range Roles {
			slope[q][r] += pair[q][r] / in * c.p[i][r]
		}
	}
}
