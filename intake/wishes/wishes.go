// Package wishes reads what a patron's own words settle: how many copies, which
// colour and material, how large, by when, where to collect, and in an answer
// whether the quote is accepted.
//
// A letter is cut into tokens, sentences and clauses. The house's words
// (rules.Words, in English, French and Spanish) mark phrases in it. Then each
// field has a small grammar over those marks, which asks for evidence around a
// value: "blue" is a wish in "in blue, please" and in "two blue hooks", but not
// in "my blue car" or "thanks, Mr Blue". Telephone numbers, dates and lengths
// are claimed first, so that none of their digits is ever taken for a count.
//
// Two steps stand before the fields and serve all of them: revise reads a value
// that is taken back as the one given instead, and scopes marks the values that a
// sentence refuses. Items are read from the stretches between joints, where parts
// or copies differ. What speaks of a wish and was used by no field is unread.
//
// Package tagger adds what was learned from marked letters. What a sentence does,
// the grammar and it settle together (answer.go). What the whole answer says is then
// put to a vote (vote.go): a log-linear model, fitted by answers whose truth is known,
// weighs all that was found in it (evidence.go), and may agree where the sentences by
// themselves do not, or leave to a person what they settle. A count or a colour that it is sure of is
// read where the grammar reads none; between several counts it decides; a count
// that it is sure is none of ours is not read. Numbers and colours that surely mean
// nothing here are not unread; sizes, dates and factors that nothing read are.
//
// Invariants:
//
//   - Precision before recall. What is not clear stays unsaid, and the patron is
//     asked: a wrong number or a wrong yes costs more than one more question.
//   - An answer is an acceptance only when it has a phrase of consent whose clause
//     goes on with known words, or a sentence that the tagger finds to agree; no
//     sentence gives up, takes back or changes something, and none agrees within a
//     question or a condition; and nothing is unread. Where another sentence asks,
//     doubts or sets a condition, the vote must be surer.
//   - No word of a quoted letter, a signature or a file's name is a wish.
//   - The work is linear in the length of the text; a grammar looks only a fixed
//     number of tokens around. No network.
package wishes

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
	"meshclerk/rules"
)

// Input is one letter, and what is known around it.
type Input struct {
	Text     string // the patron's own words, without quoted mail
	Subject  string // read for wishes only when the letter opens a conversation
	Language string // "en", "fr" or "es"; another is read as English
	Date     time.Time
	Answer   bool        // the letter answers one of ours
	From     job.Address // who wrote it: their name on the last line is no colour

	Personal  bool         // the last letter to the patron was a person's free words, so that a bare "yes" may answer anything
	Questions []string     // of the reply it answers, in their order
	Inline    []job.Inline // passages below quoted lines
	Quoted    string       // the mail it quotes
	Earlier   job.Wishes   // what was known before; repeating it changes nothing
	Parts     int          // how many parts the letter that it answers was about; 0 is unknown

	Words     rules.Words
	Branches  []rules.Branch
	Materials []rules.Material
}

// Reader understands letters by one set of house words. It may be used by
// several goroutines at once.
type Reader struct {
	lex   map[string]*lexicon // by language
	tags  *tagger.Tagger
	said  map[string]*dictation // by language
	house Input

	witness func(job.Reply, *evidence) // sees what is voted on, in tests
}

// New compiles the house's words, which takes some milliseconds.
func New(words rules.Words, branches []rules.Branch, materials []rules.Material) *Reader {
	r := &Reader{lex: map[string]*lexicon{}, said: map[string]*dictation{}}
	r.house = Input{Words: words, Branches: branches, Materials: materials}
	r.tags = tagger.New(tagger.NewWords(words, branches, materials))
	for _, lang := range languages {
		said := newDictation(words, lang)
		r.lex[lang], r.said[lang] = newLexicon(&r.house, lang), &said
	}
	for _, lang := range languages {
		for _, other := range languages {
			if other != lang {
				r.lex[lang].other = append(r.lex[lang].other, r.lex[other])
			}
		}
	}
	return r
}

