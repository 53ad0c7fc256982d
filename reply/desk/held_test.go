package desk

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// A restored ledger shows what the mailbox knows more, and goes on only when a
// person says that it was looked at.
func TestRestoredLedgerIsShownAndLetGoOn(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	_, draft := h.letter(okafor())
	b := h.browser("marisol")
	_, page := b.get("/")
	lacks(t, page, "Restored from a backup")
	h.do(func(tx *ledger.Tx) error {
		return tx.Hold(t.Context(), []ledger.FoundSent{{MessageID: "<D-000001.x@larkfield.example>", Draft: draft, Place: ledger.Place{Folder: "Sent", UIDValidity: 1, UID: 7}, Sent: h.clock.Now()}}, job.Plain("restored"))
	})
	_, page = b.get("/")
	holds(t, page, "Restored from a backup", "Sent, message 7", "counts as sent", draft)
	if code, _ := b.post("/go-on", url.Values{}); code != http.StatusBadRequest && code != http.StatusUnprocessableEntity {
		t.Errorf("goes on without a look: %d", code)
	}
	if since, err := h.ledger.HeldSince(t.Context()); err != nil || since.IsZero() {
		t.Fatalf("held since %v, %v", since, err)
	}
	b.post("/go-on", url.Values{"looked": {"yes"}})
	if since, err := h.ledger.HeldSince(t.Context()); err != nil || !since.Equal(time.Time{}) {
		t.Errorf("still held since %v, %v", since, err)
	}
	d, err := h.ledger.Draft(t.Context(), draft)
	if err != nil || d.State != ledger.DraftSent || d.Approval == nil || d.Approval.Via != ledger.ViaSentFolder {
		t.Errorf("the draft is %+v, %v", d, err)
	}
	_, page = b.get("/")
	lacks(t, page, "Restored from a backup")
}
