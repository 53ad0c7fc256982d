package mailtest

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
)

// Client is a second mail program on the same mailbox, as staff have one. It
// knows nothing of the client under test; folder names are the server's.
func (s *Server) Client() *imapclient.Client {
	s.t.Helper()
	c, err := Staff(s.Port, s.User, s.Password)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { c.Close() })
	return c
}

// Staff signs in a second mail program to a server on loopback.
func Staff(port int, user, password string) (*imapclient.Client, error) {
	c, err := imapclient.DialInsecure(net.JoinHostPort("127.0.0.1", fmt.Sprint(port)), nil)
	if err != nil {
		return nil, err
	}
	return c, c.Login(user, password).Wait()
}

// Message is one message as a mail program sees it.
type Message struct {
	UID   uint32
	Flags []string
	Raw   []byte
}

// Messages returns all messages of a folder, oldest first; none when it does not exist.
func (s *Server) Messages(folder string) []Message {
	s.t.Helper()
	c := s.Client()
	defer c.Close()
	return List(s.t, c, folder)
}

// List returns all messages of a folder that a mail program sees.
func List(t testing.TB, c *imapclient.Client, folder string) []Message {
	t.Helper()
	data, err := c.Select(folder, &imap.SelectOptions{ReadOnly: true}).Wait()
	if _, no := errors.AsType[*imap.Error](err); no || err == nil && data.NumMessages == 0 {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	var all imap.SeqSet
	all.AddRange(1, 0)
	bufs, err := c.Fetch(all, &imap.FetchOptions{UID: true, Flags: true, BodySection: []*imap.FetchItemBodySection{{Peek: true}}}).Collect()
	if err != nil {
		t.Fatal(err)
	}
	var out []Message
	for _, b := range bufs {
		m := Message{UID: uint32(b.UID), Raw: b.FindBodySection(&imap.FetchItemBodySection{})}
		for _, f := range b.Flags {
			m.Flags = append(m.Flags, string(f))
		}
		out = append(out, m)
	}
	return out
}

// Put stores a message in a folder as a mail program does, making the folder
// when it is missing, and returns its UID.
func (s *Server) Put(folder string, raw []byte, flags ...string) uint32 {
	s.t.Helper()
	c := s.Client()
	defer c.Close()
	c.Create(folder, nil).Wait() // it may be there
	options := &imap.AppendOptions{}
	for _, f := range flags {
		options.Flags = append(options.Flags, imap.Flag(f))
	}
	cmd := c.Append(folder, int64(len(raw)), options)
	cmd.Write(raw)
	cmd.Close()
	data, err := cmd.Wait()
	if err != nil {
		s.t.Fatal(err)
	}
	return uint32(data.UID)
}

// MoveAs moves the messages that hold the words from one folder to another,
// as a member of staff drags them, and says how many.
func (s *Server) MoveAs(from, holding, to string) int {
	s.t.Helper()
	c := s.Client()
	defer c.Close()
	var uids []imap.UID
	for _, m := range List(s.t, c, from) {
		if strings.Contains(string(m.Raw), holding) {
			uids = append(uids, imap.UID(m.UID))
		}
	}
	if len(uids) == 0 {
		return 0
	}
	if _, err := c.Select(from, nil).Wait(); err != nil {
		s.t.Fatal(err)
	}
	if _, err := c.Move(imap.UIDSetNum(uids...), to).Wait(); err != nil {
		s.t.Fatal(err)
	}
	return len(uids)
}

// Remove deletes a message of the inbox, as a member of staff does.
func (s *Server) Remove(folder string, uid uint32) {
	s.t.Helper()
	c := s.Client()
	defer c.Close()
	if _, err := c.Select(folder, nil).Wait(); err != nil {
		s.t.Fatal(err)
	}
	set := imap.UIDSetNum(imap.UID(uid))
	if err := c.Store(set, &imap.StoreFlags{Op: imap.StoreFlagsAdd, Silent: true, Flags: []imap.Flag{imap.FlagDeleted}}, nil).Close(); err != nil {
		s.t.Fatal(err)
	}
	if err := c.UIDExpunge(set).Close(); err != nil {
		s.t.Fatal(err)
	}
}

// Unmark takes the mark of deletion off a message again.
func (s *Server) Unmark(folder string, uid uint32) {
	s.t.Helper()
	c := s.Client()
	defer c.Close()
	if _, err := c.Select(folder, nil).Wait(); err != nil {
		s.t.Fatal(err)
	}
	if err := c.Store(imap.UIDSetNum(imap.UID(uid)), &imap.StoreFlags{Op: imap.StoreFlagsDel, Silent: true, Flags: []imap.Flag{imap.FlagDeleted}}, nil).Close(); err != nil {
		s.t.Fatal(err)
	}
}

// Delete deletes a folder with all that is in it.
func (s *Server) Delete(folder string) {
	s.t.Helper()
	c := s.Client()
	defer c.Close()
	if err := c.Delete(folder).Wait(); err != nil {
		s.t.Fatal(err)
	}
}

// Has reports whether a message carries the flag.
func (m Message) Has(flag string) bool {
	return slices.ContainsFunc(m.Flags, func(f string) bool { return strings.EqualFold(f, flag) })
}

// Flicker marks and unmarks all messages of a folder, over and over, until stop.
func (s *Server) Flicker(folder string, stop <-chan struct{}) {
	c, err := Staff(s.Port, s.User, s.Password)
	if err != nil {
		s.t.Error(err)
		return
	}
	defer c.Close()
	if _, err := c.Select(folder, nil).Wait(); err != nil {
		s.t.Error(err)
		return
	}
	var all imap.SeqSet
	all.AddRange(1, 0)
	for op := imap.StoreFlagsAdd; ; {
		select {
		case <-stop:
			return
		default:
		}
		if err := c.Store(all, &imap.StoreFlags{Op: op, Silent: true, Flags: []imap.Flag{imap.FlagFlagged}}, nil).Close(); err != nil {
			s.t.Error(err)
			return
		}
		if op == imap.StoreFlagsAdd {
			op = imap.StoreFlagsDel
		} else {
			op = imap.StoreFlagsAdd
		}
	}
}

// Restrict leaves the mailbox's own user only these rights in a folder (RFC
// 4314, 2.1); the server must have ACL.
func (s *Server) Restrict(folder, rights string) {
	s.t.Helper()
	path := filepath.Join(s.maildir(), folder, "dovecot-acl")
	if err := os.WriteFile(path, []byte("owner "+rights+"\n"), 0o600); err != nil {
		s.t.Fatal(err)
	}
	if err := giveAway(path); err != nil {
		s.t.Fatal(err)
	}
}
