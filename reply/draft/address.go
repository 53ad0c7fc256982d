package draft

import (
	"net/mail"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/plain"
)

// address says from whom to whom, and tells staff what is odd about it.
func (in *Input) address(m *Message) error {
	lib := in.Rules.Library.In(m.Language)
	m.From = job.Address{Name: displayName(lib.Desk + ", " + lib.Name), Address: lib.Address}
	to := in.writer()
	address, err := cleanAddress(to.Address)
	if err != nil {
		return &job.Fault{Message: job.Say("faults.not-to-patron", job.Args{"why": job.Why(err)}), Err: err}
	}
	m.To = job.Address{Name: displayName(to.Name), Address: address}
	if job.SameAddress(address, lib.Address) {
		return job.Refuse(job.Say("faults.from-ourselves", job.Args{"address": lib.Address}))
	}
	if l := in.Letter; l != nil {
		in.replyTo(m, l)
		if l.Authenticated != job.Pass && l.Forwarder == nil {
			m.Notes = append(m.Notes, job.Say("remarks.unproven", job.Args{"address": address}))
		}
	}
	m.MessageID = "<" + in.ID + "@" + in.Domain + ">"
	return nil
}

// replyTo follows a Reply-To only within the sender's own domain, and only of a
// letter that is proven to be the sender's: else a forged or careless letter would
// carry a patron's matters to a stranger. Staff see it.
func (in *Input) replyTo(m *Message, l *job.Letter) {
	if l.ReplyTo == "" || job.SameAddress(l.ReplyTo, m.To.Address) {
		return
	}
	other, err := cleanAddress(l.ReplyTo)
	switch {
	case err != nil:
		m.Notes = append(m.Notes, job.Say("remarks.no-address", nil))
	case l.Authenticated != job.Pass:
		m.Notes = append(m.Notes, job.Say("remarks.other-unproven", job.Args{"other": other}))
	case domain(other) == domain(m.To.Address) && !job.SameAddress(other, in.Rules.Library.Address):
		m.Notes = append(m.Notes, job.Say("remarks.goes-to", job.Args{"other": other, "sender": m.To.Address}))
		m.To.Address = other
	default:
		m.Notes = append(m.Notes, job.Say("remarks.other-domain", job.Args{"other": other}))
	}
}

// cleanAddress accepts a plain address that needs no quoting in a header (RFC
// 5322, 3.4.1, without the obsolete and quoted forms).
func cleanAddress(s string) (string, error) {
	a, err := mail.ParseAddress(s)
	if err != nil || a.Address != s || len(s) > 254 { // RFC 5321, 4.5.3.1.3
		return "", job.Refuse(job.Say("faults.not-an-address", job.Args{"given": plain.OneLine(s)}))
	}
	if strings.ContainsAny(s, "\"\\()<>,;: \t\r\n") || strings.Count(s, "@") != 1 {
		return "", job.Refuse(job.Say("faults.not-an-address", job.Args{"given": plain.OneLine(s)}))
	}
	return s, nil
}

func domain(address string) string {
	return strings.ToLower(address[strings.LastIndexByte(address, '@')+1:])
}

// displayName is a name as a header may carry it: one line, not too long, and
// not pretending to be an address.
func displayName(s string) string {
	s = strings.ReplaceAll(plain.OneLine(s), "=?", "")
	if strings.ContainsAny(s, "@<>") {
		return ""
	}
	if r := []rune(s); len(r) > 80 {
		s = strings.TrimSpace(string(r[:80]))
	}
	return s
}
