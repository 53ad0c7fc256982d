package ledger

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"meshclerk/intake/job"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(envChild); dir != "" {
		os.Exit(workUntilKilled(dir))
	}
	goleak.VerifyTestMain(m)
}

// aClock is a clock that only moves when told to.
type aClock struct {
	mu  sync.Mutex
	now time.Time
}

func newClock() *aClock { return &aClock{now: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)} }

func (c *aClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *aClock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

func open(t testing.TB, dir string, clock *aClock) *Ledger {
	t.Helper()
	l, err := Open(t.Context(), dir, nil, clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func newLedger(t testing.TB) (*Ledger, *aClock) {
	t.Helper()
	clock := newClock()
	return open(t, filepath.Join(t.TempDir(), "data"), clock), clock
}

// do runs changes that must succeed.
func do(t testing.TB, l *Ledger, fn func(tx *Tx) error) {
	t.Helper()
	if err := l.Tx(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

// taken takes a letter with these words.
func taken(t testing.TB, l *Ledger, uid uint32, words string) string {
	t.Helper()
	id, fresh, err := take(t.Context(), l, 1, uid, words)
	if err != nil || !fresh {
		t.Fatalf("take: %q fresh %v, %v", id, fresh, err)
	}
	return id
}

func take(ctx context.Context, l *Ledger, uidvalidity, uid uint32, words string) (string, bool, error) {
	sha, n, err := l.PutBlob(ctx, KindLetter, strings.NewReader(words), 0)
	if err != nil {
		return "", false, err
	}
	return l.Take(ctx, TakenLetter{Folder: "INBOX", UIDValidity: uidvalidity, UID: uid, SHA256: sha, Bytes: n,
		MessageID: fmt.Sprintf("<letter-%d@example.org>", uid), ReceivedAt: l.clock()})
}

// newJob makes a job in stage taken, opened by a letter.
func newJob(t testing.TB, l *Ledger, letter string) job.Job {
	t.Helper()
	var j job.Job
	do(t, l, func(tx *Tx) (err error) {
		j, err = tx.NewJob(t.Context(), job.Job{Patron: job.Address{Name: "Ada Example", Address: "ada@example.org"}, Language: "en", File: "vase.stl"}, letter, Robot, job.Plain("came with the letter"))
		return err
	})
	return j
}

// newDraft makes a waiting draft for a job.
func newDraft(t testing.TB, l *Ledger, words string, jobs ...job.ID) Draft {
	t.Helper()
	id, err := l.NextDraftID(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var d Draft
	do(t, l, func(tx *Tx) (err error) {
		d, _, err = tx.NewDraft(t.Context(), Draft{ID: id, Jobs: jobs, Kind: "quote", TemplateHash: "t", RulesHash: "r", Language: "en", To: job.Address{Address: "ada@example.org"},
			Subject: "Your print", MessageID: "<" + id + "@larkfield.example>"}, []byte(words), Robot, job.Plain(""))
		return err
	})
	return d
}

func TestLetterToSentReply(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	letter := taken(t, l, 7, "please print this")

	step, err := l.Lease(ctx, "robot", time.Minute)
	if err != nil || step == nil || step.Kind != StepRead || step.Subject != letter || step.Attempts != 1 {
		t.Fatalf("first step is %+v, %v", step, err)
	}
	mesh, _, err := l.PutBlob(ctx, KindMesh, strings.NewReader("solid"), 0)
	if err != nil {
		t.Fatal(err)
	}
	var j job.Job
	do(t, l, func(tx *Tx) error {
		parsed := job.Letter{From: job.Address{Name: "Ada Example", Address: "ada@example.org"}, Subject: "A vase", Disposition: job.Request,
			MessageID: "<letter-7@example.org>", Attachments: []job.Attachment{{Name: "vase.stl", Kind: job.KindMesh, SHA256: mesh}}}
		if err := tx.SaveParsed(ctx, letter, parsed, Robot); err != nil {
			return err
		}
		j, err = tx.NewJob(ctx, job.Job{Patron: parsed.From, File: "vase.stl", Blob: mesh}, letter, Robot, job.Plain("came with the letter"))
		if err != nil {
			return err
		}
		return tx.Done(ctx, step)
	})
	do(t, l, func(tx *Tx) error {
		j.Report = &job.Report{Estimate: &job.Estimate{PrintTimeS: 3600, MassG: 12, Printer: "Alder"}, Quote: &job.Quote{Total: "3.50", Currency: "CAD"}}
		if err := tx.SaveJob(ctx, j, Robot, job.Plain("checked")); err != nil {
			return err
		}
		if err := tx.Move(ctx, j.ID, job.Checked, Robot, job.Plain("")); err != nil {
			return err
		}
		return tx.Move(ctx, j.ID, job.Drafted, Robot, job.Plain(""))
	})
	d := newDraft(t, l, "Dear Ada", j.ID)
	clock.pass(time.Hour)
	if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	s, raw, err := l.BeginSend(ctx, d.ID, "robot")
	if err != nil || !bytes.Equal(raw, []byte("Dear Ada")) {
		t.Fatalf("begin send: %q, %v", raw, err)
	}
	do(t, l, func(tx *Tx) error {
		if err := tx.EndSend(ctx, s, Delivered, job.Plain("250 ok"), Robot); err != nil {
			return err
		}
		return tx.Move(ctx, j.ID, job.Quoted, Robot, job.Plain("the reply was sent"))
	})
	got, err := l.Job(ctx, j.ID)
	if err != nil || got.Stage != job.Quoted || got.Report.Quote.Total != "3.50" || got.Patron.Name != "Ada Example" {
		t.Errorf("job is %+v, %v", got, err)
	}
	rows, err := l.Jobs(ctx, Filter{Open: true, Text: "VASE"})
	if err != nil || len(rows) != 1 || rows[0].Printer != "Alder" || rows[0].Total != "3.50" || rows[0].PrintTimeS != 3600 {
		t.Errorf("list is %+v, %v", rows, err)
	}
	sent, err := l.Draft(ctx, d.ID)
	if err != nil || sent.State != DraftSent || sent.Approval.By != "Bo Example" || sent.Jobs[0] != j.ID {
		t.Errorf("draft is %+v, %v", sent, err)
	}
}

// rebuilt derives a job's stage from its events alone.
func rebuilt(ctx context.Context, l *Ledger, id job.ID) (job.Stage, error) {
	events, err := l.events(ctx, `WHERE subject = ? AND what IN (?, ?) ORDER BY seq`, string(id), whatMade, whatMoved)
	if err != nil {
		return "", err
	}
	return replay(id, events)
}

// drop ends a step that a test has no use for.
func drop(ctx context.Context, tx *Tx, kind StepKind, subject string) error {
	return tx.exec(ctx, `UPDATE steps SET state = 'done' WHERE kind = ? AND subject = ?`, kind, subject)
}
