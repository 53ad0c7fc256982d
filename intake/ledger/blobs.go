package ledger

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"
)

// Kinds of blob.
const (
	KindLetter = "letter"
	KindMesh   = "mesh"
	KindFile   = "file" // another attachment
	KindDraft  = "draft"
)

// BlobWriter takes bytes into a file of ours and hashes them on the way. Keep
// makes it durable; Abort throws it away. One of the two must be called; Abort
// after Keep does nothing.
type BlobWriter struct {
	l     *Ledger
	kind  string
	name  string // below the ledger's folder
	file  *os.File
	hash  hash.Hash
	size  int64
	limit int64
	err   error
	moved bool
}

// NewBlob begins a blob of at most limit bytes; 0 is no limit.
func (l *Ledger) NewBlob(kind string, limit int64) (*BlobWriter, error) {
	name := path.Join(incomingDir, rand.Text())
	f, err := l.root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, l.plain(fmt.Errorf("a file cannot be begun: %w", err))
	}
	return &BlobWriter{l: l, kind: kind, name: name, file: f, hash: sha256.New(), limit: limit}, nil
}

// Write implements io.Writer. Over the limit it gives ErrTooLarge.
func (w *BlobWriter) Write(p []byte) (int, error) {
	if w.err != nil {
		return 0, w.err
	}
	if w.limit > 0 && w.size+int64(len(p)) > w.limit {
		w.err = fmt.Errorf("%w: more than %d bytes", ErrTooLarge, w.limit)
		return 0, w.err
	}
	n, err := w.file.Write(p)
	w.hash.Write(p[:n])
	w.size += int64(n)
	w.err = w.l.plain(err)
	return n, w.err
}

// Size gives the bytes written so far.
func (w *BlobWriter) Size() int64 { return w.size }

// SHA256 gives the hash of the bytes written so far, in hex.
func (w *BlobWriter) SHA256() string { return hex.EncodeToString(w.hash.Sum(nil)) }

// Keep makes the bytes durable and gives their hash: file fsynced, renamed,
// folder fsynced, row committed.
func (w *BlobWriter) Keep(ctx context.Context) (sha string, err error) {
	defer w.Abort()
	if err := w.sync(); err != nil {
		return "", err
	}
	err = w.l.Tx(ctx, func(tx *Tx) error { return tx.adopt(ctx, w) })
	return w.SHA256(), err
}

// Abort throws the bytes away, unless they were kept.
func (w *BlobWriter) Abort() {
	if w.file != nil {
		w.file.Close()
		w.file = nil
	}
	if !w.moved {
		w.l.root.Remove(w.name)
		w.moved = true
	}
}

func (w *BlobWriter) sync() error {
	if w.err != nil {
		return w.err
	}
	if err := w.file.Sync(); err != nil {
		return w.l.plain(err)
	}
	err := w.file.Close()
	w.file = nil
	return w.l.plain(err)
}

// adopt moves finished files to their places and writes their rows. Both happen
// while the write lock is held, so that no removal can come between them. A file
// that lies there already is replaced by its twin, which mends a damaged one.
func (tx *Tx) adopt(ctx context.Context, files ...*BlobWriter) error {
	shelves := map[string]bool{}
	for _, w := range files {
		at := blobName(w.SHA256())
		if err := w.l.makeShelf(path.Dir(at)); err != nil {
			return err
		}
		if err := w.l.root.Rename(w.name, at); err != nil {
			return err
		}
		w.moved = true
		shelves[path.Dir(at)] = true
	}
	var flushed errgroup.Group
	for shelf := range shelves {
		flushed.Go(func() error { return tx.l.syncDir(shelf) })
	}
	if err := flushed.Wait(); err != nil {
		return err
	}
	for _, w := range files {
		err := tx.exec(ctx, `INSERT INTO blobs (sha256, size, kind, made) VALUES (?, ?, ?, ?) ON CONFLICT (sha256) DO NOTHING`,
			w.SHA256(), w.size, w.kind, stamp(tx.now))
		if err != nil {
			return err
		}
	}
	return nil
}

// makeShelf makes a folder for blobs, durably.
func (l *Ledger) makeShelf(dir string) error {
	err := l.root.Mkdir(dir, 0o700)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return l.syncDir(blobsDir)
}

// syncDir makes renames in a folder survive a loss of power.
func (l *Ledger) syncDir(dir string) error {
	d, err := l.root.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

func blobName(sha string) string { return path.Join(blobsDir, sha[:2], sha) }

// PutBlob keeps everything r gives, up to limit bytes (0 is no limit), and
// returns once it is durable. The same bytes are kept once.
func (l *Ledger) PutBlob(ctx context.Context, kind string, r io.Reader, limit int64) (sha string, n int64, err error) {
	w, err := l.NewBlob(kind, limit)
	if err != nil {
		return "", 0, err
	}
	defer w.Abort()
	if _, err := io.Copy(w, r); err != nil {
		return "", w.size, err
	}
	sha, err = w.Keep(ctx)
	return sha, w.size, err
}

// putBytes keeps a small blob within the transaction. When the transaction
// fails a file without a row stays behind, which Sweep removes.
func (tx *Tx) putBytes(ctx context.Context, kind string, b []byte) (sha string, err error) {
	w, err := tx.l.NewBlob(kind, 0)
	if err != nil {
		return "", err
	}
	defer w.Abort()
	if _, err := w.Write(b); err != nil {
		return "", err
	}
	if err := w.sync(); err != nil {
		return "", err
	}
	return w.SHA256(), tx.adopt(ctx, w)
}

// OpenBlob opens a blob for reading.
func (l *Ledger) OpenBlob(sha string) (*os.File, error) {
	if !isSHA(sha) {
		return nil, notFound("file", sha)
	}
	f, err := l.root.Open(blobName(sha))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, notFound("file", sha)
	}
	return f, l.plain(err)
}

