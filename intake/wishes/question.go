package wishes

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// isQuestion tells whether a token's sentence is a question.
func (d *doc) isQuestion(i int) bool {
	s := d.sents[d.toks[i].sent]
	if d.hasMark(s) {
		return true
	}
	if d.fold(s.to-1) == "!" {
		return false // "how lovely it looks!"
	}
	start := d.start(s)
	if d.linksOnly(start) {
		return false // "que sean tres" is a wish; the word that asks has an accent
	}
	return d.cue(start, "question") > 0 && d.cue(start, "accept", "notasking") == 0 // "pueden imprimir" gives leave
}

// hasMark tells of a sentence with a question mark at its end.
func (d *doc) hasMark(s span) bool {
	return d.fold(s.to-1) == "?" || s.to-2 >= s.from && d.fold(s.to-2) == "?"
}

// onlyAsks tells whether a token's sentence is a question that wishes nothing:
// not "could you print it in blue?".
func (d *doc) onlyAsks(i int) bool {
	return d.isQuestion(i) && (d.has(d.sentence(i), "ask", "want") < 0 && !d.couldBe(i) || d.has(d.sentence(i), "info") >= 0)
}

// couldBe tells of "could two of them be yellow?".
func (d *doc) couldBe(i int) bool {
	s := d.sents[d.toks[i].sent]
	return d.cue(d.start(s), "couldword") > 0 && d.has(d.sentence(i), "beword") >= 0 && d.has(d.sentence(i), "available", "price") < 0
}

// start is the first token of weight in a sentence.
func (d *doc) start(s span) int {
	i := s.from
	for i < s.to-1 {
		n := d.cue(i, "hello", "opener", "filler")
		if n == 0 && d.toks[i].kind == mark {
			n = 1
		}
		if n == 0 || d.cue(i, "question") > 0 {
			break
		}
		i += n
	}
	return min(i, len(d.toks)-1)
}

// hypothetical tells whether, in an answer, the sentence only asks what
// something would cost: no wish yet.
func (d *doc) hypothetical(i int) bool {
	if !d.in.Answer {
		return false
	}
	s := d.sentence(i)
	if d.has(s, "thrift") >= 0 {
		return false // "smaller, to bring the cost down"
	}
	return d.has(s, "price") >= 0 && (d.isQuestion(i) || d.has(s, "whatif") >= 0) || d.has(s, "whatif") >= 0 && d.isQuestion(i)
}

// topicOf tells which field a question of ours asks for, or "". Our letter may have
// been in another language than the answer is.
func topicOf(question string, lex *lexicon, in *Input) string {
	topic := topicIn(question, lex, in)
	for _, other := range lex.other {
		if topic == "" {
			topic = topicIn(question, other, in)
		}
	}
	return topic
}

func topicIn(question string, lex *lexicon, in *Input) string {
	d := newDoc(question, lex, in)
	best, topic := -1, ""
	for i := range d.toks {
		for _, t := range d.tags[i] {
			plain := t.key == "accept" && topic != "" // "shall we print it with supports?" asks for the supports
			if t.group == "topic" && !plain && (best < 0 || topic == "accept" || t.key != topic && t.n > best) {
				best, topic = t.n, t.key
			}
		}
	}
	if kind := d.choiceOf(); kind != "" && (topic == "" || topic == "accept") {
		return kind
	}
	if whole := (span{0, len(d.toks)}); topic == "" && len(d.toks) > 0 && d.has(whole, "whword", "whatif", "if") < 0 &&
		d.has(whole, "printing", "start", "accept", "acceptstart", "jobword") >= 0 {
		return "accept" // "Shall we start?"
	}
	return topic
}

// choiceOf is the topic of a question that names two colours, materials or branches and
// not the sort itself: "Would you like it in black or in grey?"
func (d *doc) choiceOf() string {
	named := map[string]string{}
	for i := range d.toks {
		for _, group := range []string{"colour", "material", "branch"} {
			t, ok := d.tag(i, group)
			if !ok {
				continue
			}
			if first := named[group]; first != "" && first != t.key {
				return choiceTopics[group]
			}
			named[group] = t.key
		}
	}
	return ""
}

