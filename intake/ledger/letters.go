package ledger

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"meshclerk/intake/job"
)

// LetterState says how far a letter is worked on.
type LetterState string

// The states of a letter.
const (
	LetterTaken     LetterState = "taken" // durably ours
	LetterRead      LetterState = "read"  // understood
	LetterDone      LetterState = "done"  // everything it asks for is on its way
	LetterLeftAlone LetterState = "left-alone"
	LetterSetAside  LetterState = "set-aside" // needs a person
	LetterDuplicate LetterState = "duplicate" // a copy of another letter, byte for byte
)

// TakenLetter is a letter whose raw bytes are stored already (PutBlob), or are
// about to be (TakeRaw).
type TakenLetter struct {
	Folder      string
	UIDValidity uint32
	UID         uint32
	SHA256      string
	Bytes       int64
	MessageID   string // a hint
	ReceivedAt  time.Time
}

// Letter is a letter on record.
type Letter struct {
	ID          string      `json:"id"`
	SHA256      string      `json:"sha256"`
	Raw         bool        `json:"raw"` // the raw bytes are still kept
	Bytes       int64       `json:"bytes"`
	Folder      string      `json:"folder"`
	UIDValidity uint32      `json:"uidvalidity"`
	UID         uint32      `json:"uid"`
	MessageID   string      `json:"message_id"`
	ReceivedAt  time.Time   `json:"received_at"`
	TakenAt     time.Time   `json:"taken_at"`
	State       LetterState `json:"state"`
	Why         job.Message `json:"why,omitzero"`
	DuplicateOf string      `json:"duplicate_of,omitempty"`
	Parsed      *job.Letter `json:"letter,omitempty"` // nil until read
	Jobs        []job.ID    `json:"jobs,omitempty"`
}

// Take records a letter and its first step, or recognises one that was taken
// before: at the same place with the same hash, or, after a change of
// UIDVALIDITY, with the same hash in the same folder. Only a fresh letter has
// work to do. A second letter with the same bytes and UIDVALIDITY is recorded
// as a duplicate, and is not fresh.
func (tx *Tx) Take(ctx context.Context, t TakenLetter) (id string, fresh bool, err error) {
	id, sha, err := tx.letterAt(ctx, t)
	if err != nil {
		return "", false, err
	}
	if id != "" && sha == t.SHA256 {
		return tx.seenAgain(t, id)
	}
	reused := id // the same number, other bytes: the server broke its word
	known, err := tx.knownByHash(ctx, t)
	if err != nil {
		return "", false, err
	}
	if known.id != "" && known.otherNumbering {
		if err := tx.place(ctx, t, known.id); err != nil {
			return "", false, err
		}
		return tx.seenAgain(t, known.id)
	}
	id, err = tx.insertLetter(ctx, t, known.id)
	if err != nil {
		return "", false, err
	}
	if err := tx.place(ctx, t, id); err != nil {
		return "", false, err
	}
	if reused != "" {
		err = tx.AddNotice(ctx, NoticeNumberReused, id, job.Say("notices.number-reused", job.Args{"known": reused, "letter": id, "folder": t.Folder}))
		if err != nil {
			return "", false, err
		}
	}
	if known.id != "" {
		return id, false, nil
	}
	if tx.l.forgets.letters[tx.l.forgets.digest(ofLetter, t.SHA256)] {
		return id, false, tx.wasForgotten(ctx, id)
	}
	return id, true, tx.Enqueue(ctx, StepRead, id, time.Time{})
}

// wasForgotten is for a letter that lies in the mailbox still, and was forgotten
// before this ledger was restored from a backup that did not know it.
func (tx *Tx) wasForgotten(ctx context.Context, id string) error {
	if err := tx.SetLetter(ctx, id, LetterLeftAlone, Robot, job.Message{}); err != nil {
		return err
	}
	return tx.blankLetter(ctx, id)
}

