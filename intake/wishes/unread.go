package wishes

import (
	"math"
	"unicode"

	"meshclerk/intake/job"
	"meshclerk/intake/tagger"
)

// unread lists the passages that speak of a number, a colour, a size or a date
// and that no field was read from. What is known to be another thing is left out:
// a telephone number, an address, a clock time, money, "2 kids", "my red car".
// What only repeats the earlier wishes counts as read.
func (d *doc) unread() []job.Unread {
	var out []job.Unread
	type place struct {
		clause int
		about  string
	}
	seen := map[place]bool{}
	for i := range d.toks {
		about := d.unreadAt(i)
		at := place{d.toks[i].clause, about}
		if about == "" || seen[at] || len(out) >= mostUnread {
			continue
		}
		seen[at] = true
		out = append(out, job.Unread{Text: d.passage(i), About: about})
	}
	return out
}

// left is unread, worked out once: after all fields were read.
func (d *doc) left() []job.Unread {
	if !d.leftKnown {
		d.leftOver, d.leftKnown = d.unread(), true
	}
	return d.leftOver
}

// sureNone is how sure it must be that a value means nothing here.
const sureNone = 0.9

const mostUnread = 20 // passages are shown

// passage is the clause around a token without the signs at its ends.
func (d *doc) passage(i int) string {
	c := d.clauseOf(i).around(i, near)
	for c.from < i && d.toks[c.from].kind == mark {
		c.from++
	}
	for c.to > i+1 && d.toks[c.to-1].kind == mark && d.fold(c.to-1) != "%" {
		c.to--
	}
	return d.words(c.from, c.to)
}

// unreadAt tells what a token speaks of when no field was read from it, or "".
func (d *doc) unreadAt(i int) string {
	t := &d.toks[i]
	if t.away || t.used || t.kind == opaque || t.told && !d.in.Answer {
		return ""
	}
	if d.in.Answer && (d.tells(i) || d.toldOnly(i)) {
		return "" // a story, a signature, where the card's number stands
	}
	if about, ok := d.loose[i]; ok {
		if d.in.Answer && (about == "date" && d.ofLetter(i) || d.hardlyWished(i)) {
			return ""
		}
		return about
	}
	if d.meansNothing(i) {
		return ""
	}
	if t.claimed || t.refused && len(d.counted) > 0 && d.isNumeral(i) {
		return "" // "I do not need two, one is enough"
	}
	for _, tag := range d.tags[i] {
		if about := d.unreadTag(i, tag); about != "" {
			return about
		}
	}
	if d.isNumber(i) && !d.explained(i) {
		return "number"
	}
	if t.sure >= sureRole && !d.said(i) && d.cue(i, "det") == 0 {
		return aboutRole[t.role]
	}
	return ""
}

// toldOnly tells of a value that was learned to be no wish, in a sentence that more
// probably tells than not and hardly wishes, agrees or refuses anything.
func (d *doc) toldOnly(i int) bool {
	t := &d.toks[i]
	if t.says >= len(d.learned) {
		return false
	}
	p := &d.learned[t.says].Acts
	return t.role == tagger.None && max(p[tagger.Tell], p[tagger.Polite]) >= evenOdds && max(p[tagger.Wish], p[tagger.Yes], p[tagger.No]) < sureNot
}

// hardlyWished tells of a length or a date that was learned to be no wish, in a sentence
// that wishes and refuses hardly anything.
func (d *doc) hardlyWished(i int) bool {
	return d.toks[i].role == tagger.None && d.does(i, tagger.Wish, tagger.No, tagger.If) < 0.2
}

// ofLetter tells of the date of a letter: "as laid out in your mail of last Friday".
func (d *doc) ofLetter(i int) bool {
	for k := i; k > max(0, i-4); k-- {
		if d.ended(k, "ofletter") > 0 {
			return true
		}
	}
	return false
}

// aboutRole is what a word speaks of that was learned to be a wish.
var aboutRole = map[tagger.Role]string{tagger.Size: "size", tagger.Scale: "size", tagger.Date: "date", tagger.Infill: "number"}

// said tells of a word beside one that was read as the same thing: "by the end of
// next [week]".
func (d *doc) said(i int) bool {
	for k := max(0, i-near); k < min(len(d.toks), i+near); k++ {
		if d.toks[k].used && d.toks[k].role == d.toks[i].role {
			return true
		}
	}
	return false
}

// meansNothing tells of a number or colour that was learned to be none of ours:
// somebody's age, the team's colour. The number of a choice and a factor stay.
func (d *doc) meansNothing(i int) bool {
	t := &d.toks[i]
	return t.role == tagger.None && t.sure >= sureNone && d.ended(i, "choice") == 0 && d.cue(i, "scale") == 0 && !d.agreedTo(i)
}

// agreedTo tells of a whole number that a consent is given for: "d'accord pour 20".
func (d *doc) agreedTo(i int) bool {
	value, n := d.numeral(i)
	return n > 0 && value == math.Trunc(value) && value <= maxCopies && d.ended(i, "fordate", "withword", "at") > 0 &&
		d.has(span{d.clauseOf(i).from, i}, "accept", "acceptstart", "agreeable", "yes", "ok") >= 0
}