var choiceTopics = map[string]string{"colour": "colour", "material": "material", "branch": "pickup"}

// pair is a question with what the patron wrote under it.
type pair struct {
	question, answer string
	number           int // in Input.Questions, from 0; -1 when it was only found quoted
}

var numbered = regexp.MustCompile(`(?m)(?:^|[ \t])[(#]?(\d{1,2})(?:[.):]|[ \t]*[-–:/][ \t])[ \t]*`)

// pairs finds which words answer which question, and gives the text without
// them. Words under a quoted question answer it; so does a numbered list.
func pairs(in *Input) ([]pair, string) {
	var out []pair
	if len(in.Questions) == 0 {
		in.Questions = quotedQuestions(in.Quoted)
	}
	text := in.Text
	for _, p := range in.Inline {
		q, n := lastQuestion(p.Quoted, in.Questions)
		if q == "" && !strings.Contains(text, strings.TrimSpace(p.Text)) {
			text += "\n\n" + p.Text
		}
		if q == "" || strings.TrimSpace(p.Text) == "" {
			continue
		}
		if before, after, ok := strings.Cut(text, strings.TrimSpace(p.Text)); ok {
			text = before + "\n\n" + after
		}
		out = append(out, pair{q, p.Text, n})
	}
	if len(out) > 0 || len(in.Questions) == 0 {
		return out, text
	}
	if out, rest := in.unpointed(text); out != nil {
		return out, rest
	}
	return byNumber(in.Questions, text)
}

var bareNumber = regexp.MustCompile(`(?:^|[\s,;])(\d{1,2})[ \t]+`)

// unpointed reads "1 yes 2 red", the numbers of our questions without a point: a
// letter that begins with 1 and goes on with 2, where some answer is a yes or a no,
// so that they are no counts.
func (in *Input) unpointed(text string) (out []pair, rest string) {
	said := false
	text, rest, _ = strings.Cut(text, "\n\n")
	for n, question := range in.Questions {
		m := bareNumber.FindStringSubmatchIndex(text)
		if m == nil || text[m[2]:m[3]] != strconv.Itoa(n+1) || n == 0 && m[0] > 0 {
			break
		}
		if n > 0 {
			out[n-1].answer = text[:m[0]]
		}
		text = text[m[1]:]
		out = append(out, pair{question, text, n})
	}
	for _, p := range out {
		said = said || in.beginsWith(p.answer, "yes", "no", "ok")
	}
	if !said || len(out) < 2 {
		return nil, ""
	}
	return out, rest
}

// beginsWith tells whether a text's first word is a way of saying some kind of reply.
func (in *Input) beginsWith(text string, kinds ...string) bool {
	toks := tokens(text, 1)
	return len(toks) > 0 && slices.ContainsFunc(kinds, func(kind string) bool {
		return slices.ContainsFunc(in.Words.Replies[in.Language][kind], func(way string) bool { return fold(way) == toks[0].fold })
	})
}

// quotedQuestions reads the numbered questions of a quoted letter, each with
// the lines it was wrapped to.
func quotedQuestions(quoted string) []string {
	var out []string
	open := false
	for line := range strings.Lines(quoted[:min(len(quoted), maxBytes)]) {
		line = strings.TrimSpace(strings.TrimLeft(line, "> \t"))
		m := numberedLine.FindStringSubmatch(line)
		switch {
		case m != nil && m[1] == strconv.Itoa(len(out)+1):
			out, open = append(out, m[2]), true
		case line == "" || m != nil:
			open = false
		case open:
			out[len(out)-1] += " " + line
		}
	}
	if !slices.ContainsFunc(out, func(q string) bool { return strings.Contains(q, "?") }) {
		return nil // a list of other things
	}
	return out
}

