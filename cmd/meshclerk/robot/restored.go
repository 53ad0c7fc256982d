package robot

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/reply/outbox"
)

// A restored ledger does not know what left since its backup. Before anything is
// posted or sent, the mailbox is asked once after each start: replies of ours in
// Sent, or drafts in the other folders, that the ledger does not know show that
// it is older than its mailbox. Then it is held until a person says go on.

// reconciled is whether the mailbox was asked since the start.
type reconciled struct {
	mu   sync.Mutex
	done bool
}

// earlier is how much further back than the ledger's last word the Sent folder
// is looked at: dates are the mail server's, by the day (RFC 9051, 6.4.4).
const earlier = 48 * time.Hour

// newLedger is how far back a mailbox is looked at by a ledger without a past.
const newLedger = 30 * 24 * time.Hour

var errHeld = houseError{ledger.Held, errors.New("the ledger was restored from a backup; nothing is posted or sent until somebody says go on: meshclerk restored")}

// askMailbox reconciles once after each start.
func (r *Robot) askMailbox(ctx context.Context, m Mail) error {
	r.reconciled.mu.Lock()
	defer r.reconciled.mu.Unlock()
	if r.reconciled.done {
		return nil
	}
	if err := r.reconcile(ctx, m); err != nil {
		return err
	}
	r.reconciled.done = true
	return nil
}

// mayAct reports as an error that the ledger is held.
func (r *Robot) mayAct(ctx context.Context, m Mail) error {
	if err := r.askMailbox(ctx, m); err != nil {
		return err
	}
	since, err := r.Ledger.HeldSince(ctx)
	if err != nil {
		return err
	}
	if !since.IsZero() {
		return errHeld
	}
	return nil
}

// reconcile holds the ledger where the mailbox knows more than it does.
func (r *Robot) reconcile(ctx context.Context, m Mail) error {
	last, err := r.Ledger.LastEvent(ctx)
	if err != nil {
		return err
	}
	since := last.Add(-earlier)
	if last.IsZero() {
		since = r.Now().Add(-newLedger)
	}
	found, err := r.unknownSent(ctx, m, since)
	if err != nil {
		return err
	}
	stray, err := r.unknownDrafts(ctx, m)
	if err != nil || len(found)+len(stray) == 0 {
		return err
	}
	text := job.Say("notices.restored", job.Args{"sent": len(found), "folder": r.Rules.Mailbox.Sent, "drafts": len(stray)})
	r.Log.Warn("ledger held", "unknown_sent", len(found), "unknown_drafts", len(stray))
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return tx.Hold(ctx, append(found, stray...), text) })
}

// unknownSent lists the replies of ours in Sent that the ledger does not know as sent.
func (r *Robot) unknownSent(ctx context.Context, m Mail, since time.Time) (out []ledger.FoundSent, err error) {
	err = r.ourOwn(ctx, m, r.Rules.Mailbox.Sent, since, func(head mailbox.Head, id string) error {
		known, draft, err := r.Ledger.KnowsSent(ctx, head.MessageID, id)
		if err == nil && !known {
			out = append(out, ledger.FoundSent{MessageID: head.MessageID, Draft: draft, Answers: head.InReplyTo, Place: ledger.Place(head.Ref), Sent: head.Received})
		}
		return err
	})
	return out, err
}

