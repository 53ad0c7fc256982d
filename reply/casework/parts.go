package casework

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"meshclerk/intake/job"
)

// A letter about several parts
//
// What a letter says of one part holds for that part alone: "three lids, please; the
// box stays as it is", "I no longer need the knob. The bracket, yes, go ahead." Each
// part is read from the sentences that name it and from those that name none. A
// sentence that names several is read clause by clause, unless it only lists them:
// "yes to the lid and the box". Where one part is not clear, staff read the letter.

// ofParts reads what an answer says of each part that it names, where it names several.
// It reports false where what it says of one is not clear.
func (o *Office) ofParts(l *job.Letter, to known, jobs []job.Job) (own map[job.ID]job.Wishes, clear bool) {
	if len(jobs) < 2 || len(l.Inline) > 0 {
		return nil, true // what stands below a question answers that question
	}
	r := partReader{cues: o.Rules.Words.Cues[l.Language], jobs: jobs}
	texts := r.texts(l.Text)
	if len(texts) > 0 && o.ofAnother(l, to, r) {
		return nil, false
	}
	own, clear = map[job.ID]job.Wishes{}, true
	for _, j := range jobs {
		text, named := texts[j.ID]
		if !named {
			continue
		}
		w := o.ofPart(l, text, to, j, r)
		if w.Answer != job.Decline && o.givesUp(l, to, j, r) {
			return nil, false // the rest of the letter is about another one, that it calls otherwise
		}
		switch {
		case (w.Answer == "" || w.Answer == job.Change) && !wishesAnew(j, w) && saidIn(text).has(o.Rules.Words.Replies[l.Language]["kept"]):
			w.Answer, w.Unread = "", nil // nothing is to change about this one
		case (w.Answer == "" || w.Answer == job.Change) && !wishesAnew(j, w), w.Answer == job.Question, len(w.Unread) > 0:
			clear = false
		}
		own[j.ID] = w
	}
	if len(own) == 0 || len(own) == 1 && !clear {
		return nil, true // of all of them, or of one as the whole letter says
	}
	return own, clear
}

// ofAnother reports whether a passage that names none of the parts wishes something of a
// part by a name that none of them has: "yes to the lid; the bottom in green, please".
func (o *Office) ofAnother(l *job.Letter, to known, r partReader) bool {
	for _, p := range r.passages(l.Text) {
		one := *l
		one.Text = p.text
		if len(p.about) > 0 {
			continue
		}
		w := o.understand(&one, to)
		if w.Words["part"] != "" && slices.ContainsFunc(r.jobs, func(j job.Job) bool { return wishesAnew(j, w) }) {
			return true
		}
	}
	return false
}

// eachFile gives the wishes of a letter that brings several files and says of each, in a
// sentence of its own, what is wished of it, where those that were read of the whole letter
// are of things that are no file of it: "box I need two, white; lid one piece, black".
func (in *incoming) eachFile(files []job.Attachment) job.Wishes {
	w := in.l.Wishes
	if len(files) < 2 || !slices.ContainsFunc(w.Items, func(i job.Item) bool { return !isOneOf(i, files) }) {
		return w
	}
	r := partReader{cues: in.o.Rules.Words.Cues[in.l.Language]}
	for _, f := range files {
		r.jobs = append(r.jobs, job.Job{ID: job.ID(f.SHA256), File: f.Name})
	}
	texts, items := r.texts(in.l.Text), []job.Item(nil)
	for _, j := range r.jobs {
		one := *in.l
		one.Text, one.Subject = texts[j.ID], ""
		own := in.o.understand(&one, known{})
		if one.Text == "" || len(own.Items) > 0 || len(own.Unread) > 0 || own.Copies == nil && len(own.Colours) == 0 {
			return w
		}
		item := job.Item{Part: j.File, Colours: own.Colours, Size: own.Size, Scale: own.Scale, Material: own.Material}
		if own.Copies != nil {
			item.Copies = *own.Copies
		}
		items = append(items, item)
	}
	w.Items = items
	return w
}

// isOneOf reports whether an item is of a part that is a file of the letter.
func isOneOf(i job.Item, files []job.Attachment) bool {
	return slices.ContainsFunc(files, func(f job.Attachment) bool { return i.Part != "" && partOf(f.Name, i.Part) })
}

// plainIn are, of what a letter says of its parts, the answers that are plain whatever it
// says of the others: in passages about that part alone, neither yes nor no, and nothing
// unread.
func (o *Office) plainIn(l *job.Letter, to known, jobs []job.Job) map[job.ID]job.Wishes {
	r := partReader{cues: o.Rules.Words.Cues[l.Language], jobs: jobs}
	said := map[job.ID]string{}
	for _, p := range r.passages(l.Text) {
		if len(p.about) == 1 {
			said[p.about[0]] += strings.TrimSpace(p.text) + "\n"
		}
	}
	out := map[job.ID]job.Wishes{}
	for _, j := range jobs {
		if said[j.ID] == "" {
			continue
		}
		if w := o.ofPart(l, said[j.ID], to, j, r); w.Answer == "" && len(w.Unread) == 0 && wishesAnew(j, w) {
			out[j.ID] = w
		}
	}
	return out
}

