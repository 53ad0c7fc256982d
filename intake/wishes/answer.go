package wishes

import (
	"slices"
	"strings"

	"meshclerk/intake/job"
)

// verdict gathers what the sentences of an answer say.
type verdict struct {
	accepts, declines, changes, asks bool
	doubts, but                      bool
	unsure                           bool // a condition, an unexplained number
}

// answer tells what an answer says to a quote. Settled are wishes that no
// question of ours had asked for and that differ from what was quoted.
//
// It accepts only when a phrase of consent stands there and no sentence asks,
// doubts, sets a condition or changes anything.
func (d *doc) answer(changed, asked bool, w job.Wishes) job.Reply {
	v := verdict{changes: changed, asks: asked, unsure: d.leftWish(w)}
	for _, s := range d.sents {
		d.judge(s, &v)
	}
	v.unsure = v.unsure || v.doubts
	switch {
	case v.changes && v.doubts:
		return job.Question
	case v.changes && !v.declines, v.changes && d.has(span{0, len(d.toks)}, "set", "replaced") >= 0:
		return job.Change
	case v.asks:
		return job.Question
	case v.declines && (v.accepts || v.changes):
		return ""
	case v.declines && !v.unsure:
		return job.Decline
	case (v.unsure || v.but) && v.accepts:
		return job.Question
	case v.unsure:
		return ""
	case v.accepts || d.onlyOK():
		return job.Accept
	}
	return ""
}

// judge adds one sentence to the verdict.
func (d *doc) judge(s span, v *verdict) {
	if d.toks[s.from].away && d.toks[s.to-1].away {
		return
	}
	if d.isQuestion(s.from) {
		v.asks = true
		v.changes = v.changes || d.has(s, "change") >= 0 && d.has(s, "ask", "want") >= 0 && d.has(s, "price", "whatif", "available") < 0
		return
	}
	v.asks = v.asks || d.has(s, "inquire") >= 0 || d.asksLater(s)
	bare, consents := d.bare(s), d.has(s, "accept", "acceptstart", "yes") >= 0
	for i := s.from; i < s.to; {
		i += d.judgeAt(i, bare, consents, v)
	}
}

// asksLater tells of a question behind a comma, with its mark forgotten: "yes,
// how do i pay".
func (d *doc) asksLater(s span) bool {
	for i := s.from + 1; i < s.to; i++ {
		if d.toks[i-1].fold == "," && d.cue(i, "whword") > 0 && d.fold(s.to-1) != "!" {
			return true
		}
	}
	return false
}

// judgeAt adds the phrase at a token to the verdict and returns its length. A
// bare sentence has nothing but yes or no; one that consents has some word for yes.
func (d *doc) judgeAt(i int, bare, consents bool, v *verdict) int {
	if n := d.cue(i, "harmless", "hope"); n > 0 {
		return n
	}
	if d.toks[i].away {
		return 1
	}
	if n := d.cue(i, "decline"); n > 0 {
		v.declines = true
		return n
	}
	if n := d.cue(i, "doubt", "sarcasm"); n > 0 {
		v.doubts = true
		return n
	}
	if n := d.cue(i, "accept"); n > 0 && n >= d.cue(i, "change", "set") {
		d.consent(i, i+n, consentLead, v)
		return n
	}
	if n := d.cue(i, "acceptstart"); n > 0 && n >= d.cue(i, "change") {
		d.consent(i, i+n, commandLead, v)
		return n
	}
	if n := d.cue(i, "please"); n > 0 {
		return n
	}
	if n := d.cue(i, "if"); n > 0 && !d.spanishYes(i) {
		v.unsure = true
		return n
	}
	if n := d.cue(i, "change", "replaced"); n > 0 {
		v.changes = true
		return n
	}
	switch {
	case d.cue(i, "but") > 0:
		v.but = true
	case d.cue(i, "yes") > 0 && bare:
		v.accepts = true
	case d.cue(i, "no") > 0 && bare:
		v.declines = true
	case d.leftNumber(i), d.cue(i, "money") > 0 && !consents:
		v.unsure = true
	}
	return 1
}

