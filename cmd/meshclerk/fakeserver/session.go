package fakeserver

import (
	"sync"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapserver"
	"github.com/emersion/go-imap/v2/imapserver/imapmemserver"
)

// session is an in-memory session whose MOVE is sound: the library's own
// answers a MOVE of nothing with an empty set, which breaks the connection,
// and tells the mover of each expunged message twice.
type session struct {
	*imapmemserver.UserSession // nil until signed in
	user                       *imapmemserver.User
	moving                     *sync.Mutex // of all sessions, so that one message is moved once
}

func (p *Servers) session() func(*imapserver.Conn) (imapserver.Session, *imapserver.GreetingData, error) {
	var moving sync.Mutex
	return func(*imapserver.Conn) (imapserver.Session, *imapserver.GreetingData, error) {
		return &session{user: p.user, moving: &moving}, nil, nil
	}
}

func (s *session) Login(user, password string) error {
	if err := s.user.Login(user, password); err != nil {
		return err
	}
	s.UserSession = imapmemserver.NewUserSession(s.user)
	return nil
}

// Move is copy, mark and expunge of exactly the copied UIDs (RFC 6851, 3.3).
func (s *session) Move(w *imapserver.MoveWriter, set imap.NumSet, dest string) error {
	s.moving.Lock()
	defer s.moving.Unlock()
	data, err := s.Copy(set, dest)
	if err != nil || len(data.SourceUIDs) == 0 {
		return err
	}
	mark := &imap.StoreFlags{Op: imap.StoreFlagsAdd, Silent: true, Flags: []imap.Flag{imap.FlagDeleted}}
	if err := s.Store(nil, data.SourceUIDs, mark, nil); err != nil {
		return err
	}
	if err := w.WriteCopyData(data); err != nil {
		return err
	}
	return s.Expunge(nil, &data.SourceUIDs)
}
