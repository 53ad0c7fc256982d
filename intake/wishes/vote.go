package wishes

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

// voteText holds a weight for each piece of evidence and each reply, one piece of
// evidence a line. "go test ./intake/wishes -run TestVote -fit" writes it.
//
//go:embed vote.txt
var voteText string

// voices are the replies that are voted on, in the order of the columns of vote.txt;
// the last is an answer that a person must read.
var voices = [...]job.Reply{job.Accept, job.Change, job.Decline, job.Question, ""}

// ballot is how probable each reply is.
type ballot [len(voices)]float64

// tally is a log-linear model over evidence.
type tally struct {
	names []string
	w     [][len(voices)]float64
}

var voted = sync.OnceValue(func() *tally {
	t, err := parseTally(voteText)
	if err != nil {
		panic("wishes: vote.txt: " + err.Error())
	}
	return t
})

func parseTally(text string) (*tally, error) {
	t := &tally{}
	for n, line := range strings.Split(strings.TrimSpace(text), "\n") {
		f := strings.Split(line, "\t")
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		if len(f) != len(voices)+1 {
			return nil, fmt.Errorf("line %d: want a name and %d weights", n+1, len(voices))
		}
		var w [len(voices)]float64
		for k := range w {
			v, err := strconv.ParseFloat(strings.TrimSpace(f[k+1]), 64)
			if err != nil {
				return nil, fmt.Errorf("line %d: %q is no weight", n+1, f[k+1])
			}
			w[k] = v
		}
		t.names, t.w = append(t.names, strings.TrimSpace(f[0])), append(t.w, w)
	}
	return t, nil
}

// count returns how probable each reply is.
func (t *tally) count(x []float64) (p ballot) {
	for i := range min(len(x), len(t.w)) {
		for k, w := range t.w[i] {
			p[k] += w * x[i]
		}
	}
	most, sum := p[0], 0.0
	for _, v := range p {
		most = max(most, v)
	}
	for k, v := range p {
		p[k] = math.Exp(v - most)
		sum += p[k]
	}
	for k := range p {
		p[k] /= sum
	}
	return p
}

// How probable a reply must be. They were chosen by leaving out one writer at a time,
// so that hardly one letter in a hundred is taken for an acceptance and is none.
const (
	voteYes     = 0.7 // to accept where the grammar did not
	voteBeside  = 0.8 // and something stands beside it that seldom holds back
	voteHeld    = 0.9 // and something in it may hold back
	voteSoft    = 0.8 // where neither the grammar nor the tagger is sure of a sentence by itself
	voteKeepYes = 0.2 // to accept as the grammar does
	grumbles    = 0.4 // of a sentence that doubts
	voteOther   = 0.6 // to take for a change, a decline or a question
	voteGiven   = 0.7 // to take for a decline where a sentence says no with someNo
	someNo      = 0.4
	voteKeep    = 0.25 // as the grammar does
	voteAsked   = 0.7  // for a question, or an answer that a person must read
	someAct     = 0.2  // of a sentence, where the grammar found something of it too
)

// vote settles what the grammar found by what all the evidence together says. Nothing is
// agreed to where wishes differ or are unread, where something is given up or taken back,
// or where no sentence agrees.
func (t *tally) vote(reply job.Reply, e *evidence) job.Reply {
	p := t.count(e.x)
	agrees := !e.closed && (e.speaksOf(job.Accept, p[0]) || e.most[tagger.Yes] >= evenOdds && p[0] >= voteSoft)
	switch {
	case reply == job.Accept && (p[0] >= e.keeps() || e.echoes), agrees && p[0] >= max(voteYes, e.least):
		return job.Accept
	case reply == job.Accept:
		return ""
	}
	other := 1
	for k := range voices[1:4] {
		if p[k+1] > p[other] {
			other = k + 1
		}
	}
	if reply == job.Question && voices[other] == job.Decline && e.most[tagger.Ask] >= evenOdds {
		return reply // "is it a problem? I want no trouble"
	}
	if p[other] >= voteOther && e.speaksOf(voices[other], p[other]) {
		return voices[other]
	}
	k := slices.Index(voices[:], reply)
	surelyWished := reply == job.Change && e.most[tagger.Wish] >= likely && p[0] < voteKeep
	if p[k] >= voteKeep || surelyWished || reply == job.Question && (e.asks && p[0] < voteKeepYes || p[k]+p[len(p)-1] >= voteAsked) {
		return reply // a question and an answer that a person must read come to the same
	}
	return ""
}

// keeps is how probable an acceptance by the sentences must be to stay one; more where a
// sentence grumbles: "Fine. Two weeks of waiting for one hook. Fine."
func (e *evidence) keeps() float64 {
	if e.most[tagger.Doubt] >= grumbles {
		return voteBeside
	}
	return voteKeepYes
}

// speaksOf tells whether something in the answer itself says the reply; what only is
// like other letters says nothing.
// P is how probable the vote finds it.
func (e *evidence) speaksOf(reply job.Reply, p float64) bool {
	says := func(act tagger.Act, marks ...string) bool {
		return e.most[act] >= evenOdds || e.most[act] >= someAct && e.has(marks...)
	}
	switch reply {
	case job.Accept: // thanks are near to a yes, so that more is asked of one that the grammar finds nothing in
		return e.most[tagger.Yes] >= likely || e.most[tagger.Yes] >= someAct && e.has("accepts", "led")
	case job.Decline: // a no to a question of ours is no no to the job, nor is what says how a part should stay
		return !e.ours && !e.relents && e.most[tagger.Wish] < sureNotNo && (e.most[tagger.No] >= likely || e.most[tagger.No] >= someNo && p >= voteGiven || e.most[tagger.No] >= someAct && e.has("declines", "mind"))
	case job.Change:
		return e.differs || says(tagger.Wish, "changes", "but")
	}
	return says(tagger.Ask, "asks")
}
