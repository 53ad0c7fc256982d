package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"
)

// Robot is the name under which the robot itself makes changes. It may not approve.
const Robot = "meshclerk"

const (
	dbFile      = "ledger.db"
	incomingDir = "incoming"
	blobsDir    = "blobs"
	readers     = 4
	busyMillis  = 15000
)

// Ledger is an open ledger. It is safe for use by several goroutines.
type Ledger struct {
	Reader
	dir   string
	root  *os.Root
	write *sql.DB // one connection: the one writer
	read  *sql.DB
	log   *slog.Logger
	clock func() time.Time
	ro    bool

	forgets *forgetList // nil in a copy that is only looked at
}

// Open opens the ledger in dir, makes it where there is none, and brings its
// schema up to date. A ledger written by a newer program is refused. A nil
// clock is the machine's; a nil log is silence.
func Open(ctx context.Context, dir string, log *slog.Logger, clock func() time.Time) (*Ledger, error) {
	l, err := prepare(dir, log, clock, false)
	if err != nil {
		return nil, err
	}
	if err := l.openDB(ctx); err != nil {
		l.Close()
		return nil, l.plain(err)
	}
	return l, nil
}

// OpenCopy opens a ledger to look at it only, such as a backup, which may lie
// on a disk that cannot be written. It must be of this program's schema.
func OpenCopy(ctx context.Context, dir string, log *slog.Logger) (*Ledger, error) {
	if _, err := os.Stat(filepath.Join(dir, dbFile)); err != nil {
		return nil, fmt.Errorf("there is no ledger in %s; name the folder that holds %s", dir, dbFile)
	}
	l, err := prepare(dir, log, nil, true)
	if err != nil {
		return nil, err
	}
	l.read, err = sql.Open("sqlite", dsn(filepath.Join(l.dir, dbFile), url.Values{"mode": {"ro"}}, "query_only(1)"))
	if err == nil {
		l.Reader = Reader{q: l.read, l: l}
		err = l.sameSchema(ctx)
	}
	if err != nil {
		l.Close()
		return nil, l.plain(err)
	}
	return l, nil
}

// prepare makes the folders and everything but the database.
func prepare(dir string, log *slog.Logger, clock func() time.Time, ro bool) (*Ledger, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	if clock == nil {
		clock = time.Now
	}
	l := &Ledger{dir: abs, log: log, clock: clock, ro: ro}
	if !ro {
		for _, d := range []string{abs, filepath.Join(abs, blobsDir), filepath.Join(abs, incomingDir)} {
			if err := os.MkdirAll(d, 0o700); err != nil {
				return nil, l.plain(fmt.Errorf("the data folder cannot be made: %w", err))
			}
		}
	}
	if l.root, err = os.OpenRoot(abs); err != nil {
		return nil, l.plain(fmt.Errorf("the data folder cannot be opened: %w", err))
	}
	return l, nil
}

func (l *Ledger) openDB(ctx context.Context) (err error) {
	path := filepath.Join(l.dir, dbFile)
	if err := closeToOthers(path); err != nil {
		return err
	}
	// secure_delete: what is forgotten must not linger in free pages.
	pragmas := []string{"journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(1)", "secure_delete(1)"}
	l.write, err = sql.Open("sqlite", dsn(path, url.Values{"_txlock": {"immediate"}}, pragmas...))
	if err != nil {
		return err
	}
	l.write.SetMaxOpenConns(1)
	if err := l.migrate(ctx); err != nil {
		return err
	}
	l.read, err = sql.Open("sqlite", dsn(path, nil, append(pragmas, "query_only(1)")...))
	if err != nil {
		return err
	}
	l.read.SetMaxOpenConns(readers)
	l.read.SetMaxIdleConns(readers)
	l.Reader = Reader{q: l.read, l: l}
	if err := l.read.PingContext(ctx); err != nil {
		return err
	}
	return l.openForgetList(ctx)
}

// closeToOthers makes the database file its owner's alone before the database
// writes to it, and what lies beside it: SQLite gives the files it makes there the
// mode of the database file (sqlite.org/src: os_unix.c, findCreateFileMode).
func closeToOthers(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	for _, beside := range []string{"", "-wal", "-shm", "-journal"} {
		if err := os.Chmod(path+beside, 0o600); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// dsn names the database file with its pragmas. busy_timeout comes first: the
// pragmas after it may already have to wait for another program.
func dsn(path string, query url.Values, pragmas ...string) string {
	q := url.Values{}
	for k, v := range query {
		q[k] = v
	}
	q["_pragma"] = append([]string{fmt.Sprintf("busy_timeout(%d)", busyMillis)}, pragmas...)
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: q.Encode()}).String()
}

// Close ends all work on the ledger.
func (l *Ledger) Close() error {
	var errs []error
	if l.read != nil {
		errs = append(errs, l.read.Close())
	}
	if l.write != nil {
		errs = append(errs, l.write.Close())
	}
	if l.root != nil {
		errs = append(errs, l.root.Close())
	}
	return errors.Join(errs...)
}

