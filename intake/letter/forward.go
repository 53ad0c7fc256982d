package letter

import (
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-message/textproto"

	"meshclerk/intake/job"
)

// Forwarded is a letter that somebody passed on in the text of their own.
type Forwarded struct {
	From    job.Address
	Subject string
	Date    time.Time
	Text    string // its text, with whatever it quotes itself
	Marked  bool   // a line says that it is passed on, not just quoted
}

// The header lines that mail programs write above a letter they quote or pass
// on, in English, French and Spanish.
var (
	fromKey    = regexp.MustCompile(`(?i)^[\s*]*(from|de|expéditeur|remitente)\s?\*?:[\s*]*(\S.*)$`)
	furtherKey = regexp.MustCompile(`(?i)^[\s*]*(sent|date|to|cc|subject|reply-to|envoyé(?: le)?|à|a|objet|répondre à|` +
		`enviado(?: el)?|fecha|para|asunto|copie à|importance|importancia)\s?\*?:[\s*]*(.*)$`)
	separators = regexp.MustCompile(`(?i)^[\s>]*[-_—]{2,}\s*(original message|original appointment|forwarded message|forwarded by.*|` +
		`message d['’]origine|message original|message transf[ée]r[ée]|message r[ée]exp[ée]di[ée]|` +
		`mensaje original|mensaje reenviado)\s*[-_—]*\s*$`)
	forwards = regexp.MustCompile(`(?i)^[\s>]*([-_—]{2,}\s*(forwarded message|message transf[ée]r[ée]|message r[ée]exp[ée]di[ée]|mensaje reenviado)\s*[-_—]*` +
		`|begin forwarded message\s?:|d[ée]but du message (transf[ée]r[ée]|r[ée]exp[ée]di[ée])\s?:|inicio del mensaje reenviado\s?:)\s*$`)
	passedOn = regexp.MustCompile(`(?i)^\s*(re\s*:\s*)?(fwd?|tr|rv|reenv|renv)\s*:`)
)

func isSeparator(line string) bool { return mayMark(line) && separators.MatchString(line) }

// mayMark reports whether a line may be a separator, without the full search.
func mayMark(line string) bool {
	if len(line) > 200 {
		return false
	}
	lower := strings.ToLower(line)
	return strings.Contains(lower, "message") || strings.Contains(lower, "mensaje") || strings.Contains(lower, "appointment") || strings.Contains(lower, "forwarded")
}

// headerBlock returns how many lines at i are the header of a letter that follows:
// a sender and at least two more fields, values wrapped, empty lines between them allowed.
func headerBlock(lines []string, i int) int {
	if len(lines[i]) > 500 || !strings.Contains(lines[i], ":") || !fromKey.MatchString(lines[i]) {
		return 0
	}
	further, last := 0, 0
	for n := 1; n < 16 && i+n < len(lines); n++ {
		line := strings.TrimSpace(lines[i+n])
		switch {
		case furtherKey.MatchString(line):
			further++
			last = n
		case line == "" && n-last > 1:
			n = 16
		case line != "" && n-last > 2:
			n = 16
		}
	}
	if further < 2 {
		return 0
	}
	return last + 1
}

// forwardMark reports whether the line at i says that a letter is passed on, and where it begins.
func forwardMark(lines []string, i int) (int, bool) {
	if mayMark(lines[i]) && forwards.MatchString(lines[i]) {
		return i + 1, true
	}
	return i, false
}

// readForwarded reads the letter whose header begins at or a little below i. It
// returns nil when there is no header that names a sender.
func readForwarded(lines []string, i int) *Forwarded {
	lines = unmarked(lines[i:])
	for at := 0; at < min(len(lines), 6); at++ {
		n := headerBlock(lines, at)
		if n == 0 {
			continue
		}
		f := &Forwarded{Text: strings.TrimSpace(strings.Join(lines[at+n:], "\n"))}
		f.From = first(addresses(strings.ReplaceAll(mailto.ReplaceAllString(fromKey.FindStringSubmatch(lines[at])[2], ""), "*", "")))
		for _, line := range lines[at : at+n] {
			f.field(line)
		}
		return f
	}
	return nil
}