// plainly takes the plain answers about some parts of a letter that is left to staff for
// what it says of another: "the hook in white; for the tray I must ask my mother".
func (in *incoming) plainly(ctx context.Context, jobs []job.Job) error {
	for _, j := range jobs {
		if _, plain := in.own[j.ID]; !plain || !offered[j.Stage] {
			continue
		}
		if now, again := in.merged(j); !again {
			if err := in.tx.SaveJob(ctx, now, in.who(), in.byLetter()); err != nil {
				return err
			}
		}
	}
	return nil
}

// ofPart reads what a letter says of one part. A yes or a no that only its name keeps
// from being plain is one: "yes to the lid".
func (o *Office) ofPart(l *job.Letter, text string, to known, j job.Job, r partReader) job.Wishes {
	one := *l
	one.Text, to.earlier = text, offeredWishes(j)
	w := o.understand(&one, to)
	if w.Answer != "" || len(w.Unread) == 0 {
		return w
	}
	one.Text = r.withoutNames(text)
	if plain := o.understand(&one, to); len(plain.Unread) == 0 && (plain.Answer == job.Accept || plain.Answer == job.Decline) {
		return plain
	}
	return w
}

// givesUp reports whether a passage that names a part declines it: what else the letter
// says is hardly said of that part.
func (o *Office) givesUp(l *job.Letter, to known, j job.Job, r partReader) bool {
	to.earlier = offeredWishes(j)
	for _, p := range r.passages(l.Text) {
		one := *l
		one.Text = p.text
		if slices.Contains(p.about, j.ID) && o.understand(&one, to).Answer == job.Decline {
			return true
		}
	}
	return false
}

// partReader divides a letter among the parts that it names.
type partReader struct {
	cues  map[string][]string
	jobs  []job.Job
	names []string // further words for the one part
}

// plainAnswer reads an answer about the only part of a conversation once more where
// nothing but what the patron calls that part keeps it from being a plain yes or no:
// "yes, please print the drawer stop". A part is called by its file's name and by the
// subject of its request.
func (o *Office) plainAnswer(ctx context.Context, l *job.Letter, to known, j job.Job) error {
	if l.Wishes.Answer == job.Accept || len(l.Wishes.Unread) > 1 {
		return nil
	}
	letters, err := o.Ledger.LettersOf(ctx, j.ID)
	if err != nil || len(letters) == 0 || letters[0].Parsed == nil {
		return err
	}
	r := partReader{cues: o.Rules.Words.Cues[l.Language], jobs: []job.Job{j}, names: append(nameWords(j.File), nameWords(letters[0].Parsed.Subject)...)}
	one := *l
	if one.Text = r.withoutNames(l.Text); one.Text == strings.Join(strings.Fields(l.Text), " ") {
		return nil
	}
	w := o.understand(&one, to)
	if len(w.Unread) == 0 && w.Answer == job.Accept && !wishesAnew(j, w) {
		l.Wishes = w
	}
	return nil
}

// passage is what a letter says in one go, of the parts that it names there; of none is
// of all.
type passage struct {
	text  string
	about []job.ID
}

// texts are the passages of a letter about each part that it names, in their order.
func (r partReader) texts(text string) map[job.ID]string {
	all := r.passages(text)
	out := map[job.ID]string{}
	for _, p := range all {
		for _, id := range p.about {
			out[id] = ""
		}
	}
	for _, p := range all {
		for id := range out {
			if len(p.about) == 0 || slices.Contains(p.about, id) {
				out[id] += strings.TrimSpace(p.text) + "\n"
			}
		}
	}
	return out
}

func (r partReader) passages(text string) (all []passage) {
	for _, s := range sentences(text) {
		all = append(all, r.divide(s)...)
	}
	return all
}

// sentenceEnd ends a sentence, and no file's name: a mark with room behind it, an empty
// line, or a line that is too short to have been broken by a mail program.
var (
	sentenceEnd = regexp.MustCompile(`[.!?;…]+(?:\s+|$)|\n\s*\n`)
	shortLine   = regexp.MustCompile(`(?m:^.{0,45}\n)`)
)

func sentences(text string) []string {
	var ends []int
	for _, end := range []*regexp.Regexp{sentenceEnd, shortLine} {
		for _, at := range end.FindAllStringIndex(text, 200) {
			ends = append(ends, at[1])
		}
	}
	slices.Sort(ends)
	var out []string
	from := 0
	for _, end := range slices.Compact(ends) {
		if strings.TrimSpace(text[from:end]) != "" {
			out = append(out, text[from:end])
			from = end
		}
	}
	return append(out, text[from:])
}

