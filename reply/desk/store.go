package desk

import (
	"sync"
	"time"
)

// memory keeps sessions until they end; it is an scs.Store. Only people who are
// signed in have one, and a restart signs everybody out. The library's own store
// cannot be stopped without a data race, so it is not used.
type memory struct {
	mu    sync.Mutex
	items map[string]kept
	swept time.Time
}

type kept struct {
	data []byte
	ends time.Time
}

func newMemory() *memory { return &memory{items: map[string]kept{}} }

// Find implements scs.Store.
func (m *memory) Find(token string) ([]byte, bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	k, ok := m.items[token]
	if !ok || time.Now().After(k.ends) {
		return nil, false, nil
	}
	return k.data, true, nil
}

// Commit implements scs.Store. Once a minute it forgets what has ended.
func (m *memory) Commit(token string, data []byte, ends time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if now := time.Now(); now.Sub(m.swept) > time.Minute {
		m.swept = now
		for t, k := range m.items {
			if now.After(k.ends) {
				delete(m.items, t)
			}
		}
	}
	m.items[token] = kept{data, ends}
	return nil
}

// Delete implements scs.Store.
func (m *memory) Delete(token string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.items, token)
	return nil
}