// unknownDrafts lists the drafts of ours that wait in the mailbox and are not in the ledger.
func (r *Robot) unknownDrafts(ctx context.Context, m Mail) (out []ledger.FoundSent, err error) {
	for _, folder := range r.draftFolders() {
		err := r.ourOwn(ctx, m, folder, time.Time{}, func(head mailbox.Head, id string) error {
			known, draft, err := r.Ledger.KnowsSent(ctx, head.MessageID, id)
			if err == nil && !known && draft == "" {
				out = append(out, ledger.FoundSent{MessageID: head.MessageID, Answers: head.InReplyTo, Place: ledger.Place(head.Ref)})
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// ourOwn calls see for each message in a folder that has a Message-ID of ours,
// with the draft's number in it. A folder that is not there is empty.
func (r *Robot) ourOwn(ctx context.Context, m Mail, folder string, since time.Time, see func(head mailbox.Head, id string) error) error {
	var at mailbox.Cursor
	for {
		batch, err := m.New(ctx, folder, at, since)
		if errors.Is(err, mailbox.ErrNoFolder) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := r.ourHeads(ctx, m, folder, batch.Items, see); err != nil || !batch.More {
			return err
		}
		at = batch.Cursor
	}
}

func (r *Robot) ourHeads(ctx context.Context, m Mail, folder string, items []mailbox.Item, see func(head mailbox.Head, id string) error) error {
	if len(items) == 0 {
		return nil
	}
	refs := make([]mailbox.Ref, len(items))
	for i, item := range items {
		refs[i] = item.Ref
	}
	heads, err := m.Headers(ctx, folder, refs...)
	if err != nil {
		return err
	}
	for _, head := range heads {
		if id, ours := r.draftNumber(head.MessageID); ours {
			if err := see(head, id); err != nil {
				return err
			}
		}
	}
	return nil
}

// draftNumber takes the draft's number out of a Message-ID that the robot made:
// <D-000017.random@domain>.
func (r *Robot) draftNumber(messageID string) (id string, ours bool) {
	left, ours := strings.CutSuffix(messageID, "@"+r.Domain+">")
	id, _, dotted := strings.Cut(strings.TrimPrefix(left, "<"), ".")
	return id, ours && dotted && strings.HasPrefix(left, "<D-")
}

// inSent looks for a draft in the Sent folder, under each Message-ID it ever had.
func (r *Robot) inSent(ctx context.Context, m Mail, id string) (ref mailbox.Ref, found bool, err error) {
	ids, err := r.Ledger.DraftMessageIDs(ctx, id)
	if err != nil {
		return ref, false, err
	}
	for _, messageID := range ids {
		refs, err := m.FindMessageID(ctx, r.Rules.Mailbox.Sent, messageID)
		if errors.Is(err, mailbox.ErrNoFolder) {
			return ref, false, nil
		}
		if err != nil {
			return ref, false, err
		}
		if len(refs) > 0 {
			return refs[0], true, nil
		}
	}
	return ref, false, nil
}

// sentAlready records an approved draft that lies in Sent before we sent it, and
// reports whether it does.
func (r *Robot) sentAlready(ctx context.Context, m Mail, s *ledger.Step, id string, raw []byte) (bool, error) {
	ref, found, err := r.inSent(ctx, m, id)
	if err != nil || !found {
		return false, err
	}
	var lies bytes.Buffer
	if _, err := m.Fetch(ctx, ref, &lies, draftBytes); err != nil && !errors.Is(err, mailbox.ErrTooLarge) {
		return false, err
	}
	canonical, err := outbox.Canonical(lies.Bytes())
	same := err == nil && bytes.Equal(canonical, raw)
	where := job.Say("history.lies-in", job.Args{"folder": ref.Folder, "message": ref.UID})
	r.Log.Warn("found in sent", "draft", id, "place", ref.String(), "same", same)
	return true, r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.FoundInSent(ctx, id, same, where); err != nil {
			return err
		}
		if same {
			if err := r.AfterSent(ctx, tx, id); err != nil {
				return err
			}
			if err := tx.Enqueue(ctx, ledger.StepFile, id, time.Time{}); err != nil {
				return err
			}
		}
		return tx.Done(ctx, s)
	})
}

// postedBefore tells staff of a draft that must not be laid before them as if it
// were new: it was sent already, or its letter was answered. It reports whether.
func (r *Robot) postedBefore(ctx context.Context, m Mail, s *ledger.Step, d ledger.Draft) (bool, error) {
	var text job.Message
	if ref, found, err := r.inSent(ctx, m, d.ID); err != nil {
		return false, err
	} else if found {
		text = job.Say("notices.lies-in-sent", job.Args{"draft": d.ID, "folder": ref.Folder, "message": ref.UID})
	}
	if f, found, err := r.Ledger.AnsweredBefore(ctx, d); err != nil {
		return false, err
	} else if found {
		text = job.Say("notices.answered-before", job.Args{"draft": d.ID, "on": f.Sent.Format(time.DateOnly), "folder": f.Place.Folder, "message": f.Place.UID})
	}
	if text.IsZero() {
		return false, nil
	}
	return true, r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.AddNotice(ctx, ledger.NoticeSentBefore, d.ID, text); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
}
