package robot

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"meshclerk/intake/job"
	"meshclerk/intake/ledger"
	"meshclerk/intake/mailbox"
	"meshclerk/reply/casework"
	"meshclerk/reply/outbox"
)

// What counts as approval, or setting aside, by folder: a message that came into
// the folder after its draft was posted, that no server delivered, that is from
// the library's own address, and that is the draft itself, by its Message-ID, or
// a later copy in its thread that a mail program made. Each message is judged
// once, when it is first seen, so nothing that lies in a folder can approve a
// draft that is posted later, whatever the ledger has forgotten of it.

// movesEvery is how often the folders are looked at. It keeps an approval within
// five seconds of the move, the second that a step may wait included.
const movesEvery = 3 * time.Second

// giveWay is how long the look at the folders leaves its connection to the work,
// which tries again after 10 s, where the server allows too few.
const giveWay = 10 * time.Minute

// headsAtOnce bounds what is held of a folder at one time.
const headsAtOnce = 50

// watched is one folder whose messages stand for a person's decision.
type watched struct {
	folder, by string
	act        func(ctx context.Context, tx *ledger.Tx, m ledger.Moved) error
	approves   bool
}

func (r *Robot) watchedFolders() []watched {
	var out []watched
	for _, a := range r.Rules.Mailbox.Approved {
		out = append(out, watched{a.Folder, a.By, r.ApproveMoved, true})
	}
	return append(out, watched{r.Rules.Mailbox.SetAside, "staff, in the mail program", r.SetAsideMoved, false})
}

// watchMoves looks at those folders over and over, on a connection of its own:
// the other one listens for letters.
func (r *Robot) watchMoves(ctx context.Context) {
	for ctx.Err() == nil {
		err := r.movesRound(ctx)
		if err == nil || ctx.Err() != nil {
			continue
		}
		r.Log.Warn("approved folders are looked at with each poll only", "why", err)
		if errors.Is(err, errCramped) {
			pause(ctx, giveWay)
		} else {
			pause(ctx, max(movesEvery, min(r.Rules.Mailbox.Poll, time.Minute)))
		}
	}
}

func (r *Robot) movesRound(ctx context.Context) error {
	m, err := r.Dial(ctx)
	if err != nil {
		return err
	}
	defer m.Close()
	r.cramped.Store(false)
	for ctx.Err() == nil {
		if err := r.seeMoved(ctx, m); err != nil {
			return err
		}
		pause(ctx, movesEvery)
		if r.cramped.Load() {
			return errCramped
		}
	}
	return nil
}

// errCramped has the look at the folders give its connection up for a while: the
// work needs one more than the server may allow.
var errCramped = errors.New("the work could not connect to the mailbox, which may allow too few connections at once; it goes first")

// seeMoved looks at what people moved into the approved and set-aside folders.
func (r *Robot) seeMoved(ctx context.Context, m Mail) error {
	r.moves.Lock() // two looks at once would each take the other's news for old
	defer r.moves.Unlock()
	for _, w := range r.watchedFolders() {
		if err := r.seeFolder(ctx, m, w); err != nil && !errors.Is(err, mailbox.ErrNoFolder) { // the next poll makes it
			return err
		}
	}
	return nil
}

// seeFolder judges what is new in one folder. In a folder that is seen for the
// first time, or was numbered anew, everything stood there before.
func (r *Robot) seeFolder(ctx context.Context, m Mail, w watched) error {
	known, err := r.Ledger.Watched(ctx, w.folder)
	if err != nil {
		return err
	}
	at, stood := mailbox.Cursor{UIDValidity: known.UIDValidity, LastUID: known.HighestUID}, false
	for {
		batch, err := m.New(ctx, w.folder, at, time.Time{})
		if err != nil {
			return err
		}
		stood = stood || batch.Reset
		if err := r.seeItems(ctx, m, w, batch.Items, stood); err != nil {
			return err
		}
		if batch.Cursor != at {
			err = r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
				return tx.SaveWatched(ctx, w.folder, ledger.Watched{UIDValidity: batch.Cursor.UIDValidity, HighestUID: batch.Cursor.LastUID})
			})
		}
		if err != nil || !batch.More {
			return err
		}
		at = batch.Cursor
	}
}

func (r *Robot) seeItems(ctx context.Context, m Mail, w watched, items []mailbox.Item, stood bool) error {
	for some := range slices.Chunk(items, headsAtOnce) {
		var fresh []mailbox.Ref
		for _, item := range some {
			_, seen, err := r.Ledger.SeenMove(ctx, ledger.Place(item.Ref))
			if err != nil {
				return err
			}
			if !seen {
				fresh = append(fresh, item.Ref)
			}
		}
		if len(fresh) == 0 {
			continue
		}
		heads, err := m.Headers(ctx, w.folder, fresh...)
		if err != nil {
			return err
		}
		for _, head := range heads {
			if err := r.seeOne(ctx, m, w, head, stood); err != nil {
				return err
			}
		}
	}
	return nil
}

