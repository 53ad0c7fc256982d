package mailbox

import (
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"time"

	"github.com/emersion/go-imap/v2"

	"meshclerk/intake/credential"
	"meshclerk/intake/job"
	"meshclerk/intake/mailbox/wire"
)

// Check is one line of the doctor.
type Check = wire.Check

// Wanted are the folders that the rules name, and what the robot does in them.
type Wanted struct {
	Inbox   string
	Folders []string // where drafts are put, found, moved from and removed
	Sent    string
}

// Probe tries connection, sign-in, folders and rights, one line each. It makes
// the folders that are missing, as the robot would, and puts a test message into
// each folder but the inbox and takes it out again: what a server says of our
// rights is not all that it refuses. Nothing else is changed.
func Probe(ctx context.Context, config Config, source credential.Source, want Wanted, log *slog.Logger) []Check {
	c, err := Dial(ctx, config, source, log)
	if err != nil {
		return []Check{wire.Failed("mailbox", err)}
	}
	defer c.Close()
	out := []Check{wire.Passed("mailbox", job.Say("doctor.lets-in", job.Args{"server": config.Server(), "with": source.With()}))}
	out = append(out, c.probeAbilities()...)
	out = append(out, probeConnections(ctx, config, source, log)...)
	out = append(out, c.probeFolder(ctx, want.Inbox, readRights))
	for _, f := range append(slices.Clone(want.Folders), want.Sent) {
		rights := draftRights
		if f == want.Sent {
			rights = storeRights
		}
		out = append(out, c.probeFolder(ctx, f, rights))
	}
	return append(out, c.probeUse(ctx, want)...)
}

func (c *Client) probeAbilities() []Check {
	var out []Check
	server := c.config.Server()
	for _, a := range []struct {
		cap     imap.Cap
		without job.Message
	}{
		{imap.CapIdle, job.Say("doctor.no-idle", job.Args{"server": server})},
		{imap.CapUIDPlus, job.Say("doctor.no-uidplus", job.Args{"server": server})},
		{imap.CapMove, job.Say("doctor.no-move", job.Args{"server": server})},
	} {
		if !c.caps.Has(a.cap) {
			out = append(out, wire.Doubtful("mailbox", a.without))
		}
	}
	return out
}

// connections is how many the robot has at most: one listens for letters, one
// looks at the folders that approve, one does the work, one looks into Sent before
// a reply is sent.
const connections = 4

// probeConnections tries to be let in that often at once; one connection is open.
func probeConnections(ctx context.Context, config Config, source credential.Source, log *slog.Logger) []Check {
	for n := 1; n < connections; n++ {
		c, err := Dial(ctx, config, source, log)
		if err != nil {
			return []Check{wire.Doubtful("mailbox", job.Say("doctor.connections", job.Args{"server": config.Server(), "times": n, "wanted": connections}))}
		}
		defer c.Close()
	}
	return nil
}

// The rights that are needed (RFC 4314, 4), with what each is for.
var (
	readRights  = "lr"
	storeRights = "lri"
	draftRights = "lrite"
)

var rightWords = map[rune]job.Message{'l': job.Say("doctor.right.l", nil), 'r': job.Say("doctor.right.r", nil), 'i': job.Say("doctor.right.i", nil),
	't': job.Say("doctor.right.t", nil), 'e': job.Say("doctor.right.e", nil)}

func (c *Client) probeFolder(ctx context.Context, folder, rights string) Check {
	made, err := c.Ensure(ctx, folder)
	if err != nil {
		return wire.Failed("mailbox", err)
	}
	data, err := c.open(ctx, folder, rights != readRights)
	if err != nil {
		return wire.Failed("mailbox", err)
	}
	missing, err := c.missingRights(ctx, folder, rights)
	if err != nil {
		return wire.Failed("mailbox", err)
	}
	if len(missing) > 0 {
		return wire.Failed("mailbox", job.Refuse(job.Say("doctor.no-rights", job.Args{"rights": missing, "folder": folder})))
	}
	found := job.Say("doctor.found.there", nil)
	if len(made) > 0 {
		found = job.Say("doctor.found.made", nil)
	}
	if rights == readRights {
		return wire.Passed("mailbox", job.Say("doctor.folder", job.Args{"folder": folder, "found": found, "messages": data.NumMessages}))
	}
	tried, err := c.probeStore(ctx, folder, rights)
	switch {
	case err == nil:
		return wire.Passed("mailbox", job.Say("doctor.folder-tried", job.Args{"folder": folder, "found": found, "messages": data.NumMessages, "tried": tried}))
	case errors.Is(err, errNotRemoved) && rights == storeRights:
		return wire.Doubtful("mailbox", job.Why(err))
	}
	return wire.Failed("mailbox", err)
}

