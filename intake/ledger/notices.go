package ledger

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"

	"meshclerk/intake/job"
)

// Notice is something a person should look at.
type Notice struct {
	ID      string      `json:"id"`
	Kind    NoticeKind  `json:"kind"`
	Subject string      `json:"subject"`           // id of a letter (the latest), job or draft, or a word
	Letters []string    `json:"letters,omitempty"` // every letter it is about, oldest first
	Text    job.Message `json:"text"`              // of the latest letter
	Open    bool        `json:"open"`
	Times   int         `json:"times"` // how often it came up while open
	Made    time.Time   `json:"made"`
	Last    time.Time   `json:"last"`
	Done    time.Time   `json:"done,omitzero"`
	DoneBy  string      `json:"done_by,omitempty"`
}

// About reports whether a letter, job or draft is among what the notice is about.
func (n Notice) About(subject string) bool {
	return subject != "" && (n.Subject == subject || slices.Contains(n.Letters, subject))
}

// AddNotice tells staff something. While a notice of this kind about this
// subject is open, it is brought up to date instead. So is one about another
// letter of the same sender in the same conversation: it stands for all of them,
// names each, and shows the latest.
func (tx *Tx) AddNotice(ctx context.Context, kind NoticeKind, subject string, text job.Message) error {
	id, err := tx.noticeFor(ctx, kind, subject)
	if err != nil {
		return err
	}
	if id != "" {
		err = tx.exec(ctx, `UPDATE notices SET subject = ?, text = ?, last = ?, times = times + 1 WHERE id = ?`, subject, keep(text), stamp(tx.now), id)
	} else if id, err = tx.newID(ctx, prefixNotice); err == nil {
		err = tx.exec(ctx, `INSERT INTO notices (id, kind, subject, text, state, made, last) VALUES (?, ?, ?, ?, 'open', ?, ?)`,
			id, kind, subject, keep(text), stamp(tx.now), stamp(tx.now))
	}
	if err != nil {
		return err
	}
	return tx.exec(ctx, `INSERT INTO notice_letters (notice, letter, text, at) SELECT ?, id, ?, ? FROM letters WHERE id = ?
		ON CONFLICT (notice, letter) DO UPDATE SET text = excluded.text, at = excluded.at`, id, keep(text), stamp(tx.now), subject)
}

// noticeFor finds the open notice that takes up another one of a kind, or "":
// about the very subject, or about a letter of the same sender and conversation.
func (tx *Tx) noticeFor(ctx context.Context, kind NoticeKind, subject string) (string, error) {
	const conversation = `(SELECT COALESCE(MIN(jobs.thread), '') FROM job_letters JOIN jobs ON jobs.id = job_letters.job WHERE job_letters.letter = `
	found, err := tx.words(ctx, `SELECT id FROM notices WHERE state = 'open' AND kind = ? AND (subject = ? OR id IN (SELECT notice FROM notice_letters WHERE letter = ?))
		UNION ALL SELECT n.id FROM letters me JOIN letters latest ON latest.from_address = me.from_address JOIN notices n ON n.subject = latest.id
			WHERE me.id = ? AND me.from_address <> '' AND n.state = 'open' AND n.kind = ? AND `+conversation+`me.id) = `+conversation+`latest.id)
		LIMIT 1`, kind, subject, subject, subject, kind)
	if err != nil || len(found) == 0 {
		return "", err
	}
	return found[0], nil
}

// unfold takes a letter that is forgotten out of its notices. One that stood for
// others too goes on with the latest of those.
func (tx *Tx) unfold(ctx context.Context, letter string) error {
	if err := tx.exec(ctx, `DELETE FROM notice_letters WHERE letter = ?`, letter); err != nil {
		return err
	}
	return tx.exec(ctx, `UPDATE notices SET (subject, text) = (SELECT letter, text FROM notice_letters WHERE notice = notices.id ORDER BY at DESC, letter DESC LIMIT 1)
		WHERE subject = ? AND EXISTS (SELECT 1 FROM notice_letters WHERE notice = notices.id)`, letter)
}

// CloseNotice records that a person dealt with it.
func (tx *Tx) CloseNotice(ctx context.Context, id, who string) error {
	n, err := tx.changed(ctx, `UPDATE notices SET state = 'done', done = ?, done_by = ? WHERE id = ? AND state = 'open'`, stamp(tx.now), who, id)
	if err != nil {
		return err
	}
	if n == 0 {
		return notFound("notice", id)
	}
	return tx.event(ctx, Event{Who: who, Subject: id, What: "notice-done"})
}

