package ledger

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path"
	"path/filepath"
)

// maxBackupTries bounds how often a backup starts anew because files were
// forgotten while it copied them.
const maxBackupTries = 3

// Backup copies the ledger as it is at one moment, and every stored file it
// names, into a folder that must be empty or not exist. The robot may go on
// meanwhile. The copy is fsynced and verified before Backup returns; until then
// the folder is named dest with ".part" after it.
func (l *Ledger) Backup(ctx context.Context, dest string) error {
	dest, err := filepath.Abs(dest)
	if err != nil {
		return err
	}
	if names, err := os.ReadDir(dest); err == nil && len(names) > 0 {
		return fmt.Errorf("the folder %s is not empty; name a new one for each backup", dest)
	}
	part := dest + ".part"
	if err := os.Mkdir(part, 0o700); err != nil {
		return fmt.Errorf("the backup cannot begin: %w (is another backup writing there, or did one break off? then remove it)", err)
	}
	err = l.backupInto(ctx, part)
	if err == nil {
		err = os.Remove(dest)
		if errors.Is(err, os.ErrNotExist) {
			err = nil
		}
	}
	if err == nil {
		err = os.Rename(part, dest)
	}
	if err != nil {
		os.RemoveAll(part)
		return fullAt(dest, err)
	}
	return syncPath(filepath.Dir(dest))
}

// fullAt says where there was no room: the backup's disk is often another one.
func fullAt(dest string, err error) error {
	other := &Ledger{dir: dest}
	return other.plain(err)
}

func (l *Ledger) backupInto(ctx context.Context, dir string) error {
	for try := 1; ; try++ {
		err := l.backupOnce(ctx, dir)
		if !errors.Is(err, errForgotten) || try == maxBackupTries {
			return err
		}
		if err := os.Remove(filepath.Join(dir, dbFile)); err != nil {
			return err
		}
	}
}

// errForgotten says that a file the copy names was removed after the copy was made.
var errForgotten = errors.New("stored files were removed while the backup ran; start it again")

func (l *Ledger) backupOnce(ctx context.Context, dir string) error {
	db := filepath.Join(dir, dbFile)
	if err := l.snapshot(ctx, db); err != nil {
		return err
	}
	if err := settle(ctx, db); err != nil {
		return err
	}
	shas, err := blobsOf(ctx, db)
	if err != nil {
		return err
	}
	for _, sha := range shas {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := l.copyBlob(ctx, dir, sha); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(filepath.Join(dir, blobsDir), 0o700); err != nil {
		return err
	}
	for _, d := range []string{filepath.Join(dir, blobsDir), dir} {
		if err := syncPath(d); err != nil {
			return err
		}
	}
	return verifyCopy(ctx, dir)
}

// snapshot copies the database within one read transaction: the copy is the
// ledger at one moment, and nobody waits. The pool of readers may not write, not
// even another file, so it has a connection of its own.
func (l *Ledger) snapshot(ctx context.Context, to string) error {
	db, err := sql.Open("sqlite", dsn(filepath.Join(l.dir, dbFile), url.Values{"mode": {"rw"}}))
	if err != nil {
		return err
	}
	defer db.Close()
	if err := closeToOthers(to); err != nil { // VACUUM INTO takes an empty file, and keeps its mode
		return err
	}
	_, err = db.ExecContext(ctx, `VACUUM INTO ?`, to)
	return err
}

// settle makes the copy one plain file and durable: VACUUM INTO does not fsync
// (sqlite.org/lang_vacuum.html), and a copy must open on a disk that cannot be written.
func settle(ctx context.Context, file string) error {
	db, err := sql.Open("sqlite", dsn(file, nil, "journal_mode(DELETE)"))
	if err != nil {
		return err
	}
	err = db.PingContext(ctx)
	if err := errors.Join(err, db.Close()); err != nil {
		return err
	}
	if err := os.Chmod(file, 0o600); err != nil {
		return err
	}
	return syncPath(file)
}

func blobsOf(ctx context.Context, file string) ([]string, error) {
	db, err := sql.Open("sqlite", dsn(file, url.Values{"mode": {"ro"}}, "query_only(1)"))
	if err != nil {
		return nil, err
	}
	defer db.Close()
	return Reader{q: db, l: &Ledger{dir: filepath.Dir(file)}}.words(ctx, `SELECT sha256 FROM blobs ORDER BY sha256`)
}

// copyBlob copies one stored file durably, hashing it on the way.
func (l *Ledger) copyBlob(ctx context.Context, dir, sha string) error {
	from, err := l.OpenBlob(sha)
	if errors.Is(err, ErrNotFound) {
		still, err := l.words(ctx, `SELECT sha256 FROM blobs WHERE sha256 = ?`, sha)
		if err == nil && len(still) == 0 {
			err = errForgotten
		} else if err == nil {
			err = fmt.Errorf("the stored file %s is missing, so the backup would not be whole; run verify to see everything that is missing", sha)
		}
		return err
	}
	if err != nil {
		return err
	}
	defer from.Close()
	to := filepath.Join(dir, filepath.FromSlash(blobName(sha)))
	if info, err := os.Stat(to); err == nil && info.Mode().IsRegular() {
		return nil // copied by the try before; verifyCopy hashes it again
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	if err := copyDurably(from, to, sha); err != nil {
		return err
	}
	return syncPath(filepath.Join(dir, path.Dir(blobName(sha))))
}

func copyDurably(from io.Reader, to, sha string) error {
	f, err := os.OpenFile(to+".part", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(f, h), from)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if got := hex.EncodeToString(h.Sum(nil)); got != sha {
		return fmt.Errorf("the stored file %s was changed on disk (it now has the hash %s); restore it from an older backup first", sha, got)
	}
	return os.Rename(to+".part", to)
}

// verifyCopy opens the copy as a restore would and proves it whole.
func verifyCopy(ctx context.Context, dir string) error {
	c, err := OpenCopy(ctx, dir, nil)
	if err != nil {
		return err
	}
	defer c.Close()
	problems, err := c.Verify(ctx)
	if err != nil {
		return err
	}
	if len(problems) > 0 {
		return fmt.Errorf("the copy is not whole (%d problems), so it was removed; the first: %s", len(problems), problems[0].What)
	}
	return nil
}

// syncPath fsyncs a file or folder.
func syncPath(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
