package ledger

import (
	"context"
	"time"
)

// Pulse is what the ledger tells of the robot's health.
type Pulse struct {
	OldestDue     time.Time // the step that should have been done longest ago; zero where none waits
	OldestSending time.Time // the send that is under way longest
	GivenUp       int       // steps that failed too often
	Uncertain     int       // sends that nobody knows the end of
	Held          time.Time // since when nothing is sent, after a restore
}

// Pulse gives it at the present moment.
func (r Reader) Pulse(ctx context.Context) (p Pulse, err error) {
	now := stamp(r.l.clock())
	err = r.q.QueryRowContext(ctx, `SELECT
		COALESCE((SELECT MIN(due) FROM steps WHERE state = 'waiting' AND due <= ?), ''),
		COALESCE((SELECT MIN(begun) FROM sends WHERE outcome = 'open'), ''),
		(SELECT COUNT(*) FROM steps WHERE state = 'given-up'),
		(SELECT COUNT(*) FROM drafts WHERE state = 'uncertain')`, now).
		Scan(stamped{&p.OldestDue}, stamped{&p.OldestSending}, &p.GivenUp, &p.Uncertain)
	if err != nil {
		return p, r.l.plain(err)
	}
	p.Held, err = r.HeldSince(ctx)
	return p, err
}

// Free tells how many bytes are left on the disk that holds the ledger; ok is
// false where that cannot be told.
func (l *Ledger) Free() (bytes uint64, ok bool) { return free(l.dir) }
