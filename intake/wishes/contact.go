package wishes

import (
	"regexp"
	"strings"
	"unicode"

	"meshclerk/intake/tagger"
)

// surePlace is how sure it must be that a branch is where the part is to be collected.
const surePlace = 0.6

// Telephone numbers as they are written in North America, France and Spain.
// plain ones count only beside a word such as "call".
var (
	phoneLike = regexp.MustCompile(`\+\d[\d ().-]{7,18}\d|(?:1[ .-]?)?\(\d{3}\)[ .-]?\d{3}[ .-]?\d{4}|1[ .-]\d{3}[ .-]\d{3}[ .-]\d{4}|\d{3}[ .-]\d{3}[ .-]\d{4}|\d{3}[ .-]\d{3}(?:[ .-]\d{2}){2}|\d{3}[.-]\d{4}|0\d(?:[ .-]\d{2}){4}|0\d[ .-]\d{3}(?:[ .-]\d{2}){2}|[6-9]\d{2}[ .-]\d{3}[ .-]\d{3}|[6-9]\d{2}(?:[ .-]\d{2}){3}`)
	plainLike = regexp.MustCompile(`\(\d{3}\) ?\d{4}|\d{3}[ ./-]\d{2}[ .-]?\d{2}|\d{7,11}`)
	cardLike  = regexp.MustCompile(`^(?:[A-Z]{1,4}[ -]?|[a-z]{1,4}-?)?\d(?:[\d -]{2,22}\d|\d*(?:-\d+)+)`)
)

// contact finds the card number and the telephone number and claims both.
func (d *doc) contact() (phone, phoneWords, card, cardWords string) {
	card, cardWords = d.card()
	phone, phoneWords = d.phone(phoneLike, false)
	if phone == "" {
		phone, phoneWords = d.phone(plainLike, true)
	}
	return phone, phoneWords, card, cardWords
}

// phone takes the first number of that shape. Others are claimed too.
func (d *doc) phone(shape *regexp.Regexp, needsCue bool) (string, string) {
	best := ""
	for _, at := range d.dialled(shape) {
		if !d.stands(at[0], at[1]) {
			continue
		}
		from := d.tokenAt(at[0])
		if from < 0 || d.toks[from].claimed || d.notPhone(from) || needsCue && !d.besidePhone(from, d.tokenAt(at[1]-1)+1) {
			continue
		}
		d.claimBytes(at[0], at[1])
		if best == "" || d.preferred(from) {
			best = strings.TrimSpace(d.text[at[0]:at[1]])
		}
	}
	return best, best
}

// dialled gives where numbers of that shape are, at most 50. The shape is tried
// only on stretches of the signs it may hold, with digits enough for a telephone.
func (d *doc) dialled(shape *regexp.Regexp) (found [][]int) {
	const signs, least, most = "0123456789+ ().-/", 7, 50
	for from := 0; from < len(d.text) && len(found) < most; from++ {
		digits, to := 0, from
		for ; to < len(d.text) && strings.IndexByte(signs, d.text[to]) >= 0; to++ {
			if isDigit(rune(d.text[to])) {
				digits++
			}
		}
		if digits >= least {
			for _, at := range shape.FindAllStringIndex(d.text[from:to], most-len(found)) {
				found = append(found, []int{from + at[0], from + at[1]})
			}
		}
		from = to
	}
	return found
}

// preferred tells of a second number that is said to be the better one, or that is
// given instead of the first.
func (d *doc) preferred(from int) bool {
	if d.has(span{d.clauseOf(from).from, from}, "instead", "replaced") >= 0 {
		return false
	}
	return d.has(span{d.sentence(from).from, from}, "better", "correct") >= 0
}

// stands tells whether nothing is grown on to a number in the text.
func (d *doc) stands(from, to int) bool {
	grown := func(r byte) bool {
		return r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r == '-' || r == '/' || r == '_' || r == '$'
	}
	if from > 0 && grown(d.text[from-1]) && d.text[from-1] != '/' {
		return false
	}
	return to >= len(d.text) || !grown(d.text[to]) || d.text[to] == 'x'
}