// consent takes a phrase of consent, unless it is denied: "do not go ahead".
func (d *doc) consent(i, j int, lead []string, v *verdict) {
	if d.cue(j, "thatclause") > 0 || !d.leads(i, lead...) {
		return // "agreed that it is too thin", "my wife said to go ahead"
	}
	if d.has(span{max(d.clauseOf(i).from, i-5), i}, "not") >= 0 {
		v.unsure = true
	} else {
		v.accepts = true
	}
}

// leads tells whether nothing but some cues stands between the head of the
// clause and a token. Consent needs a plain lead: "I would be happy to go ahead",
// but not "my wife may not want to go ahead", whatever the words are.
func (d *doc) leads(i int, names ...string) bool {
	for k := max(d.clauseOf(i).from, d.sents[d.toks[i].sent].from); k < i; {
		n := 0
		for _, t := range d.tags[k] {
			if k+t.n <= i && slices.Contains(names, t.group) {
				n = max(n, t.n)
			}
		}
		if n == 0 && (d.toks[k].kind == mark || d.toks[k].claimed || d.toks[k].away) {
			n = 1
		}
		if n == 0 {
			return false
		}
		k += n
	}
	return true
}

var (
	commandLead = []string{"opener", "and", "please", "yes", "ok", "accept", "acceptstart", "skip", "hello", "maydo", "filler", "weak", "harmless", "hope"}
	consentLead = append([]string{"lead", "leadname", "copula", "this", "det", "money", "number"}, commandLead...)
)

// bare tells whether a sentence holds nothing but yes or no and politeness;
// "yes, that is the right file" consents to nothing.
func (d *doc) bare(s span) bool {
	for k := s.from; k < s.to; {
		n := d.cue(k, "yes", "no", "ok", "filler", "please", "accept", "acceptstart", "weak", "hello", "closing", "harmless", "opener", "colour", "branch", "decline",
			"in", "material", "place", "pickupword", "det")
		if n == 0 && (d.toks[k].kind == mark || d.toks[k].claimed || d.toks[k].away) {
			n = 1
		}
		if n == 0 {
			return d.wished(s)
		}
		k += n
	}
	return true
}

// wished tells whether the rest of a yes sentence is a wish of its own, which
// then decides: "yes, pick up at Central".
func (d *doc) wished(s span) bool {
	for k := s.from; k < s.to; k++ {
		if f := d.fold(k); f == "," || f == "." {
			return d.bareTo(s.from, k) && d.has(span{k, s.to}, "pickupword", "phoneword", "branch") >= 0
		}
	}
	return false
}

func (d *doc) bareTo(from, to int) bool {
	for k := from; k < to; {
		n := d.cue(k, "yes", "ok", "filler", "please", "accept", "hello")
		if n == 0 {
			return false
		}
		k += n
	}
	return true
}

// spanishYes tells "si, adelante" from the "si" of a condition.
func (d *doc) spanishYes(i int) bool {
	if d.cue(i, "yes") == 0 || d.fold(i) != "si" {
		return false
	}
	if strings.ToLower(d.toks[i].text) != "si" {
		return true // with its accent
	}
	s := d.sents[d.toks[i].sent]
	return i+1 >= s.to || d.toks[i+1].kind == mark || d.cue(i+1, "accept", "please", "filler") > 0
}

// leftNumber tells of a number that nothing has explained, such as an option's.
func (d *doc) leftNumber(i int) bool {
	if d.toks[i].kind != number || d.toks[i].claimed {
		return false
	}
	switch d.fold(i - 1) {
	case "$", "€", "£", "cad":
		return false
	}
	return d.cue(i+1, "money", "clock", "bystander") == 0 && d.fold(i+1) != "$" && d.fold(i+1) != "€" && d.fold(i+1) != ":"
}