var mailto = regexp.MustCompile(`(?i)[<\[]mailto:[^>\]]*[>\]]`)

func (f *Forwarded) field(line string) {
	m := furtherKey.FindStringSubmatch(line)
	if m == nil {
		return
	}
	switch key := strings.ToLower(m[1]); {
	case slices.Contains([]string{"subject", "objet", "asunto"}, key):
		f.Subject = shown(m[2], subjectLen)
	case f.Date.IsZero():
		f.Date, _ = mail.ParseDate(m[2]) // in words of any language: mostly it is no such date
	}
}

// message is the forwarded letter as if it had come inside m.
func (f *Forwarded) message(m *message) *message {
	var h textproto.Header
	for _, name := range []string{"To", "Date", "Message-Id"} {
		h.Add(name, m.header.Get(name))
	}
	if !f.Date.IsZero() {
		h.Set("Date", f.Date.Format(time.RFC1123Z))
	}
	h.Set("Subject", f.Subject)
	return &message{header: h, body: body{plain: f.Text}}
}

// unmarked takes the quote marks off when every line bears one.
func unmarked(lines []string) []string {
	for _, line := range lines {
		if quoteMark.FindString(line) == "" && strings.TrimSpace(line) != "" {
			return lines
		}
	}
	out := make([]string, len(lines))
	for i, line := range lines {
		out[i] = strings.TrimPrefix(strings.TrimPrefix(strings.TrimLeft(line, " "), ">"), " ")
	}
	return out
}

// patronOf returns the patron's message and the letter begun with its sender. A letter that a member of staff passes on,
// attached or in the text, is the letter of the patron who wrote it. The sender
// checks are made of the message that reached our server:
//
//   - A forger who only pretends to be staff (DMARC fail) passes nothing on.
//   - What our server found out about the attached letter counts only when the
//     member of staff is proven. A sender named in a text is never proven.
func (r *reader) patronOf(m *message) (*message, *job.Letter) {
	l := &job.Letter{From: sender(m.header), Authenticated: r.verdict(m.header)}
	if !r.isStaff(l.From.Address) || l.Authenticated == job.Fail {
		return m, l
	}
	forwarder, proven := l.From, l.Authenticated == job.Pass
	if inner := passedOnBy(m, r.isHouse); inner != nil {
		l.Forwarder, l.From, l.Authenticated = &forwarder, sender(inner.header), job.None
		if proven {
			l.Authenticated = r.verdict(inner.header)
		}
		if cover := Own(m.body.text()).Text; cover != "" {
			r.note(coverNote(forwarder, cover))
		}
		return inner, l
	}
	own := Own(m.body.text())
	f := own.Forwarded
	if f == nil || f.From.Address == "" || r.isHouse(f.From.Address) ||
		!f.Marked && !passedOn.MatchString(decodeWords(m.header.Get("Subject"))) {
		return m, l
	}
	l.Forwarder, l.From, l.Authenticated = &forwarder, f.From, job.None
	if own.Text != "" {
		r.note(coverNote(forwarder, own.Text))
	}
	return f.message(m), l
}

func coverNote(by job.Address, text string) job.Message {
	return job.Say("reading.cover", job.Args{"by": firstNonEmpty(by.Name, by.Address), "words": shown(text, 300)})
}

func firstNonEmpty(list ...string) string {
	for _, s := range list {
		if s != "" {
			return s
		}
	}
	return ""
}

// passedOnBy finds the first letter inside that an outsider wrote.
func passedOnBy(m *message, house func(string) bool) *message {
	for _, inner := range m.inner {
		if a := sender(inner.header).Address; a != "" && !house(a) {
			return inner
		}
	}
	return nil
}

func (r *reader) isStaff(address string) bool {
	return slices.ContainsFunc(r.opts.Staff, func(a string) bool { return job.SameAddress(a, address) })
}

func (r *reader) isOwn(address string) bool {
	return slices.ContainsFunc(r.opts.OwnAddresses, func(a string) bool { return job.SameAddress(a, address) })
}

func (r *reader) isHouse(address string) bool { return r.isStaff(address) || r.isOwn(address) }
