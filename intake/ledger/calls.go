package ledger

import (
	"context"
	"time"

	"meshclerk/intake/job"
)

// The methods below are those of Tx that are often the whole transaction.

// Take is Tx.Take in a transaction of its own.
func (l *Ledger) Take(ctx context.Context, t TakenLetter) (id string, fresh bool, err error) {
	err = l.Tx(ctx, func(tx *Tx) (err error) {
		id, fresh, err = tx.Take(ctx, t)
		return err
	})
	return id, fresh, err
}

// Enqueue is Tx.Enqueue in a transaction of its own.
func (l *Ledger) Enqueue(ctx context.Context, kind StepKind, subject string, due time.Time) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Enqueue(ctx, kind, subject, due) })
}

// Done is Tx.Done in a transaction of its own, for a step without results.
func (l *Ledger) Done(ctx context.Context, s *Step) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Done(ctx, s) })
}

// Retry is Tx.Retry in a transaction of its own.
func (l *Ledger) Retry(ctx context.Context, s *Step, cause error, wait time.Duration) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Retry(ctx, s, cause, wait) })
}

// Wait is Tx.Wait in a transaction of its own.
func (l *Ledger) Wait(ctx context.Context, s *Step, t Trouble, cause error, wait time.Duration) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Wait(ctx, s, t, cause, wait) })
}

// GiveUp is Tx.GiveUp in a transaction of its own.
func (l *Ledger) GiveUp(ctx context.Context, s *Step, cause error, who string) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.GiveUp(ctx, s, cause, who) })
}

// Move is Tx.Move in a transaction of its own.
func (l *Ledger) Move(ctx context.Context, id job.ID, to job.Stage, who string, why job.Message) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Move(ctx, id, to, who, why) })
}

// Approve is Tx.Approve in a transaction of its own.
func (l *Ledger) Approve(ctx context.Context, id, sha, by, via string) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Approve(ctx, id, sha, by, via) })
}

// SetAside is Tx.SetAside in a transaction of its own.
func (l *Ledger) SetAside(ctx context.Context, id, who string, why job.Message) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.SetAside(ctx, id, who, why) })
}

// EndSend is Tx.EndSend in a transaction of its own.
func (l *Ledger) EndSend(ctx context.Context, s Send, o Outcome, words job.Message, who string) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.EndSend(ctx, s, o, words, who) })
}

// Settle is Tx.Settle in a transaction of its own.
func (l *Ledger) Settle(ctx context.Context, id string, sent bool, by string, why job.Message) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.Settle(ctx, id, sent, by, why) })
}

// AddNotice is Tx.AddNotice in a transaction of its own.
func (l *Ledger) AddNotice(ctx context.Context, kind NoticeKind, subject string, text job.Message) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.AddNotice(ctx, kind, subject, text) })
}

// SavePoll is Tx.SavePoll in a transaction of its own.
func (l *Ledger) SavePoll(ctx context.Context, folder string, uidvalidity, highest uint32) error {
	return l.Tx(ctx, func(tx *Tx) error { return tx.SavePoll(ctx, folder, uidvalidity, highest) })
}
