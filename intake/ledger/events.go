package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"meshclerk/intake/job"
)

// Event is one change of something, as it stays on record.
type Event struct {
	Seq     int64       `json:"seq"`
	At      time.Time   `json:"at"`
	Who     string      `json:"who"`     // Robot, "patron", or the name of one of the staff; stays when the patron is forgotten
	Subject string      `json:"subject"` // id of a letter, job, draft …
	What    string      `json:"what"`    // "made", "moved", "approved" …
	From    string      `json:"from,omitempty"`
	To      string      `json:"to,omitempty"`
	Why     job.Message `json:"why,omitzero"`
}

// What an event says happened to a job's stage. Rebuild reads these.
const (
	whatMade  = "made"
	whatMoved = "moved"
)

func (tx *Tx) event(ctx context.Context, e Event) error {
	if e.Who == "" {
		return fmt.Errorf("a change of %s (%s) does not say who makes it", e.Subject, e.What)
	}
	return tx.exec(ctx, `INSERT INTO events (at, who, subject, what, from_state, to_state, why) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		stamp(tx.now), e.Who, e.Subject, e.What, e.From, e.To, keep(e.Why))
}

// Note puts a remark into the history of a letter, job or draft.
func (tx *Tx) Note(ctx context.Context, subject, what, who string, why job.Message) error {
	return tx.event(ctx, Event{Who: who, Subject: subject, What: what, Why: why})
}

const selectEvents = `SELECT seq, at, who, subject, what, from_state, to_state, why FROM events `

func (r Reader) events(ctx context.Context, where string, args ...any) ([]Event, error) {
	var out []Event
	err := r.each(ctx, selectEvents+where, args, func(rows *sql.Rows) error {
		var e Event
		err := rows.Scan(&e.Seq, stamped{&e.At}, &e.Who, &e.Subject, &e.What, &e.From, &e.To, kept{&e.Why})
		out = append(out, e)
		return err
	})
	return out, err
}

// Events gives what happened to one letter, draft or job itself, oldest first.
func (r Reader) Events(ctx context.Context, subject string) ([]Event, error) {
	return r.events(ctx, `WHERE subject = ? ORDER BY seq`, subject)
}

// History gives everything that happened to a job, its letters and its drafts, oldest first.
func (r Reader) History(ctx context.Context, id job.ID) ([]Event, error) {
	return r.events(ctx, `WHERE subject = ?
		OR subject IN (SELECT letter FROM job_letters WHERE job = ?)
		OR subject IN (SELECT draft FROM draft_jobs WHERE job = ?) ORDER BY seq`, string(id), string(id), string(id))
}

func replay(id job.ID, events []Event) (job.Stage, error) {
	stage := job.Stage("")
	for _, e := range events {
		from, to := job.Stage(e.From), job.Stage(e.To)
		switch {
		case e.What == whatMade && stage == "" && from == "":
		case e.What == whatMoved && stage != "" && from == stage && job.MayGo(from, to):
		default:
			return "", fmt.Errorf("event %d of job %s does not follow from the ones before: %s from %q to %q, while the job was %q", e.Seq, id, e.What, from, to, stage)
		}
		stage = to
	}
	if stage == "" {
		return "", notFound("history", string(id))
	}
	return stage, nil
}
