package outbox_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"meshclerk/reply/outbox"
)

const head = "From: a@larkfield.example\r\nTo: b@example.org\r\n"

func TestCanonical(t *testing.T) {
	for _, row := range []struct{ name, in, want string }{
		{"as it is", head + "\r\nHi\r\n", head + "\r\nHi\r\n"},
		{"LF", strings.ReplaceAll(head+"\r\nHi\r\n", "\r\n", "\n"), head + "\r\nHi\r\n"},
		{"CR", strings.ReplaceAll(head+"\r\nHi\r\n", "\r\n", "\r"), head + "\r\nHi\r\n"},
		{"mixed", head + "\n" + "a\rb\nc\r\n\r\n\n", head + "\r\na\r\nb\r\nc\r\n\r\n\r\n"},
		{"no end", head + "\r\nHi", head + "\r\nHi\r\n"},
		{"no text", head, head + "\r\n"},
		{"Bcc", "bcc: x@example.net,\r\n y@example.net\r\n" + head + "Return-Path: <z@example.net>\r\n\r\nHi\r\n", head + "\r\nHi\r\n"},
		{"Bcc in the text", head + "\r\nBcc: x\r\n", head + "\r\nBcc: x\r\n"},
		{"folding stays", head + "Subject: a\r\n\tb\r\n c\r\n\r\n", head + "Subject: a\r\n\tb\r\n c\r\n\r\n"},
		// RFC 2047, 8 has "=?ISO-8859-1?Q?a_b?="; in UTF-8 by the same rules:
		{"subject", head + "Subject: Größe\r\n\r\n", head + "Subject: =?utf-8?q?Gr=C3=B6=C3=9Fe?=\r\n\r\n"},
	} {
		got, err := outbox.Canonical([]byte(row.in))
		if err != nil || string(got) != row.want {
			t.Errorf("%s: %v\n got %q\nwant %q", row.name, err, got, row.want)
		}
	}
}

func TestWhatCannotTravel(t *testing.T) {
	for want, in := range map[string]string{
		"the message is empty; write it again or make a new draft":                                                          "",
		"the message has no header; it may have been saved empty":                                                           "\r\nHi\r\n",
		"the message holds a NUL octet, which mail cannot carry; take it out":                                               head + "\r\na\x00b\r\n",
		"line 4 of the message has 999 octets and mail carries at most 998; break it":                                       head + "\r\n" + strings.Repeat("x", 999) + "\r\n",
		"line 3 of the message is no header line; there must be a blank line between header and text":                       head + "Dear Ana,\r\n\r\nHi\r\n",
		"line 1 of the message is no header line; there must be a blank line between header and text":                       " folded\r\n" + head + "\r\n",
		`the message has 2 lines called "to" and may have one; take the others out`:                                         head + "TO: c@example.org\r\n\r\n",
		"the To line of the message holds letters that a header cannot carry as they are; write it with plain letters":      "From: a@larkfield.example\r\nTo: Jürgen <b@example.org>\r\n\r\n",
		"the Subject line of the message holds letters that a header cannot carry as they are; write it with plain letters": head + "Subject: \xff\r\n\r\n",
		"the header of the message has 70042 octets, more than 65536; shorten its lines":                                    head + strings.Repeat("X-A: 1234567890\r\n", 4117) + "X:345\r\n" + "\r\n",
	} {
		got, err := outbox.Canonical([]byte(in))
		if err == nil || english.Error(err) != want {
			t.Errorf("%q\n got %v\nwant %s", got[:min(len(got), 80)], err, want)
		}
	}
}

