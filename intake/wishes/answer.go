package wishes

import (
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

// verdict gathers what the sentences of an answer say.
type verdict struct {
	accepts, declines, changes, asks bool
	drops, mind                      bool // leaves something out; takes back what was said
	yes, kinNo                       bool // some word for yes; a no that is passed on
	doubts, but                      bool
	money, when, not                 bool // speaks of money beside no consent; of a time that may be a condition; denies something
	unsure                           bool // a condition, or a consent that is denied
	led                              bool // a phrase of consent that something unknown leads to
	said                             bool // one that is only said or denied: "I would say go ahead"
	vague                            bool // an unexplained number, a consent with words that nothing knows
}

// How probable a learned act must be. A yes counts by itself from sureYes on,
// where nothing that holds back reaches sureNot; one that the phrases of consent
// say too counts from halfYes on, where nothing that holds back is likely.
const (
	sureYes = 0.75
	sureNot = 0.15
	halfYes = 0.3
	ledYes  = 0.8 // behind words that nothing knows
	never   = 2
	likely  = 0.85
	hardly  = 0.05

	sureNo    = 0.7 // a no counts, where nothing agrees, asks or wishes
	halfNo    = 0.45
	sureNotNo = 0.25
	evenOdds  = 0.5
)

// answer tells what an answer says to a quote. Changed are wishes that no
// question of ours had asked for and that differ from what was quoted; moved is
// another branch than was known, which changes nothing unless a "but" says so.
//
// It accepts only when a phrase of consent stands there, or a sentence was learned
// to be a sure yes, and no sentence asks, doubts, sets a condition, takes back or
// changes anything, and nothing is unread. What a sentence says that surely only
// tells holds nothing back. Where a phrase of consent stands behind words that
// nothing knows ("I never said …"), its own sentence must be surer.
func (d *doc) answer(changed, moved, asked bool) job.Reply {
	v := verdict{changes: changed, asks: asked}
	for _, s := range d.sents {
		d.judge(s, &v)
	}
	v.accepts = v.accepts || d.onlyOK()

	p := d.sense()
	clear := calm(&p) && (p[tagger.Yes] >= sureYes && !v.led || d.witnessed())
	v.accepts = v.accepts || clear
	v.unsure = v.unsure || v.doubts || len(d.left()) > 0
	v.changes = v.changes || v.drops && (v.accepts || v.yes)
	v.unsure = v.unsure || (v.vague || v.money || v.when || v.not && v.accepts) && !v.declines && !clear
	v.changes = v.changes || moved && v.but && v.accepts
	v.unsure = v.unsure || v.kinNo && (v.accepts || v.yes)
	if v.mind && !v.changes && !v.accepts {
		v.declines = true
	}
	reply := d.weigh(&v, &p, changed)
	if reply == job.Question && !v.asks && p[tagger.Ask] < evenOdds {
		return "" // nobody asked anything; a person reads it all the same
	}
	return reply
}

// weigh gives the answer of a letter from what the grammar and the tagger found.
func (d *doc) weigh(v *verdict, p *[tagger.Acts]float64, changed bool) job.Reply {
	hold := heldBack(p)
	wished := changed && p[tagger.Wish] >= evenOdds && max(p[tagger.No], p[tagger.If], p[tagger.Doubt]) < sureNotNo
	switch {
	case wished && !v.drops && (!v.declines || p[tagger.No] < hardly):
		return job.Change // "Could we make it three instead of two?"
	case d.refusesAll(v, p) && !changed:
		return job.Decline
	case v.changes && v.doubts:
		return job.Question
	case v.changes && (!v.declines || v.drops), v.changes && d.has(span{0, len(d.toks)}, "set", "replaced") >= 0:
		return job.Change
	case v.asks:
		return job.Question
	case v.declines && (v.accepts || v.changes), v.mind && v.accepts:
		return ""
	case v.declines && !v.unsure:
		return job.Decline
	case (v.unsure || v.but) && v.accepts:
		return job.Question
	case v.unsure:
		return ""
	case v.accepts && hold >= likely:
		return job.Question
	case v.accepts:
		return job.Accept
	}
	return ""
}

// refusesAll tells of a learned no, surer where no phrase of declining says it too,
// in a letter that agrees, asks and wishes nothing.
func (d *doc) refusesAll(v *verdict, p *[tagger.Acts]float64) bool {
	if v.accepts || v.kinNo || v.drops || max(p[tagger.If], p[tagger.Ask], p[tagger.Wish]) >= sureNotNo {
		return false
	}
	no := p[tagger.No]
	return v.declines && no >= halfNo && p[tagger.Yes] < sureNotNo ||
		!v.yes && no >= sureNo && no-p[tagger.Yes] >= 0.35 && (d.has(span{0, len(d.toks)}, "no", "not") >= 0 || d.wordy(tagger.No, sureNo))
}

// calm tells whether nothing holds a yes back; less is asked where the yes is nearly
// certain: "Yes please, print all that you can".
func calm(p *[tagger.Acts]float64) bool {
	hold := heldBack(p)
	return hold < sureNot || hold < sureNotNo && p[tagger.Yes] >= 0.95
}

// wordy tells whether a sentence that does something has more than three words;
// "keep it", cut from a longer letter, is learned to be a no.
func (d *doc) wordy(act tagger.Act, sure float64) bool {
	return slices.ContainsFunc(d.learned, func(s tagger.Sentence) bool {
		return s.Acts[act] >= sure && len(strings.Fields(d.asWritten()[s.Start:s.End])) > 3
	})
}

// witnessed tells whether one sentence both has a phrase of consent and was learned
// to agree, and holds nothing back.
func (d *doc) witnessed() bool {
	for _, s := range d.sents {
		p := d.acts(s)
		if !calm(&p) || d.isQuestion(s.from) {
			continue
		}
		if at := d.has(s, "accept", "acceptstart", "acceptend", "yes", "asquoted"); at >= 0 && p[tagger.Yes] >= d.leastYes(s, at) {
			return true
		}
	}
	return false
}

// leastYes is how probable the yes of a sentence must be that has a phrase of consent
// at a token: surer behind words that nothing knows, and where a bare word for yes is
// all there is ("oui, en pouces" answers something else); none is enough behind words
// of denying, of a time and of saying.
func (d *doc) leastYes(s span, at int) float64 {
	own := d.seen(s)
	consents := d.has(s, "accept", "acceptstart", "acceptend", "asquoted") >= 0
	switch {
	case !own.led && !own.vague && !own.not && !own.said && consents:
		return halfYes
	case d.has(span{s.from, at}, "not", "if", "whencond", "saying") >= 0:
		return never
	}
	return ledYes
}

// judge adds one sentence to the verdict.
func (d *doc) judge(s span, v *verdict) {
	if d.toks[s.from].away && d.toks[s.to-1].away {
		return
	}
	own := *d.seen(s)
	if d.story(s) && !own.accepts && !own.declines && !own.drops && !own.mind {
		return
	}
	p := d.acts(s)
	tells := tellsOnly(&p)
	if tells || p[tagger.Yes] >= likely && heldBack(&p) < hardly {
		own.vague, own.money, own.when, own.not = false, false, false, false
	}
	if tells {
		own.but, own.doubts = false, own.doubts && p[tagger.Doubt] >= hardly
	}
	v.add(&own)
}

// add adds what another sentence says.
func (v *verdict) add(o *verdict) {
	v.accepts, v.declines, v.changes, v.asks = v.accepts || o.accepts, v.declines || o.declines, v.changes || o.changes, v.asks || o.asks
	v.drops, v.mind, v.yes, v.kinNo = v.drops || o.drops, v.mind || o.mind, v.yes || o.yes, v.kinNo || o.kinNo
	v.doubts, v.but, v.money, v.when = v.doubts || o.doubts, v.but || o.but, v.money || o.money, v.when || o.when
	v.not, v.unsure, v.led, v.vague = v.not || o.not, v.unsure || o.unsure, v.led || o.led, v.vague || o.vague
	v.said = v.said || o.said
}

// seen is what the phrases of a sentence say by themselves, worked out once.
func (d *doc) seen(s span) *verdict {
	k := d.toks[s.from].sent
	if d.verdicts == nil {
		d.verdicts = make([]*verdict, len(d.sents))
	}
	if d.verdicts[k] == nil {
		d.verdicts[k] = &verdict{}
		d.judgeAll(d.sents[k], d.verdicts[k])
	}
	return d.verdicts[k]
}

func (d *doc) judgeAll(s span, v *verdict) {
	p := d.acts(s)
	if d.isQuestion(s.from) && (d.hasMark(s) || p[tagger.Ask] >= hardly) {
		v.asks = true
		v.changes = v.changes || d.has(s, "change", "onemore") >= 0 && d.has(s, "ask", "want") >= 0 && d.has(s, "price", "whatif", "available") < 0
		return
	}
	v.asks = v.asks || d.has(s, "inquire") >= 0 || d.asksLater(s)
	bare, consents := d.bare(s), d.has(s, "accept", "acceptstart", "acceptend", "yes") >= 0
	for i := s.from; i < s.to; {
		i += d.judgeAt(i, bare, consents, v)
	}
}

// asksLater tells of a question behind a comma, with its mark forgotten: "yes,
// how do i pay".
func (d *doc) asksLater(s span) bool {
	for i := s.from + 1; i < s.to; i++ {
		if d.toks[i-1].fold == "," && d.cue(i, "whword") > 0 && d.fold(s.to-1) != "!" && !d.linksOnly(i) {
			return true
		}
	}
	return false
}

// linksOnly tells of the Spanish "que" without the accent of the word that asks: "háganlo,
// que me urge".
func (d *doc) linksOnly(i int) bool {
	return d.in.Language == "es" && strings.ToLower(d.toks[i].text) == "que"
}

// judgeAt adds the phrase at a token to the verdict and returns its length. A
// bare sentence has nothing but yes or no; one that consents has some word for yes.
func (d *doc) judgeAt(i int, bare, consents bool, v *verdict) int {
	if n := d.cue(i, "harmless", "hope", "asquoted", "takenback"); n > 0 {
		v.said = v.said || d.cue(i, "asquoted") > 0 && d.onlySaid(i)
		return n
	}
	if d.toks[i].away {
		return 1
	}
	if n := d.judgeNo(i, v); n > 0 {
		return n
	}
	if n := d.judgeYes(i, v); n > 0 {
		return n
	}
	if n := d.cue(i, "please"); n > 0 {
		return n
	}
	if n := d.cue(i, "asksmid"); n > 0 {
		v.asks = true
		return n
	}
	if n := d.cue(i, "if"); n > 0 && !d.spanishYes(i) {
		v.unsure = true
		return n
	}
	if n := d.cue(i, "whencond"); n > 0 {
		v.when = v.when || !d.ofCollecting(i)
		return n
	}
	if n := d.cue(i, "change", "replaced"); n > 0 {
		also := d.cue(i, "alsoword") > 0 && d.does(i, tagger.Wish) < 0.2 // "yo digo que sí también"
		nothing := also || d.onlyTold(i) || d.altersNothing(i) || d.onlyMoves(i)
		v.changes = v.changes || !nothing && d.cue(i+n, "asquoted") == 0 && !(d.fold(i+n) == "," && d.cue(i+n+1, "asquoted") > 0)
		return n
	}
	if n := d.cue(i, "yes"); n > 0 && !(d.fold(i) == "si" && !d.spanishYes(i)) {
		v.yes, v.accepts, v.led = true, v.accepts || bare, v.led || !bare && !d.leads(i, consentLead...)
		d.use(i, i+n)
		if d.cue(i+1, "accept", "acceptstart") > 0 {
			return 1 // "yes please print"
		}
		return n
	}
	switch {
	case d.cue(i, "but") > 0, d.cue(i, "except") > 0 && !d.toks[i].used && d.cue(i+d.cue(i, "except"), "colour", "branch") == 0:
		v.but = true
	case d.cue(i, "no") > 0 && (bare || d.standsAlone(i)) && !d.toks[i].used:
		v.declines = true
	case d.leftNumber(i):
		v.vague = true
	case d.cue(i, "not") > 0 && !d.toks[i].used && !d.ofCollecting(i) && !d.deniesAltering(i):
		v.not = true
	case d.cue(i, "money") > 0 && !consents:
		v.money = true
	}
	return 1
}

// altersNothing tells of a word of changing beside one of denying: "no le cambio ni una
// coma", "don't change a thing", "ne changez pas une virgule".
func (d *doc) altersNothing(i int) bool {
	c := d.clauseOf(i)
	return d.cue(i, "alter") > 0 && d.has(span{max(c.from, i-3), min(c.to, i+3)}, "not") >= 0
}

// deniesAltering tells of a word of denying whose clause alters nothing.
func (d *doc) deniesAltering(i int) bool {
	c := d.clauseOf(i)
	return d.has(span{max(c.from, i-3), min(c.to, i+4)}, "alter") >= 0
}

// judgeNo takes a phrase of declining, leaving out or doubting.
func (d *doc) judgeNo(i int, v *verdict) int {
	if n := d.cue(i, "mindchange"); n > 0 {
		v.mind = true
		return n
	}
	if n := d.cue(i, "dropping"); n > 0 && d.cue(i+n, "jobword") == 0 && !d.toks[i].used {
		v.drops, v.declines = true, v.declines || d.cue(i, "decline") > 0
		return n
	}
	if n := d.cue(i, "decline"); n > 0 {
		v.declines = true
		return n
	}
	if n := d.cue(i, "declineend"); n > 0 && d.closes1(i+n) {
		v.declines = true
		return n
	}
	if n := d.cue(i, "doubt", "sarcasm"); n > 0 {
		v.doubts = true
		return n
	}
	return 0
}

// judgeYes takes a phrase of consent.
func (d *doc) judgeYes(i int, v *verdict) int {
	if n := d.cue(i, "accept"); n > 0 && n >= d.cue(i, "change", "set") {
		d.consent(i, i+n, consentLead, v)
		return n
	}
	if n := d.cue(i, "acceptend"); n > 0 && d.closes1(i+n) {
		d.consent(i, i+n, commandLead, v)
		return n
	}
	if n := d.cue(i, "acceptstart"); n > 0 && n >= d.cue(i, "change") {
		d.consent(i, i+n, commandLead, v)
		return n
	}
	if n := d.cue(i, "kinsays"); n > 0 && d.leads(i, commandLead...) {
		return d.passedOn(i, i+n, v)
	}
	return 0
}

// passedOn is the yes or no of somebody else that the writer passes on: "my mom
// says yes".
func (d *doc) passedOn(i, j int, v *verdict) int {
	n := d.cue(j, "yes", "ok", "accept")
	switch {
	case n > 0 && d.closes1(j+n):
		v.accepts = true
	case d.cue(j, "no") > 0:
		v.declines, v.kinNo = true, true
	default:
		v.unsure = true
	}
	return j - i + max(n, 1)
}

// closes1 tells whether nothing but a politeness follows in the clause.
func (d *doc) closes1(j int) bool {
	for j < len(d.toks) && d.toks[j].kind != mark && d.toks[j].clause == d.toks[j-1].clause {
		n := d.cue(j, "please", "closing", "filler", "harmless")
		if n == 0 {
			return false
		}
		j += n
	}
	return true
}

// standsAlone tells of a "no" that is a clause of its own: "yes… actually, no".
func (d *doc) standsAlone(i int) bool {
	if i+1 < len(d.toks) && d.toks[i+1].kind != mark && d.toks[i+1].sent == d.toks[i].sent {
		return false
	}
	for k := i - 1; k >= d.clauseOf(i).from; k-- {
		if d.toks[k].kind != mark && d.cue(k, "opener", "correct", "skip", "filler") == 0 && d.ended(k+1, "opener", "correct", "skip") == 0 {
			return false
		}
	}
	return d.fold(d.clauseOf(i).from-1) != ":"
}

// ofCollecting tells of a time that is said of collecting or calling, not of the
// yes: "I'll pick it up after work".
func (d *doc) ofCollecting(i int) bool {
	return d.has(span{d.clauseOf(i).from, i}, "pickupword", "phoneword", "awayword", "notify") >= 0
}

// consent takes a phrase of consent, unless it is denied: "do not go ahead".
func (d *doc) consent(i, j int, lead []string, v *verdict) {
	if d.cue(j, "thatclause") > 0 || !d.leads(i, lead...) {
		v.led = true // "agreed that it is too thin", "my wife said to go ahead"
		v.said = v.said || d.onlySaid(i)
		return
	}
	d.use(i, j)
	switch {
	case d.has(span{max(d.clauseOf(i).from, i-5), i}, "not") >= 0:
		v.unsure, v.said = true, true
	case d.withOther(j):
		v.unsure = true
	case d.foreign(j):
		v.vague = true
	default:
		v.accepts = true
	}
}

// tailWords may follow a phrase of consent in its clause.
var tailWords = append([]string{"jobword", "leadname", "lead", "printing", "harmless", "hope", "notify", "phoneword", "my", "at", "of", "withword", "money", "weak", "agreeable",
	"acceptstart", "acceptend", "by", "on", "day", "month", "daydet", "daytime", "clock", "start", "as", "if", "whencond", "asksmid", "question", "change", "dropping", "not",
	"except", "doubt", "thatclause", "asquoted", "bystander", "about", "infillword", "verb", "set", "want", "ask", "eachword", "times", "bigger"}, wishWords...)

// onlySaid tells of a phrase right behind a word of denying, or of saying that is nobody
// else's: "don't print it", "I would say print it".
func (d *doc) onlySaid(i int) bool {
	if n := d.ended(i, "not"); n > 0 {
		return d.ended(i, "refuseahead") > 0 || d.behind(i-n, "saying")
	}
	return d.behind(i, "saying") && d.has(span{d.clauseOf(i).from, i}, "kinsays") < 0
}

// foreign tells whether the clause of a consent goes on with words that nothing
// here knows: "sounds good in theory", "I accept the apology". Words of thanks end it.
func (d *doc) foreign(j int) bool {
	for j < len(d.toks) && d.toks[j].clause == d.toks[j-1].clause && d.toks[j].sent == d.toks[j-1].sent {
		if d.cue(j, "closing", "and") > 0 && d.cue(j, "withword") == 0 {
			return false
		}
		n := d.cue(j, tailWords...)
		if t := d.toks[j]; n == 0 && (t.kind != word || t.used || t.claimed || t.away) {
			n = 1
		}
		if n == 0 {
			return true
		}
		j += n
	}
	return false
}

// withOther tells of a consent to another thing than the job: "please proceed
// with the refund", "go ahead and send me the form".
func (d *doc) withOther(j int) bool {
	if n := d.cue(j, "and"); n > 0 && d.cue(j, "withword") == 0 && d.ended(j, "gocommand") > 0 && j+n < len(d.toks) {
		return d.cue(j+n, "printing", "acceptstart", "verb", "set", "lead", "closing", "please", "filler", "harmless", "pickupword", "phoneword", "notify", "start") == 0
	}
	if d.cue(j, "withword") == 0 {
		return false
	}
	j += d.cue(j, "withword")
	for range 3 {
		j += d.cue(j, "det", "my", "adj")
	}
	return j < len(d.toks) && d.toks[j].kind == word && !d.toks[j].claimed &&
		d.cue(j, "jobword", "leadname", "this", "printing", "colour", "number", "material", "copies", "pieces", "branch", "supportword", "sizeword") == 0
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
		n := d.cue(k, "yes", "no", "ok", "filler", "please", "accept", "acceptstart", "acceptend", "weak", "hello", "closing", "harmless", "opener", "colour", "branch", "decline",
			"in", "material", "place", "pickupword", "det")
		if n == 0 && (d.toks[k].kind == mark || d.toks[k].claimed || d.toks[k].away) {
			n = 1
		}
		if n == 0 {
			return d.wished(s) || d.echoes(s)
		}
		k += n
	}
	return true
}

