package tagger

import "math"

// chain is the linear chain of one sentence: what speaks for each role at each
// token, and how roles follow one another (Lafferty, McCallum, Pereira 2001,
// "Conditional random fields"; forward, backward and Viterbi as in Rabiner 1989,
// "A tutorial on hidden Markov models").
type chain struct {
	model *Model
	score [][Roles]float64
	p     [][Roles]float64 // how probable each role is; filled by marginals
	alpha [][Roles]float64
	next  *[Roles + 1][Roles]float64 // exp of the model's, row Roles is the beginning
}

func newChain(m *Model, n int) *chain {
	return &chain{model: m, score: make([][Roles]float64, n), next: m.follows()}
}

// best is the most probable sequence of roles (Viterbi).
func (c *chain) best() []Role {
	n := len(c.score)
	from := make([][Roles]Role, n)
	var at, before [Roles]float64
	for i := range n {
		for r := range Roles {
			if i == 0 {
				at[r] = c.model.next[Roles][r] + c.score[0][r]
				continue
			}
			top := math.Inf(-1)
			for q := range Roles {
				if v := before[q] + c.model.next[q][r]; v > top {
					top, from[i][r] = v, q
				}
			}
			at[r] = top + c.score[i][r]
		}
		before = at
	}
	out := make([]Role, n)
	for r := range Roles {
		if before[r] > before[out[n-1]] {
			out[n-1] = r
		}
	}
	for i := n - 1; i > 0; i-- {
		out[i-1] = from[i][out[i]]
	}
	return out
}

// marginals fills p: forward and backward, each step scaled to a sum of one.
func (c *chain) marginals() {
	n := len(c.score)
	c.alpha, c.p = make([][Roles]float64, n), make([][Roles]float64, n)
	for i := range n {
		own := exps(&c.score[i])
		for r := range Roles {
			v := 0.0
			if i == 0 {
				v = c.next[Roles][r]
			} else {
				for q := range Roles {
					v += c.alpha[i-1][q] * c.next[q][r]
				}
			}
			c.alpha[i][r] = v * own[r]
		}
		toOne(&c.alpha[i])
	}
	var beta [Roles]float64
	for r := range beta {
		beta[r] = 1
	}
	for i := n - 1; i >= 0; i-- {
		for r := range Roles {
			c.p[i][r] = c.alpha[i][r] * beta[r]
		}
		toOne(&c.p[i])
		c.back(i, &beta)
	}
}

// back takes beta from token i to the token before it.
func (c *chain) back(i int, beta *[Roles]float64) {
	own, old := exps(&c.score[i]), *beta
	for q := range Roles {
		v := 0.0
		for r := range Roles {
			v += c.next[q][r] * own[r] * old[r]
		}
		beta[q] = v
	}
	toOne(beta)
}

// exps are the exponentials of scores, less the greatest.
func exps(score *[Roles]float64) (out [Roles]float64) {
	top := score[0]
	for _, v := range score {
		top = max(top, v)
	}
	for r, v := range score {
		out[r] = math.Exp(v - top)
	}
	return out
}

func toOne(v *[Roles]float64) {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	for r := range v {
		v[r] /= sum
	}
}