// Approval binds to the canonical octets, so they must not change under it.
func FuzzCanonicalIsStable(f *testing.F) {
	for _, s := range []string{head + "\r\nHi\r\n", head + "\n\r\r\n.\r\n", "A:\r\n b\r\n\r\n", "Subject: ö\r\n ü\r\n\r\nx", "Bcc: x\n\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		once, err := outbox.Canonical(raw)
		if err != nil {
			return
		}
		twice, err := outbox.Canonical(once)
		if err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("%v\n%q\n%q\n%q", err, raw, once, twice)
		}
		if bare := bytes.ReplaceAll(once, []byte("\r\n"), nil); bytes.ContainsAny(bare, "\r\n\x00") {
			t.Fatalf("a bare line end in %q", once)
		}
		header, _, _ := bytes.Cut(once, []byte("\r\n\r\n"))
		if bytes.ContainsFunc(header, func(r rune) bool { return r > 127 }) {
			t.Fatalf("not ASCII: %q", header)
		}
	})
}

func TestRecipients(t *testing.T) {
	for _, row := range []struct {
		in   string
		want []string
		err  string
	}{
		{"To: Ana Brook <ana@example.org>", []string{"ana@example.org"}, ""},
		{"To: a@example.org, \"B, C\" <b@example.org>\r\nCc: A@EXAMPLE.org,\r\n c@example.org", []string{"a@example.org", "b@example.org", "c@example.org"}, ""},
		{"To: =?utf-8?q?J=C3=BCrgen?= <j@example.org>\r\nBcc: x@example.org", []string{"j@example.org"}, ""},
		// RFC 5322, A.1.3: a group
		{"To: A Group:Ed Jones <joe@where.test>,joe@where.test,John <jdoe@one.test>;", []string{"joe@where.test", "jdoe@one.test"}, ""},
		{"To:\r\nCc: c@example.org", []string{"c@example.org"}, ""},
		{"To: undisclosed recipients:;", nil, "the message has no recipient; write the patron's address into its To line"},
		{"Subject: x", nil, "the message has no recipient; write the patron's address into its To line"},
		{"To: not an address", nil, `the To line of the message cannot be read ("not an address"); mend its addresses`},
		{"To: " + strings.TrimSuffix(strings.Repeat("a@example.org, b@example.org,", 1)+manyAddresses(21), ","), nil, "the message has 23 recipients, more than the 20 that a reply may have; take some out"},
	} {
		got, err := outbox.Recipients([]byte(row.in + "\r\n\r\nTo: nobody@example.org\r\n"))
		if !slices.Equal(got, row.want) || (err == nil) != (row.err == "") || err != nil && english.Error(err) != row.err {
			t.Errorf("%q: %q %v", row.in, got, err)
		}
	}
}

func manyAddresses(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(strings.Repeat("z", i+1) + "@example.org,")
	}
	return b.String()
}

// A draft that a mail program saved without its thread gets it back.
func TestComplete(t *testing.T) {
	raw := []byte("Message-ID: <new@program.example>\nReferences:\nTo: a@example.org\n\nText\n")
	got, err := outbox.Complete(raw, outbox.Field{Name: "Message-Id", Value: "<ours@larkfield.example>"},
		outbox.Field{Name: "In-Reply-To", Value: "<q@example.org>"}, outbox.Field{Name: "References", Value: "<p@example.org>\r\n <q@example.org>"},
		outbox.Field{Name: "Sender", Value: ""})
	want := "In-Reply-To: <q@example.org>\r\nReferences: <p@example.org>\r\n <q@example.org>\r\nMessage-ID: <new@program.example>\r\nTo: a@example.org\r\n\r\nText\r\n"
	if err != nil || string(got) != want {
		t.Fatalf("%v\n%q", err, got)
	}
	if id := outbox.MessageID(got); id != "<new@program.example>" {
		t.Fatal(id)
	}
}

func TestReady(t *testing.T) {
	whole := head + "Date: Wed, 25 Nov 2026 10:00:00 +0000\r\nMessage-ID: <r@larkfield.example>\r\n\r\n"
	if err := outbox.Ready([]byte(whole)); err != nil {
		t.Fatal(err)
	}
	for without, want := range map[string]string{"From": "exactly one From line", "To": "no recipient", "Date": "no Date line", "Message-ID": "no Message-ID line"} {
		if err := outbox.Ready([]byte(strings.Replace(whole, without+":", "X:", 1))); err == nil || !strings.Contains(english.Error(err), want) {
			t.Errorf("%s: %v", without, err)
		}
	}
}
