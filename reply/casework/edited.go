package casework

import (
	"bytes"
	"slices"
	"strings"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/reply/draft"
	"meshclerk/reply/outbox"
)

// Canonical brings a composed message into the form in which it will leave,
// before anybody approves it.
func Canonical(m *draft.Message) error {
	raw, err := outbox.Canonical(m.Raw)
	if err != nil {
		return err
	}
	m.Raw = raw
	return outbox.Ready(raw)
}

// Edited gives what lies in the folder, in the form in which it will leave. A mail
// program may have dropped the thread or the Message-ID: they are put back.
func Edited(d ledger.Draft, raw []byte) (ledger.Edit, error) {
	raw, err := outbox.Complete(raw, outbox.Field{Name: "Message-ID", Value: d.MessageID})
	if err != nil {
		return ledger.Edit{}, err
	}
	raw, err = outbox.Canonical(raw)
	if err != nil {
		return ledger.Edit{}, err
	}
	if err := outbox.Ready(raw); err != nil {
		return ledger.Edit{}, err
	}
	to, err := outbox.Recipients(raw)
	if err != nil {
		return ledger.Edit{}, err
	}
	return ledger.Edit{Raw: raw, MessageID: outbox.MessageID(raw), To: job.Address{Address: to[0]}}, nil
}

// Readdressed gives the recipients that a draft was written for, where an edit
// goes to others.
func Readdressed(d ledger.Draft, now, edit []byte) (string, error) {
	before := d.AddressedBefore
	if before == "" {
		list, err := outbox.Recipients(now)
		if err != nil {
			return "", err
		}
		before = recipients(list)
	}
	list, err := outbox.Recipients(edit)
	if err != nil || recipients(list) == before || bytes.Equal(now, edit) {
		return "", err
	}
	return before, nil
}

// recipients writes addresses so that two lists can be compared.
func recipients(list []string) string {
	out := slices.Clone(list)
	for i := range out {
		out[i] = strings.ToLower(out[i])
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}
