package mailbox

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
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
	out := []Check{wire.Passed("mailbox", fmt.Sprintf("%s lets us in with the %s", config.Server(), source.Name()))}
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
	for _, a := range []struct {
		cap     imap.Cap
		without string
	}{
		{imap.CapIdle, "it cannot tell of new mail by itself (IDLE), so letters are seen at the next poll"},
		{imap.CapUIDPlus, "it cannot delete single messages (UIDPLUS), so our old drafts stay, marked as deleted"},
		{imap.CapMove, "it cannot move in one step (MOVE), so messages are copied and the first removed"},
	} {
		if !c.caps.Has(a.cap) {
			out = append(out, wire.Doubtful("mailbox", fmt.Sprintf("%s: %s", c.config.Server(), a.without)))
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
			return []Check{wire.Doubtful("mailbox", fmt.Sprintf("%s lets us in %s at once, not %d: approvals by folder are seen with each poll only; allow the account more connections",
				config.Server(), job.Count(n, "time", "times"), connections))}
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

var rightWords = map[rune]string{'l': "see the folder", 'r': "read it", 'i': "put messages in", 't': "mark messages as deleted", 'e': "remove messages"}

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
		return wire.Failed("mailbox", fmt.Errorf("we may not %s in the folder %q; ask the mailbox's owner for the right", strings.Join(missing, ", "), folder))
	}
	state := "is there"
	if len(made) > 0 {
		state = "was missing and has been made"
	}
	state = fmt.Sprintf("the folder %q %s (%d messages)", folder, state, data.NumMessages)
	if rights == readRights {
		return wire.Passed("mailbox", state)
	}
	return c.probeStore(ctx, folder, state, rights)
}

// probeStore stores a message as the robot stores a draft, and removes it. It is
// marked as deleted from the start: nobody takes it for a draft, and where it
// cannot be removed it goes with the next clearing up.
func (c *Client) probeStore(ctx context.Context, folder, state, rights string) Check {
	if rights == storeRights {
		missing, err := c.missingRights(ctx, folder, draftRights)
		if err != nil {
			return wire.Failed("mailbox", err)
		}
		if len(missing) > 0 { // nor need we: what is sent stays there
			return wire.Passed("mailbox", state+"; no test message was put in, since we may not take it out again")
		}
	}
	id := "<doctor." + strings.ToLower(rand.Text()) + "@meshclerk.invalid>"
	ref, err := c.AppendOnce(ctx, folder, []string{`\Seen`, `\Deleted`}, time.Now(), probeMessage(id), id)
	if err != nil {
		return wire.Failed("mailbox", err)
	}
	if err := c.probeRemove(ctx, ref, id); err != nil {
		if rights == storeRights {
			return wire.Doubtful("mailbox", err.Error())
		}
		return wire.Failed("mailbox", err)
	}
	if !c.caps.Has(imap.CapUIDPlus) {
		return wire.Passed("mailbox", state+"; a test message was put in and marked as deleted")
	}
	return wire.Passed("mailbox", state+"; a test message was put in and taken out again")
}

func (c *Client) probeRemove(ctx context.Context, ref Ref, id string) error {
	err := c.RemoveOwn(ctx, ref, id)
	if err == nil && c.caps.Has(imap.CapUIDPlus) {
		var left []Ref
		if left, err = c.FindMessageID(ctx, ref.Folder, id); err == nil && len(left) > 0 {
			err = errors.New("the server keeps it")
		}
	}
	if err != nil {
		return fmt.Errorf("a test message that was put into the folder %q could not be taken out again (%w); delete it in a mail program and ask the mailbox's owner for the right to delete there", ref.Folder, err)
	}
	return nil
}

func probeMessage(id string) []byte {
	return []byte("From: Meshclerk <doctor@meshclerk.invalid>\r\nSubject: test message of the doctor, to be deleted\r\nDate: " + time.Now().Format(time.RFC1123Z) +
		"\r\nMessage-ID: " + id + "\r\n\r\nmeshclerk doctor tried whether it may put messages into this folder and take them out.\r\n")
}

// missingRights asks for our own rights where the server can tell (RFC 4314, 3.5).
func (c *Client) missingRights(ctx context.Context, folder, want string) ([]string, error) {
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
	var out []string
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
	err = c.do(ctx, "asking for our rights", 1, func() error {
		data, err := c.imap.MyRights(name).Wait()
		if err == nil {
			rights = data.Rights.String()
		}
		return err
	})
	return rights, c.refused(folder, fmt.Sprintf("tell our rights in the folder %q", folder), err)
}

// probeUse notices a second Sent folder beside the server's own (RFC 6154).
func (c *Client) probeUse(ctx context.Context, want Wanted) []Check {
	all, err := c.Folders(ctx)
	if err != nil {
		return []Check{wire.Failed("mailbox", err)}
	}
	for _, f := range all {
		if f.Use == "sent" && f.Name != want.Sent {
			return []Check{wire.Doubtful("mailbox", fmt.Sprintf("the server keeps sent mail in %q and mailbox.toml says %q; set sent to the former if staff look there", f.Name, want.Sent))}
		}
	}
	return nil
}
