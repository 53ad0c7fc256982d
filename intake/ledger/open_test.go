package ledger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"
	"testing/iotest"
	"time"

	"meshclerk/intake/job"
)

func TestOpenSetsTheDatabaseUp(t *testing.T) {
	l, _ := newLedger(t)
	for _, db := range []struct {
		name string
		q    queryer
	}{{"writer", l.write}, {"reader", l.read}} {
		for pragma, want := range map[string]string{
			"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "secure_delete": "1", "busy_timeout": "15000", // synchronous 2 is FULL: sqlite.org/pragma.html
		} {
			var got string
			if err := db.q.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&got); err != nil || got != want {
				t.Errorf("%s: %s is %q, %v; want %q", db.name, pragma, got, err, want)
			}
		}
	}
	if _, err := l.read.ExecContext(t.Context(), `DELETE FROM meta`); err == nil {
		t.Error("the readers can write")
	}
	for name, want := range map[string]fs.FileMode{"": 0o700, dbFile: 0o600, blobsDir: 0o700, incomingDir: 0o700} {
		info, err := os.Stat(filepath.Join(l.Dir(), name))
		if err != nil || info.Mode().Perm() != want {
			t.Errorf("%q has mode %v, %v; want %v", name, info.Mode(), err, want)
		}
	}
}

func TestOpenInAnOddFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data ?mode=memory&x=%41#50% ü")
	clock := newClock()
	l := open(t, dir, clock)
	id := taken(t, l, 1, "a")
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, dbFile)); err != nil {
		t.Fatal(err)
	}
	if _, err := open(t, dir, clock).Letter(t.Context(), id); err != nil {
		t.Error(err)
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Run("a newer ledger", func(t *testing.T) {
		l, clock := newLedger(t)
		harm(t, l, `INSERT INTO migrations (number, name, at) VALUES (9999, 'later', '')`)
		_, err := Open(t.Context(), l.Dir(), nil, clock.Now)
		if err == nil || !strings.Contains(err.Error(), "newer version") {
			t.Error(err)
		}
		if _, err = OpenCopy(t.Context(), l.Dir(), nil); err == nil || !strings.Contains(err.Error(), "newer version") {
			t.Error(err)
		}
	})
	t.Run("something else", func(t *testing.T) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, dbFile), bytes.Repeat([]byte("not a database "), 100), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(t.Context(), dir, nil, nil); err == nil || !strings.Contains(err.Error(), "faults.ledger.damaged ") {
			t.Error(err)
		}
	})
	t.Run("a file in the place of the folder", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "data")
		if err := os.WriteFile(file, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(t.Context(), file, nil, nil); err == nil || !strings.Contains(err.Error(), "data folder") {
			t.Error(err)
		}
	})
	t.Run("a copy that is none", func(t *testing.T) {
		if _, err := OpenCopy(t.Context(), t.TempDir(), nil); err == nil || !strings.Contains(err.Error(), "no ledger in") {
			t.Error(err)
		}
	})
}

func TestMigrationsAreNumbered(t *testing.T) {
	if all, err := loadMigrations(migrations); err != nil || len(all) == 0 {
		t.Fatal(all, err)
	}
	gap := fstest.MapFS{"migrations/0001_a.sql": {}, "migrations/0003_c.sql": {}}
	if _, err := loadMigrations(gap); err == nil || !strings.Contains(err.Error(), "0002") {
		t.Error(err)
	}
}