// Understand reads one letter by the house's words in the input. Who reads many
// letters makes a Reader.
func Understand(in Input) job.Wishes {
	return New(in.Words, in.Branches, in.Materials).Understand(in)
}

// Understand reads the wishes of one letter. A field that the words do not
// settle stays nil, "" or empty. Words holds, for each settled field, the
// patron's words it came from; beside a field that is unsaid it holds words that
// speak of it without settling it ("2 or 3 copies", "any colour"). The input's
// own house words are not looked at.
func (r *Reader) Understand(in Input) job.Wishes {
	in.Words, in.Branches, in.Materials = r.house.Words, r.house.Branches, r.house.Materials
	in.Language = readable(in.Language)
	lex := r.lex[in.Language]
	if len(in.Inline) == 0 {
		in.Text = r.said[in.Language].read(in.Text)
	}
	answered, text := pairs(&in)
	d := newDoc(opening(&in)+text, lex, &in)
	d.learn(r.tags)
	d.topics = asked(&in, lex)
	w := d.wishes()
	v := replies{topics: d.topics, lex: lex, in: &in, tags: r.tags, witness: r.witness}
	changed := in.Answer && changedWish(w, in.Earlier, v.topics)
	w = v.inline(w, answered)
	if len(answered) == 0 {
		w = v.single(w, d, text)
	}
	if in.Answer {
		w.Answer = v.answer(d, w, changed)
	}
	w.Unread = slices.Concat(d.left(), v.unread)
	moved := movedFrom(in.Earlier, w)
	if in.Answer {
		if w.Answer == job.Accept && len(w.Unread) > 0 {
			w.Answer = ""
		}
		apart := w.Together == "no" && slices.Contains(v.topics, "together") // that no is to our question
		if words := d.unclearAnswer(w.Answer, moved); words != "" && !apart {
			w.Unread = append(w.Unread, job.Unread{Text: words, About: "answer"})
		}
		if words := d.changesElse(); words != "" && moved && !changed && w.Answer == job.Change {
			w.Unread = append(w.Unread, job.Unread{Text: words, About: "other"}) // "make it thicker, and I'll collect it at Fernhill"
		}
		if words := d.words(0, 40); w.Answer != "" && words != "" {
			w.Words["answer"] = words
		}
		if words := d.wishedPart(); words != "" && len(w.Items) == 0 {
			w.Words["part"] = words
		}
	}
	w.Agrees = in.Answer && (w.Answer == job.Question || w.Answer == "") && !changed && !moved && !v.strayed && len(answered) == 0 && len(d.left()) == 0 && d.agreesAndAsks()
	w.Courtesy = in.Answer && len(answered) == 0 && len(w.Unread) == 0 && !strings.ContainsAny(in.Text, "?¿") && d.onlyCourtesy()
	if len(w.Words) == 0 {
		w.Words = nil
	}
	return w
}

// opening is the subject as a sentence of its own, when it is the patron's.
func opening(in *Input) string {
	s := strings.TrimSpace(in.Subject)
	if in.Answer || s == "" {
		return ""
	}
	for {
		head, rest, ok := strings.Cut(s, ":")
		switch strings.ToLower(strings.TrimSpace(head)) {
		case "fw", "fwd", "tr", "rv":
			if ok {
				s = strings.TrimSpace(rest)
				continue
			}
		case "re", "aw", "sv", "ref":
			return ""
		}
		return s + "\n\n"
	}
}