// echoes tells whether a sentence of yes or no says nothing that a question of
// ours did not say: "yes, close the holes please".
func (d *doc) echoes(s span) bool {
	if len(d.in.Questions) == 0 || d.cue(d.start(s), "yes", "no", "ok") == 0 {
		return false
	}
	asked := d.askedStems()
	for k := d.start(s); k < s.to; {
		n := d.cue(k, "yes", "no", "ok", "filler", "please", "det", "this", "copula", "is", "past", "in", "axislink", "closing", "theyword", "lead", "skip", "harmless", "and")
		if n == 0 && (d.toks[k].kind != word || asked[stem(d.fold(k))]) {
			n = 1
		}
		if n == 0 {
			return false
		}
		k += n
	}
	return true
}

// askedStems are the words of our questions, cut so that "close" and "closed" are one.
func (d *doc) askedStems() map[string]bool {
	if d.asked == nil {
		d.asked = map[string]bool{}
		for _, q := range d.in.Questions {
			for _, t := range tokens(q, 200) {
				d.asked[stem(t.fold)] = true
			}
		}
	}
	return d.asked
}

func stem(s string) string {
	for n := range s {
		if n >= 4 {
			return s[:n]
		}
	}
	return s
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
	if d.has(span{d.sentence(i).from, i}, "yes") >= 0 {
		return false // "sí, si sale en menos": the second is a condition
	}
	s := d.sents[d.toks[i].sent]
	return i+1 >= s.to || d.toks[i+1].kind == mark || d.cue(i+1, "accept", "please", "filler") > 0
}

