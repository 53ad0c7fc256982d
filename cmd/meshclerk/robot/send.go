package robot

import (
	"bytes"
	"context"
	"errors"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/reply/outbox"
)

// send hands one approved draft to the mail server, at most once. The try is
// recorded when the server has accepted the recipients and before the first
// byte of the message: whatever stops us from then on leaves an uncertain
// draft, never a second copy.
func (r *Robot) send(ctx context.Context, h *worker, s *ledger.Step) error {
	d, err := r.Ledger.Draft(ctx, s.Subject)
	if err != nil {
		return err
	}
	if d.State != ledger.DraftApproved {
		return r.Ledger.Done(ctx, s)
	}
	if err := r.mayTry(ctx); err != nil {
		return err
	}
	raw, err := r.Ledger.DraftBytes(ctx, d.ID)
	if err != nil {
		return err
	}
	box, err := h.mail(ctx)
	if err != nil {
		return err
	}
	if err := r.mayAct(ctx, box); err != nil {
		return err
	}
	if before, err := r.sentAlready(ctx, box, s, d.ID, raw); before || err != nil {
		return err
	}
	if dropped, err := r.DropOvertaken(ctx, s, d); dropped || err != nil {
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
			return job.Refuse(job.Say("faults.changed-on-disk", job.Args{"draft": d.ID}))
		}
		try = &t
		r.Log.Info("sending", "draft", d.ID)
		r.mark("sending")
		return nil
	}
	out := r.Send(h.stop, m)
	r.mark("answered")
	r.breaker.note(out.State == outbox.Uncertain, r.Now())
	words := out.Said()
	r.Log.Info(logWord(out.State), "draft", d.ID, "outcome", out)
	if try == nil && out.State == outbox.Later {
		return houseError{laterTrouble(h.stop, out.Err), out.Err}
	}
	if try == nil { // refused before DATA: recorded all the same, so that staff can see the try
		if err := r.persist(ctx, m.Commit); err != nil {
			return err
		}
	}
	return r.persist(ctx, func(ctx context.Context) error { return r.endSend(ctx, s, *try, out, words) })
}

// laterTrouble is what a send that did not come off waits for.
func laterTrouble(stop context.Context, err error) ledger.Trouble {
	if stop.Err() != nil {
		return ledger.Stopping
	}
	if t := ledger.TroubleOf(err); t != ledger.NoTrouble {
		return t
	}
	return ledger.SendingAway
}

// endSend records how the try ended and what comes next. The server's word
// stands, also where the lease ran out while it could not be written down.
func (r *Robot) endSend(ctx context.Context, s *ledger.Step, try ledger.Send, out outbox.Outcome, words job.Message) error {
	end := func(tx *ledger.Tx) error { return r.recordSend(ctx, tx, try, out, words) }
	err := r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if err := end(tx); err != nil {
			return err
		}
		if out.State == outbox.Later {
			return r.waitOut(ctx, tx, s, ledger.SendingAway, out.Err)
		}
		return tx.Done(ctx, s)
	})
	if errors.Is(err, ledger.ErrLeaseLost) {
		return r.Ledger.Tx(ctx, end)
	}
	return err
}

func (r *Robot) recordSend(ctx context.Context, tx *ledger.Tx, try ledger.Send, out outbox.Outcome, words job.Message) error {
	if err := tx.EndSend(ctx, try, ledger.Outcome(out.State), words, ledger.Robot); err != nil {
		return err
	}
	if out.State != outbox.Sent {
		return nil
	}
	if err := r.AfterSent(ctx, tx, try.Draft); err != nil {
		return err
	}
	return tx.Enqueue(ctx, ledger.StepFile, try.Draft, time.Time{})
}

func logWord(s outbox.State) string {
	if s == outbox.Sent {
		return "sent"
	}
	return "send " + string(s)
}

// file puts a copy of what was sent into Sent, and takes out of the other
// folders the copies that nobody needs any more.
func (r *Robot) file(ctx context.Context, h *worker, s *ledger.Step) error {
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
	r.mark("filed")
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
	r.mark("copied to sent")
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
