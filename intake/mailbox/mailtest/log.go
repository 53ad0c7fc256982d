package mailtest

import (
	"bytes"
	"sync"
)

// logFile keeps the last of what a server says.
type logFile struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (l *logFile) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.buf.Len() > 1<<20 {
		l.buf.Reset()
	}
	return l.buf.Write(p)
}

func (l *logFile) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.buf.String()
}