// BlobPath gives where a blob lies, for programs that want a path; "" for a
// word that is no hash. The file there must never be written to.
func (l *Ledger) BlobPath(sha string) string {
	if !isSHA(sha) {
		return ""
	}
	return filepath.Join(l.dir, filepath.FromSlash(blobName(sha)))
}

// readBlob gives a small blob whose hash was proven.
func (l *Ledger) readBlob(sha string) ([]byte, error) {
	f, err := l.OpenBlob(sha)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(f)
	if err != nil {
		return nil, l.plain(err)
	}
	if hashOf(b) != sha {
		return nil, fmt.Errorf("the stored file %s was changed on disk; restore it from a backup", sha)
	}
	return b, nil
}

func hashOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func isSHA(s string) bool {
	if len(s) != 64 {
		return false
	}
	return len(bytes.Trim([]byte(s), "0123456789abcdef")) == 0
}

// unused says that no row uses the blob any more.
const unused = `NOT EXISTS (SELECT 1 FROM letters WHERE raw = blobs.sha256)
	AND NOT EXISTS (SELECT 1 FROM letter_files WHERE blob = blobs.sha256)
	AND NOT EXISTS (SELECT 1 FROM jobs WHERE blob = blobs.sha256)
	AND NOT EXISTS (SELECT 1 FROM drafts WHERE blob = blobs.sha256)`

// dropBlobs removes those of the blobs that nothing uses any more. What cannot
// be removed now is left to Sweep.
func (l *Ledger) dropBlobs(ctx context.Context, shas []string) {
	for _, sha := range shas {
		if _, err := l.dropBlob(ctx, sha); err != nil {
			l.log.WarnContext(ctx, "stored file could not be removed; tried again later", "sha256", sha, "why", err)
		}
	}
}

// dropBlob removes the row, and then the file: a row without its file would be
// a loss, a file without its row is only something to sweep.
func (l *Ledger) dropBlob(ctx context.Context, sha string) (gone bool, err error) {
	err = l.Tx(ctx, func(tx *Tx) error {
		n, err := tx.changed(ctx, `DELETE FROM blobs WHERE sha256 = ? AND `+unused, sha)
		gone = n == 1
		return err
	})
	if err != nil || !gone {
		return false, err
	}
	return true, l.removeFile(ctx, sha)
}

// removeFile removes a blob's file unless its row came back meanwhile.
func (l *Ledger) removeFile(ctx context.Context, sha string) error {
	return l.Tx(ctx, func(tx *Tx) error {
		back, err := tx.words(ctx, `SELECT sha256 FROM blobs WHERE sha256 = ?`, sha)
		if err != nil || len(back) > 0 {
			return err
		}
		err = l.root.Remove(blobName(sha))
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	})
}

// Sweep removes what crashes left behind and nothing uses: unfinished files,
// blobs without a user and files without a row, all older than age.
func (l *Ledger) Sweep(ctx context.Context, age time.Duration) (removed int, err error) {
	before := l.clock().Add(-age)
	shas, err := l.words(ctx, `SELECT sha256 FROM blobs WHERE made < ? AND `+unused, stamp(before))
	if err != nil {
		return 0, err
	}
	for _, sha := range shas {
		gone, err := l.dropBlob(ctx, sha)
		if err != nil {
			return removed, err
		}
		if gone {
			removed++
		}
	}
	n, err := l.sweepFiles(ctx, before)
	return removed + n, err
}

func (l *Ledger) sweepFiles(ctx context.Context, before time.Time) (removed int, err error) {
	err = l.walk(func(name string, info fs.FileInfo) error {
		if !info.ModTime().Before(before) {
			return nil
		}
		if path.Dir(name) == incomingDir {
			removed++
			return l.root.Remove(name)
		}
		sha := path.Base(name)
		if !isSHA(sha) || blobName(sha) != name {
			return nil
		}
		known, err := l.words(ctx, `SELECT sha256 FROM blobs WHERE sha256 = ?`, sha)
		if err != nil || len(known) > 0 {
			return err
		}
		removed++
		return l.removeFile(ctx, sha)
	})
	return removed, l.plain(err)
}

// walk visits every file of blobs/ and incoming/.
func (l *Ledger) walk(visit func(name string, info fs.FileInfo) error) error {
	for _, top := range []string{incomingDir, blobsDir} {
		err := fs.WalkDir(l.root.FS(), top, func(name string, d fs.DirEntry, err error) error {
			if errors.Is(err, fs.ErrNotExist) || (err == nil && d.IsDir()) {
				return nil
			}
			if err != nil {
				return err
			}
			info, err := d.Info()
			if errors.Is(err, fs.ErrNotExist) {
				return nil
			}
			if err != nil {
				return err
			}
			return visit(name, info)
		})
		if err != nil {
			return err
		}
	}
	return nil
}
