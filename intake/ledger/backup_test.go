package ledger

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"meshclerk/intake/job"
)

// whole fails where Verify finds anything.
func whole(t *testing.T, l *Ledger) {
	t.Helper()
	problems, err := l.Verify(t.Context())
	if err != nil || len(problems) != 0 {
		t.Errorf("not whole: %+v, %v", problems, err)
	}
}

func TestBackupWhileWriting(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	j := newJob(t, l, taken(t, l, 1, "first"))
	d := newDraft(t, l, "Dear Ada", j.ID)
	if err := l.Approve(ctx, d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for uid := uint32(2); ; uid++ {
			select {
			case <-stop:
				return
			default:
			}
			id, _, err := take(ctx, l, 1, uid, fmt.Sprint("letter ", uid))
			if err != nil {
				t.Error(err)
				return
			}
			err = l.Tx(ctx, func(tx *Tx) error {
				if err := tx.SaveParsed(ctx, id, job.Letter{From: job.Address{Address: fmt.Sprintf("p%d@example.org", uid)}}, Robot); err != nil {
					return err
				}
				return tx.SetLetter(ctx, id, LetterLeftAlone, Robot, job.Plain("not for us"))
			})
			if err != nil {
				t.Error(err)
				return
			}
			if uid%5 == 0 { // files come and go while the backup copies
				if _, err := l.ForgetAddress(ctx, fmt.Sprintf("p%d@example.org", uid), "Bo Example"); err != nil {
					t.Error(err)
					return
				}
			}
		}
	})
	dest := filepath.Join(t.TempDir(), "copy")
	err := l.Backup(ctx, dest)
	close(stop)
	wg.Wait()
	if err != nil && !errors.Is(err, errForgotten) {
		t.Fatal(err)
	}
	if errors.Is(err, errForgotten) { // three times in a row a file was forgotten; now nobody writes
		if err := l.Backup(ctx, dest); err != nil {
			t.Fatal(err)
		}
	}
	whole(t, l)
	if _, err := os.Stat(dest + ".part"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the unfinished folder is still there: %v", err)
	}

	// The copy is a ledger to go on with.
	restored, err := Open(ctx, dest, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer restored.Close()
	whole(t, restored)
	_, raw, err := restored.BeginSend(ctx, d.ID, "robot")
	if err != nil || string(raw) != "Dear Ada" {
		t.Errorf("from the copy: %q, %v", raw, err)
	}
}

