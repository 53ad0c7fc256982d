package ledger

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"meshclerk/intake/job"
)

// Problem is something about a ledger that is not whole.
type Problem struct {
	Subject string `json:"subject"` // what it is about: an id, a hash, or "database"
	What    string `json:"what"`    // one sentence: what is wrong, and what to do
}

// maxIntegrity bounds how many lines the database may say about itself.
const maxIntegrity = 100

// Verify proves that the ledger is whole: the database is sound, every stored
// file is there with its hash, every draft on its way has an approval of exactly
// its bytes and was delivered once at most, and every job's history leads to its
// stage. It only reads; the robot may go on meanwhile. No problems is a nil list.
func (l *Ledger) Verify(ctx context.Context) ([]Problem, error) {
	v := &verifier{l: l, ctx: ctx}
	for _, check := range []func() error{v.database, v.blobs, v.drafts, v.jobs, v.agreed, v.letters} {
		if err := check(); err != nil {
			return v.found, err
		}
	}
	return v.found, nil
}

type verifier struct {
	l     *Ledger
	ctx   context.Context
	found []Problem
}

func (v *verifier) say(subject, format string, args ...any) {
	v.found = append(v.found, Problem{subject, fmt.Sprintf(format, args...)})
}

func (v *verifier) database() error {
	lines, err := v.l.words(v.ctx, fmt.Sprintf(`PRAGMA integrity_check(%d)`, maxIntegrity))
	if err != nil {
		return err
	}
	for _, line := range lines {
		if line != "ok" {
			v.say("database", "the database is damaged (%s); stop the service and restore the last backup", line)
		}
	}
	return v.l.each(v.ctx, `PRAGMA foreign_key_check`, nil, func(rows *sql.Rows) error {
		var table, parent string
		var row sql.NullInt64
		var key int64
		err := rows.Scan(&table, &row, &parent, &key)
		v.say("database", "row %d of %s refers to a row of %s that is not there; restore the last backup", row.Int64, table, parent)
		return err
	})
}

func (v *verifier) blobs() error {
	type stored struct {
		sha, kind string
		size      int64
	}
	var all []stored
	err := v.l.each(v.ctx, `SELECT sha256, kind, size FROM blobs ORDER BY sha256`, nil, func(rows *sql.Rows) error {
		var s stored
		err := rows.Scan(&s.sha, &s.kind, &s.size)
		all = append(all, s)
		return err
	})
	if err != nil {
		return err
	}
	for _, s := range all {
		if err := v.ctx.Err(); err != nil {
			return err
		}
		got, n, err := v.l.hashFile(s.sha)
		switch {
		case errors.Is(err, ErrNotFound):
			gone, err := v.forgottenSince(s.sha)
			if err != nil {
				return err
			}
			if !gone {
				v.say(s.sha, "the stored %s %s is missing; put it back from a backup, or take the letter in again", s.kind, blobName(s.sha))
			}
		case err != nil:
			v.say(s.sha, "the stored %s %s cannot be read (%v); put it back from a backup", s.kind, blobName(s.sha), err)
		case got != s.sha:
			v.say(s.sha, "the stored %s %s was changed: its %d bytes have the hash %s; put it back from a backup", s.kind, blobName(s.sha), n, got)
		}
	}
	return nil
}

// forgottenSince tells whether a blob was removed while we looked.
func (v *verifier) forgottenSince(sha string) (bool, error) {
	still, err := v.l.words(v.ctx, `SELECT sha256 FROM blobs WHERE sha256 = ?`, sha)
	return len(still) == 0, err
}

// hashFile hashes a blob as it lies on disk.
func (l *Ledger) hashFile(sha string) (string, int64, error) {
	f, err := l.OpenBlob(sha)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return hex.EncodeToString(h.Sum(nil)), n, err
}

// drafts holds every draft against its approval and its sends.
func (v *verifier) drafts() error {
	all, err := v.l.Drafts(v.ctx, DraftFilter{})
	if err != nil {
		return err
	}
	for _, d := range all {
		v.draft(d)
	}
	return v.l.each(v.ctx, `SELECT s.draft, s.sha256, COALESCE(a.sha256, ''), COALESCE(a.draft, '') FROM sends s LEFT JOIN approvals a ON a.id = s.approval`, nil, func(rows *sql.Rows) error {
		var draft, sent, approved, of string
		err := rows.Scan(&draft, &sent, &approved, &of)
		if err == nil && (sent != approved || draft != of) {
			v.say(draft, "draft %s was sent with other bytes than were approved; look who changed the ledger", draft)
		}
		return err
	})
}

func (v *verifier) draft(d Draft) {
	switch d.State {
	case DraftApproved, DraftSending, DraftSent, DraftUncertain:
		if d.Approval == nil {
			v.say(d.ID, "draft %s is %s without an approval; look who changed the ledger", d.ID, d.State)
			return
		}
	}
	if d.Approval != nil && d.Approval.SHA256 != d.SHA256 {
		v.say(d.ID, "draft %s is not what %s approved; set it aside", d.ID, d.Approval.By)
	}
}

// jobs derives every job's stage again from its history.
func (v *verifier) jobs() error {
	events := map[string][]Event{}
	all, err := v.l.events(v.ctx, `WHERE what IN (?, ?) ORDER BY seq`, whatMade, whatMoved)
	if err != nil {
		return err
	}
	for _, e := range all {
		events[e.Subject] = append(events[e.Subject], e)
	}
	return v.l.each(v.ctx, `SELECT id, stage FROM jobs ORDER BY id`, nil, func(rows *sql.Rows) error {
		var id, stage string
		if err := rows.Scan(&id, &stage); err != nil {
			return err
		}
		rebuilt, err := replay(job.ID(id), events[id])
		if err != nil {
			v.say(id, "the history of job %s has a gap (%v); restore the last backup", id, err)
		} else if string(rebuilt) != stage && len(events[id]) == v.eventsNow(id) {
			v.say(id, "job %s is %s, but its history leads to %s; restore the last backup", id, stage, rebuilt)
		}
		return nil
	})
}

// agreed holds what is on the print list against what was agreed to.
func (v *verifier) agreed() error {
	without, err := v.l.words(v.ctx, `SELECT id FROM jobs WHERE stage IN ('agreed', 'printing') AND forgotten = '' AND terms <> '' AND NOT EXISTS
		(SELECT 1 FROM yeses y WHERE y.job = jobs.id AND y.state = 'counts' AND (y.terms = jobs.terms OR y.terms = ''))`)
	for _, id := range without {
		v.say(id, "job %s is on the print list, but nobody is on record as having said yes to it as it is; look who changed the ledger, and send a new offer", id)
	}
	return err
}

// eventsNow counts a job's moves again, since it may have moved while we looked.
func (v *verifier) eventsNow(id string) int {
	now, err := v.l.events(v.ctx, `WHERE subject = ? AND what IN (?, ?)`, id, whatMade, whatMoved)
	if err != nil {
		return -1
	}
	return len(now)
}

// letters looks for a letter that nobody will work on.
func (v *verifier) letters() error {
	lost, err := v.l.words(v.ctx, `SELECT id FROM letters WHERE state = 'taken' AND forgotten = '' AND NOT EXISTS
		(SELECT 1 FROM steps WHERE subject = letters.id AND state IN ('waiting', 'leased'))`)
	for _, id := range lost {
		v.say(id, "letter %s was taken, but no work on it is planned; have it read again", id)
	}
	return err
}
