package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
)

// Three letters of one sender about one job are one notice, which leads to each
// of them, and which is put away only by who has seen the latest.
func TestFoldedNoticeLeadsToEachLetter(t *testing.T) {
	t.Parallel()
	h := newHouse(t, nil)
	id, _ := h.letter(okafor())
	var letters []string
	come := func() {
		h.n++
		sha, n, err := h.ledger.PutBlob(t.Context(), ledger.KindLetter, bytesOf(h.n), 0)
		if err != nil {
			t.Fatal(err)
		}
		h.do(func(tx *ledger.Tx) error {
			l, _, err := tx.Take(t.Context(), ledger.TakenLetter{Folder: "INBOX", UIDValidity: 1, UID: h.n, SHA256: sha, Bytes: n, ReceivedAt: h.clock.Now()})
			if err != nil {
				return err
			}
			letters = append(letters, l)
			if err := tx.SaveParsed(t.Context(), l, job.Letter{From: job.Address{Address: "amara.okafor@example.org"}}, ledger.Robot); err != nil {
				return err
			}
			if err := tx.Link(t.Context(), id, l, ledger.RoleAnswer); err != nil {
				return err
			}
			return tx.AddNotice(t.Context(), "question", l, job.Plain("letter "+l+" about job "+string(id)+" asks something"))
		})
	}
	come()
	b := h.browser("marisol")
	_, page := b.get("/")
	lacks(t, page, "1 letter", "3 letters")
	come()
	come()
	_, page = b.get("/")
	holds(t, page, "3 letters", "Letter "+letters[2]+" about job")
	for _, l := range letters {
		holds(t, page, `href="/letter/`+l+`"`)
	}
	lacks(t, page, "These are the latest")
	form := regexp.MustCompile(`action="(/notice/N-\d+/done)"><input type="hidden" name="times" value="(\d+)">`).FindStringSubmatch(page)
	if form == nil {
		t.Fatalf("the form does not say what was seen:\n%s", page)
	}
	come()
	code, page := b.post(form[1], url.Values{"times": {form[2]}})
	if code != http.StatusConflict {
		t.Errorf("put away with a letter unseen: %d", code)
	}
	holds(t, page, "More came in about what notice")
	_, page = b.get("/")
	holds(t, page, "4 letters")
	for range mostLetters {
		come()
	}
	_, page = b.get("/")
	holds(t, page, "204 letters", "These are the latest.", `href="/letter/`+letters[203]+`"`)
	lacks(t, page, `href="/letter/`+letters[3]+`"`)
	if code, page = b.post(form[1], url.Values{"times": {"204"}}); code != http.StatusOK {
		t.Errorf("%d\n%s", code, page)
	}
	holds(t, page, "The notice is put away.")
	if code, _ = b.post(form[1], url.Values{"times": {"four"}}); code != http.StatusUnprocessableEntity {
		t.Errorf("a number that is none: %d", code)
	}
}

func bytesOf(n uint32) *strings.Reader { return strings.NewReader(fmt.Sprint("letter ", n)) }
