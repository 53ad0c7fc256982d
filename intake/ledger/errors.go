package ledger

import (
	"context"
	"errors"
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
	return &job.Fault{Message: job.Say("faults.none."+what, job.Args{"id": id}), Err: ErrNotFound}
}

// Each refusal below is a job.Fault too, whose words stand in the book of sentences.

// StaleError refuses an approval of bytes that are no longer the draft's.
type StaleError struct{ Draft, Asked, Now string }

func (e *StaleError) Error() string { return e.Unwrap().Error() }
func (e *StaleError) Unwrap() error {
	return job.Refuse(job.Say("faults.stale", job.Args{"draft": e.Draft}))
}

// ApprovedError says that a draft was approved already, by whom and when.
type ApprovedError struct {
	Draft  string
	By     string
	At     time.Time
	SHA256 string // of the bytes that were approved
}

func (e *ApprovedError) Error() string { return e.Unwrap().Error() }
func (e *ApprovedError) Unwrap() error {
	return job.Refuse(e.Said(e.At.Format("2006-01-02 15:04 MST")))
}

// Said is the refusal with the moment as the reader's clock shows it.
func (e *ApprovedError) Said(moment string) job.Message {
	return job.Say("faults.approved-already", job.Args{"draft": e.Draft, "by": e.By, "moment": moment})
}

// DraftStateError refuses a change that a draft's state does not allow.
type DraftStateError struct {
	Draft  string
	State  DraftState
	Wanted job.Message // what it cannot: "be approved"
	Hint   job.Message // may be none
}

func (e *DraftStateError) Error() string { return e.Unwrap().Error() }
func (e *DraftStateError) Unwrap() error {
	state := job.Say("notices.state."+string(e.State), nil)
	if e.Hint.IsZero() {
		return job.Refuse(job.Say("faults.draft-state", job.Args{"draft": e.Draft, "state": state, "wanted": e.Wanted}))
	}
	return job.Refuse(job.Say("faults.draft-state-since", job.Args{"draft": e.Draft, "state": state, "wanted": e.Wanted, "hint": e.Hint}))
}

// StageError refuses an unlawful move of a job.
type StageError struct {
	Job      job.ID
	From, To job.Stage
}

func (e *StageError) Error() string { return e.Unwrap().Error() }
func (e *StageError) Unwrap() error {
	var next []job.Message
	for _, st := range job.Stages() {
		if job.MayGo(e.From, st) {
			next = append(next, st.Word())
		}
	}
	if len(next) == 0 {
		return job.Refuse(job.Say("faults.stage-ended", job.Args{"job": string(e.Job), "stage": e.From.Word(), "wanted": e.To.Word()}))
	}
	return job.Refuse(job.Say("faults.stage", job.Args{"job": string(e.Job), "stage": e.From.Word(), "wanted": e.To.Word(), "next": next}))
}

// plain turns an error of the database or the disk into a fault that says what to
// do. The cause stays inside for the log.
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
		return said(job.Say("faults.ledger.no-right", job.Args{"folder": l.dir}), err, nil)
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
		return said(job.Say("faults.ledger.busy", nil), err, ErrBusy)
	case sqlitelib.SQLITE_IOERR:
		return said(job.Say("faults.ledger.disk", job.Args{"folder": l.dir}), err, syscall.EIO)
	case sqlitelib.SQLITE_CORRUPT, sqlitelib.SQLITE_NOTADB:
		return said(job.Say("faults.ledger.damaged", job.Args{"folder": l.dir}), err, nil)
	case sqlitelib.SQLITE_READONLY, sqlitelib.SQLITE_CANTOPEN, sqlitelib.SQLITE_PERM:
		return said(job.Say("faults.ledger.read-only", job.Args{"folder": l.dir}), err, ErrNotWritable)
	}
	return err
}

func (l *Ledger) full(err error) error {
	return said(job.Say("faults.ledger.full", job.Args{"folder": l.dir}), err, ErrDiskFull)
}

// plainError is a fault for a person around a cause for the log.
type plainError struct {
	job.Fault
	kind error // may be nil
}

func said(m job.Message, cause, kind error) *plainError {
	return &plainError{job.Fault{Message: m, Err: cause}, kind}
}

func (e *plainError) Unwrap() []error {
	if e.kind == nil {
		return []error{&e.Fault}
	}
	return []error{&e.Fault, e.kind}
}
