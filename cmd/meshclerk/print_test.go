package main

import (
	"bytes"
	"strings"
	"testing"

	"meshclerk/intake/job"
)

// What scripts read has the words of messages, wherever they stand.
func TestJSONHasWords(t *testing.T) {
	note := job.Say("remarks.goes-to", job.Args{"other": "a@example.org", "sender": "b@example.org"})
	var out bytes.Buffer
	err := encode(&out, words{english()}, struct {
		Notes []job.Message
		Deep  struct{ Inner *struct{ Why job.Message } }
		Old   job.Message
	}{[]job.Message{note}, struct{ Inner *struct{ Why job.Message } }{&struct{ Why job.Message }{note}}, job.Plain("as it was")})
	if err != nil || strings.Count(out.String(), `"this reply goes to a@example.org, as the letter asks, and not to b@example.org"`) != 2 ||
		!strings.Contains(out.String(), `"Old":"as it was"`) || strings.Contains(out.String(), `"key"`) {
		t.Errorf("%v\n%s", err, out.String())
	}
}
