package wishes

import (
	"strconv"
	"time"
)

// farthest is how many days ahead a wished date may lie; a farther one is some
// other date.
const farthest = 330

// neededBy finds the day until which the part is wished, YYYY-MM-DD, told from
// the letter's own date. All dates are claimed on the way: no day is a count.
func (d *doc) neededBy() (string, string) {
	best, from, to := "", 0, 0
	var named found[time.Time] // the last date
	for i := 0; i < len(d.toks); i++ {
		if n := d.cue(i, "thatday"); n > 0 && best == "" && !named.value.IsZero() && d.ended(i, "by", "fordate") > 0 && d.days(named.value) >= 0 && d.days(named.value) <= farthest {
			d.use(named.from, named.to)
			delete(d.loose, named.from)
			best, from, to = named.value.Format(time.DateOnly), named.from, named.to // "on the 20th, and we need them for that day"
		}
		day, j := d.date(i)
		if n := d.cue(i, "daybefore"); j == 0 && n > 0 && !named.value.IsZero() {
			day, j = named.value.AddDate(0, 0, -1), i+n // "on 6 December, and I need it the day before"
			delete(d.loose, named.from)
		}
		if j == 0 {
			continue
		}
		named = found[time.Time]{day, i, j}
		if n := d.cue(j, "or"); n > 0 && j+n < len(d.toks) {
			if _, k := d.date(j + n); k > 0 { // "Thursday or Friday"
				d.claim(i, k)
				d.loose[i] = "date"
				i = k - 1
				continue
			}
		}
		wished := !d.in.Date.IsZero() && !day.IsZero() && d.deadline(i, j)
		if !wished && !d.otherPlan(i, d.beforeDate(i), d.sentence(i)) && d.cue(i, "today") == 0 && d.has(d.clauseOf(i), "pickupword", "awayword", "notify") < 0 {
			d.loose[i] = "date"
		}
		d.claim(i, j)
		if !wished || d.days(day) < 0 || d.days(day) > farthest {
			i = j - 1
			continue
		}
		text := day.Format(time.DateOnly)
		if best != "" && best != text && !d.corrects(i) {
			d.loose[i] = "date"
			return "", ""
		}
		d.use(i, j)
		best, from, to = text, i, j
		i = j - 1
	}
	if best == "" {
		return "", ""
	}
	return best, d.words(from-d.ended(from, "by"), to)
}

// today is the letter's day, where it was written.
func (d *doc) today() time.Time {
	y, m, day := d.in.Date.Date()
	return time.Date(y, m, day, 0, 0, 0, 0, time.UTC)
}

func (d *doc) days(t time.Time) int { return int(t.Sub(d.today()).Hours() / 24) }

// date reads a date at a token. The zero time with j > i is a date that cannot
// be told for sure, such as 3/12.
func (d *doc) date(i int) (day time.Time, j int) {
	if d.toks[i].away || d.toks[i].told || d.toks[i].claimed {
		return time.Time{}, 0
	}
	if d.toks[i].kind != number && len(d.tags[i]) == 0 {
		return time.Time{}, 0 // every date begins with a number or a word of the lexicon
	}
	for _, read := range []func(int) (time.Time, int){d.numericDate, d.monthDate, d.dayDate, d.feast, d.weekday, d.relative} {
		if day, j = read(i); j > 0 {
			if weeks, to := d.weeksOn(i, j); weeks > 0 && !day.IsZero() {
				return day.AddDate(0, 0, 7*weeks), to
			}
			if d.besideDate(i, j) {
				return time.Time{}, j
			}
			return day, j
		}
	}
	return time.Time{}, 0
}