func TestOneRobot(t *testing.T) {
	l, clock := newLedger(t)
	release, err := l.Lock()
	if err != nil {
		t.Fatal(err)
	}
	other := open(t, l.Dir(), clock)
	if _, err := other.Lock(); !errors.Is(err, ErrLocked) {
		t.Fatalf("a second robot: %v", err)
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if release, err = other.Lock(); err != nil {
		t.Fatal(err)
	}
	release()
}

func TestBlobLimitAndAbort(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	_, _, err := l.PutBlob(ctx, KindLetter, strings.NewReader("12345"), 4)
	if !errors.Is(err, ErrTooLarge) {
		t.Errorf("over the limit: %v", err)
	}
	broken := errors.New("connection cut")
	if _, _, err := l.PutBlob(ctx, KindLetter, iotest.ErrReader(broken), 0); !errors.Is(err, broken) {
		t.Errorf("a reader that fails: %v", err)
	}
	sha, n, err := l.PutBlob(ctx, KindLetter, strings.NewReader("1234"), 4)
	if err != nil || n != 4 {
		t.Fatal(sha, n, err)
	}
	names, err := os.ReadDir(filepath.Join(l.Dir(), incomingDir))
	if err != nil || len(names) != 0 {
		t.Errorf("left behind: %v, %v", names, err)
	}
	f, err := l.OpenBlob(sha)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if b, err := io.ReadAll(f); err != nil || string(b) != "1234" {
		t.Errorf("%q, %v", b, err)
	}
	for _, bad := range []string{"", "../../etc/passwd", strings.Repeat("z", 64), strings.Repeat("ab", 32)} {
		if _, err := l.OpenBlob(bad); !errors.Is(err, ErrNotFound) {
			t.Errorf("%q: %v", bad, err)
		}
	}
	if p := l.BlobPath("../x"); p != "" {
		t.Errorf("a path outside: %q", p)
	}
}

// Putting the same bytes again mends a file that was damaged on disk.
func TestPutBlobMends(t *testing.T) {
	l, _ := newLedger(t)
	sha, _, err := l.PutBlob(t.Context(), KindMesh, strings.NewReader("solid"), 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(l.BlobPath(sha), []byte("sol1d"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := l.PutBlob(t.Context(), KindMesh, strings.NewReader("solid"), 0); err != nil {
		t.Fatal(err)
	}
	whole(t, l)
}

func TestSweepLeavesWhatIsNeeded(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	taken(t, l, 1, "kept")
	if _, _, err := l.PutBlob(ctx, KindMesh, strings.NewReader("nobody's"), 0); err != nil {
		t.Fatal(err)
	}
	if n, err := l.Sweep(ctx, time.Hour); err != nil || n != 0 {
		t.Fatalf("swept %d young files, %v", n, err)
	}
	clock.pass(2 * time.Hour)
	if n, err := l.Sweep(ctx, time.Hour); err != nil || n != 1 {
		t.Errorf("swept %d, %v; want the file of nobody", n, err)
	}
	whole(t, l)
	if _, err := l.OpenBlob(hashOf([]byte("nobody's"))); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
}

// The database says it is full (SQLITE_FULL): one sentence, and nothing is lost.
func TestFullDatabase(t *testing.T) {
	l, _ := newLedger(t)
	ctx := t.Context()
	id := taken(t, l, 1, "a")
	if _, err := l.write.ExecContext(ctx, `PRAGMA max_page_count = 1`); err != nil { // down to its present size
		t.Fatal(err)
	}
	var err error
	for i := 0; err == nil && i < 1000; i++ {
		err = l.AddNotice(ctx, "test", fmt.Sprint(i), job.Plain(strings.Repeat("words ", 1000)))
	}
	if !errors.Is(err, ErrDiskFull) || !strings.Contains(err.Error(), "faults.ledger.full ") || strings.Contains(err.Error(), "\n") {
		t.Fatalf("says %v", err)
	}
	if _, err := l.write.ExecContext(ctx, `PRAGMA max_page_count = 1000000`); err != nil {
		t.Fatal(err)
	}
	if err := l.AddNotice(ctx, "test", "again", job.Plain("there is room again")); err != nil {
		t.Errorf("the work does not go on by itself: %v", err)
	}
	if _, err := l.Letter(ctx, id); err != nil {
		t.Error(err)
	}
	whole(t, l)
}

func TestFullDiskIsSaid(t *testing.T) {
	l, _ := newLedger(t)
	for _, cause := range []error{syscall.ENOSPC, syscall.EDQUOT} {
		err := l.plain(&fs.PathError{Op: "write", Path: "x", Err: cause})
		if !errors.Is(err, ErrDiskFull) || !errors.Is(err, cause) || !strings.Contains(err.Error(), l.Dir()) {
			t.Errorf("%v", err)
		}
		if again := l.plain(err); again.Error() != err.Error() {
			t.Errorf("said twice: %v", again)
		}
	}
}

// Somebody holds the ledger: the wait ends with the context, not later.
func TestBusyLedgerHonoursTheDeadline(t *testing.T) {
	l, clock := newLedger(t)
	other := open(t, l.Dir(), clock)
	held, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		other.Tx(context.WithoutCancel(t.Context()), func(tx *Tx) error {
			close(held)
			time.Sleep(500 * time.Millisecond)
			return nil
		})
	}()
	<-held
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	err := l.AddNotice(ctx, "test", "x", job.Plain("y"))
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("gave %v", err)
	}
	<-done
	if err := l.AddNotice(t.Context(), "test", "x", job.Plain("y")); err != nil {
		t.Error(err)
	}
}

func TestPolls(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	if p, err := l.Poll(ctx, "INBOX"); err != nil || p.HighestUID != 0 || !p.First.IsZero() {
		t.Fatalf("%+v, %v", p, err)
	}
	first := clock.Now()
	for _, c := range []struct{ uidvalidity, uid, want uint32 }{{7, 10, 10}, {7, 4, 10}, {7, 12, 12}, {8, 3, 3}} {
		clock.pass(time.Minute)
		if err := l.SavePoll(ctx, "INBOX", c.uidvalidity, c.uid); err != nil {
			t.Fatal(err)
		}
		p, err := l.Poll(ctx, "INBOX")
		if err != nil || p.HighestUID != c.want || p.UIDValidity != c.uidvalidity || !p.LastGood.Equal(clock.Now()) || !p.First.Equal(first.Add(time.Minute)) {
			t.Errorf("%+v: %+v, %v", c, p, err)
		}
	}
	if at, err := l.LastGoodPoll(ctx); err != nil || !at.Equal(clock.Now()) {
		t.Errorf("%v, %v", at, err)
	}
}

func TestNoticesComeUpOnce(t *testing.T) {
	l, clock := newLedger(t)
	ctx := t.Context()
	for range 3 {
		clock.pass(time.Minute)
		if err := l.AddNotice(ctx, "poll", "INBOX", job.Plain("the mailbox cannot be reached")); err != nil {
			t.Fatal(err)
		}
	}
	open, err := l.Notices(ctx, false)
	if err != nil || len(open) != 1 || open[0].Times != 3 || !open[0].Last.Equal(clock.Now()) {
		t.Fatalf("%+v, %v", open, err)
	}
	do(t, l, func(tx *Tx) error { return tx.CloseNotice(ctx, open[0].ID, "Bo Example") })
	if err := l.Tx(ctx, func(tx *Tx) error { return tx.CloseNotice(ctx, open[0].ID, "Bo Example") }); !errors.Is(err, ErrNotFound) {
		t.Errorf("closed twice: %v", err)
	}
	if err := l.AddNotice(ctx, "poll", "INBOX", job.Plain("again")); err != nil {
		t.Fatal(err)
	}
	if all, _ := l.Notices(ctx, true); len(all) != 2 || all[0].DoneBy != "Bo Example" || !all[1].Open {
		t.Errorf("%+v", all)
	}
}