// seenAgain is a letter on record. Where it was forgotten, its bytes must not
// stay because it was seen again.
func (tx *Tx) seenAgain(t TakenLetter, id string) (string, bool, error) {
	tx.freed = append(tx.freed, t.SHA256)
	return id, false, nil
}

// RawLetter is a letter whose bytes were received, and are not durable yet.
// TakeRaw fills in its SHA256 and Bytes, and then ID and Fresh.
type RawLetter struct {
	TakenLetter
	Raw   *BlobWriter
	ID    string
	Fresh bool
}

// TakeRaw keeps the raw bytes of some letters and takes the letters, all in one
// transaction: after an error none of them is taken. Their bytes are brought to
// disk side by side, since it is the disk that is waited for.
func (l *Ledger) TakeRaw(ctx context.Context, letters ...*RawLetter) error {
	var flushed errgroup.Group
	for _, w := range letters {
		defer w.Raw.Abort()
		flushed.Go(w.Raw.sync)
	}
	if err := flushed.Wait(); err != nil {
		return err
	}
	return l.Tx(ctx, func(tx *Tx) error {
		var raw []*BlobWriter
		for _, w := range letters {
			raw = append(raw, w.Raw)
		}
		if err := tx.adopt(ctx, raw...); err != nil {
			return err
		}
		for _, w := range letters {
			var err error
			w.SHA256, w.Bytes = w.Raw.SHA256(), w.Raw.Size()
			if w.ID, w.Fresh, err = tx.Take(ctx, w.TakenLetter); err != nil {
				return err
			}
		}
		return nil
	})
}

func (tx *Tx) letterAt(ctx context.Context, t TakenLetter) (id, sha string, err error) {
	err = tx.q.QueryRowContext(ctx, `SELECT l.id, l.sha256 FROM letter_places p JOIN letters l ON l.id = p.letter
		WHERE p.folder = ? AND p.uidvalidity = ? AND p.uid = ?`, t.Folder, t.UIDValidity, t.UID).Scan(&id, &sha)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", nil
	}
	return id, sha, err
}

// sameBytes is a letter with the hash at hand.
type sameBytes struct {
	id             string
	otherNumbering bool // it has no place yet under the UIDVALIDITY at hand
}

// knownByHash looks for the hash in the folder. A letter that was only seen
// under other numberings is preferred, since that is the same letter again; of
// two copies each is found once.
func (tx *Tx) knownByHash(ctx context.Context, t TakenLetter) (sameBytes, error) {
	var found sameBytes
	err := tx.q.QueryRowContext(ctx, `SELECT id,
			NOT EXISTS (SELECT 1 FROM letter_places p WHERE p.letter = letters.id AND p.folder = ? AND p.uidvalidity = ?) AS other
		FROM letters WHERE sha256 = ? AND folder = ? ORDER BY 2 DESC, id LIMIT 1`,
		t.Folder, t.UIDValidity, t.SHA256, t.Folder).Scan(&found.id, &found.otherNumbering)
	if errors.Is(err, sql.ErrNoRows) {
		return sameBytes{}, nil
	}
	return found, err
}

// place records where a letter was seen. A number given to other bytes points
// to the newer letter from then on.
func (tx *Tx) place(ctx context.Context, t TakenLetter, letter string) error {
	return tx.exec(ctx, `INSERT INTO letter_places (folder, uidvalidity, uid, letter, seen) VALUES (?, ?, ?, ?, ?)
		ON CONFLICT (folder, uidvalidity, uid) DO UPDATE SET letter = excluded.letter, seen = excluded.seen`,
		t.Folder, t.UIDValidity, t.UID, letter, stamp(tx.now))
}

