//go:build unix

package ledger

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// Every file of a ledger and of its backup is its owner's alone, whatever the
// folder's mode and the umask; files that an older program left open are closed.
func TestFilesAreTheOwnersAlone(t *testing.T) {
	defer syscall.Umask(syscall.Umask(0))
	dir := filepath.Join(t.TempDir(), "data")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	clock := newClock()
	shut := func(when, dir string, want ...string) {
		t.Helper()
		seen := map[string]bool{}
		err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			info, err := d.Info()
			if err == nil && info.Mode().Perm() != 0o600 {
				t.Errorf("%s: %s has mode %v", when, filepath.Base(p), info.Mode().Perm())
			}
			seen[filepath.Base(p)] = true
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range want {
			if !seen[name] {
				t.Errorf("%s: %s is not there; the test proves nothing", when, name)
			}
		}
	}
	l := open(t, dir, clock)
	release, err := l.Lock()
	if err != nil {
		t.Fatal(err)
	}
	defer release()
	taken(t, l, 1, "a")
	files := []string{dbFile, dbFile + "-wal", dbFile + "-shm", lockName, forgetFile}
	shut("new", dir, files...)
	copied := filepath.Join(t.TempDir(), "copy")
	if err := l.Backup(t.Context(), copied); err != nil {
		t.Fatal(err)
	}
	shut("backup", copied, dbFile)
	for _, name := range files {
		if err := os.Chmod(filepath.Join(dir, name), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	again := open(t, dir, clock)
	if release, err := again.Lock(); err == nil {
		release()
		t.Error("two robots")
	}
	taken(t, again, 2, "b")
	shut("opened again", dir, files...)
}

// While a backup is written, nobody else can open its database.
func TestBackupIsClosedWhileItIsWritten(t *testing.T) {
	defer syscall.Umask(syscall.Umask(0))
	l, _ := newLedger(t)
	dir := t.TempDir()
	to := filepath.Join(dir, dbFile)
	if err := l.snapshot(t.Context(), to); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if info, err := e.Info(); err != nil || info.Mode().Perm() != 0o600 || !strings.HasPrefix(e.Name(), dbFile) {
			t.Errorf("%s: %v, %v", e.Name(), info.Mode().Perm(), err)
		}
	}
}