// tokenAt is the token over a byte of the text, or -1.
func (d *doc) tokenAt(at int) int {
	lo, hi := 0, len(d.toks)
	for lo < hi {
		mid := (lo + hi) / 2
		if d.toks[mid].end <= at {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo < len(d.toks) && d.toks[lo].start <= at {
		return lo
	}
	return -1
}

// notPhone tells of an order number, a book number, a fax, or "do not call".
func (d *doc) notPhone(from int) bool {
	for k := from; k > max(0, from-6); k-- {
		if d.ended(k, "notphone") > 0 {
			return true
		}
		if n := d.ended(k, "phoneword"); n > 0 {
			return d.behind(k-n, "refuseahead")
		}
	}
	return false
}

// besidePhone tells whether a word such as "call" stands near, or nothing else in
// its sentence.
func (d *doc) besidePhone(from, to int) bool {
	s := d.sentence(from)
	for k := from; k > max(s.from, from-near); k-- {
		if d.ended(k, "phoneword") > 0 {
			return true
		}
	}
	alone := from == s.from || from == s.from+1 && d.toks[s.from].kind == mark
	return d.topic == "phone" || d.has(span{to, min(to+4, s.to)}, "phoneword") >= 0 || alone && (to >= s.to || d.toks[to].kind == mark)
}

// card takes the number that follows "card", "card number is", "card #".
func (d *doc) card() (string, string) {
	for i := range d.toks {
		n := d.cue(i, "cardword")
		if d.topic == "card" && i == 0 && n == 0 {
			if c, w := d.cardFrom(0); c != "" {
				return c, w
			}
		}
		if n == 0 || d.ended(i, "notcard") > 0 {
			continue
		}
		if c, w := d.cardAfter(i, i+n); c != "" {
			return c, w
		}
	}
	return "", ""
}

// cardAfter goes over the few words between "card" and its number: "my card says",
// "the card of my wife, 88120".
func (d *doc) cardAfter(i, j int) (string, string) {
	for k := j; k < min(j+near, len(d.toks)); k++ {
		linked := d.cue(k, "cardlink") > 0 || strings.Contains(":#=-(°.º,«\"", d.fold(k))
		if d.toks[k].sent > d.toks[i].sent && !(k <= j+1 || strings.Contains(":?", d.fold(j))) || !linked && d.cue(k, "phoneword", "notcard") > 0 {
			break
		}
		if _, date := d.numericDate(k); date > 0 {
			break
		}
		if c, w := d.cardFrom(k); c != "" {
			return c, w
		}
		if d.toks[k].kind == number && !d.behind(k, "partial") {
			break
		}
	}
	return "", ""
}

// cardFrom reads a card number at a token, without its spaces.
func (d *doc) cardFrom(j int) (string, string) {
	if j >= len(d.toks) {
		return "", ""
	}
	at := d.toks[j].start
	text := cardLike.FindString(d.text[at:])
	if text == "" || strings.Count(text, "\n") > 0 || !d.stands(at, at+len(text)) && !unicode.IsSpace(rune(d.text[at+len(text)])) {
		return "", ""
	}
	number := strings.ReplaceAll(text, " ", "")
	if bare := strings.ReplaceAll(number, "-", ""); strings.IndexFunc(bare, func(r rune) bool { return !isDigit(r) }) < 0 {
		number = bare
	}
	if len(number) < 5 {
		return "", ""
	}
	d.claimBytes(at, at+len(text))
	return number, text
}

// pickup finds the branch where the part is to be collected.
func (d *doc) pickup() (string, string) {
	type place struct {
		found[string]
		sure bool // a word of collecting stands in the clause
	}
	var places []place
	for i := 0; i < len(d.toks); i++ {
		t, ok := d.tag(i, "branch")
		if !ok || d.elsewhere(i, i+t.n) {
			continue
		}
		if d.refusesPlace(i) || d.has(d.clauseOf(i), "habit") >= 0 {
			d.use(i, i+t.n)
			continue
		}
		c := d.clauseOf(i)
		sure := d.topic == "pickup" || d.has(c, "pickupword") >= 0 || d.learnedPlace(i) || d.cue(i+t.n, "branchword") > 0 && !d.onlyAsks(i) && d.has(c, "is", "past") < 0
		if sure || d.listedPlace(i) || d.has(d.sentence(i), "pickupword") >= 0 && d.ended(d.skipBack(i), "place") > 0 || d.labelled(i, "pickuplabel") {
			places = append(places, place{found[string]{t.key, i, i + t.n}, sure})
		}
		i += t.n - 1
	}
	if at, ok := d.there(); ok {
		places = append(places, place{at, true})
	}
	for _, p := range places {
		d.use(p.from, p.to)
	}
	best, at := "", found[string]{}
	for _, sure := range []bool{true, false} {
		for _, p := range places {
			switch {
			case p.sure != sure:
			case best == "" || d.corrects(p.from):
				best, at = p.value, p.found
			case best != p.value && !d.second(p.from):
				return "", ""
			}
		}
		if best != "" {
			break
		}
	}
	return best, d.words(at.from, at.to)
}

// there finds the branch of the sentence before that a "there" beside a word of collecting
// stands for: "I'll be over in Fernhill next week. Could I pick them up there?"
func (d *doc) there() (found[string], bool) {
	for i := range d.toks {
		s := d.sentence(i)
		if d.cue(i, "there") == 0 || d.isTight(i) && d.isTight(i-1) || d.has(s, "pickupword") < 0 || d.toks[i].away || d.toks[i].told || d.has(d.clauseOf(i), "not", "refuseahead") >= 0 || d.onlyAsks(i) {
			continue
		}
		for k := i - 1; k >= 0 && d.toks[k].sent >= d.toks[i].sent-1; k-- {
			if t, ok := d.tag(k, "branch"); ok && !d.refusesPlace(k) && !d.elsewhere(k, k+t.n) && !d.isCommonWord(k) {
				return found[string]{t.key, k, k + t.n}, true
			}
		}
	}
	return found[string]{}, false
}

// refusesPlace is "not Central".
func (d *doc) refusesPlace(i int) bool {
	if d.toks[i].refused || d.has(span{d.clauseOf(i).from, i}, "not") >= 0 {
		return true // also "I'm not able to get to Harbour Road"
	}
	for range 4 {
		i = d.skipBack(i)
		if d.ended(i, "not", "instead", "except") > 0 {
			return true
		}
		n := d.ended(i, "place", "det")
		if n == 0 {
			return false
		}
		i -= n
	}
	return false
}

// elsewhere tells of a branch's name that means another place: "I live in
// Millbrook", "Fernhill School", "the central hole".
func (d *doc) elsewhere(i, j int) bool {
	if d.cue(j, "otherplace") > 0 || d.livesAt(i, j) || d.conditional(span{d.clauseOf(i).from, i}) {
		return true
	}
	if unicode.IsLower(firstRune(d.toks[i].text)) && d.isCommonWord(i) {
		return d.cue(j, "branchword") == 0 && d.ended(d.skipDet(i), "place") == 0 && d.topic != "pickup" && !d.labelled(i, "pickuplabel") && d.clauseOf(i).to-i > 2
	}
	return false
}

// learnedPlace tells of a branch's name that was learned to be where the part is collected,
// where nothing is asked and nobody lives: "I pass Fernhill on my way home".
func (d *doc) learnedPlace(i int) bool {
	return d.isCapital(i) && d.learnedAs(i, tagger.Pickup, surePlace) && !d.onlyAsks(i) && (d.topic == "" || d.topic == "pickup") &&
		d.has(span{d.sentence(i).from, i}, "livein") < 0
}

// livesAt tells of a place that is only where somebody lives or works: not "I study near
// Central, so that one is easiest for pickup".
func (d *doc) livesAt(i, j int) bool {
	if d.has(span{max(d.clauseOf(i).from, i-6), i}, "livein") < 0 {
		return false
	}
	ahead := span{j, d.sentence(i).to}
	return d.isQuestion(i) || d.has(ahead, "pickupword") < 0 || d.has(ahead, "branch") >= 0
}

// conditional tells of "unless it is at Harbour Road"; "if possible" sets no condition.
func (d *doc) conditional(s span) bool {
	for k := s.from; k < s.to; k++ {
		if d.cue(k, "if") > 0 && d.cue(k, "filler", "please", "else") == 0 {
			return true
		}
	}
	return false
}

func (d *doc) skipDet(i int) int { return i - d.ended(i, "det") }

// isCommonWord tells of a branch word that also is an everyday word.
func (d *doc) isCommonWord(i int) bool { return d.cue(i, "commonplace") > 0 }

// listedPlace tells whether the clause holds little more than the branch.
func (d *doc) listedPlace(i int) bool {
	return d.wishesOnly(d.clauseOf(i)) && !d.onlyAsks(i)
}

// busLine tells of the number of a bus or a line: "the number 9 bus", "el autobús 9".
func (d *doc) busLine(i int) bool {
	return d.cue(i+1, "busword") > 0 || d.ended(i-d.ended(i, "numbered"), "busword") > 0
}