// wishes reads all fields. The order matters: what is surest claims its
// numbers first.
func (d *doc) wishes() job.Wishes {
	w := job.Wishes{Colours: []string{}, Words: map[string]string{}}
	note := func(field, words string) {
		if words != "" {
			w.Words[field] = words
		}
	}
	var phone, card, words string
	w.Phone, phone, w.Card, card = d.contact()
	note("phone", phone)
	note("card", card)
	w.NeededBy, words = d.neededBy()
	note("needed_by", words)
	w.Together, words = d.oneprint()
	note("together", words)
	change := d.change()
	w.ChangeMM, w.FromTop = change.mm, change.fromTop
	note("height", change.words)
	marked, at := d.markedItems()
	items, itemWords := d.items()
	if len(change.items) > 0 {
		items, itemWords = change.items, change.words
	}
	if len(items) == 0 && change.mm == nil {
		items, itemWords = d.letters()
	}
	if len(change.items) == 0 && change.mm == nil && values(marked) > values(items) {
		items, itemWords = marked, d.words(at.from, at.to)
		d.claim(at.from, at.to)
		d.use(at.from, at.to)
	}
	w.Size, words = d.size()
	note("size", words)
	w.Infill, words = d.infill()
	note("infill", words)
	w.Scale, words = d.scale()
	note("scale", words)
	w.Copies, words = d.copies()
	note("copies", words)
	c, refused, words := d.colours()
	w.Colours, w.NotColours = append(w.Colours, c...), refused
	note("colours", words)
	w.Material, words = d.material()
	note("material", words)
	w.Supports, words = d.supports()
	note("supports", words)
	w.Pickup, words = d.pickup()
	note("pickup", words)
	words = d.strong()
	w.Strong = words != "" && w.Infill == nil
	note("strong", words)
	if len(items) > 0 {
		itemise(&w, items, itemWords)
	}
	return w
}

// itemise lays items over the wishes for the whole: copies are their sum, colours
// all of theirs; where the parts differ in size, only the items have it. A count
// elsewhere that is not the sum leaves the number of copies open.
func itemise(w *job.Wishes, items []job.Item, words string) {
	sum, first := 0, items[0]
	if len(w.Colours) == 1 && !slices.ContainsFunc(items, func(it job.Item) bool { return len(it.Colours) > 0 }) {
		for k := range items {
			items[k].Colours = w.Colours // "all in grey", said elsewhere
		}
	}
	w.Items, w.Colours = items, []string{}
	for _, it := range items {
		sum += it.Copies
		for _, c := range it.Colours {
			w.Colours = appendNew(w.Colours, c)
		}
		if !same(it.Size, first.Size) {
			w.Size = nil
		}
		if !same(it.Scale, first.Scale) {
			w.Scale = nil
		}
	}
	if m := first.Material; m != "" && w.Material == "" && !slices.ContainsFunc(items, func(it job.Item) bool { return it.Material != m }) {
		w.Material, w.Words["material"] = m, words
	}
	w.Words["items"], w.Words["colours"] = words, words
	if sum > 0 && sum <= maxCopies && (w.Copies == nil || *w.Copies == sum) {
		w.Copies, w.Words["copies"] = &sum, words
	} else if sum > 0 {
		w.Copies = nil
	}
}

// asked are the topics of the questions that the letter answers.
func asked(in *Input, lex *lexicon) []string {
	var topics []string
	for _, q := range in.Questions {
		topics = append(topics, topicOf(q, lex, in))
	}
	return topics
}

// replies reads answers to questions of ours.
type replies struct {
	topics []string
	lex    *lexicon
	in     *Input
	tags   *tagger.Tagger

	consent string // "yes" or "no" to a question whether to go ahead
	agreed  bool   // a yes to such a question
	refuses bool   // a no to such a question, or words of declining below any
	asks    bool   // an answer is itself a question
	unread  []job.Unread
	strayed bool // an answer holds wishes that its question did not ask for
	pieces  []*doc

	witness func(job.Reply, *evidence) // sees what is voted on, in tests
}