func TestBackupOnAReadOnlyDisk(t *testing.T) {
	l, _ := newLedger(t)
	newJob(t, l, taken(t, l, 1, "first"))
	dest := filepath.Join(t.TempDir(), "copy")
	if err := l.Backup(t.Context(), dest); err != nil {
		t.Fatal(err)
	}
	before := list(t, dest)
	c, err := OpenCopy(t.Context(), dest, nil)
	if err != nil {
		t.Fatal(err)
	}
	whole(t, c)
	if err := c.Tx(t.Context(), func(*Tx) error { return nil }); err == nil {
		t.Error("a copy that was opened for looking could be changed")
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if after := list(t, dest); after != before {
		t.Errorf("looking at the copy changed it:\n%s\nwas\n%s", after, before)
	}
	if strings.Contains(before, "-wal") || strings.Contains(before, ".part") {
		t.Errorf("the copy has leftovers:\n%s", before)
	}
}

// Looking at a ledger that is in use, as verify does while the robot runs.
func TestOpenCopyOfALiveLedger(t *testing.T) {
	l, _ := newLedger(t)
	id := taken(t, l, 1, "first")
	c, err := OpenCopy(t.Context(), l.Dir(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	whole(t, c)
	if _, err := c.Letter(t.Context(), id); err != nil {
		t.Error(err)
	}
	taken(t, l, 2, "second")
	if list, err := c.Letters(t.Context(), 10); err != nil || len(list) != 2 {
		t.Errorf("%d letters, %v", len(list), err)
	}
}

func list(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		fmt.Fprintln(&b, strings.TrimPrefix(p, dir), info.Size(), info.Mode())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestBackupRefusals(t *testing.T) {
	l, _ := newLedger(t)
	taken(t, l, 1, "first")
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "x"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := l.Backup(t.Context(), full); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("into a folder that is not empty: %v", err)
	}
	// A damaged file is not copied into a backup that would then pass for whole.
	if err := os.WriteFile(l.BlobPath(hashOf([]byte("first"))), []byte("fIrst"), 0o600); err != nil {
		t.Fatal(err)
	}
	dest := filepath.Join(t.TempDir(), "copy")
	if err := l.Backup(t.Context(), dest); err == nil || !strings.Contains(err.Error(), "changed on disk") {
		t.Errorf("of a damaged file: %v", err)
	}
	if err := os.Remove(l.BlobPath(hashOf([]byte("first")))); err != nil {
		t.Fatal(err)
	}
	if err := l.Backup(t.Context(), dest); err == nil || !strings.Contains(err.Error(), "is missing") {
		t.Errorf("of a missing file: %v", err)
	}
	for _, left := range []string{dest, dest + ".part"} {
		if _, err := os.Stat(left); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s is left behind: %v", left, err)
		}
	}
}

func TestVerifyFinds(t *testing.T) {
	for _, c := range []struct {
		name string
		harm func(t *testing.T, l *Ledger, d Draft, j job.Job)
		want string
	}{
		{"a flipped byte", func(t *testing.T, l *Ledger, d Draft, _ job.Job) {
			b, err := os.ReadFile(l.BlobPath(d.SHA256))
			if err != nil {
				t.Fatal(err)
			}
			b[len(b)/2] ^= 1
			if err := os.WriteFile(l.BlobPath(d.SHA256), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}, "was changed"},
		{"a missing file", func(t *testing.T, l *Ledger, d Draft, _ job.Job) {
			if err := os.Remove(l.BlobPath(d.SHA256)); err != nil {
				t.Fatal(err)
			}
		}, "is missing"},
		{"a stage without an event", func(t *testing.T, l *Ledger, _ Draft, j job.Job) {
			harm(t, l, `UPDATE jobs SET stage = 'quoted' WHERE id = ?`, string(j.ID))
		}, "history leads to taken"},
		{"an unlawful event", func(t *testing.T, l *Ledger, _ Draft, j job.Job) {
			harm(t, l, `INSERT INTO events (at, who, subject, what, from_state, to_state) VALUES ('2026-11-25T09:00:00.000Z', 'eve', ?, 'moved', 'taken', 'collected')`, string(j.ID))
		}, "has a gap"},
		{"an approval of other bytes", func(t *testing.T, l *Ledger, d Draft, _ job.Job) {
			harm(t, l, `UPDATE drafts SET sha256 = ? WHERE id = ?`, strings.Repeat("ab", 32), d.ID)
		}, "is not what Bo Example approved"},
		{"a job that nobody agreed to", func(t *testing.T, l *Ledger, _ Draft, j job.Job) {
			harm(t, l, `DROP TRIGGER jobs_as_agreed`)
			harm(t, l, `UPDATE jobs SET stage = 'agreed', terms = '{}' WHERE id = ?`, string(j.ID))
		}, "nobody is on record as having said yes"},
		{"a letter nobody works on", func(t *testing.T, l *Ledger, _ Draft, _ job.Job) {
			harm(t, l, `UPDATE steps SET state = 'done'`)
		}, "no work on it is planned"},
		{"a row that refers to nothing", func(t *testing.T, l *Ledger, _ Draft, _ job.Job) {
			harm(t, l, `PRAGMA foreign_keys = 0`)
			if _, err := l.write.ExecContext(t.Context(), `PRAGMA foreign_keys = 0`); err != nil {
				t.Fatal(err)
			}
			harm(t, l, `INSERT INTO job_letters (job, letter, role, at) VALUES ('X', 'Y', 'opened', '2026')`)
		}, "refers to a row"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, _ := newLedger(t)
			j := newJob(t, l, taken(t, l, 1, "first"))
			d := newDraft(t, l, "Dear Ada", j.ID)
			if err := l.Approve(t.Context(), d.ID, d.SHA256, "Bo Example", ViaCommand); err != nil {
				t.Fatal(err)
			}
			whole(t, l)
			c.harm(t, l, d, j)
			problems, err := l.Verify(t.Context())
			if err != nil || len(problems) == 0 {
				t.Fatalf("%+v, %v", problems, err)
			}
			if !strings.Contains(fmt.Sprint(problems), c.want) {
				t.Errorf("%+v; want %q", problems, c.want)
			}
		})
	}
}

// harm changes the ledger behind its back.
func harm(t *testing.T, l *Ledger, query string, args ...any) {
	t.Helper()
	if err := l.Tx(t.Context(), func(tx *Tx) error { return tx.exec(t.Context(), query, args...) }); err != nil {
		t.Fatal(err)
	}
}

func TestVerifyFindsADamagedDatabase(t *testing.T) {
	l, _ := newLedger(t)
	do(t, l, func(tx *Tx) error {
		for i := range 2000 {
			if err := tx.AddNotice(t.Context(), "test", fmt.Sprint("subject ", i), job.Plain(strings.Repeat("words ", 20))); err != nil {
				return err
			}
		}
		return nil
	})
	dest := filepath.Join(t.TempDir(), "copy")
	if err := l.Backup(t.Context(), dest); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dest, dbFile)
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(b) / 2; i < len(b)/2+4096; i++ {
		b[i] ^= 0x55
	}
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := OpenCopy(t.Context(), dest, nil)
	if err != nil {
		return // refused at once is as good
	}
	defer c.Close()
	problems, err := c.Verify(t.Context())
	if err == nil && len(problems) == 0 {
		t.Error("a damaged page went unseen")
	}
	t.Logf("%d problems, %v", len(problems), err)
}
