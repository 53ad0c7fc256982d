package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"meshclerk/intake/job"
)

// Step is one piece of work that somebody holds a lease on.
type Step struct {
	ID        int64       `json:"id"`
	Kind      StepKind    `json:"kind"`
	Subject   string      `json:"subject"`  // id of a letter, job, conversation or draft
	Attempts  int         `json:"attempts"` // this one counted: 1 at the first try
	Due       time.Time   `json:"due"`
	Until     time.Time   `json:"lease_until"`
	LastError job.Message `json:"last_error,omitempty"`
	Trouble   Trouble     `json:"trouble,omitempty"` // what it waited for last time
	Waits     int         `json:"waits,omitempty"`   // how often it waited for the house, since it was last worked on

	owner string
	lease int64 // grows with every lease, so that a late worker is known
}

// Enqueue makes sure that a step of this kind will be done for the subject, at
// due or as soon as may be (the zero time). Where one waits already, the earlier
// time counts. Where one is being worked on, it will be done once more.
func (tx *Tx) Enqueue(ctx context.Context, kind StepKind, subject string, due time.Time) error {
	if due.IsZero() {
		due = tx.now
	}
	return tx.exec(ctx, `INSERT INTO steps (kind, subject, state, due, made) VALUES (?, ?, 'waiting', ?, ?)
		ON CONFLICT (kind, subject) WHERE state IN ('waiting', 'leased') DO UPDATE SET
			again = CASE WHEN steps.state = 'leased' THEN 1 ELSE steps.again END,
			due = CASE WHEN steps.state = 'waiting' AND excluded.due > steps.due THEN steps.due ELSE excluded.due END`,
		string(kind), subject, stamp(due), stamp(tx.now))
}

// Lease gives the step that has been due longest, of the kinds named or of any,
// to owner for d. It gives nil where nothing is due. The attempt counts from now:
// where Attempts is over the cap, the step has killed or outlived its workers,
// and should be given up rather than tried.
func (l *Ledger) Lease(ctx context.Context, owner string, d time.Duration, kinds ...StepKind) (*Step, error) {
	return in(ctx, l, func(tx *Tx) (*Step, error) { return tx.lease(ctx, owner, d, kinds) })
}

func (tx *Tx) lease(ctx context.Context, owner string, d time.Duration, kinds []StepKind) (*Step, error) {
	return tx.leaseOne(ctx, owner, d, first(kinds), anys(kinds)...)
}

// first selects the step that has been due longest, of the kinds or of any.
func first(kinds []StepKind) string {
	only := ""
	if len(kinds) > 0 {
		only = ` AND kind IN (` + marks(len(kinds)) + `)`
	}
	return `(SELECT id FROM steps WHERE ` + due + only + ` ORDER BY due, id LIMIT 1)`
}

// due has the present moment as its two arguments.
const due = `((state = 'waiting' AND due <= ?) OR (state = 'leased' AND lease_until <= ?))`

// LeaseFresh gives the step that has been due longest, among the kinds named or
// all, where it is of that kind and was never tried before, else nil. Who works on two steps at once takes the
// second one so: none is overtaken, and of two steps one of which ends the
// program, the other is not worn out.
func (l *Ledger) LeaseFresh(ctx context.Context, owner string, d time.Duration, kind StepKind, among ...StepKind) (*Step, error) {
	return in(ctx, l, func(tx *Tx) (*Step, error) {
		return tx.leaseOne(ctx, owner, d, first(among)+` AND attempts = 0 AND kind = ?`, append(anys(among), string(kind))...)
	})
}

func (tx *Tx) leaseOne(ctx context.Context, owner string, d time.Duration, which string, args ...any) (*Step, error) {
	now := stamp(tx.now)
	s := &Step{owner: owner, Until: tx.now.Add(d)}
	args = append([]any{owner, stamp(s.Until), now, now}, args...)
	err := tx.q.QueryRowContext(ctx, `UPDATE steps SET state = 'leased', lease_owner = ?, lease_until = ?, lease = lease + 1, attempts = attempts + 1
		WHERE id = `+which+` RETURNING id, kind, subject, attempts, due, last_error, trouble, waits, lease`, args...).
		Scan(&s.ID, &s.Kind, &s.Subject, &s.Attempts, stamped{&s.Due}, kept{&s.LastError}, &s.Trouble, &s.Waits, &s.lease)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return s, err
}

