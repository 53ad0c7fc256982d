package robot

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/reply/outbox"
)

// send hands one approved draft to the mail server, at most once. The try is
// recorded when the server has accepted the recipients and before the first
// byte of the message: whatever stops us from then on leaves an uncertain
// draft, never a second copy.
func (r *Robot) send(ctx context.Context, s *ledger.Step) error {
	d, err := r.Ledger.Draft(ctx, s.Subject)
	if err != nil {
		return err
	}
	if d.State != ledger.DraftApproved {
		return r.Ledger.Done(ctx, s)
	}
	raw, err := r.Ledger.DraftBytes(ctx, d.ID)
	if err != nil {
		return err
	}
	m := outbox.Message{Raw: raw}
	if m.From, err = outbox.Sender(raw); err != nil {
		return err
	}
	if m.To, err = outbox.Recipients(raw); err != nil {
		return err
	}
	var try *ledger.Send
	m.Commit = func(ctx context.Context) error {
		t, recorded, err := r.Ledger.BeginSend(ctx, d.ID, owner)
		if err != nil {
			return err
		}
		if !bytes.Equal(recorded, raw) {
			return fmt.Errorf("draft %s changed on disk while it was being sent", d.ID)
		}
		try = &t
		r.Log.Info("sending", "draft", d.ID)
		r.at("sending")
		return nil
	}
	out := r.Send(ctx, m)
	r.at("answered")
	return r.endSend(ctx, s, d.ID, try, out)
}

// endSend records how the try ended and what comes next.
func (r *Robot) endSend(ctx context.Context, s *ledger.Step, id string, try *ledger.Send, out outbox.Outcome) error {
	words := outbox.Mask(out.Sentence())
	r.Log.Info(logWord(out.State), "draft", id, "outcome", out)
	if try == nil && out.State == outbox.Later {
		return r.Ledger.Postpone(ctx, s, out.Err, backoff(s.Attempts))
	}
	if try == nil { // refused before DATA: recorded all the same, so that staff can see the try
		t, _, err := r.Ledger.BeginSend(ctx, id, owner)
		if err != nil {
			return err
		}
		try = &t
	}
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.EndSend(ctx, *try, ledger.Outcome(out.State), words, ledger.Robot); err != nil {
			return err
		}
		switch out.State {
		case outbox.Later:
			return tx.Postpone(ctx, s, out.Err, backoff(s.Attempts))
		case outbox.Sent:
			if err := afterSent(ctx, tx, id); err != nil {
				return err
			}
			if err := tx.Enqueue(ctx, stepFile, id, time.Time{}); err != nil {
				return err
			}
		}
		return tx.Done(ctx, s)
	})
}

func logWord(s outbox.State) string {
	if s == outbox.Sent {
		return "sent"
	}
	return "send " + string(s)
}

// file puts a copy of what was sent into Sent, and takes out of the other
// folders the copies that nobody needs any more.
func (r *Robot) file(ctx context.Context, h *hand, s *ledger.Step) error {
	d, err := r.Ledger.Draft(ctx, s.Subject)
	if err != nil {
		return err
	}
	m, err := h.mail(ctx)
	if err != nil {
		return err
	}
	switch d.State {
	case ledger.DraftSent:
		err = r.fileSent(ctx, m, d)
	case ledger.DraftSuperseded:
		err = r.removeCopy(ctx, m, d)
	case ledger.DraftSetAside:
		err = r.moveAside(ctx, m, d)
	}
	if err != nil {
		return err
	}
	r.at("filed")
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := tx.PlaceDraft(ctx, d.ID, ledger.Place{}); err != nil {
			return err
		}
		return tx.Done(ctx, s)
	})
}

func (r *Robot) fileSent(ctx context.Context, m Mail, d ledger.Draft) error {
	raw, err := r.Ledger.DraftBytes(ctx, d.ID)
	if err != nil {
		return err
	}
	if _, err := m.AppendOnce(ctx, r.Rules.Mailbox.Sent, []string{`\Seen`}, r.Now(), raw, d.MessageID); err != nil {
		return err
	}
	r.at("copied to sent")
	ids, err := r.Ledger.DraftMessageIDs(ctx, d.ID)
	if err != nil {
		return err
	}
	for _, folder := range r.draftFolders() {
		for _, id := range ids {
			if err := removeAll(ctx, m, folder, id); err != nil {
				return err
			}
		}
	}
	return nil
}

// draftFolders are where copies of a draft may lie until it is sent.
func (r *Robot) draftFolders() []string {
	out := []string{r.Rules.Mailbox.ToApprove}
	for _, a := range r.Rules.Mailbox.Approved {
		out = append(out, a.Folder)
	}
	return out
}

// removeAll removes every copy of our own draft from a folder.
func removeAll(ctx context.Context, m Mail, folder, messageID string) error {
	refs, err := m.FindMessageID(ctx, folder, messageID)
	if err != nil {
		return err
	}
	for _, ref := range refs {
		if err := m.RemoveOwn(ctx, ref, messageID); err != nil && !errors.Is(err, mailbox.ErrGone) {
			return err
		}
	}
	return nil
}

// moveAside shows in the mailbox what was set aside elsewhere.
func (r *Robot) moveAside(ctx context.Context, m Mail, d ledger.Draft) error {
	if d.Place.Folder != r.Rules.Mailbox.ToApprove {
		return nil
	}
	_, err := m.Move(ctx, mailbox.Ref(d.Place), r.Rules.Mailbox.SetAside)
	if errors.Is(err, mailbox.ErrGone) || errors.Is(err, mailbox.ErrRenumbered) {
		return nil
	}
	return err
}
