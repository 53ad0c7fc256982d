package robot

import (
	"context"
	"errors"
	"fmt"
	"time"

	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// look is one look at the mailbox: new letters first, then what people moved,
// then jobs whose agreement has come, then what the calendar asks for.
func (r *Robot) look(ctx context.Context, m Mail) error {
	if _, err := m.Ensure(ctx, r.folders()...); err != nil {
		return err
	}
	if err := r.takeNew(ctx, m); err != nil {
		return err
	}
	if err := r.seeMoved(ctx, m); err != nil {
		return err
	}
	if err := r.resume(ctx); err != nil {
		return err
	}
	return r.tidy(ctx)
}

// folders are those the robot makes when they are missing.
func (r *Robot) folders() []string {
	b := r.Rules.Mailbox
	out := []string{b.ToApprove, b.SetAside, b.Sent}
	for _, a := range b.Approved {
		out = append(out, a.Folder)
	}
	return out
}

// takeNew takes every letter that is not taken yet. The cursor moves on only
// when all letters before it are safe.
func (r *Robot) takeNew(ctx context.Context, m Mail) error {
	inbox := r.Rules.Mailbox.Inbox
	for {
		known, err := r.Ledger.Poll(ctx, inbox)
		if err != nil {
			return err
		}
		from := mailbox.Cursor{UIDValidity: known.UIDValidity, LastUID: known.HighestUID}
		batch, err := m.New(ctx, inbox, from, r.since(known))
		if err != nil {
			return err
		}
		for _, item := range batch.Items {
			if err := r.take(ctx, m, item); err != nil {
				return err
			}
		}
		err = r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
			return tx.SavePoll(ctx, inbox, batch.Cursor.UIDValidity, batch.Cursor.LastUID)
		})
		if err != nil || !batch.More {
			return err
		}
		r.at("batch taken")
	}
}

// since leaves old letters alone on the very first look: they were answered by hand.
func (r *Robot) since(known ledger.Poll) time.Time {
	first := known.First
	if first.IsZero() {
		first = r.Now()
	}
	return first.AddDate(0, 0, -r.Rules.Mailbox.FirstDays)
}

// take makes one letter durably ours: its bytes first, then its row and first
// step. A letter over the cap stays where it is, and staff are told.
func (r *Robot) take(ctx context.Context, m Mail, item mailbox.Item) error {
	seen, err := r.Ledger.SeenAt(ctx, item.Ref.Folder, item.Ref.UIDValidity, item.Ref.UID)
	if err != nil || seen != "" {
		return err
	}
	blob, err := r.Ledger.NewBlob("letter", r.Rules.Caps.LetterBytes)
	if err != nil {
		return err
	}
	defer blob.Abort()
	_, err = m.Fetch(ctx, item.Ref, blob, r.Rules.Caps.LetterBytes)
	switch {
	case errors.Is(err, mailbox.ErrTooLarge):
		return r.tooLarge(ctx, item)
	case errors.Is(err, mailbox.ErrGone):
		return nil // somebody moved it away before we came to it
	case err != nil:
		return err
	}
	r.at("fetched")
	return r.record(ctx, item, blob)
}

func (r *Robot) record(ctx context.Context, item mailbox.Item, blob *ledger.BlobWriter) error {
	id, fresh, err := r.Ledger.TakeRaw(ctx, blob, ledger.TakenLetter{
		Folder: item.Ref.Folder, UIDValidity: item.Ref.UIDValidity, UID: item.Ref.UID, ReceivedAt: item.Received,
	})
	if err != nil {
		return err
	}
	if fresh {
		r.Log.Info("letter taken", "letter", id, "bytes", item.Size)
	}
	r.at("letter taken")
	return nil
}

func (r *Robot) tooLarge(ctx context.Context, item mailbox.Item) error {
	text := fmt.Sprintf("a letter of %d MB came, more than the %d MB that letter_bytes in caps.toml allows; it lies unread in %s: look at it by hand",
		item.Size>>20, r.Rules.Caps.LetterBytes>>20, item.Ref.Folder)
	r.Log.Warn("letter left alone", "why", "larger than the cap", "bytes", item.Size)
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		return tx.AddNotice(ctx, "letter-too-large", item.Ref.String(), text)
	})
}

// idle waits for the server's news, or for the poll interval.
func (r *Robot) idle(ctx context.Context, m Mail) error {
	known, err := r.Ledger.Poll(ctx, r.Rules.Mailbox.Inbox)
	if err != nil {
		return err
	}
	at := mailbox.Cursor{UIDValidity: known.UIDValidity, LastUID: known.HighestUID}
	_, err = m.Idle(ctx, r.Rules.Mailbox.Inbox, at, r.Rules.Mailbox.Poll)
	if errors.Is(err, mailbox.ErrNoIdle) {
		pause(ctx, r.Rules.Mailbox.Poll)
		return nil
	}
	return err
}
