//go:build unix

package credential

import (
	"context"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"
)

// lock holds the folder of the file against other sources and processes. It
// is the folder, because the file itself is replaced while the lock is held.
func lock(ctx context.Context, path string) (func(), error) {
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return func() {}, nil // the read that follows says what is wrong with it
	}
	for {
		err := unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if err == nil {
			return func() { dir.Close() }, nil
		}
		if err != unix.EWOULDBLOCK && err != unix.EINTR {
			return func() { dir.Close() }, nil // a file system without locks
		}
		select {
		case <-ctx.Done():
			dir.Close()
			return nil, ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}
	}
}
