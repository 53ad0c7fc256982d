package mailbox

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"

	"meshclerk/intake/job"
)

func asNo(err error) (*imap.Error, bool) { return errors.AsType[*imap.Error](err) }

// New lists the messages that the cursor does not know, oldest first. Where
// since is not zero, messages that arrived before that day are left out.
// The folder is only examined; no message changes.
func (c *Client) New(ctx context.Context, folder string, from Cursor, since time.Time) (*Batch, error) {
	data, err := c.open(ctx, folder, false)
	if err != nil {
		return nil, err
	}
	b := &Batch{Reset: from.UIDValidity != data.UIDValidity, Cursor: from}
	if b.Reset {
		b.Cursor = Cursor{UIDValidity: data.UIDValidity}
	}
	next := uint32(data.UIDNext)
	if data.NumMessages == 0 || next != 0 && b.Cursor.LastUID >= next-1 {
		b.Cursor.LastUID = max(b.Cursor.LastUID, next-min(next, 1))
		return b, nil
	}
	uids, err := c.after(ctx, folder, b.Cursor.LastUID, since)
	if err != nil {
		return nil, err
	}
	if b.More = len(uids) > batchItems; b.More {
		uids = uids[:batchItems]
	}
	if len(uids) > 0 {
		b.Cursor.LastUID = uint32(uids[len(uids)-1])
	}
	if !b.More && next != 0 {
		b.Cursor.LastUID = max(b.Cursor.LastUID, next-1)
	}
	b.Items, err = c.items(ctx, folder, uids)
	return b, err
}

// after searches for UIDs above last.
func (c *Client) after(ctx context.Context, folder string, last uint32, since time.Time) ([]imap.UID, error) {
	var above imap.UIDSet
	above.AddRange(imap.UID(last)+1, 0)
	uids, err := c.search(ctx, folder, &imap.SearchCriteria{UID: []imap.UIDSet{above}, Since: since})
	// RFC 9051, 6.4.9: "n:*" always holds the last message, also when its UID is below n.
	return slices.DeleteFunc(uids, func(u imap.UID) bool { return uint32(u) <= last }), err
}

// search returns the UIDs in the open folder, sorted.
func (c *Client) search(ctx context.Context, folder string, criteria *imap.SearchCriteria) ([]imap.UID, error) {
	var data *imap.SearchData
	err := c.do(ctx, "servers.doing.searching", 4, func() (err error) {
		data, err = c.imap.UIDSearch(criteria, nil).Wait()
		return err
	})
	if err != nil {
		return nil, c.refused(folder, job.Say("servers.to.search", job.Args{"folder": folder}), err)
	}
	uids := data.AllUIDs()
	slices.Sort(uids)
	return slices.Compact(uids), nil
}

// tries is how often an answer is asked for. Another client's change of a flag
// comes as an answer of its own, and the library takes it for ours.
const tries = 4

// items asks for size, date and flags of messages in the open folder. Those
// that are gone are left out; those that are there and cannot be had are an
// error, so that no letter is passed over.
func (c *Client) items(ctx context.Context, folder string, uids []imap.UID) ([]Item, error) {
	var out []Item
	missing := slices.Clone(uids)
	for range tries {
		err := c.fetch(ctx, folder, "servers.doing.listing", missing, &imap.FetchOptions{RFC822Size: true, InternalDate: true, Flags: true}, func(m *imapclient.FetchMessageData) error {
			buf, err := m.Collect()
			if err == nil && !buf.InternalDate.IsZero() {
				out = append(out, c.item(folder, buf))
			}
			return err
		})
		if err != nil {
			return nil, err
		}
		if missing = without(missing, out); len(missing) == 0 {
			break
		}
		if missing, err = c.still(ctx, folder, missing); err != nil {
			return nil, err
		}
	}
	if len(missing) > 0 {
		return nil, c.unanswered(folder, missing[0])
	}
	slices.SortFunc(out, func(a, b Item) int { return cmp.Compare(a.Ref.UID, b.Ref.UID) })
	return out, nil
}

func without(uids []imap.UID, had []Item) []imap.UID {
	seen := map[uint32]bool{}
	for _, it := range had {
		seen[it.Ref.UID] = true
	}
	return slices.DeleteFunc(uids, func(u imap.UID) bool { return seen[uint32(u)] })
}

// still returns those of the messages that are in the open folder.
func (c *Client) still(ctx context.Context, folder string, uids []imap.UID) ([]imap.UID, error) {
	return c.search(ctx, folder, &imap.SearchCriteria{UID: []imap.UIDSet{imap.UIDSetNum(uids...)}})
}

func (c *Client) unanswered(folder string, uid imap.UID) error {
	e := c.wrong(folder, job.Say("servers.not-given", job.Args{"server": c.config.Server(), "message": fmt.Sprint(uid), "folder": folder}), nil)
	e.Temporary = true
	return e
}

