package ledger

import (
	"context"
	"errors"
	"io/fs"
	"syscall"
	"time"

	"meshclerk/intake/job"
)

// Trouble names what ails the house itself, as opposed to a letter. A step that
// meets it waits and is not counted. The zero Trouble is none.
type Trouble string

// What may ail the house.
const (
	NoTrouble      Trouble = ""
	DiskFull       Trouble = "disk-full"       // no room, or over a quota
	NoRight        Trouble = "no-right"        // files of ours that may not be read or written
	LedgerBusy     Trouble = "ledger-busy"     // another program holds the database
	MachineTired   Trouble = "machine"         // too many open files, no memory, a disk that fails
	MailboxAway    Trouble = "mailbox-away"    // the server cannot be reached; goes away by itself
	MailboxRefuses Trouble = "mailbox-refuses" // it answers, and refuses: sign-in, right, quota, folder
	SendingAway    Trouble = "sending-away"    // the sending server cannot be reached or is busy
	Stopping       Trouble = "stopping"        // we were told to stop in the middle
)

// TroubleOf reports whether an error is the disk's or the database's, and which.
func TroubleOf(err error) Trouble {
	is := func(targets ...error) bool {
		for _, t := range targets {
			if errors.Is(err, t) {
				return true
			}
		}
		return false
	}
	switch {
	case is(ErrDiskFull, syscall.ENOSPC, syscall.EDQUOT):
		return DiskFull
	case is(ErrBusy):
		return LedgerBusy
	case is(fs.ErrPermission, ErrNotWritable, syscall.EROFS):
		return NoRight
	case is(syscall.EMFILE, syscall.ENFILE, syscall.ENOMEM, syscall.EIO):
		return MachineTired
	}
	return NoTrouble
}

// Wait lets a step be tried again after wait, for a trouble that is not its own:
// the attempt does not count, and Waits grows.
func (tx *Tx) Wait(ctx context.Context, s *Step, t Trouble, cause error, wait time.Duration) error {
	return tx.held(ctx, s, `state = 'waiting', due = ?, again = 0, attempts = attempts - 1, waits = waits + 1, trouble = ?, lease_owner = '', lease_until = '', last_error = ?`,
		stamp(tx.now.Add(wait)), string(t), keep(reason(cause)))
}

// Release lays a step back as it was before its lease.
func (tx *Tx) Release(ctx context.Context, s *Step) error {
	return tx.held(ctx, s, `state = 'waiting', again = 0, attempts = attempts - 1, lease_owner = '', lease_until = ''`)
}

// Resume makes due now what waits for a trouble that is over.
func (tx *Tx) Resume(ctx context.Context, t Trouble) error {
	return tx.exec(ctx, `UPDATE steps SET due = ?, waits = 0 WHERE state = 'waiting' AND trouble = ? AND due > ?`, stamp(tx.now), string(t), stamp(tx.now))
}

// EndTrouble closes the notices of troubles that no step waits for any more, and
// reports whether one is still open.
func (tx *Tx) EndTrouble(ctx context.Context, who string) (left bool, err error) {
	err = tx.exec(ctx, `UPDATE notices SET state = 'done', done = ?, done_by = ? WHERE kind = ? AND state = 'open'
		AND subject NOT IN (SELECT trouble FROM steps WHERE state IN ('waiting', 'leased') AND trouble <> '')`, stamp(tx.now), who, NoticeTrouble)
	if err != nil {
		return false, err
	}
	open, err := tx.words(ctx, `SELECT id FROM notices WHERE kind = ? AND state = 'open' LIMIT 1`, NoticeTrouble)
	return len(open) > 0, err
}

// Bound makes due no later than latest what waits: after the clock was put
// back, steps would else wait for a time that is far away. Leases are bounded too.
func (tx *Tx) Bound(ctx context.Context, latest time.Time) (int64, error) {
	moved, err := tx.changed(ctx, `UPDATE steps SET due = ? WHERE state = 'waiting' AND due > ?`, stamp(tx.now), stamp(latest))
	if err != nil {
		return moved, err
	}
	return moved, tx.exec(ctx, `UPDATE steps SET lease_until = ? WHERE state = 'leased' AND lease_until > ?`, stamp(latest), stamp(latest))
}

// GivenUp lists the steps that failed too often, oldest first.
func (r Reader) GivenUp(ctx context.Context) ([]OpenStep, error) {
	return r.openSteps(ctx, `state = 'given-up' ORDER BY ended, id`)
}

// TryAgain puts what was given up about a subject back to work, its attempts forgotten.
func (tx *Tx) TryAgain(ctx context.Context, subject, who string) error {
	kinds, err := tx.words(ctx, `SELECT DISTINCT kind FROM steps WHERE subject = ? AND state = 'given-up' ORDER BY kind`, subject)
	if err != nil {
		return err
	}
	if len(kinds) == 0 {
		return notFound("step", subject)
	}
	if err := tx.exec(ctx, `UPDATE steps SET state = 'done' WHERE subject = ? AND state = 'given-up'`, subject); err != nil {
		return err
	}
	state, err := tx.letterState(ctx, subject)
	if err == nil && state == LetterSetAside {
		err = tx.Again(ctx, subject, who, job.Say("history.tried-again", nil)) // its first step too
		kinds = nil
	} else if errors.Is(err, ErrNotFound) {
		err = nil // no letter
	}
	for _, kind := range kinds {
		if err == nil {
			err = tx.Enqueue(ctx, StepKind(kind), subject, time.Time{})
		}
	}
	if err != nil {
		return err
	}
	if err := tx.SettleNotices(ctx, NoticeStepFailed, subject, who); err != nil {
		return err
	}
	return tx.Note(ctx, subject, "try-again", who, job.Message{})
}

const (
	metaClock      = "clock"       // when it was last believed
	metaClockRight = "clock-right" // when a person said that it is right
)

// BelieveClock records that the clock is believed as it stands.
func (tx *Tx) BelieveClock(ctx context.Context) error {
	return tx.SetMeta(ctx, metaClock, stamp(tx.now))
}

// ClockBelieved tells when the clock was last believed; zero where never.
func (r Reader) ClockBelieved(ctx context.Context) (time.Time, error) {
	return r.moment(ctx, metaClock)
}

// SayClockRight records a person's word that the machine's clock is right.
func (tx *Tx) SayClockRight(ctx context.Context, by string) error {
	if by == "" || by == Robot {
		return errors.New("a person says that the clock is right; say who")
	}
	if err := tx.SetMeta(ctx, metaClockRight, stamp(tx.now)); err != nil {
		return err
	}
	return tx.Note(ctx, "clock", "said-right", by, job.Message{})
}

// ClockSaidRight tells when a person last said that the clock is right.
func (r Reader) ClockSaidRight(ctx context.Context) (time.Time, error) {
	return r.moment(ctx, metaClockRight)
}

func (r Reader) moment(ctx context.Context, name string) (t time.Time, err error) {
	word, err := r.Meta(ctx, name)
	if err == nil {
		err = stamped{&t}.Scan(word)
	}
	return t, err
}
