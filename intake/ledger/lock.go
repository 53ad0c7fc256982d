package ledger

import (
	"fmt"
	"os"
)

const lockName = "robot.lock"

// Lock makes the caller the one robot on this ledger until release is called or
// the process ends. Where another runs it gives ErrLocked.
func (l *Ledger) Lock() (release func() error, err error) {
	f, err := l.root.OpenFile(lockName, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, l.plain(err)
	}
	if err := f.Chmod(0o600); err != nil { // an older one may be open to others
		f.Close()
		return nil, l.plain(err)
	}
	free, err := lockFile(f)
	if err != nil || !free {
		f.Close()
	}
	if err != nil {
		return nil, l.plain(err)
	}
	if !free {
		return nil, fmt.Errorf("%w: the service already runs with the data folder %s; stop it first, or give this one a folder of its own", ErrLocked, l.dir)
	}
	return f.Close, nil
}