// ReleaseOwned takes back what a worker of that name held before it died. For a
// single robot, at its start. The attempts stay counted.
func (l *Ledger) ReleaseOwned(ctx context.Context, owner string) (int64, error) {
	return in(ctx, l, func(tx *Tx) (int64, error) {
		return tx.changed(ctx, `UPDATE steps SET state = 'waiting', lease_owner = '', lease_until = '', last_error = CASE WHEN last_error = '' THEN ? ELSE last_error END
			WHERE state = 'leased' AND lease_owner = ?`, keep(job.Say("faults.stopped-in-work", nil)), owner)
	})
}

// held changes a step whose lease still holds, or says that it is lost.
func (tx *Tx) held(ctx context.Context, s *Step, set string, args ...any) error {
	n, err := tx.changed(ctx, `UPDATE steps SET `+set+` WHERE id = ? AND state = 'leased' AND lease = ?`, append(args, s.ID, s.lease)...)
	if err == nil && n == 0 {
		err = fmt.Errorf("%s of %s: %w", s.Kind, s.Subject, ErrLeaseLost)
	}
	return err
}

// Done ends a step, together with whatever else the transaction holds. Where
// the step was asked for again meanwhile, it waits anew, its attempts forgotten.
func (tx *Tx) Done(ctx context.Context, s *Step) error {
	return tx.held(ctx, s, `state = CASE WHEN again = 1 THEN 'waiting' ELSE 'done' END,
		attempts = CASE WHEN again = 1 THEN 0 ELSE attempts END, ended = CASE WHEN again = 1 THEN '' ELSE ? END,
		again = 0, waits = 0, trouble = '', lease_owner = '', lease_until = '', last_error = ''`, stamp(tx.now))
}

// Retry lets a step be tried again after wait. The attempt that failed counts.
func (tx *Tx) Retry(ctx context.Context, s *Step, cause error, wait time.Duration) error {
	return tx.held(ctx, s, `state = 'waiting', due = ?, again = 0, trouble = '', lease_owner = '', lease_until = '', last_error = ?`,
		stamp(tx.now.Add(wait)), keep(reason(cause)))
}

// GiveUp ends a step that failed too often. Its letter is set aside, with all
// its bytes, and a notice tells staff.
func (tx *Tx) GiveUp(ctx context.Context, s *Step, cause error, who string) error {
	err := tx.held(ctx, s, `state = 'given-up', again = 0, trouble = '', ended = ?, lease_owner = '', lease_until = '', last_error = ?`, stamp(tx.now), keep(reason(cause)))
	if err != nil {
		return err
	}
	if IsLetter(s.Subject) {
		if err := tx.SetLetter(ctx, s.Subject, LetterSetAside, who, reason(cause)); err != nil {
			return err
		}
	} else if err := tx.Note(ctx, s.Subject, "step-failed", who, job.Say("history.step-failed", job.Args{"step": string(s.Kind), "why": reason(cause)})); err != nil {
		return err
	}
	return tx.AddNotice(ctx, NoticeStepFailed, s.Subject, job.Say("notices.step-failed", job.Args{"subject": s.Subject, "times": s.Attempts, "step": string(s.Kind), "why": reason(cause)}))
}

func reason(err error) job.Message {
	if err == nil {
		return job.Message{}
	}
	return job.Why(err)
}

// OpenStep is a step that is not ended, as staff and tests see it.
type OpenStep struct {
	Step
	State string `json:"state"`
	Owner string `json:"owner,omitempty"`
}

// OpenSteps lists what waits or is being worked on, in the order it is due.
func (r Reader) OpenSteps(ctx context.Context) ([]OpenStep, error) {
	return r.openSteps(ctx, `state IN ('waiting', 'leased') ORDER BY due, id`)
}

func (r Reader) openSteps(ctx context.Context, where string) ([]OpenStep, error) {
	var out []OpenStep
	err := r.each(ctx, `SELECT id, kind, subject, attempts, due, lease_until, last_error, trouble, waits, state, lease_owner FROM steps WHERE `+where, nil, func(rows *sql.Rows) error {
		var s OpenStep
		err := rows.Scan(&s.ID, &s.Kind, &s.Subject, &s.Attempts, stamped{&s.Due}, stamped{&s.Until}, kept{&s.LastError}, &s.Trouble, &s.Waits, &s.State, &s.Owner)
		out = append(out, s)
		return err
	})
	return out, err
}
