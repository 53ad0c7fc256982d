package robot

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
)

// look is one look at the mailbox: new letters first, then what people moved,
// then jobs whose agreement has come, then what the calendar asks for.
func (r *Robot) look(ctx context.Context, m Mail) error {
	if err := r.seeClock(ctx); err != nil {
		return err
	}
	if _, err := m.Ensure(ctx, r.folders()...); err != nil {
		return err
	}
	if err := r.askMailbox(ctx, m); err != nil {
		return err
	}
	if err := r.takeNew(ctx, m); err != nil {
		return err
	}
	if err := r.seeMoved(ctx, m); err != nil {
		return err
	}
	if err := r.Resume(ctx); err != nil {
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
// when all letters before it are safe. The first listing leaves alone what was
// there long before, and what somebody answered by hand; where it breaks off, it
// is the first listing again.
func (r *Robot) takeNew(ctx context.Context, m Mail) error {
	inbox := r.Rules.Mailbox.Inbox
	known, err := r.Ledger.Poll(ctx, inbox)
	if err != nil {
		return err
	}
	at := mailbox.Cursor{UIDValidity: known.UIDValidity, LastUID: known.HighestUID}
	first, since := known.First.IsZero(), time.Time{}
	if first {
		since = r.cutoff(known)
	}
	for {
		batch, err := m.New(ctx, inbox, at, since)
		if err == nil && batch.Reset && !first { // numbered anew: all is listed again
			batch, err = m.New(ctx, inbox, mailbox.Cursor{}, r.cutoff(known))
		}
		if err != nil {
			return err
		}
		if first {
			batch.Items = slices.DeleteFunc(batch.Items, answeredByHand)
		}
		if err := r.takeAll(ctx, m, batch.Items); err != nil {
			return err
		}
		if at = batch.Cursor; !first || !batch.More {
			if err := r.saveCursor(ctx, at); err != nil {
				return err
			}
		}
		if !batch.More {
			return nil
		}
		r.mark("batch taken")
	}
}

// answeredByHand tells of a letter that bears the flag of RFC 9051, 2.3.2.
func answeredByHand(item mailbox.Item) bool {
	return slices.ContainsFunc(item.Flags, func(f string) bool { return strings.EqualFold(f, `\Answered`) })
}

func (r *Robot) saveCursor(ctx context.Context, at mailbox.Cursor) error {
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		if r.clockDoubt().IsZero() {
			if err := tx.BelieveClock(ctx); err != nil {
				return err
			}
		}
		return tx.SavePoll(ctx, r.Rules.Mailbox.Inbox, at.UIDValidity, at.LastUID)
	})
}

// cutoff leaves old letters alone where a folder is listed from its beginning:
// they were answered by hand. What comes after the first listing is taken
// whatever its date, and whatever the clock said then.
func (r *Robot) cutoff(known ledger.Poll) time.Time {
	began := r.Now()
	for _, t := range []time.Time{known.First, known.LastGood} {
		if !t.IsZero() && t.Before(began) {
			began = t
		}
	}
	return began.AddDate(0, 0, -r.Rules.Mailbox.FirstDays)
}

// Letters are made durable some at a time, since each time the disk is waited for.
const (
	batchLetters = 16
	batchBytes   = 8 << 20
)

// takenBatch is the letters that were fetched and are not ours yet.
type takenBatch struct {
	letters []*ledger.RawLetter
	bytes   int64
}

// takeAll makes letters durably ours. When fetching fails, those that were
// fetched before are taken all the same.
func (r *Robot) takeAll(ctx context.Context, m Mail, items []mailbox.Item) error {
	var taken takenBatch
	for _, item := range items {
		if err := r.fetch(ctx, m, item, &taken); err != nil {
			return errors.Join(err, r.record(context.WithoutCancel(ctx), &taken))
		}
		if len(taken.letters) < batchLetters && taken.bytes < batchBytes {
			continue
		}
		if err := r.record(ctx, &taken); err != nil {
			return err
		}
	}
	return r.record(ctx, &taken)
}

// fetch takes the bytes of one letter, unless they are ours already. A letter
// over the cap stays where it is, and staff are told.
func (r *Robot) fetch(ctx context.Context, m Mail, item mailbox.Item, taken *takenBatch) error {
	seen, err := r.Ledger.SeenAt(ctx, item.Ref.Folder, item.Ref.UIDValidity, item.Ref.UID)
	if err != nil || seen != "" {
		return err
	}
	raw, err := r.Ledger.NewBlob(ledger.KindLetter, r.Rules.Caps.LetterBytes)
	if err != nil {
		return err
	}
	n, err := m.Fetch(ctx, item.Ref, raw, r.Rules.Caps.LetterBytes)
	if err != nil {
		raw.Abort()
	}
	switch {
	case errors.Is(err, mailbox.ErrTooLarge):
		return r.tooLarge(ctx, item)
	case errors.Is(err, mailbox.ErrGone):
		return nil // somebody moved it away before we came to it
	case err != nil:
		return err
	}
	r.mark("fetched")
	taken.bytes += n
	taken.letters = append(taken.letters, &ledger.RawLetter{Raw: raw, TakenLetter: ledger.TakenLetter{
		Folder: item.Ref.Folder, UIDValidity: item.Ref.UIDValidity, UID: item.Ref.UID, ReceivedAt: item.Received,
	}})
	return nil
}

// record makes the letters ours: their bytes first, then their rows and first steps.
func (r *Robot) record(ctx context.Context, taken *takenBatch) error {
	letters := taken.letters
	*taken = takenBatch{}
	if len(letters) == 0 {
		return nil
	}
	if err := r.Ledger.TakeRaw(ctx, letters...); err != nil {
		return err
	}
	for _, l := range letters {
		if l.Fresh {
			r.Log.Info("letter taken", "letter", l.ID, "bytes", l.Bytes)
		}
		r.mark("letter taken")
	}
	return nil
}

func (r *Robot) tooLarge(ctx context.Context, item mailbox.Item) error {
	text := job.Say("notices.too-large", job.Args{"size": item.Size >> 20, "most": r.Rules.Caps.LetterBytes >> 20, "folder": item.Ref.Folder})
	r.Log.Warn("letter left alone", "why", "larger than the cap", "bytes", item.Size)
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		return tx.AddNotice(ctx, ledger.NoticeTooLarge, item.Ref.String(), text)
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