// weeksOn reads the weeks that are added to the day from i to j-1: "a week on
// Saturday", "vendredi en huit".
func (d *doc) weeksOn(i, j int) (weeks, to int) {
	if _, ok := find(d.tagsAt(j-1), "day"); !ok {
		return 0, j
	}
	if n := d.cue(j, "weektail"); n > 0 {
		return 1, j + n
	}
	i -= d.ended(i, "daydet", "det")
	if d.ended(i, "weekon") > 0 {
		return 1, j
	}
	if d.ended(i, "fortnighton") > 0 {
		return 2, j
	}
	return 0, j
}

// besideDate tells that another day is meant than the one named: "a week from
// Friday", "Friday after next".
func (d *doc) besideDate(i, j int) bool {
	if d.cue(j, "datetail") > 0 {
		return true
	}
	for range 2 {
		if d.ended(i, "datewrap") > 0 {
			return true
		}
		i -= d.ended(i, "daydet", "det")
	}
	return false
}

// numericDate reads 2026-12-03 (ISO 8601), and 12/18 or 18/12 where only one
// reading is a date.
func (d *doc) numericDate(i int) (time.Time, int) {
	sep := d.fold(i + 1)
	if !d.isNumber(i) || !d.isNumber(i+2) || sep != "-" && sep != "/" && sep != "." || !d.isTight(i+1) || !d.isTight(i+2) {
		return time.Time{}, 0
	}
	a, b := int(d.toks[i].value), int(d.toks[i+2].value)
	third := d.fold(i+3) == sep && d.isTight(i+3) && d.isNumber(i+4)
	if a >= 2000 && a < 2100 && third {
		return d.calendar(a, b, int(d.toks[i+4].value)), i + 5
	}
	if sep != "/" && !third || !third && d.cue(i+3, "unit", "percent", "sizeword", "infillword") > 0 {
		return time.Time{}, 0 // "3/4 inch"
	}
	j, year := i+3, 0
	if third {
		j, year = i+5, int(d.toks[i+4].value)
		if year < 100 {
			year += 2000
		}
	}
	switch {
	case sep == "/" && !third && (a == 0 || b == 0 || a < b && b <= 16 && a == 1 && b == 2): // a fraction
		return time.Time{}, 0
	case a > 12 && a <= 31 && b <= 12:
		return d.calendar(year, b, a), j
	case b > 12 && b <= 31 && a <= 12 || a == b && a <= 12:
		return d.calendar(year, a, b), j
	case a <= 12 && b <= 12:
		return time.Time{}, j
	}
	return time.Time{}, 0
}

