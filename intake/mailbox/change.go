package mailbox

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-imap/v2"

	"meshclerk/intake/job"
)

// Append puts a message of ours into a folder and says where it lies.
// messageID is the one in raw; by it the message is found again on servers
// that do not answer with APPENDUID (RFC 4315, 3). On an error the message may
// be there nevertheless: see AppendOnce.
func (c *Client) Append(ctx context.Context, folder string, flags []string, date time.Time, raw []byte, messageID string) (Ref, error) {
	name, err := c.names.wire(folder)
	if err != nil {
		return Ref{}, err
	}
	if bytes.IndexByte(raw, 0) >= 0 { // RFC 9051, 4.3: a literal holds no NUL
		return Ref{}, &Error{Fault: job.Fault{Message: job.Say("faults.nul", nil)}, Folder: folder}
	}
	if err := c.leave(ctx, name); err != nil {
		return Ref{}, err
	}
	options := &imap.AppendOptions{Time: date}
	for _, f := range flags {
		options.Flags = append(options.Flags, imap.Flag(f))
	}
	var data *imap.AppendData
	err = c.do(ctx, "servers.doing.storing", streamed, func() error {
		cmd := c.imap.Append(name, int64(len(raw)), options)
		_, werr := cmd.Write(raw)
		cerr := cmd.Close()
		var err error
		if data, err = cmd.Wait(); err != nil {
			return err // the server's own words, when it gave any
		}
		return firstOf(werr, cerr)
	})
	if err != nil {
		return Ref{}, c.refused(folder, job.Say("servers.to.store", job.Args{"folder": folder}), err)
	}
	if data.UID != 0 {
		return Ref{folder, data.UIDValidity, uint32(data.UID)}, nil
	}
	return c.newest(ctx, folder, messageID)
}

