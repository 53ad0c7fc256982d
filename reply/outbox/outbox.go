// Package outbox sends an approved draft, over SMTP (RFC 5321), at most once.
//
// The octets that leave are the octets that were approved. They are brought
// into the form in which mail travels once, by Canonical, before the hash is
// taken and a person approves; Send refuses anything else, and changes
// nothing but the dots that the protocol itself stuffs and takes out again.
//
// Each try ends in one of four ways, and the caller may rely on them:
//
//	Sent       the server said yes after the final dot
//	Refused    the server said no for good, or would; nothing left
//	Later      nothing left: the final dot was never written, or was answered
//	           with a temporary no. It is safe to try again
//	Uncertain  the final dot was written and no answer came. It may have left.
//	           Only a person decides, helped by the Sent folder and a search
//	           for the Message-ID
//
// Message.Commit runs when the recipients are accepted and before DATA: there
// the caller commits `sending`, so that a crash from then on is uncertain, and
// a crash before it is not.
package outbox

import (
	"context"
	"log/slog"
	"maps"
	"regexp"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/mailbox/wire"
)

// State is how a try ended.
type State string

// The four ways.
const (
	Sent      State = "sent"
	Refused   State = "refused"
	Later     State = "later"
	Uncertain State = "uncertain"
)

// Config says where the sending server is.
type Config struct {
	wire.Config
	Hello         string        // the name we greet with; empty for this machine's
	AnswerTimeout time.Duration // after the final dot; 0 for defaultAnswer
	Grace         time.Duration // how long the answer is still waited for when told to stop; 0 for defaultGrace
}

// defaultAnswer is the wait of RFC 5321, 4.5.3.2.6: to give up earlier makes
// doubles, or in our case needless questions to a person.
const defaultAnswer = 10 * time.Minute

// defaultGrace is how long the answer is still waited for when we are told to stop.
const defaultGrace = 15 * time.Second

// Message is one approved draft and its envelope.
type Message struct {
	From string   // the envelope's sender
	To   []string // the envelope's recipients: all of them, or nobody
	Raw  []byte   // canonical
	// Commit is called once, before DATA. Its error ends the try with Later.
	Commit func(context.Context) error
}

// Outcome is how a try ended, and why.
type Outcome struct {
	State State
	Code  int    // the server's reply code, or 0
	Words string // the server's own words, on one line; they may name addresses
	Err   error  // nil when sent; else the sentence for a person, with the cause wrapped
}

// Said is the outcome as it is recorded, with the addresses in it masked.
func (o Outcome) Said() job.Message {
	if o.Err == nil {
		return job.Say("history.server-took", nil)
	}
	return masked(job.Why(o.Err))
}

func masked(m job.Message) job.Message {
	m.Text, m.Args = Mask(m.Text), maps.Clone(m.Args)
	for name, v := range m.Args {
		switch v := v.(type) {
		case string:
			m.Args[name] = Mask(v)
		case []string:
			m.Args[name] = maskedAll(v)
		case job.Message:
			m.Args[name] = masked(v)
		case []job.Message:
			m.Args[name] = maskedEach(v)
		}
	}
	return m
}

func maskedAll(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = Mask(w)
	}
	return out
}

func maskedEach(messages []job.Message) []job.Message {
	out := make([]job.Message, len(messages))
	for i, m := range messages {
		out[i] = masked(m)
	}
	return out
}

// LogValue keeps addresses out of the log.
func (o Outcome) LogValue() slog.Value {
	attrs := []slog.Attr{slog.String("state", string(o.State))}
	if o.Code != 0 {
		attrs = append(attrs, slog.Int("code", o.Code))
	}
	if o.Words != "" {
		attrs = append(attrs, slog.String("words", Mask(o.Words)))
	}
	if o.Err != nil {
		attrs = append(attrs, slog.Any("why", &job.Fault{Message: masked(job.Why(o.Err))}))
	}
	return slog.GroupValue(attrs...)
}

// Mail addresses anywhere in a text: of a dot-atom (RFC 5322, 3.2.3; RFC 6532, 3.2), or
// with a quoted local part (3.4.1). Where that begins cannot be told once an error has
// quoted it again, so all from the line's first quote on counts as part of it.
const host = `@(\[[^\]\s]*\]|[\pL\pM\pN-]+(?:\.[\pL\pM\pN-]+)*)`

var (
	plainAddress  = regexp.MustCompile(`([\pL\pM\pN.!#$%&'*+/=?^_{|}~\x60-])[\pL\pM\pN.!#$%&'*+/=?^_{|}~\x60-]*` + host)
	quotedAddress = regexp.MustCompile(`"[^\n]*"` + host)
)

// Mask shortens the addresses in a text for the log: a***@example.org.
func Mask(s string) string {
	if !strings.Contains(s, "@") {
		return s
	}
	return plainAddress.ReplaceAllString(quotedAddress.ReplaceAllString(s, "***@$1"), "$1***@$2")
}

// Send makes one try. The context may end it up to the final dot; from then
// on the answer is waited for, for a short while at least.
func Send(ctx context.Context, config Config, source Source, m Message, log *slog.Logger) Outcome {
	config.defaults()
	raw, err := Canonical(m.Raw)
	if err != nil {
		return Outcome{State: Refused, Err: err}
	}
	if string(raw) != string(m.Raw) {
		return Outcome{State: Refused, Err: job.Refuse(job.Say("faults.not-as-approved", nil))}
	}
	if err := Ready(raw); err != nil {
		return Outcome{State: Refused, Err: err}
	}
	e, err := m.envelope()
	if err != nil {
		return Outcome{State: Refused, Err: err}
	}
	c, err := connect(ctx, config, source, log)
	if err != nil {
		return later(err)
	}
	defer c.raw.Close()
	return c.transact(ctx, e, m)
}

func (c *Config) defaults() {
	if c.Table == "" {
		c.Table = "smtp"
	}
	if c.AnswerTimeout <= 0 {
		c.AnswerTimeout = defaultAnswer
	}
	if c.Grace <= 0 {
		c.Grace = defaultGrace
	}
}
