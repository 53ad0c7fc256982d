package robot

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/reply/draft"
	"meshclerk/reply/outbox"
)

// draftBytes bounds a draft that a person edited in a mail program.
const draftBytes = 25 << 20

// Canonical brings a composed message into the form in which it will leave,
// before anybody approves it.
func Canonical(m *draft.Message) error {
	raw, err := outbox.Canonical(m.Raw)
	if err != nil {
		return err
	}
	m.Raw = raw
	return outbox.Ready(raw)
}

// post lays a waiting draft into the to-approve folder. A copy of an earlier
// version is taken out first.
func (r *Robot) post(ctx context.Context, h *hand, s *ledger.Step) error {
	d, err := r.Ledger.Draft(ctx, s.Subject)
	if err != nil {
		return err
	}
	if d.State != ledger.DraftWaiting {
		return r.Ledger.Done(ctx, s)
	}
	raw, err := r.Ledger.DraftBytes(ctx, d.ID)
	if err != nil {
		return err
	}
	m, err := h.mail(ctx)
	if err != nil {
		return err
	}
	if err := r.removeCopy(ctx, m, d); err != nil {
		return err
	}
	ref, err := m.AppendOnce(ctx, r.Rules.Mailbox.ToApprove, []string{`\Draft`}, r.Now(), raw, d.MessageID)
	if err != nil {
		return err
	}
	r.at("posted")
	r.Log.Info("draft posted", "draft", d.ID)
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.PlaceDraft(ctx, d.ID, ledger.Place(ref)); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
}

// removeCopy takes our own copy of a draft out of the to-approve folder.
func (r *Robot) removeCopy(ctx context.Context, m Mail, d ledger.Draft) error {
	if d.Place.Folder == "" {
		return nil
	}
	err := m.RemoveOwn(ctx, mailbox.Ref(d.Place), d.MessageID)
	if errors.Is(err, mailbox.ErrGone) || errors.Is(err, mailbox.ErrRenumbered) || errors.Is(err, mailbox.ErrNotOurs) {
		return nil
	}
	return err
}

// seeMoved looks at what people moved into the approved and set-aside folders.
func (r *Robot) seeMoved(ctx context.Context, m Mail) error {
	for _, a := range r.Rules.Mailbox.Approved {
		if err := r.seeFolder(ctx, m, a.Folder, a.By, r.approveMoved); err != nil {
			return err
		}
	}
	return r.seeFolder(ctx, m, r.Rules.Mailbox.SetAside, "staff, in the mail program", r.setAsideMoved)
}

type actOnMoved func(ctx context.Context, tx *ledger.Tx, m ledger.Moved) error

func (r *Robot) seeFolder(ctx context.Context, m Mail, folder, by string, act actOnMoved) error {
	var at mailbox.Cursor
	for {
		batch, err := m.New(ctx, folder, at, time.Time{})
		if err != nil {
			return err
		}
		var fresh []mailbox.Ref
		for _, item := range batch.Items {
			_, seen, err := r.Ledger.SeenMove(ctx, ledger.Place(item.Ref))
			if err != nil {
				return err
			}
			if !seen && item.Size <= draftBytes {
				fresh = append(fresh, item.Ref)
			}
		}
		if err := r.seeItems(ctx, m, folder, by, fresh, act); err != nil || !batch.More {
			return err
		}
		at = batch.Cursor
	}
}

func (r *Robot) seeItems(ctx context.Context, m Mail, folder, by string, refs []mailbox.Ref, act actOnMoved) error {
	if len(refs) == 0 {
		return nil
	}
	heads, err := m.Headers(ctx, folder, refs...)
	if err != nil {
		return err
	}
	for _, head := range heads {
		if err := r.seeOne(ctx, m, head, by, act); err != nil {
			return err
		}
	}
	return nil
}

// seeOne deals with one moved message. What is wrong with it is told to staff
// and does not stop the others.
func (r *Robot) seeOne(ctx context.Context, m Mail, head mailbox.Head, by string, act actOnMoved) error {
	d, found, err := r.draftOf(ctx, head)
	if err != nil {
		return err
	}
	if !found {
		return r.Ledger.AddNotice(ctx, "not-a-draft", head.Ref.String(), fmt.Sprintf("a message in the folder %s is none of our drafts; nothing was done with it", head.Ref.Folder))
	}
	var raw strings.Builder
	if _, err := m.Fetch(ctx, head.Ref, &raw, draftBytes); err != nil {
		if errors.Is(err, mailbox.ErrGone) {
			return nil
		}
		return err
	}
	edit, err := edited(d, []byte(raw.String()))
	if err != nil {
		return r.Ledger.AddNotice(ctx, "draft-unfit", d.ID, fmt.Sprintf("draft %s in the folder %s cannot be sent: %v; mend it and move it there again", d.ID, head.Ref.Folder, err))
	}
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		return act(ctx, tx, ledger.Moved{Draft: d.ID, Place: ledger.Place(head.Ref), By: by, Edit: edit})
	})
}

// edited is what lies in the folder, in the form in which it will leave. A mail
// program may have dropped the thread or the Message-ID: they are put back.
func edited(d ledger.Draft, raw []byte) (ledger.Edit, error) {
	raw, err := outbox.Complete(raw, outbox.Field{Name: "Message-ID", Value: d.MessageID})
	if err != nil {
		return ledger.Edit{}, err
	}
	raw, err = outbox.Canonical(raw)
	if err != nil {
		return ledger.Edit{}, err
	}
	if err := outbox.Ready(raw); err != nil {
		return ledger.Edit{}, err
	}
	to, err := outbox.Recipients(raw)
	if err != nil {
		return ledger.Edit{}, err
	}
	return ledger.Edit{Raw: raw, MessageID: outbox.MessageID(raw), To: job.Address{Address: to[0]}}, nil
}

// draftOf finds the draft that a message is a version of: by its Message-ID,
// else by the letter it answers, else by the token in its subject.
func (r *Robot) draftOf(ctx context.Context, head mailbox.Head) (ledger.Draft, bool, error) {
	d, err := r.Ledger.DraftByMessageID(ctx, head.MessageID)
	if err == nil {
		return d, true, nil
	}
	if !errors.Is(err, ledger.ErrNotFound) {
		return ledger.Draft{}, false, err
	}
	threads, err := r.Ledger.FindThreads(ctx, job.Letter{InReplyTo: head.InReplyTo, References: head.References, Subject: head.Subject})
	if err != nil || len(threads) != 1 {
		return ledger.Draft{}, false, err
	}
	waiting, err := r.Ledger.Drafts(ctx, ledger.DraftFilter{Thread: threads[0].Token, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftFailed}})
	if err != nil || len(waiting) != 1 {
		return ledger.Draft{}, false, err
	}
	return waiting[0], true, nil
}

func (r *Robot) approveMoved(ctx context.Context, tx *ledger.Tx, m ledger.Moved) error {
	outcome, err := tx.ApproveMoved(ctx, m)
	if err != nil || outcome != ledger.MoveApproved {
		return err
	}
	r.Log.Info("draft approved", "draft", m.Draft, "by", m.By, "via", "folder")
	return tx.Enqueue(ctx, stepSend, m.Draft, time.Time{})
}

func (r *Robot) setAsideMoved(ctx context.Context, tx *ledger.Tx, m ledger.Moved) error {
	outcome, err := tx.SetAsideMoved(ctx, m)
	if err != nil || outcome != ledger.MoveSetAside {
		return err
	}
	return decline(ctx, tx, m.Draft, m.By)
}
