package mailbox

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"io"
	"maps"
	"net/textproto"
	"slices"
	"strings"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
)

// headFields are what Head is made of.
var headFields = []string{"Message-ID", "In-Reply-To", "References", "From", "To", "Subject"}

// Headers returns the heads of the messages that are there, in the order of UIDs.
func (c *Client) Headers(ctx context.Context, folder string, refs ...Ref) ([]Head, error) {
	var uids []imap.UID
	for _, r := range refs {
		r.Folder = folder
		if err := c.at(ctx, r, false); err != nil {
			return nil, err
		}
		uids = append(uids, imap.UID(r.UID))
	}
	heads := map[uint32]Head{}
	for range tries {
		if err := c.heads(ctx, folder, uids, heads); err != nil {
			return nil, err
		}
		uids = slices.DeleteFunc(uids, func(u imap.UID) bool { _, had := heads[uint32(u)]; return had })
		if len(uids) == 0 {
			break
		}
		var err error
		if uids, err = c.still(ctx, folder, uids); err != nil {
			return nil, err
		}
	}
	if len(uids) > 0 {
		return nil, c.unanswered(folder, uids[0])
	}
	return slices.SortedFunc(maps.Values(heads), func(a, b Head) int { return cmp.Compare(a.Ref.UID, b.Ref.UID) }), nil
}

func (c *Client) heads(ctx context.Context, folder string, uids []imap.UID, into map[uint32]Head) error {
	options := &imap.FetchOptions{RFC822Size: true, InternalDate: true, Flags: true,
		BodySection: []*imap.FetchItemBodySection{{Peek: true, Specifier: imap.PartSpecifierHeader, HeaderFields: headFields}}}
	return c.fetch(ctx, folder, "servers.doing.headers", uids, options, func(m *imapclient.FetchMessageData) error {
		h, found, err := c.head(folder, m)
		if found {
			into[h.Ref.UID] = h
		}
		return err
	})
}

func (c *Client) head(folder string, m *imapclient.FetchMessageData) (Head, bool, error) {
	h := Head{Item: Item{Ref: Ref{folder, c.validity, 0}}}
	found := false
	for item := m.Next(); item != nil; item = m.Next() {
		switch item := item.(type) {
		case imapclient.FetchItemDataUID:
			h.Ref.UID = uint32(item.UID)
		case imapclient.FetchItemDataRFC822Size:
			h.Size = item.Size
		case imapclient.FetchItemDataInternalDate:
			h.Received = item.Time
		case imapclient.FetchItemDataFlags:
			for _, f := range item.Flags {
				h.Flags = append(h.Flags, string(f))
			}
		case imapclient.FetchItemDataBodySection:
			if item.Literal == nil {
				continue
			}
			raw, err := io.ReadAll(io.LimitReader(item.Literal, headBytes))
			if err != nil {
				return h, false, brokenLiteral{err}
			}
			h.fill(raw)
			found = true
		}
	}
	return h, found, nil
}

// fill reads the fields; a field that is twice there counts by its first.
func (h *Head) fill(raw []byte) {
	fields, _ := textproto.NewReader(bufio.NewReader(bytes.NewReader(append(raw, "\r\n\r\n"...)))).ReadMIMEHeader()
	h.MessageID = strings.TrimSpace(fields.Get("Message-Id"))
	h.InReplyTo = strings.TrimSpace(fields.Get("In-Reply-To"))
	h.References = strings.Fields(fields.Get("References"))
	h.From, h.To, h.Subject = fields.Get("From"), fields.Get("To"), fields.Get("Subject")
}

// FindMessageID returns the messages of the folder that carry exactly this
// Message-ID (with its angle brackets), oldest first.
func (c *Client) FindMessageID(ctx context.Context, folder, id string) ([]Ref, error) {
	if _, err := c.open(ctx, folder, false); err != nil {
		return nil, err
	}
	if id == "" || len(id) > 998 || strings.ContainsAny(id, "\r\n\x00") {
		return nil, nil
	}
	uids, err := c.search(ctx, folder, &imap.SearchCriteria{Header: []imap.SearchCriteriaHeaderField{{Key: "Message-ID", Value: id}}})
	if err != nil {
		return nil, err
	}
	var refs []Ref
	for _, u := range uids[:min(len(uids), batchItems)] {
		refs = append(refs, Ref{folder, c.validity, uint32(u)})
	}
	heads, err := c.Headers(ctx, folder, refs...)
	if err != nil {
		return nil, err
	}
	// RFC 9051, 6.4.4: HEADER finds substrings.
	var out []Ref
	for _, h := range heads {
		if h.MessageID == id {
			out = append(out, h.Ref)
		}
	}
	return out, nil
}