// CloseNoticeSeen is CloseNotice for who read the notice when it had come up so
// many times; where it has come up since, it gives ErrNoticeGrew.
func (tx *Tx) CloseNoticeSeen(ctx context.Context, id string, times int, who string) error {
	grown, err := tx.words(ctx, `SELECT id FROM notices WHERE id = ? AND state = 'open' AND times <> ?`, id, times)
	if err != nil {
		return err
	}
	if len(grown) > 0 {
		return &job.Fault{Message: job.Say("faults.notice-grew", job.Args{"notice": id}), Err: ErrNoticeGrew}
	}
	return tx.CloseNotice(ctx, id, who)
}

// SettleNotices closes what is open of a kind about a subject, once its cause is gone.
func (tx *Tx) SettleNotices(ctx context.Context, kind NoticeKind, subject, who string) error {
	return tx.exec(ctx, `UPDATE notices SET state = 'done', done = ?, done_by = ? WHERE kind = ? AND subject = ? AND state = 'open'`, stamp(tx.now), who, kind, subject)
}

// Notices lists the open ones, oldest first; with all, also those dealt with.
func (r Reader) Notices(ctx context.Context, all bool) ([]Notice, error) {
	where := `WHERE state = 'open'`
	if all {
		where = ``
	}
	return r.notices(ctx, where)
}

// Notice gives one notice.
func (r Reader) Notice(ctx context.Context, id string) (Notice, error) {
	list, err := r.notices(ctx, `WHERE id = ?`, id)
	if err == nil && len(list) == 0 {
		err = notFound("notice", id)
	}
	if err != nil {
		return Notice{}, err
	}
	return list[0], nil
}

func (r Reader) notices(ctx context.Context, where string, args ...any) ([]Notice, error) {
	var out []Notice
	err := r.each(ctx, `SELECT id, kind, subject, text, state = 'open', times, made, last, done, done_by FROM notices `+where+` ORDER BY made, id`, args, func(rows *sql.Rows) error {
		var n Notice
		err := rows.Scan(&n.ID, &n.Kind, &n.Subject, kept{&n.Text}, &n.Open, &n.Times, stamped{&n.Made}, stamped{&n.Last}, stamped{&n.Done}, &n.DoneBy)
		out = append(out, n)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, r.noticeLetters(ctx, out, where, args)
}

// noticeLetters fills in the letters of notices.
func (r Reader) noticeLetters(ctx context.Context, list []Notice, where string, args []any) error {
	at := make(map[string]int, len(list))
	for i, n := range list {
		at[n.ID] = i
	}
	return r.each(ctx, `SELECT notice, letter FROM notice_letters WHERE notice IN (SELECT id FROM notices `+where+`) ORDER BY at, letter`, args, func(rows *sql.Rows) error {
		var notice, letter string
		err := rows.Scan(&notice, &letter)
		if i, listed := at[notice]; listed {
			list[i].Letters = append(list[i].Letters, letter)
		}
		return err
	})
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

// SettleLetter takes a letter that was dealt with out of the open notice of a kind.
// The notice is closed with its last letter; one before that has a notice of its own,
// which says when it was dealt with and by whom.
func (tx *Tx) SettleLetter(ctx context.Context, kind NoticeKind, letter, who string) error {
	open, err := tx.words(ctx, `SELECT n.id FROM notices n WHERE n.state = 'open' AND n.kind = ? AND (n.subject = ? OR n.id IN (SELECT notice FROM notice_letters WHERE letter = ?))`, kind, letter, letter)
	if err != nil || len(open) == 0 {
		return err
	}
	others, err := tx.words(ctx, `SELECT letter FROM notice_letters WHERE notice = ? AND letter <> ?`, open[0], letter)
	if err != nil {
		return err
	}
	if len(others) > 0 {
		return tx.settleApart(ctx, open[0], letter, who)
	}
	return tx.exec(ctx, `UPDATE notices SET state = 'done', done = ?, done_by = ? WHERE id = ?`, stamp(tx.now), who, open[0])
}

// settleApart moves a letter of an open notice into a notice that is done.
func (tx *Tx) settleApart(ctx context.Context, notice, letter, who string) error {
	id, err := tx.newID(ctx, prefixNotice)
	if err != nil {
		return err
	}
	if err := tx.exec(ctx, `INSERT INTO notices (id, kind, subject, text, state, made, last, done, done_by)
		SELECT ?, n.kind, nl.letter, nl.text, 'done', nl.at, nl.at, ?, ? FROM notice_letters nl JOIN notices n ON n.id = nl.notice WHERE n.id = ? AND nl.letter = ?`,
		id, stamp(tx.now), who, notice, letter); err != nil {
		return err
	}
	if err := tx.unfold(ctx, letter); err != nil {
		return err
	}
	return tx.exec(ctx, `INSERT INTO notice_letters (notice, letter, text, at) SELECT id, subject, text, made FROM notices WHERE id = ?`, id)
}
