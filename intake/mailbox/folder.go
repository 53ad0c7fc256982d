package mailbox

import (
	"context"
	"slices"
	"strings"

	"github.com/emersion/go-imap/v2"
	"golang.org/x/text/unicode/norm"

	"meshclerk/intake/job"
)

// inbox is the one folder every server has, in any letter case (RFC 9051, 5.1).
const inbox = "INBOX"

// names maps folder names of the rules to the server's.
type names struct {
	prefix string // of the personal namespace, e.g. "INBOX."
	delim  string // empty on a server without levels
}

// learnNames asks for the personal namespace (RFC 2342), or else for the
// delimiter alone (RFC 9051, 6.3.9: LIST with an empty name).
func (c *Client) learnNames(ctx context.Context) error {
	if c.caps.Has(imap.CapNamespace) {
		var data *imap.NamespaceData
		err := c.do(ctx, "servers.doing.names", 1, func() (err error) {
			data, err = c.imap.Namespace().Wait()
			return err
		})
		if err == nil && len(data.Personal) > 0 {
			c.names = names{data.Personal[0].Prefix, delimiter(data.Personal[0].Delim)}
			return nil
		}
		if err := c.refused("", job.Say("servers.to.names", nil), err); err != nil && !c.Alive() {
			return err
		}
	}
	all, err := c.list(ctx, "")
	if err != nil {
		return err
	}
	if len(all) > 0 {
		c.names.delim = delimiter(all[0].Delim)
	}
	return nil
}

func delimiter(r rune) string {
	if r == 0 {
		return ""
	}
	return string(r)
}

// wire returns the server's name of a folder of the rules.
func (n names) wire(folder string) (string, error) {
	folder = norm.NFC.String(folder) // RFC 9051, 5.1: Net-Unicode
	first, rest, deep := strings.Cut(folder, "/")
	if strings.EqualFold(folder, inbox) {
		return inbox, nil
	}
	if n.prefix != "" && strings.HasPrefix(folder, n.prefix) {
		return folder, nil // written as the server writes it
	}
	if strings.ContainsFunc(folder, func(r rune) bool { return r < ' ' || r == 0x7f }) || folder == "" || slices.Contains(strings.Split(folder, "/"), "") {
		return "", &Error{Fault: job.Fault{Message: job.Say("servers.folder-name", job.Args{"folder": folder})}, Folder: folder}
	}
	if n.delim == "/" || n.delim == "" && !deep {
		return n.under(first, folder), nil
	}
	if n.delim == "" || strings.Contains(folder, n.delim) {
		return "", &Error{Fault: job.Fault{Message: job.Say("servers.folder-levels", job.Args{"folder": folder, "sign": n.delim})}, Folder: folder}
	}
	if !deep {
		return n.under(first, first), nil
	}
	return n.under(first, first+n.delim+strings.ReplaceAll(rest, "/", n.delim)), nil
}

// under puts a name into the personal namespace, unless it is below the inbox already.
func (n names) under(first, name string) string {
	if strings.EqualFold(first, inbox) {
		return inbox + name[len(inbox):]
	}
	return n.prefix + name
}

// rules returns the name as the rules write it.
func (n names) rules(wire string) string {
	if n.prefix != "" && strings.HasPrefix(wire, n.prefix) {
		wire = wire[len(n.prefix):]
	}
	if n.delim == "" || n.delim == "/" {
		return wire
	}
	return strings.ReplaceAll(wire, n.delim, "/")
}

func (c *Client) list(ctx context.Context, pattern string) ([]*imap.ListData, error) {
	var all []*imap.ListData
	err := c.do(ctx, "servers.doing.folders", 1, func() (err error) {
		all, err = c.imap.List("", pattern, nil).Collect()
		return err
	})
	return all, c.refused("", job.Say("servers.to.list", nil), err)
}

// Folder is one folder that can hold messages.
type Folder struct {
	Name string // as the rules would write it
	Use  string // "sent", "drafts", "trash", "junk", "archive" or "": what the server says it is for (RFC 6154)
}

