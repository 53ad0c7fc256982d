package ledger

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"meshclerk/intake/job"
)

// A ledger that is older than its mailbox was restored from a backup. It is
// then held: nothing is posted or sent until a person has looked at what was
// found and says go on.

// Held is the trouble of steps that wait until a person says go on.
const Held Trouble = "restored"

// ViaSentFolder is the way of approving what a person finds to have been sent.
const ViaSentFolder = "sent-folder"

const metaRestored = "restored"

// FoundSent is a reply of ours in the Sent folder that the ledger does not know
// as sent, or, where Sent is zero, a draft in another folder that it does not know.
type FoundSent struct {
	MessageID string    `json:"message_id"`
	Draft     string    `json:"draft,omitempty"`  // where the ledger knows it
	Answers   string    `json:"-"`                // Message-ID of the letter that it answers; kept as a hash
	Letter    string    `json:"letter,omitempty"` // that letter, where the ledger knows it; filled in when read
	Place     Place     `json:"place"`
	Sent      time.Time `json:"sent,omitzero"`
}

// LastEvent tells when the ledger last recorded anything; zero for a new one.
func (r Reader) LastEvent(ctx context.Context) (time.Time, error) {
	var t time.Time
	err := r.q.QueryRowContext(ctx, `SELECT COALESCE(MAX(at), '') FROM events`).Scan(stamped{&t})
	return t, r.l.plain(err)
}

// KnowsSent reports whether a Message-ID of ours in the Sent folder is no news:
// its draft is on record as sent, or may have been, or was forgotten, or it was
// found before. It gives the draft where one waits as if it had not been sent.
func (r Reader) KnowsSent(ctx context.Context, messageID, id string) (known bool, waiting string, err error) {
	d, err := r.DraftByMessageID(ctx, messageID)
	switch {
	case err == nil:
		open := slices.Contains([]DraftState{DraftWaiting, DraftApproved, DraftFailed, DraftSetAside}, d.State)
		return !open, d.ID, nil
	case !errors.Is(err, ErrNotFound):
		return false, "", err
	}
	before, err := r.words(ctx, `SELECT id FROM drafts WHERE id = ? AND id NOT IN (SELECT draft FROM draft_message_ids)
		UNION ALL SELECT message_id FROM found_sent WHERE message_id = ?`, id, messageID)
	return len(before) > 0, "", err
}

// Hold records that the ledger is older than its mailbox, as what was found shows.
func (tx *Tx) Hold(ctx context.Context, found []FoundSent, why job.Message) error {
	for _, f := range found {
		err := tx.exec(ctx, `INSERT INTO found_sent (message_id, draft, answers, folder, uidvalidity, uid, sent, found) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
			ON CONFLICT (message_id) DO UPDATE SET draft = excluded.draft, folder = excluded.folder, uidvalidity = excluded.uidvalidity, uid = excluded.uid`,
			f.MessageID, f.Draft, hashed(f.Answers), f.Place.Folder, f.Place.UIDValidity, f.Place.UID, stamp(f.Sent), stamp(tx.now))
		if err != nil {
			return err
		}
	}
	if err := tx.SetMeta(ctx, metaRestored, stamp(tx.now)); err != nil {
		return err
	}
	if err := tx.Note(ctx, "ledger", "restored", Robot, why); err != nil {
		return err
	}
	return tx.AddNotice(ctx, NoticeRestored, "ledger", why)
}

func hashed(messageID string) string {
	if messageID == "" {
		return ""
	}
	return hashOf([]byte(messageID))
}

// HeldSince tells since when the ledger is held; zero when it is not.
func (r Reader) HeldSince(ctx context.Context) (time.Time, error) { return r.moment(ctx, metaRestored) }

// FoundSent lists what was found, oldest first, with the letters that it answers
// as far as they are taken again.
func (r Reader) FoundSent(ctx context.Context) ([]FoundSent, error) {
	var out []FoundSent
	answers := map[string][]int{}
	err := r.each(ctx, `SELECT message_id, draft, answers, folder, uidvalidity, uid, sent FROM found_sent ORDER BY sent, message_id`, nil, func(rows *sql.Rows) error {
		var f FoundSent
		var hash string
		err := rows.Scan(&f.MessageID, &f.Draft, &hash, &f.Place.Folder, &f.Place.UIDValidity, &f.Place.UID, stamped{&f.Sent})
		answers[hash] = append(answers[hash], len(out))
		out = append(out, f)
		return err
	})
	if err != nil || len(out) == 0 {
		return out, err
	}
	return out, r.each(ctx, `SELECT id, message_id FROM letters WHERE message_id <> '' ORDER BY id`, nil, func(rows *sql.Rows) error {
		var id, messageID string
		err := rows.Scan(&id, &messageID)
		for _, i := range answers[hashed(messageID)] {
			out[i].Letter = id
		}
		return err
	})
}