func (c *Client) item(folder string, buf *imapclient.FetchMessageBuffer) Item {
	it := Item{Ref: Ref{folder, c.validity, uint32(buf.UID)}, Size: buf.RFC822Size, Received: buf.InternalDate}
	for _, f := range buf.Flags {
		it.Flags = append(it.Flags, string(f))
	}
	return it
}

// fetch runs a UID FETCH in the open folder and hands on each answer.
func (c *Client) fetch(ctx context.Context, folder, doing string, uids []imap.UID, options *imap.FetchOptions, each func(*imapclient.FetchMessageData) error) error {
	if len(uids) == 0 {
		return nil
	}
	options.UID = true
	err := c.do(ctx, doing, streamed, func() error {
		cmd := c.imap.Fetch(imap.UIDSetNum(uids...), options)
		for m := cmd.Next(); m != nil; m = cmd.Next() {
			if err := each(m); err != nil {
				c.raw.Close() // else the rest of the letter would be read to the end
				if _, broken := errors.AsType[brokenLiteral](err); !broken {
					cmd.Close()
				}
				return err
			}
		}
		return cmd.Close()
	})
	return c.refused(folder, job.Say("servers.to.give", job.Args{"folder": folder}), err)
}

// brokenLiteral is a failure to read from the server inside a literal. The
// library's own reader goes on with the connection from there, so the literal
// must not be touched again, which closing the command would do.
type brokenLiteral struct{ error }

func (b brokenLiteral) Unwrap() error { return b.error }

// Fetch streams the whole message to w as it is on the server and returns its
// size in octets. A message above the limit gives ErrTooLarge; of it at most
// limit octets are written. The message is not marked as read.
func (c *Client) Fetch(ctx context.Context, ref Ref, w io.Writer, limit int64) (int64, error) {
	if err := c.at(ctx, ref, false); err != nil {
		return 0, err
	}
	size, err := c.size(ctx, ref)
	if err != nil {
		return 0, err
	}
	if size > limit {
		return 0, c.tooLarge(ref, size, limit)
	}
	for range tries {
		n, found, err := c.body(ctx, ref, w, limit)
		if found || err != nil {
			return n, c.orGone(ctx, ref, err)
		}
		if err := c.mustExist(ctx, ref); err != nil {
			return 0, err
		}
	}
	return 0, c.unanswered(ref.Folder, imap.UID(ref.UID))
}

func (c *Client) size(ctx context.Context, ref Ref) (int64, error) {
	items, err := c.items(ctx, ref.Folder, []imap.UID{imap.UID(ref.UID)})
	if err != nil {
		return 0, err
	}
	if len(items) == 0 {
		return 0, c.gone(ref)
	}
	return items[0].Size, nil
}

func (c *Client) gone(ref Ref) error {
	return c.wrong(ref.Folder, job.Say("servers.gone", named(ref)), ErrGone)
}

// named are the arguments of a sentence about one message.
func named(ref Ref) job.Args {
	return job.Args{"message": fmt.Sprint(ref.UID), "folder": ref.Folder}
}

func (c *Client) tooLarge(ref Ref, size, limit int64) error {
	return c.wrong(ref.Folder, job.Say("servers.larger", job.Args{"message": fmt.Sprint(ref.UID), "folder": ref.Folder, "octets": size, "most": limit}), ErrTooLarge)
}

// body streams BODY[]; found is false when no answer held it.
func (c *Client) body(ctx context.Context, ref Ref, w io.Writer, limit int64) (n int64, found bool, err error) {
	options := &imap.FetchOptions{BodySection: []*imap.FetchItemBodySection{{Peek: true}}}
	uids := []imap.UID{imap.UID(ref.UID)}
	err = c.fetch(ctx, ref.Folder, "servers.doing.reading", uids, options, func(m *imapclient.FetchMessageData) error {
		for item := m.Next(); item != nil; item = m.Next() {
			section, ok := item.(imapclient.FetchItemDataBodySection)
			if !ok || section.Literal == nil || found {
				continue
			}
			found = true
			if size := section.Literal.Size(); size > limit {
				return c.tooLarge(ref, size, limit)
			}
			if n, err = copyTo(w, section.Literal); err != nil {
				return err
			}
		}
		return nil
	})
	return n, found, err
}

// copyTo copies the whole literal and tells the writer's faults from the server's.
func copyTo(w io.Writer, lit imap.LiteralReader) (int64, error) {
	own := &faulty{w: w}
	n, err := io.Copy(own, lit)
	switch {
	case own.err != nil:
		return n, &Error{Fault: job.Fault{Message: job.Say("servers.not-written", nil), Err: own.err}, Temporary: true}
	case err == nil && n != lit.Size():
		err = io.ErrUnexpectedEOF
	}
	if err != nil {
		return n, brokenLiteral{err}
	}
	return n, nil
}

// faulty remembers the writer's own error.
type faulty struct {
	w   io.Writer
	err error
}

func (f *faulty) Write(p []byte) (int, error) {
	n, err := f.w.Write(p)
	if err != nil {
		f.err = err
	}
	return n, err
}
