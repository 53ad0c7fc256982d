package ledger

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Notice is something a person should look at.
type Notice struct {
	ID      string    `json:"id"`
	Kind    string    `json:"kind"`
	Subject string    `json:"subject"` // id of a letter, job or draft, or a word
	Text    string    `json:"text"`
	Open    bool      `json:"open"`
	Times   int       `json:"times"` // how often it came up while open
	Made    time.Time `json:"made"`
	Last    time.Time `json:"last"`
	Done    time.Time `json:"done,omitzero"`
	DoneBy  string    `json:"done_by,omitempty"`
}

// AddNotice tells staff something. While a notice of this kind about this
// subject is open, it is brought up to date instead.
func (tx *Tx) AddNotice(ctx context.Context, kind, subject, text string) error {
	id, err := tx.newID(ctx, "N")
	if err != nil {
		return err
	}
	return tx.exec(ctx, `INSERT INTO notices (id, kind, subject, text, state, made, last) VALUES (?, ?, ?, ?, 'open', ?, ?)
		ON CONFLICT (kind, subject) WHERE state = 'open' DO UPDATE SET text = excluded.text, last = excluded.last, times = notices.times + 1`,
		id, kind, subject, text, stamp(tx.now), stamp(tx.now))
}

// CloseNotice records that a person dealt with it.
func (tx *Tx) CloseNotice(ctx context.Context, id, who string) error {
	n, err := tx.changed(ctx, `UPDATE notices SET state = 'done', done = ?, done_by = ? WHERE id = ? AND state = 'open'`, stamp(tx.now), who, id)
	if err != nil {
		return err
	}
	if n == 0 {
		return notFound("open notice", id)
	}
	return tx.event(ctx, Event{Who: who, Subject: id, What: "notice-done"})
}

// SettleNotices closes what is open of a kind about a subject, once its cause is gone.
func (tx *Tx) SettleNotices(ctx context.Context, kind, subject, who string) error {
	return tx.exec(ctx, `UPDATE notices SET state = 'done', done = ?, done_by = ? WHERE kind = ? AND subject = ? AND state = 'open'`, stamp(tx.now), who, kind, subject)
}

// Notices lists the open ones, oldest first; with all, also those dealt with.
func (r Reader) Notices(ctx context.Context, all bool) ([]Notice, error) {
	where := `WHERE state = 'open'`
	if all {
		where = ``
	}
	var out []Notice
	err := r.each(ctx, `SELECT id, kind, subject, text, state = 'open', times, made, last, done, done_by FROM notices `+where+` ORDER BY made, id`, nil, func(rows *sql.Rows) error {
		var n Notice
		err := rows.Scan(&n.ID, &n.Kind, &n.Subject, &n.Text, &n.Open, &n.Times, stamped{&n.Made}, stamped{&n.Last}, stamped{&n.Done}, &n.DoneBy)
		out = append(out, n)
		return err
	})
	return out, err
}

// Poll says up to where a folder has been taken.
type Poll struct {
	Folder      string
	UIDValidity uint32
	HighestUID  uint32    // every letter up to here is safe
	First       time.Time // when the folder was looked at first
	LastGood    time.Time // when it was last looked at without an error
}

// SavePoll records a good look at a folder. Within one UIDVALIDITY the highest
// UID never goes back.
func (tx *Tx) SavePoll(ctx context.Context, folder string, uidvalidity, highest uint32) error {
	return tx.exec(ctx, `INSERT INTO polls (folder, uidvalidity, highest_uid, first, last_good) VALUES (?, ?, ?, ?, ?)
		ON CONFLICT (folder) DO UPDATE SET last_good = excluded.last_good, uidvalidity = excluded.uidvalidity,
			highest_uid = CASE WHEN polls.uidvalidity = excluded.uidvalidity AND polls.highest_uid > excluded.highest_uid THEN polls.highest_uid ELSE excluded.highest_uid END`,
		folder, uidvalidity, highest, stamp(tx.now), stamp(tx.now))
}

// Poll gives what is known of a folder; the zero Poll where nothing is.
func (r Reader) Poll(ctx context.Context, folder string) (Poll, error) {
	p := Poll{Folder: folder}
	err := r.q.QueryRowContext(ctx, `SELECT uidvalidity, highest_uid, first, last_good FROM polls WHERE folder = ?`, folder).
		Scan(&p.UIDValidity, &p.HighestUID, stamped{&p.First}, stamped{&p.LastGood})
	if errors.Is(err, sql.ErrNoRows) {
		return Poll{Folder: folder}, nil
	}
	return p, r.l.plain(err)
}

// LastGoodPoll tells when any folder was last looked at without an error.
func (r Reader) LastGoodPoll(ctx context.Context) (time.Time, error) {
	var t time.Time
	err := r.q.QueryRowContext(ctx, `SELECT COALESCE(MAX(last_good), '') FROM polls`).Scan(stamped{&t})
	return t, r.l.plain(err)
}

// Meta gives a word kept under a name, or "".
func (r Reader) Meta(ctx context.Context, name string) (string, error) {
	var v string
	err := r.q.QueryRowContext(ctx, `SELECT value FROM meta WHERE name = ?`, name).Scan(&v)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return v, r.l.plain(err)
}

// SetMeta keeps a word under a name.
func (tx *Tx) SetMeta(ctx context.Context, name, value string) error {
	return tx.exec(ctx, `INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value`, name, value)
}