// AnsweredBefore gives the reply to a draft's letter that left and that this
// ledger had no record of.
func (r Reader) AnsweredBefore(ctx context.Context, d Draft) (f FoundSent, found bool, err error) {
	if d.Letter == "" {
		return f, false, nil
	}
	l, err := r.Letter(ctx, d.Letter)
	if err != nil || l.MessageID == "" {
		return f, false, err
	}
	err = r.each(ctx, `SELECT message_id, folder, uidvalidity, uid, sent FROM found_sent WHERE answers = ? AND draft = '' AND sent <> '' ORDER BY sent DESC LIMIT 1`, []any{hashed(l.MessageID)}, func(rows *sql.Rows) error {
		found = true
		return rows.Scan(&f.MessageID, &f.Place.Folder, &f.Place.UIDValidity, &f.Place.UID, stamped{&f.Sent})
	})
	return f, found, err
}

// GoOn ends the hold, on a person's word. Drafts that were found in the Sent
// folder count as sent from then on, and are given back. Those that answer a
// letter which was answered already need a new approval.
func (tx *Tx) GoOn(ctx context.Context, by string) (sent []string, err error) {
	if by == "" || by == Robot {
		return nil, job.Refuse(job.Say("faults.go-on-without-name", nil))
	}
	since, err := tx.HeldSince(ctx)
	if err != nil {
		return nil, err
	}
	if since.IsZero() {
		return nil, job.Refuse(job.Say("faults.nothing-held", nil))
	}
	found, err := tx.FoundSent(ctx)
	if err != nil {
		return nil, err
	}
	for _, f := range found {
		done, err := tx.sentBefore(ctx, f, by)
		if err != nil {
			return nil, err
		}
		if done {
			sent = append(sent, f.Draft)
		}
	}
	if err := tx.reopenAnswered(ctx, by); err != nil {
		return nil, err
	}
	if err := tx.SetMeta(ctx, metaRestored, ""); err != nil {
		return nil, err
	}
	if err := tx.SettleNotices(ctx, NoticeRestored, "ledger", by); err != nil {
		return nil, err
	}
	if err := tx.Note(ctx, "ledger", "goes-on", by, job.Message{}); err != nil {
		return nil, err
	}
	return sent, tx.Resume(ctx, Held)
}

// sentBefore makes a draft count as sent that was found in the Sent folder.
func (tx *Tx) sentBefore(ctx context.Context, f FoundSent, by string) (bool, error) {
	if f.Draft == "" {
		return false, nil
	}
	d, err := tx.Draft(ctx, f.Draft)
	if errors.Is(err, ErrNotFound) {
		return false, nil
	}
	if err != nil || !slices.Contains([]DraftState{DraftWaiting, DraftApproved, DraftFailed, DraftSetAside}, d.State) {
		return false, err
	}
	return true, tx.WasSent(ctx, f.Draft, by, job.Say("history.found-in", job.Args{"folder": f.Place.Folder, "message": f.Place.UID}))
}

// reopenAnswered takes back the approvals of replies to letters that were answered before.
func (tx *Tx) reopenAnswered(ctx context.Context, by string) error {
	approved, err := tx.Drafts(ctx, DraftFilter{States: []DraftState{DraftApproved}})
	if err != nil {
		return err
	}
	for _, d := range approved {
		_, answered, err := tx.AnsweredBefore(ctx, d)
		if err != nil {
			return err
		}
		if answered {
			if err := tx.Reopen(ctx, d.ID, by, job.Say("history.answered-before", nil)); err != nil {
				return err
			}
		}
	}
	return nil
}

// WasSent records a person's word that a draft which is not on its way was sent
// all the same, such as from a mail program or before a backup was restored.
func (tx *Tx) WasSent(ctx context.Context, id, by string, why job.Message) error {
	if by == "" || by == Robot {
		return fmt.Errorf("whether draft %s was sent is settled by a person; say by whom", id)
	}
	d, err := tx.Draft(ctx, id)
	if err != nil {
		return err
	}
	if d.State == DraftSetAside {
		if err := tx.moveDraft(ctx, d, DraftWaiting, by, why); err != nil {
			return err
		}
	}
	if d.Approval == nil {
		if err := tx.Approve(ctx, id, d.SHA256, by, ViaSentFolder); err != nil {
			return err
		}
	}
	return tx.foundInSent(ctx, id, Delivered, by, why)
}

// FoundInSent records that an approved draft lies in the Sent folder before we
// sent it: as sent where it is the same to the byte, else as uncertain.
func (tx *Tx) FoundInSent(ctx context.Context, id string, same bool, where job.Message) error {
	if same {
		return tx.foundInSent(ctx, id, Delivered, Robot, where)
	}
	return tx.foundInSent(ctx, id, Uncertain, Robot, where)
}

func (tx *Tx) foundInSent(ctx context.Context, id string, o Outcome, who string, why job.Message) error {
	s, _, err := tx.beginSend(ctx, id, who)
	if err != nil {
		return err
	}
	return tx.EndSend(ctx, s, o, why, who)
}
