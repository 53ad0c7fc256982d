package wishes

import (
	"math"
	"strconv"
)

// numeral reads the number that begins at a token, written in digits, as a
// fraction or in words; n is 0 when there is none.
func (d *doc) numeral(i int) (value float64, n int) {
	if i < 0 || i >= len(d.toks) || d.toks[i].claimed || d.toks[i].away || d.toks[i].told {
		return 0, 0
	}
	if t, ok := find(d.tags[i], "number"); ok {
		v, err := strconv.ParseFloat(t.key, 64)
		if err != nil {
			return 0, 0
		}
		return d.compound(v, i, t.n)
	}
	if d.toks[i].kind != number {
		return 0, 0
	}
	value, n = d.toks[i].value, 1
	if d.fold(i+1) == "/" && d.isTight(i+1) && d.isTight(i+2) && d.isNumber(i+2) { // 3/4
		return value / d.toks[i+2].value, 3
	}
	if f, m := d.fraction(i + 1); m > 0 && value == math.Trunc(value) { // 3 1/2
		return value + f, 1 + m
	}
	return value, n
}

// compound reads on behind a number in words: "twenty-three", "treinta y cinco",
// "quatre-vingt-dix", "two hundred and fifty", "deux douzaines".
func (d *doc) compound(v float64, i, n int) (float64, int) {
	if m := d.cue(i+n, "dozenword"); m > 0 && v > 1 && v < 10 {
		return 12 * v, n + m
	}
	if m := d.cue(i+n, "hundredword"); m > 0 && v > 1 && v < 10 {
		v, n = 100*v, n+m
	}
	for range 3 {
		more, m := d.below(v, i+n)
		if m == 0 {
			break
		}
		v, n = v+more, n+m
	}
	return v, n
}

// below reads the part of a number in words that goes on behind v, and is less than
// the place of v: units behind tens, tens behind hundreds.
func (d *doc) below(v float64, j int) (more float64, n int) {
	k := j
	if d.fold(k) == "-" && d.isTight(k) {
		k++
	}
	joined := d.fold(k) == "et" || d.fold(k) == "y" || d.fold(k) == "and" && v >= 100
	if joined {
		k++
	}
	if k < len(d.toks) && d.fold(k) == "-" && d.isTight(k) {
		k++
	}
	t, ok := find(d.tagsAt(k), "number")
	more = 1
	if ok {
		more, _ = strconv.ParseFloat(t.key, 64)
	}
	if one := d.fold(k); joined && (one == "un" || one == "une" || one == "uno" || one == "una") {
		t, ok = tag{n: 1}, true
	}
	if !ok || t.n != 1 || d.toks[k].kind != word || d.toks[k].claimed || !d.fitsBelow(v, more, joined || k > j) {
		return 0, 0
	}
	return more, k + t.n - j
}

// fitsBelow tells whether more may follow v in one number; linked tells of a hyphen
// or an "and" between them.
func (d *doc) fitsBelow(v, more float64, linked bool) bool {
	if more < 1 || more != math.Trunc(more) {
		return false
	}
	french := d.in.Language == "fr"
	switch {
	case v >= 100 && v < 1000 && math.Mod(v, 100) == 0:
		return more < 100
	case french && (math.Mod(v, 100) == 60 || math.Mod(v, 100) == 80):
		return more < 20
	case french && v == 10:
		return more >= 7 && more <= 9 && linked // dix-sept
	case v >= 20 && math.Mod(v, 10) == 0:
		return more < 10 && (linked || d.in.Language == "en" || french)
	}
	return false
}

// fraction reads ½ or 1/2 after a whole number.
func (d *doc) fraction(i int) (value float64, n int) {
	if !d.isNumber(i) {
		return 0, 0
	}
	if v := d.toks[i].value; v > 0 && v < 1 && !isDigit(firstRune(d.toks[i].text)) {
		return v, 1
	}
	if d.fold(i+1) == "/" && d.isTight(i+1) && d.isTight(i+2) && d.isNumber(i+2) && d.toks[i].value < d.toks[i+2].value {
		return d.toks[i].value / d.toks[i+2].value, 3
	}
	return 0, 0
}

// positive reads the number that a list of the house's words is keyed by, or nil.
func positive(key string) *float64 {
	v, err := strconv.ParseFloat(key, 64)
	if err != nil || v <= 0 {
		return nil
	}
	return &v
}

func (d *doc) isNumber(i int) bool { return i >= 0 && i < len(d.toks) && d.toks[i].kind == number }
func (d *doc) isTight(i int) bool  { return i >= 0 && i < len(d.toks) && d.toks[i].tight }

// isNumeral tells whether some number begins at a token, understood or not.
func (d *doc) isNumeral(i int) bool {
	if i < 0 || i >= len(d.toks) {
		return false
	}
	_, ok := find(d.tags[i], "number")
	return ok || d.toks[i].kind == number
}

// endsNumeral tells whether some number ends right before a token.
func (d *doc) endsNumeral(i int) bool {
	return d.isNumber(i-1) || d.ended(i, "number") > 0
}

// ranged tells whether the number from i to j-1 is one end of a range or one
// of a choice: "2 or 3", "8-10 cm", "entre 2 y 3".
func (d *doc) ranged(i, j int) bool {
	if n := d.cue(j, "range"); n > 0 && d.isNumeral(j+n) {
		return d.cue(j, "and") == 0 || d.ended(i, "between") > 0
	}
	if n := d.ended(i, "range"); n > 0 && d.endsNumeral(i-n) {
		return d.ended(i, "and") == 0 || d.betweenBehind(i-n)
	}
	if d.fold(j) == "-" && d.isNumeral(j+1) || d.fold(i-1) == "-" && d.endsNumeral(i-1) {
		return true
	}
	return d.fold(j) == "–" && d.isNumeral(j+1) || d.fold(i-1) == "–" && d.endsNumeral(i-1)
}

// betweenBehind tells of the "between" of "between 12 and", where the number ends at i.
func (d *doc) betweenBehind(i int) bool {
	for k := i - 1; k >= max(0, i-4); k-- {
		if d.ended(k, "between") > 0 {
			return true
		}
	}
	return false
}

// bounded tells whether the number at a token is only a bound: "at most 10 cm".
func (d *doc) bounded(i int) bool { return d.ended(i, "bound") > 0 }

// replaced tells whether the number at a token is what is not wished any more:
// "instead of 2", "not 2".
func (d *doc) replaced(i int) bool {
	if d.toks[i].refused {
		return true
	}
	i = d.skipBack(i)
	return d.ended(i, "instead", "changedfrom", "not") > 0
}

// skipBack goes back over words that say nothing ("just", "me", "please").
func (d *doc) skipBack(i int) int {
	for range 4 {
		n := d.ended(i, "skip")
		if n == 0 {
			break
		}
		i -= n
	}
	return i
}

// behind tells whether one of some cues ends right before a token, or before
// words that say nothing.
func (d *doc) behind(i int, names ...string) bool {
	for range 5 {
		if d.ended(i, names...) > 0 {
			return true
		}
		n := d.ended(i, "skip")
		if n == 0 {
			return false
		}
		i -= n
	}
	return false
}