// leave closes a folder that is open for reading only, before something is put
// into it: some servers refuse that. CLOSE removes nothing then (RFC 9051, 6.4.1).
func (c *Client) leave(ctx context.Context, name string) error {
	if c.selected != name || c.writable {
		return nil
	}
	c.selected = ""
	return c.do(ctx, "servers.doing.closing", 1, func() error {
		if c.caps.Has(imap.CapUnselect) {
			return c.imap.Unselect().Wait()
		}
		return c.imap.UnselectAndExpunge().Wait()
	})
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// newest finds the latest message of that Message-ID.
func (c *Client) newest(ctx context.Context, folder, messageID string) (Ref, error) {
	refs, err := c.FindMessageID(ctx, folder, messageID)
	if err != nil {
		return Ref{}, err
	}
	if len(refs) == 0 {
		return Ref{}, c.wrong(folder, job.Say("servers.gone-again", job.Args{"folder": folder}), ErrGone)
	}
	return refs[len(refs)-1], nil
}

// AppendOnce is Append for a message that may be there already, after a
// restart or a lost answer: it looks for the Message-ID first.
func (c *Client) AppendOnce(ctx context.Context, folder string, flags []string, date time.Time, raw []byte, messageID string) (Ref, error) {
	refs, err := c.FindMessageID(ctx, folder, messageID)
	if err != nil {
		return Ref{}, err
	}
	if len(refs) > 0 {
		return refs[0], nil
	}
	return c.Append(ctx, folder, flags, date, raw, messageID)
}

// Move moves a message and says where it lies then; the UID is 0 when the
// server does not tell. ErrGone means that somebody else moved it first: two
// moves of one message may also both succeed, so a caller deduplicates. What is
// in the inbox is not ours to move: ErrNotOurs.
func (c *Client) Move(ctx context.Context, ref Ref, to string) (Ref, error) {
	name, err := c.names.wire(to)
	if err != nil {
		return Ref{}, err
	}
	if from, err := c.names.wire(ref.Folder); err != nil || from == inbox {
		return Ref{}, firstOf(err, c.notOurs(ref))
	}
	if err := c.at(ctx, ref, true); err != nil {
		return Ref{}, err
	}
	if err := c.mustExist(ctx, ref); err != nil {
		return Ref{}, err
	}
	if c.caps.Has(imap.CapMove) {
		return c.move(ctx, ref, to, name)
	}
	return c.copyAndDelete(ctx, ref, to, name)
}

// mustExist returns ErrGone unless the message is still in the open folder.
func (c *Client) mustExist(ctx context.Context, ref Ref) error {
	uids, err := c.search(ctx, ref.Folder, &imap.SearchCriteria{UID: []imap.UIDSet{imap.UIDSetNum(imap.UID(ref.UID))}})
	if err != nil {
		return err
	}
	if !slices.Contains(uids, imap.UID(ref.UID)) {
		return c.gone(ref)
	}
	return nil
}

// expungeIssued is the code for a command that came too late (RFC 5530, 3).
const expungeIssued = imap.ResponseCode("EXPUNGEISSUED")

// orGone turns a refusal into ErrGone when the message has gone meanwhile.
func (c *Client) orGone(ctx context.Context, ref Ref, err error) error {
	no, ok := asNo(err)
	if !ok {
		return err
	}
	if no.Code == expungeIssued {
		return c.gone(ref)
	}
	if there := c.mustExist(ctx, ref); errors.Is(there, ErrGone) {
		return there
	}
	return err
}

// move is MOVE (RFC 6851).
func (c *Client) move(ctx context.Context, ref Ref, to, name string) (Ref, error) {
	moved := Ref{Folder: to}
	err := c.do(ctx, "servers.doing.moving", 4, func() error {
		data, err := c.imap.Move(imap.UIDSetNum(imap.UID(ref.UID)), name).Wait()
		if err == nil {
			moved.UIDValidity, moved.UID = data.UIDValidity, only(data.DestUIDs)
		}
		return err
	})
	if err != nil {
		return Ref{}, c.refused(to, job.Say("servers.to.move", job.Args{"folder": ref.Folder, "to": to}), c.orGone(ctx, ref, err))
	}
	// A server that tells where messages went, and does not, has moved none.
	if moved.UID == 0 && c.caps.Has(imap.CapUIDPlus) {
		return Ref{}, c.gone(ref)
	}
	return moved, nil
}

// copyAndDelete is what MOVE stands for (RFC 6851, 3.3), for this one UID.
func (c *Client) copyAndDelete(ctx context.Context, ref Ref, to, name string) (Ref, error) {
	moved := Ref{Folder: to}
	err := c.do(ctx, "servers.doing.copying", 4, func() error {
		data, err := c.imap.Copy(imap.UIDSetNum(imap.UID(ref.UID)), name).Wait()
		if err == nil {
			moved.UIDValidity, moved.UID = data.UIDValidity, only(data.DestUIDs)
		}
		return err
	})
	if err != nil {
		return Ref{}, c.refused(to, job.Say("servers.to.copy", job.Args{"folder": ref.Folder, "to": to}), c.orGone(ctx, ref, err))
	}
	return moved, c.remove(ctx, ref)
}

// only returns the one UID of a set, or 0.
func only(set imap.NumSet) uint32 {
	uids, ok := set.(imap.UIDSet)
	if !ok {
		return 0
	}
	nums, ok := uids.Nums()
	if !ok || len(nums) != 1 {
		return 0
	}
	return uint32(nums[0])
}

// remove deletes one message of ours from the open folder. Without UIDPLUS it
// stays, marked \Deleted: a plain EXPUNGE would take other people's messages
// along.
func (c *Client) remove(ctx context.Context, ref Ref) error {
	uid := imap.UIDSetNum(imap.UID(ref.UID))
	err := c.do(ctx, "servers.doing.marking", 1, func() error {
		return c.imap.Store(uid, &imap.StoreFlags{Op: imap.StoreFlagsAdd, Silent: true, Flags: []imap.Flag{imap.FlagDeleted}}, nil).Close()
	})
	if err == nil && c.caps.Has(imap.CapUIDPlus) {
		err = c.do(ctx, "servers.doing.deleting", 1, func() error { return c.imap.UIDExpunge(uid).Close() })
	}
	return c.refused(ref.Folder, job.Say("servers.to.delete", job.Args{"folder": ref.Folder}), err)
}

// RemoveOwn deletes a draft that we made: only outside the inbox, and only
// while it carries the Message-ID that we gave it. Anything else is
// ErrNotOurs, and stays; what is no longer there is ErrGone.
func (c *Client) RemoveOwn(ctx context.Context, ref Ref, messageID string) error {
	name, err := c.names.wire(ref.Folder)
	if err != nil {
		return err
	}
	if name == inbox || strings.TrimSpace(messageID) == "" {
		return c.notOurs(ref)
	}
	heads, err := c.Headers(ctx, ref.Folder, ref)
	if err != nil {
		return err
	}
	if len(heads) == 0 {
		return c.gone(ref)
	}
	if heads[0].MessageID != messageID {
		return c.notOurs(ref)
	}
	if err := c.at(ctx, ref, true); err != nil {
		return err
	}
	return c.remove(ctx, ref)
}

func (c *Client) notOurs(ref Ref) error {
	return c.wrong(ref.Folder, job.Say("servers.not-ours", named(ref)), ErrNotOurs)
}
