package wishes

// scopes is the step before the fields: it marks the values that a sentence
// refuses, so that every field leaves them out. A word of refusing reaches ahead
// over a wish ("I don't want it in red") and back over the value right before it
// ("red no, please"; "rojo no").
func (d *doc) scopes() {
	d.exchanges()
	d.takenBack()
	for _, s := range d.sents {
		for i := s.from; i < s.to; i++ {
			if d.toks[i].away {
				continue
			}
			if n := d.cue(i, "not"); n > 0 && d.refusesBack(i, i+n, s) {
				d.refuse(d.valueBefore(i), i)
			}
			if n := d.cue(i, "refuseahead"); n > 0 && d.ended(i+n, "else") == 0 && d.ended(i, "whword") == 0 {
				d.refuse(i+n, d.refusesAhead(i, i+n, s))
			}
		}
	}
}

// exchanges claims the values that are given up for others: "swap the red for blue",
// "remplacer le PLA par du PETG", and in an answer "from 20 % to 45 %".
func (d *doc) exchanges() {
	for i := range d.toks {
		n := d.cue(i, "exchange")
		if from := d.cue(i, "fromword"); n == 0 && d.in.Answer && from > 0 && !d.toks[i].newline {
			n = from
		}
		if n == 0 || d.toks[i].away {
			continue
		}
		old := d.valueNear(i+n, 5)
		kind, to := d.valueKind(old)
		if kind == "" {
			continue
		}
		if given := d.exchangedFor(to, kind); given > 0 {
			d.claim(old, to)
			d.use(old, to)
			d.given[given] = n > 0 && d.cue(i, "exchange") > 0
		}
	}
}

// takenBack claims the values that the writer wants forgotten: "forget what I said about
// Saturday".
func (d *doc) takenBack() {
	for i := range d.toks {
		n := d.cue(i, "takenback")
		if n == 0 || d.toks[i].away || !d.in.Answer {
			continue
		}
		old := d.valueNear(i+n, 4)
		if kind, to := d.valueKind(old); kind != "" && d.toks[old].clause == d.toks[i].clause {
			d.claim(old, to)
			d.use(old, to)
		}
	}
}

// valueNear is where the first value stands among the next few tokens.
func (d *doc) valueNear(i, tokens int) int {
	for k := i; k < min(i+tokens, len(d.toks)); k++ {
		if kind, _ := d.valueKind(k); kind != "" {
			return k
		}
	}
	return len(d.toks)
}

// exchangedFor gives where, behind a link such as "for" or "to", a value of the same
// sort follows, or 0.
func (d *doc) exchangedFor(i int, kind string) int {
	for k := i; k < min(i+6, len(d.toks)); k++ {
		if n := d.cue(k, "exchangelink"); n > 0 {
			given := d.valueNear(k+n, 4)
			other, _ := d.valueKind(given)
			return zeroUnless(other == kind, given)
		}
		if f := d.fold(k); f == "." || f == ";" || f == "?" {
			return 0
		}
	}
	return 0
}

func (d *doc) refuse(from, to int) {
	for i := max(0, from); i < to; i++ {
		d.toks[i].refused = true
	}
}

// valueBefore is where the value begins that ends right before a token, or i.
func (d *doc) valueBefore(i int) int {
	i -= d.ended(i, "refusedby")
	if n := d.ended(i, "colour", "branch", "material", "number"); n > 0 {
		return i - n
	}
	if d.isNumber(i - 1) {
		return i - 1
	}
	return i
}

// refusesBack tells of "red no": the word ends its clause, or is followed by
// words that say nothing.
func (d *doc) refusesBack(i, j int, s span) bool {
	if i == s.from || d.valueBefore(i) >= i-d.ended(i, "refusedby") {
		return false
	}
	if d.ended(i, "refusedby") > 0 {
		return true // "red is not ..."
	}
	return d.cue(i, "contracted") > 0 || j >= s.to || d.toks[j].kind == mark || d.cue(j, "please", "filler", "closing", "refusing") > 0 && d.cue(j, "colour", "in") == 0
}

// refusesAhead gives where the scope of a refused wish ends, or 0: "I do not
// need two", "please don't print it in red".
func (d *doc) refusesAhead(i, j int, s span) int {
	wish, end := false, min(s.to, i+near)
	for k := j; k < end; k++ {
		switch {
		case d.cue(k, "onlyword") > 0 && !(wish && d.has(span{j, k}, "not") >= 0):
			return 0 // "je n'en veux que deux": only two
		case d.toks[k].kind == mark && d.fold(k) != "-", d.cue(k, "but", "soword", "except", "bound", "past", "whword", "if") > 0,
			k > j && d.cue(k, "want") > 0 && d.cue(k, "refusable") == 0, d.cue(k, "and") > 0 && !(d.ended(k, "colour") > 0 && d.cue(k+1, "colour") > 0):
			return zeroUnless(wish, k)
		case k <= j+4 && d.cue(k, "refusable") > 0:
			wish = true
		}
	}
	return zeroUnless(wish, end)
}

// second tells whether the value at a token is only the fall-back: "PLA, if not PETG".
func (d *doc) second(i int) bool {
	i = d.skipBack(i)
	for range 3 {
		if d.ended(i, "else") > 0 {
			return true
		}
		n := d.ended(i, "in", "place", "det", "at", "prefer", "skip", "verb", "set")
		if n == 0 && i > 0 && d.fold(i-1) == "," {
			n = 1
		}
		if n == 0 {
			return false
		}
		i -= n
	}
	return false
}
