package robot

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"testing"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// askedMail is a mailbox without messages that keeps what it was asked.
type askedMail struct {
	Mail
	fetched int
	since   map[string]time.Time // by folder
}

func (m *askedMail) Fetch(context.Context, mailbox.Ref, io.Writer, int64) (int64, error) {
	m.fetched++
	return 0, mailbox.ErrGone
}

func (m *askedMail) New(_ context.Context, folder string, _ mailbox.Cursor, since time.Time) (*mailbox.Batch, error) {
	m.since[folder] = since
	return &mailbox.Batch{}, nil
}

// robotAt is a robot without servers, at a moment of its own.
func robotAt(t *testing.T, now time.Time) *Robot {
	t.Helper()
	return robotBy(t, func() time.Time { return now })
}

// robotBy is a robot without servers that goes by a clock of its own.
func robotBy(t *testing.T, clock func() time.Time) *Robot {
	t.Helper()
	l, err := ledger.Open(t.Context(), t.TempDir(), nil, clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return underDefaults(l, slog.New(slog.DiscardHandler), clock)
}

// lies makes a draft about a job of its own that waits in the to-approve folder.
func lies(t *testing.T, r *Robot, n uint32, thread, letter string) (d ledger.Draft) {
	t.Helper()
	err := r.Ledger.Tx(t.Context(), func(tx *ledger.Tx) error {
		j, err := tx.NewJob(t.Context(), job.Job{Thread: thread, Patron: job.Address{Address: "ada@example.org"}}, letter, ledger.Robot, job.Plain(""))
		if err != nil {
			return err
		}
		d = ledger.Draft{Jobs: []job.ID{j.ID}, To: j.Patron, MessageID: fmt.Sprintf("<D-%06d.x@larkfield.example>", n)}
		if d, _, err = tx.NewDraft(t.Context(), d, []byte("Dear Ada"), ledger.Robot, job.Plain("")); err != nil {
			return err
		}
		return tx.PlaceDraft(t.Context(), d.ID, ledger.Place{Folder: r.Rules.Mailbox.ToApprove, UIDValidity: 1, UID: n})
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var noon = time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)

// An edited draft of 25 MB is fetched, and one a byte longer is left where it is, with
// one notice.
func TestEditedDraftUpToItsCap(t *testing.T) {
	r := robotAt(t, noon)
	d := lies(t, r, 1, "", "")
	folder := r.watchedFolders()[0]
	for i, size := range []int64{25 << 20, 25<<20 + 1} {
		m := &askedMail{}
		head := mailbox.Head{Item: mailbox.Item{Ref: mailbox.Ref{Folder: folder.folder, UIDValidity: 1, UID: uint32(i + 1)}, Size: size}, MessageID: d.MessageID}
		if err := r.seeOne(t.Context(), m, folder, head, false); err != nil {
			t.Fatal(err)
		}
		told, err := r.Ledger.Notices(t.Context(), false)
		if err != nil || m.fetched != 1-i || len(told) != i {
			t.Errorf("%d bytes: fetched %d times, notices %+v, %v", size, m.fetched, told, err)
		}
	}
}

// A copy with a Message-ID of its own is a version of the one draft that waits in its
// conversation. Where two wait it is of neither: nobody knows which.
func TestCopyInAConversationOfTwoDrafts(t *testing.T) {
	r := robotAt(t, noon)
	thread := ledger.NewThread()
	first := lies(t, r, 1, thread, "")
	head := mailbox.Head{MessageID: "<edited@mail.example>", References: []string{first.MessageID}}
	if d, found, err := r.draftOf(t.Context(), head); err != nil || !found || d.ID != first.ID {
		t.Errorf("one waits: found %v %s, %v", found, d.ID, err)
	}
	lies(t, r, 2, thread, "")
	if d, found, err := r.draftOf(t.Context(), head); err != nil || found {
		t.Errorf("two wait: found %v %s, %v", found, d.ID, err)
	}
}

// Sent is looked at from two days before the ledger's last word, since a server's SINCE
// goes by days and by its own clock (RFC 9051, 6.4.4), and by a new ledger thirty days
// back. The draft folders are looked at whole.
func TestHowFarBackTheMailboxIsAsked(t *testing.T) {
	for name, c := range map[string]struct {
		past bool
		want time.Time
	}{
		"new":         {false, noon.AddDate(0, 0, -30)},
		"with a past": {true, noon.AddDate(0, 0, -2)},
	} {
		r, m := robotAt(t, noon), &askedMail{since: map[string]time.Time{}}
		if c.past {
			lies(t, r, 1, "", "")
		}
		if err := r.reconcile(t.Context(), m); err != nil {
			t.Fatal(err)
		}
		if got := m.since[r.Rules.Mailbox.Sent]; !got.Equal(c.want) {
			t.Errorf("%s: Sent is looked at since %v, want %v", name, got, c.want)
		}
		if got, asked := m.since[r.Rules.Mailbox.ToApprove]; !asked || !got.IsZero() {
			t.Errorf("%s: drafts are looked at since %v (asked %v), want all", name, got, asked)
		}
	}
}

// The last try that the rules allow is made; the one after it is not.
func TestLastTryIsMade(t *testing.T) {
	r := robotAt(t, noon)
	most := r.Rules.Caps.Attempts
	for attempts, want := range map[int]string{most: "faults.no-such-step", most + 1: "faults.stopped-each-time"} {
		err := r.step(t.Context(), &worker{r: r}, &ledger.Step{Kind: "unknown", Attempts: attempts}, nil)
		if err == nil || job.Why(err).Key != want {
			t.Errorf("try %d of %d: %v, want %s", attempts, most, err, want)
		}
	}
}
