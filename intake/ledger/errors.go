package ledger

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlitelib "modernc.org/sqlite/lib"

	"meshclerk/intake/job"
)

// Errors to test for with errors.Is.
var (
	ErrNotFound   = errors.New("not in the ledger")
	ErrLeaseLost  = errors.New("the lease on this step ran out or went to another worker; its results are dropped")
	ErrTooLarge   = errors.New("larger than allowed")
	ErrDiskFull   = errors.New("the disk is full")
	ErrNoticeGrew = errors.New("more came in since you read it; read it again")
	ErrLocked     = errors.New("another robot works on this ledger")
	ErrBusy       = errors.New("another program holds the database")

	ErrNotWritable = errors.New("the ledger cannot be written")
)

// notFound says that there is no such row.
func notFound(what, id string) error {
	return fmt.Errorf("there is no %s %s: %w", what, id, ErrNotFound)
}

// StaleError refuses an approval of bytes that are no longer the draft's.
type StaleError struct{ Draft, Asked, Now string }

func (e *StaleError) Error() string {
	return fmt.Sprintf("draft %s was changed after you read it; read it again and approve what it says now", e.Draft)
}

// ApprovedError says that a draft was approved already, by whom and when.
type ApprovedError struct {
	Draft  string
	By     string
	At     time.Time
	SHA256 string // of the bytes that were approved
}

func (e *ApprovedError) Error() string {
	return fmt.Sprintf("draft %s was approved already, by %s at %s", e.Draft, e.By, e.At.Format("2006-01-02 15:04 MST"))
}

// DraftStateError refuses a change that a draft's state does not allow.
type DraftStateError struct {
	Draft  string
	State  DraftState
	Wanted string // "approve", "send" …
	Hint   string
}

func (e *DraftStateError) Error() string {
	s := fmt.Sprintf("cannot %s draft %s: it is %s", e.Wanted, e.Draft, e.State)
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// StageError refuses an unlawful move of a job.
type StageError struct {
	Job      job.ID
	From, To job.Stage
}

func (e *StageError) Error() string {
	s := fmt.Sprintf("job %s is %s and cannot become %s", e.Job, e.From, e.To)
	next := ""
	for _, st := range job.Stages() {
		if job.MayGo(e.From, st) {
			if next != "" {
				next += ", "
			}
			next += string(st)
		}
	}
	if next == "" {
		return s + "; it has come to its end"
	}
	return s + "; it may become " + next
}

// plain turns an error of the database or the disk into one sentence that says
// what to do. The cause stays inside for the log.
func (l *Ledger) plain(err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	if said, ok := errors.AsType[*plainError](err); ok {
		return said
	}
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return l.full(err)
	}
	if errors.Is(err, fs.ErrPermission) {
		return &plainError{fmt.Sprintf("may not write in %s; give the service's user the right to, or correct the data folder in the configuration", l.dir), err, nil}
	}
	if db, ok := errors.AsType[*sqlite.Error](err); ok {
		return l.plainDB(db, err)
	}
	return err
}

func (l *Ledger) plainDB(db *sqlite.Error, err error) error {
	switch db.Code() & 0xff { // the low byte is the primary code: sqlite.org/rescode.html
	case sqlitelib.SQLITE_FULL:
		return l.full(err)
	case sqlitelib.SQLITE_BUSY, sqlitelib.SQLITE_LOCKED:
		return &plainError{"the ledger is held by another program for too long; try again, and look for a backup or command that hangs", err, ErrBusy}
	case sqlitelib.SQLITE_IOERR:
		return &plainError{fmt.Sprintf("the disk that holds %s gives errors; look at the machine's log, and take a backup to another disk", l.dir), err, syscall.EIO}
	case sqlitelib.SQLITE_CORRUPT, sqlitelib.SQLITE_NOTADB:
		return &plainError{fmt.Sprintf("the ledger in %s is damaged; stop the service, keep a copy of the folder, and restore the last backup", l.dir), err, nil}
	case sqlitelib.SQLITE_READONLY, sqlitelib.SQLITE_CANTOPEN, sqlitelib.SQLITE_PERM:
		return &plainError{fmt.Sprintf("the ledger in %s cannot be opened for writing; look who owns the folder and whether the disk is read-only", l.dir), err, ErrNotWritable}
	}
	return err
}

func (l *Ledger) full(err error) error {
	return &plainError{fmt.Sprintf("the disk that holds %s is full; free some space, nothing is lost and the work goes on by itself", l.dir), err, ErrDiskFull}
}

// plainError is a sentence for a person around a cause for the log.
type plainError struct {
	text  string
	cause error
	kind  error
}

func (e *plainError) Error() string { return e.text }

func (e *plainError) Unwrap() []error {
	if e.kind == nil {
		return []error{e.cause}
	}
	return []error{e.cause, e.kind}
}