// seeOne judges one message. What is wrong with it is told to staff and does not
// stop the others.
func (r *Robot) seeOne(ctx context.Context, m Mail, w watched, head mailbox.Head, stood bool) error {
	if slices.ContainsFunc(head.Flags, func(f string) bool { return strings.EqualFold(f, `\Deleted`) }) {
		return r.passOver(ctx, head, "marked as deleted", nil)
	}
	d, found, err := r.draftOf(ctx, head)
	switch {
	case err != nil:
		return err
	case stood && !(found && undecided(d)):
		return r.passOver(ctx, head, "it stood there before", nil)
	case stood:
		return r.leave(ctx, head, d, job.Say("notices.folder.stood-before", nil))
	case !found:
		text := job.Say("notices.not-a-draft", job.Args{"folder": w.folder})
		return r.passOver(ctx, head, "none of our drafts", &told{ledger.NoticeNotDraft, w.folder, text})
	case head.Size > draftBytes:
		return r.leave(ctx, head, d, job.Say("notices.folder.larger", job.Args{"most": draftBytes >> 20}))
	}
	var raw bytes.Buffer
	if _, err := m.Fetch(ctx, head.Ref, &raw, draftBytes); err != nil {
		if errors.Is(err, mailbox.ErrGone) {
			return nil
		}
		return err
	}
	return r.decide(ctx, w, head, d, raw.Bytes())
}

// undecided tells whether a draft still waits for a person.
func undecided(d ledger.Draft) bool {
	return d.State == ledger.DraftWaiting || d.State == ledger.DraftFailed
}

// decide has a person's act done, and leaves alone what is none.
func (r *Robot) decide(ctx context.Context, w watched, head mailbox.Head, d ledger.Draft, raw []byte) error {
	now, err := r.Ledger.DraftBytes(ctx, d.ID)
	if err != nil {
		return err
	}
	if why := r.notAPersons(now, raw); !why.IsZero() {
		return r.leave(ctx, head, d, why)
	}
	moved := ledger.Moved{Draft: d.ID, Place: ledger.Place(head.Ref), By: w.by, Edit: ledger.Edit{Raw: raw}}
	if w.approves {
		edit, err := casework.Edited(d, raw)
		if err != nil {
			text := job.Say("notices.draft-unfit", job.Args{"draft": d.ID, "folder": w.folder, "why": job.Why(err)})
			return r.passOver(ctx, head, "unfit", &told{ledger.NoticeDraftUnfit, d.ID, text})
		}
		if edit.AddressedBefore, err = casework.Readdressed(d, now, edit.Raw); err != nil {
			return err
		}
		moved.Edit = edit
	}
	if err := r.Ledger.Tx(ctx, func(tx *ledger.Tx) error { return w.act(ctx, tx, moved) }); err != nil {
		return err
	}
	r.mark("moved")
	return nil
}

// notAPersons tells why a message is not what a person made of a draft, or "".
// now is the draft as it stands.
func (r *Robot) notAPersons(now, raw []byte) job.Message {
	trace, err := outbox.Traces(raw)
	if err != nil {
		return job.Why(err)
	}
	if len(trace) > 0 {
		return job.Say("notices.folder.carried", job.Args{"line": trace[0]})
	}
	from, err := outbox.Sender(raw)
	if err != nil {
		return job.Why(err)
	}
	if !job.SameAddress(from, r.Rules.Library.Address) {
		return job.Say("notices.folder.not-ours", nil)
	}
	made, err := outbox.Date(now)
	if err != nil {
		return job.Message{}
	}
	at, err := outbox.Date(raw)
	if err != nil {
		return job.Why(err)
	}
	if at.Before(made) {
		return job.Say("notices.folder.older", nil)
	}
	return job.Message{}
}

// told is a notice for staff.
type told struct {
	kind    ledger.NoticeKind
	subject string
	text    job.Message
}

// leave leaves a message where it is and tells staff once why.
func (r *Robot) leave(ctx context.Context, head mailbox.Head, d ledger.Draft, why job.Message) error {
	text := job.Say("notices.move-left", job.Args{"draft": d.ID, "folder": head.Ref.Folder, "why": why})
	return r.passOver(ctx, head, why.String(), &told{ledger.NoticeMoveRefused, d.ID, text})
}

// passOver remembers a message that nothing is done with.
func (r *Robot) passOver(ctx context.Context, head mailbox.Head, why string, tell *told) error {
	return r.Ledger.Tx(ctx, func(tx *ledger.Tx) error {
		first, err := tx.PassOver(ctx, ledger.Place(head.Ref), why)
		if err != nil || !first || tell == nil {
			return err
		}
		return tx.AddNotice(ctx, tell.kind, tell.subject, tell.text)
	})
}

// draftOf finds the draft that a message is a version of: by its Message-ID, else
// as the one draft that lies to be approved in the conversation that the message
// answers. The token in its subject ties nothing: patrons know it.
func (r *Robot) draftOf(ctx context.Context, head mailbox.Head) (ledger.Draft, bool, error) {
	d, err := r.Ledger.DraftByMessageID(ctx, head.MessageID)
	if err == nil {
		return d, true, nil
	}
	if !errors.Is(err, ledger.ErrNotFound) {
		return ledger.Draft{}, false, err
	}
	threads, err := r.Ledger.FindThreads(ctx, job.Letter{InReplyTo: head.InReplyTo, References: head.References})
	if err != nil || len(threads) != 1 || threads[0].How != ledger.ByReference {
		return ledger.Draft{}, false, err
	}
	list, err := r.Ledger.Drafts(ctx, ledger.DraftFilter{Thread: threads[0].Token, States: []ledger.DraftState{ledger.DraftWaiting, ledger.DraftFailed}, Placed: true})
	if err != nil || len(list) != 1 {
		return ledger.Draft{}, false, err
	}
	return list[0], true, nil
}