// errNotRemoved says that a test message lies in a folder still.
var errNotRemoved = errors.New("the test message was not removed")

// probeStore stores a message as the robot stores a draft, and removes it; it says what
// was done. The message is marked as deleted from the start: nobody takes it for a
// draft, and where it cannot be removed it goes with the next clearing up.
func (c *Client) probeStore(ctx context.Context, folder, rights string) (tried job.Message, err error) {
	if rights == storeRights {
		missing, err := c.missingRights(ctx, folder, draftRights)
		if err != nil {
			return tried, err
		}
		if len(missing) > 0 { // nor need we: what is sent stays there
			return job.Say("doctor.tried.not-put", nil), nil
		}
	}
	id := "<doctor." + strings.ToLower(rand.Text()) + "@meshclerk.invalid>"
	ref, err := c.AppendOnce(ctx, folder, []string{`\Seen`, `\Deleted`}, time.Now(), probeMessage(id), id)
	if err != nil {
		return tried, err
	}
	if err := c.probeRemove(ctx, ref, id); err != nil {
		return tried, err
	}
	if !c.caps.Has(imap.CapUIDPlus) {
		return job.Say("doctor.tried.marked", nil), nil
	}
	return job.Say("doctor.tried.removed", nil), nil
}

func (c *Client) probeRemove(ctx context.Context, ref Ref, id string) error {
	err := c.RemoveOwn(ctx, ref, id)
	if err == nil && c.caps.Has(imap.CapUIDPlus) {
		var left []Ref
		if left, err = c.FindMessageID(ctx, ref.Folder, id); err == nil && len(left) > 0 {
			err = job.Refuse(job.Say("doctor.tried.kept", nil))
		}
	}
	if err != nil {
		return &job.Fault{Message: job.Say("doctor.not-removed", job.Args{"folder": ref.Folder, "why": job.Why(err)}), Err: errors.Join(errNotRemoved, err)}
	}
	return nil
}

func probeMessage(id string) []byte {
	return []byte("From: Meshclerk <doctor@meshclerk.invalid>\r\nSubject: test message of the doctor, to be deleted\r\nDate: " + time.Now().Format(time.RFC1123Z) +
		"\r\nMessage-ID: " + id + "\r\n\r\nmeshclerk doctor tried whether it may put messages into this folder and take them out.\r\n")
}

// missingRights asks for our own rights where the server can tell (RFC 4314, 3.5).
func (c *Client) missingRights(ctx context.Context, folder, want string) ([]job.Message, error) {
	if !c.caps.Has(imap.CapACL) {
		return nil, nil
	}
	rights, err := c.Rights(ctx, folder)
	if err != nil {
		return nil, err
	}
	// RFC 4314, 2.1.1: older servers have one right "d" for what are "t" and "e".
	if strings.ContainsRune(rights, 'd') {
		rights += "te"
	}
	var out []job.Message
	for _, r := range want {
		if !strings.ContainsRune(rights, r) {
			out = append(out, rightWords[r])
		}
	}
	return out, nil
}

// Rights returns our own rights in a folder, a letter each (RFC 4314, 2.1), or
// "" where the server does not tell.
func (c *Client) Rights(ctx context.Context, folder string) (string, error) {
	name, err := c.names.wire(folder)
	if err != nil || !c.caps.Has(imap.CapACL) {
		return "", err
	}
	var rights string
	err = c.do(ctx, "servers.doing.rights", 1, func() error {
		data, err := c.imap.MyRights(name).Wait()
		if err == nil {
			rights = data.Rights.String()
		}
		return err
	})
	return rights, c.refused(folder, job.Say("servers.to.rights", job.Args{"folder": folder}), err)
}

// probeUse notices a second Sent folder beside the server's own (RFC 6154).
func (c *Client) probeUse(ctx context.Context, want Wanted) []Check {
	all, err := c.Folders(ctx)
	if err != nil {
		return []Check{wire.Failed("mailbox", err)}
	}
	for _, f := range all {
		if f.Use == "sent" && f.Name != want.Sent {
			return []Check{wire.Doubtful("mailbox", job.Say("doctor.other-sent", job.Args{"theirs": f.Name, "ours": want.Sent}))}
		}
	}
	return nil
}