// Folders lists what is in the mailbox.
func (c *Client) Folders(ctx context.Context) ([]Folder, error) {
	all, err := c.list(ctx, c.names.prefix+"*")
	if err != nil {
		return nil, err
	}
	var out []Folder
	for _, f := range all {
		if selectable(f) {
			out = append(out, Folder{c.names.rules(f.Mailbox), use(f.Attrs)})
		}
	}
	slices.SortFunc(out, func(a, b Folder) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}

func selectable(f *imap.ListData) bool {
	return !slices.Contains(f.Attrs, imap.MailboxAttrNoSelect) && !slices.Contains(f.Attrs, imap.MailboxAttrNonExistent)
}

func use(attrs []imap.MailboxAttr) string {
	for _, a := range attrs {
		switch a {
		case imap.MailboxAttrSent, imap.MailboxAttrDrafts, imap.MailboxAttrTrash, imap.MailboxAttrJunk, imap.MailboxAttrArchive:
			return strings.ToLower(strings.TrimPrefix(string(a), `\`))
		}
	}
	return ""
}

// Ensure makes the folders that are missing, subscribes to them so that mail
// programs show them, and returns those it made.
func (c *Client) Ensure(ctx context.Context, folders ...string) ([]string, error) {
	var made []string
	for _, folder := range folders {
		there, err := c.Exists(ctx, folder)
		if err != nil {
			return made, err
		}
		if there {
			continue
		}
		if err := c.create(ctx, folder); err != nil {
			return made, err
		}
		made = append(made, folder)
	}
	return made, nil
}

// Exists reports whether the folder is there and can hold messages.
func (c *Client) Exists(ctx context.Context, folder string) (bool, error) {
	name, err := c.names.wire(folder)
	if err != nil {
		return false, err
	}
	all, err := c.list(ctx, name)
	if err != nil {
		return false, err
	}
	// The name may hold wildcards of LIST, so the answer may hold more.
	return slices.ContainsFunc(all, func(f *imap.ListData) bool {
		return selectable(f) && (f.Mailbox == name || name == inbox && strings.EqualFold(f.Mailbox, inbox))
	}), nil
}

func (c *Client) create(ctx context.Context, folder string) error {
	name, err := c.names.wire(folder)
	if err != nil {
		return err
	}
	err = c.do(ctx, "servers.doing.making", 1, func() error { return c.imap.Create(name, nil).Wait() })
	if no, ok := asNo(err); ok && no.Code == imap.ResponseCodeAlreadyExists { // another client was faster
		err = nil
	}
	if err != nil {
		return c.refused(folder, job.Say("servers.to.make", job.Args{"folder": folder}), err)
	}
	err = c.do(ctx, "servers.doing.subscribing", 1, func() error { return c.imap.Subscribe(name).Wait() })
	if _, ok := asNo(err); ok { // it is there; mail programs may need to be told
		c.log.Warn("folder made but not subscribed", "folder", folder, "cause", err)
		return nil
	}
	return err
}

// Status returns the folder's counters without opening it.
func (c *Client) Status(ctx context.Context, folder string) (Status, error) {
	name, err := c.names.wire(folder)
	if err != nil {
		return Status{}, err
	}
	var data *imap.StatusData
	err = c.do(ctx, "servers.doing.status", 1, func() (err error) {
		data, err = c.imap.Status(name, &imap.StatusOptions{NumMessages: true, NumUnseen: true, UIDNext: true, UIDValidity: true}).Wait()
		return err
	})
	if err != nil {
		return Status{}, c.refused(folder, job.Say("servers.to.status", job.Args{"folder": folder}), err)
	}
	s := Status{UIDNext: uint32(data.UIDNext), UIDValidity: data.UIDValidity}
	if data.NumMessages != nil {
		s.Messages = *data.NumMessages
	}
	if data.NumUnseen != nil {
		s.Unseen = *data.NumUnseen
	}
	return s, nil
}

// open selects the folder, always anew: its numbers come from this moment.
func (c *Client) open(ctx context.Context, folder string, writable bool) (*imap.SelectData, error) {
	name, err := c.names.wire(folder)
	if err != nil {
		return nil, err
	}
	c.selected = ""
	var data *imap.SelectData
	err = c.do(ctx, "servers.doing.opening", 1, func() (err error) {
		data, err = c.imap.Select(name, &imap.SelectOptions{ReadOnly: !writable}).Wait()
		return err
	})
	if err != nil {
		return nil, c.refused(folder, job.Say("servers.to.open", job.Args{"folder": folder}), c.missing(ctx, folder, err))
	}
	if data.UIDValidity == 0 {
		return nil, c.wrong(folder, job.Say("servers.no-lasting-numbers", job.Args{"server": c.config.Server(), "folder": folder}), nil)
	}
	c.selected, c.validity, c.writable = name, data.UIDValidity, writable
	return data, nil
}

// missing adds what a server leaves out that says no without a code (RFC 5530
// came late): whether the folder is there at all.
func (c *Client) missing(ctx context.Context, folder string, err error) error {
	no, ok := asNo(err)
	if !ok || no.Code != "" {
		return err
	}
	if there, lerr := c.Exists(ctx, folder); lerr != nil || there {
		return err
	}
	return &imap.Error{Type: no.Type, Code: imap.ResponseCodeNonExistent, Text: no.Text}
}

// at makes sure that the message's folder is open under the message's numbering.
func (c *Client) at(ctx context.Context, ref Ref, writable bool) error {
	name, err := c.names.wire(ref.Folder)
	if err != nil {
		return err
	}
	if c.selected != name || writable && !c.writable {
		if _, err := c.open(ctx, ref.Folder, writable); err != nil {
			return err
		}
	}
	if ref.UIDValidity != 0 && ref.UIDValidity != c.validity {
		e := c.wrong(ref.Folder, job.Say("servers.numbered-anew", job.Args{"folder": ref.Folder}), ErrRenumbered)
		e.Temporary = true
		return e
	}
	return nil
}