// inline adds what was written under the questions.
func (v *replies) inline(w job.Wishes, answered []pair) job.Wishes {
	for _, p := range answered {
		d := newDoc(p.answer, v.lex, v.in)
		d.learn(v.tags)
		d.topic = topicOf(p.question, v.lex, v.in)
		v.asks = v.asks || strings.Contains(p.answer, "?")
		if d.topic == "accept" {
			said, _ := d.yesOrNo()
			v.consent = cmp.Or(d.sureOf(said), v.consent)
			v.agreed, v.refuses = v.agreed || v.consent == "yes", v.refuses || v.consent == "no"
		}
		v.refuses = v.refuses || d.declinesBelow() && d.sense()[tagger.No] >= halfYes
		own := d.wishes()
		v.strayed = v.strayed || changedWish(own, v.in.Earlier, append([]string{d.topic}, v.topics...))
		v.unread = append(v.unread, d.left()...)
		w = Merge(w, own)
		v.pieces = append(v.pieces, d)
	}
	return w
}

// single reads a letter as the answer to the one question that was asked,
// where its general sense has left that open.
func (v *replies) single(w job.Wishes, whole *doc, text string) job.Wishes {
	if len(v.topics) != 1 || v.topics[0] == "" || v.topics[0] == "accept" || (v.topics[0] == "supports" || v.topics[0] == "together") && !whole.onlyYesOrNo() {
		return w
	}
	d := newDoc(text, v.lex, v.in)
	d.topic = v.topics[0]
	if len(d.toks) > 40 {
		return w
	}
	own := d.wishes()
	if own.ChangeMM != nil {
		w.Size = nil // the length is that height
		delete(w.Words, "size")
	}
	whole.takeUsed(d)
	return Merge(own, w)
}

// takeUsed takes over what another reading of the same words was read from.
func (d *doc) takeUsed(other *doc) {
	if len(d.toks) != len(other.toks) {
		return
	}
	for i, t := range other.toks {
		d.toks[i].used = d.toks[i].used || t.used
	}
}

// answer decides what the whole letter says to the quote: what the grammar and the
// tagger found sentence by sentence, and then all the evidence together.
func (v *replies) answer(d *doc, w job.Wishes, changed bool) job.Reply {
	moved := movedFrom(v.in.Earlier, w)
	reply := v.bySentences(d, changed, moved)
	e := v.evidence(d, w, changed, moved)
	if v.witness != nil {
		v.witness(reply, e)
	}
	reply = v.allowed(d, voted().vote(reply, e))
	if reply == job.Accept && !v.answersQuestion() && len(v.pieces) == 0 && !hasValues(w) && d.remainder() {
		return "" // what the rest is beside was not read
	}
	return reply
}

// movedFrom tells whether another branch is wished than was before.
func movedFrom(earlier, w job.Wishes) bool {
	return w.Pickup != "" && earlier.Pickup != "" && w.Pickup != earlier.Pickup
}

// bySentences is the answer as its sentences give it.
func (v *replies) bySentences(d *doc, changed, moved bool) job.Reply {
	reply := d.answer(changed || v.strayed, moved, v.asks)
	switch {
	case v.divided(reply):
		return ""
	case v.consent == "yes" && reply == "" && !d.doubts() && len(d.left()) == 0:
		return job.Accept
	case v.consent == "no" && (reply == "" || reply == job.Accept):
		return job.Decline
	}
	return v.allowed(d, reply)
}

// divided tells of a yes here and a no there.
func (v *replies) divided(reply job.Reply) bool {
	return v.refuses && (v.consent == "yes" || v.agreed || reply == job.Accept)
}