var numberedLine = regexp.MustCompile(`^(\d{1,2})[.)]\s+(.+)$`)

const belowQuestion = 80 // bytes may stand between a question and its answer

// lastQuestion is the question nearest above an answer.
func lastQuestion(quoted string, asked []string) (string, int) {
	best, where, n := "", -1, -1
	squeezed := squeeze(quoted)
	for k, q := range asked {
		if at := strings.LastIndex(squeezed, squeeze(q)); at > where && squeeze(q) != "" {
			best, where, n = q, at, k
		}
	}
	if best != "" && len(squeezed)-where-len(squeeze(best)) < belowQuestion {
		return best, n
	}
	if best != "" {
		return "", -1 // below the whole letter: an answer to all of it
	}
	if at := strings.LastIndexByte(quoted, '?'); at >= 0 && len(strings.TrimSpace(quoted[at:])) < belowQuestion {
		from := max(strings.LastIndexAny(quoted[:at], "?\n"), strings.LastIndex(quoted[:at], ". "))
		if k := numbered.FindAllStringSubmatch(quoted, -1); len(k) > 0 {
			if i, err := strconv.Atoi(k[len(k)-1][1]); err == nil && i >= 1 && i <= len(asked) {
				return asked[i-1], i - 1
			}
		}
		return wider(quoted, from+1, at), -1
	}
	return "", -1
}

// wider takes the wrapped lines of a question too.
func wider(quoted string, from, to int) string {
	for from > 1 && quoted[from-1] == '\n' {
		prev := strings.LastIndexByte(quoted[:from-1], '\n') + 1
		line := strings.TrimSpace(quoted[prev : from-1])
		if line == "" || strings.ContainsAny(line[len(line)-1:], ".?!:") {
			break
		}
		from = prev
	}
	return quoted[from : to+1]
}

func squeeze(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), " ")) }

// byNumber reads "1. blue 2. yes" against the questions.
func byNumber(questions []string, text string) ([]pair, string) {
	var out []pair
	marks := numbered.FindAllStringSubmatchIndex(text, 40)
	next, kept, at := 1, "", 0
	for k, m := range marks {
		n, err := strconv.Atoi(text[m[2]:m[3]])
		if err != nil || n < next || n > len(questions) || !atLineStart(text, m[0]) && (len(out) == 0 || n != next) {
			continue
		}
		end := len(text)
		if k+1 < len(marks) {
			end = marks[k+1][0]
		}
		if para := strings.Index(text[m[1]:end], "\n\n"); para >= 0 {
			end = m[1] + para
		}
		end = m[1] + answerEnd(text[m[1]:end])
		kept += text[at:m[0]] + "\n\n"
		out, at, next = append(out, pair{questions[n-1], text[m[1]:end], n - 1}), end, n+1
	}
	return out, kept + text[at:]
}

const shortAnswer = 3 // words

// answerEnd is where an answer ends that is at most three words on a line of its own, when
// a sentence in capitals begins below it: "2) Millbrook\nFor the rest, go ahead."
func answerEnd(text string) int {
	line, below, ok := strings.Cut(text, "\n")
	if ok && len(strings.Fields(line)) <= shortAnswer && !strings.ContainsAny(lastSign(line), ",:;-") && unicode.IsUpper(firstRune(strings.TrimSpace(below))) {
		return len(line)
	}
	return len(text)
}

func lastSign(s string) string {
	s = strings.TrimSpace(s)
	return s[max(0, len(s)-1):]
}

func atLineStart(text string, i int) bool {
	line := text[strings.LastIndexByte(text[:i], '\n')+1 : i]
	return strings.TrimSpace(line) == ""
}

// Answers gives, for each of the input's questions, the words by which the
// patron answered it, or "".
func Answers(in Input) []string {
	out := make([]string, len(in.Questions))
	found, _ := pairs(&in)
	for _, p := range found {
		if p.number >= 0 {
			out[p.number] = strings.TrimSpace(p.answer)
		}
	}
	return out
}