// leftWish tells whether the letter speaks of a colour, a size or the like that
// was not understood as a wish: then nobody knows what is agreed to.
func (d *doc) leftWish(w job.Wishes) bool {
	for i := range d.toks {
		for _, t := range d.tags[i] {
			if d.toks[i].away {
				continue
			}
			switch t.group {
			case "colour":
				if len(w.Colours) == 0 && !d.inName(i, i+t.n) {
					return true
				}
			case "material":
				if w.Material == "" {
					return true
				}
			case "scale", "percent":
				if w.Scale == nil && w.Infill == nil {
					return true
				}
			case "unit":
				if w.Size == nil && d.isNumber(i-1) {
					return true
				}
			case "number":
				if w.Copies == nil && t.key != "1" && d.cue(i+t.n, "bystander", "othernoun", "money") == 0 {
					return true
				}
			}
		}
	}
	return false
}

// onlyOK is a letter of one word, "OK". With thanks it may only mean "received".
func (d *doc) onlyOK() bool {
	seen := false
	for i := 0; i < len(d.toks); {
		n := d.cue(i, "ok")
		seen = seen || n > 0 && !d.toks[i].away
		if n == 0 && d.cue(i, "closing") == 0 {
			n = d.cue(i, "hello", "please")
		}
		if n == 0 && (d.toks[i].away || d.toks[i].kind == mark) {
			n = 1
		}
		if n == 0 {
			return false
		}
		i += n
	}
	return seen
}

// yesOrNo reads the answer to a question of yes or no.
func (d *doc) yesOrNo() (string, string) {
	yes, no := -1, -1
	for i := 0; i < len(d.toks); {
		n := max(1, d.cue(i, "harmless"))
		switch {
		case d.toks[i].away || n > 1:
		case d.cue(i, "if", "doubt", "but") > 0 && !d.spanishYes(i) || d.fold(i) == "?":
			return "", ""
		case d.cue(i, "yes", "accept", "ok") > 0:
			yes = i
		case d.cue(i, "no", "decline", "not") > 0:
			no = i
		}
		i += n
	}
	switch {
	case yes >= 0 && no < 0:
		return "yes", d.words(yes, len(d.toks))
	case no >= 0 && yes < 0:
		return "no", d.words(no, len(d.toks))
	}
	return "", ""
}

// changedWish tells whether wishes change what was quoted. Fields that were
// asked for, and those that repeat what was known, change nothing.
func changedWish(w, earlier job.Wishes, asked []string) bool {
	free := func(topic string) bool { return !slices.Contains(asked, topic) }
	return free("copies") && w.Copies != nil && (earlier.Copies == nil || *earlier.Copies != *w.Copies) ||
		free("colour") && len(w.Colours) > 0 && !slices.Equal(w.Colours, earlier.Colours) ||
		free("size") && free("scale") && (w.Size != nil && (earlier.Size == nil || *earlier.Size != *w.Size) || w.Scale != nil && !same(w.Scale, earlier.Scale)) ||
		free("material") && w.Material != "" && w.Material != earlier.Material ||
		free("supports") && w.Supports != "" && w.Supports != earlier.Supports ||
		free("infill") && w.Infill != nil && !same(w.Infill, earlier.Infill) ||
		free("infill") && w.Strong && !earlier.Strong
}

// unclearAnswer gives the passage that speaks of a yes or a no when the letter as
// a whole says neither.
func (d *doc) unclearAnswer(answer job.Reply) string {
	if answer != "" {
		return ""
	}
	for i := 0; i < len(d.toks); i++ {
		if n := d.cue(i, "harmless"); n > 0 {
			i += n - 1
			continue
		}
		if !d.toks[i].away && d.cue(i, "accept", "acceptstart", "yes", "no", "decline", "doubt", "sarcasm", "change", "dropping", "mindchange") > 0 {
			s := d.sentence(i)
			return d.words(s.from, s.to)
		}
	}
	return ""
}