// leftNumber tells of a number that nothing has explained, such as an option's.
func (d *doc) leftNumber(i int) bool {
	return d.toks[i].kind == number && !d.toks[i].claimed && !d.toks[i].used && !d.explained(i)
}

// onlyOK is a letter of nothing but "OK", or "perfect", with thanks. Whether there
// is anything to agree to, the caller knows.
func (d *doc) onlyOK() bool {
	seen := false
	for i := 0; i < len(d.toks); {
		n := d.cue(i, "ok", "agreeable", "yesletter")
		seen = seen || n > 0 && !d.toks[i].away
		if n == 0 {
			n = d.cue(i, "hello", "please", "closing", "acceptend")
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
		(free("supports") || w.Supports == "soluble") && w.Supports != "" && w.Supports != earlier.Supports || // whether they may stand is asked, not what of
		free("infill") && w.Infill != nil && !same(w.Infill, earlier.Infill) ||
		free("infill") && w.Strong && !earlier.Strong ||
		free("height") && w.ChangeMM != nil && !same(w.ChangeMM, earlier.ChangeMM) ||
		len(w.Items) > 0 && !repeatsItems(w.Items, earlier.Items) ||
		slices.ContainsFunc(w.NotColours, func(c string) bool { return slices.Contains(earlier.Colours, c) })
}

// repeatsItems tells whether items say nothing else than those known before; what
// one leaves unsaid, it repeats.
func repeatsItems(items, earlier []job.Item) bool {
	return slices.EqualFunc(items, earlier, func(a, b job.Item) bool {
		return strings.EqualFold(a.Part, b.Part) && (a.Copies == 0 || a.Copies == b.Copies) && (len(a.Colours) == 0 || slices.Equal(a.Colours, b.Colours)) &&
			(a.Size == nil || same(a.Size, b.Size)) && (a.Scale == nil || same(a.Scale, b.Scale)) && (a.Material == "" || a.Material == b.Material)
	})
}

// unclearAnswer gives the passage that speaks of a yes or a no when the letter as
// a whole says neither.
// What only exchanges the branch that was read is clear.
func (d *doc) unclearAnswer(answer job.Reply, moved bool) string {
	if answer != "" {
		return ""
	}
	for i := 0; i < len(d.toks); i++ {
		if n := d.cue(i, "harmless", "takenback"); n > 0 {
			i += n - 1
			continue
		}
		if n := d.cue(i, "change", "no"); n > 0 && (moved && d.onlyMoves(i) || d.doesWithout(i)) {
			i += n - 1
			continue
		}
		if !d.toks[i].away && (d.does(i, tagger.Yes, tagger.No) >= evenOdds && len(d.learned) > d.toks[i].says || d.cue(i, "accept", "acceptstart", "yes", "no", "decline", "doubt", "sarcasm", "change", "dropping", "mindchange") > 0) {
			s := d.sentence(i)
			return d.words(s.from, s.to)
		}
	}
	return ""
}

// doesWithout tells of a "no" to a colour, beside one that was read: "no pink? Red then."
func (d *doc) doesWithout(i int) bool {
	n := d.cue(i, "no")
	return n > 0 && d.cue(i+n, "colour", "othercolour") > 0 && i+n < len(d.toks) && d.toks[i+n].used
}

// onlyMoves tells of a word of changing that is said of where the part is collected:
// "I will collect it at Fernhill instead", "a small change: we have moved", "and not at Central".
func (d *doc) onlyMoves(i int) bool {
	if d.cue(i, "no") > 0 {
		return d.has(span{i, min(i+4, d.clauseOf(i).to)}, "branch") >= 0
	}
	if d.cue(i, "changenoun") > 0 {
		return d.does(i, tagger.Wish) < evenOdds
	}
	exchanges := d.cue(i, "instead", "replaced", "prefer") > 0 || d.does(i, tagger.Wish) < evenOdds
	return exchanges && d.has(d.clauseOf(i), "branch") >= 0
}

// changesElse gives the passage with a word of changing that is not said of the branch, or "".
func (d *doc) changesElse() string {
	for i := range d.toks {
		if !d.toks[i].away && d.cue(i, "change") > 0 && !d.onlyMoves(i) {
			s := d.sentence(i)
			return d.words(s.from, s.to)
		}
	}
	return ""
}

// agreesAndAsks tells whether a sentence of its own surely agrees, another asks, and
// nothing else in the letter holds back, gives up or changes anything: "Yes, please print
// it. May my cousin collect it?" Whether the yes depends on what is asked, the caller knows.
func (d *doc) agreesAndAsks() bool {
	agrees, asks := false, false
	for _, s := range d.sents {
		if d.toks[s.from].away && d.toks[s.to-1].away {
			continue
		}
		var v verdict
		d.judgeAll(s, &v)
		p := d.acts(s)
		plain := v.accepts && d.bare(s) // "Sí, adelante."
		switch {
		case v.declines || v.changes || v.drops || v.mind || v.kinNo || v.doubts || v.but || v.money || v.when || v.unsure || !plain && max(p[tagger.If], p[tagger.No], p[tagger.Doubt]) >= sureNotNo:
			return false
		case d.isQuestion(s.from) && p[tagger.Wish] < sureNotNo:
			asks = true
		case v.accepts && !v.not && !v.asks && p[tagger.Yes] >= likely && (plain || calm(&p)):
			agrees = true
		case v.asks || max(p[tagger.Ask], p[tagger.Wish]) >= evenOdds:
			return false
		}
	}
	return agrees && asks
}
