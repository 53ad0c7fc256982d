package robot

import (
	"context"
	"errors"

	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// draftBytes bounds a draft that a person edited in a mail program.
const draftBytes = 25 << 20

// post lays a waiting draft into the to-approve folder. A copy of an earlier
// version is taken out first.
func (r *Robot) post(ctx context.Context, h *worker, s *ledger.Step) error {
	d, err := r.Ledger.Draft(ctx, s.Subject)
	if err != nil {
		return err
	}
	if d.State != ledger.DraftWaiting {
		return r.Ledger.Done(ctx, s)
	}
	m, err := h.mail(ctx)
	if err != nil {
		return err
	}
	if err := r.mayAct(ctx, m); err != nil {
		return err
	}
	if before, err := r.postedBefore(ctx, m, s, d); before || err != nil {
		return err
	}
	// What lies in the folders until now was not moved there for this version.
	if err := r.seeMoved(ctx, m); err != nil {
		return err
	}
	if d, err = r.Ledger.Draft(ctx, d.ID); err != nil {
		return err
	}
	if d.State != ledger.DraftWaiting {
		return r.Ledger.Done(ctx, s)
	}
	return r.lay(ctx, m, s, d)
}

// lay puts the draft into the folder and records where it lies.
func (r *Robot) lay(ctx context.Context, m Mail, s *ledger.Step, d ledger.Draft) error {
	raw, err := r.Ledger.DraftBytes(ctx, d.ID)
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
	r.mark("posted")
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
