package letter

import (
	"strings"

	"github.com/emersion/go-message/textproto"

	"meshclerk/intake/job"
)

// Result is one "method=result" of an Authentication-Results field (RFC 8601, 2.2).
type Result struct {
	Method, Value string // in lower case
	Reason        string
	Properties    map[string]string // "ptype.property", in lower case, to its value
}

// verdict is the DMARC result that the trusted server recorded.
//
// It believes what RFC 8601, 5 demands of the border server: that it takes out
// fields that came from outside under its own name. Against a server that does not,
// only the fields count that stand on top, before the message's next station
// (Received), and of those the first that speaks of DMARC. A field that breaks
// the grammar ends the search with nothing found. A pass must be for the domain of the From field, and
// there must be one such field only, with one address.
func (r *reader) verdict(h textproto.Header) job.Verdict {
	got := trusted(h, r.opts.AuthservID)
	if got == nil {
		return job.None
	}
	switch got.Value {
	case "fail":
		return job.Fail
	case "pass":
		from, n := addresses(h.Get("From")), len(h.Values("From"))
		address := first(from).Address
		domain := address[strings.LastIndexByte(address, '@')+1:]
		if claimed := got.Properties["header.from"]; n == 1 && len(from) == 1 && plainIn(job.NormalAddress(bareOf(h.Get("From"))))[address] && (claimed == "" || sameDomain(claimed, domain)) {
			return job.Pass
		}
		r.note(job.Say("reading.other-address", nil))
	}
	return job.None
}

// sameDomain compares a header.from value, which may be a whole address, with a domain.
func sameDomain(claimed, domain string) bool {
	claimed = claimed[strings.LastIndexByte(claimed, '@')+1:]
	return strings.EqualFold(strings.TrimSuffix(claimed, "."), strings.TrimSuffix(domain, "."))
}

// trusted finds the first DMARC result of the trusted server.
func trusted(h textproto.Header, id string) *Result {
	begun := false
	for fields := h.Fields(); fields.Next(); {
		switch fields.Key() {
		case "Received":
			if begun {
				return nil
			}
		case "Authentication-Results":
			raw, err := fields.Raw()
			if err != nil {
				continue
			}
			_, value, _ := strings.Cut(string(raw), ":")
			server, results, ok := ParseResults(value)
			if id == "" || !strings.EqualFold(server, id) {
				continue
			}
			if begun = true; !ok {
				return nil
			}
			if found := dmarc(results); found != nil {
				return found
			}
		}
	}
	return nil
}

// dmarc is the DMARC result among results; of several that differ, none counts.
func dmarc(results []Result) *Result {
	var found *Result
	for i := range results {
		if results[i].Method != "dmarc" {
			continue
		}
		if found != nil && found.Value != results[i].Value {
			return &Result{Method: "dmarc", Value: "none"}
		}
		found = &results[i]
	}
	return found
}

// ParseResults reads the value of an Authentication-Results field by the grammar
// of RFC 8601, 2.2, folded or not. It returns the authserv-id, as far as it could
// be read, and the results. ok is false when the value breaks the grammar or is of a
// version other than 1; then nothing in it may be believed.
//
// Three liberties are taken, because servers take them, and none can make a result
// out of what is none: a value of a property may hold any visible character but
// those that would end it, a property may lack its type ("action=none"), and there
// may be a semicolon too many.
func ParseResults(value string) (server string, results []Result, ok bool) {
	p := &resultsParser{s: value}
	p.space()
	if server, ok = p.value(); !ok {
		return "", nil, false
	}
	p.space()
	if version, ok := p.digits(); ok && version != "1" {
		return server, nil, false
	}
	p.space()
	for !p.done() {
		if !p.eat(';') {
			return server, nil, false
		}
		p.space()
		if p.done() || p.peek() == ';' {
			continue
		}
		r, none, ok := p.result()
		if !ok {
			return server, nil, false
		}
		if !none {
			results = append(results, r)
		}
	}
	if p.bad {
		return server, nil, false
	}
	return server, results, true
}

type resultsParser struct {
	s   string
	i   int
	bad bool // a comment or quote was not closed
}

func (p *resultsParser) done() bool { return p.i >= len(p.s) }

func (p *resultsParser) peek() byte {
	if p.done() {
		return 0
	}
	return p.s[p.i]
}

func (p *resultsParser) eat(c byte) bool {
	if p.peek() != c || p.done() {
		return false
	}
	p.i++
	return true
}

// space skips CFWS: white space, folds and comments, which nest (RFC 5322, 3.2.2).
func (p *resultsParser) space() {
	for !p.done() {
		switch p.peek() {
		case ' ', '\t', '\r', '\n':
			p.i++
		case '(':
			p.comment()
		default:
			return
		}
	}
}