// calendar makes a date; with no year it is the next such day from the letter on.
func (d *doc) calendar(year, month, day int) time.Time {
	if month < 1 || month > 12 || day < 1 || day > 31 {
		return time.Time{}
	}
	y := year
	if y == 0 {
		y = d.in.Date.Year()
	}
	t := time.Date(y, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if t.Day() != day {
		return time.Time{}
	}
	if year == 0 && t.Before(d.today()) {
		t = t.AddDate(1, 0, 0)
	}
	return t
}

// monthDate reads "December 3rd", "3 décembre", "3 de diciembre de 2026".
func (d *doc) monthDate(i int) (time.Time, int) {
	if t, ok := find(d.tags[i], "month"); ok {
		j := i + t.n
		if d.fold(j) == "." && d.isTight(j) {
			j++
		}
		j += d.cue(j, "det")
		day, n := d.dayNumber(j)
		if n == 0 {
			return time.Time{}, 0
		}
		return d.withYear(t.key, day, j+n)
	}
	i0 := i
	day, n := d.dayNumber(i)
	if n == 0 {
		return time.Time{}, 0
	}
	j := i0 + n
	j += d.cue(j, "of")
	t, ok := find(d.tagsAt(j), "month")
	if !ok {
		return time.Time{}, 0
	}
	return d.withYear(t.key, day, j+t.n)
}

// dayNumber reads 3, 3rd or "1er".
func (d *doc) dayNumber(i int) (day, n int) {
	if !d.isNumber(i) || d.toks[i].value < 1 || d.toks[i].value > 31 || d.toks[i].value != float64(int(d.toks[i].value)) {
		return 0, 0
	}
	return int(d.toks[i].value), 1 + d.cue(i+1, "ordinal")
}

func (d *doc) withYear(month string, day, j int) (time.Time, int) {
	m, err := strconv.Atoi(month)
	if err != nil {
		return time.Time{}, 0
	}
	year := 0
	k := j
	if d.fold(k) == "," || d.cue(k, "of") > 0 {
		k++
	}
	if d.isNumber(k) && d.toks[k].value >= 2000 && d.toks[k].value < 2100 && len(d.toks[k].text) == 4 {
		year, j = int(d.toks[k].value), k+1
	}
	return d.calendar(year, m, day), j
}

// dayDate reads "the 3rd": the next such day. The ordinal is what makes it a date.
func (d *doc) dayDate(i int) (time.Time, int) {
	day, n := d.dayNumber(i)
	before := i - d.ended(i, "daydet")
	if n == 0 || before == i || n == 1 && d.in.Language == "en" || n == 1 && !d.closedDay(i+1) || !d.dated(i, before, i+n) {
		return time.Time{}, 0
	}
	t := d.calendar(d.in.Date.Year(), int(d.in.Date.Month()), day)
	for k := 1; k < 3 && (t.IsZero() || t.Before(d.today())); k++ {
		first := time.Date(d.in.Date.Year(), d.in.Date.Month()+time.Month(k), 1, 0, 0, 0, 0, time.UTC)
		t = d.calendar(first.Year(), int(first.Month()), day)
	}
	return t, i + n
}

// closedDay is closed, where a time of day, "at the latest" or "and not" may follow too.
func (d *doc) closedDay(j int) bool {
	return d.closed(j) || d.cue(j, "bytail", "daytime", "not") > 0 || d.cue(j, "at", "in") > 0 && d.cue(j+1, "daytime") > 0
}

// dated tells whether a day of the month from i to j-1, whose article begins at
// before, is meant as a date: "by the 3rd", "il me le faudrait le 9".
func (d *doc) dated(i, before, j int) bool {
	return d.ended(i, "by") > 0 || d.ended(before, "by", "fordate") > 0 || d.cue(j, "bytail") > 0 ||
		d.has(span{d.clauseOf(i).from, before}, "need", "deadlineword") >= 0 && (d.in.Language != "en" || j-i > 1)
}

// feast reads "Christmas".
func (d *doc) feast(i int) (time.Time, int) {
	t, ok := find(d.tags[i], "feast")
	if !ok {
		return time.Time{}, 0
	}
	day, err := time.Parse("01-02", t.key)
	if err != nil {
		return time.Time{}, 0
	}
	return d.calendar(0, int(day.Month()), day.Day()), i + t.n
}

var weekdays = map[string]time.Weekday{"sun": time.Sunday, "mon": time.Monday, "tue": time.Tuesday, "wed": time.Wednesday, "thu": time.Thursday, "fri": time.Friday, "sat": time.Saturday}

// weekday reads "Friday", "next Tuesday" and "Friday, December 4".
func (d *doc) weekday(i int) (time.Time, int) {
	next := d.cue(i, "next")
	t, ok := find(d.tagsAt(i+next), "day")
	if !ok {
		return time.Time{}, 0
	}
	j := i + next + t.n
	if n := d.cue(j, "next"); next == 0 && n > 0 && d.in.Language != "en" { // vendredi prochain
		next, j = n, j+n
	}
	k := j
	if d.fold(k) == "," {
		k++
	}
	k += d.cue(k, "det")
	if day, to := d.monthDate(k); to > 0 {
		return day, to
	}
	if day, n := d.dayNumber(k); n > 0 && (n > 1 || d.in.Language != "en") && !d.otherNumber(k, k+n) {
		return d.fallsOn(weekdays[t.key], day), k + n
	}
	if n := d.cue(j, "weekafter"); n > 0 { // "Friday next week"
		return d.thisWeek(weekdays[t.key]).AddDate(0, 0, 7), j + n
	}
	if d.ended(i, "weekafter") > 0 || d.ended(i-d.ended(i, "on"), "weekafter") > 0 { // "next week Friday"
		return d.thisWeek(weekdays[t.key]).AddDate(0, 0, 7), j
	}
	return d.nextWeekday(weekdays[t.key], next > 0), j
}

// fallsOn gives the next day of the month that is that day of the week, within the
// time that a wish may lie ahead: "jueves 3".
func (d *doc) fallsOn(w time.Weekday, day int) time.Time {
	for k := range farthest {
		if t := d.today().AddDate(0, 0, k); t.Day() == day && t.Weekday() == w {
			return t
		}
	}
	return time.Time{}
}

// nextWeekday gives the day of that name after the letter's. In English "next
// Friday" is that of the next week, also on a Monday: the nearest is "this Friday".
// In Spanish "el próximo viernes" is the nearest; in French it may be either, and
// then it is no date. (Common usage; no source.)
func (d *doc) nextWeekday(w time.Weekday, next bool) time.Time {
	today := d.today()
	ahead := (int(w)-int(today.Weekday())+6)%7 + 1
	t := today.AddDate(0, 0, ahead)
	switch {
	case !next || !d.thisWeek(w).After(today):
		return t
	case ahead <= 2 || d.in.Language == "en":
		return t.AddDate(0, 0, 7) // "next Tuesday" on a Monday is not tomorrow
	case d.in.Language == "es":
		return t
	}
	return time.Time{}
}

// thisWeek gives the day of that name in the letter's week, from Monday on (ISO 8601).
func (d *doc) thisWeek(w time.Weekday) time.Time {
	today := d.today()
	return today.AddDate(0, 0, (int(w)+6)%7-(int(today.Weekday())+6)%7)
}

// relative reads "tomorrow", "in two weeks", "the end of the month".
func (d *doc) relative(i int) (time.Time, int) {
	today := d.today()
	if n := d.cue(i, "aftertomorrow"); n > 0 { // before "tomorrow", which stands in it
		return today.AddDate(0, 0, 2), i + n
	}
	if n := d.cue(i, "tomorrow"); n > 0 {
		return today.AddDate(0, 0, 1), i + n
	}
	if n := d.cue(i, "weekhence"); n > 0 {
		return today.AddDate(0, 0, 7), i + n
	}
	if n := d.cue(i, "today"); n > 0 {
		return today, i + n
	}
	if n := d.cue(i, "monthend"); n > 0 {
		return time.Date(today.Year(), today.Month()+1, 0, 0, 0, 0, 0, time.UTC), i + n
	}
	n := d.cue(i, "within")
	value, m := d.numeral(i + n)
	j := i + n + m
	if n == 0 && !(m > 0 && (d.cue(j+d.cue(j, "dayword", "weekword"), "fromnow") > 0)) {
		return time.Time{}, 0
	}
	if m == 0 || value < 1 || value > 60 || value != float64(int(value)) || d.ranged(i+n, j) {
		return time.Time{}, 0
	}
	switch {
	case d.cue(j, "dayword") > 0:
		j += d.cue(j, "dayword")
		return today.AddDate(0, 0, int(value)), j + d.cue(j, "fromnow")
	case d.cue(j, "weekword") > 0:
		j += d.cue(j, "weekword")
		return today.AddDate(0, 0, 7*int(value)), j + d.cue(j, "fromnow")
	}
	return time.Time{}, 0
}

// deadline tells whether the date from i to j-1 is when the part is needed.
func (d *doc) deadline(i, j int) bool {
	if d.topic == "needed_by" {
		return true
	}
	at := d.beforeDate(i)
	s := d.sentence(i)
	if d.onlyAsks(i) && d.ended(at, "by") == 0 || d.otherPlan(i, at, s) || d.hypothetical(i) {
		return false
	}
	before := at - d.ended(at, "by") // "no later than" is no "no"
	if d.has(span{max(d.clauseOf(i).from, i-8), before}, "not", "norush") >= 0 {
		return false
	}
	switch {
	case d.ended(at, "by") > 0, d.cue(j, "bytail") > 0, d.cue(i, "withinsure") > 0, d.numberedWeeks(i) && d.has(s, "need") >= 0, d.cue(i, "within") > 0 && d.has(s, "need") >= 0:
		return true
	case d.ended(at, "fordate") > 0:
		return d.closed(j) || d.has(s, "need") >= 0
	case d.ended(at, "deadlineword") > 0, d.labelledDate(at):
		return true
	}
	return d.neededOn(at)
}

// numberedWeeks is "two weeks from today".
func (d *doc) numberedWeeks(i int) bool {
	return d.isNumeral(i) && d.has(span{i, min(i+5, len(d.toks))}, "fromnow") >= 0
}

// otherPlan tells of a date on which the patron means to come, or is away. "I
// need to collect it by Friday" still is a wish.
func (d *doc) otherPlan(i, at int, s span) bool {
	before := span{d.clauseOf(i).from, i}
	need := d.has(before, "need") >= 0
	for k := before.from; k < before.to; k++ {
		if n := d.cue(k, "awayword"); n > 0 && !(need && k+n == at && d.ended(at, "by") > 0) { // not "the door stop by Tuesday"
			return true
		}
	}
	collects := false
	for k := before.from; k < before.to; k++ {
		collects = collects || d.cue(k, "pickupword") > 0 && d.cue(k, "delivery") == 0
	}
	return collects && !(d.ended(at, "by") > 0 && d.has(s, "ask", "want", "need") >= 0)
}

// neededOn is "we need it on Friday" and "need 5 for our fair on December 11".
func (d *doc) neededOn(at int) bool {
	before := span{d.clauseOf(at).from, at}
	need := d.has(before, "need")
	if need < 0 {
		return false
	}
	if d.ended(at, "need") > 0 || d.has(span{need, at}, "fordate") >= 0 && d.has(span{need, at}, "is", "past") < 0 {
		return true
	}
	nouns := 0
	for k := need + d.cue(need, "need"); k < at; {
		n := d.cue(k, "this", "skip", "on", "need", "here", "det", "copies", "pieces", "number", "should")
		if n == 0 && (len(d.tags[k]) == 0 || d.isNumber(k)) && d.toks[k].kind != mark && nouns < 3 {
			n, nouns = 1, nouns+1 // "necesitaría las piezas el miércoles"
		}
		if n == 0 {
			return false
		}
		k += n
	}
	return true
}

// beforeDate goes back over what may stand between "by" and the date: an
// article, a time of day.
func (d *doc) beforeDate(i int) int {
	for range 5 {
		if d.ended(i, "by") > 0 {
			break
		}
		n := d.ended(i, "daydet", "det", "skip", "clock", "daytime", "weekafter", "weekon", "fortnighton")
		if n == 0 && d.isNumber(i-1) && d.cue(i, "clock") > 0 {
			n = 1
		}
		if d.ended(i, "on") > 0 && d.ended(i-d.ended(i, "on"), "daytime", "clock") > 0 {
			n = d.ended(i, "on")
		}
		if n == 0 {
			break
		}
		i -= n
	}
	return i
}

// labelledDate is "Deadline: December 4".
func (d *doc) labelledDate(i int) bool {
	for range 4 {
		if d.ended(i, "deadlineword") > 0 {
			return true
		}
		n := d.ended(i, "is", "on", "daydet", "det")
		if f := d.fold(i - 1); f == ":" || f == "-" || f == "–" || f == "=" {
			n = 1
		}
		if n == 0 {
			return false
		}
		i -= n
	}
	return false
}