// allowed takes back what the questions of ours forbid.
func (v *replies) allowed(d *doc, reply job.Reply) job.Reply {
	switch {
	case v.divided(reply):
		return ""
	case reply == job.Accept && (d.picks() || d.corrected() || d.excepts() || d.invites()):
		return "" // one of several ways is another offer, and nobody agrees to a mistake
	case reply == job.Accept && v.in.Personal && v.consent == "" && d.has(span{0, len(d.toks)}, "accept", "acceptstart") < 0:
		return "" // a bare yes may mean whatever the person had asked
	case reply == job.Decline && (v.answersQuestion() && d.onlyYesOrNo() || v.asksYesOrNo() && d.bareNo()):
		return "" // a no to a question of ours is no no to the job
	}
	return reply
}

// picks tells whether the letter names one of several ways to print: "with option 3".
func (d *doc) picks() bool {
	for i := range d.toks {
		if n := d.cue(i, "option"); n > 0 && (d.isNumeral(i+n) || d.isLetter(i+n) || d.endsNumeral(d.skipBack(i))) {
			return true
		}
	}
	return false
}

// remainder tells whether the letter agrees to the rest: "Take one off. The rest stays."
func (d *doc) remainder() bool {
	for i := range d.toks {
		if d.cue(i, "therest") > 0 && !d.besidePrice(i) && !d.toks[i].away && !d.tells(i) {
			return true
		}
	}
	return false
}

// besidePrice tells of "the price and the rest", which is all of it.
func (d *doc) besidePrice(i int) bool {
	joined := d.has(span{max(0, i-2), i}, "and") >= 0 || d.fold(i-1) == "pis" || d.fold(i-2) == "pis"
	return joined && d.has(span{d.clauseOf(i).from, i}, "price") >= 0
}

// excepts tells whether a sentence that does not surely tell leaves something out of
// what is agreed to: "Yes!! Except I have twins", "accepted with one amendment".
func (d *doc) excepts() bool {
	for i := range d.toks {
		n := d.cue(i, "barring")
		if n == 0 || d.toks[i].away || d.tells(i) {
			continue
		}
		if d.has(span{max(0, i-3), i}, "not", "no") < 0 && d.cue(i+n, "colour", "branch") == 0 {
			return true
		}
	}
	return false
}

// invites tells whether the letter speaks of an invitation: "Ruth has accepted your
// invitation", as calendars write.
func (d *doc) invites() bool { return d.has(span{0, len(d.toks)}, "invitation") >= 0 }

// corrected tells whether the letter says that ours has something wrong: "You've put
// twelve copies. Please correct this", "corríjanlo", but not "nada que corregir".
func (d *doc) corrected() bool {
	for i := range d.toks {
		if d.cue(i, "correcting") > 0 && !d.toks[i].away && d.has(span{max(0, i-3), i}, "not", "no") < 0 && d.ended(i, "nothingto") == 0 && !d.finds(i+1) && !d.asWrittenBy(i) {
			return true
		}
	}
	return false
}

// asWrittenBy tells of a word of ours right behind words of leaving it as it is: "tal cual lo
// pusieron", "just as you put it".
func (d *doc) asWrittenBy(i int) bool {
	for k := i; k >= max(d.clauseOf(i).from, i-3); k-- {
		if d.cue(k, "asquoted", "kept") > 0 || d.fold(k) == "as" || d.fold(k) == "comme" || d.fold(k) == "como" {
			return true
		}
	}
	return false
}

// answersQuestion tells whether the letter it answers asked something else than
// whether to go ahead.
func (v *replies) answersQuestion() bool {
	return len(v.topics) > 0 && !slices.Contains(v.topics, "accept")
}

// yesNoTopics are those of our questions that a no answers.
var yesNoTopics = []string{"supports", "together"}

// asksYesOrNo tells whether the letter it answers asked something that a no answers.
func (v *replies) asksYesOrNo() bool {
	return slices.ContainsFunc(v.topics, func(t string) bool { return slices.Contains(yesNoTopics, t) })
}

// declinesBelow tells whether the words below a question of ours decline more than what
// it asks.
func (d *doc) declinesBelow() bool {
	onlyThat := slices.Contains(yesNoTopics, d.topic) && d.bareNo()
	return !onlyThat && d.has(span{0, len(d.toks)}, "decline", "dropping") >= 0
}