func (p *resultsParser) comment() {
	depth := 0
	for ; !p.done(); p.i++ {
		switch p.peek() {
		case '\\':
			p.i++
		case '(':
			depth++
		case ')':
			if depth--; depth == 0 {
				p.i++
				return
			}
		}
	}
	p.i, p.bad = len(p.s), true
}

// result reads a resinfo after its semicolon, or the word "none" (no-result).
func (p *resultsParser) result() (r Result, none, ok bool) {
	method, ok := p.keyword()
	if !ok {
		return r, false, false
	}
	p.space()
	if p.eat('/') { // method-version
		p.space()
		if version, ok := p.digits(); !ok || version != "1" {
			method = "" // 2.3, of a version that is not known: read, but not believed
		}
		p.space()
	}
	if !p.eat('=') {
		return r, true, strings.EqualFold(method, "none") && (p.done() || p.peek() == ';')
	}
	p.space()
	value, ok := p.keyword()
	if !ok || p.glued() {
		return r, false, false
	}
	r = Result{Method: strings.ToLower(method), Value: strings.ToLower(value), Properties: map[string]string{}}
	for p.space(); !p.done() && p.peek() != ';'; p.space() {
		if !p.reason(&r) && !p.property(&r) {
			return r, false, false
		}
	}
	return r, false, true
}

// glued reports whether something sticks to the word just read: "pass.example" is no "pass".
func (p *resultsParser) glued() bool {
	return !p.done() && !strings.ContainsRune(" \t\r\n;(", rune(p.peek()))
}

// reason reads a reasonspec.
func (p *resultsParser) reason(r *Result) bool {
	at := p.i
	word, ok := p.keyword()
	if ok && strings.EqualFold(word, "reason") {
		if p.space(); p.eat('=') {
			p.space()
			if value, ok := p.value(); ok {
				r.Reason = value
				return true
			}
		}
	}
	p.i = at
	return false
}

// property reads a propspec: ptype "." property "=" pvalue.
func (p *resultsParser) property(r *Result) bool {
	key, ok := p.keyword()
	if !ok {
		return false
	}
	if p.space(); p.eat('.') {
		p.space()
		name, ok := p.keyword()
		if !ok {
			return false
		}
		key += "." + name
		p.space()
	}
	if !p.eat('=') {
		return false
	}
	p.space()
	value, ok := p.propertyValue()
	key = strings.ToLower(key)
	if _, again := r.Properties[key]; !again {
		r.Properties[key] = value
	}
	return ok
}

// keyword reads a Keyword of RFC 5321, 4.1.2 (letters, digits, hyphens), with the
// underscore that servers use in names.
func (p *resultsParser) keyword() (string, bool) {
	at := p.i
	for !p.done() && (isAlnum(p.peek()) || p.peek() == '-' || p.peek() == '_') {
		p.i++
	}
	return p.s[at:p.i], p.i > at
}

func (p *resultsParser) digits() (string, bool) {
	at := p.i
	for !p.done() && '0' <= p.peek() && p.peek() <= '9' {
		p.i++
	}
	return p.s[at:p.i], p.i > at
}

// value reads a value of RFC 2045, 5.1: a token or a quoted string.
func (p *resultsParser) value() (string, bool) {
	if p.peek() == '"' {
		return p.quoted()
	}
	at := p.i
	for !p.done() && p.peek() > ' ' && p.peek() < 0x7F && !strings.ContainsRune(`()<>@,;:\"/[]?=`, rune(p.peek())) {
		p.i++
	}
	return p.s[at:p.i], p.i > at
}

// propertyValue reads a pvalue: a value or [[local-part] "@"] domain-name.
func (p *resultsParser) propertyValue() (string, bool) {
	if p.peek() == '"' {
		text, ok := p.quoted()
		if ok && p.peek() == '@' {
			rest, _ := p.visible()
			text += rest
		}
		return text, ok && !p.glued()
	}
	return p.visible()
}

func (p *resultsParser) visible() (string, bool) {
	at := p.i
	for !p.done() && p.peek() > ' ' && p.peek() != ';' && p.peek() != '(' && p.peek() != '"' {
		p.i++
	}
	return p.s[at:p.i], !p.glued() // a property may be empty, as in smtp.mailfrom=
}

func (p *resultsParser) quoted() (string, bool) {
	var out strings.Builder
	for p.i++; !p.done(); p.i++ {
		switch c := p.peek(); c {
		case '\\':
			if p.i++; !p.done() {
				out.WriteByte(p.peek())
			}
		case '"':
			p.i++
			return out.String(), true
		default:
			out.WriteByte(c)
		}
	}
	p.bad = true
	return "", false
}

func isAlnum(c byte) bool {
	return '0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z'
}
