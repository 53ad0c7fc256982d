package main

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// A draft that an edit addressed to others is shown with both, and is
// approved by command only by naming those it goes to now.
func TestChangedRecipientsAreConfirmedByName(t *testing.T) {
	dir := t.TempDir()
	message := func(to string) []byte {
		return []byte("From: print@larkfield.example\r\nTo: " + to + "\r\nSubject: Your part\r\nDate: Fri, 1 May 2026 10:00:00 +0000\r\nMessage-ID: <d1@larkfield.example>\r\n\r\nHello\r\n")
	}
	l, err := ledger.Open(t.Context(), dir, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var d ledger.Draft
	err = l.Tx(t.Context(), func(tx *ledger.Tx) (err error) {
		first := ledger.Draft{Kind: "quote", To: job.Address{Address: "amara.okafor@example.org"}, MessageID: "<d1@larkfield.example>"}
		if d, _, err = tx.NewDraft(t.Context(), first, message(first.To.Address), ledger.Robot, job.Plain("quote")); err != nil {
			return err
		}
		d, err = tx.Replace(t.Context(), d.ID, d.SHA256, ledger.Edit{Raw: message("else@example.net"), To: job.Address{Address: "else@example.net"},
			AddressedBefore: "amara.okafor@example.org"}, "Marisol Teague", job.Plain("edited"))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	l.Close()
	do := func(args ...string) (string, error) {
		var out bytes.Buffer
		err := run(context.Background(), append(args, "--data", dir), func(string) string { return "" }, &bytes.Buffer{}, &out, &out)
		return out.String(), err
	}
	shown, err := do("drafts", "show", d.ID)
	if err != nil || !strings.Contains(shown, "before  amara.okafor@example.org\n  now     else@example.net\n") {
		t.Errorf("drafts show: %v\n%s", err, shown)
	}
	for _, more := range [][]string{nil, {"--to", "amara.okafor@example.org"}} {
		_, err = do(append([]string{"drafts", "approve", d.ID, "--by", "Marisol Teague"}, more...)...)
		if err == nil || !strings.Contains(err.Error(), "before amara.okafor@example.org, now else@example.net; to confirm that, approve it with --to else@example.net") {
			t.Errorf("approved with %v: %v", more, err)
		}
	}
	if out, err := do("drafts", "approve", d.ID, "--by", "Marisol Teague", "--to", "else@example.net"); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
