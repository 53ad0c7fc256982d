package outbox

import (
	"bytes"
	"mime"
	"net/mail"
	"net/textproto"
	"slices"
	"strings"

	"golang.org/x/net/idna"

	"meshclerk/intake/job"
)

// maxRecipients bounds one reply: it goes to a patron, and perhaps a colleague.
const maxRecipients = 20

// envelope is what SMTP is told, in the form of RFC 5321, 4.1.2 paths.
type envelope struct {
	from string
	to   []string
	utf8 bool // an address needs SMTPUTF8
	bit8 bool // the body holds octets above 127
}

func (m Message) envelope() (envelope, error) {
	e := envelope{bit8: bytes.ContainsFunc(m.Raw, func(r rune) bool { return r > 127 })}
	var err error
	if e.from, err = e.path(m.From); err != nil {
		return e, &job.Fault{Message: job.Say("faults.sender-address", job.Args{"why": job.Why(err)}), Err: err}
	}
	if len(m.To) == 0 || len(m.To) > maxRecipients {
		return e, job.Refuse(job.Say("faults.recipients", job.Args{"n": len(m.To), "most": maxRecipients}))
	}
	for _, to := range m.To {
		p, err := e.path(to)
		if err != nil {
			return e, &job.Fault{Message: job.Say("faults.recipient-address", job.Args{"why": job.Why(err)}), Err: err}
		}
		e.to = append(e.to, p)
	}
	return e, nil
}

// path gives <local@domain>, quoted where it must be.
func (e *envelope) path(address string) (string, error) {
	at := strings.LastIndexByte(address, '@')
	if at < 1 || at == len(address)-1 || strings.ContainsFunc(address, func(r rune) bool { return r < ' ' || r == 0x7f }) || len(address) > 320 {
		return "", job.Refuse(job.Say("faults.not-an-address", job.Args{"given": address}))
	}
	domain, err := idna.Lookup.ToASCII(address[at+1:])
	if err != nil {
		return "", job.Refuse(job.Say("faults.no-such-domain", job.Args{"given": address}))
	}
	local := address[:at]
	e.utf8 = e.utf8 || !ascii(local)
	return (&mail.Address{Address: local + "@" + domain}).String(), nil
}

func ascii(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r > 127 }) < 0
}

// Recipients gives the addresses of To and Cc, once each. Bcc does not count:
// Canonical drops it.
func Recipients(raw []byte) ([]string, error) {
	fields, err := fields(raw)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, name := range []string{"To", "Cc"} {
		for _, value := range fields[name] {
			list, err := addresses(value)
			if err != nil {
				return nil, job.Refuse(job.Say("faults.unread-addresses", job.Args{"name": name, "given": value}))
			}
			for _, a := range list {
				if !slices.ContainsFunc(out, func(had string) bool { return job.SameAddress(had, a) }) {
					out = append(out, a)
				}
			}
		}
	}
	switch {
	case len(out) == 0:
		return nil, job.Refuse(job.Say("faults.no-recipient", nil))
	case len(out) > maxRecipients:
		return nil, job.Refuse(job.Say("faults.too-many-recipients", job.Args{"n": len(out), "most": maxRecipients}))
	}
	return out, nil
}

// addresses reads an address list; an empty one, as drafts have, is no fault.
func addresses(value string) ([]string, error) {
	if strings.TrimSpace(value) == "" {
		return nil, nil
	}
	list, err := parser.ParseList(value)
	if err != nil && !strings.Contains(err.Error(), "empty group") {
		return nil, err
	}
	var out []string
	for _, a := range list {
		out = append(out, a.Address)
	}
	return out, nil
}

var parser = mail.AddressParser{WordDecoder: &mime.WordDecoder{}}

// Sender gives the one address of From.
func Sender(raw []byte) (string, error) {
	fields, err := fields(raw)
	if err != nil {
		return "", err
	}
	if len(fields["From"]) != 1 {
		return "", job.Refuse(job.Say("faults.one-from", nil))
	}
	list, err := addresses(fields["From"][0])
	if err != nil || len(list) != 1 {
		return "", job.Refuse(job.Say("faults.from-not-one", job.Args{"given": fields["From"][0]}))
	}
	return list[0], nil
}

// Ready says what a message still lacks before it may be approved: one sender,
// a recipient, a Date and the Message-ID by which it is found again.
func Ready(raw []byte) error {
	if _, err := Sender(raw); err != nil {
		return err
	}
	if _, err := Recipients(raw); err != nil {
		return err
	}
	fields, err := fields(raw)
	if err != nil {
		return err
	}
	if len(fields["Date"]) == 0 { // RFC 5322, 3.6: one of the two fields that must be there
		return job.Refuse(job.Say("faults.no-date", nil))
	}
	if id := MessageID(raw); len(id) < 5 || id[0] != '<' || id[len(id)-1] != '>' || !strings.Contains(id, "@") {
		return job.Refuse(job.Say("faults.no-message-id", nil))
	}
	return nil
}

// MessageID gives the Message-ID with its angle brackets, or "".
func MessageID(raw []byte) string {
	fields, err := fields(raw)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(textproto.MIMEHeader(fields).Get("Message-Id"))
}

// fields reads the header, unfolded, keys in canonical case.
func fields(raw []byte) (map[string][]string, error) {
	lines, _, err := split(crlf(raw))
	if err != nil {
		return nil, err
	}
	out := map[string][]string{}
	for _, f := range lines {
		key := textproto.CanonicalMIMEHeaderKey(f.name)
		out[key] = append(out[key], unfold(f.value()))
	}
	return out, nil
}