// Dir gives the ledger's folder.
func (l *Ledger) Dir() string { return l.dir }

// queryer is what reading needs: a pool of readers, or a transaction.
type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Reader has the methods that only read. On a Ledger they see what is
// committed; on a Tx, also what the transaction has changed so far.
type Reader struct {
	q queryer
	l *Ledger
}

// Tx is one transaction. It is good only inside the function given to Ledger.Tx.
type Tx struct {
	Reader
	tx    *sql.Tx
	now   time.Time // one moment for the whole transaction
	freed []string  // blobs that may have lost their last user
}

// Tx runs fn in a transaction that commits when fn returns nil, and leaves no
// trace otherwise. Keep fn short: nobody else can write meanwhile.
func (l *Ledger) Tx(ctx context.Context, fn func(tx *Tx) error) error {
	if l.ro {
		return fmt.Errorf("the ledger in %s was opened for reading only", l.dir)
	}
	sqlTx, err := l.write.BeginTx(ctx, nil)
	if err != nil {
		return l.plain(err)
	}
	tx := &Tx{Reader: Reader{q: sqlTx, l: l}, tx: sqlTx, now: l.clock()}
	defer sqlTx.Rollback() // no effect after Commit; needed when fn panics
	if err := fn(tx); err != nil {
		return l.plain(err)
	}
	if err := sqlTx.Commit(); err != nil {
		return l.plain(err)
	}
	l.dropBlobs(ctx, tx.freed)
	return nil
}

// in runs fn in a transaction and hands out what it made.
func in[T any](ctx context.Context, l *Ledger, fn func(tx *Tx) (T, error)) (T, error) {
	var out T
	err := l.Tx(ctx, func(tx *Tx) (err error) {
		out, err = fn(tx)
		return err
	})
	if err != nil {
		var none T
		return none, err
	}
	return out, nil
}

func (tx *Tx) exec(ctx context.Context, query string, args ...any) error {
	_, err := tx.tx.ExecContext(ctx, query, args...)
	return err
}

// changed runs a statement and tells how many rows it touched.
func (tx *Tx) changed(ctx context.Context, query string, args ...any) (int64, error) {
	res, err := tx.tx.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// insert runs an INSERT … RETURNING id.
func (tx *Tx) insert(ctx context.Context, query string, args ...any) (id int64, err error) {
	err = tx.tx.QueryRowContext(ctx, query, args...).Scan(&id)
	return id, err
}

// next counts one up: 1, 2, 3 … for each name.
func (tx *Tx) next(ctx context.Context, name string) (int64, error) {
	return tx.insert(ctx, `INSERT INTO counters (name, last) VALUES (?, 1)
		ON CONFLICT (name) DO UPDATE SET last = counters.last + 1 RETURNING last`, name)
}

// The first letters of ids: L-000042. Jobs have their own, LP.
const (
	prefixLetter = "L"
	prefixDraft  = "D"
	prefixNotice = "N"
)

// IsLetter reports whether an id is that of a letter.
func IsLetter(id string) bool { return strings.HasPrefix(id, prefixLetter+"-") }

// IsDraft reports whether an id is that of a draft.
func IsDraft(id string) bool { return strings.HasPrefix(id, prefixDraft+"-") }

func (tx *Tx) newID(ctx context.Context, prefix string) (string, error) {
	n, err := tx.next(ctx, prefix)
	return fmt.Sprintf("%s-%06d", prefix, n), err
}

// stampLayout has one width, so that stamps sort as text.
const stampLayout = "2006-01-02T15:04:05.000Z"

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(stampLayout)
}

// stamped scans a stamp into a time.
type stamped struct{ t *time.Time }

func (s stamped) Scan(v any) error {
	text, _ := v.(string)
	if text == "" {
		*s.t = time.Time{}
		return nil
	}
	t, err := time.Parse(stampLayout, text)
	*s.t = t
	return err
}

// orNull keeps a foreign key empty.
func orNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// marks gives n placeholders: "?, ?, ?".
func marks(n int) string { return strings.TrimSuffix(strings.Repeat("?, ", n), ", ") }

func anys[T ~string](list []T) []any {
	out := make([]any, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}

// each runs a query and calls scan on every row.
func (r Reader) each(ctx context.Context, query string, args []any, scan func(*sql.Rows) error) error {
	rows, err := r.q.QueryContext(ctx, query, args...)
	if err != nil {
		return r.l.plain(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return r.l.plain(rows.Err())
}

// words gives the first column of a query.
func (r Reader) words(ctx context.Context, query string, args ...any) ([]string, error) {
	var out []string
	err := r.each(ctx, query, args, func(rows *sql.Rows) error {
		var s string
		err := rows.Scan(&s)
		out = append(out, s)
		return err
	})
	return out, err
}
