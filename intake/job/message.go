package job

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Message is a sentence before it has words: its key in the book of sentences, and
// what is filled in. Rooms make messages and the ledger keeps them; the words are
// made at the edge, in the language of who reads.
//
// A Message without a key is text as it is: what an earlier version kept, or the
// words of a person, a mail server or an operating system. In JSON it is a string.
type Message struct {
	Key  string // e.g. "notice.stray"
	Args Args   // nil where the sentence has none
	Text string // only without a key
}

// Args are what is filled into a sentence, by name. A value is a string (a name, a
// number of the ledger, a file: never words of ours), a number, a Quantity, a Figure, a Money, a Day,
// a Message, or a []string or []Message of several things.
type Args map[string]any

// Quantity is a measured value, written with its unit as the reader's language does.
type Quantity struct {
	Amount float64 `json:"amount"`
	Unit   string  `json:"unit"` // as of a Finding
}

// Figure is a measured value as a person says it: three places that count, in the unit
// that fits it. Without a unit it is a bare number, a time is in seconds.
type Figure struct {
	Amount float64 `json:"figure"`
	Unit   string  `json:"unit"`
}

// Money is an amount of money, written as the reader's language and the house do.
type Money struct {
	Amount   string `json:"money"`    // a plain decimal
	Currency string `json:"currency"` // ISO 4217
}

// Day is a date, written as the reader's language does.
type Day struct {
	Date string `json:"day"` // YYYY-MM-DD
}

// Say is a message with a key. Every key stands in the book of sentences.
func Say(key string, args Args) Message { return Message{Key: key, Args: args} }

// Plain is a message of words that are no sentence of ours.
func Plain(text string) Message { return Message{Text: text} }

// IsZero reports whether there is nothing to say.
func (m Message) IsZero() bool { return m.Key == "" && m.Text == "" }

// String shows the key and the arguments, or the plain text: for logs and tests.
func (m Message) String() string {
	if m.Key == "" {
		return m.Text
	}
	if len(m.Args) == 0 {
		return m.Key
	}
	args, err := json.Marshal(m.Args) // its keys are sorted
	if err != nil {
		return m.Key
	}
	return m.Key + " " + string(args)
}

// MarshalJSON writes plain text as a string, else the key and the arguments.
func (m Message) MarshalJSON() ([]byte, error) {
	if m.Key == "" {
		return json.Marshal(m.Text)
	}
	return json.Marshal(keyed{m.Key, m.Args})
}

type keyed struct {
	Key  string `json:"key"`
	Args Args   `json:"args,omitempty"`
}

// UnmarshalJSON reads what MarshalJSON wrote, and the plain string of earlier versions.
func (m *Message) UnmarshalJSON(b []byte) error {
	*m = Message{}
	if b = bytes.TrimSpace(b); len(b) > 0 && b[0] != '{' {
		return json.Unmarshal(b, &m.Text)
	}
	var k keyed
	if err := json.Unmarshal(b, &k); err != nil {
		return err
	}
	m.Key, m.Args = k.Key, k.Args
	return nil
}

// UnmarshalJSON reads each value as what it was.
func (a *Args) UnmarshalJSON(b []byte) error {
	var raw map[string]json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		return err
	}
	*a = make(Args, len(raw))
	for name, v := range raw {
		value, err := argument(v)
		if err != nil {
			return fmt.Errorf("the argument %s: %w", name, err)
		}
		(*a)[name] = value
	}
	return nil
}

func argument(b json.RawMessage) (any, error) {
	switch b[0] {
	case '[':
		return several(b)
	case '{':
		return composed(b)
	}
	var v any
	return v, json.Unmarshal(b, &v)
}

// several reads a list of words or of messages.
func several(b json.RawMessage) (any, error) {
	var words []string
	if json.Unmarshal(b, &words) == nil {
		return words, nil
	}
	var messages []Message
	return messages, json.Unmarshal(b, &messages)
}

func composed(b json.RawMessage) (any, error) {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(b, &fields); err != nil {
		return nil, err
	}
	switch {
	case fields["key"] != nil:
		var m Message
		return m, json.Unmarshal(b, &m)
	case fields["currency"] != nil:
		var m Money
		return m, json.Unmarshal(b, &m)
	case fields["figure"] != nil:
		var f Figure
		return f, json.Unmarshal(b, &f)
	case fields["unit"] != nil:
		var q Quantity
		return q, json.Unmarshal(b, &q)
	}
	var d Day
	return d, json.Unmarshal(b, &d)
}
