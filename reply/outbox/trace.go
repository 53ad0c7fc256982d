package outbox

import (
	"meshclerk/intake/job"
	"net/mail"
	"slices"
	"strings"
	"time"
)

// traces are the fields that servers put on a message under way. A draft that a
// person moved or edited has none.
var traces = []string{
	"received", "return-path", // RFC 5321, 4.4
	"authentication-results",                                          // RFC 8601
	"received-spf",                                                    // RFC 7208, 9.1
	"dkim-signature",                                                  // RFC 6376, 3.5
	"arc-seal", "arc-message-signature", "arc-authentication-results", // RFC 8617, 4.1
	"delivered-to",                                                                  // RFC 9228
	"x-original-to", "x-delivered-to", "envelope-to", "x-envelope-to", "x-received", // common practice, no source
	"delivery-date", "x-original-authentication-results",
}

// Traces gives the names of the fields that show that a mail server carried the
// message, in the order of the header; none for one that only lay in folders.
func Traces(raw []byte) ([]string, error) {
	header, _, err := split(crlf(raw))
	if err != nil {
		return nil, err
	}
	var out []string
	for _, f := range header {
		if slices.Contains(traces, strings.ToLower(f.name)) {
			out = append(out, f.name)
		}
	}
	return out, nil
}

// Date gives the moment that the message's Date line names (RFC 5322, 3.6.1).
func Date(raw []byte) (time.Time, error) {
	fields, err := fields(raw)
	if err != nil {
		return time.Time{}, err
	}
	if len(fields["Date"]) == 1 {
		if at, err := mail.ParseDate(fields["Date"][0]); err == nil {
			return at, nil
		}
	}
	return time.Time{}, job.Refuse(job.Say("faults.unread-date", nil))
}
