package ledger

import (
	"context"
	"database/sql"
	"errors"
)

// Watched says up to where a folder that approves or sets aside is known. A
// message at or below it was judged when it came and is not looked at again; the
// zero Watched knows nothing.
type Watched struct {
	UIDValidity uint32
	HighestUID  uint32
}

// Watched gives what is known of a folder.
func (r Reader) Watched(ctx context.Context, folder string) (Watched, error) {
	var w Watched
	err := r.q.QueryRowContext(ctx, `SELECT uidvalidity, highest_uid FROM watched_folders WHERE folder = ?`, folder).Scan(&w.UIDValidity, &w.HighestUID)
	if errors.Is(err, sql.ErrNoRows) {
		return Watched{}, nil
	}
	return w, r.l.plain(err)
}

// SaveWatched records up to where a folder is known. Within one UIDVALIDITY it
// never goes back.
func (tx *Tx) SaveWatched(ctx context.Context, folder string, w Watched) error {
	return tx.exec(ctx, `INSERT INTO watched_folders (folder, uidvalidity, highest_uid) VALUES (?, ?, ?)
		ON CONFLICT (folder) DO UPDATE SET uidvalidity = excluded.uidvalidity,
			highest_uid = CASE WHEN watched_folders.uidvalidity = excluded.uidvalidity AND watched_folders.highest_uid > excluded.highest_uid THEN watched_folders.highest_uid ELSE excluded.highest_uid END`,
		folder, w.UIDValidity, w.HighestUID)
}

// PassOver remembers a message in such a folder that is no person's act, so that
// it is not judged, or told of, again. first is false where it was known.
func (tx *Tx) PassOver(ctx context.Context, p Place, why string) (first bool, err error) {
	n, err := tx.changed(ctx, `INSERT INTO passed_over (folder, uidvalidity, uid, why, at) VALUES (?, ?, ?, ?, ?) ON CONFLICT (folder, uidvalidity, uid) DO NOTHING`,
		p.Folder, p.UIDValidity, p.UID, why, stamp(tx.now))
	return n == 1, err
}

// SeenMove tells whether a message at this place was dealt with, and how.
func (r Reader) SeenMove(ctx context.Context, p Place) (MoveOutcome, bool, error) {
	w, err := r.words(ctx, `SELECT outcome FROM folder_moves WHERE folder = ? AND uidvalidity = ? AND uid = ?
		UNION ALL SELECT ? FROM passed_over WHERE folder = ? AND uidvalidity = ? AND uid = ?`,
		p.Folder, p.UIDValidity, p.UID, string(MoveRefused), p.Folder, p.UIDValidity, p.UID)
	if err != nil || len(w) == 0 {
		return "", false, err
	}
	return MoveOutcome(w[0]), true, nil
}
