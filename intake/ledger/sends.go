package ledger

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"meshclerk/intake/job"
)

// Outcome is how a try to send ended.
type Outcome string

// How a try may end.
const (
	Delivered Outcome = "sent"      // the server took the message
	Uncertain Outcome = "uncertain" // no answer after the final dot
	Refused   Outcome = "refused"   // no, for good
	Later     Outcome = "later"     // certainly not taken this time; may be tried again
)

// Send is one try.
type Send struct {
	ID       int64     `json:"id"`
	Draft    string    `json:"draft"`
	SHA256   string    `json:"sha256"`
	Owner    string    `json:"owner"`
	Begun    time.Time `json:"begun"`
	Ended    time.Time `json:"ended,omitzero"`
	Outcome  string    `json:"outcome"` // "open" while under way, "not-sent" when a person settled it so
	Words    string    `json:"words,omitempty"`
	Approval int64     `json:"approval"`
}

// BeginSend commits that an approved draft is being sent, and gives the exact
// bytes that were approved, read back from disk and hashed. Only after it
// returned may a byte of them leave.
func (l *Ledger) BeginSend(ctx context.Context, id, owner string) (Send, []byte, error) {
	var raw []byte
	s, err := in(ctx, l, func(tx *Tx) (s Send, err error) {
		s, raw, err = tx.beginSend(ctx, id, owner)
		return s, err
	})
	if err != nil {
		return Send{}, nil, err
	}
	return s, raw, nil
}

func (tx *Tx) beginSend(ctx context.Context, id, owner string) (Send, []byte, error) {
	d, err := tx.Draft(ctx, id)
	switch {
	case err != nil:
		return Send{}, nil, err
	case d.State != DraftApproved || d.Approval == nil:
		return Send{}, nil, &DraftStateError{Draft: id, State: d.State, Wanted: job.Say("faults.draft.sent", nil), Hint: job.Say("faults.draft.only-approved", nil)}
	case d.Approval.SHA256 != d.SHA256:
		return Send{}, nil, job.Refuse(job.Say("faults.not-what-approved", job.Args{"draft": id, "by": d.Approval.By}))
	}
	raw, err := tx.l.readBlob(d.Approval.SHA256)
	if err != nil {
		return Send{}, nil, &job.Fault{Message: job.Say("faults.not-sent", job.Args{"draft": id, "why": job.Why(err)}), Err: err}
	}
	s := Send{Draft: id, SHA256: d.SHA256, Owner: owner, Begun: tx.now, Outcome: "open", Approval: d.Approval.ID}
	s.ID, err = tx.insert(ctx, `INSERT INTO sends (draft, approval, sha256, owner, begun) VALUES (?, ?, ?, ?, ?) RETURNING id`,
		id, s.Approval, s.SHA256, owner, stamp(s.Begun))
	if err != nil {
		return Send{}, nil, fmt.Errorf("another try to send draft %s is on record: %w", id, err)
	}
	return s, raw, tx.moveDraft(ctx, d, DraftSending, owner, job.Message{})
}

// EndSend records how a try ended, with the server's words.
func (tx *Tx) EndSend(ctx context.Context, s Send, o Outcome, words job.Message, who string) error {
	to, ok := map[Outcome]DraftState{Delivered: DraftSent, Uncertain: DraftUncertain, Refused: DraftFailed, Later: DraftApproved}[o]
	if !ok {
		return fmt.Errorf("a try to send cannot end as %q", o)
	}
	n, err := tx.changed(ctx, `UPDATE sends SET outcome = ?, ended = ?, words = ? WHERE id = ? AND outcome = 'open'`, string(o), stamp(tx.now), keep(words), s.ID)
	if err != nil {
		return err
	}
	if n != 1 {
		return fmt.Errorf("the try to send draft %s is not under way any more; its end was recorded before", s.Draft)
	}
	d, err := tx.Draft(ctx, s.Draft)
	if err != nil {
		return err
	}
	if err := tx.moveDraft(ctx, d, to, who, words); err != nil {
		return err
	}
	return tx.tellOfSend(ctx, d, o, words)
}

func (tx *Tx) tellOfSend(ctx context.Context, d Draft, o Outcome, words job.Message) error {
	switch o {
	case Uncertain:
		return tx.AddNotice(ctx, NoticeSendDoubt, d.ID, job.Say("notices.send-uncertain", job.Args{"draft": d.ID, "why": words}))
	case Refused:
		return tx.AddNotice(ctx, NoticeSendRefused, d.ID, job.Say("notices.send-refused", job.Args{"draft": d.ID, "why": words}))
	}
	return nil
}

// Settle records a person's finding about an uncertain draft: it was sent, or it
// was not and waits for approval again.
func (tx *Tx) Settle(ctx context.Context, id string, sent bool, by string, why job.Message) error {
	if by == "" || by == Robot {
		return fmt.Errorf("whether draft %s was sent is settled by a person; say by whom", id)
	}
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	if d.State != DraftUncertain {
		return &DraftStateError{Draft: id, State: d.State, Wanted: job.Say("faults.draft.settled", nil), Hint: job.Say("faults.draft.only-uncertain", nil)}
	}
	outcome, to := string(Delivered), DraftSent
	if !sent {
		outcome, to = "not-sent", DraftWaiting
	}
	if err := tx.exec(ctx, `UPDATE sends SET outcome = ? WHERE draft = ? AND outcome = 'uncertain'`, outcome, id); err != nil {
		return err
	}
	if err := tx.moveDraft(ctx, d, to, by, why); err != nil {
		return err
	}
	return tx.SettleNotices(ctx, NoticeSendDoubt, id, by)
}

// RecoverSends makes uncertain what a sender of that name left open when it
// died, and gives those drafts. For a single robot, at its start; "" is any sender.
func (l *Ledger) RecoverSends(ctx context.Context, owner string) ([]Draft, error) {
	return in(ctx, l, func(tx *Tx) ([]Draft, error) {
		open, err := tx.sends(ctx, `WHERE outcome = 'open' AND (owner = ? OR ? = '') ORDER BY id`, owner, owner)
		if err != nil {
			return nil, err
		}
		var out []Draft
		for _, s := range open {
			if err := tx.EndSend(ctx, s, Uncertain, job.Say("history.stopped-sending", nil), Robot); err != nil {
				return nil, err
			}
			d, err := tx.Draft(ctx, s.Draft)
			if err != nil {
				return nil, err
			}
			out = append(out, d)
		}
		return out, nil
	})
}

// Sends gives every try to send a draft, oldest first.
func (r Reader) Sends(ctx context.Context, draft string) ([]Send, error) {
	return r.sends(ctx, `WHERE draft = ? ORDER BY id`, draft)
}

func (r Reader) sends(ctx context.Context, where string, args ...any) ([]Send, error) {
	var out []Send
	err := r.each(ctx, `SELECT id, draft, approval, sha256, owner, begun, ended, outcome, words FROM sends `+where, args, func(rows *sql.Rows) error {
		var s Send
		err := rows.Scan(&s.ID, &s.Draft, &s.Approval, &s.SHA256, &s.Owner, stamped{&s.Begun}, stamped{&s.Ended}, &s.Outcome, &s.Words)
		out = append(out, s)
		return err
	})
	return out, err
}