func (d *doc) unreadTag(i int, t tag) string {
	switch t.group {
	case "colour":
		if !d.inName(i, i+t.n) && !d.ofOther(i, i+t.n) && !d.repeats(t.key) {
			return "colour"
		}
	case "othercolour":
		if d.behindColour(i, "in", "colourword", "set", "should", "prefer") || d.clauseOf(i).to-d.clauseOf(i).from <= 3 {
			return "colour"
		}
	case "material":
		if d.cue(i+t.n, "supportword") == 0 && d.in.Earlier.Material != t.key && !d.soluble(t.key) {
			return "other"
		}
	case "scale":
		return "size"
	case "branch":
		if !d.elsewhere(i, i+t.n) && !d.onlyAsks(i) && d.in.Earlier.Pickup != t.key {
			return "other"
		}
	case "number":
		if t.key != "1" && !d.explained(i) {
			return "number"
		}
	}
	return ""
}

// repeats tells of a colour that was known before.
func (d *doc) repeats(colour string) bool {
	for _, c := range d.in.Earlier.Colours {
		if c == colour {
			return true
		}
	}
	return false
}

// explained tells of a number that is known to be no wish: money, a time of day,
// a year, a count of other things, the number of a room or an order.
func (d *doc) explained(i int) bool {
	value, n := d.numeral(i)
	j := i + max(n, 1)
	switch {
	case d.in.Answer && d.in.Earlier.Copies != nil && value == float64(*d.in.Earlier.Copies):
		return true
	case d.isMoney(i, j), d.isClock(i, j), d.cue(j, "ordinal") > 0:
		return true
	case d.other(j, 2), d.cue(j, "bystander") > 0:
		return true
	case d.fold(i-1) == "#" && value > maxCopies, value > maxCopies && d.cue(j, "copies", "ofthese", "pieces") == 0 && d.ended(i, "verb") == 0:
		return true
	case d.ended(i, "numbered") > 0 && d.ended(i, "choice") == 0:
		return true
	case d.in.Answer && (d.ended(i, "all") > 0 || d.cue(j, "ofmonth") > 0):
		return true // "all three as they should be", "your offer of the 20th inst."
	case d.in.Answer && d.cue(j, "votes") > 0 && d.endsHere(j+d.cue(j, "votes")):
		return true // "eleven for, two against"
	}
	return d.fold(j) == "/" && d.isTight(j) || d.fold(i-1) == "/" && d.isTight(i)
}

func (d *doc) isMoney(i, j int) bool {
	if k := i - d.ended(i, "and", "withword"); d.ended(k, "money") > 0 && d.endsNumeral(k-d.ended(k, "money")) {
		return true // "nine dollars sixty", "nueve dólares con sesenta"
	}
	for k := i - 1; k >= max(0, i-2); k-- {
		switch d.fold(k) {
		case "$", "€", "£", "cad":
			return true
		case ".", ",": // the cents
		default:
			k = 0
		}
	}
	return d.cue(j, "money") > 0 || d.fold(j) == "$" || d.fold(j) == "€" || (d.fold(j) == "." || d.fold(j) == ",") && d.isNumber(j+1) && d.cue(j+2, "money") > 0
}

func (d *doc) isClock(i, j int) bool {
	return d.cue(j, "clock") > 0 || d.fold(j) == ":" && d.isTight(j) && d.isNumber(j+1) || d.fold(i-1) == ":" && d.isTight(i) && d.isNumber(i-2)
}

// addresses claims the house number of "14 Alder Lane", "12, rue des Érables" and
// "calle Mayor 5".
func (d *doc) addresses() {
	for i := range d.toks {
		if n := d.cue(i, "accept"); n > 1 && d.isNumber(i+1) {
			d.claim(i+1, i+n) // "works 4 me"
		}
		if !d.isNumber(i) || d.toks[i].claimed {
			continue
		}
		j := i + 1
		if d.fold(j) == "," {
			j++
		}
		if d.cue(j, "streetbefore") > 0 || d.busLine(i) || d.streetAfter(i+1) || d.streetBehind(i) {
			d.toks[i].claimed, d.toks[i].used = true, true
		}
	}
}

// idioms claims the numbers of sayings: "10-4", "24/7".
func (d *doc) idioms() {
	for i := range d.toks {
		if n := d.cue(i, "idiom"); n > 0 {
			d.claim(i, i+n)
		}
	}
}

// streetAfter is "Alder Lane", in capitals.
func (d *doc) streetAfter(j int) bool {
	for k := j; k < min(j+3, len(d.toks)) && d.isCapital(k); k++ {
		if k > j && d.cue(k, "street") > 0 {
			return true
		}
	}
	return false
}

// streetBehind is "calle Mayor".
func (d *doc) streetBehind(i int) bool {
	for k := i - 1; k >= max(0, i-5) && d.toks[k].kind == word; k-- {
		if d.cue(k, "streetname") > 0 {
			return true
		}
	}
	return false
}

func (d *doc) isCapital(k int) bool {
	return k >= 0 && k < len(d.toks) && d.toks[k].kind == word && unicode.IsUpper(firstRune(d.toks[k].text))
}