// divide cuts a sentence that names several parts into its clauses. One that says
// nothing but a part's name goes on with what stands before it.
func (r partReader) divide(sentence string) []passage {
	whole := passage{sentence, r.named(sentence)}
	if len(whole.about) < 2 {
		return []passage{whole}
	}
	var out []passage
	for _, c := range r.clauses(sentence) {
		about := r.named(c)
		switch last := len(out) - 1; {
		case last < 0:
			out = append(out, passage{c, about})
		case len(about) == 0 || len(out[last].about) == 0 || r.onlyNames(c) || r.onlyNames(out[last].text):
			out[last].text += " " + c
			out[last].about = append(out[last].about, about...)
		default:
			out = append(out, passage{c, about})
		}
	}
	return out
}

// clauses cuts a sentence at its commas and at words for "and" and "but".
func (r partReader) clauses(sentence string) []string {
	joints := append(slices.Clone(r.cues["and"]), r.cues["but"]...)
	var out []string
	begins := true
	for _, word := range strings.Fields(sentence) {
		joint := slices.Contains(joints, strings.ToLower(word))
		if begins || joint {
			out = append(out, "")
		}
		if joint && len(out) > 1 {
			begins = false
			continue // it says how the clauses hang together, and nothing of a part
		}
		out[len(out)-1] += " " + word
		begins = strings.HasSuffix(word, ",") || strings.HasSuffix(word, ":") && len(out) > 1
	}
	return out
}

// named are the parts that a text names.
func (r partReader) named(text string) (out []job.ID) {
	for _, j := range r.jobs {
		if namesFile(text, j.File, r.jobs) {
			out = append(out, j.ID)
		}
	}
	return out
}

// withoutNames takes the names of parts out of a text where they stand as a thing, behind
// an article or the like, and the small words before them: "to the drawer stop".
func (r partReader) withoutNames(text string) string {
	articles := slices.Concat(r.cues["det"], r.cues["my"])
	small := slices.Concat(articles, r.cues["for"], r.cues["at"], r.cues["withword"])
	is := func(word string, of []string) bool { return slices.Contains(of, strings.ToLower(word)) }
	var out []string
	behind := false // an article, or names behind one
	for _, word := range strings.Fields(text) {
		article, thing := elided(word)
		if name := len(r.named(thing)) > 0 || r.isName(thing); !name || !behind && !is(article, articles) {
			out, behind = append(out, word), is(word, articles)
			continue
		}
		behind = true
		for len(out) > 0 && is(out[len(out)-1], small) {
			out = out[:len(out)-1]
		}
		if mark := strings.TrimLeft(word, strings.TrimRight(word, ".,!?;:…")); mark != "" && len(out) > 0 {
			out[len(out)-1] += mark
		}
	}
	return strings.Join(out, " ")
}

// elided parts an article that lost its vowel from the word behind it: "l'équerre".
func elided(word string) (article, thing string) {
	if i := strings.IndexAny(word, "'’"); i > 0 && i < 3 {
		_, size := utf8.DecodeRuneInString(word[i:])
		return word[:i] + "'", word[i+size:]
	}
	return "", word
}

// isName reports whether a word is one that the patron calls the only part by.
func (r partReader) isName(word string) bool {
	words := calls(word)
	return len(words) == 1 && hasWord(r.names, words[0])
}

// onlyNames reports whether a clause says nothing but the names of parts.
func (r partReader) onlyNames(clause string) bool {
	var things []string
	for _, word := range strings.Fields(clause) {
		_, thing := elided(word)
		things = append(things, thing)
	}
	words := saidIn(strings.Join(things, " "))
	light := slices.Concat(r.cues["and"], r.cues["det"], r.cues["my"], r.cues["all"], r.cues["please"], r.cues["for"])
	for i := 0; i < len(words); {
		n := words.at(i, light)
		if n == 0 && len(r.named(words[i])) > 0 {
			n = 1
		}
		if n == 0 {
			return false
		}
		i += n
	}
	return true
}

// replyParts acts on an answer that says different things of several parts: those that
// are given up, those that change, then those that are agreed to.
func (in *incoming) replyParts(ctx context.Context, jobs []job.Job) error {
	for _, a := range []job.Reply{job.Decline, job.Change, "", job.Accept} {
		var about []job.Job
		for _, j := range jobs {
			if w, named := in.own[j.ID]; named && w.Answer == a && (a != "" || wishesAnew(j, w)) {
				now, err := in.tx.Job(ctx, j.ID) // one that is given up may have changed another
				if err != nil {
					return err
				}
				about = append(about, now)
			}
		}
		if len(about) == 0 {
			continue
		}
		if err := in.as(ctx, a, about); err != nil {
			return err
		}
	}
	return nil
}