func (tx *Tx) insertLetter(ctx context.Context, t TakenLetter, duplicateOf string) (string, error) {
	id, err := tx.newID(ctx, prefixLetter)
	if err != nil {
		return "", err
	}
	state, why := LetterTaken, job.Message{}
	if duplicateOf != "" {
		state, why = LetterDuplicate, job.Say("history.duplicate", job.Args{"letter": duplicateOf})
	}
	err = tx.exec(ctx, `INSERT INTO letters (id, sha256, raw, bytes, folder, uidvalidity, uid, message_id, received, taken, state, why, duplicate_of)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		id, t.SHA256, t.SHA256, t.Bytes, t.Folder, t.UIDValidity, t.UID, t.MessageID, stamp(t.ReceivedAt), stamp(tx.now), state, keep(why), orNull(duplicateOf))
	if err != nil {
		return "", fmt.Errorf("the letter cannot be recorded (were its bytes stored first?): %w", err)
	}
	return id, tx.event(ctx, Event{Who: Robot, Subject: id, What: "taken", To: string(state), Why: why})
}

// SeenAt tells which letter was taken from a place in a mailbox, or "".
func (r Reader) SeenAt(ctx context.Context, folder string, uidvalidity, uid uint32) (string, error) {
	var id string
	err := r.q.QueryRowContext(ctx, `SELECT letter FROM letter_places WHERE folder = ? AND uidvalidity = ? AND uid = ?`, folder, uidvalidity, uid).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return id, r.l.plain(err)
}

// SaveParsed records how a letter was understood, and which of its attachments
// are kept: those with a SHA256, whose bytes must be stored already.
func (tx *Tx) SaveParsed(ctx context.Context, id string, p job.Letter, who string) error {
	doc, err := json.Marshal(p)
	if err != nil {
		return err
	}
	from, err := tx.letterState(ctx, id)
	if err != nil {
		return err
	}
	err = tx.exec(ctx, `UPDATE letters SET from_address = ?, from_name = ?, subject = ?, dated = ?, disposition = ?, doc = ?,
			message_id = CASE WHEN ? <> '' THEN ? ELSE message_id END,
			state = CASE WHEN state = 'taken' THEN 'read' ELSE state END WHERE id = ?`,
		p.From.Address, p.From.Name, p.Subject, stamp(p.Date), string(p.Disposition), string(doc), p.MessageID, p.MessageID, id)
	if err != nil {
		return err
	}
	if err := tx.saveFiles(ctx, id, p.Attachments); err != nil {
		return err
	}
	return tx.event(ctx, Event{Who: who, Subject: id, What: "read", From: string(from), To: string(LetterRead), Why: p.Why})
}

func (tx *Tx) saveFiles(ctx context.Context, id string, files []job.Attachment) error {
	old, err := tx.words(ctx, `SELECT blob FROM letter_files WHERE letter = ?`, id)
	if err != nil {
		return err
	}
	tx.freed = append(tx.freed, old...)
	if err := tx.exec(ctx, `DELETE FROM letter_files WHERE letter = ?`, id); err != nil {
		return err
	}
	for _, a := range files {
		if a.SHA256 == "" {
			continue
		}
		stored, err := tx.words(ctx, `SELECT sha256 FROM blobs WHERE sha256 = ?`, a.SHA256)
		if err != nil {
			return err
		}
		if len(stored) == 0 {
			continue // hashed, but not kept
		}
		err = tx.exec(ctx, `INSERT INTO letter_files (letter, blob, name, kind) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING`, id, a.SHA256, a.Name, string(a.Kind))
		if err != nil {
			return err
		}
	}
	return nil
}

func (r Reader) letterState(ctx context.Context, id string) (LetterState, error) {
	var s LetterState
	err := r.q.QueryRowContext(ctx, `SELECT state FROM letters WHERE id = ?`, id).Scan(&s)
	if errors.Is(err, sql.ErrNoRows) {
		return "", notFound("letter", id)
	}
	return s, r.l.plain(err)
}

// SetLetter records that a letter is done, left alone or set aside, and why.
func (tx *Tx) SetLetter(ctx context.Context, id string, state LetterState, who string, why job.Message) error {
	from, err := tx.letterState(ctx, id)
	if err != nil {
		return err
	}
	if from == LetterDuplicate || state == LetterDuplicate || state == LetterTaken {
		return fmt.Errorf("letter %s is %s and cannot be made %s", id, from, state)
	}
	if err := tx.exec(ctx, `UPDATE letters SET state = ?, why = ? WHERE id = ?`, string(state), keep(why), id); err != nil {
		return err
	}
	if state == LetterSetAside {
		if err := tx.knowSender(ctx, id); err != nil {
			return err
		}
	}
	return tx.event(ctx, Event{Who: who, Subject: id, What: "letter", From: string(from), To: string(state), Why: why})
}

// Again puts a letter that was set aside back to its first step.
func (tx *Tx) Again(ctx context.Context, id, who string, why job.Message) error {
	from, err := tx.letterState(ctx, id)
	if err != nil {
		return err
	}
	if from != LetterSetAside && from != LetterLeftAlone {
		return job.Refuse(job.Say("faults.letter-not-again", job.Args{"letter": id, "state": job.Say("codes.letter."+string(from), nil)}))
	}
	n, err := tx.changed(ctx, `UPDATE letters SET state = 'taken', why = '' WHERE id = ? AND raw IS NOT NULL`, id)
	if err != nil {
		return err
	}
	if n == 0 {
		return job.Refuse(job.Say("faults.letter-forgotten", job.Args{"letter": id}))
	}
	if err := tx.event(ctx, Event{Who: who, Subject: id, What: "letter", From: string(from), To: string(LetterTaken), Why: why}); err != nil {
		return err
	}
	return tx.Enqueue(ctx, StepRead, id, time.Time{})
}

const selectLetters = `SELECT id, sha256, raw IS NOT NULL, bytes, folder, uidvalidity, uid, message_id, received, taken, state, why,
	COALESCE(duplicate_of, ''), doc FROM letters `

// Letter gives one letter.
func (r Reader) Letter(ctx context.Context, id string) (Letter, error) {
	list, err := r.letters(ctx, `WHERE id = ?`, id)
	if err == nil && len(list) == 0 {
		err = notFound("letter", id)
	}
	if err != nil {
		return Letter{}, err
	}
	jobs, err := r.words(ctx, `SELECT job FROM job_letters WHERE letter = ? ORDER BY job`, id)
	list[0].Jobs = ids(jobs)
	return list[0], err
}

// Letters gives the newest letters, of some states where any are named.
func (r Reader) Letters(ctx context.Context, limit int, states ...LetterState) ([]Letter, error) {
	where, args := "", anys(states)
	if len(states) > 0 {
		where = `WHERE state IN (` + marks(len(states)) + `) `
	}
	return r.letters(ctx, where+`ORDER BY taken DESC, id DESC LIMIT ?`, append(args, limit)...)
}

// LettersOf gives the letters of a job, oldest first.
func (r Reader) LettersOf(ctx context.Context, id job.ID) ([]Letter, error) {
	return r.letters(ctx, `WHERE id IN (SELECT letter FROM job_letters WHERE job = ?) ORDER BY taken, id`, string(id))
}

func (r Reader) letters(ctx context.Context, where string, args ...any) ([]Letter, error) {
	var out []Letter
	err := r.each(ctx, selectLetters+where, args, func(rows *sql.Rows) error {
		var l Letter
		var doc string
		err := rows.Scan(&l.ID, &l.SHA256, &l.Raw, &l.Bytes, &l.Folder, &l.UIDValidity, &l.UID, &l.MessageID,
			stamped{&l.ReceivedAt}, stamped{&l.TakenAt}, &l.State, kept{&l.Why}, &l.DuplicateOf, &doc)
		if err == nil && doc != "" {
			l.Parsed = new(job.Letter)
			err = json.Unmarshal([]byte(doc), l.Parsed)
		}
		out = append(out, l)
		return err
	})
	return out, err
}

func ids(words []string) []job.ID {
	out := make([]job.ID, len(words))
	for i, w := range words {
		out[i] = job.ID(w)
	}
	return out
}
