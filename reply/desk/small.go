package desk

import (
	"container/list"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// presence remembers who has a reply open, so that two people do not work on
// the same one unawares. It is a courtesy: the ledger is what refuses.
type presence struct {
	mu   sync.Mutex
	open map[string]map[string]time.Time // reply -> person -> last seen
}

const (
	presentFor = 20 * time.Second // the page reports every second while it is in sight
	maxPresent = 5000
)

func newPresence() *presence { return &presence{open: map[string]map[string]time.Time{}} }

// see records that a person has a reply open and tells who else has.
func (p *presence) see(reply, name string, now time.Time) []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.open) > maxPresent {
		clear(p.open)
	}
	if p.open[reply] == nil {
		p.open[reply] = map[string]time.Time{}
	}
	p.open[reply][name] = now
	var others []string
	for n, at := range p.open[reply] {
		switch {
		case now.Sub(at) > presentFor:
			delete(p.open[reply], n)
		case n != name:
			others = append(others, n)
		}
	}
	slices.Sort(others)
	return others
}

// shownTexts remembers the texts that were lately shown, by the hash of their
// bytes, so that a refused approval can say what changed since.
type shownTexts struct {
	mu    sync.Mutex
	order *list.List // of shownText, the latest in front
	at    map[string]*list.Element
}

type shownText struct{ sha, text string }

const maxShown = 300

func newShownTexts() *shownTexts {
	return &shownTexts{order: list.New(), at: map[string]*list.Element{}}
}

func (s *shownTexts) keep(sha, text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if e, ok := s.at[sha]; ok {
		s.order.MoveToFront(e)
		return
	}
	s.at[sha] = s.order.PushFront(shownText{sha, text})
	if s.order.Len() > maxShown {
		last := s.order.Back()
		delete(s.at, last.Value.(shownText).sha)
		s.order.Remove(last)
	}
}

func (s *shownTexts) find(sha string) (string, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	e, ok := s.at[sha]
	if !ok {
		return "", false
	}
	return e.Value.(shownText).text, true
}

// writeFile puts a file in place whole or not at all.
func writeFile(path string, b []byte, mode os.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // nothing is there once it was renamed
	_, err = f.Write(b)
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if errClose := f.Close(); err == nil {
		err = errClose
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
