package ledger

import (
	"encoding/json"
	"strings"

	"meshclerk/intake/job"
)

// A sentence is kept in a column of text: plain words as they are, as every earlier
// version kept them, and a message with a key as JSON that begins as messageMark.
const messageMark = `{"key":`

// keep gives a message as its column holds it. Strangers' words that begin as a
// message does are kept so that they are read as words.
func keep(m job.Message) string {
	if m.Key == "" && !strings.HasPrefix(m.Text, messageMark) {
		return m.Text
	}
	if m.Key == "" {
		return " " + m.Text
	}
	b, err := json.Marshal(m)
	if err != nil { // an argument that is no number, such as a division by zero
		return m.Key
	}
	return string(b)
}

// kept reads a message that keep wrote.
type kept struct{ m *job.Message }

func (k kept) Scan(v any) error {
	text, _ := v.(string)
	if strings.HasPrefix(text, messageMark) && json.Unmarshal([]byte(text), k.m) == nil {
		return nil
	}
	*k.m = job.Plain(text)
	return nil
}