// bareNo tells whether the letter holds nothing but a no and politeness: "No, thanks."
func (d *doc) bareNo() bool {
	if len(d.toks) == 0 || d.cue(0, "no") == 0 || d.has(span{0, len(d.toks)}, "dropping") >= 0 {
		return false
	}
	return !slices.ContainsFunc(d.sents, func(s span) bool { return !d.bare(s) })
}

// onlyYesOrNo tells whether the letter holds nothing but yes or no and politeness.
func (d *doc) onlyYesOrNo() bool {
	if d.has(span{0, len(d.toks)}, "accept", "acceptstart", "acceptend", "decline") >= 0 {
		return false
	}
	for _, s := range d.sents {
		if !d.bare(s) {
			return false
		}
	}
	return true
}

// doubts tells whether something in the letter holds back.
func (d *doc) doubts() bool {
	var u verdict
	for _, s := range d.sents {
		d.judge(s, &u)
	}
	return u.unsure || u.doubts || u.but || u.declines || u.asks || u.changes || u.drops || u.mind || u.money || u.when
}

// Merge lays newer wishes over older ones: the newest word wins, field by
// field. A new size replaces an old scale, and the other way round.
func Merge(old, new job.Wishes) job.Wishes {
	w := old
	w.Words = maps.Clone(old.Words)
	if w.Words == nil {
		w.Words = map[string]string{}
	}
	if new.Size != nil || new.Scale != nil {
		w.Size, w.Scale = new.Size, new.Scale
		delete(w.Words, "size")
		delete(w.Words, "scale")
	}
	if new.Infill != nil || new.Strong {
		w.Infill, w.Strong = new.Infill, new.Strong
		delete(w.Words, "infill")
		delete(w.Words, "strong")
	}
	if new.Copies != nil || new.Words["copies"] != "" {
		w.Copies = new.Copies
		if counts(old.Items) { // else they are the parts of one print, whose colours stay
			w.Items = nil
		}
	}
	if len(new.NotColours) > 0 {
		w.NotColours = new.NotColours
	}
	if len(new.Colours) > 0 || new.Words["colours"] != "" {
		w.Colours, w.Items = new.Colours, nil
	}
	if len(new.Items) > 0 {
		w.Items = new.Items
	}
	if new.ChangeMM != nil {
		w.ChangeMM, w.FromTop = new.ChangeMM, new.FromTop
	}
	mergeRefused(&w, old, new)
	w.Unread = new.Unread
	for _, f := range []struct {
		into *string
		from string
	}{{&w.Material, new.Material}, {&w.Supports, new.Supports}, {&w.NeededBy, new.NeededBy},
		{&w.Phone, new.Phone}, {&w.Card, new.Card}, {&w.Pickup, new.Pickup}, {&w.Together, new.Together}} {
		if f.from != "" {
			*f.into = f.from
		}
	}
	w.Answer = new.Answer
	delete(w.Words, "answer")
	maps.Copy(w.Words, new.Words)
	return w
}

// counts reports whether items say how many are wished of each.
func counts(items []job.Item) bool {
	return slices.ContainsFunc(items, func(i job.Item) bool { return i.Copies > 0 })
}

// mergeRefused keeps what was refused before, but for what is wished now, and
// takes what is refused now out of what was wished.
func mergeRefused(w *job.Wishes, old, new job.Wishes) {
	w.NotColours = nil
	for _, c := range slices.Concat(old.NotColours, new.NotColours) {
		if !slices.Contains(new.Colours, c) {
			w.NotColours = appendNew(w.NotColours, c)
		}
	}
	if w.Colours != nil {
		w.Colours = slices.DeleteFunc(slices.Clone(w.Colours), func(c string) bool { return slices.Contains(new.NotColours, c) })
	}
}
